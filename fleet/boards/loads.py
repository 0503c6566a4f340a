"""What the board itself hangs on a pin - a USB bridge, a LED, a button, a resistor - and what that does to a use.

A load that pulls HIGH works with the pull-up: wet, the pin surely reads LOW only while the water has at most a third of
it (the inputs' limit of a quarter of the supply). One that pulls LOW works with the water: dry, the pin surely reads
HIGH only if the load has at least three times the pull-up. A LED counts as the resistance that lets the same current
through at that limit: its resistor carries what its forward voltage leaves of three quarters of the supply.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import inf
from typing import TYPE_CHECKING, Final

from fleet.boards.data_file import LoadKind
from fleet.boards.uses import PROBES, RELAYS, Answer, Use
from fleet.limits import HIGH_SHARE, LOADED_PROBE_OHM, LOW_SHARE, SUPPLY_V

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleet.boards.board import Load, PullUp

_ON: Final = {Use.RELAY_HIGH: "high", Use.RELAY_LOW: "low"}


@dataclass(frozen=True, slots=True)
class Judgement:
    """What a load makes of a use, what happens then, in words, and the figure that decides: its name and ohms."""

    answer: Answer
    then: str = ""
    limit: tuple[str, float] | None = None


def judge(load: Load, use: Use, pull_up: PullUp) -> Judgement:
    """What that load makes of that use on a chip with that pull-up."""
    judged = _judge(load, use, pull_up)
    if load.some and judged.answer is Answer.REFUSED:
        return replace(judged, answer=Answer.CARE)
    return judged


def effective_ohm(load: Load) -> float:
    """What it has at the level where the input decides; a LED that does not conduct there has no end of it."""
    if load.ohm is None:
        return inf
    if load.drop_v is None:
        return load.ohm
    across_v = HIGH_SHARE * SUPPLY_V
    left_v = across_v - load.drop_v
    return load.ohm * across_v / left_v if left_v > 0 else inf


def pulls_ohm(loads: Sequence[Load]) -> tuple[float, float]:
    """What all of them together have to HIGH and to LOW; no end of it where nothing pulls."""
    up = sum(1 / effective_ohm(load) for load in loads if load.to == "high" and not load.some)
    down = sum(1 / effective_ohm(load) for load in loads if load.to == "low" and not load.some)
    return (1 / up if up else inf, 1 / down if down else inf)


def _judge(load: Load, use: Use, pull_up: PullUp) -> Judgement:
    if use in PROBES:
        return _probe(load, use, pull_up)
    if use in RELAYS:
        return _relay(load, use)
    if use is Use.PROBE_FEED:
        return _feed(load)
    holds = load.kind in (LoadKind.DRIVER, LoadKind.USB_SOCKET)
    if use is Use.ANALOG:
        return Judgement(Answer.REFUSED if holds else Answer.CARE, "it falsifies a measured voltage")
    return Judgement(Answer.CARE if holds else Answer.ALLOWED, "a wire that hangs on it disturbs that")


def _probe(load: Load, use: Use, pull_up: PullUp) -> Judgement:
    match load.kind:
        case LoadKind.USB_SOCKET:
            return Judgement(Answer.REFUSED, "a device in the socket drives it, and the water loads the port")
        case LoadKind.BUTTON:
            return Judgement(Answer.CARE, "a press reads as water")
        case LoadKind.INPUT:
            return Judgement(Answer.CARE, "the probe and it share the wire")
    ohm = effective_ohm(load)
    if load.to == "high":
        low_ohm = ohm * LOW_SHARE / (1 - LOW_SHARE)
        answer = Answer.REFUSED if low_ohm < LOADED_PROBE_OHM else Answer.CARE
        then = f"a wet probe reliably reads LOW only with water below {low_ohm:,.0f} ohm"
        return Judgement(answer, then, ("water that reliably reads LOW, at most", low_ohm))
    most_ohm = ohm * (1 - HIGH_SHARE) / HIGH_SHARE
    limit = ("pull-up that reliably reads HIGH, at most", most_ohm)
    if use is Use.PROBE_EXTERNAL:
        then = f"a dry probe reliably reads HIGH only through a resistor of at most {most_ohm:,.0f} ohm"
        return Judgement(Answer.CARE, then, limit)
    answer = Answer.REFUSED if most_ohm < pull_up.least_ohm else Answer.CARE
    then = (
        f"a dry probe reliably reads HIGH only through a pull-up of at most {most_ohm:,.0f} ohm, and the chip's has "
        f"{pull_up.least_ohm:,.0f} to {pull_up.most_ohm:,.0f} ohm: it may always read wet"
    )
    return Judgement(answer, then, limit)


def _relay(load: Load, use: Use) -> Judgement:
    match load.kind:
        case LoadKind.DRIVER:
            return Judgement(Answer.REFUSED, "the chip and it would drive against each other")
        case LoadKind.USB_SOCKET:
            return Judgement(Answer.REFUSED, "a device in the socket switches the pump")
        case LoadKind.BUTTON:
            return Judgement(
                Answer.REFUSED, "a press switches the relay, and shorts the pin while it is HIGH"
            )
        case LoadKind.INPUT:
            return Judgement(Answer.CARE, "it follows the relay")
    if load.to == _ON[use]:
        return Judgement(Answer.REFUSED, "the relay picks up, and the pump runs, while the board starts")
    return Judgement(Answer.ALLOWED)


def _feed(load: Load) -> Judgement:
    match load.kind:
        case LoadKind.DRIVER:
            return Judgement(Answer.REFUSED, "the chip and it would drive against each other")
        case LoadKind.USB_SOCKET:
            return Judgement(Answer.REFUSED, "a device in the socket would feed the probes")
        case LoadKind.BUTTON:
            return Judgement(Answer.REFUSED, "a press shorts the pin while it is HIGH")
        case LoadKind.INPUT:
            return Judgement(Answer.CARE, "it follows the feed")
    if load.to == "high":
        return Judgement(Answer.REFUSED, "it feeds the probes all the time, and current never stops")
    return Judgement(Answer.ALLOWED)
