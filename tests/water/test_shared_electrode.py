"""Several probes on one common electrode, and wires exchanged: against a network of resistors that is solved here."""

from __future__ import annotations

from math import log, pi

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.model.node import Served
from fleet.model.tank import CellConstant
from fleet.water.electrodes import (
    Conductivity,
    Sure,
    on_at_once,
    reading,
    resistance_ohm,
    resistor_pull,
    resistor_to_fit_ohm,
    sharing,
)
from tests.water.circuit import SUPPLY_V, Circuit, wet_tank

HEIGHTS_M = (0.4, 1.2, 1.9, 2.7)
NAMES = ("empty", "half", "full", "brim")


def seen_ohm(probes: int, pull_up_ohm: float, pair_ohm: float, *, at_once: bool) -> float:
    """What the highest of so many wet probes sees between its pin and ground: its volts over its pull-up's current.

    `at_once`: the pull-ups of all are on; else that of the highest alone."""
    electrodes = {"common": 0.1, **dict(zip(NAMES[:probes], HEIGHTS_M, strict=False))}
    pins = {name: name for name in NAMES[:probes]}
    on = NAMES[:probes] if at_once else NAMES[probes - 1 : probes]
    volts = wet_tank(electrodes, 3.0, pins, "common", dict.fromkeys(on, pull_up_ohm), pair_ohm / 2)
    at = volts[NAMES[probes - 1]]
    return at / ((SUPPLY_V - at) / pull_up_ohm)


@pytest.mark.parametrize("probes", [1, 2, 3, 4])
@given(pull_up_ohm=st.floats(1e3, 1e6), pair_ohm=st.floats(10, 1e6))
def test_n_wet_probes_on_resistors_outside_see_so_many_times_the_pair(
    probes: int, pull_up_ohm: float, pair_ohm: float
) -> None:
    """The network, solved by Kirchhoff's law: each of n sees (1 + n) / 2 times what one pair has."""
    seen = seen_ohm(probes, pull_up_ohm, pair_ohm, at_once=True)
    assert seen / pair_ohm == pytest.approx({1: 1.0, 2: 1.5, 3: 2.0, 4: 2.5}[probes], rel=1e-4)
    assert sharing(probes) == pytest.approx(seen / pair_ohm, rel=1e-4)


@pytest.mark.parametrize("probes", [1, 2, 3, 4])
def test_pull_ups_that_are_on_one_after_the_other_have_the_water_to_themselves(probes: int) -> None:
    """core/control.cpp reads the probes in a row, and the ports turn a chip's pull-up on for its own reading: the
    other probes are joined to the water, and nothing flows through them."""
    assert seen_ohm(probes, 45e3, 2e3, at_once=False) == pytest.approx(2e3, rel=1e-4)


@pytest.mark.parametrize(("probes", "times"), [(1, 1.0), (2, 1.5)])
def test_the_same_from_the_field_of_parallel_rods(probes: int, times: float) -> None:
    """Line sources in endless water, all a distance D apart (two probes and the common electrode: a triangle), each
    with a current I, the common one with -n I: the potential of a line is I / (2 pi c L) ln(1 / r). More probes than
    two cannot all be that far from one another; they stand further apart than from the common one, and share less."""
    d_m, a_m, length_m, s_per_m = 0.02, 0.003, 0.05, 0.048
    unit = 1 / (2 * pi * s_per_m * length_m)
    probe_v = unit * (-log(a_m) - (probes - 1) * log(d_m) + probes * log(d_m))
    common_v = unit * (-probes * log(d_m) + probes * log(a_m))
    pair_ohm = 2 * unit * log(d_m / a_m)
    assert (probe_v - common_v) / pair_ohm == pytest.approx(times)


@pytest.mark.parametrize(("pull_up", "counted"), [("external", 3), ("internal", 1)])
def test_whose_pull_ups_are_on_at_the_same_time(pull_up: str, counted: int) -> None:
    """A resistor is always on; the chip's own is on for a reading (ports' probe_is_low)."""
    probes = {"empty": "IO16", "half": "IO17", "full": "IO18"}
    assert on_at_once(Served.model_validate({"tank": "t", "probes": probes, "pull_up": pull_up})) == counted


@given(probes=st.integers(1, 4), pair_ohm=st.floats(100, 1e5), pull_ohm=st.floats(1e3, 1e6))
def test_surely_wet_is_what_the_solved_network_says(probes: int, pair_ohm: float, pull_ohm: float) -> None:
    """The volts at the highest pin in the worst case (cold water, resistors 5 % small) against a quarter of the supply,
    the limit of the inputs (data sheets of ESP32 and ESP8266)."""
    k = CellConstant.model_validate({"kind": "constant", "cell_constant": "1 /cm"})
    at_25 = 1e6 / pair_ohm / 0.6  # 0.6: 20 K colder, 2 % a kelvin
    read = reading(k, Conductivity(at_25, at_25, ""), False, resistor_pull(pull_ohm), 0.0, probes)
    seen = seen_ohm(probes, 0.95 * pull_ohm, pair_ohm, at_once=True)
    volts = SUPPLY_V * seen / (seen + 0.95 * pull_ohm)
    if abs(volts - SUPPLY_V / 4) > 1e-4:
        assert (read.wet is Sure.YES) == (volts < SUPPLY_V / 4)


def test_water_that_one_pair_conducts_enough_in_and_four_on_one_electrode_do_not() -> None:
    """Worked by hand: a pair of 10 kohm in the cold against 47 kohm, 5 % small: 44.65 / 3 = 14.9 kohm at most; four see
    25 kohm. A resistor then needs 3 x 25 / 0.95 = 79 kohm, and 82 kohm is the first of E24."""
    k = CellConstant.model_validate({"kind": "constant", "cell_constant": "1 /cm"})
    water = Conductivity(1e6 / 10e3 / 0.6, 1e6 / 10e3 / 0.6, "")
    assert resistance_ohm(1.0, water.least_us_per_cm * 0.6) == pytest.approx(10e3)
    verdicts = [reading(k, water, False, resistor_pull(47e3), 0.0, n).wet for n in (1, 2, 4)]
    assert verdicts == [Sure.YES, Sure.DOUBTFUL, Sure.DOUBTFUL]
    assert (
        resistor_to_fit_ohm((5e3, 10e3), (1e6, 82e3 * 1.05 * 3 * 1.001), 4) == 82e3
    )  # and 91 are too many, dry
    assert resistor_to_fit_ohm((5e3, 10e3), (1e6, 75e3 * 1.05 * 3 * 1.001), 4) is None
    assert resistor_to_fit_ohm((5e3, 10e3), (1e6, 75e3 * 1.05 * 3 * 1.001), 1) is not None


def test_probes_that_reach_deeper_add_no_more_than_4_percent() -> None:
    """Rods wetted over a great length have next to nothing of their own and draw a little more through the common
    electrode. At the limit of the input the highest of four then sees 2.6 times the pair, not 2.5."""
    pull_up_ohm, pair_ohm = 45e3, 45e3 * 0.1283  # where it reads just a quarter of the supply
    circuit = Circuit({"3v3": SUPPLY_V, "gnd": 0.0})
    circuit.join("gnd", "water", pair_ohm / 2)
    for name, own_ohm in (("full", pair_ohm / 2), ("half", 1e-3), ("low", 1e-3), ("empty", 1e-3)):
        circuit.join("water", name, own_ohm)
        circuit.join(name, "3v3", pull_up_ohm)
    at = circuit.volts()["full"]
    assert at == pytest.approx(SUPPLY_V / 4, rel=2e-3)
    seen = at / ((SUPPLY_V - at) / pull_up_ohm)
    assert 1.0 < seen / pair_ohm / sharing(4) < 1.04


LOW = SUPPLY_V / 4


def told(exchanged: str | None, water_m: float) -> list[str]:
    """The marks that read wet at that level, one reading after the other, with the wire of a probe and that of the
    common electrode exchanged."""
    marks = dict(zip(NAMES[:3], HEIGHTS_M, strict=False))
    electrodes = {"common": 0.1, **marks}
    pins = {name: "common" if name == exchanged else name for name in marks}
    ground = exchanged or "common"
    wet = []
    for name in marks:
        volts = wet_tank(electrodes, water_m, pins, ground, {name: 45e3}, 1e3)
        if volts[name] < LOW:
            wet.append(name)
    return wet


@pytest.mark.parametrize(
    ("exchanged", "expected"),
    [
        (None, [[], ["empty"], ["empty", "half"], ["empty", "half", "full"]]),
        ("empty", [[], ["empty"], ["empty", "half"], ["empty", "half", "full"]]),
        ("half", [[], [], ["empty", "half"], ["empty", "half", "full"]]),
        ("full", [[], [], [], ["empty", "half", "full"]]),
    ],
)
def test_a_probe_and_the_common_electrode_exchanged_read_dry_until_the_water_is_at_that_probe(
    exchanged: str | None, expected: list[list[str]]
) -> None:
    """What INV421 says. The probe is then the ground of all: nothing conducts to it before it is wet; from there on its
    own pin hangs on the long common electrode, and everything reads as it should."""
    assert [told(exchanged, water_m) for water_m in (0.3, 1.0, 1.5, 2.8)] == expected


def test_the_highest_probe_wet_without_the_common_electrode_tells_nothing() -> None:
    """Why the step that tells crossed wires dips the common electrode as well."""
    electrodes = {"common": 9.0, "empty": 9.0, "half": 9.0, "full": 0.0}
    pins = {name: name for name in ("empty", "half", "full")}
    volts = wet_tank(electrodes, 0.1, pins, "common", {"full": 45e3}, 1e3)
    assert volts["full"] > 0.75 * SUPPLY_V
    volts = wet_tank(electrodes | {"common": 0.0}, 0.1, pins, "common", {"full": 45e3}, 1e3)
    assert volts["full"] < LOW


def test_the_solver_on_a_bridge() -> None:
    """A Wheatstone bridge in balance: no volts across it; a divider of 1 and 3: three quarters."""
    bridge = Circuit({"top": 8.0, "bottom": 0.0})
    for one, other, ohm in (
        ("top", "left", 10),
        ("left", "bottom", 30),
        ("top", "right", 20),
        ("right", "bottom", 60),
    ):
        bridge.join(one, other, ohm)
    bridge.join("left", "right", 5)
    volts = bridge.volts()
    assert volts["left"] == pytest.approx(6.0)
    assert volts["right"] == pytest.approx(6.0)
