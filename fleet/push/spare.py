"""How long a node's tanks can be left without it, from what the node says of its marks; and the gate's
bounds of a tank."""

from __future__ import annotations

from math import isfinite
from typing import TYPE_CHECKING, Final

from fleet.model.tank import Mark
from fleet.push.plan import TankBounds
from fleet.water.crossing import debounce_s
from fleet.water.filling import pump_marks, rising
from fleet.water.geometry import volume_l
from fleet.water.spare import spare_time

if TYPE_CHECKING:
    from fleet.link.state import NodeState, TankState
    from fleet.model.inventory import Inventory
    from fleet.model.node import Node
    from fleet.model.tank import Tank

MM_PER_M: Final = 1000.0
_UNSURE: Final = ("settling", "flapping")


def node_spare(
    inventory: Inventory, node: Node, state: NodeState, process_speed: float = 1.0
) -> tuple[float | None, str]:
    """Real seconds until the first of its tanks would need it (None: never), and which tank, from what level.

    On the bench water runs `process_speed` times as fast as the clock. A tank that the node does not report,
    or whose marks settle or flap, counts at its worst possible level. Marks are those that the node watches now,
    which a new inventory may have renamed, added or taken away.
    """
    reported = {tank.name: tank for tank in state.tanks}
    shortest: float | None = None
    told = "nothing there needs it"
    for served in node.serves:
        tank, seen = inventory.tank(served.tank), reported.get(served.tank)
        spare = spare_time(tank, _wet(seen), watched=_watched(tank, seen), debounced_s=debounce_s(node))
        left_s = spare.worst_s / process_speed
        if isfinite(left_s) and (shortest is None or left_s < shortest):
            shortest = left_s
            told = f"{served.tank}: {spare.why}"
    return shortest, told


def _wet(tank: TankState | None) -> frozenset[str] | None:
    if tank is None or any(mark.state in _UNSURE for mark in tank.marks):
        return None
    return frozenset(mark.name for mark in tank.marks if mark.state == "wet")


def _watched(tank: Tank, seen: TankState | None) -> tuple[Mark, ...] | None:
    """The node's marks: as high as the inventory has one of that name, else as the node says."""
    if seen is None:
        return None
    heights_m = {mark.name: mark.height_m for mark in tank.marks}
    return tuple(
        Mark.model_construct(name=mark.name, height_m=heights_m.get(mark.name, mark.height_mm / MM_PER_M))
        for mark in seen.marks
    )


def tank_bounds(tank: Tank) -> TankBounds:
    """What the water of that tank can do at most, by the inventory."""
    marks, pump = rising(tank), tank.pump
    on_off: tuple[int | None, int | None] = (None, None)
    if pump is not None:
        on_mark, off_mark = pump_marks(tank, pump)
        on_off = (marks.index(on_mark), marks.index(off_mark))
    return TankBounds(
        tank=tank.name,
        volumes_l=tuple(volume_l(tank.shape, mark.height_m) for mark in marks),
        inflow_l_per_min=tank.uncontrolled_inflow_l_per_min,
        draw_l_per_min=tank.largest_draw_l_per_min,
        pump_does=pump.does if pump is not None else None,
        pump_l_per_min=pump.flow_l_per_min if pump is not None else 0.0,
        pump_on_mark=on_off[0],
        pump_off_mark=on_off[1],
    )
