"""Codes of rulings, INV700-709: what is wrong with what a person has ruled."""

from __future__ import annotations

from fleet.codes import Code, Severity, codes_in

NOT_A_FINDING = Code(
    "INV700",
    "a ruling on a code that does not exist",
    "It changes nothing, and the finding that it was meant for still counts.",
    "Write the code as `tankfleet check` prints it, such as INV501.",
)
CANNOT_RULE = Code(
    "INV701",
    "a ruling on a finding that cannot be ruled on",
    "Rulings are for wiring, networks, water and electrodes, INV400 to INV699, where a person may know "
    "better. The other codes are about an inventory that cannot be read or built.",
    "Fix the finding, and delete the ruling.",
)
RULES_ON_NOTHING = Code(
    "INV702",
    "a ruling that no finding needs",
    "Its finding was fixed, or it names the wrong thing. Left in place, it would hide the next finding of "
    "that kind.",
    "Correct `about`, or delete the ruling.",
    Severity.WARNING,
)
RULING_PAST = Code(
    "INV703",
    "an expired ruling",
    "The ruling no longer applies, so its finding counts again.",
    "Fix the finding and delete the ruling, or rule again with a later `expires`.",
    Severity.WARNING,
)
RULED_TWICE = Code(
    "INV704",
    "two rulings on one thing",
    "Only one of them can apply, and the tool does not guess which.",
    "Keep the one that applies.",
)
ENDS_BEFORE_IT_BEGINS = Code(
    "INV705",
    "a ruling that expires before its date",
    "One of the two dates is wrong, so nobody can tell whether the ruling applies.",
    "Correct `date` or `expires`.",
)

CODES = codes_in(globals())
