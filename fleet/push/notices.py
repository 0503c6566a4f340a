"""What a plan says of a node's condition: why it stays out, or what to know when it goes. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.push.condition import (
    NOTED_FAULTS,
    SUPPLY_CURES,
    grave_faults,
    latched_faults,
    passing_faults,
    way_to_clear,
)
from fleet.push.plan import LeftOut, Notice

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from fleet.link.state import NodeState


def faulty(node: str, state: NodeState) -> LeftOut | None:
    """Why a node with a fault stays out, unless a person names it; None if it has none that matters."""
    grave = grave_faults(state)
    if grave:
        told = f"it reports {', '.join(grave)}: load it over USB; --despite-fault {node} plans it anyway"
        return LeftOut(node=node, reason="node-fault", detail=told)
    latched = "; ".join(way_to_clear(node, tank, fault) for tank, fault in latched_faults(state))
    if latched:
        told = f"{latched}; --despite-fault {node} updates it with the fault, which then stays"
        return LeftOut(node=node, reason="latched-fault", detail=told)
    return None


def notices(node: str, state: NodeState, older: Mapping[str, str]) -> Iterator[Notice]:
    """What to know of a node that is planned; `older` as of a plan's request."""
    if node in older:
        yield Notice(
            node=node, about="as-built", text=f"planned as you asked (--as-built), although {older[node]}"
        )
    browned = state.brown_outs or 0
    if browned:
        times = "once" if browned == 1 else f"{browned} times"
        told = f"brown-outs so far: {times}: {SUPPLY_CURES}; a node puts a new image back after four in one trial"
        yield Notice(node=node, about="brown-outs", count=browned, text=told)
    along = [*grave_faults(state), *(f"{tank}: {fault}" for tank, fault in latched_faults(state))]
    if along:
        told = f"planned as you asked (--despite-fault), although it reports {', '.join(along)}"
        yield Notice(node=node, about="taken-along", count=len(along), text=told)
    passing = [f"{tank}: {fault}" for tank, fault in passing_faults(state)]
    if passing:
        told = f"{', '.join(passing)}: its level is uncertain, so the gate cannot judge it; check probes and cable"
        yield Notice(node=node, about="passing-fault", count=len(passing), text=told)
    if NOTED_FAULTS & set(state.faults):
        told = (
            "has no room for its record of runs: an update makes it forget faults that stay; load it over USB"
        )
        yield Notice(node=node, about="no-run-record", text=told)
