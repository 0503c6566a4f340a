"""The text of one inventory file: decoded, free of what no editor shows, able to name a place in itself."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING, Final

from fleet.finding import Finding, Place
from fleet.inventory.codes import HIDDEN_CHARACTER, NOT_UTF8, TOO_LARGE, TOO_MANY
from fleet.inventory.hidden import hidden_in
from fleet.inventory.positions import Positions
from fleet.limits import FINDINGS_PER_FILE, INVENTORY_FILE_BYTES, QUOTED_LINE_CHARS

if TYPE_CHECKING:
    from fleet.inventory.positions import Path

_PLAIN_BYTES: Final = bytes([9, 10, *range(0x20, 0x7F)])
"""What most files are made of alone, and what needs no second look."""
_OTHER_ENCODINGS: Final = (
    (b"\xff\xfe\x00\x00", "UTF-32"),
    (b"\x00\x00\xfe\xff", "UTF-32"),
    (b"\xff\xfe", "UTF-16"),
    (b"\xfe\xff", "UTF-16"),
)


class Source:
    """One file: `path` as it is shown, `text` as it was decoded."""

    def __init__(self, path: str, text: str) -> None:
        self.path = path
        self.text = text

    @cached_property
    def lines(self) -> list[str]:
        """The lines without their ends."""
        return [line.removesuffix("\r") for line in self.text.split("\n")]

    @cached_property
    def spots(self) -> Positions:
        """Where each key and value stands; found when first asked for, as most files have no findings."""
        return Positions(self.text)

    def place(self, line: int, col: int, end_col: int | None = None) -> Place:
        """The place at a 1-based line and column, to `end_col` or the end of the line.

        The line is quoted; what a terminal would not show, or obey, is replaced in the quote.
        """
        text = self.lines[line - 1] if line <= len(self.lines) else ""
        end = len(text.rstrip()) + 1 if end_col is None else end_col
        quote = _without_hidden(text) if len(text) <= QUOTED_LINE_CHARS else ""
        return Place(self.path, line, col, max(end, col + 1), quote)

    def place_at(self, index: int) -> Place:
        """The place of one character, by its index in the text."""
        start = self.text.rfind("\n", 0, index) + 1
        line, col = self.text.count("\n", 0, index) + 1, index - start + 1
        return self.place(line, col, col + 1)

    def key(self, path: Path) -> Place:
        """The place of the key (in a list: the item) at a path, or of what is nearest above it."""
        found = self.spots.nearest(path)
        return self.place(*found[1].key) if found else self.place(1, 1)

    def value(self, path: Path) -> Place:
        """The place of the text at a path; of its key, where there is a list, a mapping or nothing."""
        found = self.spots.nearest(path)
        if found is None or found[0] != path or found[1].text is None:
            return self.key(path)
        return self.place(*found[1].text)


def decode(path: str, data: bytes) -> tuple[Source | None, list[Finding]]:
    """The source in `data`; None, with findings, when it cannot be read as YAML at all."""
    if len(data) > INVENTORY_FILE_BYTES:
        what = f"the file has more than {INVENTORY_FILE_BYTES} bytes"
        return None, [Finding(TOO_LARGE, what, Place(path))]
    for mark, name in _OTHER_ENCODINGS:
        if data.startswith(mark):
            return None, [Finding(NOT_UTF8, f"the file is {name}, not UTF-8", Place(path))]
    try:
        text = data.decode("utf-8").removeprefix("\ufeff")
    except UnicodeDecodeError as error:
        before = data[: error.start].decode("utf-8").removeprefix("\ufeff")
        readable = Source(path, data.decode("utf-8", "replace").removeprefix("\ufeff"))
        what = f"byte 0x{data[error.start]:02x} is not UTF-8"
        return None, [Finding(NOT_UTF8, what, readable.place_at(len(before)))]
    source = Source(path, text)
    findings = _hidden(source) if data.translate(None, _PLAIN_BYTES) else []
    return (None if findings else source), findings


def _hidden(source: Source) -> list[Finding]:
    """A finding for each character that no editor shows; a carriage return is one that no line feed follows."""
    hidden = hidden_in(source.text.replace("\r\n", "\n"))
    findings: list[Finding] = []
    for index, char in enumerate(source.text) if hidden else ():
        if char not in hidden or (char == "\r" and source.text[index + 1 : index + 2] == "\n"):
            continue
        what = f"the text contains the character U+{ord(char):04X}, which editors do not show"
        findings.append(Finding(HIDDEN_CHARACTER, what, source.place_at(index)))
        if len(findings) == FINDINGS_PER_FILE:
            findings.append(too_many(source.place_at(index)))
            break
    return findings


def _without_hidden(text: str) -> str:
    hidden = hidden_in(text)
    return "".join("\ufffd" if char in hidden else char for char in text) if hidden else text


def too_many(place: Place) -> Finding:
    """The last finding of a file with as many as are listed."""
    what = f"there are {FINDINGS_PER_FILE} findings up to here; the rest was not checked"
    return Finding(TOO_MANY, what, place)
