"""Codes of single values: INV130-139."""

from __future__ import annotations

from fleet.codes import Code, codes_in

NO_UNIT = Code(
    "INV130",
    "a quantity without its unit",
    "A bare number means metres to one person and inches to the next, and the tool does not guess.",
    "Write the unit after the number, as in `2.4 m` or `60 L/min`.",
)
NOT_A_QUANTITY = Code(
    "INV131",
    "not a quantity",
    "A quantity is one number and one unit.",
    "Write it as in `2.4 m`, `96 in`, `60 L/min`, `1100 gal`, `0.75 kW`, `120 uS/cm`, `4 h` or `10 %`.",
)
WRONG_UNIT = Code(
    "INV132",
    "a unit that is wrong here",
    "The unit is unknown, or it measures something else than this key holds.",
    "Use one of the units in the message.",
)
OUT_OF_RANGE = Code(
    "INV133",
    "a number out of range",
    "A wrong digit or unit would end up in a pump's longest run or a tank's spare time.",
    "Check the digits and the unit.",
)
BAD_MAC = Code(
    "INV134",
    "not a MAC or a BSSID",
    "A MAC ties a node to one board, and a BSSID ties it to one access point. One wrong digit makes it "
    "another one, or none.",
    "Write it in lower case with colons, as in `10:20:30:40:50:1a`.",
)
BAD_DATE = Code(
    "INV135",
    "not a date or a time",
    "The order of day and month differs from country to country; ISO 8601 has one order.",
    "Write a day as in `2025-03-14`, a time as in `2025-03-14 02:30`.",
)

CODES = codes_in(globals())
