"""Electrodes: against worked figures, makers' sensitivities, an independent solution, and what must always hold."""

from __future__ import annotations

from math import cosh, inf, isclose, pi, sinh

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.boards.board import load_board
from fleet.check.load import read_texts
from fleet.limits import ELECTRODE_CURRENT_UA, SUPPLY_V
from fleet.model.tank import CellConstant, Plates, Rods, Water
from fleet.water.electrodes import (
    E24,
    Conductivity,
    Sure,
    at_c,
    by_kind,
    cell_constant_per_cm,
    chip_pull,
    conductivity,
    film_constant_per_cm,
    has_film,
    kohm,
    largest_current_ua,
    longest_cable_m,
    needs_resistor,
    reading,
    resistance_ohm,
    resistor_pull,
    resistor_to_fit_ohm,
    settles_s,
    surely_high_ohm,
    surely_low_ohm,
)
from tests.water.shapes import tank

CHIP = load_board("esp32-devkit").pull_up
ESP32 = chip_pull(CHIP.ohm, CHIP.least_ohm, CHIP.most_ohm)


def rods(diameter: str = "6 mm", spacing: str = "20 mm", wetted: str = "50 mm") -> Rods:
    return Rods.model_validate({"kind": "rods", "diameter": diameter, "spacing": spacing, "wetted": wetted})


def constant(per_cm: float) -> CellConstant:
    return CellConstant.model_validate({"kind": "constant", "cell_constant": f"{per_cm:.12f} /cm"})


# Rods of 6 mm, 20 mm apart; worked with acosh(10 / 3) = 1.873820 and R = acosh(D / d) / (pi L conductivity), the dual
# of the twin-wire capacitance. uS/cm: resistance with K = 1 /cm, 50 mm wetted, 10 mm wetted.
WORKED = {
    1: (1.00e6, 119.3e3, 596.5e3),
    5: (200e3, 23.9e3, 119.3e3),
    20: (50e3, 5.97e3, 29.8e3),
    100: (10e3, 1.19e3, 5.97e3),
    500: (2e3, 239, 1.19e3),
    1500: (667, 79.5, 398),
    50_000: (20, 2.39, 11.9),
}


@pytest.mark.parametrize("us_per_cm", WORKED)
def test_worked_table(us_per_cm: float) -> None:
    for electrodes, ohm in zip((constant(1), rods(), rods(wetted="10 mm")), WORKED[us_per_cm], strict=True):
        assert resistance_ohm(cell_constant_per_cm(electrodes), us_per_cm) == pytest.approx(ohm, rel=3e-3)


@given(ratio=st.floats(1.05, 50), wetted_mm=st.floats(1, 500))
def test_rods_against_two_line_charges(ratio: float, wetted_mm: float) -> None:
    """The field of two line currents outside two circles, in bipolar coordinates: the rods are the circles tau = +-t
    with cosh t = spacing / diameter, so their radius is a / sinh t and their centres are a coth t from the middle;
    conductance per length is conductivity x 2 pi / (2 t)."""
    spacing_mm = 6 * ratio
    k = cell_constant_per_cm(rods(spacing=f"{spacing_mm:.9f} mm", wetted=f"{wetted_mm:.9f} mm"))
    t = k * pi * wetted_mm / 10
    a = 3.0 * sinh(t)
    assert a * cosh(t) / sinh(t) == pytest.approx(spacing_mm / 2, rel=1e-6)


def test_plates_and_rods_that_touch() -> None:
    """K = distance / area."""
    plates = Plates.model_validate({"kind": "plates", "area": "4 cm2", "distance": "20 mm"})
    assert cell_constant_per_cm(plates) == pytest.approx(0.5)
    assert cell_constant_per_cm(rods(spacing="6 mm")) == 0


@pytest.mark.parametrize(
    ("sensitivity_ohm", "us_per_cm"),
    [
        pytest.param(70e3, 14, id="germany-electric ER76: 70 kohm, from 14 uS/cm"),
        pytest.param(100e3, 10, id="Klemsan LLC35: 100 kohm; Pepperl+Fuchs: from 10 uS/cm"),
    ],
)
def test_sensitivities_of_level_relays(sensitivity_ohm: float, us_per_cm: float) -> None:
    """What makers print agrees with electrodes of about 1 /cm, and with ours the same relay needs K times as much."""
    assert resistance_ohm(1.0, us_per_cm) == pytest.approx(sensitivity_ohm, rel=0.03)
    k = cell_constant_per_cm(rods())
    assert resistance_ohm(k, us_per_cm * k) == pytest.approx(sensitivity_ohm, rel=0.03)


@pytest.mark.parametrize(
    ("pull_up_ohm", "low_ohm", "high_ohm", "us_per_cm"),
    [
        (45e3, 15e3, 135e3, 8.0),
        (100e3, 33.3e3, 300e3, 3.6),
        (470e3, 157e3, 1.41e6, 0.76),
        (10e3, 3.33e3, 30e3, 35.8),
    ],
)
def test_input_limits(pull_up_ohm: float, low_ohm: float, high_ohm: float, us_per_cm: float) -> None:
    """0.25 and 0.75 of the supply (ESP32 Series Datasheet 5.2, table 5-3; ESP8266 data sheet 2013, page 15): a divider
    at its limits; last, the water that 50 mm of those rods need."""
    assert surely_low_ohm(pull_up_ohm) == pytest.approx(low_ohm, rel=3e-3)
    assert surely_high_ohm(pull_up_ohm) == pytest.approx(high_ohm, rel=3e-3)
    low = surely_low_ohm(pull_up_ohm)
    assert SUPPLY_V * low / (low + pull_up_ohm) == pytest.approx(0.825)
    assert resistance_ohm(cell_constant_per_cm(rods()), us_per_cm) == pytest.approx(low, rel=0.01)


def test_what_the_board_hangs_on_a_pin_counts() -> None:
    """12 kohm beside 45 kohm (31.5 to 58.5) are 8.69 to 9.96 kohm: LOW at a third, HIGH from three times. 200 kohm to
    ground beside the water must leave three times 58.5 kohm: 1 / (1 / 175.5 - 1 / 200) = 1,433 kohm; 10 never do."""
    up = ESP32.loaded(12e3, inf)
    assert (up.low_at_most_ohm, up.high_at_least_ohm) == (
        pytest.approx(2896.6, rel=1e-4),
        pytest.approx(29.87e3, rel=1e-3),
    )
    assert ESP32.loaded(inf, 200e3).high_at_least_ohm == pytest.approx(1433e3, rel=1e-3)
    assert ESP32.loaded(inf, 200e3).high_at_best_ohm == pytest.approx(1 / (1 / 94.5e3 - 1 / 200e3))
    assert ESP32.loaded(inf, 10e3).high_at_least_ohm == inf
    assert ESP32.loaded(inf, 10e3).low_at_most_ohm == ESP32.low_at_most_ohm
    assert ESP32.loaded(inf, inf) is ESP32
    assert "10 kohm to LOW" in ESP32.loaded(inf, 10e3).what
    water = Conductivity(400, 500, "")
    assert reading(rods(), water, False, ESP32, 0).dry is Sure.YES
    assert reading(rods(), water, False, ESP32.loaded(inf, 10e3), 0).dry is Sure.FAIL
    assert reading(rods(), water, False, ESP32, 0).wet is Sure.YES
    assert reading(rods(), water, False, ESP32.loaded(470, inf), 0).wet is Sure.FAIL


def test_current_through_the_chip_s_pull_up() -> None:
    """3.3 V through 45 kohm and 1 kohm of water: 72 uA."""
    water = Conductivity(10 / at_c(1, 35) * 100, 1000 / at_c(1, 35), "")
    read = reading(constant(1), water, False, resistor_pull(45e3 / 0.95), 0)
    assert read.current_ua == pytest.approx(71.7, rel=5e-3)


def test_the_largest_current_a_resistor_lets_through() -> None:
    """Ohm's law at 3.3 V and with 5 % off the resistor: 33 kohm let 105 uA through, 100 ohm 35 mA."""
    assert largest_current_ua(resistor_pull(33e3)) == pytest.approx(3.3 / 31_350 * 1e6)
    assert largest_current_ua(resistor_pull(100)) == pytest.approx(3.3 / 95 * 1e6)


def test_water_of_each_kind() -> None:
    """datastream.org: rivers to 1,000, brackish 1,000 to 10,000; rain 5 to 50 and grey water from memory."""
    most = {kind: by_kind(kind).most_us_per_cm for kind in ("rain", "river", "mains", "bore", "brackish")}
    assert most == {"rain": 50, "river": 1000, "mains": 1500, "bore": 1500, "brackish": 10_000}
    assert [by_kind(kind).least_us_per_cm for kind in ("rain", "mains", "brackish")] == [5, 50, 1000]


def test_water_by_kind_and_as_measured() -> None:
    assert conductivity(None) is None
    assert conductivity(Water()) is None
    by_kind = conductivity(Water(kind="mains"))
    assert by_kind is not None
    assert (by_kind.least_us_per_cm, by_kind.most_us_per_cm) == (50, 1500)  # Maine DHHS, potable water
    measured = conductivity(Water.model_validate({"kind": "mains", "conductivity": "400 uS/cm"}))
    assert measured is not None
    assert (measured.least_us_per_cm, measured.most_us_per_cm) == pytest.approx((320, 480))
    assert at_c(100, 25) == 100


waters = st.tuples(st.floats(1, 50_000), st.floats(1, 3)).map(lambda t: Conductivity(t[0], t[0] * t[1], ""))
electrodes = st.one_of(
    st.floats(0.01, 50).map(constant),
    st.tuples(st.floats(1.2, 20), st.floats(5, 300)).map(
        lambda t: rods(spacing=f"{6 * t[0]:.6f} mm", wetted=f"{t[1]:.6f} mm")
    ),
)


@given(of=electrodes, water=waters, more=st.floats(1.01, 10), film=st.booleans(), cable_m=st.floats(0, 500))
def test_resistance_falls_as_conductivity_rises(of, water, more, film, cable_m) -> None:
    better = Conductivity(water.least_us_per_cm * more, water.most_us_per_cm * more, "")
    one, other = (reading(of, w, film, ESP32, cable_m) for w in (water, better))
    assert all(b < a for a, b in zip(one.wet_ohm, other.wet_ohm, strict=True))
    assert all(b < a for a, b in zip(one.dry_ohm, other.dry_ohm, strict=True))
    order = [Sure.FAIL, Sure.DOUBTFUL, Sure.YES]
    assert order.index(other.wet) >= order.index(one.wet)
    assert order.index(other.dry) <= order.index(one.dry)
    assert other.current_ua > one.current_ua


@given(of=electrodes, water=waters, film=st.booleans(), cable_m=st.floats(0, 500), longer=st.floats(1, 100))
def test_film_and_cable_only_make_it_worse(of, water, film, cable_m, longer) -> None:
    clean, coated = reading(of, water, False, ESP32, cable_m), reading(of, water, True, ESP32, cable_m)
    assert coated.wet_ohm[1] > clean.wet_ohm[1]
    assert coated.dry_ohm[1] < clean.dry_ohm[1]
    assert (
        reading(of, water, film, ESP32, cable_m + longer).dry_ohm[1]
        < reading(of, water, film, ESP32, cable_m).dry_ohm[1]
    )
    assert clean.wet_ohm[0] < clean.wet_ohm[1]


@given(of=electrodes, water=waters, film=st.booleans(), cable_m=st.floats(0, 500))
def test_the_resistor_to_fit_fits(of, water, film, cable_m) -> None:
    read = reading(of, water, film, ESP32, cable_m)
    ohm = resistor_to_fit_ohm(read.wet_ohm, read.dry_ohm)
    fitting = [
        value
        for power in range(2, 6)
        for two in E24
        for value in [float(two * 10**power)]
        if (r := reading(of, water, film, resistor_pull(value), cable_m)).wet is Sure.YES
        and r.dry is Sure.YES
        and 1e6 * SUPPLY_V / (value * 0.95) <= ELECTRODE_CURRENT_UA
        and value <= 1e6
    ]
    assert ohm in fitting if fitting else ohm is None


@pytest.mark.parametrize(
    ("wet_ohm", "dry_ohm", "fits_ohm"),
    [
        (
            1e3,
            945e3,
            100e3,
        ),  # 34.7 kohm (100 uA at 3.3 V, 5 % off) to 945 / 3 / 1.05 = 300 kohm; middle 102 kohm
        (
            100e3,
            1e9,
            560e3,
        ),  # 3 x 100 / 0.95 = 316 kohm to the 1 Mohm that a pin's leakage allows; middle 562 kohm
        (330e3, 1e9, None),  # 3 x 330 / 0.95 is over 1 Mohm
        (1e3, 100e3, None),  # 100 / 3 / 1.05 = 31.7 kohm let more than 100 uA through
    ],
)
def test_the_resistor_is_the_one_in_the_middle(
    wet_ohm: float, dry_ohm: float, fits_ohm: float | None
) -> None:
    """Worked by hand from the limits of an input; the middle is the geometric one."""
    assert resistor_to_fit_ohm((wet_ohm / 2, wet_ohm), (2 * dry_ohm, dry_ohm)) == fits_ohm


def test_when_a_resistor_must_be_fitted() -> None:
    """The chip's own pull-up does while it reads both surely and lifts the cable in time; a resistor outside while it
    reads both surely and lets no more current through than electrodes bear."""
    water = Conductivity(100, 200, "")
    good = reading(constant(0.5), water, False, ESP32, 0)
    assert (good.wet, good.dry) == (Sure.YES, Sure.YES)
    assert not needs_resistor(good, ESP32, 2.0, CHIP.settle_s)
    assert needs_resistor(good, ESP32, 1000.0, CHIP.settle_s)
    assert needs_resistor(good, None, 2.0, 0.0)
    pure = reading(constant(0.5), Conductivity(5, 6, ""), False, ESP32, 0)
    assert (pure.wet is Sure.YES, pure.dry) == (False, Sure.YES)
    assert needs_resistor(pure, ESP32, 2.0, CHIP.settle_s)
    salty = reading(constant(0.5), Conductivity(20_000, 50_000, ""), True, ESP32, 0)
    assert (salty.wet, salty.dry is Sure.YES) == (Sure.YES, False)
    assert needs_resistor(salty, ESP32, 2.0, CHIP.settle_s)
    for ohm, needed in ((47e3, False), (22e3, True)):  # 3.3 V through 22 kohm are 150 uA
        pull = resistor_pull(ohm)
        assert needs_resistor(reading(constant(0.5), water, False, pull, 0), pull, 1000.0, 0.0) is needed


@given(ohm=st.floats(1e3, 1e6), settle_us=st.floats(5, 5000))
def test_the_longest_cable_settles_just_in_time(ohm: float, settle_us: float) -> None:
    longest = longest_cable_m(ohm, settle_us / 1e6)
    if settles_s(ohm, 0.0) < settle_us / 1e6:
        assert isclose(settles_s(ohm, longest), settle_us / 1e6, rel_tol=1e-9)
    else:
        assert longest == 0.0


def test_rise_time_against_the_exponential() -> None:
    """45 kohm and 100 pF make 4.5 us; an input is HIGH from 0.75 on, after 1.386 of those."""
    assert settles_s(45e3, 0.9) == pytest.approx(4.5e-6 * 1.38629, rel=1e-4)
    assert longest_cable_m(45e3, 4.5e-6 * 1.38629) == pytest.approx(0.9, rel=1e-4)
    assert longest_cable_m(45e3, 0.1e-6) == 0.0  # less than the pin itself takes


@pytest.mark.parametrize(
    ("duty", "water", "electrodes", "film"),
    [
        ("potable", {"kind": "mains"}, None, False),
        ("potable", {"kind": "mains"}, {}, False),
        ("potable", {"kind": "mains"}, {"film": True}, True),
        ("sump", {"kind": "mains"}, None, True),
        ("livestock", {"kind": "bore"}, {}, True),
        ("livestock", {"kind": "bore"}, {"film": False}, False),
        ("irrigation", {"kind": "rain"}, {}, True),
        ("irrigation", None, {}, False),
    ],
)
def test_film_by_what_is_given_else_by_duty_and_water(duty: str, water, electrodes, film: bool) -> None:
    """Own rule: what is said of the electrodes goes first; slime in sumps, troughs and untreated water."""
    keys = {} if water is None else {"water": water}
    if electrodes is not None:
        keys["electrodes"] = {"kind": "constant", "cell_constant": "1 /cm", **electrodes}
    assert has_film(tank({"low": "0.5 m", "full": "1.5 m"}, duty=duty, **keys)) is film


def test_values_of_e24() -> None:
    """IEC 60063: 24 values a decade, rising, and geometric to 4.5 % (the classic ones around 30 are that far off)."""
    assert len(E24) == 24
    assert list(E24) == sorted(set(E24))
    for step, value in enumerate(E24):
        assert value == pytest.approx(10 ** (1 + step / 24), rel=0.045)


def test_film_of_a_square() -> None:
    """A sheet 0.1 mm thick and as wide as long: 1 / 0.01 cm = 100 /cm."""
    assert film_constant_per_cm(constant(1), 0.1) == pytest.approx(100)
    assert film_constant_per_cm(rods(), 0.1) == pytest.approx(100 * 20 / 6)
    plates = Plates.model_validate({"kind": "plates", "area": "4 cm2", "distance": "30 mm"})
    assert film_constant_per_cm(plates, 0.1) == pytest.approx(100 * 30 / 20)  # 20 mm wide


def test_words() -> None:
    assert [kohm(v) for v in (850, 1050, 4700, 1e5, 999_700, 1.2e6)] == [
        "850 ohm", "1.05 kohm", "4.7 kohm", "100 kohm", "1 Mohm", "1.2 Mohm",
    ]  # fmt: skip


FARM = """
fleet: {{name: thornby, domain: thornby.example}}
sites: [{{name: farm, time_zone: Europe/London, network: farm-wifi}}]
tanks:
  - name: loft
    site: farm
    duty: rain
    shape: {{kind: box, length: 2 m, width: 2 m, height: 2 m}}
    marks: [{{name: low, height: 0.5 m}}, {{name: full, height: 1.6 m}}]
    water: {{kind: rain, conductivity: {water}}}
    electrodes: {{kind: rods, diameter: {diameter}, spacing: {spacing}, wetted: {wetted}}}
nodes:
  - name: loft-node
    board: esp32-devkit
    serves: [{{tank: loft, probes: {{low: IO16, full: IO17}}, cable_length: {cable}}}]
"""


@given(
    water=st.integers(1, 2000), diameter=st.integers(1, 12), gap=st.integers(0, 60), wetted=st.integers(2, 200),
    cable=st.integers(0, 300),
)  # fmt: skip
def test_units_do_not_matter(water: int, diameter: int, gap: int, wetted: int, cable: int) -> None:
    """The same electrodes in millimetres and in inches, water in uS/cm and in mS/m: the same findings."""
    metric = FARM.format(
        water=f"{water} uS/cm", diameter=f"{diameter} mm", spacing=f"{diameter + gap} mm", wetted=f"{wetted} mm",
        cable=f"{cable} m",
    )  # fmt: skip
    us = FARM.format(
        water=f"{water / 10!r} mS/m", diameter=f"{diameter / 25.4!r} in", spacing=f"{(diameter + gap) / 25.4!r} in",
        wetted=f"{wetted / 25.4!r} in", cable=f"{cable / 0.3048!r} ft",
    )  # fmt: skip
    said = [[f.code.code for f in read_texts([("farm.yaml", text.encode())])[1]] for text in (metric, us)]
    assert gap == 0 or said[0] == said[1]
