"""Why a node of a push stands as it does, and why a push goes no further: facts to decide by; and the sentence made of
a node's for a person. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final


class Why(StrEnum):
    """The kind of a reason. What is not told by the kind is in the reason's detail."""

    NONE = "none"
    UNREACHABLE = "unreachable"
    """It did not answer before anything was sent; detail: how that ended."""
    ALREADY = "already"
    OTHER_ON_TRIAL = "other-on-trial"
    """Detail: the image."""
    OTHER_THAN_PLANNED = "other-than-planned"
    """Detail: what it runs, and what it ran."""
    FAULT_STAYS = "fault-stays"
    """Detail: tank, fault and what to do."""
    WINDOW_CLOSED = "window-closed"
    SPARE_TIME = "spare-time"
    """Detail: how long its tanks can be left, and how long it would take."""
    MEMORY = "memory"
    """Detail: what it has and needs."""
    BUSY = "busy"
    """It is changed by somebody else, or cannot restart; detail: its word."""
    NOT_SENT = "not-sent"
    """This machine could not read what was to be sent; detail: code and what."""
    HELD_OFF_TOO_OFTEN = "held-off-too-often"
    """Detail: how often, and why the last time."""
    FAILED = "failed"
    """Detail: the checks and their evidence."""
    PARTNER_LOST = "partner-lost"
    """Detail: the node that stands in for it."""
    STOPPED = "stopped"
    ROLLED_BACK = "rolled-back"
    HALTED_BEFORE = "halted-before"
    NO_PILOT = "no-pilot"
    """Detail: the wave."""
    WAVE_FAILED = "wave-failed"
    NO_ANSWER = "no-answer"
    """Lost: it never answered again; detail: how the last question ended."""
    FOREIGN_IMAGE = "foreign-image"
    """Detail: the image."""
    FELL_BACK = "fell-back"
    """Detail: the node's word for why."""
    GOES_NOT_BACK = "goes-not-back"
    STAYS = "stays"
    """Detail: why it could not be brought back."""
    OLD_SENT = "old-sent"


WAITING: Final = frozenset({Why.WINDOW_CLOSED, Why.SPARE_TIME, Why.MEMORY, Why.BUSY})
"""Why a node waits: true while it does, and no reason for how it ends."""

_SENTENCES: Final[dict[Why, str]] = {
    Why.NONE: "",
    Why.UNREACHABLE: "unreachable: {}",
    Why.ALREADY: "already runs it",
    Why.OTHER_ON_TRIAL: "another image is on trial ({})",
    Why.OTHER_THAN_PLANNED: "still {}, as when it was planned",
    Why.FAULT_STAYS: "since it was planned, {}",
    Why.WINDOW_CLOSED: "its site's window is closed",
    Why.SPARE_TIME: "spare time {}",
    Why.MEMORY: "{}",
    Why.BUSY: "it takes no image now: {}",
    Why.NOT_SENT: "it was not sent: {}",
    Why.HELD_OFF_TOO_OFTEN: "held off {}",
    Why.FAILED: "{}",
    Why.PARTNER_LOST: "{}, which stands in for it, is lost",
    Why.STOPPED: "stopped on request",
    Why.ROLLED_BACK: "rolled back on request",
    Why.HALTED_BEFORE: "the push was halted before its turn",
    Why.NO_PILOT: "no node of pilot wave {} could be updated",
    Why.WAVE_FAILED: "its wave failed",
    Why.NO_ANSWER: "no answer: {}",
    Why.FOREIGN_IMAGE: "runs {}, which this push did not send",
    Why.FELL_BACK: "fell back on its own: {}",
    Why.GOES_NOT_BACK: "answers, but goes back neither on request nor at the end of its trial",
    Why.STAYS: "still runs the new image: {}",
    Why.OLD_SENT: "received the old image again",
}


@dataclass(frozen=True, slots=True)
class Reason:
    """A kind, and what goes with it. False where there is none; as text: its sentence."""

    why: Why = Why.NONE
    detail: str = ""

    def __bool__(self) -> bool:
        return self.why is not Why.NONE

    def __str__(self) -> str:
        return _SENTENCES[self.why].replace("{}", self.detail)


NO_REASON: Final = Reason()


class Halt(StrEnum):
    """The kind of what a push goes no further for."""

    STOPPED = "stopped"
    ROLLED_BACK = "rolled-back"
    """Both: a person asked for it."""
    NO_PILOT = "no-pilot"
    """No node of that pilot wave could be updated."""
    WAVE_FAILED = "wave-failed"
    """With the wave, and its nodes that failed."""
    DRAWS_TOO_MUCH = "draws-too-much"
    """Brown-outs at too many of them for chance."""
    LINK_BROKEN = "link-broken"
    """Broken transfers at too many of them for chance."""


@dataclass(frozen=True, slots=True)
class HaltedBy:
    """One such thing; `wave` counts from 1, 0 where it is about none."""

    halt: Halt
    wave: int = 0
    nodes: tuple[str, ...] = ()
