"""Codes of pins that feed the resistors outside of a tank's probes, INV466-469."""

from __future__ import annotations

from fleet.codes import Code, Severity

_PIN_FIX = "Name another pin; `tankfleet show board` draws what each pin can do (F: to feed)."

FEED_UNUSED = Code(
    "INV466",
    "a feed without external resistors",
    "With `pull_up: internal` nothing hangs on that pin, and the firmware relies on the chip's own pull-ups.",
    "Write `pull_up: external` and fit a resistor from each probe's pin to that pin, or delete "
    "`pull_up_feed`.",
    source="the firmware: it turns a feed on only for resistors outside (docs/node-interface.md, Control)",
)
FEED_PIN_CANNOT = Code(
    "INV467",
    "a pin that cannot feed probes",
    "A feed is HIGH while the probes are read and floats at any other time. Through the resistors the "
    "probes pull at it while the board starts. On this pin the probes would never be fed, current would "
    "never stop, or the board would not start.",
    _PIN_FIX,
    source="the chip's and the board's documents, named in each finding and by `tankfleet show board`",
)
FEED_WITH_CARE = Code(
    "INV468",
    "a feed on a pin with a second function",
    "It works, but the pin has another function, or feeds the probes while the board starts.",
    _PIN_FIX,
    Severity.WARNING,
    source="the chip's and the board's documents, named in each finding and by `tankfleet show board`",
)
FEED_TOO_WEAK = Code(
    "INV469",
    "more current than a pin can feed",
    "With all probes wet the pin no longer holds its level. A dry probe may read wet, and the chip is "
    "overloaded.",
    "Fit larger resistors.",
    source="ESP8266 data sheet, DC characteristics: 12 mA a pin, HIGH then at 0.8 of the supply; the ESP32s give more",
)

CODES = (FEED_UNUSED, FEED_PIN_CANNOT, FEED_WITH_CARE, FEED_TOO_WEAK)
