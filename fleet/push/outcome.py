"""What came of a push: node by node, in counts, in words, and as an exit status."""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from fleet.codes import Code, Exit
from fleet.push.blame import Blame
from fleet.push.codes import (
    BROKEN_LINK,
    DRAWS_TOO_MUCH,
    HALTED,
    NOBODY_IN_PILOT,
    NOT_ALL,
    STOPPED_BY_REQUEST,
    WEAK_SUPPLY,
)
from fleet.push.reasons import Why
from fleet.push.state import NodeStatus, PushPhase

if TYPE_CHECKING:
    from fleet.push.state import NodeProgress, PushState


@dataclass(frozen=True, slots=True)
class NodeOutcome:
    """One node of a push: how it stands, why, which checks it failed (name, evidence), and what that is put down to."""

    node: str
    wave: int
    stands: NodeStatus
    reason: str
    from_image: str
    from_release: str
    to_image: str
    to_release: str
    failed: tuple[tuple[str, str], ...] = ()
    blame: Blame | None = None
    brown_outs: int = 0
    """Of its trial, as far as it was asked."""
    why: Why | None = None
    """The kind of its reason; None: written before there were kinds, when the sentence was all."""


def outcomes(state: PushState) -> tuple[NodeOutcome, ...]:
    """Every node of the push, by wave."""
    return tuple(_outcome(state, state.nodes[name]) for wave in state.waves for name in wave)


def _outcome(state: PushState, node: NodeProgress) -> NodeOutcome:
    planned = state.planned[node.node]
    return NodeOutcome(
        node=node.node,
        wave=node.wave,
        stands=node.stands,
        reason=str(node.reason),
        from_image=planned.from_image,
        from_release=planned.from_release,
        to_image=planned.to_image,
        to_release=planned.to_release,
        failed=tuple((check.name.value, check.evidence) for check in node.failed),
        blame=node.blame,
        brown_outs=node.brown_outs,
        why=node.reason.why,
    )


def write_outcomes(made: tuple[NodeOutcome, ...]) -> str:
    """As JSON, for the journal: what came of an ended push must not depend on the engine of a later
    version."""
    return json.dumps([asdict(one) for one in made], separators=(",", ":"))


def read_outcomes(text: str) -> tuple[NodeOutcome, ...]:
    """What `write_outcomes` wrote."""
    return tuple(
        NodeOutcome(
            **{
                **one,
                "stands": NodeStatus(one["stands"]),
                "failed": failed,
                "blame": _blame(one, failed),
                "why": _why(one),
            }
        )
        for one in json.loads(text)
        for failed in (tuple(map(tuple, one["failed"])),)
    )


def _blame(one: dict[str, Any], failed: tuple[Any, ...]) -> Blame | None:
    """As written; journals of before brown-outs were told apart have none, and put every failure down to the image."""
    said = one.get("blame", Blame.IMAGE if failed else None)
    return None if said is None else Blame(said)


def _why(one: dict[str, Any]) -> Why | None:
    said = one.get("why")
    return None if said is None else Why(said)


def counts(state: PushState) -> dict[str, int]:
    """How many nodes stand how, in the order of `NodeStatus`, without zeros."""
    counted = Counter(node.stands for node in state.nodes.values())
    return {stands.value: counted[stands] for stands in NodeStatus if counted[stands]}


def exit_of(state: PushState) -> Exit:
    """The exit status of a push that has ended."""
    code = code_of(state)
    if code is None:
        return Exit.OK
    lost = any(_unreachable(node) for node in state.nodes.values())
    return Exit.UNREACHABLE if lost and state.phase is PushPhase.DONE else Exit.PROBLEMS


def code_of(state: PushState) -> Code | None:
    """Why the push did not do all that was planned; None if it did."""
    blames = {node.blame for node in state.nodes.values()}
    if state.phase is PushPhase.HALTED:
        if Blame.DRAW in blames:
            return DRAWS_TOO_MUCH
        if Blame.IMAGE in blames:
            return HALTED
        return BROKEN_LINK if state.verdicts and state.verdicts[-1].link_broken else NOBODY_IN_PILOT
    if state.phase in (PushPhase.STOPPED, PushPhase.ROLLED_BACK):
        return STOPPED_BY_REQUEST
    if all(node.stands is NodeStatus.KEPT for node in state.nodes.values()):
        return None
    others = [node for node in state.nodes.values() if node.stands is not NodeStatus.KEPT]
    return WEAK_SUPPLY if all(node.blame is Blame.SUPPLY for node in others) else NOT_ALL


def rolled_back_exit(state: PushState, asked: tuple[str, ...]) -> Exit:
    """The exit status of a roll-back: ok when every node that was to go back is back."""
    wanted = [n for n in state.nodes.values() if n.accepted and (not asked or n.node in asked)]
    if any(n.stands is NodeStatus.LOST for n in wanted):
        return Exit.UNREACHABLE
    return Exit.OK if all(n.stands is not NodeStatus.KEPT for n in wanted) else Exit.PROBLEMS


def _unreachable(node: NodeProgress) -> bool:
    return node.stands is NodeStatus.LOST or (
        node.stands is NodeStatus.LEFT_OUT and node.reason.why is Why.UNREACHABLE
    )
