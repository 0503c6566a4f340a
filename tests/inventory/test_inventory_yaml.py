"""The strict reading of YAML: what a plain text stands for, what is refused, where a finding points to."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from ruamel.yaml import YAML

from fleet.check.load import read_texts
from fleet.inventory.scalars import plain
from fleet.inventory.source import Source, decode
from fleet.inventory.yaml_reader import read_yaml


def tree_of(text: str):
    return read_yaml(Source("a.yaml", text))


# Many of these are something else in YAML 1.1 (type library of yaml.org, 2005), some in YAML 1.2.2 (section 10.3, core
# schema); ours is narrower.
@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("10:20:30:40:50:10", "10:20:30:40:50:10"),  # 1.1: a number in base 60
        ("1:30", "1:30"),
        ("NO", "NO"),  # 1.1: false
        ("no", "no"),
        ("off", "off"),
        ("y", "y"),
        ("012", "012"),  # 1.1: ten; 1.2: twelve
        ("0o14", "0o14"),  # 1.2: twelve
        ("0x1f", "0x1f"),  # 1.1, 1.2: 31
        ("1_000", "1_000"),  # 1.1: a thousand
        ("+5", "+5"),  # 1.1, 1.2: five
        (".5", ".5"),
        ("5.", "5."),
        (".inf", ".inf"),
        (".nan", ".nan"),
        ("True", "True"),  # 1.1, 1.2: true
        ("NULL", "NULL"),  # 1.1, 1.2: null
        ("2025-03-14", "2025-03-14"),  # 1.1: a date
        ("=", "="),
        ("2.4 m", "2.4 m"),
        ("1234567890123456789012", "1234567890123456789012"),  # longer than any number here
        ("true", True),
        ("false", False),
        ("null", None),
        ("~", None),
        ("", None),
        ("0", 0),
        ("-12", -12),
        ("12", 12),
        ("1.50", 1.5),
        ("1e3", 1000.0),
        ("-2.5E-1", -0.25),
    ],
)
def test_plain_texts(text: str, value) -> None:
    read = plain(text)
    assert read == value
    assert type(read) is type(value)
    assert tree_of(f"a: {text}\n").top == {"a": value}
    assert tree_of(f"a: '{text}'\n").top == {"a": text}


@given(
    st.integers(-(10**17), 10**17)
    | st.floats(allow_nan=False, allow_infinity=False, width=32)
    | st.booleans()
)
def test_numbers_and_booleans_read_as_another_yaml_12_reader_reads_them(value) -> None:
    text = str(value).lower() if isinstance(value, bool) else repr(value)
    other = YAML(typ="safe", pure=True).load(text)
    assert plain(text) == other == value


SAFE = st.text(st.characters(codec="utf-8", exclude_categories=["C", "Z"]), min_size=1, max_size=12).map(
    lambda text: "x" + text.translate({ord(c): "-" for c in ":#,[]{}&*!|>'\"%@`?~="})
)
TREES = st.recursive(
    SAFE | st.integers(0, 999) | st.booleans(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(SAFE, inner, max_size=4),
    max_leaves=12,
)


@given(st.dictionaries(SAFE, TREES, min_size=1, max_size=4), st.booleans())
def test_trees_read_as_another_yaml_reader_reads_them(tree, flow: bool) -> None:
    import io

    other = YAML(typ="safe", pure=True)
    other.default_flow_style = flow
    out = io.StringIO()
    other.dump(tree, out)
    text = out.getvalue()
    assert tree_of(text).top == other.load(text) == tree


REFUSED = [
    ("a: 1\na: 2\n", "INV109", 2, 1, "line 1"),
    ("a: {b: 1, c: 2, b: 3}\n", "INV109", 1, 17, "`b` is given twice"),
    ("a: &x 1\n", "INV108", 1, 4, "anchor `&x`"),
    ("a: *x\n", "INV108", 1, 4, "alias `*x`"),
    ("a: {<<: {b: 1}}\n", "INV108", 1, 5, "merge key"),
    ("a: !!str 1\n", "INV108", 1, 4, "tag"),
    ("a: !thing {b: 1}\n", "INV108", 1, 4, "tag"),
    ("%YAML 1.1\n---\na: no\n", "INV108", 1, 1, "directive"),
    ("a: 1\n---\nb: 2\n", "INV107", 2, 1, "second document"),
    ("- 1\n", "INV110", 1, 1, "`sites:`"),
    ("just text\n", "INV110", 1, 1, "`sites:`"),
    ("[1]: 2\n", "INV110", 1, 1, "key"),
    ("? [a]\n: b\n", "INV110", 1, 3, "key must be text"),
    ("a:\n\tb: 1\n", "INV105", 2, 1, "tab"),
    ("a:\n  - b\n\t- c\n", "INV105", 3, 1, "tab"),
    ("a: b: c\n", "INV104", 1, 5, "`:` is not expected"),
    ("a: [1, 2\nb: 3\n", "INV104", 2, 2, "line 1"),
    ("a: 'never closed\nb: 1\n", "INV104", 1, 4, "never closed"),
    ('a: "a\\qb"\n', "INV104", 1, 6, "`\\`"),
    ("a: @home\n", "INV104", 1, 4, "cannot begin with `@`"),
    ("a: 1\n- b\n", "INV104", 2, 1, "a key is expected"),
    ("a: - b\n", "INV104", 1, 4, "cannot begin here"),
    ('a: "\\x07"\n', "INV103", 1, 4, "U+0007"),
    ('a: "\\u202e"\n', "INV103", 1, 4, "U+202E"),
    ("a: " + "[" * 60 + "]" * 60 + "\n", "INV106", 1, 43, "nested more than 40"),
    ("a: " + "x" * 5000 + "\n", "INV106", 1, 4, "5000 characters"),
]


@pytest.mark.parametrize(("text", "code", "line", "col", "words"), REFUSED)
def test_refused(text: str, code: str, line: int, col: int, words: str) -> None:
    tree = tree_of(text)
    finding = tree.findings[0]
    assert finding.place is not None
    assert (finding.code.code, finding.place.line, finding.place.col) == (code, line, col)
    assert words in finding.what


BYTES = [
    (b"\xff\xfea\x00", "INV102", 1, 1, "UTF-16"),
    (b"a: caf\xe9\n", "INV102", 1, 7, "0xe9"),
    ("ä: 1\nö: ".encode() + b"\xff\n", "INV102", 2, 4, "0xff"),
    (b"a: 1\nb: \x00\n", "INV103", 2, 4, "U+0000"),
    ("a: x\u200bb\n".encode(), "INV103", 1, 5, "U+200B"),
    ("a: \u202eb\n".encode(), "INV103", 1, 4, "U+202E"),
    ("a: b\u2028c: d\n".encode(), "INV103", 1, 5, "U+2028"),
    ("a: 1\n\ufeffb: 2\n".encode(), "INV103", 2, 1, "U+FEFF"),
    (b"a: 1\rb: 2\n", "INV103", 1, 5, "U+000D"),
    (b"x" * (4 * 1024 * 1024 + 1), "INV106", 1, 1, "more than 4194304 bytes"),
]


@pytest.mark.parametrize(("data", "code", "line", "col", "words"), BYTES, ids=[b[4] for b in BYTES])
def test_bytes_that_are_no_plain_text(data: bytes, code: str, line: int, col: int, words: str) -> None:
    source, findings = decode("a.yaml", data)
    assert source is None
    place = findings[0].place
    assert place is not None
    assert (findings[0].code.code, place.line, place.col) == (code, line, col)
    assert words in findings[0].what


def test_a_byte_order_mark_at_the_start_and_crlf_are_no_mistakes() -> None:
    source, findings = decode("a.yaml", b"\xef\xbb\xbfa: 1\r\nb: 'x'\r\n")
    assert source is not None
    assert not findings
    assert read_yaml(source).top == {"a": 1, "b": "x"}
    assert source.lines == ["a: 1", "b: 'x'", ""]
    assert source.value(("b",)).col == 4


def test_columns_count_characters_not_bytes() -> None:
    """Two of the characters before the mistake take 2 and 4 bytes of UTF-8."""
    text = "sites:\n  - {title: Häuschen 💧, nam: x}\n"
    _, findings = read_texts([("a.yaml", text.encode())])
    place = next(f.place for f in findings if f.code.code == "INV120")
    assert place is not None
    assert (place.line, place.col, place.end_col) == (2, 25, 28)
    assert place.quote[place.col - 1 : place.end_col - 1] == "nam"


def test_everything_refused_in_one_file_is_reported_in_one_run() -> None:
    text = "a: &x 1\nb: *x\na: 3\nsites: !set {}\n"
    found = [(f.code.code, f.place.line) for f in tree_of(text).findings if f.place]
    assert found == [("INV108", 1), ("INV108", 2), ("INV109", 3), ("INV108", 4)]


def test_a_value_that_is_refused_is_not_reported_a_second_time() -> None:
    text = "fleet: {name: &n farm, domain: farm.example}\nsites: [{name: *n, time_zone: Europe/Paris, network: a}]\n"
    _, findings = read_texts([("a.yaml", text.encode())])
    assert [(f.code.code, f.place.line) for f in findings if f.place] == [("INV108", 1), ("INV108", 2)]


@given(st.text(alphabet=":-[]{}#&*!|>'\"%@`?~ \n\tab1,", max_size=60))
def test_any_text_is_read_or_refused_at_a_place_inside_of_it(text: str) -> None:
    tree = tree_of(text)
    lines = text.split("\n")
    for finding in tree.findings:
        assert finding.place is not None
        assert 1 <= finding.place.line <= len(lines)
        assert 1 <= finding.place.col <= len(lines[finding.place.line - 1]) + 1
        assert finding.place.end_col > finding.place.col
        assert finding.place.quote == lines[finding.place.line - 1]
    if not tree.whole:
        assert tree.findings


@given(st.text(alphabet=":-[]{}#&*!|>'\"%@`?~ \n\tab1,", max_size=60))
def test_no_words_of_the_parser_come_through(text: str) -> None:
    for finding in tree_of(text).findings:
        assert not re.search(r"while (parsing|scanning)|did not find|token|scalar|block", finding.what)
