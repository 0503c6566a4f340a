"""The pages: led to from one, made from what they speak of, and as short as they promise."""

from __future__ import annotations

import re
import runpy
import tomllib
from pathlib import Path
from xml.etree import ElementTree

import pytest

from fleet.push import engine
from fleet.push.state import NodeStatus
from tests.push.sim import simulate

ROOT = Path(__file__).resolve().parent.parent
DOCS = ROOT / "docs"
PAGES = sorted(page for page in DOCS.rglob("*.md") if page != DOCS / "index.md")
DECISIONS = sorted((DOCS / "decisions").glob("*.md"))
SVG = "{http://www.w3.org/2000/svg}"
SIMULATED = range(120)
"""Seeds of pushes, enough for every way that is drawn but the rare ones (2,500 showed no other)."""


def _linked(page: Path) -> set[Path]:
    targets = re.findall(r"\]\(([^)#:]+)(?:#[^)]*)?\)", page.read_text(encoding="utf-8"))
    return {(page.parent / target).resolve() for target in targets}


@pytest.fixture(scope="module")
def pictures() -> dict:
    return runpy.run_path(str(DOCS / "pictures.py"))


def test_the_index_leads_to_every_page() -> None:
    assert set(PAGES) <= _linked(DOCS / "index.md")


def test_the_readme_leads_to_the_index() -> None:
    assert DOCS / "index.md" in _linked(ROOT / "README.md")


# ------------------------------------------------------------------ the pictures
def test_pictures_are_as_made(pictures) -> None:
    made = {name: make() for name, make in pictures["MADE"].items()}
    kept = {path.name: path.read_text(encoding="utf-8") for path in (DOCS / "pictures").iterdir()}
    assert kept == made, "run `make docs`"


def test_every_picture_is_shown_by_a_page(pictures) -> None:
    shown = set().union(*(_linked(page) for page in PAGES))
    assert {DOCS / "pictures" / name for name in pictures["MADE"]} <= shown


@pytest.mark.parametrize("path", sorted((DOCS / "pictures").glob("*.svg")), ids=lambda path: path.stem)
def test_picture_is_whole_and_stands_alone(pictures, path) -> None:
    """Nothing sticks out, nothing is fetched, and there are colours for both grounds and words for a screen reader."""
    root = ElementTree.parse(path).getroot()
    width, height = (float(number) for number in root.attrib["viewBox"].split()[2:])
    assert root.attrib["aria-label"]
    assert "prefers-color-scheme:dark" in (root.findtext(f"{SVG}style") or "")
    assert "href" not in path.read_text(encoding="utf-8")
    for text in root.iter(f"{SVG}text"):
        x, y, size = (float(text.attrib[name]) for name in ("x", "y", "font-size"))
        em = 0.61 if "mono" in text.attrib["class"] else pictures["CHAR_EM"]
        long = len(text.text or "") * size * em
        left = x - {"start": 0, "middle": 0.5, "end": 1}[text.attrib["text-anchor"]] * long
        assert left >= 0, text.text
        assert left + long <= width, text.text
        assert size <= y <= height - size / 2, text.text
    boxes = [r for r in root.iter(f"{SVG}rect") if r.attrib["class"] == "box"]
    sides = [tuple(float(r.attrib[name]) for name in ("x", "y", "width", "height")) for r in boxes]
    for n, (x, y, wide, high) in enumerate(sides):
        assert 0 < x < x + wide < width, path.stem
        assert 0 < y < y + high < height, path.stem
        for x2, y2, wide2, high2 in sides[n + 1 :]:
            apart = x + wide <= x2 or x2 + wide2 <= x or y + high <= y2 or y2 + high2 <= y
            assert apart, f"{path.stem}: two boxes lie over each other"


def test_the_rooms_are_all_layers_of_the_contract(pictures) -> None:
    """Read here by another way: each name of the contract, as it stands there, is drawn once."""
    contracts = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    layers = next(c for c in contracts["tool"]["importlinter"]["contracts"] if c["type"] == "layers")
    names = re.findall(r"fleet\.([\w.]+)", " ".join(layers["layers"]))
    drawn = [t.text for t in ElementTree.fromstring(pictures["rooms"]()).iter(f"{SVG}text")]
    for name in names:
        path = name.replace(".", "/")
        assert drawn.count(f"{path}/") + drawn.count(f"{path}.py") == 1, name


def test_rooms_of_the_data_picture_are_there(pictures) -> None:
    for flow in pictures["DATA"].flows:
        assert (ROOT / "fleet" / flow.words).is_dir(), flow.words


def test_files_of_the_push_picture_are_there(pictures) -> None:
    for step in pictures["steps"]():
        assert (ROOT / "fleet" / "push" / step.file).is_file(), step.file


def test_every_way_of_a_node_in_simulated_pushes_is_drawn(pictures) -> None:
    life = pictures["LIFE"]
    assert set(life.things) == {stands.value for stands in NodeStatus}
    drawn = {(flow.of, flow.to) for flow in life.flows}
    drawn |= {(flow.to, flow.of) for flow in life.flows if flow.both}
    drawn.add(("queued", "kept"))  # "or ran it already", in the box's words
    seen = set()

    def watched(state, event):
        after, commands = engine.step(state, event)
        for name, node in after.nodes.items():
            if node.stands is not state.nodes[name].stands:
                seen.add((state.nodes[name].stands.value, node.stands.value))
        return after, commands

    for seed in SIMULATED:
        simulate(seed, watched)
    assert len(seen) >= 12
    assert seen <= drawn


# ------------------------------------------------------------------ the words
def test_every_word_of_the_house_rules_is_explained() -> None:
    rule = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split("One word for one thing: ")[1]
    words = [" ".join(word.split()) for word in rule.split(".")[0].split(",")]
    assert len(words) > 15
    rows = re.findall(r"^\| ([^|]+) \| (?!means)[^|]{15,} \|$", (DOCS / "words.md").read_text("utf-8"), re.M)
    assert set(words) <= set(rows)
    assert len(rows) == len(set(rows)), "a word has two senses"


@pytest.mark.parametrize(
    ("page", "lines"),
    [(DOCS / "writing.md", 60), *((page, 40) for page in DECISIONS)],
    ids=lambda value: value.stem if isinstance(value, Path) else "",
)
def test_short_pages_are_short(page, lines) -> None:
    assert page.read_text(encoding="utf-8").count("\n") <= lines


@pytest.mark.parametrize("page", DECISIONS, ids=lambda page: page.stem)
def test_a_decision_says_all_that_one_has_to(page) -> None:
    heads = re.findall(r"^## (.+)$", page.read_text(encoding="utf-8"), re.M)
    assert heads == [
        "Context",
        "Decision",
        "What we did not take",
        "What it costs",
        "What would change our mind",
    ]


# ------------------------------------------------------------------ a release
def test_every_fragment_is_of_a_kind_that_the_changelog_takes() -> None:
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["towncrier"]
    kinds = {kind["directory"] for kind in settings["type"]}
    names = [path.name for path in (ROOT / settings["directory"]).iterdir() if path.name != ".gitignore"]
    assert all(re.fullmatch(rf"[a-z0-9-]+\.({'|'.join(kinds)})\.md", name) for name in names), names
    assert settings["start_string"] in (ROOT / settings["filename"]).read_text(encoding="utf-8")


def test_the_licence_is_the_one_that_the_package_claims() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    text = (ROOT / "LICENSE").read_text(encoding="utf-8")
    assert text.startswith(f"{project['license']} License\n")
    assert project["license-files"] == ["LICENSE"]
