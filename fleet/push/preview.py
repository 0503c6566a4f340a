"""What a word to a push, or taking it over, would do to each node: the engine is asked, nothing is done.
Pure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleet.push.engine import fold, step
from fleet.push.events import Action, Requested, RequestKind, Resumed
from fleet.push.state import NodeStatus, RollbackCause

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleet.push.state import NodeProgress, PushState


@dataclass(frozen=True, slots=True)
class Previewed:
    """One node: how it stands now, and what would be done with it."""

    node: str
    wave: int
    stands: NodeStatus
    would: str


def preview(state: PushState, event: Requested | Resumed) -> tuple[Previewed, ...]:
    """Every node of the push, by wave, with what the event would bring about."""
    after, _ = step(state, event)
    names = [name for wave in state.waves for name in wave]
    return tuple(_one(state, after, name, event) for name in names)


def with_requests(state: PushState, waiting: Sequence[Requested]) -> PushState:
    """The state once what people asked for meanwhile is taken in."""
    return fold(state, waiting)


def _one(before: PushState, after: PushState, name: str, event: Requested | Resumed) -> Previewed:
    was, then, planned = before.nodes[name], after.nodes[name], before.planned[name]
    if isinstance(event, Resumed):
        would = _resumed(was, after)
    elif then.back is not RollbackCause.NO and not then.settled:
        would = f"go back to {planned.from_release}, after a check of what it runs"
    elif then.stands is NodeStatus.LEFT_OUT and was.stands is not NodeStatus.LEFT_OUT:
        would = f"not be updated; it has {planned.from_release}"
    elif was.settled:
        runs = {NodeStatus.KEPT: f"; it has {planned.to_release}"}.get(was.stands, "")
        would = f"stay unchanged{runs}"
    else:
        would = (
            "end what is under way"
            if event.word in (RequestKind.STOP, RequestKind.ROLL_BACK)
            else "continue as planned"
        )
    return Previewed(name, was.wave, was.stands, would)


def _resumed(was: NodeProgress, after: PushState) -> str:
    """What becomes of a node when a new runner takes the push over."""
    if was.settled:
        return "stay unchanged"
    pending = after.nodes[was.node].pending
    if pending is not None and pending.doing is Action.ASK:
        return "be asked what it runs, then continue from there"
    return "follow in its turn"
