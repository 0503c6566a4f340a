"""Codes of the electrodes, INV600-619: whether a pin surely tells wet from dry."""

from __future__ import annotations

from fleet.codes import Code, Severity, codes_in

_LIMITS = "input limits of 0.25 and 0.75 of the supply: data sheets of ESP32 and ESP8266, DC characteristics"

WET_NOT_READ = Code(
    "INV601",
    "water too pure for these electrodes",
    "Even at its best the water conducts too little to pull the pin LOW against the pull-up. A wet probe "
    "reads dry, so it never stops a filling pump.",
    "Fit a larger pull-up, or electrodes that are closer together or wetted over a greater length.",
    source=_LIMITS,
)
WET_DOUBTFUL = Code(
    "INV602",
    "a wet probe that may read dry",
    "It reads wet while the water is warm, the electrodes are clean and the parts are nominal, and fails "
    "in the worst season.",
    "Measure the conductivity of the water, and fit a larger pull-up, or electrodes that are wetted over "
    "a greater length.",
    Severity.WARNING,
    source=_LIMITS,
)
DRY_READS_WET = Code(
    "INV603",
    "a dry probe that reads wet",
    "Drops on the holder, or the cable, conduct enough to pull the pin LOW against the pull-up. The tank "
    "seems full while it is empty.",
    "Fit a smaller pull-up, or electrodes that are further apart.",
    source=_LIMITS,
)
DRY_DOUBTFUL = Code(
    "INV604",
    "a dry probe that may read wet",
    "It reads dry while its holder and cable are clean and dry. Drops, slime or a damp joint bring it "
    "into the band where a pin may read either.",
    "Fit a smaller pull-up or a shorter cable, keep the holder clean, or set the electrodes further apart.",
    Severity.WARNING,
    source=_LIMITS,
)
PULL_UP_UNKNOWN = Code(
    "INV605",
    "a resistor of unknown value",
    "Without it nobody can say whether these electrodes read reliably.",
    "Add `pull_up_resistor` with its resistance.",
    Severity.NOTE,
    "arithmetic: a wet probe needs at most a third of the pull-up's resistance, a dry one at least three times it",
)
CABLE_TOO_LONG = Code(
    "INV606",
    "a cable too long for its pull-up",
    "The firmware turns on the chip's own pull-up, or a pin that feeds external resistors, for each "
    "reading only. A long cable is a capacitor that is still near LOW when the pin is read, so a dry "
    "probe reads wet.",
    "Fit a resistor (a smaller one, if there is one already) from each probe's pin to 3.3 V, or better to "
    "a pin that is on only while the probes are read (`pull_up_feed`), and write `pull_up: external`. Or "
    "place the board nearer.",
    Severity.WARNING,
    source="capacitance of ordinary cable: common practice; settling time: the firmware's own",
)
TOO_MUCH_CURRENT = Code(
    "INV607",
    "more direct current than electrodes tolerate",
    "An external resistor is always on, so its current flows through the water all the time: it wears one "
    "electrode away, coats the other, and makes gas. For this reason level relays use alternating "
    "current, and the firmware turns the chip's own pull-up on for its readings only.",
    "Fit a larger resistor, or feed it from a pin that is on only while the probes are read (`pull_up_feed`).",
    Severity.WARNING,
    source="limit of 100 uA: from memory; direct current wears electrodes: makers of level relays",
)
RODS_TOUCH = Code(
    "INV608",
    "rods that touch",
    "The spacing is measured from centre to centre. At one diameter or less the rods touch, and every "
    "reading is wet.",
    "Correct the spacing or the diameter.",
    source="geometry: two rods of one diameter have a gap only where the spacing is more than the diameter",
)
RESISTOR_UNUSED = Code(
    "INV609",
    "a resistor that is not used",
    "With `pull_up: internal` the firmware relies on the chip's own pull-up. An additional resistor "
    "changes every reading.",
    "Write `pull_up: external`, or delete `pull_up_resistor`.",
    source="arithmetic: resistors in parallel, 1 / R = 1 / R1 + 1 / R2",
)
WATER_UNKNOWN = Code(
    "INV610",
    "electrodes in unknown water",
    "Without the kind of water or its conductivity nobody can say whether these electrodes read reliably.",
    "Add `water` with its `kind`, or better its measured `conductivity`.",
    Severity.NOTE,
    "arithmetic: resistance = cell constant / conductivity",
)

LITTLE_CONDUCTING = Code(
    "INV611",
    "water of low conductivity, and no electrodes given",
    "Ordinary electrodes in rain or snow water do not read reliably through this pull-up: a wet probe may "
    "read dry, and then does not stop a filling pump.",
    "Add `electrodes`, long and close together, and fit the resistor that `check` then names.",
    Severity.WARNING,
    f"{_LIMITS}; rain: 5 to 50 uS/cm (from memory)",
)
RESISTOR_TOO_LARGE = Code(
    "INV612",
    "a resistor too large for an input",
    "An input leaks up to 50 nA, and a damp terminal much more. Through so large a resistor a dry probe "
    "may read wet.",
    "Fit a resistor of 1 Mohm or less, and electrodes to go with it.",
    Severity.WARNING,
    "input leakage of 50 nA: data sheets of ESP32 and ESP8266, DC characteristics; the limit of 1 Mohm: own allowance",
)
WATER_OUT_OF_KIND = Code(
    "INV613",
    "a conductivity that this kind of water does not have",
    "One of the two is wrong, often by its unit (mS for uS), and every finding about the probes depends "
    "on it.",
    "Check the meter's unit, or correct `kind`.",
    Severity.WARNING,
    "Maine DHHS (drinking water), datastream.org (rivers, brackish), TEOS-10 (sea); rain and grey water: from memory; "
    "3 x either way: own allowance",
)
RODS_TOO_LONG = Code(
    "INV614",
    "rods longer than the water is deep",
    "`wetted` is the length under water when a mark counts as reached. At the lowest mark the water is "
    "not that deep.",
    "Correct `wetted`, or the height of the mark.",
    Severity.WARNING,
    "geometry: the rod ends above the bottom",
)

CELL_CONSTANT_ODD = Code(
    "INV615",
    "an impossible cell constant",
    "Resistance is cell constant / conductivity. A wrong unit here makes every probe seem readable, or none.",
    "Check the units of the electrodes: areas in cm2, lengths in mm, a given constant in /cm.",
    Severity.WARNING,
    "cells of conductivity meters: 0.01 to 10 /cm (common practice); 0.005 to 50 /cm: own allowance",
)

CURRENT_IN_DRINKING_WATER = Code(
    "INV616",
    "constant direct current in drinking water",
    "An external resistor to 3.3 V is always on. Its current dissolves metal of the probes into water "
    "that people drink. The chip's own pull-up is on for a reading only, some 1 % of the time, and a pin "
    "that feeds resistors (`pull_up_feed`) some 3 %.",
    "Feed the resistors from a pin that is on only while the probes are read (`pull_up_feed`). Or put a "
    "level relay for drinking water, which senses with alternating current, between the probes and the "
    "pins. Or place the board nearer to the tank, or the electrodes closer together.",
    Severity.WARNING,
    "Faraday's law, 1.042 g of iron per A h; makers of level relays use alternating current for this reason",
)

CODES = codes_in(globals())
