"""Inventories with one engineering mistake each: `check` finds that one, by its code and of the right part.

Each file of `mistakes/` is a whole inventory. It begins with comment lines: what the mistake is, and one line
`# finds: CODE SUBJECT` for each finding (one, but for mistakes that show in two places). `# says: ...` is a piece of
the finding's words: a figure, or a pin that is offered. `# weighs: CODE SEVERITY` where that is not the code's own.
`# points: CODE KEY`: the key (or `KEY|KEY`) whose value, or which itself, is to be changed first; without it the
finding's place is a pin or a mark's height.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import pytest

from fleet.check.codes import INVENTORY_CODES as CODES
from fleet.check.load import read_texts
from fleet.codes import Severity

FOLDER = Path(__file__).resolve().parent / "mistakes"
AT_LEAST = 210
TODAY = date(2026, 11, 30)


@dataclass(frozen=True)
class Mistake:
    """One file with what its head expects."""

    name: str
    data: bytes
    finds: tuple[tuple[str, str], ...]
    says: tuple[str, ...]
    weighs: dict[str, str]
    points: dict[str, str]


def _read(path: Path) -> Mistake:
    text = path.read_text(encoding="utf-8")
    finds = tuple((code, subject) for code, subject in re.findall(r"^# finds: (\S+) ?(.*)$", text, re.M))
    says = tuple(re.findall(r"^# says: (.+)$", text, re.M))
    weighs = dict(re.findall(r"^# weighs: (\S+) (\S+)$", text, re.M))
    points = dict(re.findall(r"^# points: (\S+) (\S+)$", text, re.M))
    return Mistake(path.stem, text.encode(), finds, says, weighs, points)


MISTAKES = [_read(path) for path in sorted(FOLDER.glob("*.yaml"))]


MANY = b"""
fleet: {name: thornby, domain: thornby.example}
sites:
  - {name: farm, time_zone: Europe/London, network: farm-wifi}
tanks:
  - name: loft
    site: farm
    duty: potable
    shape: {kind: vertical-cylinder, diameter: 3 m, height: 3 m}
    marks:
      - {name: empty, height: 0.4 m}
      - {name: low, height: 0.41 m}
      - {name: half, height: 0.42 m}
      - {name: full, height: 2.7 m}
    overflow: 2.85 m
    reserve: 0.3 m
    largest_draw: 16 L/min
    electrodes: {kind: rods, diameter: 6 mm, spacing: 200 mm, wetted: 5 mm}
    water: {kind: rain}
    pump:
      name: bore-lift
      does: fill
      flow: 6000 L/min
      power: 1.1 kW
      longest_run: {is: 6 h}
      no_rise: {is: 5 h}
      shortest_off: {is: 2 h}
  - name: roof
    site: farm
    duty: irrigation
    shape: {kind: vertical-cylinder, diameter: 3 m, height: 3 m}
    marks:
      - {name: low, height: 1 m}
      - {name: high, height: 1.01 m}
    electrodes: {kind: rods, diameter: 6 mm, spacing: 200 mm, wetted: 5 mm}
    water: {kind: rain}
    largest_draw: 16 L/min
nodes:
  - name: loft-node
    board: esp32-devkit
    serves:
      - tank: loft
        probes: {empty: IO5, low: IO15, half: IO0, full: IO4}
        wires: {empty: white, low: white, half: white, full: red, common: white}
        cable_length: 900 m
        pull_up_resistor: 47 kohm
        pump_relay: {pin: IO14}
      - tank: roof
        probes: {low: IO2, high: IO12}
        wires: {low: white, high: white, common: white}
        cable_length: 900 m
        pull_up_resistor: 47 kohm
"""
"""Several findings of one code about one tank, and about one node."""


@pytest.mark.parametrize("mistake", MISTAKES, ids=lambda mistake: mistake.name)
def test_the_mistake_is_found_and_nothing_else(mistake: Mistake) -> None:
    assert mistake.finds, "its head expects nothing"
    inventory, findings = read_texts([(f"{mistake.name}.yaml", mistake.data)], TODAY)
    said = "\n".join(f"{finding.what} {finding.fix}" for finding in findings)
    assert sorted((f.code.code, str(f.subject)) for f in findings) == sorted(mistake.finds), said
    assert (inventory is None) == any(f.severity is Severity.ERROR for f in findings)
    for piece in mistake.says:
        assert piece in said
    for finding in findings:
        assert finding.severity.value == mistake.weighs.get(finding.code.code, finding.code.severity.value)
        assert finding.place is not None
        assert finding.place.quote


@pytest.mark.parametrize("mistake", MISTAKES, ids=lambda mistake: mistake.name)
def test_it_points_at_what_is_to_be_changed(mistake: Mistake) -> None:
    """At the pin of its subject, at the height of a mark that it names, or at the key of its code. (Where the others
    point, the golden files show.)"""
    for finding in read_texts([(f"{mistake.name}.yaml", mistake.data)], TODAY)[1]:
        assert finding.place is not None
        line, start = finding.place.quote, finding.place.col - 1
        code = finding.code.code
        if not finding.code.ruled:
            continue
        if code < "INV420" or code in ("INV467", "INV468"):
            assert line[start:].lstrip('"').startswith(str(finding.subject).rpartition(" ")[2])
        elif code in mistake.points:
            key = mistake.points[code]
            assert re.search(rf"\b({key}): $", line[:start]) or re.match(key, line[start:])
        else:
            assert line[:start].endswith("height: ")
            mark = re.search(r"name: '?([\w-]+)", line)
            assert mark
            assert f"`{mark[1]}`" in finding.what


def test_code_and_subject_name_one_finding() -> None:
    """A ruling names a code and a subject; were there two such findings, it would accept one unseen."""
    many = read_texts([("many.yaml", MANY)])[1]
    codes = Counter(finding.code.code for finding in many if finding.code.ruled)
    assert sum(count > 1 for count in codes.values()) >= 8, "the inventory no longer has several of one code"
    for findings in (many, *(read_texts([(mistake.name, mistake.data)], TODAY)[1] for mistake in MISTAKES)):
        ruled = Counter((f.code.code, str(f.subject)) for f in findings if f.code.ruled)
        assert [key for key, count in ruled.items() if count > 1] == []


@pytest.mark.parametrize(("ruled", "left"), [("INV630", "INV631"), ("INV631", "INV630")])
def test_a_ruling_on_one_of_the_dry_watches_leaves_the_other(ruled: str, left: str) -> None:
    """A pump dead from its start, and one that dies on its way, run dry for different times: two things to accept."""
    data = (FOLDER / "draw-near-the-flow.yaml").read_bytes() + (
        f"rulings:\n  - {{code: {ruled}, about: tank loft, as: accepted, reason: float switch, date: 2026-11-01}}\n"
    ).encode()
    findings = read_texts([("a.yaml", data)], TODAY)[1]
    assert {f.code.code: f.accepted for f in findings} == {ruled: True, left: False}
    assert len({f.what for f in findings}) == 2


def test_each_code_of_wiring_water_and_electrodes_names_its_source() -> None:
    ruled = [code for code in CODES if code.ruled]
    assert {code.code[:4] for code in ruled} == {"INV4", "INV5", "INV6"}
    assert [code.code for code in ruled if not re.search(r"\w", code.source)] == []


def test_there_are_enough_and_each_code_has_one() -> None:
    assert len(MISTAKES) >= AT_LEAST
    seen = {code for mistake in MISTAKES for code, _ in mistake.finds}
    assert {code.code for code in CODES if code.ruled} <= seen
