"""Codes of the command line itself."""

from __future__ import annotations

from fleet.codes import Code, codes_in

BAD_USAGE = Code(
    "CLI101",
    "the command line cannot be understood",
    "A word, an option or a value is missing or unknown to this command. Nothing was done.",
    "Read the command's help: add -h to it.",
)
NO_SUCH_COMMAND = Code(
    "CLI102",
    "no such command",
    "The tool never guesses a command, so nothing was done.",
    "Run `tankfleet` without a command to list the commands.",
)
NO_SUCH_NAME = Code(
    "CLI103",
    "no such name",
    "Names must match letter by letter; the tool never guesses one.",
    "Run `tankfleet show` to list sites, tanks, nodes and boards, `tankfleet explain` for codes, "
    "`tankfleet schema` for schemas.",
)
NO_PROJECT = Code(
    "CLI104",
    "no inventory here",
    "The tool works in a project folder, which has an `inventory/` folder with at least one .yaml file.",
    "Go to the project folder, name it with --project, or start one with `tankfleet new FOLDER`.",
)
NEEDS_CONFIRMATION = Code(
    "CLI105",
    "this needs confirmation",
    "The command reaches many nodes or cannot be undone, so nothing is done without a yes.",
    "Run it in a terminal, or add the option named in the message.",
)
INTERNAL = Code(
    "CLI107",
    "a fault in tankfleet itself",
    "The tool met a case that it does not handle. The report file says where.",
    "Run it again with --debug to see the traceback, and send the report file to the maintainers.",
)
INTERRUPTED = Code(
    "CLI108",
    "interrupted",
    "Ctrl-C was pressed, or the program was told to end. The journal is consistent.",
    "Run the command named in the message to continue.",
)
UNWRITABLE = Code(
    "CLI109",
    "a file or folder cannot be read or written",
    "The operating system refused. What was there before is unchanged.",
    "Check that the path exists, that you may write there and that the disk has room.",
)
DEMO_FOLDER = Code(
    "CLI110",
    "the demo's folder is in use",
    "The demo replaces only a folder that an earlier demo made, never one of yours.",
    "Name another folder: `tankfleet demo FOLDER`.",
)
DEMO_FAILED = Code(
    "CLI111",
    "the demo failed",
    "Each step of the demo is a real command on this machine, and one of them did not end as expected.",
    "Read that command's message above. The demo's folder keeps what it left.",
)
STILL_FAULTY = Code(
    "CLI112",
    "a fault remains after it was cleared",
    "The node took the command and reports the fault again: it returned at once, or the node could not "
    "record that it is cleared.",
    "Check the node's faults with `tankfleet find NODE`: `flash-failed` or `no-run-record` there means "
    "that its flash is worn. Otherwise the cause of the fault remains.",
)
NO_CLEARING = Code(
    "CLI113",
    "a node's firmware cannot keep or clear faults",
    "Its release is from before faults outlived a restart, and has no command to clear one.",
    "Isolate the pump, and check it, the well and the probes. Then switch the node off and on (its pump "
    "may start at once), or push a newer release.",
)

CODES = codes_in(globals())
