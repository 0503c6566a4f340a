"""Water and pumps: what the figures of a tank come to. Only for tanks whose marks, shape and pump make sense."""

from __future__ import annotations

from itertools import chain
from typing import TYPE_CHECKING, Final

from fleet.check.crossing import crossings_fit
from fleet.check.dry_running import dry_pumps_stop
from fleet.check.marks import tank_marks_fit
from fleet.check.overrides import settings_fit
from fleet.check.plausible import figures_agree
from fleet.check.pump_cycles import running_fits
from fleet.check.pumps import pump_fits
from fleet.check.reserve import duty_fits
from fleet.check.scale import scale_fits
from fleet.check.shapes import shape_fits
from fleet.check.sizes import sizes_fit
from fleet.check.spare_time import node_is_spared
from fleet.check.timing import watches_fit
from fleet.check.waves import waves_fit

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from fleet.finding import Finding
    from fleet.inventory.parsed import Parsed, ParsedPart
    from fleet.model.node import Node
    from fleet.model.tank import Tank

_OF_A_TANK: Final[
    tuple[Callable[[Parsed, ParsedPart[Tank], ParsedPart[Node] | None], Iterator[Finding]], ...]
] = (
    figures_agree,
    sizes_fit,
    scale_fits,
    running_fits,
    settings_fit,
    dry_pumps_stop,
    crossings_fit,
    waves_fit,
    duty_fits,
    node_is_spared,
)


def water_fits(survey: Parsed) -> Iterator[Finding]:
    """Everything about water, tank by tank, with the node that serves each (None if none does)."""
    nodes: dict[str, ParsedPart[Node]] = {}
    for node in survey.nodes:
        for served in node.part.serves:
            nodes.setdefault(served.tank, node)
    for tank in survey.tanks:
        if not _makes_sense(survey, tank):
            continue
        beyond = list(watches_fit(tank))
        yield from beyond
        for rule in () if beyond else _OF_A_TANK:
            yield from rule(survey, tank, nodes.get(tank.part.name))


def _makes_sense(survey: Parsed, tank: ParsedPart[Tank]) -> bool:
    of_it = chain(shape_fits(tank), tank_marks_fit(tank), pump_fits(survey, tank))
    return next(of_it, None) is None
