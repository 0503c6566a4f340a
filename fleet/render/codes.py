"""Codes of rendering."""

from __future__ import annotations

from fleet.codes import Code

NO_PORT = Code(
    "RND101",
    "this version has no port for the board's chip",
    "The firmware's core is the same everywhere. Each chip needs a port for its pins, flash and sockets.",
    "Render and build for the bench with --target host.",
)
BAD_TEMPLATE = Code(
    "RND102",
    "an invalid template",
    "A template names a value that does not exist, or puts text into source code without the escaper.",
    "Fix the template named in the message, under templates/node.",
)
DOES_NOT_FIT = Code(
    "RND103",
    "a value does not fit into the node block",
    "The node block has fixed fields, so that one compiled class serves many nodes.",
    "Shorten the name or lower the value in the inventory; `tankfleet check` shows where it is written.",
)
NO_PROBE_PIN = Code(
    "RND104",
    "a node has no pin for what it serves",
    "Each mark of a tank that the node serves needs a pin of its board.",
    "Name a pin for each mark under `probes:` in the inventory; `tankfleet show board BOARD` lists the pins.",
)
BAD_RELEASE = Code(
    "RND105",
    "an invalid release",
    "The release stands in the node block, in the ticket and in a node's announcement.",
    "Use 1 to 23 of these: letters, digits, and . + _ - ; such as 1.4.0.",
)
LINKED_FOLDER = Code(
    "RND106",
    "a folder to render into is a link",
    "The tool writes a project into its own folder, and deletes there what it no longer renders. Through "
    "a link that would reach files elsewhere.",
    "Remove the link named in the message, or replace it with a folder, then run the same command again.",
)

NODE_WOULD_REFUSE = Code(
    "RND107",
    "a node would refuse its node block",
    "A node checks its block at each start, and keeps all pumps off if it refuses the block. The tool "
    "makes the same check before it renders, builds or pushes.",
    "Change what the message names in the inventory, and run `tankfleet check`. If that finds nothing "
    "wrong, report it to the makers of tankfleet: it missed what the node refuses.",
)

CODES = (NO_PORT, BAD_TEMPLATE, DOES_NOT_FIT, NO_PROBE_PIN, BAD_RELEASE, LINKED_FOLDER, NODE_WOULD_REFUSE)
