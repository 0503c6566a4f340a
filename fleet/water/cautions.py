"""What to mind at a tank: general guidance; local code and a licensed person decide."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleet.inventory.model import Duty
from fleet.water.filling import S_PER_MIN, overflow_m
from fleet.water.geometry import top_m, volume_l
from fleet.water.quantities import METRIC, Units

if TYPE_CHECKING:
    from collections.abc import Callable

    from fleet.inventory.model import Pump, Tank

DEFERS = "General guidance only: local code and a licensed person decide."
FIRE_REFILL_H = 8.0
_CAN_BE_ENTERED_M = 0.9
"""A tank higher than this can hold a person (own choice, on the careful side)."""


@dataclass(frozen=True, slots=True)
class Caution:
    """One thing to mind: the matter in a few words, what to do, and where that comes from."""

    matter: str
    text: str
    source: str


def cautions(tank: Tank, units: Units = METRIC) -> tuple[Caution, ...]:
    """Those that apply to this tank, the most dangerous first, in words of those units."""
    found = [*(rule(tank) for rule in _RULES), _overflow(tank, units)]
    return tuple(caution for caution in found if caution is not None)


def _mains(tank: Tank) -> Caution | None:
    pump = tank.pump
    if pump is None:
        return None
    if pump.phase == "dc":
        return Caution(
            "DC pump",
            "Isolate it before work on it: a solar panel is live in daylight, a battery always. Fuse it at its source.",
            "common practice",
        )
    return Caution(
        "mains near water",
        "Isolate the pump before work on it. Earth-leakage protection of 30 mA or less (GFCI in the US), "
        "bonded metalwork, and a licensed electrician for all of it.",
        "IEC 60364-4-41 415.1 (from memory); NEC article 100; motor makers' manuals",
    )


def _relay(tank: Tank) -> Caution | None:
    source = "common practice (SELV; IEC 61140, from memory)"
    if tank.pump is None:
        return Caution(
            "probes",
            "Node and probes on a separated extra-low-voltage supply; no mains in their cable.",
            source,
        )
    return Caution(
        "pump relay",
        "The node switches the coil of a contactor, never the motor. Probes are on a separated "
        "extra-low-voltage circuit, with no mains in their cable.",
        source,
    )


def _independent(tank: Tank) -> Caution | None:
    pump = tank.pump
    if pump is None:
        return None
    what = "a high-level cut-out" if pump.does == "fill" else "a high-level alarm or a second float"
    return Caution(
        "without the node",
        f"Fit {what} that works without the node: nodes restart, and during an update the pump is off.",
        "common practice; ETSI EN 303 645 5.3-12",
    )


def _confined(tank: Tank) -> Caution | None:
    if top_m(tank.shape) < _CAN_BE_ENTERED_M:
        return None
    return Caution(
        "confined space",
        "Do not enter: a tank can lack oxygen, and one can drown. Keep lids shut, children away.",
        "29 CFR 1910.146",
    )


def _height(tank: Tank) -> Caution | None:
    if top_m(tank.shape) < _CAN_BE_ENTERED_M or tank.duty is Duty.SUMP:
        return None
    return Caution(
        "ladder and roof",
        "Secured, a second person at hand; not in storm, frost or thunder.",
        "common practice",
    )


def _potable(tank: Tank) -> Caution | None:
    if tank.duty is not Duty.POTABLE:
        return None
    return Caution(
        "drinking water",
        "What the water touches (probes, cable jackets, glue) needs approval for drinking water; clean and disinfect "
        "it. Sense in short pulses only, so that no metal dissolves.",
        "NSF/ANSI/CAN 61 and 372 or their local equivalent",
    )


def _air_gap(tank: Tank) -> Caution | None:
    if tank.pump is None or tank.pump.does != "fill" or tank.water is None or tank.water.kind != "mains":
        return None
    return Caution(
        "backflow",
        "Let the supply fall in through an air gap of at least twice its pipe's diameter, and no less than an inch.",
        "common plumbing code (air gap of twice the pipe's diameter, and at least 25 mm, from memory)",
    )


def _overflow(tank: Tank, units: Units) -> Caution | None:
    if tank.pump is not None and tank.pump.does == "drain":
        return None
    most = tank.uncontrolled_inflow_l_per_min
    if tank.pump is not None:
        most += tank.pump.flow_l_per_min
    if most == 0:
        return None
    return Caution(
        "overflow",
        f"It must carry {units.flow(most)} by gravity to where it is seen, screened and without a valve.",
        "common plumbing code (from memory)",
    )


def _fire(tank: Tank) -> Caution | None:
    if tank.duty is not Duty.FIRE_RESERVE:
        return None
    return Caution(
        "fire reserve",
        "The node must not be its only supervision, and nothing else may draw from the reserve. Tell who supervises it "
        "before you isolate its pump. " + _refill(tank),
        "NFPA 22 4.2.1.4 (refill within 8 h), NFPA 25 (inspection)",
    )


def refill_h(tank: Tank, pump: Pump) -> float:
    """Hours to fill the tank from empty to its overflow with nothing drawn."""
    return volume_l(tank.shape, overflow_m(tank)) / pump.flow_l_per_min * S_PER_MIN / 3600


def _refill(tank: Tank) -> str:
    if tank.pump is None or tank.pump.does != "fill":
        return "It has no pump to refill it."
    hours = refill_h(tank, tank.pump)
    verdict = "within" if hours <= FIRE_REFILL_H else "more than"
    return f"From empty the pump refills it in {hours:.1f} h, {verdict} the 8 h that NFPA 22 asks for."


_RULES: tuple[Callable[[Tank], Caution | None], ...] = (
    _mains,
    _fire,
    _independent,
    _confined,
    _height,
    _relay,
    _potable,
    _air_gap,
)
