"""Quantities: text with a unit in the files, a float in one fixed unit in the model.

`2.4 m`, `96 in`, `60 L/min`, `1100 gal` (US gallon), `0.75 kW`, `1 hp` (mechanical, 745.7 W), `120 uS/cm`,
`4 h`, `10 %`. The usual units are in the tables below; any other unit is left to pint, which is imported only
then. A bare number is an error, and so is anything negative, infinite or beyond what a water tank can be.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from math import isfinite
from typing import TYPE_CHECKING, Annotated, Any, Final

from pydantic import BeforeValidator, WithJsonSchema

from fleet.limits import QUANTITY_CHARS, SMALLEST_FLOW_L_PER_MIN, SMALLEST_QUANTITY, SMALLEST_SIZE_M
from fleet.model.codes import NO_UNIT, NOT_A_QUANTITY, OUT_OF_RANGE, WRONG_UNIT
from fleet.model.rejected import ValueRejected, shown

if TYPE_CHECKING:
    from collections.abc import Mapping

_NUMBER: Final = r"(?:[0-9]+(?:\.[0-9]+)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?"
_UNIT: Final = r"(?:/(?:cm|mm|m|in)|[A-Za-zµμ%][A-Za-z0-9µμ²³_]*(?:[/*][A-Za-zµμ][A-Za-z0-9µμ²³_]*|\^[23])*)"
_SPACE: Final = "[ \u00a0\u202f]*"
_QUANTITY: Final = re.compile(rf"({_NUMBER}){_SPACE}({_UNIT})")
_BARE: Final = re.compile(rf"[+-]?{_NUMBER}")
_SIGNED: Final = re.compile(rf"-{_SPACE}{_NUMBER}{_SPACE}{_UNIT}")

# NIST Handbook 44 (2024), appendix C: inch = 25.4 mm, US gallon = 231 in3 = 3.785411784 L (both exact).
_INCH_M: Final = 0.0254
_US_GALLON_L: Final = 3.785411784
_IMPERIAL_GALLON_L: Final = 4.54609  # Weights and Measures Act 1985, exact
_FOOT3_L: Final = 28.316846592
_HORSEPOWER_KW: Final = 0.74569987158227022  # 550 ft lbf/s


@dataclass(frozen=True, slots=True, eq=False)
class Kind:
    """One kind of quantity: its words, the unit that the model holds, the usual units and the bounds.

    Two kinds are never equal, whatever they hold: what was read of one is not kept for another.
    """

    noun: str
    unit: str
    pint_unit: str
    factors: Mapping[str, float]
    """Usual units, each with its size in `unit`."""
    examples: tuple[str, ...]
    largest: float
    """In `unit`."""
    zero_allowed: bool = True
    least: float = SMALLEST_QUANTITY
    """In `unit`; a smaller one that is not 0 is refused."""

    @property
    def accepted(self) -> str:
        """The examples as the end of a sentence."""
        return ", ".join(f"`{example}`" for example in self.examples)


_LENGTH: Final = Kind(
    "a length",
    "m",
    "meter",
    {
        "mm": 0.001,
        "cm": 0.01,
        "m": 1.0,
        "in": _INCH_M,
        "inch": _INCH_M,
        "inches": _INCH_M,
        "ft": 12 * _INCH_M,
        "foot": 12 * _INCH_M,
        "feet": 12 * _INCH_M,
        "yd": 36 * _INCH_M,
    },
    ("2.4 m", "240 cm", "2400 mm", "96 in", "8 ft"),
    1_000.0,
)
_SIZE: Final = Kind(
    "a length",
    "m",
    "meter",
    _LENGTH.factors,
    _LENGTH.examples,
    _LENGTH.largest,
    zero_allowed=False,
    least=SMALLEST_SIZE_M,
)
_VOLUMES: Final = {
    "L": 1.0,
    "l": 1.0,
    "mL": 0.001,
    "ml": 0.001,
    "m3": 1000.0,
    "m³": 1000.0,
    "m^3": 1000.0,
    "gal": _US_GALLON_L,
    "gallon": _US_GALLON_L,
    "gallons": _US_GALLON_L,
    "US_gal": _US_GALLON_L,
    "usgal": _US_GALLON_L,
    "imperial_gallon": _IMPERIAL_GALLON_L,
    "imperial_gallons": _IMPERIAL_GALLON_L,
    "imp_gal": _IMPERIAL_GALLON_L,
    "impgal": _IMPERIAL_GALLON_L,
    "igal": _IMPERIAL_GALLON_L,
    "UK_gal": _IMPERIAL_GALLON_L,
    "ukgal": _IMPERIAL_GALLON_L,
    "ft3": _FOOT3_L,
    "ft³": _FOOT3_L,
    "ft^3": _FOOT3_L,
}
_VOLUME: Final = Kind(
    "a volume", "L", "liter", _VOLUMES, ("4200 L", "4.2 m3", "1100 gal", "150 ft3"), 1_000_000_000.0
)
_PER: Final = {"s": 60.0, "min": 1.0, "h": 1.0 / 60.0, "d": 1.0 / 1440.0}
_FLOW: Final = Kind(
    "a flow",
    "L/min",
    "liter/minute",
    {f"{volume}/{time}": size * per for volume, size in _VOLUMES.items() for time, per in _PER.items()}
    | {"gpm": _US_GALLON_L, "gph": _US_GALLON_L / 60.0, "gpd": _US_GALLON_L / 1440.0}
    | {"igpm": _IMPERIAL_GALLON_L, "igph": _IMPERIAL_GALLON_L / 60.0, "igpd": _IMPERIAL_GALLON_L / 1440.0}
    | {"lpm": 1.0, "lps": 60.0, "lph": 1.0 / 60.0},
    ("60 L/min", "1 L/s", "3.6 m3/h", "16 gal/min", "200 L/d"),
    1_000_000.0,
    least=SMALLEST_FLOW_L_PER_MIN,
)
_PUMPED: Final = Kind(
    "a flow",
    "L/min",
    "liter/minute",
    _FLOW.factors,
    _FLOW.examples,
    _FLOW.largest,
    zero_allowed=False,
    least=_FLOW.least,
)
_POWER: Final = Kind(
    "a power",
    "kW",
    "kilowatt",
    {"W": 0.001, "kW": 1.0, "MW": 1000.0, "hp": _HORSEPOWER_KW},
    ("0.75 kW", "750 W", "1 hp"),
    10_000.0,
    zero_allowed=False,
)
_DURATION: Final = Kind(
    "a duration",
    "s",
    "second",
    {
        "ms": 0.001,
        "s": 1.0,
        "sec": 1.0,
        "second": 1.0,
        "seconds": 1.0,
        "min": 60.0,
        "minute": 60.0,
        "minutes": 60.0,
        "h": 3600.0,
        "hour": 3600.0,
        "hours": 3600.0,
        "d": 86_400.0,
        "day": 86_400.0,
        "days": 86_400.0,
        "week": 604_800.0,
        "weeks": 604_800.0,
    },
    ("90 s", "20 min", "4 h", "2 d"),
    366 * 86_400.0,
)
_SPAN: Final = Kind(
    "a duration",
    "s",
    "second",
    _DURATION.factors,
    _DURATION.examples,
    _DURATION.largest,
    zero_allowed=False,
)
_CONDUCTIVITY: Final = Kind(
    "a conductivity",
    "uS/cm",
    "microsiemens/centimeter",
    {
        "uS/cm": 1.0,
        "µS/cm": 1.0,
        "μS/cm": 1.0,
        "mS/cm": 1000.0,
        "mS/m": 10.0,
        "S/m": 10_000.0,
        "uS/m": 0.01,
        "µS/m": 0.01,
        "μS/m": 0.01,
    },
    ("120 uS/cm", "1.2 mS/cm", "12 mS/m"),
    1_000_000.0,
    zero_allowed=False,
)
_RESISTANCE: Final = Kind(
    "a resistance",
    "ohm",
    "ohm",
    {"ohm": 1.0, "Ohm": 1.0, "kohm": 1e3, "kOhm": 1e3, "Mohm": 1e6, "MOhm": 1e6},
    ("100 kohm", "4700 ohm", "1 Mohm"),
    1e9,
    zero_allowed=False,
)
_AREA: Final = Kind(
    "an area",
    "m2",
    "meter**2",
    {
        "m2": 1.0,
        "m²": 1.0,
        "m^2": 1.0,
        "cm2": 1e-4,
        "cm²": 1e-4,
        "cm^2": 1e-4,
        "mm2": 1e-6,
        "mm²": 1e-6,
        "mm^2": 1e-6,
        "in2": _INCH_M**2,
        "in²": _INCH_M**2,
        "in^2": _INCH_M**2,
    },
    ("4 cm2", "400 mm2", "0.6 in2"),
    1e4,
    zero_allowed=False,
)
_CELL_CONSTANT: Final = Kind(
    "a cell constant",
    "/cm",
    "",
    {"/cm": 1.0, "/m": 0.01, "/mm": 10.0, "/in": 0.01 / _INCH_M},
    ("0.5 /cm", "50 /m"),
    1e4,
    zero_allowed=False,
)
_INERTIA: Final = Kind(
    "a moment of inertia",
    "lb*ft^2",
    "pound * foot ** 2",
    {"lb*ft2": 1.0, "lb*ft^2": 1.0, "kg*m2": 23.730360404, "kg*m^2": 23.730360404},
    ("50 lb*ft2", "2.1 kg*m2"),
    1_000_000.0,
    zero_allowed=False,
)
_SHARE: Final = Kind("a share", "%", "", {"%": 0.01, "percent": 0.01}, ("10 %", "0.5 %"), 1.0)


def parse(kind: Kind, value: Any) -> float:
    """The quantity that `value`, text from a file, says: in `kind.unit`, a share from 0 to 1.

    Refusal if it says none, or one that cannot be.
    """
    if isinstance(value, bool) or not isinstance(value, (str, int, float)):
        raise ValueRejected(NOT_A_QUANTITY, f"expected {kind.noun}", f"Write it as in {kind.accepted}.")
    if not isinstance(value, str) or _BARE.fullmatch(value.strip()):
        raise ValueRejected(
            NO_UNIT,
            f"{shown(value)} has no unit; expected {kind.noun}",
            f"Write the unit, as in {kind.accepted}.",
        )
    return _parse_text(kind, value)


@lru_cache(maxsize=100_000)
def _parse_text(kind: Kind, text: str) -> float:
    match = _QUANTITY.fullmatch(text.strip()) if len(text) <= QUANTITY_CHARS else None
    if match is None:
        raise _unreadable(kind, text)
    number, unit = match.groups()
    factor = kind.factors.get(unit)
    if factor is None:
        factor = _factor_by_pint(kind, unit)
    value = float(number) * factor
    if not isfinite(value) or value > kind.largest:
        largest = f"{100 * kind.largest:g} %" if kind.unit == "%" else f"{kind.largest:g} {kind.unit}"
        raise ValueRejected(OUT_OF_RANGE, f"`{shown(text)}` is more than {largest}, the largest allowed here")
    if value == 0 and not kind.zero_allowed:
        raise ValueRejected(OUT_OF_RANGE, f"`{shown(text)}` is zero; expected {kind.noun} above zero")
    if 0 < value < kind.least:
        least = f"{100 * kind.least:g} %" if kind.unit == "%" else f"{kind.least:g} {kind.unit}"
        fix = "Write 0 if there is none." if kind.zero_allowed else ""
        raise ValueRejected(
            OUT_OF_RANGE, f"`{shown(text)}` is less than {least}, the smallest allowed here", fix
        )
    return value


def _unreadable(kind: Kind, text: str) -> ValueRejected:
    stripped = text.strip()
    said = shown(stripped)
    if _SIGNED.fullmatch(stripped[:QUANTITY_CHARS]):
        return ValueRejected(OUT_OF_RANGE, f"`{said}` is negative; {kind.noun} cannot be")
    if re.match(r"[0-9][0-9., ']*,[0-9]", stripped):
        return ValueRejected(
            NOT_A_QUANTITY,
            f"`{said}` has a comma in it",
            f"Write a point before the decimals and nothing between thousands, as in {kind.accepted}.",
        )
    return ValueRejected(NOT_A_QUANTITY, f"`{said}` is not {kind.noun}", f"Write it as in {kind.accepted}.")


def _factor_by_pint(kind: Kind, unit: str) -> float:
    """Size of `unit` in `kind.unit`, from pint's table of units."""
    fix = f"Write it as in {kind.accepted}."
    if not kind.pint_unit or unit.startswith("/"):
        raise ValueRejected(WRONG_UNIT, f"`{unit}` does not measure {kind.noun}", fix)
    registry, errors = _pint()
    try:
        return float(registry.Quantity(1.0, registry.parse_units(unit)).to(kind.pint_unit).magnitude)
    except errors.UndefinedUnitError:
        what = f"there is no unit `{unit}`"
    except (errors.PintError, ValueError, TypeError, AssertionError, ZeroDivisionError):
        what = f"`{unit}` does not measure {kind.noun}"
    meant = unit_meant(unit, kind.factors)
    raise ValueRejected(WRONG_UNIT, f"{what}.{f' Did you mean `{meant}`?' if meant else ''}", fix)


def unit_meant(unit: str, known: Mapping[str, float]) -> str:
    """The one of the known units (with their sizes) that was surely meant; empty where another size may have been.

    The same letters in other cases, but for M and m, which are a million and a thousandth; or begun alike with letters
    left out, added or exchanged. Where such units differ in size, none is said.
    """
    lengths = "m" in known
    may = [
        name for name in known if name[0].lower() == unit[0].lower() and (lengths or not _mega(name, unit))
    ]
    close = [name for name in may if name.lower() == unit.lower()]
    if not close and len(unit) > 1:
        close = [name for name in may if _alike(name.lower(), unit.lower())]
    if len({known[name] for name in close}) != 1:
        return ""
    return min(close, key=lambda name: abs(len(name) - len(unit)))


def _mega(one: str, other: str) -> bool:
    """Whether one begins with a million where the other begins with a thousandth."""
    return {one[0], other[0]} == {"m", "M"}


def _alike(one: str, other: str) -> bool:
    """Whether one is the other with letters left out, or with letters exchanged."""
    return _within(one, other) or _within(other, one) or sorted(one) == sorted(other)


def _within(short: str, long: str) -> bool:
    letters = iter(long)
    return all(letter in letters for letter in short)


@lru_cache(maxsize=1)
def _pint() -> tuple[Any, Any]:
    import pint

    return pint.UnitRegistry(), pint.errors


def _reader(kind: Kind) -> BeforeValidator:
    def read(value: Any) -> float:
        return parse(kind, value)

    return BeforeValidator(read)


def _schema(kind: Kind) -> WithJsonSchema:
    return WithJsonSchema(
        {
            "type": "string",
            "pattern": rf"^\s*{_NUMBER}{_SPACE}{_UNIT}\s*$",
            "maxLength": QUANTITY_CHARS,
            "description": f"{kind.noun} with its unit",
            "examples": list(kind.examples),
        }
    )


def read_size_m(text: str) -> float:
    """A length above zero that somebody typed, in metres; Refusal if it is none."""
    return parse(_SIZE, text)


def read_volume_l(text: str) -> float:
    """A volume that somebody typed, in litres; Refusal if it is none."""
    return parse(_VOLUME, text)


Length_m = Annotated[float, _reader(_LENGTH), _schema(_LENGTH)]
"""A length or height, zero allowed, in metres."""
Size_m = Annotated[float, _reader(_SIZE), _schema(_SIZE)]
"""A length above zero, in metres."""
Volume_l = Annotated[float, _reader(_VOLUME), _schema(_VOLUME)]
"""A volume in litres."""
Flow_l_per_min = Annotated[float, _reader(_FLOW), _schema(_FLOW)]
"""A flow in litres per minute."""
Pumped_l_per_min = Annotated[float, _reader(_PUMPED), _schema(_PUMPED)]
"""A flow above zero, in litres per minute."""
Power_kw = Annotated[float, _reader(_POWER), _schema(_POWER)]
"""A power above zero, in kilowatts."""
Duration_s = Annotated[float, _reader(_DURATION), _schema(_DURATION)]
"""A duration, zero allowed, in seconds."""
Span_s = Annotated[float, _reader(_SPAN), _schema(_SPAN)]
"""A duration above zero, in seconds."""
Conductivity_uS_per_cm = Annotated[float, _reader(_CONDUCTIVITY), _schema(_CONDUCTIVITY)]
"""A conductivity above zero at 25 °C, in microsiemens per centimetre."""
Inertia_lb_ft2 = Annotated[float, _reader(_INERTIA), _schema(_INERTIA)]
"""A moment of inertia above zero, in pound-mass square feet, as motor tables have it."""
Share = Annotated[float, _reader(_SHARE), _schema(_SHARE)]
"""A share from 0 to 1, written in percent."""
Resistance_ohm = Annotated[float, _reader(_RESISTANCE), _schema(_RESISTANCE)]
"""An electrical resistance above zero, in ohms."""
Area_m2 = Annotated[float, _reader(_AREA), _schema(_AREA)]
"""An area above zero, in square metres."""
CellConstant_per_cm = Annotated[float, _reader(_CELL_CONSTANT), _schema(_CELL_CONSTANT)]
"""A cell constant above zero, per centimetre: resistance times conductivity."""
