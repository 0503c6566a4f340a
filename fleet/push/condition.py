"""The condition that a node is in, by its own word: faults that stay, brown-outs, memory. Pure; for plan, push, gate
and audit."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from fleet.limits import TICKET_CHECK_BLOCK_BYTES

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.link.state import NodeState

LATCHED: Final = frozenset({"longest-run", "no-rise"})
"""Faults of a tank that a person clears, and nothing else (docs/node-interface.md 8)."""
PASSING: Final = frozenset({"contradictory", "flapping"})
"""Faults of a tank that end by themselves."""
NOTED_FAULTS: Final = frozenset({"no-run-record"})
"""Faults of a node with which it does all it should, and takes an update as any other."""
BROWN_OUT: Final = "brown-out"
"""The word of a node for why it started (`reset`), and for why it went back (`last_reason`)."""
NO_MEMORY: Final = "no-memory"
"""Its refusal of a ticket that it could not check: it says nothing of ticket or image, and no byte was taken."""
SUPPLY_CURES: Final = (
    "check its supply: it needs one that gives the board's peak current, 470 uF or more beside the board, a shorter or "
    "thicker cable, less transmit power"
)


def latched_faults(state: NodeState) -> Iterator[tuple[str, str]]:
    """Tank and fault, for each tank whose pump stays off until a person clears it."""
    return ((tank.name, tank.fault) for tank in state.tanks if tank.fault in LATCHED)


def passing_faults(state: NodeState) -> Iterator[tuple[str, str]]:
    """Tank and fault, for each tank whose probes make no sense just now."""
    return ((tank.name, tank.fault) for tank in state.tanks if tank.fault in PASSING)


def grave_faults(state: NodeState) -> tuple[str, ...]:
    """Faults of the node itself with which it takes no update, or one that may not hold."""
    return tuple(fault for fault in state.faults if fault not in NOTED_FAULTS)


def way_to_clear(node: str, tank: str, fault: str) -> str:
    """What a person does about a fault that stays."""
    return f"tank {tank} has the fault {fault}, which stays: check it, then `tankfleet clear-fault {node}`"


def keeps_faults(state: NodeState) -> bool:
    """Whether its firmware keeps a fault over restarts. That which does counts brown-outs too, and says so."""
    return state.brown_outs is not None


def is_weak(state: NodeState) -> bool:
    """Whether its supply has given way before, as far as its chip can tell: a trial may then begin anew."""
    return bool(state.brown_outs)


def weak_words(state: NodeState, trials: int) -> str:
    """Why its worst outage is so much longer than that of others, and what a person does about it."""
    return (
        f"it had brown-outs, so the worst outage has {trials} whole trials: each start after a brown-out "
        f"restarts the trial. Check its supply, then `tankfleet clear-fault {state.node} --brown-outs`"
    )


def brown_outs_between(before: NodeState, now: NodeState) -> int:
    """Brown-outs from one state to a later one. Firmware that does not count them writes none down either."""
    counted = (now.brown_outs or 0) - (before.brown_outs or 0)
    last = now.reset == BROWN_OUT and now.boots > before.boots
    return max(counted, int(last))


def short_of_memory(state: NodeState, *, in_place: bool) -> bool:
    """Whether it could not check a ticket now: only on boards that copy in place is its memory that small."""
    return in_place and state.largest_block is not None and state.largest_block < TICKET_CHECK_BLOCK_BYTES


def memory_words(state: NodeState) -> str:
    """What it has and what it would need."""
    return f"{state.largest_block} bytes of contiguous memory, {TICKET_CHECK_BLOCK_BYTES} needed to check a ticket"
