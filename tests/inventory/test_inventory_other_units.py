"""Units do not matter: an inventory in feet, gallons and horsepower has the findings of the one in metres and litres.

The units are NIST Handbook 44 (2024), appendix C: foot = 0.3048 m, inch = 25.4 mm, US gallon = 231 cubic inches, pound
= 0.45359237 kg, standard gravity 9.80665 m/s2; an imperial gallon is 4.54609 L (Weights and Measures Act 1985).
"""

from __future__ import annotations

import random
import re
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Final

import pytest

from fleet.check.load import read_texts

if TYPE_CHECKING:
    from fleet.finding import Finding

HERE = Path(__file__).resolve().parent
DEMO = sorted((HERE.parent.parent / "inventory").glob("*.yaml"))
FILES = [
    HERE / "farm.yaml",
    HERE / "orchard.yaml",
    HERE / "works.yaml",
    *DEMO,
    *sorted((HERE / "mistakes").glob("*.yaml")),
    *sorted((HERE / "sound").glob("*.yaml")),
]

FOOT: Final = Fraction("0.3048")
GALLON_L: Final = 231 * Fraction("0.254") ** 3
FAMILIES: Final[tuple[tuple[dict[str, Fraction], tuple[str, ...]], ...]] = (
    (
        {
            "m": Fraction(1), "cm": Fraction(1, 100), "mm": Fraction(1, 1000),
            "ft": FOOT, "in": FOOT / 12, "yd": 3 * FOOT,
        },
        ("ft", "in", "yd"),
    ),
    (
        {
            "L": Fraction(1), "mL": Fraction(1, 1000), "m3": Fraction(1000), "gal": GALLON_L,
            "imperial_gallon": Fraction("4.54609"), "ft3": FOOT**3 * 1000,
        },
        ("gal", "imperial_gallon", "ft3"),
    ),
    (
        {
            "L/min": Fraction(1), "L/h": Fraction(1, 60), "L/s": Fraction(60), "L/d": Fraction(1, 1440),
            "m3/h": Fraction(1000, 60), "gal/min": GALLON_L, "gal/h": GALLON_L / 60,
        },
        ("gal/min", "gal/h"),
    ),
    (
        {
            "kW": Fraction(1), "W": Fraction(1, 1000),
            "hp": 550 * FOOT * Fraction("0.45359237") * Fraction("9.80665") / 1000,
        },
        ("hp",),
    ),
    ({"uS/cm": Fraction(1), "mS/cm": Fraction(1000), "mS/m": Fraction(10), "S/m": Fraction(10_000)}, ("mS/m", "S/m")),
    ({"ohm": Fraction(1), "kohm": Fraction(1000), "Mohm": Fraction(10**6)}, ("ohm", "Mohm")),
    (
        {"m2": Fraction(1), "cm2": Fraction(1, 10**4), "mm2": Fraction(1, 10**6), "in2": (FOOT / 12) ** 2},
        ("in2", "m2"),
    ),
    ({"/cm": Fraction(1), "/m": Fraction(1, 100), "/in": Fraction(1, 100) / (FOOT / 12)}, ("/m", "/in")),
    (
        {"lb*ft2": Fraction(1), "kg*m2": 1 / (Fraction("0.45359237") * FOOT**2)},
        ("lb*ft2", "kg*m2"),
    ),
    ({"s": Fraction(1), "min": Fraction(60), "h": Fraction(3600), "d": Fraction(86_400)}, ("min", "h", "s")),
)  # fmt: skip
UNITS: Final = {unit: number for number, (sizes, _) in enumerate(FAMILIES) for unit in sizes}
_ANY_UNIT: Final = "|".join(re.escape(unit) for unit in sorted(UNITS, key=len, reverse=True))
QUANTITY: Final = re.compile(rf"(?<=[:{{ ])([0-9]+(?:\.[0-9]+)?) ({_ANY_UNIT})(?=[,}}\n ]|$)")


def other_units(text: str, chance: random.Random) -> str:
    """The same inventory, each quantity in a unit by chance; comments and notes as they are."""

    def said(match: re.Match[str]) -> str:
        number, unit = match.groups()
        sizes, others = FAMILIES[UNITS[unit]]
        other = chance.choice(others)
        value = Fraction(number) * sizes[unit] / sizes[other]
        return f"{float(value):.17g} {other}" if value else f"0 {other}"

    lines = []
    for line in text.split("\n"):
        facts, mark, comment = line.partition("#")
        words = re.match(r"\s*(- )?(notes|place|title|contact):", facts)
        lines.append((facts if words else QUANTITY.sub(said, facts)) + mark + comment)
    return "\n".join(lines)


def told(files: list[tuple[str, str]]) -> tuple[object, list[tuple[object, ...]], list[Finding]]:
    inventory, findings = read_texts([(name, text.encode()) for name, text in files])
    lines = [(f.code.code, f.severity, str(f.subject), f.place and f.place.line) for f in findings]
    return inventory, sorted(lines, key=str), sorted(findings, key=lambda f: (f.code.code, str(f.subject)))


def same(one: list[tuple[str, str]], chance: random.Random) -> None:
    other = [(name, other_units(text, chance)) for name, text in one]
    assert other != one
    inventory, lines, findings = told(one)
    inventory_too, lines_too, findings_too = told(other)
    assert lines_too == lines, "\n".join(text for _, text in other)
    assert (inventory_too is None) == (inventory is None)
    for finding, too in zip(findings, findings_too, strict=True):
        assert [(f.name, f.unit) for f in too.figures] == [(f.name, f.unit) for f in finding.figures]
        values, values_too = [f.value for f in finding.figures], [f.value for f in too.figures]
        assert values_too == pytest.approx(values, rel=1e-6, abs=1e-9)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_each_inventory_has_the_same_findings_in_other_units(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    for seed in range(3):
        same([(path.name, text)], random.Random(f"{path.name}/{seed}"))


def test_the_demo_as_a_whole_too() -> None:
    same([(path.name, path.read_text(encoding="utf-8")) for path in DEMO], random.Random("demo"))


def test_a_wrong_unit_would_be_noticed() -> None:
    """The test can fail: with all lengths a hundredth too small, the findings are others."""
    text = (HERE / "farm.yaml").read_text(encoding="utf-8")
    wrong = re.sub(r"1\.9 m\b", "1.9 cm", text)
    assert told([("farm.yaml", wrong)])[1] != told([("farm.yaml", text)])[1]


def test_the_conversion_says_what_the_books_say() -> None:
    """Machinery's Handbook and every table of units: 1 m = 39.3701 in, 100 L = 26.4172 US gal, 1 hp = 745.7 W."""
    chance = random.Random(1)
    for text, unit, expected in (
        ("a: 1 m", "in", 39.3701),
        ("a: 100 L", "gal", 26.4172),
        ("a: 745.7 W", "hp", 1.0),
    ):
        seen = {other_units(text, chance) for _ in range(50)}
        (line,) = [line for line in seen if line.endswith(f" {unit}")]
        assert float(line.split()[1]) == pytest.approx(expected, rel=1e-5)
