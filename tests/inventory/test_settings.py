"""Times set by hand: read with and without a reason, and found when they would stop a pump that works."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.check.load import read_texts
from fleet.codes import Severity
from fleet.finding import Finding
from fleet.model.tank import Pump
from fleet.water.filling import pump_times
from tests.water.shapes import tank

TEXT = """fleet: {{name: f, domain: f.example}}
sites: [{{name: s, time_zone: Europe/Lisbon, network: n}}]
tanks:
  - name: t
    site: s
    duty: fire-reserve
    shape: {{kind: box, length: 1 m, width: 1 m, height: 2 m}}
    marks: [{{name: low, height: 0.5 m}}, {{name: full, height: 1.5 m}}]
    overflow: 1.9 m
    reserve: 0.4 m
    pump: {{name: p, does: fill, flow: 10 L/min, {setting}}}
nodes:
  - name: n
    board: esp32-devkit
    serves: [{{tank: t, probes: {{low: IO16, full: IO17}}, pump_relay: {{pin: IO25}}}}]
"""


def found(setting: str) -> list[Finding]:
    return list(read_texts([("a.yaml", TEXT.format(setting=setting).encode())])[1])


def seen(setting: str) -> list[tuple[str, Severity]]:
    return [(finding.code.code, finding.severity) for finding in found(setting)]


# 1,000 L between the marks and 1,500 L from empty at 10 L/min: 100 and 150 min; computed: 300 and 150 min, 60 s. To
# the first four come 4.2 s until the probe is believed: two debounces of 2 s and two samples (core/probe.h).
@pytest.mark.parametrize(
    ("setting", "codes"),
    [
        ("longest_run: {is: 200 min, reason: the well}", []),
        ("longest_run: 18005 s", []),
        ("longest_run: 200 min", [("INV506", Severity.WARNING)]),
        ("longest_run: {is: 200 min}", [("INV506", Severity.WARNING)]),
        ("longest_run: {is: 151 min, reason: the well}", []),
        ("longest_run: {is: 150 min, reason: the well}", [("INV504", Severity.WARNING)]),
        ("longest_run: {is: 149 min, reason: the well}", [("INV504", Severity.WARNING)]),
        ("longest_run: {is: 101 min, reason: the well}", [("INV504", Severity.WARNING)]),
        ("longest_run: {is: 100 min, reason: the well}", [("INV504", Severity.ERROR)]),
        ("longest_run: {is: 99 min, reason: the well}", [("INV504", Severity.ERROR)]),
        ("longest_run: 99 min", [("INV504", Severity.ERROR)]),
        ("no_rise: {is: 101 min, reason: the well}", []),
        ("no_rise: {is: 100 min, reason: the well}", [("INV505", Severity.ERROR)]),
        ("no_rise: 99 min", [("INV505", Severity.ERROR)]),
        ("shortest_off: 60 s", []),
        ("shortest_off: 0 s", [("INV506", Severity.WARNING)]),
        ("longest_run: {is: 200 min, reason: ''}", [("INV125", Severity.ERROR)]),
        ("longest_run: {is: 0 min, reason: the well}", [("INV133", Severity.ERROR)]),
        ("longest_run: {for: 200 min}", [("INV121", Severity.ERROR), ("INV120", Severity.ERROR)]),
    ],
)
def test_what_is_said(setting: str, codes: list[tuple[str, Severity]]) -> None:
    assert seen(setting) == codes


def test_figures_and_place() -> None:
    (finding,) = found("longest_run: 200 min")
    assert finding.place is not None
    assert finding.place.quote[finding.place.col - 1 :].startswith("200 min")
    assert {figure.name: figure.value for figure in finding.figures} == {
        "longest_run": 12_000,
        "computed": 18_005,
    }


def test_the_reason_goes_along() -> None:
    pump = {"name": "p", "does": "fill", "flow": "10 L/min", "no_rise": {"is": "3 h", "reason": "the well"}}
    times = pump_times(tank({"low": "0.5 m", "full": "1.5 m"}, pump=pump))
    assert times is not None
    assert (times.no_rise.seconds, times.no_rise.reason) == (10_800, "the well")
    assert (times.no_rise.computed_s, times.no_rise.origin) == (9_005, "inventory: the well")
    assert times.longest_run.origin == times.longest_run.computed_from


@given(st.integers(1, 10_000), st.booleans())
def test_plain_or_with_a_reason_it_is_the_same_time(seconds: int, plain: bool) -> None:
    text = f"{seconds} s"
    given_as: Any = text if plain else {"is": text, "reason": "the well"}
    pump = Pump.model_validate({"name": "p", "does": "fill", "flow": "1 L/s", "longest_run": given_as})
    assert pump.longest_run is not None
    assert pump.longest_run.seconds == seconds
    assert pump.longest_run.reason == ("" if plain else "the well")


@pytest.mark.parametrize(
    ("minutes", "words"),
    [
        (99, "the way from the mark where the pump starts takes 1 h 40 min at the worst"),
        (149, "the whole way takes 2 h 30 min at the worst after empty was reached"),
    ],
)
def test_the_way_that_is_too_long_is_said(minutes: int, words: str) -> None:
    (early,) = found(f"longest_run: {minutes} min")
    assert early.what.endswith(words)
    assert early.figures[1].value == pytest.approx((6000 if minutes < 100 else 9000) + 4.2)
