"""One tank's part of a sheet: its facts, its drawing's data, its pump's settings."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from fleet.facts.tank import about_tank
from fleet.sheet.settings import SettingLine, pump_settings
from fleet.sheet.steps import may_when
from fleet.sheet.svg import joined
from fleet.sheet.tank_svg import DrawnPump, Level
from fleet.sheet.words import electrode_words, shape_words, wetted_m
from fleet.water.quantities import duration, share

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleet.facts.tank import Height, TankFacts
    from fleet.model.inventory import Inventory
    from fleet.model.tank import Shape
    from fleet.sheet.wiring import Wire
    from fleet.water.quantities import Units

_PHASES = {"single": "single-phase", "three": "three-phase", "dc": "DC"}


@dataclass(frozen=True, slots=True)
class MarkRow:
    """A mark in words, or the common electrode."""

    number: str
    name: str
    height: str
    from_top: str
    below: str
    share: str
    above: str
    pump: str


@dataclass(frozen=True, slots=True)
class TankPart:
    """A tank: facts, what is drawn, rows and settings in words."""

    facts: TankFacts
    about: str
    electrodes: str
    """Empty where the inventory gives none."""
    shape: Shape
    levels: tuple[Level, ...]
    """From the top down."""
    common_wire: str | None
    """CSS colour of the wire of the common electrode."""
    pump: DrawnPump | None
    marks: tuple[MarkRow, ...]
    """From the highest down, the common electrode last."""
    settings: tuple[SettingLine, ...]
    spare: tuple[tuple[str, str, str], ...]
    """Level, spare time, whether the node may be updated, from the highest down."""
    spare_note: str


def tank_part(inventory: Inventory, name: str, wires: Sequence[Wire], units: Units) -> TankPart:
    """The part of the tank of that name, with these wires (those of other tanks are passed over)."""
    tank, facts = inventory.tank(name), about_tank(inventory, name, units)
    mine = {wire.what: wire for wire in wires if wire.tank == name}
    return TankPart(
        facts=facts,
        about=_about(facts, tank.shape, units),
        electrodes=electrode_words(tank.electrodes, units),
        shape=tank.shape,
        levels=_levels(facts, mine, units, wetted_m(tank.electrodes)),
        common_wire=mine["common electrode"].swatch if mine else None,
        pump=_pump(facts, units),
        marks=_marks(facts, units),
        settings=pump_settings(facts.pump, tank.pump, units) if tank.pump and facts.pump else (),
        spare=_spare(facts),
        spare_note=_spare_note(facts),
    )


def _about(facts: TankFacts, shape: Shape, units: Units) -> str:
    water = joined((f"{facts.water} water" if facts.water else None, _conductivity(facts)))
    drawn = (
        f"drawn at up to {units.flow(facts.largest_draw_l_per_min)}" if facts.largest_draw_l_per_min else ""
    )
    inflow = facts.uncontrolled_inflow_l_per_min
    flows_in = f"up to {units.flow(inflow)} flow in on their own" if inflow else ""
    full = "to the overflow" if facts.overflow_given else "to the top"
    capacity = f"{units.volume(facts.overflow.volume_l)} {full}"
    return joined((facts.duty, shape_words(shape, units), capacity, drawn, flows_in, water))


def _conductivity(facts: TankFacts) -> str | None:
    return f"{facts.conductivity_us_per_cm:g} µS/cm" if facts.conductivity_us_per_cm else None


def _levels(facts: TankFacts, wires: dict[str, Wire], units: Units, under_m: float) -> tuple[Level, ...]:
    found = [Level(0.0, ("lowest inside point", ""), (units.tape(0), ""), "bottom")]
    if facts.reserve:
        found.append(_level("reserve", facts.reserve, "never to be drawn below", units))
    for number, mark in enumerate(facts.marks, start=1):
        wire = wires.get(f"probe {mark.name}")
        pin = f"pin {wire.pin}" if wire else None
        below = joined((pin, wire.color if wire else None, f"{mark.pump} pump" if mark.pump else None))
        found.append(
            Level(
                mark.height_m,
                (f"{number} {mark.name}  {units.tape(mark.height_m)}", below),
                (
                    f"{units.volume(mark.volume_l)}  {share(mark.share)}",
                    f"{units.volume(mark.above_l)} above it",
                ),
                "mark",
                wire.swatch if wire else None,
                mark.height_m - under_m,
            )
        )
    if facts.overflow_given:
        found.append(_level("overflow", facts.overflow, "", units))
    if facts.top.height_m > facts.overflow.height_m or not facts.overflow_given:
        found.append(_level("top", facts.top, "", units))
    return tuple(sorted(found, key=lambda level: level.height_m, reverse=True))


def _level(kind: Literal["top", "overflow", "reserve"], height: Height, more: str, units: Units) -> Level:
    left = (f"{kind}  {units.tape(height.height_m)}", more)
    return Level(height.height_m, left, (units.volume(height.volume_l), ""), kind)


def _pump(facts: TankFacts, units: Units) -> DrawnPump | None:
    pump = facts.pump
    if pump is None:
        return None
    does = f"{pump.does}s at {units.flow(pump.flow_l_per_min)}"
    motor = joined((units.power(pump.power_kw) if pump.power_kw else None, _PHASES[pump.phase]))
    return DrawnPump("fill" if pump.does == "fill" else "drain", (pump.name, does, motor))


def _marks(facts: TankFacts, units: Units) -> tuple[MarkRow, ...]:
    rows = [
        MarkRow(
            number=str(number),
            name=mark.name,
            height=units.tape(mark.height_m),
            from_top=units.tape(facts.top.height_m - mark.height_m),
            below=units.volume(mark.volume_l),
            share=share(mark.share),
            above=units.volume(mark.above_l),
            pump=f"{mark.pump} it" if mark.pump else "",
        )
        for number, mark in enumerate(facts.marks, start=1)
    ]
    lowest = facts.marks[0].height_m
    common = MarkRow(
        number="C",
        name="common electrode",
        height=f"below {units.tape(lowest)}",
        from_top=f"over {units.tape(facts.top.height_m - lowest)}",
        below="",
        share="",
        above="",
        pump="",
    )
    return (*reversed(rows), common)


def _spare(facts: TankFacts) -> tuple[tuple[str, str, str], ...]:
    names = [mark.name for mark in facts.marks]
    rows = []
    for level in reversed(facts.levels):
        if level.level == 0:
            words = f"below {names[0]}"
        elif level.level == len(names):
            words = f"above {names[-1]}"
        else:
            words = f"{names[level.level - 1]} to {names[level.level]}"
        enough = {None: "", True: "yes", False: "not now"}[level.may_be_updated]
        rows.append((words, duration(level.spare_s), enough))
    return tuple(rows)


def _spare_note(facts: TankFacts) -> str:
    need = facts.need
    if need is None:
        return ""
    held = "".join(
        f" Otherwise {words}." for words in dict.fromkeys(level.held for level in facts.levels) if words
    )
    return (
        f"An update needs {duration(need.needed_s)}: {need.margin:g} times the worst outage of this board "
        f"({duration(need.worst_outage_s)}). The node may be updated {may_when(facts)}.{held}"
    )
