"""Codes of rendering."""

from __future__ import annotations

from fleet.codes import Code

NO_PORT = Code(
    "RND101",
    "this version has no port for the board's chip",
    "The firmware's core is the same everywhere; each chip needs a port for its pins, flash and sockets.",
    "Render and build for the bench with --target host.",
)
BAD_TEMPLATE = Code(
    "RND102",
    "a template is wrong",
    "A template names a value that does not exist, or puts text into source code without the escaper.",
    "Put the template right that the message names; it lies under templates/node.",
)
DOES_NOT_FIT = Code(
    "RND103",
    "a value does not fit into the node block",
    "The node block has fixed fields, so that one compiled class serves many nodes.",
    "Shorten the name or lessen the value in the inventory; `tankfleet check` shows where it is written.",
)
NO_PROBE_PIN = Code(
    "RND104",
    "a node has no pin for what it serves",
    "Each mark of a tank that the node serves needs a pin of its board.",
    "Name a pin for each mark under `probes:` in the inventory; `tankfleet show board BOARD` lists the pins.",
)
BAD_RELEASE = Code(
    "RND105",
    "a release text that cannot be used",
    "The release text stands in the node block, in the ticket and in the announcement of a node.",
    "Use 1 to 23 of these: letters, digits, and . + _ - ; such as 1.4.0.",
)
LINKED_FOLDER = Code(
    "RND106",
    "a folder to render into is a link",
    "A project is written into its own folder, and what is no longer rendered is removed there. Through a link that "
    "would reach files of another place.",
    "Remove the link that the message names, or put a folder in its place; then run the same command again.",
)

NODE_WOULD_REFUSE = Code(
    "RND107",
    "a node would refuse its node block",
    "A node checks its block at each start, and keeps all pumps off while it does not like it. The same check is done "
    "here before anything is rendered, built or pushed.",
    "Change what the message names in the inventory, and run `tankfleet check`. If that finds nothing wrong, it has "
    "missed what the node would not: please tell the makers of tankfleet.",
)

CODES = (NO_PORT, BAD_TEMPLATE, DOES_NOT_FIT, NO_PROBE_PIN, BAD_RELEASE, LINKED_FOLDER, NODE_WOULD_REFUSE)
