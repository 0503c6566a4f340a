"""Marks and debounce against a surface that moves, and against a level that moves fast."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

from fleet.check.codes.water import (
    AT_THE_BOTTOM,
    DEBOUNCE_LONG,
    DEBOUNCE_SHORT,
    MARKS_TOO_CLOSE,
    PASSED_TOO_FAST,
    SLOSH,
)
from fleet.finding import Figure, Finding, Subject, SubjectKind
from fleet.inventory.parsed import subject_of
from fleet.limits import DEBOUNCE_GOOD_S, DEBOUNCE_MIN_S, NODE_BLOCK_U16, PROBE_BAND_M, SAMPLE_PERIOD_MS
from fleet.model.tank import height_mm
from fleet.water.crossing import MS, debounce_ms, debounce_s, delay_s
from fleet.water.filling import between_l, rising, time_s
from fleet.water.quantities import METRIC
from fleet.water.slosh import PERIODS_WANTED, WAVE_MOST_M, WAVE_SHARE, period_s, surface_m, wave_m

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.inventory.parsed import Parsed, ParsedPart
    from fleet.model.node import Node
    from fleet.model.tank import Tank


def waves_fit(_survey: Parsed, tank: ParsedPart[Tank], node: ParsedPart[Node] | None) -> Iterator[Finding]:
    """The marks of one tank, and the debounce of its node."""
    yield from _bottom(tank)
    yield from _close(tank)
    if node is None:
        return
    debounced_s = debounce_s(node.part)
    if debounced_s < DEBOUNCE_MIN_S:
        if debounce_ms(node.part) >= SAMPLE_PERIOD_MS and node.part.serves[0].tank == tank.part.name:
            what = f"probes are accepted after {debounced_s:.3g} s, and splashes last up to {DEBOUNCE_MIN_S:.0f} s"
            figures = (Figure("debounce", debounced_s, "s"), Figure("least", DEBOUNCE_MIN_S, "s"))
            subject = subject_of(node)
            yield Finding(DEBOUNCE_SHORT, what, node.value("debounce"), subject, figures=figures)
    elif DEBOUNCE_GOOD_S < debounced_s <= NODE_BLOCK_U16 / MS:
        yield from _long(tank, node, debounced_s)
    if debounced_s >= DEBOUNCE_MIN_S and tank.part.pump is not None:
        yield from _slosh(tank, node, debounced_s)
    yield from _passed(tank, debounced_s)


def _long(tank: ParsedPart[Tank], node: ParsedPart[Node], debounced_s: float) -> Iterator[Finding]:
    top = rising(tank.part)[-1]
    swing_s = period_s(tank.part.shape, top.height_m)
    if debounced_s <= PERIODS_WANTED * swing_s:
        return
    what = (
        f"the node `{node.part.name}` accepts a probe after {debounced_s:.3g} s, and the water swings once in "
        f"{swing_s:.2g} s; level relays wait {DEBOUNCE_GOOD_S:.0f} s at most"
    )
    figures = (Figure("debounce", debounced_s, "s"), Figure("period", swing_s, "s"))
    yield Finding(
        DEBOUNCE_LONG,
        what,
        node.value("debounce"),
        subject_of(tank),
        figures=figures,
    )


def _bottom(tank: ParsedPart[Tank]) -> Iterator[Finding]:
    lowest = rising(tank.part)[0]
    if height_mm(lowest.height_m) >= height_mm(PROBE_BAND_M):
        return
    what = (
        f"mark `{lowest.name}` is {1000 * lowest.height_m:.0f} mm above the lowest inside point of the tank"
    )
    figures = (Figure("height", lowest.height_m, "m"), Figure("least", PROBE_BAND_M, "m"))
    place = tank.value("marks", tank.part.marks.index(lowest), "height")
    yield Finding(AT_THE_BOTTOM, what, place, subject_of(tank), figures=figures)


def _slosh(tank: ParsedPart[Tank], node: ParsedPart[Node], debounced_s: float) -> Iterator[Finding]:
    top = rising(tank.part)[-1]
    swing_s = period_s(tank.part.shape, top.height_m)
    if debounced_s >= swing_s:
        return
    across = surface_m(tank.part.shape, top.height_m)
    what = (
        f"water {across:.3g} m across and {top.height_m:.3g} m deep swings once in {swing_s:.2g} s, and the node "
        f"`{node.part.name}` accepts a probe after {debounced_s:.3g} s"
    )
    wanted_s = PERIODS_WANTED * swing_s
    fix = (
        f"Set `debounce: {wanted_s:.1f} s` at the node, two periods. Or put the probes into a stilling pipe, "
        "and say so in a ruling."
        if wanted_s <= DEBOUNCE_GOOD_S
        else "Put the probes into a stilling pipe, and say so in a ruling; or raise `debounce` beyond one swing."
    )
    figures = (Figure("period", swing_s, "s"), Figure("debounce", debounced_s, "s"))
    place = tank.value("marks", tank.part.marks.index(top), "height")
    yield Finding(SLOSH, what, place, subject_of(tank), fix_here=fix, figures=figures)


def _close(tank: ParsedPart[Tank]) -> Iterator[Finding]:
    marks = tank.part.marks
    for index, (below, above) in enumerate(pairwise(marks)):
        apart = above.height_m - below.height_m
        wave = max(PROBE_BAND_M, wave_m(tank.part.shape, above.height_m))
        if apart >= wave:
            continue
        across = surface_m(tank.part.shape, above.height_m)
        what = (
            f"marks `{below.name}` and `{above.name}` are {1000 * apart:.0f} mm apart, and a wave across "
            f"{across:.3g} m of water may be {1000 * wave:.0f} mm high ({WAVE_SHARE:.0%} of it, "
            f"{1000 * PROBE_BAND_M:.0f} to {1000 * WAVE_MOST_M:.0f} mm)"
        )
        figures = (Figure("apart", apart, "m"), Figure("wave", wave, "m"))
        place = tank.value("marks", index + 1, "height")
        yield Finding(
            MARKS_TOO_CLOSE,
            what,
            place,
            subject_of(tank, "mark", above.name),
            figures=figures,
        )


def _passed(tank: ParsedPart[Tank], debounced_s: float) -> Iterator[Finding]:
    part = tank.part
    pumped = part.pump.flow_l_per_min if part.pump else 0.0
    fills = part.pump is not None and part.pump.does == "fill"
    up = part.uncontrolled_inflow_l_per_min + (pumped if fills else 0.0)
    down = part.largest_draw_l_per_min + (0.0 if fills else pumped)
    fastest, wanted_s = max(up, down), delay_s(debounced_s)
    for index, (below, above) in enumerate(pairwise(part.marks)):
        between = between_l(part, below.height_m, above.height_m)
        passed_s = time_s(between, fastest)
        if passed_s >= wanted_s:
            continue
        what = (
            f"at {METRIC.flow(fastest)} the level goes from mark `{below.name}` to mark `{above.name}` ({between:.3g} "
            f"L) in {passed_s:.2g} s, and a probe is accepted after {wanted_s:.3g} s"
        )
        figures = (Figure("passes in", passed_s, "s"), Figure("accepted after", wanted_s, "s"))
        place = tank.value("marks", index + 1, "height")
        yield Finding(
            PASSED_TOO_FAST,
            what,
            place,
            Subject(SubjectKind.TANK, part.name, "mark", above.name),
            figures=figures,
        )
