"""Codes of the wiring, INV400-449, with those of feeds: what a pin is asked to do, and what the board makes of it."""

from __future__ import annotations

from fleet.check.codes import feeds
from fleet.codes import Code, Severity, codes_in

_PIN_FIX = "Wire it to another pin; `tankfleet show board` draws what each pin can do."
_BOARD = "the board's documents, named in each finding and by `tankfleet show board`"
_CHIP = "the chip's documents, named in each finding and by `tankfleet show board`"

PROBE_PIN_TAKEN = Code(
    "INV401",
    "a probe on a pin that is not free",
    "The pin is wired to the flash chip, and the board does not run with anything else on it.",
    _PIN_FIX,
    source=_CHIP,
)
PROBE_NEEDS_RESISTOR = Code(
    "INV402",
    "a probe on a pin without a pull-up",
    "A probe pulls its pin LOW through the water. Without a pull-up nothing pulls the pin of a dry probe "
    "HIGH: it floats and reads anything.",
    "Wire it to a pin with a pull-up, or fit a resistor from the pin to 3.3 V and write `pull_up: external`.",
    source=_CHIP,
)
PROBE_HOLDS_STRAP_LOW = Code(
    "INV403",
    "a wet probe that stops the board from starting",
    "The chip reads this pin at reset and starts only while it is HIGH. The water pulls it LOW, so after "
    "a power cut a full tank has no controller.",
    _PIN_FIX,
    source=_CHIP,
)
PROBE_HOLDS_STRAP_HIGH = Code(
    "INV404",
    "a probe's pull-up on a pin that must be LOW at reset",
    "The chip reads this pin at reset and needs it LOW. A pull-up on it selects another start mode or "
    "another flash voltage, or loses against the board's own pull-down, so that a dry probe reads wet.",
    _PIN_FIX,
    source=_CHIP,
)
PROBE_WITH_CARE = Code(
    "INV405",
    "a probe on a pin with a second function",
    "It works in most cases, but the pin has another function that the probe disturbs, or that disturbs "
    "the probe.",
    _PIN_FIX,
    Severity.WARNING,
    source=_CHIP,
)
PROBE_LOADED = Code(
    "INV406",
    "a probe on a pin that the board itself drives or loads",
    "What the board has on the pin is stronger than the water, or than the pull-up. The probe always "
    "reads the same, wet or dry, and the pump overfills the tank or never starts.",
    _PIN_FIX,
    source=_BOARD,
)
PROBE_ON_USB = Code(
    "INV407",
    "a probe on a data line of the board's USB socket",
    "A computer or charger in the socket holds the line at its own level, so the probe reads the cable. "
    "The wire to the tank also brings surges to the computer.",
    _PIN_FIX,
    source=_BOARD,
)
PROBE_BESIDE_LOAD = Code(
    "INV408",
    "a pin whose load on the board hides the probe",
    "A LED or a resistor on the board works with or against the pull-up. Another pin would tell wet from "
    "dry reliably; this one does not.",
    _PIN_FIX,
    source=_BOARD,
)
RELAY_PIN_CANNOT = Code(
    "INV411",
    "a pump relay on a pin that cannot drive it",
    "The relay would never switch, or the board would not run.",
    _PIN_FIX,
    source=_CHIP,
)
RELAY_PICKS_UP = Code(
    "INV412",
    "a pump that starts whenever the board does",
    "Until the firmware runs, the chip sets the pin's level. After each power cut, reset and update the "
    "pump would run for that long, whatever the level of the tank.",
    _PIN_FIX,
    source=_CHIP,
)
RELAY_ON_STRAP = Code(
    "INV413",
    "a pump relay on a pin that decides how the board starts",
    "The chip reads the pin at reset. The relay's input pulls at it, and the chip or its USB port pulls "
    "at the relay.",
    _PIN_FIX,
    source=_CHIP,
)
RELAY_WITH_CARE = Code(
    "INV414",
    "a pump relay on a pin that may change at start",
    "A contactor is too slow to follow a short pulse; a solid-state relay is not. A weak pull also moves "
    "a sensitive input.",
    "Wire it to another pin, or fit a resistor from the relay's input to its OFF level: 3.3 kOhm where the chip pulls "
    "the pin to ON, 10 kOhm elsewhere.",
    Severity.WARNING,
    source=_CHIP,
)
RELAY_PIN_DRIVEN = Code(
    "INV415",
    "a pump relay on a pin that something else on the board drives",
    "The USB bridge, a device in the USB socket, or a finger on the button would switch the pump, or "
    "drive against the chip.",
    _PIN_FIX,
    source=_BOARD,
)
WIRES_OF_ONE_COLOR = Code(
    "INV421",
    "two wires of one colour",
    "On the ladder with the sheet, nobody can tell them apart. With a probe and the common electrode "
    "swapped everything reads dry until the water is at that probe: a tank seems empty that is not, and a "
    "filling pump starts again each time the level falls below it.",
    "Give each wire of the cable its own colour, if need be two: `white/blue`.",
    Severity.WARNING,
    "common practice: each core of a cable is known by its colour; swapped wires: Kirchhoff's laws, the probe being "
    "the ground of all the others",
)
EARTH_COLOR = Code(
    "INV422",
    "a wire in the colour of protective earth",
    "Green/yellow is protective earth and nothing else, and a bare core in a cable is taken for earth or "
    "its screen. Whoever finds such a core joins it to earth, or relies on it being earthed. The common "
    "electrode is not earth but the board's ground, kept apart from mains.",
    "Use another core, such as `white/blue`, and leave this one unused.",
    source="IEC 60445 and IEC 60204-1 13.2.2: green-and-yellow is reserved for the protective conductor, which may be "
    "known by being bare too; NEC 250.119: bare, green, or green with yellow stripes",
)
GREEN_WIRE = Code(
    "INV423",
    "a green or a yellow wire that is not earth",
    "Somebody may take such a core for the green/yellow one of earth. IEC allows green alone and yellow "
    "alone only where nobody can; US code reserves green, with an exception for power-limited circuits.",
    "Use another core, such as `white/blue`. Where nobody can take it for green/yellow, as in a cable "
    "that carries extra-low voltage alone, say so in a ruling.",
    Severity.WARNING,
    "IEC 60204-1 13.2.4 and IEC 60445: no single green or yellow where it may be confused with green-and-yellow; NEC "
    "250.119 with exception 1 (from memory)",
)

RELAY_MAY_NOT_RELEASE = Code(
    "INV424",
    "a relay module that may not release",
    "A module that is on at LOW has an LED from its supply to its input. If the supply is higher than the "
    "pin's HIGH, the LED still conducts: the relay may stay on, so that the pump never stops, and the "
    "pin gets more voltage than it tolerates.",
    "Feed the input side of the module from 3.3 V (its VCC beside IN, with the jumper to the coil's "
    "supply removed), write `supply: 3.3 V`, and check that it releases. Or fit a module that is on at "
    "HIGH.",
    Severity.WARNING,
    "optocouplers of such modules conduct from about 1.2 V (data sheets, typical); a pin at HIGH has 3.3 V at most",
)

RELAY_SUPPLY_UNSTATED = Code(
    "INV425",
    "a relay module whose supply is not stated",
    "A module that is on at LOW, with its input side fed from 5 V as most are sold, may not release at "
    "the 3.3 V that a pin has at HIGH: the pump never stops. Only the module's supply tells whether that "
    "is so here.",
    "Check what is wired to VCC beside IN, and write it: `supply: 3.3 V`, `5 V`, `12 V` or `24 V` in "
    "`pump_relay`. A module that is on at HIGH needs none.",
    Severity.WARNING,
    "optocouplers of such modules conduct from about 1.2 V (data sheets, typical); 5 V less 3.3 V leaves 1.7 V",
)

CODES = (
    *codes_in(globals()),
    *feeds.CODES,
)
