"""Times that a node holds: a debounce that its sampling can follow, and a pump's watches that end and begin."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from fleet.check.codes import TOO_LITTLE_FOR_NODE, TOO_LONG_FOR_NODE
from fleet.finding import Figure, Finding
from fleet.inventory.parsed import subject_of
from fleet.limits import NODE_BLOCK_U16, NODE_BLOCK_U32, SAMPLE_PERIOD_MS
from fleet.water.crossing import MS, debounce_ms
from fleet.water.filling import pump_times
from fleet.water.quantities import METRIC, duration

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.inventory.parsed import Parsed, ParsedPart
    from fleet.model.tank import Tank

_FLOW: Final = "Check the digits and the unit of `flow`."
_SHAPE: Final = "Check the digits and the units of the tank's sizes."


def debounce_fits(survey: Parsed) -> Iterator[Finding]:
    """The debounce of all nodes, as their blocks hold it."""
    for node in survey.nodes:
        debounced_ms = debounce_ms(node.part)
        if SAMPLE_PERIOD_MS <= debounced_ms <= NODE_BLOCK_U16:
            continue
        place, subject = node.value("debounce"), subject_of(node)
        if debounced_ms > NODE_BLOCK_U16:
            what = f"a debounce of {debounced_ms / MS:g} s is longer than {NODE_BLOCK_U16 / MS:g} s"
            yield Finding(TOO_LONG_FOR_NODE, what, place, subject=subject)
        else:
            what = (
                f"a debounce of {debounced_ms} ms is shorter than the {SAMPLE_PERIOD_MS} ms between two "
                f"readings of the probes: the node refuses its block and keeps all pumps off"
            )
            figures = (Figure("debounce", debounced_ms, "ms"), Figure("least", SAMPLE_PERIOD_MS, "ms"))
            yield Finding(TOO_LITTLE_FOR_NODE, what, place, subject, figures=figures)


def watches_fit(tank: ParsedPart[Tank]) -> Iterator[Finding]:
    """The watches of one tank's pump, if it has one: whole seconds, and not 0, which a node takes as no watch."""
    pump = tank.part.pump
    if pump is None:
        return
    subject, does = (
        subject_of(tank),
        f"the pump `{pump.name}` {pump.does}s at {METRIC.flow(pump.flow_l_per_min)}",
    )
    try:
        times = pump_times(tank.part)
    except OverflowError:
        what = f"{does}, at which the level would never move"
        yield Finding(TOO_LONG_FOR_NODE, what, tank.value("pump", "flow"), subject, fix_here=_FLOW)
        return
    if times is None:
        return
    for key, timed in (("longest_run", times.longest_run), ("no_rise", times.no_rise)):
        figures = (Figure(key, timed.seconds, "s"),)
        if timed.seconds > NODE_BLOCK_U32:
            limit = f"{duration(timed.seconds)}, and a node counts up to {duration(NODE_BLOCK_U32)}"
            what = f"{does}, by which its `{key}` would be {limit}"
            place = tank.value("pump", "flow")
            yield Finding(TOO_LONG_FOR_NODE, what, place, subject, fix_here=_FLOW, figures=figures)
            return
        if timed.seconds < 1:
            what = f"{does}, and its `{key}` would be 0 s, which a node takes as no watch: no water is on its way"
            yield Finding(
                TOO_LITTLE_FOR_NODE, what, tank.key("shape"), subject, fix_here=_SHAPE, figures=figures
            )
            return
