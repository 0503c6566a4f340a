"""Whole pushes against simulated nodes over simulated time, from one seed, with a monitor that knows the
truth.

The engine sees outcomes only. The monitor sees the nodes themselves, and raises Violation when something
happens that must never happen. To replay one seed: `python -m tests.push.sim SEED`.
"""

from __future__ import annotations

import heapq
import random
import sys
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

from fleet.limits import AT_ONCE_PER_ACCESS_POINT, KEEP_RESERVE_S
from fleet.link.state import NodeState, Phase
from fleet.model.tank import Duty
from fleet.push import engine
from fleet.push.blame import OF_THE_IMAGE, Blame
from fleet.push.events import (
    Action,
    Began,
    Command,
    Event,
    Outcome,
    Requested,
    RequestKind,
    Result,
    Resumed,
    Sent,
)
from fleet.push.reasons import Why
from fleet.push.state import SETTLED, NodeProgress, NodeStatus, PushPhase, PushState, Task, fresh
from fleet.push.waves import Candidate, Sizes, pack
from tests.push.plans import NEW, OLD, plan_of, planned
from tests.push.sim_node import BROWN_OUT_TRIES, Behaviour, SimNode

STEPS_LIMIT = 6_000
TIME_LIMIT_S = 6 * 3600.0
FOLD_EVERY = 4
"""Folding costs as much as the push itself."""
POINTS = {"02:00:00:00:00:a1": "hill-ap", "02:00:00:00:00:a2": "hill-ap", "02:00:00:00:00:b1": "stranger"}
"""What there is to be joined, by BSSID: an access point with two radios, and one that no site lists."""
LISTED = {bssid: name for bssid, name in POINTS.items() if name != "stranger"}
BY_ITSELF = ("no-healthy-boot", "trial-over")


class Violation(AssertionError):
    """Something happened that must never happen."""


@dataclass
class Scenario:
    """What one seed means."""

    seed: int
    plan: Any
    nodes: dict[str, SimNode]
    loss: float
    cut_before: float
    cut_after: float
    crashes_s: list[float]
    power_cuts: list[tuple[float, str]]
    words: list[tuple[float, RequestKind, tuple[str, ...]]]
    roll_back_after: tuple[str, ...] | None
    send_s: tuple[float, float]
    """Shortest and longest transfer; the plans expect 10 s with the return."""
    air: dict[str, str | None]
    """The access point that each node is really joined to; None: nobody knows."""


def scenario(seed: int) -> Scenario:
    """Draw a fleet, a plan, behaviours, a network, crashes of the tool and words of a person."""
    chance = random.Random(seed)
    names = [f"n{i}" for i in range(chance.randint(2, 8))]
    policy = {
        "at_once": chance.choice([1, 1, 2, 3, 4]),
        "at_once_per_site": chance.randint(1, 3),
        "failures_allowed": chance.choice([0.0, 0.0, 0.0, 0.34, 0.5]),
        "largest_wave": chance.choice([2, 50]),
        "soak_s": 3.0,
        "trial_s": chance.choice([40.0, 40.0, 90.0]),
    }
    candidates = {name: _candidate(chance, name) for name in names}
    waves, pilots = pack(candidates.values(), Sizes(chance.randint(1, 3), 3.0, policy["largest_wave"], 50))
    any_hour = chance.random() < 0.3
    joined = _joined(seed, names)
    same = _behaviour(chance) if chance.random() < 0.35 else None
    usual = chance.choice([0.0, 0.0, 0.15, 0.4])
    nodes = {}
    for name in names:
        odd = _behaviour(chance) if chance.random() < usual else Behaviour()
        nodes[name] = SimNode(
            name,
            same or odd,
            policy["trial_s"],
            restart_s=chance.choice([0.5, 4.0, 12.0]),
            bssid=joined.get(name),
        )
    despite = _conditions(seed, nodes)
    plan = plan_of(
        *([_planned(p.candidate, p.candidate.node in despite) for p in wave] for wave in waves),
        pilots=pilots,
        any_hour=any_hour,
        access_points=LISTED,
        **policy,
    )
    calm = chance.random() < 0.3
    rough = not calm and chance.random() < 0.5
    return Scenario(
        seed,
        plan,
        nodes,
        loss=chance.choice([0.02, 0.15]) if rough else 0.0,
        cut_before=0.3 if rough else 0.0,
        cut_after=0.3 if rough else 0.0,
        crashes_s=[] if calm else sorted(chance.uniform(0, 60) for _ in range(chance.choice([0, 1, 3]))),
        power_cuts=[] if calm or chance.random() < 0.85 else [(chance.uniform(0, 60), chance.choice(names))],
        words=[] if calm else _words(chance, names),
        roll_back_after=None if calm else _after(chance, names),
        send_s=chance.choice([(0.5, 6.0), (8.0, 16.0)]),
        air={n: POINTS[joined[n]] if n in joined else candidates[n].access_point for n in names},
    )


def _joined(seed: int, names: list[str]) -> dict[str, str]:
    """The BSSIDs that nodes say, whatever was planned; of none where the firmware does not say. Drawn apart, so that
    seeds mean else what they meant before."""
    chance = random.Random(f"joined {seed}")
    if chance.random() < 0.5:
        return {}
    return {name: chance.choice(list(POINTS)) for name in names if chance.random() < 0.8}


def _candidate(chance: random.Random, name: str) -> Candidate:
    groups = frozenset({chance.choice(["east", "west"])}) if chance.random() < 0.5 else frozenset()
    site = chance.choice(["hill", "yard", "glen"])
    point = chance.choice([None, f"{site}-ap"])
    return Candidate(name, site, chance.choice(["a", "b"]), "class", chance.choice(list(Duty)), point, groups)


def _conditions(seed: int, nodes: dict[str, SimNode]) -> set[str]:
    """Brown-outs and faults that stay, on nodes that are well else and whose firmware counts brown-outs; who is planned
    despite a fault. Drawn apart, so that the rest of a seed is what it was."""
    more = random.Random(seed ^ 0xB0)
    despite = set()
    weak, latched = more.choice([(0.0, 0.0), (0.0, 0.3), (0.3, 0.0), (0.6, 0.0), (0.2, 0.2)])
    for node in nodes.values():
        node.brown_outs = more.choice([None, 0, 5])
        draw = more.random()
        if node.brown_outs is None or node.behaviour != Behaviour():
            continue
        if draw < weak:
            node.behaviour = Behaviour(brown_outs=more.choice([1, 3, 4, 4, 9]))
        elif draw < weak + latched:
            node.behaviour = Behaviour(latched=True, forgets_fault=more.random() < 0.3)
            if more.random() < 0.8:
                despite.add(node.name)
    return despite


def _planned(candidate: Candidate, despite_fault: bool) -> dict[str, Any]:
    return planned(
        candidate.node,
        site=candidate.site,
        board=candidate.board,
        access_point=candidate.access_point,
        supply_groups=tuple(candidate.groups),
        despite_fault=despite_fault,
    )


def _behaviour(chance: random.Random) -> Behaviour:
    return chance.choice(
        [
            Behaviour(crashes=True),
            Behaviour(hangs_after_s=chance.choice([0.5, 1.0])),
            Behaviour(never_returns=True),
            Behaviour(dies=True),
            Behaviour(inverted=True),
            Behaviour(pump_on_when_full=True),
            Behaviour(leaks=True),
            Behaviour(new_fault=True),
            Behaviour(watchdog_at_s=1.0),
            Behaviour(forgets_older=True),
            Behaviour(spare_short_until_s=chance.choice([30.0, 100.0, 1e9])),
            Behaviour(window_closed_until_s=chance.choice([30.0, 100.0, 1e9])),
            Behaviour(runs_other=True),
            Behaviour(has_it=True),
            Behaviour(off_until_s=chance.choice([20.0, 1e9])),
            Behaviour(deaf_to_keep=True),
            Behaviour(refuses=chance.choice(["busy", "other-class"])),
        ]
    )


def _words(chance: random.Random, names: list[str]) -> list[tuple[float, RequestKind, tuple[str, ...]]]:
    if chance.random() > 0.3:
        return []
    at_s = chance.uniform(0, 40)
    kind = chance.randrange(4)
    if kind == 0:
        return [(at_s, RequestKind.HOLD, ()), (at_s + chance.uniform(1, 60), RequestKind.GO_ON, ())]
    if kind == 1:
        return [(at_s, RequestKind.STOP, ())]
    if kind == 2:
        return [(at_s, RequestKind.ROLL_BACK, tuple(chance.sample(names, 1)))]
    return [(at_s, RequestKind.HOLD, ()), (at_s + chance.uniform(1, 60), RequestKind.ROLL_BACK, ())]


def _after(chance: random.Random, names: list[str]) -> tuple[str, ...] | None:
    draw = chance.random()
    if draw > 0.15:
        return None
    return () if draw < 0.1 else tuple(chance.sample(names, 1))


@dataclass
class Sim:
    """One push under way. `step` may be a broken engine."""

    scene: Scenario
    step: Callable[[PushState, Event], tuple[PushState, tuple[Command, ...]]] = engine.step
    now_s: float = 0.0
    events: list[Event] = field(default_factory=list)
    queue: list[tuple[float, int, str, Any]] = field(default_factory=list)
    receiving: dict[str, str] = field(default_factory=dict)
    refused: set[str] = field(default_factory=set)
    observed_bad: set[str] = field(default_factory=set)
    fell_back: set[str] = field(default_factory=set)
    """Those that said that they went back from the new image by themselves."""
    ready: dict[str, Outcome] = field(default_factory=dict)
    holding: bool = False
    stopped: bool = False
    pressed_at_s: float = -1.0
    """When a trial was last about to end, so that what was soaked had to be kept."""
    _count: int = 0

    def __post_init__(self) -> None:
        self.state = fresh(self.scene.plan)
        self.nodes = self.scene.nodes
        self.chance = random.Random(self.scene.seed ^ 0x5EED)
        self.more = random.Random(f"sent {self.scene.seed}")
        self.plan_wave = {n.node: wave.number for wave, n in self.scene.plan.nodes()}
        self.sizes = {wave.number: len(wave.nodes) for wave in self.scene.plan.waves}

    # ---------------------------------------------------------------- running
    def run(self) -> Sim:
        """To the end of the push, and of a roll-back after it; Violation if anything goes wrong."""
        for at_s in self.scene.crashes_s:
            self._push(at_s, "crash", None)
        for at_s, name in self.scene.power_cuts:
            self._push(at_s, "power", name)
        for at_s, word, names in self.scene.words:
            self._push(at_s, "word", (word, names))
        self._feed(Began(0.0))
        self._drain()
        if self.scene.roll_back_after is not None:
            self._feed(Requested(self.now_s, RequestKind.ROLL_BACK, self.scene.roll_back_after))
            self._drain()
        self._check_end()
        return self

    def _drain(self) -> None:
        steps = 0
        while self.queue and not self.state.ended:
            at_s, _, kind, what = heapq.heappop(self.queue)
            self.now_s = max(self.now_s, at_s)
            steps += 1
            if steps > STEPS_LIMIT or self.now_s > TIME_LIMIT_S:
                self._require(False, "the push does not end")
            getattr(self, f"_on_{kind}")(what)
        if not self.state.ended:
            self._require(False, "nothing is awaited, and the push has not ended")

    def _push(self, at_s: float, kind: str, what: Any) -> None:
        self._count += 1
        heapq.heappush(self.queue, (at_s, self._count, kind, what))

    def _feed(self, event: Event) -> None:
        self.events.append(event)
        self.state, commands = self.step(self.state, event)
        for command in commands:
            if command.doing is Action.SEND:
                self._check_issue(command)
            elif command.doing is Action.KEEP and self.nodes[command.node].running == NEW:
                self._check_keep_issue(command)
            self._push(max(command.at_s, self.now_s), "start", command)

    # ---------------------------------------------------------------- what happens
    def _on_crash(self, _: None) -> None:
        """The tool is killed: what was not begun never happens, a transfer under way is cut off or was
        just done."""
        self.queue = [e for e in self.queue if e[2] not in ("start", "sent", "answer")]
        heapq.heapify(self.queue)
        for name, image in tuple(self.receiving.items()):
            del self.receiving[name]
            if self.chance.random() < 0.5:
                self._say_sent(name)
                self.nodes[name].take(image, self.now_s)
            self._lose_link(self.nodes[name])
        self.now_s += self.chance.choice([0.1, 5.0, 200.0])
        self._feed(Resumed(self.now_s))

    def _say_sent(self, name: str) -> None:
        """Half of the time the tool still wrote down that all had left it. Drawn apart, so that seeds mean what they
        meant before."""
        pending = self.state.nodes[name].pending
        if pending is not None and pending.doing is Action.SEND and self.more.random() < 0.5:
            self._feed(Sent(self.now_s, name, pending.serial))

    def _lose_link(self, node: SimNode) -> None:
        """What ended the tool may have taken the link to a node with it, for a while or for good."""
        if self.more.random() < 0.3:
            until_s = self.now_s + self.more.choice([30.0, 1e9])
            node.behaviour = replace(node.behaviour, off_until_s=until_s)

    def _on_power(self, name: str) -> None:
        """Off and on; a transfer under way is cut off."""
        self.receiving.pop(name, None)
        self.nodes[name].power_cut(self.now_s)

    def _on_word(self, what: tuple[RequestKind, tuple[str, ...]]) -> None:
        word, names = what
        self.holding = word is RequestKind.HOLD
        self.stopped = self.stopped or word in (RequestKind.STOP, RequestKind.ROLL_BACK)
        self._feed(Requested(self.now_s, word, names))

    def _on_answer(self, outcome: Outcome) -> None:
        self._feed(outcome)

    def _on_start(self, command: Command) -> None:
        progress = self.state.nodes[command.node]
        if progress.pending is None or progress.pending.serial != command.serial:
            return
        node = self.nodes[command.node]
        node.tick(self.now_s)
        if command.doing is Action.ASK:
            self._ask(command, node)
        elif command.doing in (Action.SEND, Action.SEND_OLD):
            self._begin_send(command, node, progress)
        elif command.doing is Action.KEEP:
            self._keep(command, node)
        else:
            self._put_back(command, node, progress)

    def _answer(self, command: Command, result: Result, code: str = "", **more: Any) -> None:
        outcome = Outcome(
            self.now_s, command.node, command.serial, command.doing, result, code, "sim", **more
        )
        self._feed(outcome)

    def _ask(self, command: Command, node: SimNode) -> None:
        if not node.reachable(self.now_s) or self.chance.random() < self.scene.loss:
            self._answer(command, Result.BROKE, "LNK101")
            return
        seen = node.state(self.now_s)
        short = self.now_s < node.behaviour.spare_short_until_s
        closed = self.now_s < node.behaviour.window_closed_until_s
        self._observe(node, seen)
        self.ready[node.name] = Outcome(
            self.now_s,
            node.name,
            0,
            Action.ASK,
            Result.OK,
            spare_s=100.0 if short else 5000.0,
            window_open=not closed,
        )
        self._answer(
            command, Result.OK, seen=seen, spare_s=100.0 if short else 5000.0, window_open=not closed
        )

    def _begin_send(self, command: Command, node: SimNode, progress: NodeProgress) -> None:
        image = NEW if command.doing is Action.SEND else OLD
        self._check_send(node, image, progress)
        if not node.reachable(self.now_s):
            self._answer(command, Result.BROKE, "LNK101")
        elif node.behaviour.refuses and image == NEW:
            self._answer(command, Result.REFUSED, node.behaviour.refuses)
        elif node.phase is Phase.ON_TRIAL or node.restarting:
            self.refused.add(node.name)
            self._answer(command, Result.REFUSED, "on-trial" if not node.restarting else "busy")
        else:
            self.receiving[node.name] = image
            self._push(self.now_s + self.chance.uniform(*self.scene.send_s), "sent", (command, image))

    def _on_sent(self, what: tuple[Command, str]) -> None:
        command, image = what
        node = self.nodes[command.node]
        whole = self.receiving.pop(node.name, None) is not None
        if not whole or self.chance.random() < self.scene.cut_before:
            self._answer(command, Result.BROKE, "LNK101")
            return
        if image == NEW:
            self._feed(Sent(self.now_s, node.name, command.serial))
        node.take(image, self.now_s)
        broke = self.chance.random() < self.scene.cut_after
        self._answer(command, Result.BROKE if broke else Result.OK)

    def _keep(self, command: Command, node: SimNode) -> None:
        if node.running == NEW:
            self._check_keep(node)
        deaf = node.behaviour.deaf_to_keep and node.running == NEW
        if deaf or not node.reachable(self.now_s) or self.chance.random() < self.scene.loss:
            if not deaf and node.reachable(self.now_s) and self.chance.random() < 0.5:
                node.keep()
            self._answer(command, Result.BROKE, "LNK101")
            return
        refusal = node.keep()
        self._answer(command, Result.REFUSED if refusal else Result.OK, refusal)

    def _put_back(self, command: Command, node: SimNode, progress: NodeProgress) -> None:
        if progress.stands is NodeStatus.KEPT:
            self._check_partners(node)
        if not node.reachable(self.now_s) or self.chance.random() < self.scene.loss:
            if node.reachable(self.now_s) and self.chance.random() < 0.5:
                node.put_back(self.now_s)
            self._answer(command, Result.BROKE, "LNK101")
            return
        refusal = node.put_back(self.now_s)
        self._answer(command, Result.REFUSED if refusal else Result.OK, refusal)

    # ---------------------------------------------------------------- the monitor
    def _observe(self, node: SimNode, seen: NodeState) -> None:
        """Remember what a good engine has to have understood by now."""
        wrong = node.behaviour
        static = (
            wrong.inverted or wrong.pump_on_when_full or wrong.leaks or wrong.new_fault or wrong.forgets_fault
        )
        fell = seen.image == OLD and node.taken.get(NEW) and seen.last_reason in BY_ITSELF
        watchdog = seen.image == NEW and seen.reset == "watchdog" and node.taken.get(NEW)
        if (seen.image == NEW and static and node.taken.get(NEW)) or fell or watchdog:
            self.observed_bad.add(node.name)
        if fell:
            self.fell_back.add(node.name)

    def _check_send(self, node: SimNode, image: str, progress: NodeProgress) -> None:
        planned_node = self.state.planned[node.name]
        sites = [self.state.planned[name] for name in self.receiving]
        policy = self.scene.plan.policy
        self._require(len(sites) < policy.at_once, "more transfers than at_once")
        at_site = sum(other.site == planned_node.site for other in sites)
        self._require(at_site < policy.at_once_per_site, "more transfers at a site than at_once_per_site")
        mine = self.scene.air[node.name]
        points = sum(mine is not None and self.scene.air[name] == mine for name in self.receiving)
        self._require(
            points < AT_ONCE_PER_ACCESS_POINT, "more transfers through an access point than allowed"
        )
        if image == OLD:
            self._require(bool(node.taken.get(NEW)), "an old image for a node that never had the new one")
            return
        self._check_partners(node)
        self._require(
            not node.behaviour.latched or planned_node.despite_fault,
            "sent to a node with a fault that stays, at nobody's word",
        )
        self._require(not node.taken.get(NEW), "the same image for the second time")
        self._require(
            node.running == OLD and node.phase is not Phase.ON_TRIAL, "sent to a node in another state"
        )
        last = self.ready[node.name]
        self._require(
            last.spare_s is None or last.spare_s >= planned_node.spare_needed_s, "sent without spare time"
        )
        self._require(last.window_open or self.scene.plan.any_hour, "sent outside of the window")
        self._require(self.now_s - last.at_s < 1.0, "sent on old knowledge")

    def _check_issue(self, command: Command) -> None:
        """What the engine had to know when it asked for the new image to be sent."""
        self._require(not self.holding, "sent while the push is held")
        self._require(not self.stopped, "sent after the push was stopped")
        mine = self._turn(command.node)
        for name, progress in self.state.nodes.items():
            earlier = self._turn(name) < mine
            open_still = progress.stands not in SETTLED and progress.stands is not NodeStatus.HELD_OFF
            self._require(
                not (earlier and (open_still or progress.task not in (Task.NONE, Task.HELD))), "waves overlap"
            )
        for number, size in self.sizes.items():
            failed = [n for n in self.observed_bad if self.plan_wave[n] == number]
            allowed = int(self.scene.plan.policy.failures_allowed * size + 1e-9)
            late = any(n in self.state.late or self.state.nodes[n].holds for n in failed)
            self._require(len(failed) <= allowed or late, f"sent although wave {number} failed")

    def _turn(self, node: str) -> int:
        """The wave in which it goes: those that were held off go together after all others, whatever wave they were
        planned for."""
        planned = len(self.scene.plan.waves)
        added = any(node in wave for wave in self.state.waves[planned:])
        return planned + 1 if added else self.plan_wave[node]

    def _check_partners(self, node: SimNode) -> None:
        groups = set(self.state.planned[node.name].supply_groups)
        for other in self.nodes.values():
            if other.name == node.name or not groups & set(self.state.planned[other.name].supply_groups):
                continue
            touched = bool(other.taken)
            down = other.name in self.receiving or (
                touched
                and (
                    other.phase is Phase.ON_TRIAL
                    or other.restarting
                    or self.now_s < other.back_s
                    or other.gone
                )
            )
            cut = any(name == other.name for _, name in self.scene.power_cuts)
            self._require(not down or cut, f"{other.name} of the same supply group is down")

    def _check_keep_issue(self, command: Command) -> None:
        """What the engine had to know when it asked for an image to be kept."""
        mine = self.state.nodes[command.node].wave
        wave = [n for n in self.state.nodes.values() if n.wave == mine]
        failed = [n for n in wave if n.node in self.observed_bad and n.task is not Task.HELD]
        allowed = int(self.scene.plan.policy.failures_allowed * len(self.state.waves[mine - 1]) + 1e-9)
        self._require(len(failed) <= allowed, "kept although its wave failed")

    def _check_keep(self, node: SimNode) -> None:
        policy, wrong = self.scene.plan.policy, node.behaviour
        static = (
            wrong.inverted or wrong.pump_on_when_full or wrong.leaks or wrong.new_fault or wrong.forgets_fault
        )
        self._require(not static, "a bad image is kept")
        if node.phase is not Phase.ON_TRIAL:
            return
        up_s = self.now_s - node.booted_s
        cut = any(name == node.name for _, name in self.scene.power_cuts)
        self._require(up_s >= policy.soak_s - 1e-6 or cut, f"kept {up_s:.1f} s after its start")
        if wrong.hangs_after_s is not None or wrong.watchdog_at_s is not None:
            self._require(
                wrong.watchdog_at_s is not None and not node._watchdog_done, "a hanging image is kept"
            )
        mine = self.state.nodes[node.name].wave
        wave = [n for n in self.state.nodes.values() if n.wave == mine]
        ends = [self.nodes[n.node].trial_ends_s for n in wave if self.nodes[n.node].phase is Phase.ON_TRIAL]
        if min(ends) <= self.now_s + KEEP_RESERVE_S + 20.0:
            self.pressed_at_s = self.now_s
        if self.pressed_at_s != self.now_s:
            for other in wave:
                sim = self.nodes[other.node]
                young = (
                    sim.phase is Phase.ON_TRIAL
                    and sim.running == NEW
                    and (self.now_s < sim.booted_s + policy.soak_s)
                )
                cut = any(name == other.node for _, name in self.scene.power_cuts)
                self._require(
                    not (young and not other.failed and not cut),
                    "kept before the rest of the wave was soaked",
                )

    def _check_end(self) -> None:
        settle_s = self.now_s + 13.0
        for name, progress in self.state.nodes.items():
            node = self.nodes[name]
            self._require(
                progress.stands in SETTLED and progress.task is Task.NONE, f"{name} ends as {progress.stands}"
            )
            self._require(progress.pending is None, f"{name} is still awaited")
            self._require(node.taken.get(NEW, 0) <= 1, f"{name} took the image {node.taken.get(NEW)} times")
            if node.phase is not Phase.ON_TRIAL or node.restarting:
                node.tick(settle_s)
            self._check_truth(name, progress.stands, progress.reason, node)
            self._check_blame(progress, node)
        if self.scene.seed % FOLD_EVERY == 0:
            again = engine.fold(fresh(self.scene.plan), self.events)
            self._require(again == self.state, "the fold of the events is not the state")
        self._check_failed_waves()
        self._check_all_kept()

    def _check_all_kept(self) -> None:
        """Where nothing went wrong, every node has to keep the new image: a gate that stops all is no
        gate."""
        scene = self.scene
        calm = not (scene.loss or scene.cut_before or scene.crashes_s or scene.power_cuts or scene.words)
        if not calm or scene.roll_back_after is not None:
            return
        wrong = {name: node.behaviour for name, node in self.nodes.items()}
        if any(not (one.harmless or one == Behaviour(latched=True)) for one in wrong.values()):
            return
        out = {n for n, one in wrong.items() if one.latched and not self.state.planned[n].despite_fault}
        waits = any(one.spare_short_until_s or one.window_closed_until_s for one in wrong.values())
        weak = {n for n, one in wrong.items() if one.brown_outs > BROWN_OUT_TRIES}
        if waits and (weak or out):
            return  # who is judged with whom is not the plan's any more
        stopped = self._must_stop(weak, out)
        if stopped:
            self._require(
                self.state.phase is PushPhase.HALTED,
                f"brown-outs at too many nodes ({stopped}), and it goes on",
            )
        elif stopped is None:
            others = (
                {n.node for n in self.state.nodes.values() if n.stands is not NodeStatus.KEPT} - weak - out
            )
            self._require(
                not others,
                f"only supplies gave way ({sorted(weak)}), and {sorted(others)} do not keep the image",
            )
            blames = {n.blame for n in self.state.nodes.values()} - {None}
            self._require(blames <= {Blame.SUPPLY}, f"only supplies gave way, and {blames} are blamed")

    def _must_stop(self, weak: set[str], out: set[str]) -> str | None:
        """Why brown-outs have to stop the push: at more than half of the nodes of a wave, or of all up to there, and at
        two at least. Empty: it may end early for another reason (nobody of a pilot wave is left)."""
        so_far: set[str] = set()
        for wave in self.scene.plan.waves:
            names = {n.node for n in wave.nodes} - out
            so_far |= names
            for group in (names, so_far):
                if len(group & weak) >= 2 and 2 * len(group & weak) > len(group):
                    return ", ".join(sorted(group & weak))
            if wave.pilot and not names - weak:
                return ""
        return None

    def _check_truth(self, name: str, stands: NodeStatus, reason: str, node: SimNode) -> None:
        told = f"{name} ends as {stands} ({reason}), and runs {node.running[:6]} {node.phase}"
        if stands is NodeStatus.KEPT:
            self._require(node.running == NEW and node.phase is not Phase.ON_TRIAL, told)
        elif stands is NodeStatus.PUT_BACK:
            self._require(node.running == OLD and node.phase is not Phase.ON_TRIAL, told)
        elif stands is NodeStatus.LEFT_OUT:
            self._require(node.running != NEW or not node.taken, told)
        else:
            self._require(not node.reachable(self.now_s) or self.scene.loss > 0, told)

    def _check_blame(self, progress: NodeProgress, node: SimNode) -> None:
        """A node that never had the image says nothing of it, but by a no of its own, whatever was killed meanwhile."""
        unsure = node.behaviour.runs_other or node.behaviour.refuses
        if not unsure and not node.taken.get(NEW) and progress.node not in self.refused:
            told = (
                f"{progress.node} never took the image, and {progress.reason} is put down to {progress.blame}"
            )
            self._require(progress.blame not in OF_THE_IMAGE, told)
        if node.name in self.fell_back:
            told = f"{progress.node} went back from the image by its own word, and its link is blamed"
            self._require(progress.blame is not Blame.LINK, told)

    def _check_failed_waves(self) -> None:
        """Where more nodes were bad than allowed, no node of that wave keeps what it was sent."""
        for number, size in self.sizes.items():
            names = [
                n for n, w in self.plan_wave.items() if w == number and self.state.nodes[n].wave == number
            ]
            failed = [n for n in names if n in self.observed_bad]
            if len(failed) > int(self.scene.plan.policy.failures_allowed * size + 1e-9):
                kept = [
                    n
                    for n in names
                    if self.state.nodes[n].stands is NodeStatus.KEPT
                    and self.nodes[n].taken.get(NEW)
                    and self.state.nodes[n].reason.why is not Why.STAYS
                ]
                self._require(not kept, f"wave {number} failed, and {kept} keep the image")
        if self.scene.roll_back_after == ():
            kept = [
                n.node
                for n in self.state.nodes.values()
                if n.stands is NodeStatus.KEPT and n.accepted and n.reason.why is not Why.STAYS
            ]
            self._require(not kept, f"rolled back, and {kept} keep the image")

    def _require(self, holds: bool, what: str) -> None:
        if not holds:
            raise Violation(f"seed {self.scene.seed}, at {self.now_s:.1f} s: {what}")


def simulate(seed: int, step: Any = engine.step) -> Sim:
    """Run the push of that seed."""
    return Sim(scenario(seed), step).run()


if __name__ == "__main__":
    sim = Sim(scenario(int(sys.argv[1])))
    try:
        sim.run()
    finally:
        for event in sim.events:
            if isinstance(event, Outcome):
                seen = (
                    f"{event.seen.image[:6]} {event.seen.phase} boots {event.seen.boots}"
                    if event.seen
                    else ""
                )
                print(f"{event.at_s:8.2f} {event.node} {event.doing} {event.result} {event.code} {seen}")
            else:
                print(f"{event.at_s:8.2f} {event}")
        for progress in sim.state.nodes.values():
            print(progress.node, progress.wave, progress.stands, progress.task, progress.reason)
        print(sim.state.phase, sim.state.halted_by)
