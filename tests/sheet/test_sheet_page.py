"""The page: well formed, complete, escaped, nothing from outside, the same bytes each time."""

from __future__ import annotations

import re
from datetime import date
from html.parser import HTMLParser

import pytest

from fleet.check.load import load_inventory
from fleet.errors import RenderError
from fleet.resources import demo_inventory_dir, load_report_templates
from fleet.sheet.contents import KINDS, contents
from fleet.sheet.page import PAPERS, css_text, page
from fleet.water.cautions import DEFERS
from fleet.water.quantities import Units
from tests.sheet.hostile import LONG, MARKUP, hostile_inventory

DAY = date(2026, 3, 14)
DEMO = load_inventory(demo_inventory_dir(), demo_inventory_dir().parent)
HOSTILE = hostile_inventory()
VOID = {"meta", "br", "col"}
"""Elements without an end tag (HTML Living Standard 13.1.2)."""
DRAWN = {"svg", "polygon", "polyline", "circle", "text"}
WORDS = (
    "html head title style body section header h1 h2 h3 small p dl dt dd div ul li strong table thead tbody tr th td "
    "colgroup figure span"
)
KNOWN = DRAWN | VOID | set(WORDS.split())
EVERY = [
    pytest.param(inventory, kind, part.name, id=f"{kind}-{part.name[:20]}")
    for inventory in (DEMO, HOSTILE)
    for kind in KINDS
    for part in getattr(inventory, f"{kind}s")
]


class _Reader(HTMLParser):
    """Elements with their attributes, and all text outside of `style`."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.seen: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.feed(html)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag, attrs) -> None:
        self.seen.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data) -> None:
        if self.open and self.open[-1] != "style":
            self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())


def _html(inventory, kind, name, paper="a4", us=False) -> str:
    document = contents(inventory, kind, name, Units(us), DAY)
    return page(document, templates=load_report_templates(), paper=paper)


@pytest.mark.parametrize(("inventory", "kind", "name"), EVERY)
def test_well_formed_and_nothing_from_outside(inventory, kind, name) -> None:
    html = _html(inventory, kind, name)
    read = _Reader(html)
    assert {tag for tag, _ in read.seen} <= KNOWN, "no script, no link, no image"
    for _, attributes in read.seen:
        assert not {"src", "href", "xlink:href", "onclick", "onload"} & set(attributes)
    style = html[html.index("<style>") : html.index("</style>")]
    assert not re.search(r"url\(|@import|@font-face", style)
    addresses = set(re.findall(r"https?://[^\s\"<]+", html))
    assert all(a == "http://www.w3.org/2000/svg" or ".local/" in a for a in addresses)
    assert DEFERS in read.text
    ids = [attributes["id"] for _, attributes in read.seen if "id" in attributes]
    assert len(ids) == len(set(ids))


@pytest.mark.parametrize("node", DEMO.nodes, ids=lambda node: node.name)
def test_everything_of_a_node_is_on_its_page(node) -> None:
    text = _Reader(_html(DEMO, "node", node.name)).text
    document = contents(DEMO, "node", node.name, Units(), DAY)
    (sheet,) = document.sheets
    for word in (node.name, node.board, node.place, node.mac or "not claimed yet", "2026-03-14"):
        assert word in text
    for wire in sheet.wires:
        assert f"{wire.what}" in text
        assert wire.pin in text
        assert wire.care in text
    for part in sheet.tanks:
        for mark in part.facts.marks:
            assert Units().volume(mark.volume_l) in text
    for setting in (*sheet.settings, *(s for part in sheet.tanks for s in part.settings)):
        assert setting.origin in text
    for group in sheet.steps:
        assert group.title in text
        for step in group.steps:
            assert step.do in text
            assert step.expect in text
    for minded in sheet.cautions:
        assert minded.caution.text in text
        assert minded.caution.source in text
    assert "signature" in text
    assert ("licensed electrician" in text) == (sheet.mains or "electrician" in str(sheet.cautions))


def test_each_step_and_wire_has_a_box_to_tick() -> None:
    read = _Reader(_html(DEMO, "node", "kestrel-06"))
    (sheet,) = contents(DEMO, "node", "kestrel-06", Units(), DAY).sheets
    ticks = sum(attributes.get("class") == "box" for _, attributes in read.seen)
    assert ticks == len(sheet.wires) + sum(len(group.steps) for group in sheet.steps)


def test_hostile_texts_come_out_as_texts() -> None:
    for kind, name in (("site", "far"), ("node", "edge"), ("tank", LONG)):
        html = _html(HOSTILE, kind, name)
        assert "<script" not in html
        assert "<i>" not in html
        assert html.count("</style>") == 1
        assert MARKUP in _Reader(html).text


@pytest.mark.parametrize("paper", PAPERS)
def test_paper_and_page_numbers(paper) -> None:
    html = _html(DEMO, "node", "kestrel-01", paper)
    assert f"size: {'A4' if paper == 'a4' else 'letter'};" in html
    assert "counter(page)" in html
    assert "counter(pages)" in html
    assert "@media print" in html


def test_the_same_input_gives_the_same_bytes() -> None:
    first, second = (_html(hostile_inventory(), "site", "far") for _ in range(2))
    assert first == second


@pytest.mark.parametrize("node", [node.name for node in DEMO.nodes])
def test_us_units_reach_every_part(node: str) -> None:
    text = _Reader(_html(DEMO, "node", node, us=True)).text
    assert re.search(r"\d (ft|in)\b", text)
    assert " gal" in text
    assert not re.search(r"\d (L|m|mm|L/min|kW)\b", text.replace("25 mm", ""))


def test_us_units_are_computed() -> None:
    """45 L/min are 11.9 US gallons, 1.1 kW are 1.48 hp of 745.7 W, 2.70 m are 8 ft 10.3 in."""
    text = _Reader(_html(DEMO, "node", "kestrel-01", us=True)).text
    for words in (
        "8 ft 10.3 in",
        "11.9 gal/min less the largest draw",
        "carry 11.9 gal/min",
        "1.48 hp, 2 poles",
    ):
        assert words in text


def test_a_string_of_css_cannot_end_early() -> None:
    """CSS Syntax Level 3, 4.3.5: a quote or a newline ends a string, a backslash begins an escape."""
    text = css_text('a"b\\c\nd</style>é')
    inside = text[1:-1]
    assert text[0] == text[-1] == '"'
    assert re.fullmatch(r"(?:[A-Za-z0-9 .-]|\\[0-9a-f]{6} )*", inside)
    back = re.sub(r"\\([0-9a-f]{6}) ", lambda m: chr(int(m[1], 16)), inside)
    assert back == 'a"b\\c\nd</style>é'


def test_a_broken_template_names_its_place() -> None:
    document = contents(DEMO, "node", "kestrel-01", Units(), DAY)
    for wrong, said in (("\n{{ nothing }}", "nothing"), ("{% if %}", "sheet.html.j2:1")):
        with pytest.raises(RenderError) as caught:
            page(document, templates={"sheet.html.j2": wrong}, paper="a4")
        assert caught.value.code.code == "SHT103"
        assert said in caught.value.what
