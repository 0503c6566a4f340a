"""Codes of the bench."""

from __future__ import annotations

from fleet.codes import Code, codes_in

NOT_UP = Code(
    "BEN101",
    "the bench is not up",
    "One program in the background holds the virtual nodes, and none answers in this project.",
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
    "the bench runs at another speed",
    "Every node learns the speed of the water at its start, so it cannot change while the bench is up.",
    "Run `tankfleet bench down`, then `tankfleet bench up --speed N`.",
)
NO_SUCH_NODE = Code(
    "BEN104",
    "no such virtual node, tank or mark on the bench",
    "The bench has only the nodes that were brought up, with the tanks that they serve.",
    "Run `tankfleet bench list` to see what is there, or bring the node up with `tankfleet bench up NODE`.",
)
ADDRESS_TAKEN = Code(
    "BEN105",
    "a loopback address of the bench is in use",
    "Each virtual node has its own loopback address, and another program already listens there.",
    "End the other program (perhaps another bench), choose other addresses with `--subnet`, or leave "
    "--subnet out.",
)
NO_HOST_IMAGE = Code(
    "BEN106",
    "no image for a virtual node",
    "The bench runs the real firmware, built for this machine, from the shelf.",
    "Build it with `tankfleet build --target host`.",
)
NOT_FLASHED = Code(
    "BEN107",
    "the first flash of a virtual node failed",
    "The boot loader refused the image, the ticket or the node's key.",
    "Build the node again with `tankfleet build --target host`. The message quotes the boot loader.",
)
BAD_MESSAGE = Code(
    "BEN108",
    "the bench does not understand a message",
    "The program that holds the virtual nodes may be of another release than this tool.",
    "Run `tankfleet bench down`, then `tankfleet bench up`.",
)
BAD_HURT = Code(
    "BEN109",
    "invalid fault for a bench node",
    "Each fault takes its own options, and the probe that it names must exist.",
    "Run `tankfleet bench hurt -h` to see them.",
)
TOO_MANY_NODES = Code(
    "BEN110",
    "too many virtual nodes",
    "With more processes than this machine can run in time, all would slow down and look hung.",
    "Name the nodes that you need: `tankfleet bench up NODE NODE`.",
)
NO_BOARD_FOR_BENCH = Code(
    "BEN111",
    "a node's board or one of its pins is unknown",
    "The bench wires the water to the same pins as on the real board.",
    "Run `tankfleet check`, and fix what it finds.",
)
FLASHED_ALREADY = Code(
    "BEN112",
    "a virtual node already has an image",
    "A node that was flashed before continues with the image in its flash, so the release would be ignored.",
    "Add --reflash to flash it again, or send it the release with a push.",
)

ASKED_WRONG = (OTHER_SPEED, NO_SUCH_NODE, BAD_HURT, TOO_MANY_NODES, FLASHED_ALREADY)
"""What the bench was asked for and cannot do, so that it did nothing (BenchRefused)."""

CODES = codes_in(globals())
