"""Quantities with units. The other party is pint, whose table of units is not ours."""

from __future__ import annotations

import math
import re
import subprocess
import sys
from typing import Annotated

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError

from fleet.model import units
from fleet.model.rejected import ValueRejected
from fleet.model.units import parse

KINDS = {
    "length": units._LENGTH,
    "volume": units._VOLUME,
    "flow": units._FLOW,
    "power": units._POWER,
    "duration": units._DURATION,
    "conductivity": units._CONDUCTIVITY,
    "resistance": units._RESISTANCE,
    "area": units._AREA,
}
REGISTRY = pint.UnitRegistry()
# How pint writes what people write in other ways. `gpm`, `lpm`: common practice in the trade.
TO_PINT = {
    "gpm": "gallon/minute",
    "lpm": "liter/minute",
    "gph": "gallon/hour",
    "gpd": "gallon/day",
    "lph": "liter/hour",
    "lps": "liter/second",
    "igpm": "imperial_gallon/minute",
    "igph": "imperial_gallon/hour",
    "igpd": "imperial_gallon/day",
    "US_gal": "gallon",
    "usgal": "gallon",
    "imperial_gallons": "imperial_gallon",
    "imp_gal": "imperial_gallon",
    "impgal": "imperial_gallon",
    "igal": "imperial_gallon",
    "UK_gal": "imperial_gallon",
    "ukgal": "imperial_gallon",
    "m3": "m**3",
    "m³": "m**3",
    "ft3": "ft**3",
    "m2": "m**2",
    "cm2": "cm**2",
    "mm2": "mm**2",
    "in2": "in**2",
    "kohm": "kiloohm",
    "kOhm": "kiloohm",
    "Mohm": "megaohm",
    "MOhm": "megaohm",
    "Ohm": "ohm",
    "ft³": "ft**3",
}


def by_pint(number: float, unit: str, kind: units.Kind) -> float:
    whole, _, per = unit.partition("/")
    words = TO_PINT.get(whole, whole) + (f"/{per}" if per else "")
    return float((number * REGISTRY.parse_units(words)).to(kind.pint_unit).magnitude)


@pytest.mark.parametrize(
    ("kind", "unit"), [(name, unit) for name, kind in KINDS.items() for unit in kind.factors]
)
def test_every_usual_unit_has_the_size_that_pint_gives_it(kind: str, unit: str) -> None:
    """The tables against pint, to 1e-12."""
    ours = parse(KINDS[kind], f"1 {unit}")
    assert ours == pytest.approx(by_pint(1.0, unit, KINDS[kind]), rel=1e-12)


@given(
    kind=st.sampled_from(sorted(KINDS)),
    number=st.decimals(min_value="0.001", max_value="99", places=3),
    data=st.data(),
)
def test_numbers_times_units_agree_with_pint(kind: str, number, data) -> None:
    table = KINDS[kind]
    unit = data.draw(st.sampled_from(sorted(table.factors)))
    space = data.draw(st.sampled_from(["", " ", "  ", "\u00a0", "\u202f"]))
    expected = by_pint(float(number), unit, table)
    if expected > table.largest:
        with pytest.raises(ValueRejected, match="more than"):
            parse(table, f"{number}{space}{unit}")
    else:
        assert parse(table, f"{number}{space}{unit}") == pytest.approx(expected, rel=1e-12)


# NIST Handbook 44, appendix C, exact: 1 in = 25.4 mm, 1 ft = 0.3048 m, 1 gal = 231 in3 = 3.785411784 L. NIST SP 811,
# appendix B: 1 hp (550 ft lbf/s) = 745.6999 W. The rest: powers of ten and sixty.
@pytest.mark.parametrize(
    ("kind", "text", "value"),
    [
        ("length", "2.4 m", 2.4),
        ("length", "96 in", 2.4384),
        ("length", "8 ft", 2.4384),
        ("length", "240 cm", 2.4),
        ("volume", "1100 gal", 4163.9529624),
        ("volume", "4.2 m3", 4200.0),
        ("flow", "60 L/min", 60.0),
        ("flow", "1 L/s", 60.0),
        ("flow", "3.6 m3/h", 60.0),
        ("flow", "16 gal/min", 60.566588544),
        ("volume", "10 igal", 45.4609),  # Weights and Measures Act 1985: 4.54609 L, exact
        ("flow", "8 igal/min", 36.36872),
        ("flow", "8 imp_gal/min", 36.36872),
        ("flow", "8 igpm", 36.36872),
        ("power", "0.75 kW", 0.75),
        ("power", "1 hp", 0.7456999),
        ("conductivity", "120 uS/cm", 120.0),
        ("conductivity", "120 µS/cm", 120.0),
        ("conductivity", "12 mS/m", 120.0),
        ("duration", "4 h", 14400.0),
        ("duration", "1.5 min", 90.0),
    ],
)
def test_published_conversions(kind: str, text: str, value: float) -> None:
    assert parse(KINDS[kind], text) == pytest.approx(value, rel=1e-7)


@pytest.mark.parametrize(
    ("kind", "text", "value"),
    [
        ("length", "0.01 furlong", 2.01168),  # 660 ft (survey or not differ by 2e-6)
        ("volume", "10 imperial_pint", 5.6826125),  # Weights and Measures Act 1985: an eighth of 4.54609 L
        ("flow", "1 oil_bbl/day", 158.987294928 / 1440),  # NIST Handbook 44, appendix C: 42 US gallons
        ("power", "1 metric_horsepower", 0.73549875),  # 75 kgf m/s, exact
        ("duration", "1 fortnight", 1_209_600.0),
    ],
)
def test_unusual_units_are_left_to_pint(kind: str, text: str, value: float) -> None:
    assert parse(KINDS[kind], text) == pytest.approx(value, rel=1e-5)


@pytest.mark.parametrize(
    ("value", "code", "words"),
    [
        (2.4, "INV130", "2.4 has no unit"),
        (0, "INV130", "0 has no unit"),
        ("2.4", "INV130", "2.4 has no unit"),
        ("-2", "INV130", "-2 has no unit"),
        (True, "INV131", "expected a length"),
        (None, "INV131", "expected a length"),
        ([2], "INV131", "expected a length"),
        ("m", "INV131", "`m` is not a length"),
        ("", "INV131", "`` is not a length"),
        ("2.4 m 3", "INV131", "is not a length"),
        ("1 - b", "INV131", "is not a length"),
        ("nan m", "INV131", "is not a length"),
        ("inf m", "INV131", "is not a length"),
        ("1,100 m", "INV131", "has a comma in it"),
        ("2,4 m", "INV131", "has a comma in it"),
        ("1_000 m", "INV131", "is not a length"),
        ("0x10 m", "INV131", "is not a length"),
        ("9**9**9 m", "INV131", "is not a length"),
        ("2 m^9", "INV131", "is not a length"),
        ("(2) m", "INV131", "is not a length"),
        ("2 __import__('os')", "INV131", "is not a length"),
        ("2.4 kg", "INV132", "`kg` does not measure a length"),
        ("2.4 M", "INV132", "Did you mean `m`?"),
        ("2.4 meterr", "INV132", "there is no unit `meterr`"),
        ("2.4 degC", "INV132", "does not measure a length"),
        ("2.4 dB", "INV132", "does not measure a length"),
        ("2.4 %", "INV132", "`%`"),
        ("-2.4 m", "INV133", "is negative"),
        ("- 2.4 m", "INV133", "is negative"),
        ("1e9 m", "INV133", "more than 1000 m"),
        ("1e999 m", "INV133", "more than 1000 m"),
    ],
)
def test_what_is_no_length_is_refused_with_a_code(value, code: str, words: str) -> None:
    with pytest.raises(ValueRejected) as caught:
        parse(units._LENGTH, value)
    assert caught.value.code.code == code
    assert words in caught.value.what


@pytest.mark.parametrize(
    ("kind", "unit", "meant"),
    [
        ("flow", "L/mn", "L/min"),
        ("flow", "igal/mn", "igal/min"),
        ("flow", "L", ""),  # per what?
        ("flow", "bgal/min", ""),
        ("flow", "gp", ""),  # a minute, an hour or a day
        ("flow", "cpm", ""),
        ("conductivity", "uS", ""),  # per centimetre or per metre
        ("conductivity", "US/CM", "uS/cm"),
        ("conductivity", "MS/CM", ""),  # milli or mega
        ("power", "kw", "kW"),
        ("power", "mw", ""),  # milli or mega
        ("length", "MM", "mm"),
        ("length", "fot", "ft"),
        ("duration", "hourz", "hour"),
        ("resistance", "KOHM", "kohm"),
        ("resistance", "mOHM", ""),
    ],
)
def test_no_unit_of_another_size_is_suggested(kind: str, unit: str, meant: str) -> None:
    """By hand: what a person may have meant, where it is only one size."""
    with pytest.raises(ValueRejected) as caught:
        parse(KINDS[kind], f"3 {unit}")
    assert caught.value.code.code == "INV132"
    said = re.findall(r"Did you mean `(.*?)`", caught.value.what)
    assert said == ([meant] if meant else [])


def test_a_bare_number_is_shown_the_accepted_units() -> None:
    with pytest.raises(ValueRejected) as caught:
        parse(units._FLOW, 60)
    for example in ("60 L/min", "3.6 m3/h", "16 gal/min"):
        assert f"`{example}`" in caught.value.fix


@pytest.mark.parametrize("text", ["0 m", "0.000 mm", "0e5 in"])
def test_nothing_is_a_level_but_no_size(text: str) -> None:
    assert parse(units._LENGTH, text) == 0.0
    with pytest.raises(ValueRejected, match="above zero"):
        parse(units._SIZE, text)


@pytest.mark.parametrize(
    ("text", "value"), [("10 %", 0.1), ("0 %", 0.0), ("100%", 1.0), ("0.5 percent", 0.005)]
)
def test_shares(text: str, value: float) -> None:
    assert parse(units._SHARE, text) == pytest.approx(value)


@pytest.mark.parametrize("value", [0.1, "0.1", "101 %", "-1 %", "10 m", "10"])
def test_what_is_no_share(value) -> None:
    with pytest.raises(ValueRejected):
        parse(units._SHARE, value)


@given(
    st.text(max_size=60) | st.floats() | st.integers() | st.none() | st.booleans() | st.lists(st.integers())
)
def test_whatever_comes_is_a_finite_quantity_or_a_refusal(value) -> None:
    for kind in KINDS.values():
        try:
            quantity = parse(kind, value)
        except ValueRejected as refusal:
            assert refusal.what
            assert refusal.code.code.startswith("INV13")
        else:
            assert math.isfinite(quantity)
            assert 0 <= quantity <= kind.largest


@given(
    st.from_regex(r"[0-9]{1,3} [A-Za-z%µ]{1,8}([/*][A-Za-z]{1,6}|\^[23]){0,3}", fullmatch=True),
    st.sampled_from(sorted(KINDS)),
)
def test_any_unit_of_the_grammar_is_a_quantity_or_a_refusal(text: str, kind: str) -> None:
    """Whatever pint makes of a unit, no error of pint's comes out."""
    try:
        assert math.isfinite(parse(KINDS[kind], text))
    except ValueRejected as refusal:
        assert refusal.what


def test_the_types_of_the_model_hold_the_unit_of_their_name() -> None:
    for annotated, text, value in [
        (units.Length_m, "1 ft", 0.3048),
        (units.Size_m, "1 ft", 0.3048),
        (units.Volume_l, "1 m3", 1000.0),
        (units.Flow_l_per_min, "1 L/s", 60.0),
        (units.Power_kw, "500 W", 0.5),
        (units.Duration_s, "2 min", 120.0),
        (units.Span_s, "2 min", 120.0),
        (units.Conductivity_uS_per_cm, "1 mS/cm", 1000.0),
        (units.Share, "25 %", 0.25),
    ]:
        adapter: TypeAdapter[float] = TypeAdapter(Annotated[annotated, "one value"])
        assert adapter.validate_python(text) == pytest.approx(value)
        with pytest.raises(ValidationError):
            adapter.validate_python(1.0)


def test_usual_units_do_not_import_pint() -> None:
    code = (
        "import sys; from fleet.model.tank import Box;"
        "Box.model_validate({'kind': 'box', 'length': '2.4 m', 'width': '96 in', 'height': '3 ft'});"
        "assert 'pint' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def test_two_kinds_of_one_noun_keep_their_own_bounds() -> None:
    """What was read of one is not given to the other: neither the value nor its refusal."""
    near, far = (
        units.Kind("a depth", "m", "meter", {"m": 1.0}, ("2 m",), largest) for largest in (10.0, 100.0)
    )
    assert parse(far, "50 m") == 50.0
    with pytest.raises(ValueRejected) as caught:
        parse(near, "50 m")
    assert caught.value.code.code == "INV133"
    assert parse(far, "50 m") == 50.0
