"""The engine alone, through a whole push to its end: nodes that answer at once, no network, no journal.

Ten times the nodes are ten times the events, so at most eleven times the time: no event may cost more in a larger
fleet. The waves are those that planning makes; the second row has the largest waves that a policy may ask for.
"""

from __future__ import annotations

import heapq
import time
from operator import attrgetter
from typing import TYPE_CHECKING

from benchmarks.row import Row
from fleet.model.tank import Duty
from fleet.push.engine import step
from fleet.push.events import Action, Began, Outcome, Result
from fleet.push.state import NodeStatus, PushPhase, fresh
from fleet.push.waves import Candidate, Sizes, pack
from tests.push.plans import NEW, OLD, plan_of, planned, state_of

if TYPE_CHECKING:
    from fleet.link.state import NodeState
    from fleet.push.events import Command, Event
    from fleet.push.plan import Plan

RUNS = 3
SIZES = (1_000, 10_000)
PER_SITE, PER_POINT, PER_GROUP = 200, 20, 2
SEND_S = 6.0
POLICIES = {
    "waves of 50": {"largest_wave": 50, "at_once": 8, "at_once_per_site": 4},
    "waves of 1,000": {"largest_wave": 1_000, "at_once": 64, "at_once_per_site": 16},
}


def made_plan(count: int, policy: dict[str, int]) -> Plan:
    """A plan for so many nodes: 200 to a site, 20 to an access point, two to a supply group."""
    candidates = {}
    for number in range(count):
        name, site = f"n{number:05}", f"site-{number // PER_SITE:03}"
        point, group = f"{site}-ap-{number // PER_POINT}", f"group-{number // PER_GROUP}"
        duty = Duty.RAIN if number % PER_GROUP else Duty.LIVESTOCK
        candidates[name] = Candidate(name, site, "esp32-devkit", "class", duty, point, frozenset({group}))
    waves, pilots = pack(candidates.values(), Sizes(2, 3.0, policy["largest_wave"], policy["largest_wave"]))
    nodes = [[_planned(placed.candidate) for placed in wave] for wave in waves]
    return plan_of(*nodes, pilots=pilots, soak_s=30.0, trial_s=900.0, **policy)


def _planned(one: Candidate) -> dict[str, object]:
    return planned(
        one.node,
        site=one.site,
        board=one.board,
        access_point=one.access_point,
        supply_groups=tuple(one.groups),
    )


class Push:
    """A push of nodes that are always well; `seconds` is the processor time that it took, most of it in the engine."""

    def __init__(self, plan: Plan) -> None:
        self.state = fresh(plan)
        self.seconds = 0.0
        self.events = 0
        old, new = state_of("any"), state_of("any", image=NEW, older_image=OLD, phase="on-trial", boots=8)
        self._old = {name: old.model_copy(update={"node": name}) for name in self.state.nodes}
        self._new = {
            name: new.model_copy(update={"node": name, "trial_left_s": 880}) for name in self.state.nodes
        }
        self._runs = dict(self._old)
        self._queue: list[tuple[float, int, Command]] = []

    def run(self) -> Push:
        """To its end, with every node kept."""
        start_s = time.process_time()
        self._feed(Began(0.0))
        while not self.state.ended:
            at_s, _, command = heapq.heappop(self._queue)
            pending = self.state.nodes[command.node].pending
            if pending is not None and pending.serial == command.serial:
                self._feed(self._outcome(command, at_s))
        self.seconds = time.process_time() - start_s
        assert self.state.phase is PushPhase.DONE
        assert all(node.stands is NodeStatus.KEPT for node in self.state.nodes.values())
        return self

    def _outcome(self, command: Command, at_s: float) -> Outcome:
        name, seen, spare_s = command.node, None, None
        if command.doing is Action.SEND:
            self._runs[name] = self._new[name]
        elif command.doing is Action.ASK:
            seen, spare_s = self._seen(name), 5_000.0
        return Outcome(at_s, name, command.serial, command.doing, Result.OK, seen=seen, spare_s=spare_s)

    def _seen(self, name: str) -> NodeState:
        return self._runs[name]

    def _feed(self, event: Event) -> None:
        self.state, commands = step(self.state, event)
        self.events += 1
        for command in commands:
            takes_s = SEND_S if command.doing is Action.SEND else 0.1
            due_s = max(command.at_s, self.state.now_s) + takes_s
            heapq.heappush(self._queue, (due_s, command.serial, command))


def measure() -> list[Row]:
    """The least of 3 interleaved pushes of each size; the time is the processor's. Where waves may be larger in a large
    fleet, its nodes wait longer for each other and are asked more often: there what counts is the time of an event."""
    rows = []
    for what, policy in POLICIES.items():
        plans = [made_plan(size, policy) for size in SIZES]
        runs = [[Push(plan).run() for plan in plans] for _ in range(RUNS)]
        small, large = (min(column, key=attrgetter("seconds")) for column in zip(*runs, strict=True))
        ratio = large.seconds / small.seconds
        each = ratio * small.events / large.events
        note = f"{small.seconds:.1f} s and {large.seconds:.1f} s, {large.seconds / large.events * 1e6:.0f} us an event"
        name = f"engine, 10,000 nodes / 1,000 nodes, {what}"
        if policy["largest_wave"] < SIZES[0]:
            rows.append(Row(name, f"{ratio:.1f}x", "<= 11x", ratio <= 11, note))
        else:
            rows.append(Row(f"{name}, each event", f"{each:.2f}x", "<= 1.1x", each <= 1.1, note))
    return rows
