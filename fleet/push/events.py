"""What happens to a push (events), and what its engine asks for (commands). Events are what the journal
keeps.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from fleet.link.state import NodeState

EVENT_VERSION = 1


class Action(StrEnum):
    """What the runner can do to a node. Only `ask` leaves it as it is."""

    ASK = "ask"
    SEND = "send"
    """The new image, with the plan's ticket."""
    SEND_OLD = "send-old"
    """The image that the node had before, with a new ticket."""
    KEEP = "keep"
    PUT_BACK = "put-back"


class Result(StrEnum):
    """How it ended."""

    OK = "ok"
    REFUSED = "refused"
    """The node said no, with a code."""
    BROKE = "broke"
    """No answer, or the connection ended: what the node did is not known."""


class RequestKind(StrEnum):
    """What a person can say to a push."""

    HOLD = "hold"
    GO_ON = "go-on"
    STOP = "stop"
    ROLL_BACK = "roll-back"


@dataclass(frozen=True, slots=True)
class Command:
    """Do this to that node, not before `at_s` (epoch seconds). `serial` ties the outcome to it."""

    serial: int
    node: str
    doing: Action
    at_s: float


@dataclass(frozen=True, slots=True)
class Began:
    """The push was started."""

    at_s: float


@dataclass(frozen=True, slots=True)
class Resumed:
    """A new runner took over; whatever was under way before was cut off."""

    at_s: float


@dataclass(frozen=True, slots=True)
class Requested:
    """A person said something; `nodes` for roll-back, empty: all of the push."""

    at_s: float
    word: RequestKind
    nodes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Sent:
    """All of the new image that a command sends has left this machine: from now on the node may have it, whether its
    answer comes or not, and whether this runner lives to hear it."""

    at_s: float
    node: str
    serial: int


@dataclass(frozen=True, slots=True)
class Outcome:
    """How a command ended. With an `ask` that was answered: the signed state, and what the runner made of it.

    `spare_s`: how long the node's tanks can be left (None: for ever), in real seconds; `window_open`:
    whether its site may be updated now.
    """

    at_s: float
    node: str
    serial: int
    doing: Action
    result: Result
    code: str = ""
    detail: str = ""
    seen: NodeState | None = None
    spare_s: float | None = None
    window_open: bool = True

    @property
    def ours(self) -> bool:
        """Whether this tool stopped it before anything was sent: its codes are in capitals, a node's never are."""
        return self.code[:3].isupper()


Event = Began | Resumed | Requested | Sent | Outcome
_KINDS: dict[type, str] = {
    Began: "began",
    Resumed: "resumed",
    Requested: "requested",
    Sent: "sent",
    Outcome: "outcome",
}


def write_event(event: Event) -> tuple[str, str]:
    """Its kind, and its body as JSON with the version of its form."""
    body: dict[str, Any] = {"v": EVENT_VERSION}
    for name in event.__slots__:
        value = getattr(event, name)
        body[name] = value.model_dump(mode="json", by_alias=True) if isinstance(value, NodeState) else value
    return _KINDS[type(event)], json.dumps(body, separators=(",", ":"), ensure_ascii=False)


def read_event(kind: str, body: str) -> Event:
    """The event of that kind and body. ValueError if this version of the tool does not know its form."""
    said = json.loads(body)
    if said.pop("v", None) != EVENT_VERSION:
        raise ValueError(f"an event of a form that is not {EVENT_VERSION}")
    if kind == "began":
        return Began(**said)
    if kind == "resumed":
        return Resumed(**said)
    if kind == "requested":
        return Requested(said["at_s"], RequestKind(said["word"]), tuple(said["nodes"]))
    if kind == "sent":
        return Sent(**said)
    if kind == "outcome":
        said.pop("whole", None)  # earlier versions said it here, of transfers that broke; now `sent` does
        said["doing"], said["result"] = Action(said["doing"]), Result(said["result"])
        if said["seen"] is not None:
            said["seen"] = NodeState.model_validate_json(json.dumps(said["seen"]))
        return Outcome(**said)
    raise ValueError(f"an event of unknown kind {kind!r}")
