"""Probes and pump relays of a node against the marks and pumps of the tanks that it serves."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.check.codes import MARK_WITHOUT_PROBE, NO_SUCH_MARK, PUMP_WITHOUT_RELAY, RELAY_WITHOUT_PUMP
from fleet.finding import Finding
from fleet.inventory.parsed import subject_of
from fleet.model.node import OTHER_WIRES

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.inventory.parsed import Parsed, ParsedPart
    from fleet.model.node import Node, Served
    from fleet.model.tank import Tank


def probes_fit(survey: Parsed) -> Iterator[Finding]:
    """One probe per mark and none besides; a pump relay where there is a pump, and only there."""
    for node in survey.nodes:
        for index, served in enumerate(node.part.serves):
            tank = survey.tank_by_name.get(served.tank)
            if tank is not None:
                yield from _probes(survey, node, index, served, tank.part)
                yield from _relay(node, index, served, tank.part)
                yield from _wires(survey, node, index, served, tank.part)


def _probes(
    survey: Parsed, node: ParsedPart[Node], index: int, served: Served, tank: Tank
) -> Iterator[Finding]:
    subject = subject_of(node)
    marks = [mark.name for mark in tank.marks]
    without = [name for name in marks if name not in served.probes]
    meant = set()
    for name in served.probes:
        if name not in marks:
            meant.add(survey.suggester.nearest(name, without))
            what = f"the tank `{tank.name}` has no mark `{name}`.{survey.suggester.hint(name, marks)}"
            yield Finding(NO_SUCH_MARK, what, node.key("serves", index, "probes", name), subject=subject)
    for name in without:
        if name not in meant:
            what = f"the mark `{name}` of the tank `{tank.name}` has no probe"
            yield Finding(MARK_WITHOUT_PROBE, what, node.key("serves", index, "probes"), subject=subject)


def _relay(node: ParsedPart[Node], index: int, served: Served, tank: Tank) -> Iterator[Finding]:
    subject = subject_of(node)
    if tank.pump is not None and served.pump_relay is None:
        what = (
            f"the tank `{tank.name}` has the pump `{tank.pump.name}`, but this node has no pump relay for it"
        )
        yield Finding(PUMP_WITHOUT_RELAY, what, node.value("serves", index, "tank"), subject=subject)
    if tank.pump is None and served.pump_relay is not None:
        what = f"the tank `{tank.name}` has no pump for this pump relay to switch"
        yield Finding(RELAY_WITHOUT_PUMP, what, node.key("serves", index, "pump_relay"), subject=subject)


def _wires(
    survey: Parsed, node: ParsedPart[Node], index: int, served: Served, tank: Tank
) -> Iterator[Finding]:
    known = [*(mark.name for mark in tank.marks), *OTHER_WIRES]
    for name in served.wires:
        if name not in known:
            what = (
                f"the tank `{tank.name}` has no mark `{name}` for a wire, and it is neither "
                f"{' nor '.join(f'`{other}`' for other in OTHER_WIRES)}.{survey.suggester.hint(name, known)}"
            )
            place = node.key("serves", index, "wires", name)
            yield Finding(NO_SUCH_MARK, what, place, subject=subject_of(node))
