"""The engine of a push: (state, event) -> (state, commands). Pure; the journal keeps the events, the
runner does the commands.

A wave: each node is asked whether it can spare its controller, gets its image, comes back on trial and is
watched for the soak. When all that were begun are well, the gate passes and they are told to keep; when
more fail than allowed, the whole wave goes back and the push is halted. Nothing is kept before the gate.
Nodes that were held off come again at the end.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.limits import KEEP_RESERVE_S, RETURN_WITHIN_MIN_S
from fleet.push import rollback_steps as backward
from fleet.push import update_steps as forward
from fleet.push.blame import BESIDE_THE_IMAGE, OF_THE_IMAGE, Blame, too_many_for_chance
from fleet.push.events import (
    Action,
    Began,
    Command,
    Event,
    Outcome,
    Requested,
    RequestKind,
    Resumed,
    Sent,
)
from fleet.push.gate import failures_allowed, judge
from fleet.push.reasons import NO_REASON, Halt, HaltedBy, Reason, Why
from fleet.push.state import (
    BACK_TASKS,
    ON_THE_WAY,
    NodeProgress,
    NodeStatus,
    PushPhase,
    PushState,
    RollbackCause,
    Task,
)
from fleet.push.transition import Transition

if TYPE_CHECKING:
    from collections.abc import Iterable

    from fleet.push.tally import NodeKind


def step(state: PushState, event: Event) -> tuple[PushState, tuple[Command, ...]]:
    """The state after the event, and what is to be done now. An outcome nobody waits for changes nothing."""
    work = Transition(state, event.at_s)
    if isinstance(event, Began):
        if state.phase is PushPhase.NEW:
            work.change(phase=PushPhase.RUNNING, wave=1, began_at_s=event.at_s)
    elif isinstance(event, Resumed):
        _resume(work)
    elif isinstance(event, Requested):
        _request(work, event)
    elif isinstance(event, Sent):
        _sent(work, event)
    else:
        _outcome(work, event)
    _advance(work)
    return work.done()


def fold(state: PushState, events: Iterable[Event]) -> PushState:
    """The state after all these events."""
    for event in events:
        state, _ = step(state, event)
    return state


# -------------------------------------------------------------------- events
def _sent(work: Transition, sent: Sent) -> None:
    node = work.nodes.get(sent.node)
    if node is not None and node.pending is not None and node.pending.serial == sent.serial:
        work.set(node.node, whole=True)


def _outcome(work: Transition, outcome: Outcome) -> None:
    node = work.nodes.get(outcome.node)
    if node is None or node.pending is None or node.pending.serial != outcome.serial:
        return
    seen = {} if outcome.seen is None else {"seen": outcome.seen, "seen_at_s": outcome.at_s}
    node = work.set(node.node, pending=None, **seen)
    if node.back is not RollbackCause.NO:
        backward.on_outcome(work, node, outcome)
    else:
        forward.on_outcome(work, node, outcome)
    after = work.nodes[node.node]
    if after.back is not RollbackCause.NO and after.pending is None:
        backward.begin(work, node.node, after.back)


def _resume(work: Transition) -> None:
    """Ask every node that something was under way with what it runs, before anything else."""
    for node in tuple(work.nodes.values()):
        if node.pending is None:
            continue
        doing, wait_s = node.pending.doing, max(0.0, node.pending.at_s - work.now_s)
        limit_s = max(node.limit_at_s, work.now_s + RETURN_WITHIN_MIN_S)
        work.set(node.node, pending=None, limit_at_s=limit_s)
        if node.back is not RollbackCause.NO and node.task not in BACK_TASKS:
            backward.begin(work, node.node, node.back)
        elif node.back is not RollbackCause.NO:
            work.ask(node.node, node.task if doing is Action.ASK else Task.BACK)
        elif doing is Action.SEND:
            limit_s = work.now_s + work.planned(node.node).return_within_s
            work.ask(node.node, Task.UNSURE, limit_at_s=limit_s)
        elif node.task is Task.SOAKED:
            work.ask(node.node, Task.SOAK)
        else:
            work.ask(node.node, node.task, in_s=wait_s if node.task is Task.HELD else 0.0)


def _request(work: Transition, request: Requested) -> None:
    if request.word is RequestKind.ROLL_BACK:
        _roll_back(work, frozenset(request.nodes))
    elif work.push.ended:
        return
    elif request.word is RequestKind.STOP:
        if work.push.phase is PushPhase.RUNNING:
            _end(work, PushPhase.STOPPED, Halt.STOPPED)
    else:
        work.change(held=request.word is RequestKind.HOLD)


def _roll_back(work: Transition, names: frozenset[str]) -> None:
    """End the push, and bring back those nodes (none named: all) that it brought to the new image."""
    wanted = [n.node for n in work.nodes.values() if (not names or n.node in names) and n.accepted]
    if work.push.ended and not any(work.nodes[name].stands is NodeStatus.KEPT for name in wanted):
        return
    _end(work, PushPhase.ROLLED_BACK, Halt.ROLLED_BACK)
    for name in wanted:
        node = work.nodes[name]
        if node.stands is NodeStatus.KEPT or node.task is Task.KEEP:
            work.set(name, reason=NO_REASON)
            backward.begin(work, name, RollbackCause.ASKED, Reason(Why.ROLLED_BACK))


_ASKED = {Halt.STOPPED: Reason(Why.STOPPED), Halt.ROLLED_BACK: Reason(Why.ROLLED_BACK)}
"""What a node is told by that a person ended its push."""


def _end(work: Transition, ends_as: PushPhase, halt: Halt) -> None:
    """Nothing more is begun; what is on trial goes back. Nodes that are just being told to keep passed the
    gate."""
    ends_as = work.push.ends_as if work.push.phase is PushPhase.GOING_BACK else ends_as
    why, halted_by = _ASKED[halt], (*work.push.halted_by, HaltedBy(halt))
    work.change(phase=PushPhase.GOING_BACK, ends_as=ends_as, halted_by=halted_by, held=False, late=())
    for node in tuple(work.unsettled()):
        if node.untouched:
            work.set(node.node, reason=NO_REASON)
            work.settle(node.node, NodeStatus.LEFT_OUT, why)
        elif node.task is not Task.KEEP:
            backward.begin(work, node.node, RollbackCause.ASKED, why)


# -------------------------------------------------------------------- going on
def _advance(work: Transition) -> None:
    """Do all that can be done now: judge, start, keep, go to the next wave, end."""
    while work.push.phase is PushPhase.RUNNING:
        if work.push.wave > len(work.push.waves):
            if not _next_late_wave(work):
                work.change(phase=PushPhase.DONE)
            continue
        if _too_many_failed(work) or any(_one_cause(work, blame) for blame in BESIDE_THE_IMAGE):
            _fail_wave(work)
            break
        _start_nodes(work)
        _keep_if_well(work)
        if not _wave_over(work):
            break
    if work.push.phase is PushPhase.GOING_BACK and work.all_settled():
        work.change(phase=work.push.ends_as)


def _failed(nodes: Iterable[NodeProgress]) -> tuple[str, ...]:
    return tuple(node.node for node in nodes if node.blame in OF_THE_IMAGE)


def _blamed(nodes: Iterable[NodeProgress], *blames: Blame) -> tuple[str, ...]:
    return tuple(node.node for node in nodes if node.blame in blames)


def _one_cause(work: Transition, blame: Blame) -> bool:
    """Whether so many nodes of the wave, or of all that the push has judged, failed for this that it is not each one's
    own: for their supply, then it is the image; for their link, then it is the network."""
    fleet, wave = work.tally.fleet, work.tally.wave
    mine = [
        (k, n) for k, n in wave.of_kind.items() if k.stands is not NodeStatus.LEFT_OUT or k.blame is blame
    ]
    others = [(k, n) for k, n in mine if not k.judged]
    known = [*others, *((k, n) for k, n in fleet.of_kind.items() if k.judged)]
    return any(
        too_many_for_chance(sum(n for k, n in kinds if k.blame is blame), sum(n for _, n in kinds))
        for kinds in (mine, known)
    )


def _too_many_failed(work: Transition) -> bool:
    wave = work.tally.wave
    failed, of = wave.count(_of_the_image), wave.count(_not_beside_the_image)
    return failed > failures_allowed(work.push.plan.policy.failures_allowed, of)


def _of_the_image(kind: NodeKind) -> bool:
    return kind.blame in OF_THE_IMAGE


def _not_beside_the_image(kind: NodeKind) -> bool:
    return kind.blame not in BESIDE_THE_IMAGE


def _judge(work: Transition) -> None:
    """Write down the verdict on the present wave as it stands."""
    wave, fleet = work.wave(), work.tally.fleet
    soaked = sum(n.task is Task.SOAKED for n in wave)
    verdict = judge(
        work.push.wave,
        failed=_failed(wave),
        of=len(wave) - len(_blamed(wave, *BESIDE_THE_IMAGE)),
        share_allowed=work.push.plan.policy.failures_allowed,
        all_failed=fleet.count(lambda kind: kind.judged and _of_the_image(kind)),
        all_judged=fleet.count(lambda kind: kind.judged and _not_beside_the_image(kind)) + soaked,
        supply=_blamed(wave, Blame.SUPPLY),
        too_much=_one_cause(work, Blame.SUPPLY),
        link=_blamed(wave, Blame.LINK),
        link_broken=_one_cause(work, Blame.LINK),
    )
    work.change(verdicts=(*work.push.verdicts, verdict))


def _fail_wave(work: Transition) -> None:
    """The whole wave goes back, and nobody else is updated."""
    _judge(work)
    bad = (*_failed(work.wave()), *_blamed(work.wave(), *BESIDE_THE_IMAGE))
    by = [HaltedBy(Halt.WAVE_FAILED, work.push.wave, bad)]
    if work.push.verdicts[-1].draws_too_much:
        by.append(HaltedBy(Halt.DRAWS_TOO_MUCH))
        for name in _blamed(work.nodes.values(), Blame.SUPPLY):
            work.set(name, blame=Blame.DRAW)
    if work.push.verdicts[-1].link_broken:
        by.append(HaltedBy(Halt.LINK_BROKEN))
    wave = frozenset(work.push.waves[work.push.wave - 1])
    work.change(
        phase=PushPhase.GOING_BACK, ends_as=PushPhase.HALTED, halted_by=tuple(by), held=False, late=()
    )
    for node in tuple(work.nodes.values()):
        if node.untouched:
            work.set(node.node, reason=NO_REASON)
            work.settle(node.node, NodeStatus.LEFT_OUT, Reason(Why.HALTED_BEFORE))
        elif (
            node.node in wave
            and not (node.settled and node.stands is not NodeStatus.KEPT)
            and (node.accepted or node.task is not Task.NONE)
        ):
            backward.begin(work, node.node, RollbackCause.WAVE, Reason(Why.WAVE_FAILED))


def _start_nodes(work: Transition) -> None:
    """Begin with as many queued nodes of the wave as may be under way now."""
    if work.tally.fleet.any(lambda kind: kind.stands is NodeStatus.LOST):
        _leave_out_partners_of_lost(work)
    if work.full():
        return
    for name in work.queued():
        if work.startable(name):
            forward.start(work, name)
            if work.full():
                return


def _leave_out_partners_of_lost(work: Transition) -> None:
    """Nobody stands in for them, should they fail as well. Before any is started: it changes nothing for the others."""
    for node in work.wave():
        if node.queued:
            lost = next((p for p in work.partners(node.node) if p.stands is NodeStatus.LOST), None)
            if lost is not None:
                work.settle(node.node, NodeStatus.LEFT_OUT, Reason(Why.PARTNER_LOST, lost.node))


def _keep_if_well(work: Transition) -> None:
    """The gate: when all that were begun are soaked, or a trial is about to end, keep those that are
    soaked."""
    ends_s = work.tally.soaked_ends_s
    if not ends_s:
        return
    quiet = not work.tally.wave.any(lambda kind: kind.task in ON_THE_WAY)
    if quiet or ends_s[0] <= work.now_s + KEEP_RESERVE_S:
        soaked = [n for n in work.wave() if n.soaked]
        _judge(work)
        for node in soaked:
            forward.keep(work, node.node)


def _wave_over(work: Transition) -> bool:
    """Whether the wave is done; then the next one is made the present one. Held-off nodes wait for the
    end."""
    # Whoever may still fail keeps the wave open: the next one begins only when nothing is left that could tell against
    # the image. A held-off node has not had it, so it keeps nobody waiting, but only once another node of the wave
    # keeps the image: a wave put off whole would let the next one begin on no evidence. A wave of those that were put
    # off is the last chance: there a held-off node is waited for, until it goes or was held off too often.
    wave = work.tally.wave
    if wave.any(lambda kind: not kind.settled and kind.task is not Task.HELD):
        return False
    held = [n for n in work.wave() if n.task is Task.HELD]
    if work.push.wave <= len(work.push.plan.waves) and wave.any(_kept):
        _put_off(work, held)
    elif held:
        return False
    if _pilot_is_empty(work):
        _nobody(work)
        return False
    work.change(wave=work.push.wave + 1)
    return True


def _put_off(work: Transition, held: list[NodeProgress]) -> None:
    for node in held:
        work.set(node.node, task=Task.NONE, pending=None)
    names = {node.node for node in held}
    waves = list(work.push.waves)
    waves[work.push.wave - 1] = tuple(n for n in waves[work.push.wave - 1] if n not in names)
    work.change(waves=tuple(waves), late=(*work.push.late, *(n.node for n in held)))


def _next_late_wave(work: Transition) -> bool:
    """Make a wave of nodes that were held off, no larger than any wave may be."""
    largest = work.push.plan.policy.largest_wave
    now, later = work.push.late[:largest], work.push.late[largest:]
    if not now:
        return False
    number = len(work.push.waves) + 1
    for name in now:
        work.set(name, wave=number)
    work.change(waves=(*work.push.waves, now), late=later)
    return True


def _pilot_is_empty(work: Transition) -> bool:
    number, waves = work.push.wave, work.push.plan.waves
    if number > len(waves) or not waves[number - 1].pilot or work.all_settled():
        return False
    return not work.tally.wave.any(_kept)


def _kept(kind: NodeKind) -> bool:
    return kind.stands is NodeStatus.KEPT


def _nobody(work: Transition) -> None:
    """Nobody of a pilot wave could be updated: nothing is known of the image, so no larger wave may
    follow."""
    why, by = Reason(Why.NO_PILOT, str(work.push.wave)), (HaltedBy(Halt.NO_PILOT, work.push.wave),)
    for node in tuple(work.unsettled()):
        work.set(node.node, reason=NO_REASON)
        work.settle(node.node, NodeStatus.LEFT_OUT, why)
    work.change(phase=PushPhase.GOING_BACK, ends_as=PushPhase.HALTED, halted_by=by, late=())
