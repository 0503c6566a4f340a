"""Codes of reading files: INV100-119, of one part by itself: 120-129, of editing by the tool: 180-189."""

from __future__ import annotations

from fleet.codes import Code, codes_in

HAS_ERRORS = Code(
    "INV100",
    "the inventory has errors",
    "Nothing is built or pushed from an inventory that says two things at once, or something that cannot be.",
    "Put the errors right that are listed, then run `tankfleet check`.",
)
UNREADABLE = Code(
    "INV101",
    "a file cannot be read",
    "All files together are one inventory; with one of them unread, parts would seem to be missing.",
    "Check that it is a plain file and that you may read it, or take it out of the folder.",
)
NOT_UTF8 = Code(
    "INV102",
    "a file is not UTF-8",
    "In any other encoding names and units may come out as other characters than were typed.",
    "Save the file as UTF-8.",
)
HIDDEN_CHARACTER = Code(
    "INV103",
    "a character that editors do not show",
    "It would make two names differ that look the same, or turn the order of what is read on the screen.",
    "Delete the character and type the text around it again.",
)
BAD_YAML = Code(
    "INV104",
    "this is not YAML",
    "The file cannot be read from here on, so nothing after this place was checked.",
    "Check the indentation, the colons, the brackets and the quotes of this line and the one above it.",
)
TAB = Code(
    "INV105",
    "a tab",
    "YAML allows only spaces before a key or a dash: a tab is as wide as each editor likes it to be.",
    "Replace the tab by spaces.",
)
TOO_LARGE = Code(
    "INV106",
    "larger than is read",
    "The bounds keep a damaged or hostile file from taking all memory and time of this machine.",
    "Split the inventory into more files; if it is not that large, look for what repeats.",
)
SEVERAL_DOCUMENTS = Code(
    "INV107",
    "a second document in one file",
    "A line of dashes begins a new document; which of them counts would be a guess.",
    "Take the line `---` out, or move what follows into a file of its own.",
)
UNUSED_YAML = Code(
    "INV108",
    "a part of YAML that an inventory does not use",
    "Anchors, aliases, merge keys, tags and directives make a value differ from what stands in its place.",
    "Write the value out where it is needed; put a text that begins with `&`, `*` or `!` in quotes.",
)
TWICE = Code(
    "INV109",
    "a key given twice",
    "One of the two values would silently win.",
    "Keep one of them.",
)
NOT_A_MAPPING = Code(
    "INV110",
    "keys and values are needed",
    "A file holds the keys `fleet`, `policy`, `sites`, `tanks`, `nodes` and `rulings`, each with what belongs to it.",
    "Write `key: value` lines, with lists and mappings only behind the colon.",
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
    "A new project is never written over what somebody has made.",
    "Name another folder, or move what is there out of the way.",
)
TOO_MANY = Code(
    "INV113",
    "too many findings in one file",
    "One slip at the top of a file can make all the rest of it wrong; a list of thousands helps nobody.",
    "Put the first ones right, then run `tankfleet check` again.",
)
UNKNOWN_KEY = Code(
    "INV120",
    "an unknown key",
    "A key that is not known would be passed over, and with it what it was meant to say.",
    "Correct the key, or take it out.",
)
MISSING_KEY = Code(
    "INV121",
    "a missing key",
    "Without it the part cannot be built or checked, and there is no value that would do for everyone.",
    "Add the key with its value.",
)
WRONG_KIND = Code(
    "INV122",
    "another kind of value is needed",
    "Nothing is converted silently: text, number, list and mapping are told apart.",
    "Write what is needed; `tankfleet new FOLDER` writes an example of each part.",
)
NOT_A_CHOICE = Code(
    "INV123",
    "not one of the choices",
    "This key has a fixed set of values.",
    "Choose one of them.",
)
BAD_NAME = Code(
    "INV124",
    "a text of a form that cannot be used here",
    "Names become host names on the network (RFC 1123) and names of files; others go into the firmware.",
    "Use only the characters that are allowed here.",
)
WRONG_LENGTH = Code(
    "INV125",
    "too long or too short",
    "Texts and lists have fixed room in the node block, and on the network.",
    "Make it longer or shorter.",
)
CANNOT_CLAIM = Code(
    "INV180",
    "a MAC cannot be added to this file",
    "The tool adds one line and keeps every other byte of the file; here that could not be made sure of, so nothing "
    "was changed.",
    "Add the line `mac: ...` that the message gives to the node by hand.",
)

CODES = codes_in(globals())
