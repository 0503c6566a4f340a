"""Codes of the journal of pushes: each way in which it cannot be read or written has its own."""

from __future__ import annotations

from fleet.codes import Code, codes_in

_ASIDE = (
    "Put journal.db and the files beside it back from a copy, or move all of them aside (the message has the command) "
    "and run `tankfleet audit`. What is lost then: what earlier pushes did, and `roll-back` and `resume` of them. "
    "Nodes still say themselves what they run, and trials end by themselves."
)

DAMAGED_JOURNAL = Code(
    "PSH108",
    "the journal is damaged",
    "Its pages or records do not hold together: a disk that fails, a copy made while it was written, or another "
    "program. Nothing was changed, for nobody would know any more what is under way.",
    _ASIDE,
)
NOT_A_JOURNAL = Code(
    "PSH140",
    "this file is no journal of pushes",
    "It does not begin as a database does, or is one of another program. It was left as it is.",
    _ASIDE,
)
ALTERED_JOURNAL = Code(
    "PSH141",
    "the journal does not match its checksums",
    "Every record is sealed with a checksum over itself and those before it. One was altered or is missing, which the "
    "database itself does not notice; what follows from it cannot be relied on. Nothing was changed.",
    _ASIDE,
)
EMPTY_JOURNAL = Code(
    "PSH142",
    "the journal is empty or gone, though there was one",
    "A new journal is never empty, and the file beside it says that pushes were written down. To begin a new one in "
    "silence would say that nothing was ever pushed.",
    _ASIDE,
)
SHORT_JOURNAL = Code(
    "PSH143",
    "the journal lacks what was written last",
    "The file beside it counts what was committed, and the journal holds less: journal.db-wal was deleted or damaged, "
    "or an older copy was put back. Nothing was changed.",
    "Put journal.db-wal, or the newest copy of all, back. To go on with what is there, move journal.db-head away; "
    "pushes then stand as they did before the missing records, and `tankfleet resume` asks every node before it acts.",
)
JOURNAL_DISK_FULL = Code(
    "PSH144",
    "the disk with the journal is full",
    "Nothing is done to a node before it is written down, and that could not be. What was written down before stands.",
    "Make room on the disk, then run `tankfleet resume` if a push was under way, else the same command again.",
)
JOURNAL_READ_ONLY = Code(
    "PSH145",
    "the journal cannot be written",
    "The disk, the folder or the file is read-only for you. Even reading needs a file beside it that tells processes "
    "apart. Nothing was changed.",
    "Make the folder and the file writable for you, or work where they are: the setting `state` names the folder.",
)
JOURNAL_BUSY = Code(
    "PSH146",
    "another program holds the journal",
    "Somebody else has kept it locked for longer than any command of this tool does, such as a backup or a database "
    "browser. Nothing was changed.",
    "End the program that has the file open (`fuser -v` on the file names it), then run the same command again.",
)
NEWER_JOURNAL = Code(
    "PSH147",
    "the journal has a form that this version does not know",
    "A newer version of the tool wrote it, and may hold in it what this one would overlook. Nothing was changed.",
    "Use the version of the tool that wrote it, or a later one.",
)
JOURNAL_ON_NETWORK = Code(
    "PSH148",
    "the journal lies on a network disk",
    "Its log of writes, and the lock that keeps two runs from pushing at the same time, work among processes of one "
    "machine only. On a network disk both can be lost without a word.",
    "Name a folder on a disk of this machine with the setting `state`, and move what is in .tankfleet into it.",
)
JOURNAL_DISK_FAULT = Code(
    "PSH149",
    "the disk failed under the journal",
    "The operating system could not read or write it. Whether the last record is there is not known; nothing was done "
    "that rests on it.",
    "Look at the disk and at the system's log. Then run `tankfleet resume` if a push was under way: it asks every node "
    "what it runs before it does anything.",
)

CODES = codes_in(globals())
