"""Codes of finding nodes."""

from __future__ import annotations

from fleet.codes import Code, Severity

NO_INTERFACE = Code(
    "FND101",
    "cannot look for nodes on that interface",
    "Announcements come to UDP port 5353 of one interface, or of all; its address must be this machine's.",
    "Set `find_on` to an address of this machine, `all` or `auto`; `tankfleet settings` shows its origin.",
)
MISSING = Code(
    "FND102",
    "a node was not found",
    "It did not announce itself, or nothing answered where it was announced and where it was last found.",
    "Look at its power and its network; give it more time with --timeout.",
)
UNKNOWN = Code(
    "FND103",
    "a node that is not in the inventory",
    "It announces itself as a tank node, but no node of that name is in the inventory.",
    "Add it to the inventory, or take it off the network.",
    Severity.WARNING,
)
DOUBLE = Code(
    "FND104",
    "two boards say that they are the same node",
    "Both hold the node's key, so an update could reach the wrong one, and whose level it is nobody knows.",
    "Take one of them off the network, or load it over USB as another node.",
)
FALSE_NODE = Code(
    "FND105",
    "something gives itself out as a node",
    "It announces the node's name, but what it answers is not signed with the node's key.",
    "If every node shows this, the keys here are not this fleet's: copy the key folder from the machine that has it. "
    "Else find the device at that address; one board that was loaded with other keys is loaded over USB again.",
)
CROWDED = Code(
    "FND106",
    "a node is crowded",
    "Where it was announced or last found, all connections are taken, for as long as it was asked. It is there, and "
    "what it runs is not known.",
    "Run the command again. If it lasts, see which other programs speak to the node: scrapers, other computers.",
)
CODES = (NO_INTERFACE, MISSING, UNKNOWN, DOUBLE, FALSE_NODE, CROWDED)
