"""How `show tank` prints.

A section with the marks, the table of marks, the pump, spare time, what to mind.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from fleet.cli.section import DRAWN_COLUMNS, Line, draw
from fleet.water.quantities import Units, duration, share

if TYPE_CHECKING:
    from fleet.cli.output import Output
    from fleet.facts.tank import LevelFacts, Need, PumpFacts, TankFacts
    from fleet.model.tank import Shape

_PHASES = {"single": "single-phase", "three": "three-phase", "dc": "DC"}


def print_tank(out: Output, tank: TankFacts, shape: Shape, units: Units) -> None:
    """Everything of one tank."""
    capacity = units.volume(tank.overflow.volume_l)
    what = "overflow" if tank.overflow_given else "top"
    out.data(f"{out.style(tank.name, 'bold')}: {tank.duty}, {tank.shape}, {capacity} to the {what}")
    for line in _about(tank, units):
        paragraph(out, line, "  ")
    out.data()
    for line in draw(shape, _lines(tank, units)):
        out.data(line, hang=" " * DRAWN_COLUMNS)
    out.data()
    _marks(out, tank, units)
    if tank.pump:
        out.data()
        _pump(out, tank.pump, tank, units)
    out.data()
    _levels(out, tank)
    _cautions(out, tank)


def paragraph(out: Output, text: str, indent: str = "", hang: str | None = None) -> None:
    """Text with `indent` before its first line, and `hang` before the others when a terminal is narrower."""
    out.data(f"{indent}{text}", hang=indent if hang is None else hang)


def _about(tank: TankFacts, units: Units) -> list[str]:
    served = f"served by {tank.node}" if tank.node else "no node serves it"
    group = f"; {', '.join(tank.stand_ins)} can stand in for it" if tank.stand_ins else ""
    lines = [f"at {tank.site}, {served}{group}"]
    draw_in = units.flow(tank.largest_draw_l_per_min), units.flow(tank.uncontrolled_inflow_l_per_min)
    drawn = f"drawn at {draw_in[0]} at most" if tank.largest_draw_l_per_min else "nothing is drawn"
    inflow = f"up to {draw_in[1]} flow in uncontrolled" if tank.uncontrolled_inflow_l_per_min else ""
    measured = f"{tank.conductivity_us_per_cm:g} uS/cm" if tank.conductivity_us_per_cm else ""
    water = " ".join(word for word in (tank.water and f"{tank.water} water", measured) if word)
    lines.append("; ".join(part for part in (drawn, inflow, water) if part))
    return lines + ([tank.notes] if tank.notes else [])


def _lines(tank: TankFacts, units: Units) -> list[Line]:
    lines = [
        Line(m.height_m, units.length(m.height_m), f"{m.name}{f'  (pump {m.pump})' if m.pump else ''}")
        for m in tank.marks
    ]
    if tank.overflow_given:
        lines.append(
            Line(tank.overflow.height_m, units.length(tank.overflow.height_m), "overflow", "  ", True)
        )
    if tank.reserve:
        lines.append(Line(tank.reserve.height_m, units.length(tank.reserve.height_m), "reserve", "."))
    return lines


def _marks(out: Output, tank: TankFacts, units: Units) -> None:
    rows = []
    for mark in reversed(tank.marks):
        pin = f"{mark.pin} (GPIO{mark.gpio})" if mark.pin else "-"
        below, above = units.volume(mark.volume_l), units.volume(mark.above_l)
        pump = mark.pump or "-"
        rows.append((mark.name, units.length(mark.height_m), below, share(mark.share), above, pin, pump))
    out.table(("mark", "height", "below it", "share", "above it", "probe on", "pump"), rows)
    full = "the overflow" if tank.overflow_given else "the top"
    out.data(f"share and above it: of the {units.volume(tank.overflow.volume_l)} up to {full}")
    if tank.reserve:
        reserve = units.volume(tank.reserve.volume_l)
        out.data(f"reserve: {reserve} below {units.length(tank.reserve.height_m)}, never to be drawn")


def _pump(out: Output, pump: PumpFacts, tank: TankFacts, units: Units) -> None:
    power = f"{units.power(pump.power_kw)}, " if pump.power_kw else ""
    out.data(
        f"{out.style(f'pump {pump.name}', 'bold')} {pump.does}s at {units.flow(pump.flow_l_per_min)} "
        f"({power}{_PHASES[pump.phase]}), from mark {pump.starts_at} to mark {pump.stops_at}: "
        f"{units.volume(pump.between_l)}"
    )
    against = tank.largest_draw_l_per_min if pump.does == "fill" else tank.uncontrolled_inflow_l_per_min
    taken = "are drawn" if pump.does == "fill" else "flow in"
    worst = f"; {duration(pump.worst_s)} while {units.flow(against)} {taken}" if against else ""
    if not pump.keeps_up:
        worst = f"; it cannot keep up while {units.flow(against)} {taken}"
    out.data(f"  takes {duration(pump.quiet_s)}{worst}")
    named = (
        ("longest run", pump.longest_run),
        ("no-rise watch", pump.no_rise),
        ("first rise", pump.first_rise),
        ("shortest off", pump.shortest_off),
    )
    for name, timed in named:
        if timed is None:
            continue
        paragraph(out, f"{_label(name)}{_time(timed.seconds)}{timed.origin}", "", _AFTER_TIME)
        if timed.reason and timed.seconds != timed.computed_s:
            computed = f"calculated: {duration(timed.computed_s)}, {timed.computed_from}"
            paragraph(out, f"{_AFTER_TIME}{computed}", "", _AFTER_TIME)
    _starts(out, pump, units)
    for word, crossing in (("stops", pump.stopping), ("starts", pump.starting)):
        told = (
            f"{crossing.seconds:.3g} s after mark {crossing.mark}: {units.volume(crossing.past_l)} past it, to "
            f"{units.length(crossing.reached_m)}; room for {units.volume(crossing.room_l)}"
        )
        paragraph(out, f"{_label(word)}{told}", "", _label())
    swings = pump.debounce_s / pump.slosh_s
    told = (
        f"the water swings once in {pump.slosh_s:.2g} s; the debounce of {pump.debounce_s:.3g} s is {swings:.1f} of "
        "that (two to three are good)"
    )
    paragraph(out, f"{_label('waves')}{told}", "", _label())


def _starts(out: Output, pump: PumpFacts, units: Units) -> None:
    starts = pump.starts
    if starts.cycle_s is None:
        told = "only when somebody draws from it" if pump.does == "fill" else "only when something flows in"
    else:
        told = (
            f"{starts.per_hour:.2g} an hour at most, one in {duration(starts.cycle_s)} (with "
            f"{units.flow(starts.demand_l_per_min)} the other way)"
        )
    if starts.most_per_hour is None:
        told += "; no limit is known: give the pump's `power` or its `motor`"
    else:
        told += f"; its motor may {starts.most_per_hour:.3g} ({starts.origin})"
    paragraph(out, f"{_label('starts an hour')}{told}", "", _label())


def _levels(out: Output, tank: TankFacts) -> None:
    need = tank.need
    why = tank.levels[-1].why_at_any_level
    paragraph(out, f"{out.style('spare time', 'bold')}, how long it can be left without its node: {why}")
    rows = []
    for level in reversed(tank.levels):
        enough = {None: "-", True: "yes", False: "not now"}[level.may_be_updated]
        rows.append((_level_name(tank, level), duration(level.spare_s), enough))
    out.table(("level", "spare time", "may be updated"), rows)
    for held in dict.fromkeys(level.held for level in tank.levels if level.held):
        paragraph(out, f"At the levels with 0 s: {held}.")
    if need:
        paragraph(out, _need(need))
        for step in need.steps:
            out.data(f"{_label(step.name)}{_time(step.seconds)}{step.computed_from}", hang=_AFTER_TIME)
        paragraph(out, f"from: {need.source}", "  ", "    ")


def _label(name: str = "") -> str:
    return f"  {name:16}"


def _time(seconds: float) -> str:
    return f"{duration(seconds):14}"


_AFTER_TIME: Final = " " * len(_label() + _time(0))


def _level_name(tank: TankFacts, level: LevelFacts) -> str:
    names = [mark.name for mark in tank.marks]
    if level.level == 0:
        return f"below {names[0]}"
    if level.level == len(names):
        return f"above {names[-1]}"
    return f"{names[level.level - 1]} to {names[level.level]}"


def _need(need: Need) -> str:
    return (
        f"An update needs {duration(need.needed_s)}: {need.margin:g} times the worst outage of {need.node} "
        f"({need.board}, {duration(need.worst_outage_s)} for an image of {need.image_bytes // 1024} KiB):"
    )


def _cautions(out: Output, tank: TankFacts) -> None:
    from fleet.water.cautions import DEFERS

    out.data()
    out.data(f"{out.style('to mind', 'bold')}: {DEFERS}")
    for caution in tank.cautions:
        paragraph(out, f"- {caution.matter}: {caution.text}", "  ", "    ")
