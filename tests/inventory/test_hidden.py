"""Characters that no editor shows are refused with their place and code point, plainly written or as an escape.

The characters and their categories are those of the Unicode Character Database 15 (UnicodeData.txt,
DerivedCoreProperties.txt).
"""

from __future__ import annotations

from pathlib import Path

import pytest

from fleet.check.load import read_texts

FARM = Path(__file__).with_name("farm.yaml").read_text(encoding="utf-8")
HIDDEN = {
    "a tag": 0xE0041,
    "the tag of a language": 0xE0001,
    "a tag that is not assigned": 0xE0002,
    "a variation selector supplement": 0xE0100,
    "soft hyphen": 0xAD,
    "zero width space": 0x200B,
    "zero width non-joiner": 0x200C,
    "zero width joiner": 0x200D,
    "word joiner": 0x2060,
    "Arabic letter mark": 0x61C,
    "right-to-left override": 0x202E,
    "line separator": 0x2028,
    "paragraph separator": 0x2029,
    "next line": 0x85,
    "interlinear annotation anchor": 0xFFF9,
    "musical begin beam": 0x1D173,
    "Mongolian vowel separator": 0x180E,
    "Hangul filler": 0x3164,
    "combining grapheme joiner": 0x34F,
    "byte order mark": 0xFEFF,
    "a noncharacter": 0xFDD0,
}
SEEN = "Zürich 水 ❤️ naïve ½ µS/cm \u00a0 Ω"


@pytest.mark.parametrize("point", HIDDEN.values(), ids=HIDDEN.keys())
def test_hidden_character_is_refused_with_its_place_and_code_point(point) -> None:
    line = next(n for n, text in enumerate(FARM.splitlines(), 1) if "name: " in text)
    text = FARM.replace("name: ", f"name: {chr(point)}", 1)
    _, findings = read_texts([("farm.yaml", text.encode())])
    first = findings[0]
    assert (first.code.code, first.place.line) == ("INV103", line)
    assert first.place.col == FARM.splitlines()[line - 1].index("name: ") + 7
    assert f"U+{point:04X}" in first.what


@pytest.mark.parametrize("point", HIDDEN.values(), ids=HIDDEN.keys())
def test_hidden_character_is_refused_as_an_escape_too(point) -> None:
    text = FARM.replace("name: ", f'note: "a\\U{point:08X}b"\nname: ', 1)
    _, findings = read_texts([("farm.yaml", text.encode())])
    assert any(f.code.code == "INV103" and f"U+{point:04X}" in f.what for f in findings)


def test_what_is_seen_is_not_refused() -> None:
    _, findings = read_texts([("farm.yaml", f"# {SEEN}\r\n{FARM}".encode())])
    assert [f.code.code for f in findings if f.code.code == "INV103"] == []
