"""What to mind at a tank: general guidance; local code and a licensed person decide."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from fleet.model.tank import Duty
from fleet.water.filling import S_PER_MIN, overflow_m, pump_marks, pump_times
from fleet.water.geometry import top_m, volume_l
from fleet.water.quantities import METRIC, Units, duration

if TYPE_CHECKING:
    from fleet.model.tank import Pump, Tank
    from fleet.water.filling import PumpTimes
    from fleet.water.sensing import Sensing

DEFERS = "General guidance only: local code and a licensed person decide."
FIRE_REFILL_H = 8.0
FED = (
    "Wire the probes to pins with a pull-up of their own and remove the resistors, or connect the resistors to a free "
    "pin in place of 3.3 V and name it with `pull_up_feed`"
)
_CAN_BE_ENTERED_M = 0.9
"""A tank higher than this can hold a person (own choice, on the careful side)."""


@dataclass(frozen=True, slots=True)
class Caution:
    """One thing to mind: the matter in a few words, what to do, and where that comes from."""

    matter: str
    text: str
    source: str


@dataclass(frozen=True, slots=True)
class Wired:
    """How a node is wired to a tank: the level that turns its pump relay on (None without), the probes' current, and
    its debounce."""

    relay_on_at: Literal["high", "low"] | None
    sensing: Sensing
    debounce_s: float


def cautions(tank: Tank, units: Units = METRIC, wired: Wired | None = None) -> tuple[Caution, ...]:
    """Those that apply to this tank, the most dangerous first, in words of those units; `wired`: by the node that
    serves it, None for none."""
    found = [
        _mains(tank),
        _gas(tank),
        _fire(tank),
        _independent(tank),
        _dry(tank, wired),
        _confined(tank),
        _height(tank),
        _relay(tank, wired),
        _potable(tank, wired),
        _air_gap(tank),
        _overflow(tank, units),
    ]
    return tuple(caution for caution in found if caution is not None)


def _mains(tank: Tank) -> Caution | None:
    pump = tank.pump
    if pump is None:
        return None
    if pump.phase == "dc":
        return Caution(
            "DC pump",
            "Isolate it before you work on it: a solar panel is live in daylight, a battery always. Fuse it at its "
            "source. Its contactor must be rated for DC at its voltage (DC-3 or DC-5): one for AC does not break the "
            "arc. Or switch the control input of its controller.",
            "IEC 60947-4-1, utilisation categories for DC; the rest: common practice",
        )
    return Caution(
        "mains near water",
        "Isolate the pump before work on it. Earth-leakage protection of 30 mA or less (GFCI in the US), "
        "bonded metalwork, and a licensed electrician for all of it.",
        "IEC 60364-4-41 415.1 (from memory); NEC article 100; motor makers' manuals",
    )


def _relay(tank: Tank, wired: Wired | None) -> Caution | None:
    source = "common practice (SELV; IEC 61140, from memory)"
    if tank.pump is None:
        return Caution(
            "probes",
            "Node and probes on a separated extra-low-voltage supply; no mains in their cable.",
            source,
        )
    low = ""
    if wired is not None and wired.relay_on_at == "low":
        low = (
            " A 5 V module that is on at LOW may not release: feed its input side (VCC beside IN) from 3.3 V."
        )
    return Caution(
        "pump relay",
        "The node switches the coil of a contactor, never the motor; the relay module must switch at a 3.3 V signal."
        f"{low} Probes are on a separated extra-low-voltage circuit, with no mains in their cable.",
        source,
    )


def _dry(tank: Tank, wired: Wired | None) -> Caution | None:
    """Any pump can lose its water: the source of one that fills; a draining one goes by probes that can fail."""
    pump, times = tank.pump, _times(tank, wired)
    if pump is None or times is None:
        return None
    late = _late(times, "rise" if pump.does == "fill" else "fall")
    if pump.does == "fill":
        means, why = _SOURCES.get(tank.water.kind if tank.water else None, _UNKNOWN_SOURCE)
        text = f"Fit {means} that stops the pump without the node: {why}. {late}"
        return Caution("dry running", text, _DRY_BY)
    stop = pump_marks(tank, pump)[1].name
    text = (
        f"Fit a float below mark {stop}, or a current switch, that stops the pump without the node before it draws "
        f"air: a probe that always reads wet does not. {late}"
    )
    return Caution("dry running", text, _DRY_BY)


def _times(tank: Tank, wired: Wired | None) -> PumpTimes | None:
    return pump_times(tank) if wired is None else pump_times(tank, debounced_s=wired.debounce_s)


def _late(times: PumpTimes, moves: str) -> str:
    """When the node sees it: after `no_rise` if it dies on its way, sooner as the level has just left its mark."""
    first, way = times.first_rise, times.no_rise.seconds
    if first is None or first.seconds >= way:
        return (
            f"Only after {duration(way)}, at the earliest, does the node see that the level does not {moves}."
        )
    return (
        f"Only after {duration(first.seconds)}, at the earliest, does the node see that the level does not {moves}, "
        f"and after {duration(way)} where the pump dies between two marks."
    )


def _gas(tank: Tank) -> Caution | None:
    if not gives_gas(tank):
        return None
    return Caution(
        "gas",
        "Sewage and sludge give off hydrogen sulphide, which soon numbs the sense of smell and kills, and methane, "
        "which explodes. Measure before you open it and while you work; ventilate; no flame, no smoking. Node, relay "
        "and contactor stay outside. Where an explosive atmosphere can form, probes and pump need approval for it "
        "(ATEX, IECEx or the US classes; intrinsically safe circuits), and a licensed person.",
        "29 CFR 1910.146; directives 1999/92/EC and 2014/34/EU, IEC 60079-10-1 and -11, NEC 500 (from memory)",
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


def _potable(tank: Tank, wired: Wired | None) -> Caution | None:
    if tank.duty is not Duty.POTABLE:
        return None
    return Caution(
        "drinking water",
        "What the water touches (probes, cable jackets, glue) needs approval for drinking water; clean and disinfect "
        f"it. {_sensed(wired)}",
        "NSF/ANSI/CAN 61 and 372 or their local equivalent; direct current dissolves electrodes: Faraday's law",
    )


def _sensed(wired: Wired | None) -> str:
    """What is true of the node that senses there."""
    if wired is None:
        return "Sense in short pulses or with alternating current: direct current dissolves metal."
    flows = f"current flows {wired.sensing.words}"
    if wired.sensing.always:
        return f"Here {flows}: it dissolves metal. {FED} (INV616)."
    return f"Direct current dissolves metal; here {flows}."


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
        "before you isolate its pump. Commission it at its first filling, or with the probes in a bucket: never by "
        "drawing it down. " + _refill(tank),
        "NFPA 22 4.2.1.4 (refill within 8 h), NFPA 25 (inspection)",
    )


def gives_gas(tank: Tank) -> bool:
    """Whether what is in it rots: a sump, or grey water."""
    return tank.duty is Duty.SUMP or (tank.water is not None and tank.water.kind == "grey")


def refill_h(tank: Tank, pump: Pump) -> float:
    """Hours to fill the tank from empty to its overflow with nothing drawn."""
    return volume_l(tank.shape, overflow_m(tank)) / pump.flow_l_per_min * S_PER_MIN / 3600


def _refill(tank: Tank) -> str:
    if tank.pump is None or tank.pump.does != "fill":
        return "It has no pump to refill it."
    hours = refill_h(tank, tank.pump)
    verdict = "within" if hours <= FIRE_REFILL_H else "more than"
    return f"From empty the pump refills it in {hours:.1f} h, {verdict} the 8 h that NFPA 22 asks for."


_DRY_BY = "common practice; motor makers' manuals: a pump without water overheats within minutes"
_UNKNOWN_SOURCE = ("a float, pressure or current switch", "its source may run out")
_SOURCES: dict[str | None, tuple[str, str]] = {
    "mains": ("a pressure switch at its inlet, or a current switch,", "the mains can fail"),
    "bore": ("a level electrode in the bore, or a current switch,", "a bore can be pumped dry"),
    "rain": ("a float in its cistern, or a current switch,", "a cistern runs empty"),
    "river": ("a float at its intake, or a current switch,", "an intake falls dry or clogs"),
}
"""What protects a filling pump, by the kind of water, and why."""
