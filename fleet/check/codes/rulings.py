"""Codes of rulings, INV700-709: what is wrong with what a person has ruled."""

from __future__ import annotations

from fleet.codes import Code, Severity, codes_in

NOT_A_FINDING = Code(
    "INV700",
    "a ruling on a code that there is not",
    "It changes nothing, and the finding that it was meant for still counts.",
    "Write the code as `tankfleet check` prints it, such as INV501.",
)
CANNOT_RULE = Code(
    "INV701",
    "a ruling on what nobody can rule on",
    "Rulings are for wiring, networks, water and electrodes, INV400 to INV699, where a person may know better; the "
    "others are about an inventory that cannot be read or built.",
    "Put right what the finding says, and take the ruling out.",
)
RULES_ON_NOTHING = Code(
    "INV702",
    "a ruling that no finding needs",
    "What it spoke of was put right, or it names another thing than was meant; left standing, it would hide the next "
    "finding of that kind.",
    "Correct `about`, or take the ruling out.",
    Severity.WARNING,
)
RULING_PAST = Code(
    "INV703",
    "a ruling past its date",
    "It no longer holds: the finding that it was about counts as before.",
    "Put right what the finding says and take the ruling out, or rule anew with a later `expires`.",
    Severity.WARNING,
)
RULED_TWICE = Code(
    "INV704",
    "two rulings on one thing",
    "Only one of them can hold; which one would be a guess.",
    "Keep the one that holds.",
)
ENDS_BEFORE_IT_BEGINS = Code(
    "INV705",
    "a ruling that ends before it was made",
    "One of the two dates is wrong, so nobody can tell whether it holds.",
    "Correct `date` or `expires`.",
)

CODES = codes_in(globals())
