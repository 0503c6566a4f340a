"""How a push stands: the push as a whole, and each of its nodes. Immutable; made by folding events
(engine.py). What would be counted or looked up among all nodes is kept ready (`groups`, `tally`), so that an event
costs the same in a fleet of any size.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Any, TypeVar

from fleet.push.condition import brown_outs_between
from fleet.push.node_table import NodeTable
from fleet.push.reasons import NO_REASON, HaltedBy, Reason
from fleet.push.tally import Census, NodeKind, Tally

if TYPE_CHECKING:
    from fleet.link.state import NodeState
    from fleet.push.blame import Blame
    from fleet.push.events import Command
    from fleet.push.gate import Check, Verdict
    from fleet.push.plan import Plan, PlannedNode


class NodeStatus(StrEnum):
    """How a node of a push stands."""

    QUEUED = "queued"
    HELD_OFF = "held-off"
    SENDING = "sending"
    ON_TRIAL = "on-trial"
    KEPT = "kept"
    PUT_BACK = "put-back"
    LOST = "lost"
    LEFT_OUT = "left-out"


class Task(StrEnum):
    """What is being waited for at a node."""

    NONE = "none"
    READY = "ready"
    """Whether it can spare its controller now."""
    HELD = "held"
    """It could not; it is asked again."""
    SEND = "send"
    UNSURE = "unsure"
    """The end of a transfer was not seen: which image does it run?"""
    RETURN = "return"
    """It took the image; it has to come back running it."""
    SOAK = "soak"
    SOAKED = "soaked"
    """Well so far; the rest of the wave is awaited."""
    KEEP = "keep"
    BACK = "back"
    """It has to go back: which image does it run?"""
    BACK_TOLD = "back-told"
    BACK_SEND = "back-send"
    BACK_RETURN = "back-return"
    BACK_KEEP = "back-keep"


class RollbackCause(StrEnum):
    """Why a node goes back, if it does."""

    NO = "no"
    FAILED = "failed"
    WAVE = "wave"
    ASKED = "asked"


class PushPhase(StrEnum):
    """How the push stands."""

    NEW = "new"
    RUNNING = "running"
    GOING_BACK = "going-back"
    DONE = "done"
    HALTED = "halted"
    STOPPED = "stopped"
    ROLLED_BACK = "rolled-back"


ENDED = frozenset({PushPhase.DONE, PushPhase.HALTED, PushPhase.STOPPED, PushPhase.ROLLED_BACK})
SETTLED = frozenset({NodeStatus.KEPT, NodeStatus.PUT_BACK, NodeStatus.LOST, NodeStatus.LEFT_OUT})
BACK_TASKS = frozenset({Task.BACK, Task.BACK_TOLD, Task.BACK_SEND, Task.BACK_RETURN, Task.BACK_KEEP})
TRANSFERRING = frozenset({Task.READY, Task.SEND, Task.UNSURE, Task.BACK_SEND})
ON_THE_WAY = frozenset({Task.READY, Task.SEND, Task.UNSURE, Task.RETURN, Task.SOAK, Task.KEEP})
"""Tasks whose end the gate waits for."""


_ON_TRIAL = frozenset({Task.RETURN, Task.SOAK, Task.SOAKED})

Record = TypeVar("Record", "NodeProgress", "PushState")


def evolve(record: Record, **changes: Any) -> Record:
    """A copy with these fields changed. As dataclasses.replace, at a tenth of its cost: the engine lives
    on it."""
    if not changes.keys() <= record.__dict__.keys():
        raise TypeError(f"no such fields: {sorted(changes.keys() - record.__dict__.keys())}")
    copy = object.__new__(type(record))
    copy.__dict__.update(record.__dict__)
    copy.__dict__.update(changes)
    return copy


@dataclass(frozen=True)
class NodeProgress:
    """One node. Times are epoch seconds; `pending` is the command whose outcome is awaited.

    `before` is its state right before the image was sent, `seen` its last one. `accepted` counts how often
    it took the new image: never more than once. `failed` are the checks that it failed; `back` whether,
    and why, it has to go back.

    """

    node: str
    wave: int
    stands: NodeStatus = NodeStatus.QUEUED
    task: Task = Task.NONE
    pending: Command | None = None
    tries: int = 0
    holds: int = 0
    misses: int = 0
    sends: int = 0
    accepted: int = 0
    cut_off: str = ""
    """How its last transfer ended, where the node's word on it is not known."""
    before: NodeState | None = None
    before_at_s: float = 0.0
    seen: NodeState | None = None
    seen_at_s: float = 0.0
    returned: NodeState | None = None
    sent_at_s: float = 0.0
    since_s: float = 0.0
    """Since when the task is as it is."""
    limit_at_s: float = 0.0
    """Until when the task may last."""
    soak_until_s: float = 0.0
    trial_ends_at_s: float = 0.0
    whole: bool = False
    """Whether all of the image left this machine in its last transfer, so that it may have it however that ended."""
    reason: Reason = NO_REASON
    failed: tuple[Check, ...] = ()
    blame: Blame | None = None
    """What its failure is put down to; None: it did not fail."""
    back: RollbackCause = RollbackCause.NO
    back_tries: int = 0
    old_sends: int = 0

    @property
    def brown_outs(self) -> int:
        """Brown-outs since the image was sent, by its last word; 0 where nothing was sent."""
        if self.before is None or self.seen is None:
            return 0
        return brown_outs_between(self.before, self.seen)

    @property
    def settled(self) -> bool:
        """Whether nothing more will happen to it."""
        return self.stands in SETTLED and self.task is Task.NONE

    @property
    def judged(self) -> bool:
        """Whether it says something of the image: it failed, or runs it and keeps it."""
        return bool(self.failed) or (self.accepted > 0 and self.stands is NodeStatus.KEPT)

    @property
    def kind(self) -> NodeKind:
        """What it is counted as."""
        return NodeKind(self.stands, self.task, self.blame, self.settled, self.judged)

    @property
    def trial_runs(self) -> bool:
        """Whether its trial is known to run, and when it ends."""
        return self.task in _ON_TRIAL and self.trial_ends_at_s != 0.0

    @property
    def soaked(self) -> bool:
        """Whether it waits for the gate."""
        return self.task is Task.SOAKED

    @property
    def waiting(self) -> bool:
        """Whether nothing was begun with it, and it is not settled."""
        return self.task is Task.HELD or self.queued

    @property
    def queued(self) -> bool:
        """Whether its turn in its wave has not come."""
        return self.task is Task.NONE and self.stands not in SETTLED

    @property
    def untouched(self) -> bool:
        """Whether it surely runs what it ran before, and is not settled."""
        return self.waiting or (self.task is Task.READY and not self.sends)

    @property
    def going_back(self) -> bool:
        """Whether it was told to go back, and is not back yet."""
        return self.task in BACK_TASKS and (
            self.task is not Task.BACK or bool(self.back_tries or self.old_sends)
        )

    @property
    def takes_a_place(self) -> bool:
        """Whether it counts among those that may be busy at the same time: transfers, and kept nodes going
        back."""
        return self.task in TRANSFERRING or (self.going_back and self.stands is NodeStatus.KEPT)

    @property
    def down(self) -> bool:
        """Whether its tanks may be without a sure controller, now or in a moment; also when it is lost."""
        if self.stands is NodeStatus.KEPT:
            return self.going_back
        return self.stands is NodeStatus.LOST or self.task not in (Task.NONE, Task.HELD)


@dataclass(frozen=True)
class PushState:
    """The push. `wave` is the number of the present wave, from 1; `late` are nodes that were held off in
    their wave."""

    plan: Plan
    nodes: NodeTable
    planned: Mapping[str, PlannedNode]
    groups: Mapping[str, tuple[str, ...]]
    """The nodes of each supply group, in the order of the plan."""
    tally: Tally
    """Counts that follow from the nodes."""
    waves: tuple[tuple[str, ...], ...]
    phase: PushPhase = PushPhase.NEW
    ends_as: PushPhase = PushPhase.DONE
    wave: int = 0
    held: bool = False
    late: tuple[str, ...] = ()
    serial: int = 0
    verdicts: tuple[Verdict, ...] = ()
    halted_by: tuple[HaltedBy, ...] = ()
    """Why the push was halted or stopped, as it came."""
    began_at_s: float = 0.0
    now_s: float = 0.0

    @property
    def ended(self) -> bool:
        """Whether nothing more will happen."""
        return self.phase in ENDED

    def in_wave(self, number: int) -> tuple[NodeProgress, ...]:
        """The nodes of that wave."""
        return tuple(self.nodes[name] for name in self.waves[number - 1])


def fresh(plan: Plan) -> PushState:
    """The state before anything happened."""
    nodes = NodeTable(NodeProgress(n.node, wave.number) for wave, n in plan.nodes())
    groups: dict[str, list[str]] = {}
    for _, planned in plan.nodes():
        for group in dict.fromkeys(planned.supply_groups):
            groups.setdefault(group, []).append(planned.node)
    return PushState(
        plan=plan,
        nodes=nodes,
        planned={n.node: n for _, n in plan.nodes()},
        groups={group: tuple(names) for group, names in groups.items()},
        tally=Tally(fleet=Census(node.kind for node in nodes.values())),
        waves=tuple(tuple(node.node for node in wave.nodes) for wave in plan.waves),
    )
