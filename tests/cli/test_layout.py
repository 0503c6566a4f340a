"""Folding and tables for a given number of columns."""

from __future__ import annotations

from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.cli.layout import Table, columns_of, fold

WORDS = st.text(alphabet="abcdefghij-/.", min_size=1, max_size=30)
TEXTS = st.lists(WORDS, max_size=6).map(" ".join)


@st.composite
def tables(draw: st.DrawFn) -> Table:
    width = draw(st.integers(1, 8))
    rows = draw(st.lists(st.lists(TEXTS, min_size=width, max_size=width), max_size=6))
    return Table([f"head{n}" for n in range(width)], rows)


@given(tables(), st.integers(60, 200))
def test_no_line_of_a_table_is_longer_than_the_terminal_and_no_cell_is_lost(table: Table, width: int) -> None:
    head, lines = table.on_terminal(width)
    assert all(columns_of(line) <= width for line in (head, *lines))
    shown = Counter("".join((head, *lines)))
    told = [[cell for cell in row if cell != "-"] for row in table.rows]
    assert not Counter("".join("".join(row) for row in told).replace(" ", "")) - shown
    for n, column in enumerate(table.columns):
        if any(row[n] not in ("", "-") for row in table.rows):
            assert column in "".join("".join(line.split()) for line in (head, *lines))


@given(tables())
def test_piped_is_one_whole_record_a_line(table: Table) -> None:
    head, lines = table.piped()
    assert all(column in head for column in table.columns)
    for line, row in zip(lines, table.rows, strict=True):
        assert all(cell in line for cell in row)


@given(TEXTS, st.integers(10, 80))
def test_folding_keeps_every_word_and_the_width(text: str, width: int) -> None:
    lines = fold(text, width, "", chop=True)
    assert all(columns_of(line) <= width for line in lines)
    assert "".join("".join(lines).split()) == "".join(text.split())


def test_words_stay_whole_and_rest_hangs_under_the_indent() -> None:
    assert fold("  fix: look at the pump", 14) == ["  fix: look at", "    the pump"]
    assert fold("see /a/path/that/is/long", 10) == ["see", "  /a/path/that/is/long"]
    assert fold("abcdefgh", 5, "", chop=True) == ["abcde", "fgh"]


def test_colors_take_no_columns_and_wide_characters_two() -> None:
    assert columns_of("\x1b[31mred\x1b[0m") == 3
    assert columns_of("水位") == 4
    assert fold("水位 水位", 5, "") == ["水位", "水位"]


@pytest.mark.parametrize(
    ("width", "lines"),
    [
        (60, ["node        image             tanks and how they stand"]),
        (40, ["node        image"]),
    ],
)
def test_columns_that_do_not_fit_go_under_their_record(width: int, lines: list[str]) -> None:
    row = ("kestrel-01", "7180eab1963312dc", "header-east 2/3 pump off, no fault")
    head, body = Table(("node", "image", "tanks and how they stand"), [row, row]).on_terminal(width)
    assert [head] == lines
    text = "\n".join(body)
    assert text.count("kestrel-01") == 2
    if width == 40:
        assert text.count("    tanks and how they stand:\n      header-east 2/3 pump off, no fault") == 2


def test_empty_cells_are_not_said_under_a_record() -> None:
    row = ("kestrel-01", "x" * 40, "-", "y" * 30)
    _, body = Table(("node", "what", "signal", "why"), [row]).on_terminal(60)
    assert "signal" not in "\n".join(body)


def test_a_table_of_two_is_folded_in_place() -> None:
    _, body = Table(("what", "value"), [("public point", "0" * 100)]).on_terminal(60)
    assert body[1].startswith("public point  000")
    assert len(body) == 4
