"""What a pin may be used for: whether it exists, can do it, and lets the board start.

The levels that each chip wants at reset, and what pulls at each pin then, are in the chips' data files, with their
sources; what a board itself hangs on its pins is in the boards'. A probe joins its pin to the common electrode while it
is wet, so a wet probe holds its pin LOW at reset; an external pull-up holds a dry one HIGH. A pin is an input while the
chip starts, so a pump relay follows whatever pull the pin then has.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import TYPE_CHECKING, Final

from fleet.boards.data_file import LoadKind, ResetPull, Trait
from fleet.boards.loads import judge
from fleet.boards.uses import PROBES, RELAYS, Answer, Use
from fleet.limits import HOLD_OFF_OHM, RELAY_OFF_V, SUPPLY_V

if TYPE_CHECKING:
    from collections.abc import Collection

    from fleet.boards.board import Board, Pin


@dataclass(frozen=True, slots=True)
class PinVerdict:
    """The answer, with the reason as a sentence, its source and what decided: a trait of the pin, or what the board
    hangs on it (neither when allowed)."""

    answer: Answer
    reason: str = ""
    source: str = ""
    trait: Trait | None = None
    load: LoadKind | None = None
    limit: tuple[str, float] | None = None
    """The figure by which a load decided: its name and ohms."""


_FIXED: Final = (Trait.FLASH,)
_STRAPS: Final = (Trait.STRAP_HIGH, Trait.STRAP_LOW)
_REFUSED: Final = {
    Use.PROBE_INTERNAL: (*_FIXED, Trait.NO_PULL_UP, *_STRAPS),
    Use.PROBE_EXTERNAL: (*_FIXED, *_STRAPS),
    Use.RELAY_HIGH: (
        *_FIXED,
        Trait.INPUT_ONLY,
        *_STRAPS,
        Trait.STRAP,
        Trait.UART,
        Trait.BOOT_HIGH,
        Trait.BOOT_PULSE,
    ),
    Use.RELAY_LOW: (*_FIXED, Trait.INPUT_ONLY, *_STRAPS, Trait.STRAP, Trait.UART, Trait.BOOT_LOW),
    Use.PROBE_FEED: (*_FIXED, Trait.INPUT_ONLY, *_STRAPS, Trait.STRAP, Trait.UART),
    Use.ANALOG: (*_FIXED, Trait.ADC2),
    Use.SPARE: _FIXED,
}
_CARE: Final = {
    Use.PROBE_INTERNAL: (Trait.OCTAL_FLASH, Trait.STRAP, Trait.USB, Trait.UART),
    Use.PROBE_EXTERNAL: (Trait.OCTAL_FLASH, Trait.STRAP, Trait.USB, Trait.UART),
    Use.RELAY_HIGH: (Trait.OCTAL_FLASH, Trait.USB, Trait.BOOT_WEAK_HIGH),
    Use.RELAY_LOW: (Trait.OCTAL_FLASH, Trait.USB, Trait.BOOT_HIGH, Trait.BOOT_PULSE, Trait.BOOT_LOW_PULSE),
    Use.PROBE_FEED: (Trait.OCTAL_FLASH, Trait.USB, Trait.BOOT_HIGH, Trait.BOOT_PULSE),
    Use.ANALOG: (*_STRAPS, Trait.STRAP),
    Use.SPARE: (Trait.OCTAL_FLASH, *_STRAPS, Trait.STRAP, Trait.USB, Trait.UART),
}
_WET_LOW: Final = "a wet probe holds it LOW"
_PICKS_UP: Final = "a relay that is active high picks up, and the pump runs, while the board starts"
_STRAPPED: Final = "what hangs on a relay's input decides how the board starts"
_THEN: Final = {
    (
        Use.PROBE_INTERNAL,
        Trait.NO_PULL_UP,
    ): "a probe here needs an external resistor, with `pull_up: external`",
    **{(use, Trait.STRAP_HIGH): f"{_WET_LOW}: with water at it the board does not start" for use in PROBES},
    (
        Use.PROBE_INTERNAL,
        Trait.STRAP_LOW,
    ): "a pull-up works against that, or loses against the board's pull-down",
    (Use.PROBE_EXTERNAL, Trait.STRAP_LOW): "the resistor of a dry probe holds it HIGH",
    (Use.PROBE_INTERNAL, Trait.STRAP): f"{_WET_LOW} at reset",
    (Use.PROBE_EXTERNAL, Trait.STRAP): f"{_WET_LOW} at reset, and the resistor of a dry one HIGH",
    **{
        (
            use,
            Trait.USB,
        ): "the firmware takes it from the port, and the chip can then not be reached through the port"
        for use in (*PROBES, *RELAYS, Use.PROBE_FEED)
    },
    **{(use, Trait.UART): "the USB port also uses it" for use in PROBES},
    **{(Use.RELAY_HIGH, trait): _PICKS_UP for trait in (Trait.BOOT_HIGH, Trait.BOOT_PULSE, Trait.UART)},
    **{(use, trait): _STRAPPED for use in RELAYS for trait in (*_STRAPS, Trait.STRAP)},
    (
        Use.RELAY_HIGH,
        Trait.BOOT_WEAK_HIGH,
    ): "a sensitive relay picks up: fit 3.3 kOhm from its input to ground",
    (
        Use.RELAY_LOW,
        Trait.BOOT_LOW,
    ): "a relay that is active low picks up, and the pump runs, while the board starts",
    (Use.RELAY_LOW, Trait.UART): "each LOW bit of the boot log makes a relay that is active low pick up",
    (Use.RELAY_LOW, Trait.BOOT_HIGH): "a relay that is active low stays off, if nothing else pulls the pin",
    (Use.RELAY_LOW, Trait.BOOT_PULSE): "what comes before and after the pulse is not said",
    (Use.RELAY_LOW, Trait.BOOT_LOW_PULSE): "a solid-state relay that is active low can follow it",
    **{
        (
            Use.PROBE_FEED,
            trait,
        ): "through the resistors the wet probes pull it LOW, and the pins of the dry ones HIGH"
        for trait in (*_STRAPS, Trait.STRAP)
    },
    (Use.PROBE_FEED, Trait.UART): "what is sent on it also goes through the water",
    **{
        (Use.PROBE_FEED, trait): "current runs through the water while the board starts"
        for trait in (Trait.BOOT_HIGH, Trait.BOOT_PULSE)
    },
    (Use.ANALOG, Trait.ADC2): "ADC2 is unreliable while WiFi runs",
    **{(Use.SPARE, trait): "a wire that hangs on it can stop the start" for trait in (*_STRAPS, Trait.STRAP)},
}


def may(board: Board, pin: Pin, use: Use) -> PinVerdict:
    """Whether that pin of that board may serve that use. The first reason counts: what refuses before what is minded,
    and what the chip makes of the pin before what the board hangs on it."""
    if use is Use.ANALOG and pin.fact(Trait.FLASH, Trait.ADC1, Trait.ADC2) is None:
        return PinVerdict(
            Answer.REFUSED, f"{label(pin)} of {board.id} has no analog input", board.gpios_source
        )
    for answer, table in ((Answer.REFUSED, _REFUSED), (Answer.CARE, _CARE)):
        fact = pin.fact(*table[use])
        if fact is not None:
            then = _THEN.get((use, fact.trait))
            reason = f"{label(pin)} of {board.id} {fact.what}{f'; {then}' if then else ''}"
            return PinVerdict(answer, reason, fact.source, fact.trait)
        for load in pin.loads:
            judged = judge(load, use, board.pull_up)
            if judged.answer is answer:
                reason = f"{label(pin)} of {board.id} {load.what}; {judged.then}"
                return PinVerdict(answer, reason, load.source, load=load.kind, limit=judged.limit)
    return PinVerdict(Answer.ALLOWED)


def probe_use(pull_up: str) -> Use:
    """What a probe's pin is wanted for, with its pull-up `internal` or `external`."""
    return Use.PROBE_INTERNAL if pull_up == "internal" else Use.PROBE_EXTERNAL


def relay_use(active: str) -> Use:
    """What a pump relay's pin is wanted for, with the relay active `high` or `low`."""
    return Use.RELAY_HIGH if active == "high" else Use.RELAY_LOW


def hold_off_ohm(board: Board, pin: Pin, use: Use) -> int:
    """The resistor that holds a relay's input at its OFF level until the firmware runs, against the chip's own pull."""
    against = (ResetPull.UP, ResetPull.USB_UP) if use is Use.RELAY_HIGH else (ResetPull.DOWN,)
    pull_ohm = board.pull_up.least_ohm if pin.reset.pull in against else inf
    return next(
        (ohm for ohm in HOLD_OFF_OHM if SUPPLY_V * ohm / (ohm + pull_ohm) <= RELAY_OFF_V), HOLD_OFF_OHM[-1]
    )


def label(pin: Pin) -> str:
    """The pin as people say it: `D5 (GPIO14)`, or `GPIO5` where the board prints no other name."""
    return pin.name if pin.name == f"GPIO{pin.gpio}" else f"{pin.name} (GPIO{pin.gpio})"


def best_pins(board: Board, use: Use, taken: Collection[int] = ()) -> tuple[Pin, ...]:
    """The pins that may serve that use without a second thought and are not in `taken` (GPIO numbers), best first.

    For a pump relay those that the chip's data names come first; for anything else they come last, because good
    relay pins are few.
    """
    fit = [p for p in board.pins if p.gpio not in taken and may(board, p, use).answer is Answer.ALLOWED]
    for_relay = board.relay_first
    if use in RELAYS:
        return tuple(
            sorted(fit, key=lambda p: for_relay.index(p.gpio) if p.gpio in for_relay else len(for_relay))
        )
    return tuple(sorted(fit, key=lambda p: p.gpio in for_relay))
