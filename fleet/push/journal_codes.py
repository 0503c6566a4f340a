"""Codes of the journal of pushes: each way in which it cannot be read or written has its own."""

from __future__ import annotations

from fleet.codes import Code, codes_in

_ASIDE = (
    "Restore journal.db and the files beside it from a copy, or move all of them aside (the message has the command) "
    "and run `tankfleet audit`. You then lose what earlier pushes did, and cannot `roll-back` or `resume` them. "
    "Nodes still report what they run, and trials end on their own."
)

DAMAGED_JOURNAL = Code(
    "PSH108",
    "the journal is damaged",
    "Its pages or records contradict one another: a failing disk, a copy made while it was written, or "
    "another program. Nothing was changed, for nobody would know any more what is under way.",
    _ASIDE,
)
NOT_A_JOURNAL = Code(
    "PSH140",
    "this file is not a push journal",
    "It does not begin like a database, or belongs to another program. It was left unchanged.",
    _ASIDE,
)
ALTERED_JOURNAL = Code(
    "PSH141",
    "the journal does not match its checksums",
    "Each record carries a checksum over itself and those before it. One record was altered or is "
    "missing, which the database itself does not notice, so what follows it is unreliable. Nothing was "
    "changed.",
    _ASIDE,
)
EMPTY_JOURNAL = Code(
    "PSH142",
    "the journal is empty or missing, though there was one",
    "A new journal is never empty, and the file beside it says that pushes were recorded. A new journal "
    "would hide them: nothing would seem to have been pushed.",
    _ASIDE,
)
SHORT_JOURNAL = Code(
    "PSH143",
    "the journal lacks its last records",
    "The file beside it counts the commits, and the journal holds fewer: journal.db-wal was deleted or "
    "damaged, or somebody restored an older copy. Nothing was changed.",
    "Restore journal.db-wal, or the newest copy of all. To continue with what is there, move "
    "journal.db-head away: pushes then stand as they did before the missing records, and `tankfleet "
    "resume` asks every node before it acts.",
)
JOURNAL_DISK_FULL = Code(
    "PSH144",
    "the disk with the journal is full",
    "The tool does nothing to a node before it has recorded it, and that failed. Earlier records are "
    "unchanged.",
    "Make room on the disk, then run `tankfleet resume` if a push was under way, otherwise the same "
    "command again.",
)
JOURNAL_READ_ONLY = Code(
    "PSH145",
    "the journal cannot be written",
    "The disk, the folder or the file is read-only for you. Even reading needs a file beside it that "
    "coordinates the processes. Nothing was changed.",
    "Make the folder and the file writable for you, or run the tool where they are: the setting `state` "
    "names the folder.",
)
JOURNAL_BUSY = Code(
    "PSH146",
    "another program has locked the journal",
    "A program such as a backup or a database browser has kept it locked for longer than any command of "
    "this tool does. Nothing was changed.",
    "End the program that has the file open (`fuser -v` on the file names it), then run the same command again.",
)
NEWER_JOURNAL = Code(
    "PSH147",
    "the journal's format is unknown to this version",
    "A newer version of the tool wrote it, and it may hold what this one would overlook. Nothing was "
    "changed.",
    "Use the version of the tool that wrote it, or a later one.",
)
JOURNAL_ON_NETWORK = Code(
    "PSH148",
    "the journal is on a network disk",
    "Its log of writes, and the lock that keeps two runs from pushing at the same time, work among "
    "processes of one machine only. On a network disk both can fail without a message.",
    "Name a folder on a disk of this machine with the setting `state`, and move what is in .tankfleet into it.",
)
JOURNAL_DISK_FAULT = Code(
    "PSH149",
    "the disk failed under the journal",
    "The operating system could not read or write it. Whether the last record is there is not known; "
    "nothing that depends on it was done.",
    "Check the disk and the system's log. If a push was under way, then run `tankfleet resume`: it asks "
    "every node what it runs before it does anything.",
)

CODES = codes_in(globals())
