"""Times set by hand: with a reason, and not so short that the node would stop a pump that works."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.check.codes.water import NO_REASON, NO_RISE_EARLY, RUN_ENDS_EARLY, WATCH_TOO_LATE
from fleet.codes import Severity
from fleet.finding import Figure, Finding
from fleet.inventory.parsed import subject_of
from fleet.limits import WATCH_FACTOR
from fleet.water.crossing import debounce_s
from fleet.water.filling import believe_s, normal_stretch_s, pump_times
from fleet.water.quantities import duration

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.codes import Code
    from fleet.inventory.parsed import Parsed, ParsedPart
    from fleet.model.node import Node
    from fleet.model.tank import Pump, Tank
    from fleet.water.filling import PumpTimes, Timed


def settings_fit(_survey: Parsed, tank: ParsedPart[Tank], node: ParsedPart[Node] | None) -> Iterator[Finding]:
    """The times of one tank's pump that were set by hand."""
    pump = tank.part.pump
    if pump is None or (pump.longest_run is None and pump.no_rise is None and pump.shortest_off is None):
        return
    debounced_s = debounce_s(node.part if node else None)
    times = pump_times(tank.part, debounced_s=debounced_s)
    if times is None:
        return
    short = dict(_short(tank, pump, times, believe_s(debounced_s)))
    yield from short.values()
    yield from _late(tank, pump, times)
    for key, timed in (
        ("longest_run", times.longest_run),
        ("no_rise", times.no_rise),
        ("shortest_off", times.shortest_off),
    ):
        given = getattr(pump, key)
        if given is not None and key not in short and not given.reason and timed.seconds != timed.computed_s:
            yield _no_reason(tank, key, timed)


def _late(tank: ParsedPart[Tank], pump: Pump, times: PumpTimes) -> Iterator[Finding]:
    """Watches so long that they save nothing. (A pump that cannot keep up is spoken of elsewhere.)"""
    longest = times.longest_run
    for key, timed, given in (
        ("longest_run", longest, pump.longest_run is not None and times.keeps_up),
        ("no_rise", times.no_rise, pump.no_rise is not None),
    ):
        never = key == "no_rise" and timed.seconds >= longest.seconds
        if not given or not (never or timed.seconds > WATCH_FACTOR * timed.computed_s):
            continue
        than = f"; `longest_run`, {duration(longest.seconds)}, ends the run before" if never else ""
        what = f"`{key}` is {duration(timed.seconds)}, and {duration(timed.computed_s)} are calculated{than}"
        figures = (Figure(key, timed.seconds, "s"), Figure("computed", timed.computed_s, "s"))
        place, subject = tank.value("pump", key), subject_of(tank, key)
        yield Finding(WATCH_TOO_LATE, what, place, subject, figures=figures)


def _no_reason(tank: ParsedPart[Tank], key: str, timed: Timed) -> Finding:
    computed = f"{duration(timed.computed_s)}, {timed.computed_from}"
    what = f"`{key}` is {duration(timed.seconds)} without a reason; calculated: {computed}"
    figures = (Figure(key, timed.seconds, "s"), Figure("computed", timed.computed_s, "s"))
    return Finding(
        NO_REASON,
        what,
        tank.value("pump", key),
        subject_of(tank, key),
        figures=figures,
    )


def _short(
    tank: ParsedPart[Tank], pump: Pump, times: PumpTimes, late_s: float
) -> Iterator[tuple[str, Finding]]:
    """Ends on the ordinary way between its marks: an error; only on the longest way: a warning. `late_s`: until the
    probe at the end is believed."""
    whole_s, stretch_s = times.whole_s + late_s, times.stretch_s + late_s
    if pump.longest_run is not None and times.keeps_up and pump.longest_run.seconds < whole_s:
        fill_s = times.fill_s + late_s
        ways = ("the way from the mark where the pump starts", fill_s), ("the whole way", whole_s)
        yield "longest_run", _ends_early(tank, RUN_ENDS_EARLY, "longest_run", pump.longest_run.seconds, ways)
    if pump.no_rise is not None and pump.no_rise.seconds < stretch_s:
        normal_s = normal_stretch_s(tank.part, pump) + late_s
        ways = ("the longest stretch between its marks", normal_s), ("the longest stretch", stretch_s)
        yield "no_rise", _ends_early(tank, NO_RISE_EARLY, "no_rise", pump.no_rise.seconds, ways)


def _ends_early(
    tank: ParsedPart[Tank],
    code: Code,
    key: str,
    given_s: float,
    ways: tuple[tuple[str, float], tuple[str, float]],
) -> Finding:
    (ordinary, ordinary_s), (longest, longest_s) = ways
    always = given_s < ordinary_s
    way, way_s = (ordinary, ordinary_s) if always else (longest, longest_s)
    pump = tank.part.pump
    after = (
        ""
        if always or pump is None
        else f" after {'empty' if pump.does == 'fill' else 'the overflow'} was reached"
    )
    what = f"`{key}` is {duration(given_s)}, but {way} takes {duration(way_s)} at the worst{after}"
    figures = (Figure(key, given_s, "s"), Figure("takes", way_s, "s"))
    severity = None if always else Severity.WARNING
    subject = subject_of(tank)
    return Finding(code, what, tank.value("pump", key), subject, severity_here=severity, figures=figures)
