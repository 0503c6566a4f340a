"""Codes of the command line itself."""

from __future__ import annotations

from fleet.codes import Code, codes_in

BAD_USAGE = Code(
    "CLI101",
    "the command line cannot be understood",
    "A word, an option or a value is missing, or is not one that this command knows, so nothing was done.",
    "Look at the command's own help: add -h to it.",
)
NO_SUCH_COMMAND = Code(
    "CLI102",
    "no such command",
    "Nothing is corrected silently, so nothing was done.",
    "Run `tankfleet` alone for the list of commands.",
)
NO_SUCH_NAME = Code(
    "CLI103",
    "no such name",
    "Names are looked up letter by letter, and nothing is corrected silently.",
    "Run `tankfleet show` to list sites, tanks, nodes and kinds of board, `tankfleet explain` for codes, "
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
    "this needs your word",
    "What was asked for reaches many nodes or cannot be taken back, so nothing is done without a yes.",
    "Run it in a terminal, or add the flag that the message names.",
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
    "Ctrl-C was pressed, or the program was asked to end; the journal is consistent.",
    "Run the command that the message names to go on.",
)
UNWRITABLE = Code(
    "CLI109",
    "a file or folder cannot be read or written",
    "The operating system refused; what was there before is still there.",
    "Check that the path exists, that you may write there and that the disk has room.",
)
DEMO_FOLDER = Code(
    "CLI110",
    "the demo's folder is taken",
    "The demo replaces only a folder that an earlier demo laid out, never one of yours.",
    "Name another folder: `tankfleet demo FOLDER`.",
)
DEMO_FAILED = Code(
    "CLI111",
    "the demo did not go as it should",
    "Each step of the demo is a real command on this machine; one of them ended otherwise than the story says.",
    "Read the message of that command above; what it left behind is in the demo's folder.",
)
STILL_FAULTY = Code(
    "CLI112",
    "a fault is still there after it was cleared",
    "The node took the command and says that the fault stands: it came again at once, or it could not write down that "
    "it is cleared.",
    "Look at the node's faults with `tankfleet find NODE`; `flash-failed` or `no-run-record` there means that its "
    "flash is worn. Else what caused the fault is still so.",
)
NO_CLEARING = Code(
    "CLI113",
    "a node's firmware knows of no fault that stays",
    "It runs a release from before faults outlived a restart, and has no command that clears one.",
    "Isolate the pump, and look at it, the well and the probes. Then switch the node off and on (its pump may start at "
    "once), or push a newer release.",
)

CODES = codes_in(globals())
