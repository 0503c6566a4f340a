"""Pumps: a low and a high mark to switch at, the right way round."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.check.codes import NO_SUCH_MARK, PUMP_NEEDS_MARKS, PUMP_WRONG_WAY
from fleet.finding import Finding, Subject
from fleet.inventory.parsed import subject_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.inventory.parsed import Parsed, ParsedPart
    from fleet.model.tank import Pump, Tank


def pumps_fit(survey: Parsed) -> Iterator[Finding]:
    """The marks of all pumps."""
    for tank in survey.tanks:
        yield from pump_fits(survey, tank)


def pump_fits(survey: Parsed, tank: ParsedPart[Tank]) -> Iterator[Finding]:
    """The marks of one tank's pump, if it has one."""
    pump, subject = tank.part.pump, subject_of(tank)
    if pump is None:
        return
    if len(tank.part.marks) < 2:
        what = f"the pump `{pump.name}` needs a low and a high mark, and the tank has only one"
        yield Finding(PUMP_NEEDS_MARKS, what, tank.key("marks"), subject=subject)
        return
    known = [mark.name for mark in tank.part.marks]
    unknown = [(key, name) for key, name in _switches(pump) if name is not None and name not in known]
    for key, name in unknown:
        hint = survey.suggester.hint(str(name), known)
        what = f"the tank has no mark `{name}`.{hint}"
        yield Finding(NO_SUCH_MARK, what, tank.value("pump", key), subject=subject)
    if not unknown:
        yield from _way_round(tank, pump, subject)


def _switches(pump: Pump) -> tuple[tuple[str, str | None], tuple[str, str | None]]:
    return ("on_at", pump.on_at), ("off_at", pump.off_at)


def _way_round(tank: ParsedPart[Tank], pump: Pump, subject: Subject) -> Iterator[Finding]:
    heights = {mark.name: mark.height_m for mark in tank.part.marks}
    low, high = min(heights.values()), max(heights.values())
    default_on, default_off = (low, high) if pump.does == "fill" else (high, low)
    on = heights[pump.on_at] if pump.on_at else default_on
    off = heights[pump.off_at] if pump.off_at else default_off
    if (on < off) if pump.does == "fill" else (on > off):
        return
    side = "below" if pump.does == "fill" else "above"
    starts = f"starts at {on:g} m, which is not {side} its stop at {off:g} m"
    what = f"the pump `{pump.name}` {pump.does}s, but {starts}"
    place = tank.value("pump", "on_at" if pump.on_at else "off_at" if pump.off_at else "does")
    yield Finding(PUMP_WRONG_WAY, what, place, subject=subject)
