"""Codes of the bench."""

from __future__ import annotations

from fleet.codes import Code, codes_in

NOT_UP = Code(
    "BEN101",
    "the bench is not up",
    "Virtual nodes are held by one program in the background, and none answers in this project.",
    "Start it with `tankfleet bench up`.",
)
NOT_STARTED = Code(
    "BEN102",
    "the bench could not be started",
    "The program that holds the virtual nodes ended, or did not open its control socket in time.",
    "Read its log, which the message names, and run `tankfleet bench up` again.",
)
OTHER_SPEED = Code(
    "BEN103",
    "the bench is up at another speed",
    "The speed of the water is given to every node at its start, so it cannot change while the bench is up.",
    "Run `tankfleet bench down`, then `tankfleet bench up --speed N`.",
)
NO_SUCH_NODE = Code(
    "BEN104",
    "no such virtual node, tank or mark on the bench",
    "Only nodes that were brought up are on the bench, with the tanks that they serve.",
    "See `tankfleet bench list` for what is there, or bring the node up with `tankfleet bench up NODE`.",
)
ADDRESS_TAKEN = Code(
    "BEN105",
    "a loopback address of the bench is taken",
    "Each virtual node has a loopback address of its own; another program listens there already.",
    "End the other one (perhaps another bench), choose other addresses with `--subnet`, or leave --subnet out.",
)
NO_HOST_IMAGE = Code(
    "BEN106",
    "there is no image for a virtual node",
    "The bench runs the real firmware, built for this machine, from the shelf.",
    "Build it with `tankfleet build --target host`.",
)
NOT_FLASHED = Code(
    "BEN107",
    "the first flash of a virtual node failed",
    "The boot loader refused the image, the ticket or the node's key.",
    "Build the node again with `tankfleet build --target host`; the message has the boot loader's own words.",
)
BAD_MESSAGE = Code(
    "BEN108",
    "the bench does not understand a message",
    "The program that holds the virtual nodes may be of another release of the tool than this one.",
    "Run `tankfleet bench down`, then `tankfleet bench up`.",
)
BAD_HURT = Code(
    "BEN109",
    "a node cannot be hurt like that",
    "Each way to hurt a node takes its own options, and a probe that is hurt has to exist.",
    "See `tankfleet bench hurt -h`.",
)
TOO_MANY_NODES = Code(
    "BEN110",
    "too many virtual nodes",
    "More processes than this machine can run in time would starve each other, and look hung.",
    "Name the nodes that you need: `tankfleet bench up NODE NODE`.",
)
NO_BOARD_FOR_BENCH = Code(
    "BEN111",
    "a node's board or a pin of it is not known",
    "The bench wires the water to the same pins as the real board has.",
    "Run `tankfleet check`, and put right what it finds.",
)
FLASHED_ALREADY = Code(
    "BEN112",
    "a virtual node has an image already",
    "A node that was flashed before goes on with what is in its flash, so the release would be ignored.",
    "Add --reflash to flash it anew, or send it the release with a push.",
)

ASKED_WRONG = (OTHER_SPEED, NO_SUCH_NODE, BAD_HURT, TOO_MANY_NODES, FLASHED_ALREADY)
"""What the bench was asked for and cannot do, so that it did nothing (BenchRefused)."""

CODES = codes_in(globals())
