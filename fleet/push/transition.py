"""One step of the engine under way: a push's state that is being changed, and the commands that come of
it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fleet.limits import AT_ONCE_PER_ACCESS_POINT, KEEP_RESERVE_S
from fleet.push.blame import Blame
from fleet.push.events import Action, Command
from fleet.push.gate import Check, CheckName
from fleet.push.reasons import NO_REASON, WAITING, Reason, Why
from fleet.push.state import (
    NodeProgress,
    NodeStatus,
    PushPhase,
    PushState,
    RollbackCause,
    Task,
    evolve,
)
from fleet.push.tally import BusyPlace

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.push.node_table import NodeTable
    from fleet.push.plan import PlannedNode

_BLAMES = {CheckName.SUPPLY: Blame.SUPPLY, CheckName.LINK: Blame.LINK}
"""What the failure of these checks alone is put down to; any other: the image."""


class Transition:
    """A copy of the state that may be changed until `done`. `now_s` never goes backwards."""

    def __init__(self, state: PushState, at_s: float) -> None:
        self.push = evolve(state, now_s=max(state.now_s, at_s))
        self.nodes: NodeTable = state.nodes
        self.tally = state.tally.copy()
        self._commands: list[Command] = []

    @property
    def now_s(self) -> float:
        """The time of the event."""
        return self.push.now_s

    def done(self) -> tuple[PushState, tuple[Command, ...]]:
        """The new state, and the commands that still stand: a later one for a node replaces the one
        before."""
        commands = tuple(c for c in self._commands if self.nodes[c.node].pending is c)
        return evolve(self.push, nodes=self.nodes, tally=self.tally), commands

    # ---------------------------------------------------------------- changing
    def change(self, **changes: Any) -> None:
        """Change fields of the push."""
        self.push = evolve(self.push, **changes)
        if "wave" in changes or "waves" in changes:
            begun = 1 <= self.push.wave <= len(self.push.waves)
            wave = self.wave() if begun else ()
            self.tally.begin_wave((node, self.planned(node.node).site) for node in wave)

    def set(self, name: str, **changes: Any) -> NodeProgress:
        """Change fields of a node, and what is counted of it. The only way to change one: else the counts are wrong."""
        before, place = self.nodes[name], self._place(name)
        after = evolve(before, **changes)
        self.nodes = self.nodes.with_node(after)
        self.tally.move(before, after)
        self.tally.move_place(place, self._place(name))
        return after

    def do(self, name: str, doing: Action, task: Task, *, in_s: float = 0.0, **changes: Any) -> None:
        """Ask for something to be done to a node, in some seconds. Only a question may be replaced."""
        # An action that is under way may have its effect whatever is asked for meanwhile; if another took its place,
        # its outcome would carry a serial that nobody waits for, and be lost: a node with an image that the engine does
        # not know of. A question changes nothing, so its answer may be lost. The serial is the push's, and never used
        # twice, so that an outcome of before a restart of the tool is not taken for one of after it.
        pending = self.nodes[name].pending
        if pending is not None and pending.doing is not Action.ASK:
            raise ValueError(f"{name}: {pending.doing} is under way")
        self.change(serial=self.push.serial + 1)
        command = Command(self.push.serial, name, doing, self.now_s + in_s)
        self._commands.append(command)
        if task is not self.nodes[name].task:
            changes = {"since_s": self.now_s, "tries": 0, **changes}
        self.set(name, pending=command, task=task, **changes)

    def ask(self, name: str, task: Task, *, in_s: float = 0.0, **changes: Any) -> None:
        """Ask the node for its state, in some seconds."""
        self.do(name, Action.ASK, task, in_s=in_s, **changes)

    def settle(self, name: str, stands: NodeStatus, reason: Reason = NO_REASON) -> None:
        """Nothing more will happen to this node. Its first reason stays, unless it was only why it waited."""
        before = self.nodes[name].reason
        stays = before if before.why not in WAITING else NO_REASON
        self.set(
            name, stands=stands, task=Task.NONE, pending=None, back=RollbackCause.NO, reason=stays or reason
        )

    def fail(self, name: str, *checks: Check) -> None:
        """These checks failed: the node has to go back."""
        bad = tuple(check for check in checks if not check.ok)
        root = [check for check in bad if check.name is not CheckName.SOAK] or bad
        told = "; ".join(f"{check.name}: {check.evidence}" for check in root)
        blames = {_BLAMES.get(check.name, Blame.IMAGE) for check in root}
        blame = blames.pop() if len(blames) == 1 else Blame.IMAGE
        self.set(name, failed=bad, back=RollbackCause.FAILED, reason=Reason(Why.FAILED, told), blame=blame)

    def fail_on(self, name: str, check: CheckName, evidence: str) -> None:
        """This one check failed."""
        self.fail(name, Check(check, False, evidence))

    # ---------------------------------------------------------------- looking
    def planned(self, name: str) -> PlannedNode:
        """What is planned for the node."""
        return self.push.planned[name]

    def wave(self) -> tuple[NodeProgress, ...]:
        """The nodes of the present wave."""
        return tuple(self.nodes[name] for name in self.push.waves[self.push.wave - 1])

    def partners(self, name: str) -> Iterator[NodeProgress]:
        """The nodes that share a supply group with this one."""
        groups = self.planned(name).supply_groups
        members = [other for group in groups for other in self.push.groups[group]]
        for other in self.nodes.in_order(members) if len(groups) > 1 else members:
            if other != name:
                yield self.nodes[other]

    def partner_down(self, name: str) -> NodeProgress | None:
        """A node of the same supply group that is down, if there is one."""
        return next((other for other in self.partners(name) if other.down), None)

    def access_point(self, name: str) -> str | None:
        """The one that the node was joined to when it was seen last, else as planned; None: nobody says."""
        seen = self.nodes[name].seen
        bssid = seen.network.bssid if seen is not None and seen.network is not None else None
        if bssid is None:
            return self.planned(name).access_point
        return self.push.plan.access_points.get(bssid, bssid)

    def place_free(self, name: str) -> bool:
        """Whether one more transfer may run: overall, at its site, through its access point."""
        policy, tally, itself = self.push.plan.policy, self.tally, self.nodes[name].takes_a_place
        point = self.access_point(name)
        at_point = 0 if point is None else tally.busy_at_point.get(point, 0) - itself
        return (
            tally.busy - itself < policy.at_once
            and tally.busy_at_site.get(self.planned(name).site, 0) - itself < policy.at_once_per_site
            and at_point < AT_ONCE_PER_ACCESS_POINT
        )

    def full(self) -> bool:
        """Whether no node that has no place now gets one, wherever it is."""
        return self.tally.busy >= self.push.plan.policy.at_once

    def queued(self) -> list[str]:
        """The nodes of the present wave whose turn has not come, in order; but for those of sites without a place for
        one more, so that no event looks at each of them in vain."""
        limit = self.push.plan.policy.at_once_per_site
        free = [
            turns for site, turns in self.tally.queued.items() if self.tally.busy_at_site.get(site, 0) < limit
        ]
        names = self.push.waves[self.push.wave - 1]
        return [names[turn] for turn in sorted(turn for turns in free for turn in turns)]

    def _place(self, name: str) -> BusyPlace | None:
        if not self.nodes[name].takes_a_place:
            return None
        return BusyPlace(self.planned(name).site, self.access_point(name))

    def trial_allows(self, name: str) -> bool:
        """Whether a send begun now is soaked before the first trial of the wave runs out."""
        ends_s = self.tally.trial_ends_s
        needs_s = self.planned(name).expected_s + self.push.plan.policy.soak_s + KEEP_RESERVE_S
        return not ends_s or self.now_s + needs_s <= ends_s[0]

    def startable(self, name: str) -> bool:
        """Whether this node's update may begin now, as far as the rest of the fleet is concerned."""
        return (
            self.push.phase is PushPhase.RUNNING
            and not self.push.held
            and self.place_free(name)
            and self.partner_down(name) is None
            and self.trial_allows(name)
        )

    def all_settled(self) -> bool:
        """Whether nothing more will happen to any node."""
        return not self.tally.fleet.any(lambda kind: not kind.settled)

    def unsettled(self) -> Iterator[NodeProgress]:
        """The nodes that something may still happen to."""
        return (node for node in tuple(self.nodes.values()) if not node.settled)
