"""What others sent, made fit to be shown."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.limits import FOREIGN_TEXT_CHARS
from fleet.printable import printable

HIDDEN = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
"""General categories of Unicode (UAX 44, table 12) that show nothing, or change how the rest is shown."""


def test_ordinary_words_stay_as_they_are() -> None:
    assert printable("Brunnen 7 (Zürich)") == "Brunnen 7 (Zürich)"


@pytest.mark.parametrize(
    ("foreign", "shown"),
    [
        ("a\x1b[31mb", "a\\x1b[31mb"),
        ("a\r\nb", "a\\r\\nb"),
        ("\u202eb", "\\u202eb"),
        ("\U000e0041", "\\U000e0041"),
        ("\\x1b", "\\\\x1b"),
        ("\udc80", "\\udc80"),
    ],
)
def test_what_cannot_be_printed_is_written_as_an_escape(foreign, shown) -> None:
    assert printable(foreign) == shown


def test_it_is_short() -> None:
    assert printable("x" * 10, 4) == "xxxx..."
    assert printable("\x1b" * 10, 10) == "\\x1b\\x1b..."
    assert printable("xxxx", 4) == "xxxx"


@given(st.text(alphabet=st.characters(), max_size=FOREIGN_TEXT_CHARS * 2))
def test_nothing_that_hides_is_ever_shown(foreign) -> None:
    shown = printable(foreign)
    assert not {unicodedata.category(char) for char in shown} & HIDDEN
    assert len(shown) <= FOREIGN_TEXT_CHARS + len("...")
