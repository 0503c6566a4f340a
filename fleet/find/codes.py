"""Codes of finding nodes."""

from __future__ import annotations

from fleet.codes import Code, Severity

NO_INTERFACE = Code(
    "FND101",
    "cannot search for nodes on that interface",
    "Announcements arrive at UDP port 5353 of one interface, or of all. The address must belong to this "
    "machine.",
    "Set `find_on` to an address of this machine, `all` or `auto`; `tankfleet settings` shows where it is "
    "set.",
)
MISSING = Code(
    "FND102",
    "a node was not found",
    "It did not announce itself, or nothing answered at its announced and its last known address.",
    "Check its power and its network, or allow more time with --timeout.",
)
UNKNOWN = Code(
    "FND103",
    "a node that is not in the inventory",
    "It announces itself as a tank node, but the inventory has no node of that name.",
    "Add it to the inventory, or take it off the network.",
    Severity.WARNING,
)
DOUBLE = Code(
    "FND104",
    "two boards claim to be the same node",
    "Both hold the node's key, so an update could reach the wrong one, and nobody knows whose level is "
    "reported.",
    "Disconnect one of them, or load it over USB as another node.",
)
FALSE_NODE = Code(
    "FND105",
    "a device impersonates a node",
    "It announces the node's name, but its answer is not signed with the node's key.",
    "If every node shows this, the keys here are not this fleet's: copy the key folder from the machine "
    "that has it. Otherwise find the device at that address; if it is your board with other keys, load it "
    "over USB again.",
)
CROWDED = Code(
    "FND106",
    "all connections of a node are in use",
    "At its announced or last known address, all connections were in use for as long as it was asked. The "
    "node is there, but what it runs is not known.",
    "Run the command again. If it lasts, find out which other programs connect to the node: scrapers, "
    "other computers.",
)
CODES = (NO_INTERFACE, MISSING, UNKNOWN, DOUBLE, FALSE_NODE, CROWDED)
