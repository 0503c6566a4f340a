"""Codes of the button that clears faults, INV176-449."""

from __future__ import annotations

from fleet.codes import Code

_WHY = "With the button a person at the node clears a fault that stays, without a computer. "

_SOURCE = "docs/node-interface.md, section 8: how a fault that stays is cleared"

NO_SUCH_BUTTON_PIN = Code(
    "INV176",
    "a button on a pin that the board does not have",
    f"{_WHY}A pin that the board does not have can hold no button.",
    "Name a pin of the board, or `none`. Without the key the board's own button is used, if it has one.",
    source=_SOURCE,
)
BUTTON_PIN_TAKEN = Code(
    "INV177",
    "a button on a pin that is in use",
    f"{_WHY}On the pin of a probe, five seconds of water would clear a fault; on a relay's, it would short the pin "
    "to ground.",
    "Wire it to its own pin, or write `clear_button: none`.",
    source=_SOURCE,
)
BUTTON_PIN_CANNOT = Code(
    "INV178",
    "a button on a pin that cannot read one",
    f"{_WHY}It connects its pin to ground, and the chip's own pull-up must lift the pin while it is released.",
    "Wire it to another pin; `tankfleet show board` draws what each pin can do.",
    source="the chip's documents, named in each finding and by `tankfleet show board`",
)

CODES = (NO_SUCH_BUTTON_PIN, BUTTON_PIN_TAKEN, BUTTON_PIN_CANNOT)
