"""Supply groups that protect nothing: tanks on one node, at two sites, of waters that do not mix."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from fleet.check.codes.plausible import GROUP_ACROSS_SITES, GROUP_OF_TWO_WATERS, ON_ONE_NODE
from fleet.finding import Finding
from fleet.inventory.parsed import subject_of
from fleet.model.tank import Duty

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from fleet.codes import Code
    from fleet.inventory.parsed import Parsed, ParsedPart
    from fleet.model.node import Node
    from fleet.model.tank import Tank


def groups_protect(survey: Parsed) -> Iterator[Finding]:
    """All supply groups of two tanks and more."""
    groups: dict[str, list[ParsedPart[Tank]]] = defaultdict(list)
    for tank in survey.tanks:
        if tank.part.supply_group is not None:
            groups[tank.part.supply_group].append(tank)
    served = {one.tank: node.part for node in survey.nodes for one in node.part.serves} if groups else {}
    for tanks in groups.values():
        yield from _nodes(tanks, served)
        yield from _sites(tanks)
        yield from _waters(tanks)


def _nodes(tanks: Sequence[ParsedPart[Tank]], served: dict[str, Node]) -> Iterator[Finding]:
    first_on: dict[str, str] = {}
    for tank in tanks:
        node = served.get(tank.part.name)
        if node is None:
            continue
        first = first_on.setdefault(node.name, tank.part.name)
        if first != tank.part.name:
            yield _finding(ON_ONE_NODE, tank, f"is on the node `{node.name}`, as is `{first}` of its group")


def _sites(tanks: Sequence[ParsedPart[Tank]]) -> Iterator[Finding]:
    first = tanks[0].part
    for tank in tanks:
        if tank.part.site != first.site:
            what = f"is at the site `{tank.part.site}`, and `{first.name}` of its group at `{first.site}`"
            yield _finding(GROUP_ACROSS_SITES, tank, what)


def _waters(tanks: Sequence[ParsedPart[Tank]]) -> Iterator[Finding]:
    """Each tank of waste water among clean ones."""
    waste = [tank for tank in tanks if _is_waste(tank.part)]
    clean = [tank for tank in tanks if not _is_waste(tank.part)]
    if not waste or not clean:
        return
    for tank in waste:
        what = f"is {_water_of(tank.part)}, and `{clean[0].part.name}` of its group is {_water_of(clean[0].part)}"
        yield _finding(GROUP_OF_TWO_WATERS, tank, what)


def _is_waste(tank: Tank) -> bool:
    drained = tank.pump is not None and tank.pump.does == "drain"
    grey = tank.water is not None and tank.water.kind == "grey"
    return tank.duty is Duty.SUMP or drained or grey


def _water_of(tank: Tank) -> str:
    does = f" that is {tank.pump.does}ed" if tank.pump else ""
    kind = f" of {tank.water.kind} water" if tank.water and tank.water.kind else ""
    article = "an" if tank.duty is Duty.IRRIGATION else "a"
    return f"{article} {tank.duty.value} tank{kind}{does}"


def _finding(code: Code, tank: ParsedPart[Tank], what: str) -> Finding:
    said = f"the tank `{tank.part.name}` of the supply group `{tank.part.supply_group}` {what}"
    return Finding(code, said, tank.value("supply_group"), subject_of(tank))
