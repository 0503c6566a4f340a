"""Who serves what: each tank at most one node, each node tanks of one site."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.check.codes import NOT_SERVED, SERVED_TWICE, TWO_SITES
from fleet.finding import Finding
from fleet.inventory.parsed import ParsedPart, subject_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.inventory.parsed import Parsed
    from fleet.model.node import Node


def served_once(survey: Parsed) -> Iterator[Finding]:
    """No tank with two nodes; a warning for each with none; no node at two sites."""
    firsts: dict[str, tuple[ParsedPart[Node], int]] = {}
    for node in survey.nodes:
        for index, served in enumerate(node.part.serves):
            first, first_index = firsts.setdefault(served.tank, (node, index))
            if first is not node or first_index != index:
                there = first.value("serves", first_index, "tank")
                what = f"the tank `{served.tank}` is already served by node `{first.part.name}` at {there}"
                place = node.value("serves", index, "tank")
                yield Finding(SERVED_TWICE, what, place, subject=subject_of(node))
        yield from _one_site(survey, node)
    if survey.whole and not survey.unread.get("nodes"):
        meant = {
            survey.suggester.nearest(n, survey.tank_by_name) for n in firsts if n not in survey.tank_by_name
        }
        for tank in survey.tanks:
            if tank.part.name not in firsts and tank.part.name not in meant:
                what = f"no node serves the tank `{tank.part.name}`"
                yield Finding(NOT_SERVED, what, tank.value("name"), subject=subject_of(tank))


def _one_site(survey: Parsed, node: ParsedPart[Node]) -> Iterator[Finding]:
    site = None
    for index, served in enumerate(node.part.serves):
        tank = survey.tank_by_name.get(served.tank)
        if tank is None:
            continue
        site = site or tank.part.site
        if tank.part.site != site:
            what = f"the tank `{served.tank}` is at the site `{tank.part.site}`, but this node is at `{site}`"
            place = node.value("serves", index, "tank")
            yield Finding(TWO_SITES, what, place, subject=subject_of(node))
