"""Codes of reading files: INV100-119, of one part by itself: 120-129, of editing by the tool: 180-189."""

from __future__ import annotations

from fleet.codes import Code, codes_in

HAS_ERRORS = Code(
    "INV100",
    "the inventory has errors",
    "The tool builds and pushes nothing from an inventory that is contradictory or impossible.",
    "Fix the listed errors, then run `tankfleet check`.",
)
UNREADABLE = Code(
    "INV101",
    "a file cannot be read",
    "All files together are one inventory. Without one of them, parts would seem to be missing.",
    "Check that it is a plain file and that you may read it, or take it out of the folder.",
)
NOT_UTF8 = Code(
    "INV102",
    "a file is not UTF-8",
    "In any other encoding names and units may turn into other characters.",
    "Save the file as UTF-8.",
)
HIDDEN_CHARACTER = Code(
    "INV103",
    "a character that editors do not show",
    "It would make names differ that look the same, or change the order of the text on the screen.",
    "Delete the character and type the text around it again.",
)
BAD_YAML = Code(
    "INV104",
    "invalid YAML",
    "The file cannot be read from here on, so nothing after this place was checked.",
    "Check the indentation, the colons, the brackets and the quotes of this line and the one above it.",
)
TAB = Code(
    "INV105",
    "a tab",
    "YAML allows only spaces before a key or a dash, because each editor shows a tab with another width.",
    "Replace the tab with spaces.",
)
TOO_LARGE = Code(
    "INV106",
    "too large to be read",
    "The limits keep a damaged or hostile file from taking all memory and time of this machine.",
    "Split the inventory into more files. If it is not that large, look for what repeats.",
)
SEVERAL_DOCUMENTS = Code(
    "INV107",
    "a second document in one file",
    "A line `---` begins a new document, and the tool does not guess which one counts.",
    "Delete the line `---`, or move what follows into a file of its own.",
)
UNUSED_YAML = Code(
    "INV108",
    "a part of YAML that an inventory does not use",
    "Anchors, aliases, merge keys, tags and directives make a value differ from the text in its place.",
    "Write the value out where it is needed. Put a text that begins with `&`, `*` or `!` in quotes.",
)
TWICE = Code(
    "INV109",
    "a key given twice",
    "One of the two values would be lost without a message.",
    "Keep one of them.",
)
NOT_A_MAPPING = Code(
    "INV110",
    "expected keys and values",
    "A file holds the keys `fleet`, `policy`, `sites`, `tanks`, `nodes` and `rulings`, each with its "
    "contents.",
    "Write `key: value` lines, with lists and mappings only after the colon.",
)
NO_FILES = Code(
    "INV111",
    "no inventory files",
    "The inventory is read from every .yaml file in this folder and the folders below it.",
    "Put a .yaml file there, or start a commented inventory with `tankfleet new FOLDER`.",
)
ALREADY_THERE = Code(
    "INV112",
    "a project is there already",
    "The tool never writes a new project over an existing one.",
    "Name another folder, or move the existing project away.",
)
TOO_MANY = Code(
    "INV113",
    "too many findings in one file",
    "One mistake at the top of a file can cause all the rest, and a list of thousands helps nobody.",
    "Fix the first ones, then run `tankfleet check` again.",
)
UNKNOWN_KEY = Code(
    "INV120",
    "an unknown key",
    "The tool would ignore an unknown key, and with it what the key was meant to say.",
    "Correct the key, or delete it.",
)
MISSING_KEY = Code(
    "INV121",
    "a missing key",
    "Without it the part cannot be built or checked, and no default suits everyone.",
    "Add the key with its value.",
)
WRONG_KIND = Code(
    "INV122",
    "the wrong kind of value",
    "The tool does not convert text, numbers, lists and mappings into one another.",
    "Write the expected kind of value. `tankfleet new FOLDER` writes an example of each part.",
)
NOT_A_CHOICE = Code(
    "INV123",
    "not one of the choices",
    "This key has a fixed set of values.",
    "Choose one of them.",
)
BAD_NAME = Code(
    "INV124",
    "invalid text",
    "Names become host names on the network (RFC 1123) and file names; other texts go into the firmware.",
    "Use only the characters that are allowed here.",
)
WRONG_LENGTH = Code(
    "INV125",
    "too long or too short",
    "The node block and the network leave fixed room for texts and lists.",
    "Lengthen or shorten it.",
)
CANNOT_CLAIM = Code(
    "INV180",
    "a MAC cannot be added to this file",
    "The tool adds one line and keeps every other byte of the file. It could not guarantee that here, so "
    "it changed nothing.",
    "Add the line `mac: ...` from the message to the node by hand.",
)

CODES = codes_in(globals())
