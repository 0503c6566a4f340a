"""What came of a push: node by node, in counts, in words, and as an exit status."""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

from fleet.codes import Code, Exit
from fleet.push.codes import HALTED, NOBODY_IN_PILOT, NOT_ALL, STOPPED_BY_REQUEST
from fleet.push.state import Phase, Stands

if TYPE_CHECKING:
    from fleet.push.state import NodeProgress, PushState


@dataclass(frozen=True, slots=True)
class NodeOutcome:
    """One node of a push: how it stands, why, and which checks it failed (name, evidence)."""

    node: str
    wave: int
    stands: Stands
    reason: str
    from_image: str
    from_release: str
    to_image: str
    to_release: str
    failed: tuple[tuple[str, str], ...] = ()


def outcomes(state: PushState) -> tuple[NodeOutcome, ...]:
    """Every node of the push, by wave."""
    return tuple(_outcome(state, state.nodes[name]) for wave in state.waves for name in wave)


def _outcome(state: PushState, node: NodeProgress) -> NodeOutcome:
    planned = state.planned[node.node]
    return NodeOutcome(
        node=node.node,
        wave=node.wave,
        stands=node.stands,
        reason=node.reason,
        from_image=planned.from_image,
        from_release=planned.from_release,
        to_image=planned.to_image,
        to_release=planned.to_release,
        failed=tuple((check.name.value, check.evidence) for check in node.failed),
    )


def write_outcomes(made: tuple[NodeOutcome, ...]) -> str:
    """As JSON, for the journal: what came of an ended push must not depend on the engine of a later
    version."""
    return json.dumps([asdict(one) for one in made], separators=(",", ":"))


def read_outcomes(text: str) -> tuple[NodeOutcome, ...]:
    """What `write_outcomes` wrote."""
    return tuple(
        NodeOutcome(**{**one, "stands": Stands(one["stands"]), "failed": tuple(map(tuple, one["failed"]))})
        for one in json.loads(text)
    )


def counts(state: PushState) -> dict[str, int]:
    """How many nodes stand how, in the order of `Stands`, without zeros."""
    counted = Counter(node.stands for node in state.nodes.values())
    return {stands.value: counted[stands] for stands in Stands if counted[stands]}


def exit_of(state: PushState) -> Exit:
    """The exit status of a push that has ended."""
    code = code_of(state)
    if code is None:
        return Exit.OK
    lost = any(_unreachable(node) for node in state.nodes.values())
    return Exit.UNREACHABLE if lost and state.phase is Phase.DONE else Exit.PROBLEMS


def code_of(state: PushState) -> Code | None:
    """Why the push did not do all that was planned; None if it did."""
    if state.phase is Phase.HALTED:
        return NOBODY_IN_PILOT if not any(node.failed for node in state.nodes.values()) else HALTED
    if state.phase in (Phase.STOPPED, Phase.ROLLED_BACK):
        return STOPPED_BY_REQUEST
    if all(node.stands is Stands.KEPT for node in state.nodes.values()):
        return None
    return NOT_ALL


def rolled_back_exit(state: PushState, asked: tuple[str, ...]) -> Exit:
    """The exit status of a roll-back: ok when every node that was to go back is back."""
    wanted = [n for n in state.nodes.values() if n.accepted and (not asked or n.node in asked)]
    if any(n.stands is Stands.LOST for n in wanted):
        return Exit.UNREACHABLE
    return Exit.OK if all(n.stands is not Stands.KEPT for n in wanted) else Exit.PROBLEMS


def _unreachable(node: NodeProgress) -> bool:
    return node.stands is Stands.LOST or (
        node.stands is Stands.LEFT_OUT and node.reason.startswith("unreachable")
    )
