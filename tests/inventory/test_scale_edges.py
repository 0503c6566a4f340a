"""Edges of the rules on figures out of scale. Volumes of the tables are those of the package fluids, not of this tool;
bits of MACs are taken from IEEE 802 (the two lowest of the first octet: group, given locally)."""

from __future__ import annotations

import random
import re
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from fluids.geometry import TANK

from fleet.check.load import read_texts
from fleet.finding import Finding

FARM = (Path(__file__).parent / "farm.yaml").read_text(encoding="utf-8")
SHAPE = "shape: {kind: vertical-cylinder, diameter: 2.4 m, height: 2.2 m}"
TODAY = date(2026, 6, 1)
MAC = "10:20:30:40:50:1a"


def found(text: str, today: date | None = TODAY) -> list[Finding]:
    return read_texts([("farm.yaml", text.encode())], today)[1]


def with_table(lines: list[tuple[float, float]]) -> str:
    rows = "".join(f"        - {{depth: {depth:.3f} m, volume: {volume:.1f} L}}\n" for depth, volume in lines)
    assert SHAPE in FARM
    return FARM.replace(SHAPE, f"shape:\n      kind: strapped\n      table:\n{rows}", 1)


def tables() -> list[tuple[str, list[tuple[float, float]]]]:
    """Of a lying cylinder with round ends, an upright one with a cone, a ball; steps of 10, 20, 25 cm, and uneven."""
    shapes = {
        "lying": TANK(
            D=2.4, L=4, horizontal=True, sideA="spherical", sideB="spherical", sideA_a=0.6, sideB_a=0.6
        ),
        "cone": TANK(D=2.4, L=1.8, horizontal=False, sideA="conical", sideA_a=0.6),
        "ball": TANK(
            D=2.4, L=1e-9, horizontal=True, sideA="spherical", sideB="spherical", sideA_a=1.2, sideB_a=1.2
        ),
    }
    steps = {
        "10 cm": [n / 10 for n in range(25)],
        "20 cm": [n / 5 for n in range(13)],
        "25 cm": [n / 4 for n in range(10)] + [2.4],
        "uneven": [0, 0.1, 0.4, 0.5, 0.9, 1.0, 1.5, 1.6, 2.1, 2.4],
    }
    return [
        (f"{name} {step}", [(h, 1000 * tank.V_from_h(h)) for h in heights])
        for name, tank in shapes.items()
        for step, heights in steps.items()
    ]


@pytest.mark.parametrize(
    ("name", "table"), tables(), ids=lambda value: value if isinstance(value, str) else ""
)
def test_a_table_of_a_real_shape_is_silent_and_a_slip_of_a_digit_is_found_at_its_line(
    name: str, table
) -> None:
    """Slips: one figure changed, where that is more than 40 % of the stretches beside the line and the
    table still rises. Four of five are found, each at its line or the next to it."""
    assert "INV535" not in [finding.code.code for finding in found(with_table(table))]
    chance, slips, right = random.Random(name), 0, 0
    for _ in range(400):
        line = chance.randrange(2, len(table) - 2)
        figures = list(f"{table[line][1]:.1f}")
        at = chance.choice([n for n, figure in enumerate(figures) if figure.isdigit()])
        figures[at] = chance.choice("0123456789")
        slipped = float("".join(figures))
        (_, before), (_, after) = table[line - 1], table[line + 1]
        if not before < slipped < after or abs(slipped - table[line][1]) < 0.4 * (after - before) / 2:
            continue
        slips += 1
        lines = [*table[:line], (table[line][0], slipped), *table[line + 1 :]]
        said = [finding for finding in found(with_table(lines)) if finding.code.code == "INV535"]
        near = [f"line {number + 1} of the table" for number in (line - 1, line, line + 1)]
        right += any(words in finding.what for finding in said for words in near)
        if slips == 12:
            break
    assert slips >= 3
    assert right >= 0.8 * slips


@pytest.mark.parametrize("low, high", [(600, 3000), (3000, 600)])
def test_a_tank_with_a_step_is_silent(low: float, high: float) -> None:
    """Two boxes one on the other: `low` litres a metre up to 1.2 m, `high` above it."""
    lines = [(n / 5, min(n, 6) / 5 * low + max(0, n - 6) / 5 * high) for n in range(13)]
    assert "INV535" not in [finding.code.code for finding in found(with_table(lines))]


@pytest.mark.parametrize("first", range(256))
def test_macs_of_makers_are_those_with_both_lowest_bits_clear(first: int) -> None:
    octet = f"{first:02x}"
    codes = [finding.code.code for finding in found(FARM.replace(MAC, octet + MAC[2:], 1))]
    wanted = "INV134" if octet[1] in "13579bdf" else "INV174" if octet[1] in "26ae" else None
    assert codes == ([wanted] if wanted else [])


def test_a_day_of_fitting_may_be_today_but_not_tomorrow_and_without_a_day_nothing_is_said() -> None:
    text = FARM.replace("fitted: 2025-02-11", "fitted: 2026-06-02")
    assert [finding.code.code for finding in found(text)] == ["INV173"]
    assert found(text, date(2026, 6, 2)) == []
    assert found(text, None) == []


@pytest.mark.parametrize(
    ("rule", "first", "codes"),
    [
        ("FREQ=WEEKLY;BYDAY=MO;COUNT=65", "2025-03-03 10:00", ["INV171"]),  # 25 May 2026, a week ago
        ("FREQ=WEEKLY;BYDAY=MO;COUNT=66", "2025-03-03 10:00", []),  # 1 June 2026, today
        ("FREQ=YEARLY", "2027-07-01 10:00", []),  # in 395 days
        ("FREQ=YEARLY", "2027-07-31 10:00", ["INV171"]),  # in 425 days
        ("FREQ=YEARLY;INTERVAL=2", "2025-06-15 10:00", []),
        ("FREQ=YEARLY;INTERVAL=3", "2025-06-15 10:00", ["INV171"]),
    ],
)
def test_windows_that_come_soon_enough(rule: str, first: str, codes: list[str]) -> None:
    """Weeks counted by hand: 3 March 2025 is a Monday, and 1 June 2026 is the 66th Monday from it on."""
    text = FARM.replace("FREQ=WEEKLY;BYDAY=MO,", f"{rule},").replace("2025-03-03 10:00", first)
    assert [finding.code.code for finding in found(text)] == codes


@pytest.mark.parametrize(
    ("zone", "meant"),
    [
        ("GMT+2", "Africa/Maputo"),
        ("UTC-05:00", "America/Panama"),
        ("+3", "Africa/Nairobi"),
        ("Europe/Lisboa", "Europe/Lisbon"),
        ("europe/lisbon", "Europe/Lisbon"),
        ("America/Los Angeles", "America/Los_Angeles"),
        ("BST", ""),
        ("CEST", ""),
        ("IST", ""),
        ("America/Portland", ""),  # not Port_of_Spain, four hours off
        ("Europe/Bern", ""),  # not Berlin: of the same hour today, and yet another place
        ("Lisbon", "Europe/Lisbon"),
    ],
)
def test_no_time_zone_of_another_hour_is_suggested(zone: str, meant: str) -> None:
    """Hours of the places: the tz database."""
    (finding,) = found(FARM.replace("Europe/Lisbon", f'"{zone}"', 1))
    assert finding.code.code == "INV150"
    assert (f"`{meant}`" in finding.what) if meant else ("Did you mean" not in finding.what)


ZONES_THAT_ARE_PLACES = (
    "UTC Etc/UTC Europe/Lisbon America/Denver America/Indiana/Knox US/Eastern Japan Eire GB NZ-CHAT Navajo "
    "Singapore"
)


@pytest.mark.parametrize("zone", ZONES_THAT_ARE_PLACES.split())
def test_a_place_and_utc_are_silent(zone: str) -> None:
    assert found(FARM.replace("Europe/Lisbon", zone, 1)) == []


@pytest.mark.parametrize(
    ("zone", "place"),
    [
        ("EST", "America/Panama"), ("MST", "America/Phoenix"), ("HST", "Pacific/Honolulu"),
        ("EST5EDT", "America/New_York"),
        ("CST6CDT", "America/Chicago"), ("MST7MDT", "America/Denver"), ("PST8PDT", "America/Los_Angeles"),
        ("WET", "Europe/Lisbon"), ("CET", "Europe/Brussels"), ("MET", "Europe/Brussels"), ("EET", "Europe/Athens"),
        ("GMT", "Africa/Abidjan"), ("Etc/GMT0", "Africa/Abidjan"), ("Greenwich", "Africa/Abidjan"),
    ],
)  # fmt: skip
def test_an_abbreviation_is_found_with_a_place(zone: str, place: str) -> None:
    """The places are those that the tz database itself links these names to (2024b, file backward). All of them had the
    same clock through 2026, hour by hour."""
    (finding,) = found(FARM.replace("Europe/Lisbon", zone, 1))
    assert finding.code.code == "INV179"
    assert f"`{place}`" in finding.what
    assert _hours_of(place) == _hours_of(zone)


@pytest.mark.parametrize("zone", [f"Etc/GMT{sign}{hours}" for sign in "+-" for hours in range(1, 13)])
def test_an_offset_is_found_with_a_place_of_that_hour(zone: str) -> None:
    (finding,) = found(FARM.replace("Europe/Lisbon", zone, 1))
    assert finding.code.code == "INV179"
    places = re.findall("`([^`]+)`", finding.what)[1:]
    assert len(places) == (0 if zone == "Etc/GMT+12" else 1)  # nobody lives there
    assert all(_hours_of(place) == _hours_of(zone) for place in places)


def _hours_of(zone: str) -> set[timedelta | None]:
    """Ahead of UTC, at noon of each day of 2026."""
    noon = datetime(2026, 1, 1, 12, tzinfo=UTC)
    return {(noon + timedelta(days=day)).astimezone(ZoneInfo(zone)).utcoffset() for day in range(365)}
