"""A node on its way to the new image: ready, sending, back on trial, soak, kept. Pure: changes a Work."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.limits import (
    HELD_OFF_RETRY_S,
    HELD_OFF_TRIES,
    KEEP_RETRY_S,
    KEEP_TRIES,
    READY_RETRY_S,
    READY_TRIES,
    RETURN_POLL_S,
    SEND_TRIES,
    SOAK_MISSES,
    SOAK_POLL_MAX_S,
    SOAK_POLLS,
    STARTS_THERE_AND_BACK,
    UNSURE_SETTLE_S,
)
from fleet.link.refusals import SPOILT
from fleet.link.state import Phase as NodePhase
from fleet.push.condition import (
    BROWN_OUT,
    NO_MEMORY,
    SUPPLY_CURES,
    brown_outs_between,
    is_weak,
    latched_faults,
    memory_words,
    short_of_memory,
    way_to_clear,
)
from fleet.push.events import Action, Outcome, Result
from fleet.push.gate import CheckName, Examination, examine
from fleet.push.reasons import NO_REASON, Reason, Why
from fleet.push.state import NodeProgress, NodeStatus, Task
from fleet.water.quantities import duration
from fleet.water.spare import suffices

if TYPE_CHECKING:
    from fleet.link.state import NodeState
    from fleet.push.plan import PlannedNode
    from fleet.push.transition import Transition

BUSY = "busy"
"""Somebody else is changing it, or it cannot restart: its own trouble, and nothing of the image. It is held off."""
TRY_LATER = SPOILT | {BUSY}
"""Refusals that pass by themselves (docs/node-interface.md 2), each signed by the node; most of them speak of what came
to it, and not of what was sent."""


def on_outcome(work: Transition, node: NodeProgress, outcome: Outcome) -> None:
    """Take in how a command for this node ended."""
    _HANDLERS[node.task](work, node, outcome)


def start(work: Transition, name: str) -> None:
    """Ask a queued node whether it can spare its controller now."""
    work.ask(name, Task.READY)


# -------------------------------------------------------------------- may it be sent to?
def _on_ready(work: Transition, node: NodeProgress, outcome: Outcome) -> None:
    name = node.node
    if outcome.seen is None:
        if node.tries + 1 >= READY_TRIES:
            work.settle(name, NodeStatus.LEFT_OUT, Reason(Why.UNREACHABLE, outcome.detail))
        else:
            work.ask(name, node.task, in_s=READY_RETRY_S, tries=node.tries + 1)
        return
    planned, seen = work.planned(name), outcome.seen
    if seen.image == planned.to_image and seen.phase is not NodePhase.ON_TRIAL:
        work.settle(name, NodeStatus.KEPT, Reason(Why.ALREADY))
        return
    never = why_never(planned, seen)
    if never:
        work.settle(name, NodeStatus.LEFT_OUT, never)
        return
    later = why_later(planned, outcome, any_hour=work.push.plan.any_hour)
    if later:
        _hold_off(work, node, later)
    elif not work.startable(name):
        work.set(name, task=Task.NONE, stands=NodeStatus.QUEUED, reason=NO_REASON)
    else:
        work.do(
            name,
            Action.SEND,
            Task.SEND,
            stands=NodeStatus.SENDING,
            sends=node.sends + 1,
            whole=False,
            before=seen,
            before_at_s=outcome.at_s,
            reason=NO_REASON,
        )


def why_never(planned: PlannedNode, seen: NodeState) -> Reason:
    """Why this plan does not hold for that node any more; none if it does."""
    if seen.phase is NodePhase.ON_TRIAL:
        return Reason(Why.OTHER_ON_TRIAL, seen.image[:12])
    if seen.image != planned.from_image:
        told = f"now runs {seen.image[:12]}, not {planned.from_image[:12]}"
        return Reason(Why.OTHER_THAN_PLANNED, told)
    if not planned.despite_fault:
        for tank, fault in latched_faults(seen):
            return Reason(Why.FAULT_STAYS, way_to_clear(seen.node, tank, fault))
    return NO_REASON


def why_later(planned: PlannedNode, outcome: Outcome, *, any_hour: bool) -> Reason:
    """Why the node must not be updated just now; none if it may."""
    if not outcome.window_open and not any_hour:
        return Reason(Why.WINDOW_CLOSED)
    wanted_s = spare_wanted_s(planned, outcome.seen)
    if not suffices(outcome.spare_s, wanted_s):
        return Reason(Why.SPARE_TIME, f"{duration(outcome.spare_s)}, needed {duration(wanted_s)}")
    if outcome.seen is not None and short_of_memory(outcome.seen, in_place=planned.in_place):
        return Reason(Why.MEMORY, memory_words(outcome.seen))
    return NO_REASON


def spare_wanted_s(planned: PlannedNode, seen: NodeState | None) -> float:
    """The spare time that an update of the node takes as it is now: its supply may have given way since the plan."""
    if seen is None or planned.spare_needed_weak_s is None or not is_weak(seen):
        return planned.spare_needed_s
    return planned.spare_needed_weak_s


def _hold_off(work: Transition, node: NodeProgress, why: Reason) -> None:
    holds = node.holds + 1
    if holds >= HELD_OFF_TRIES:
        work.set(node.node, holds=holds)
        work.settle(node.node, NodeStatus.LEFT_OUT, Reason(Why.HELD_OFF_TOO_OFTEN, f"{holds} times: {why}"))
        return
    work.ask(node.node, Task.HELD, in_s=HELD_OFF_RETRY_S, stands=NodeStatus.HELD_OFF, holds=holds, reason=why)


# -------------------------------------------------------------------- the transfer
def _on_send(work: Transition, node: NodeProgress, outcome: Outcome) -> None:
    name = node.node
    if outcome.result is Result.OK:
        _took_it(work, node, outcome)
    elif outcome.code == NO_MEMORY:
        _hold_off(work, node, Reason(Why.MEMORY, "it has too little contiguous memory to check a ticket"))
    elif outcome.result is Result.BROKE:
        limit_s = work.now_s + work.planned(name).return_within_s
        work.ask(name, Task.UNSURE, in_s=RETURN_POLL_S, limit_at_s=limit_s, cut_off=outcome.detail)
    elif outcome.ours:
        work.settle(name, NodeStatus.LEFT_OUT, Reason(Why.NOT_SENT, f"{outcome.code}: {outcome.detail}"))
    elif outcome.code in TRY_LATER and node.sends < SEND_TRIES:
        work.ask(name, Task.READY, in_s=READY_RETRY_S)
    elif outcome.code == BUSY and not node.cut_off:
        _hold_off(work, node, Reason(Why.BUSY, outcome.detail))
    elif outcome.code == BUSY:
        work.fail_on(name, CheckName.LINK, f"{outcome.detail}, after an interrupted transfer: {node.cut_off}")
    elif outcome.code in SPOILT:
        told = f"refused {node.sends} times: {outcome.detail}; a device on the way changes what is sent"
        work.fail_on(name, CheckName.LINK, told)
    else:
        work.fail_on(name, CheckName.SENT, f"it refused: {outcome.code}: {outcome.detail}")


def _took_it(work: Transition, node: NodeProgress, outcome: Outcome) -> None:
    policy, planned = work.push.plan.policy, work.planned(node.node)
    work.ask(
        node.node,
        Task.RETURN,
        in_s=RETURN_POLL_S,
        accepted=node.accepted + 1,
        sent_at_s=outcome.at_s,
        limit_at_s=outcome.at_s + planned.return_within_s,
        trial_ends_at_s=outcome.at_s + policy.trial_s,
    )


def _on_unsure(work: Transition, node: NodeProgress, outcome: Outcome) -> None:
    """The transfer's end was not seen. Nothing is sent again before it is sure that the node did not take
    the image."""
    name, seen, planned = node.node, outcome.seen, work.planned(node.node)
    if seen is None:
        if work.now_s >= node.limit_at_s:
            check = CheckName.RETURNED if node.whole else CheckName.LINK
            work.fail_on(name, check, f"the transfer was interrupted, and no answer since: {outcome.detail}")
        else:
            work.ask(name, Task.UNSURE, in_s=RETURN_POLL_S)
    elif seen.image == planned.to_image:
        work.set(name, accepted=node.accepted + 1, sent_at_s=node.since_s)
        _returned(work, work.nodes[name], outcome)
    elif fell_back(planned, node, seen):
        work.set(name, accepted=node.accepted + 1)
        tell_fell_back(work, name, seen)
    elif seen.image != planned.from_image:
        work.fail_on(name, CheckName.IMAGE, f"runs {seen.image[:12]}, which this push did not send")
    elif work.now_s - node.since_s < UNSURE_SETTLE_S:
        work.ask(name, Task.UNSURE, in_s=RETURN_POLL_S)
    elif node.sends >= SEND_TRIES:
        work.fail_on(name, CheckName.LINK, f"the transfer was interrupted {node.sends} times: {node.cut_off}")
    else:
        work.ask(name, Task.READY)


def fell_back(planned: PlannedNode, node: NodeProgress, seen: NodeState) -> bool:
    """Whether the node surely took the new image and went back from it since the send began: it started at
    least twice, and says what it went back from."""
    starts = seen.boots - (node.before.boots if node.before is not None else seen.boots)
    says_so = seen.phase is NodePhase.PUT_BACK and seen.last_image == planned.to_image
    return seen.image == planned.from_image and says_so and starts >= STARTS_THERE_AND_BACK


def tell_fell_back(work: Transition, name: str, seen: NodeState) -> None:
    """The node failed by its own word on the image, or on its supply: it had the image, and went back from it."""
    before = work.nodes[name].before
    if seen.last_reason == BROWN_OUT and before is not None:
        count = brown_outs_between(before, seen)
        told = f"{count} brown-outs in its trial, so it fell back on its own because of its supply, not the image"
        work.fail_on(name, CheckName.SUPPLY, f"{told}; {SUPPLY_CURES}")
        return
    work.fail_on(name, CheckName.IMAGE, f"it fell back on its own: {seen.last_reason or 'no reason given'}")


# -------------------------------------------------------------------- the return, the soak
def _on_return(work: Transition, node: NodeProgress, outcome: Outcome) -> None:
    name, seen, planned = node.node, outcome.seen, work.planned(node.node)
    if seen is not None and seen.image == planned.to_image:
        _returned(work, node, outcome)
    elif seen is not None and fell_back(planned, node, seen):
        tell_fell_back(work, name, seen)
    elif work.now_s >= node.limit_at_s:
        told = "no answer" if seen is None else f"it still runs {seen.image[:12]}"
        waited_s = work.now_s - node.sent_at_s
        work.fail_on(name, CheckName.RETURNED, f"{told} {duration(waited_s)} after it took the image")
    else:
        work.ask(name, Task.RETURN, in_s=RETURN_POLL_S)


def _returned(work: Transition, node: NodeProgress, outcome: Outcome) -> None:
    """The first answer under the new image, or the first after it started once more: the soak begins, and with it the
    checks."""
    seen = outcome.seen
    if seen is None:
        raise ValueError(f"{node.node}: returned without a state")
    work.set(
        node.node,
        task=Task.SOAK,
        stands=NodeStatus.ON_TRIAL,
        since_s=work.now_s,
        misses=0,
        returned=seen,
        soak_until_s=work.now_s + work.push.plan.policy.soak_s,
        trial_ends_at_s=outcome.at_s + seen.trial_left_s,
    )
    _look(work, work.nodes[node.node], outcome)


def _on_soak(work: Transition, node: NodeProgress, outcome: Outcome) -> None:
    name, seen = node.node, outcome.seen
    if seen is None:
        misses = node.misses + 1
        if misses >= SOAK_MISSES and node.returned is not None and node.returned.brown_outs is not None:
            _await_again(work, node)
        elif misses >= SOAK_MISSES:
            work.fail_on(
                name, CheckName.RETURNED, f"{misses} requests in a row without an answer: {outcome.detail}"
            )
        else:
            work.ask(name, node.task, in_s=RETURN_POLL_S, misses=misses)
    elif fell_back(work.planned(name), node, seen):
        tell_fell_back(work, name, seen)
    elif node.returned is not None and seen.boots != node.returned.boots:
        _returned(work, node, outcome)
    else:
        work.set(name, misses=0)
        _look(work, work.nodes[name], outcome)


def _await_again(work: Transition, node: NodeProgress) -> None:
    """Silent, but it may be starting anew after a brown-out, and can say so: it gets the time of a return."""
    limit_s = work.now_s + work.planned(node.node).return_within_s
    work.ask(node.node, Task.RETURN, in_s=RETURN_POLL_S, limit_at_s=limit_s, misses=0)


def _look(work: Transition, node: NodeProgress, outcome: Outcome) -> None:
    """Examine the node; ask again, or find it soaked."""
    soaked = work.now_s >= node.soak_until_s
    checks = examine(sighting(work, node, outcome), soaked=soaked)
    if not all(check.ok for check in checks):
        work.fail(node.node, *checks)
        return
    soak_s = work.push.plan.policy.soak_s
    poll_s = max(RETURN_POLL_S, min(SOAK_POLL_MAX_S, soak_s / SOAK_POLLS))
    if not soaked:
        poll_s = max(0.0, min(poll_s, node.soak_until_s - work.now_s))
    work.ask(node.node, Task.SOAKED if soaked else Task.SOAK, in_s=poll_s)


def sighting(work: Transition, node: NodeProgress, outcome: Outcome) -> Examination:
    """What the gate looks at."""
    seen = outcome.seen
    if seen is None or node.before is None or node.returned is None:
        raise ValueError(f"{node.node}: nothing to compare")
    return Examination(
        planned=work.planned(node.node),
        before=node.before,
        before_at_s=node.before_at_s,
        returned=node.returned,
        now=seen,
        now_at_s=outcome.at_s,
        process_speed=work.push.plan.process_speed,
    )


# -------------------------------------------------------------------- keep
def keep(work: Transition, name: str) -> None:
    """The gate has passed: tell the node to keep its image."""
    work.do(name, Action.KEEP, Task.KEEP, tries=1)


def _on_keep(work: Transition, node: NodeProgress, outcome: Outcome) -> None:
    name, seen, planned = node.node, outcome.seen, work.planned(node.node)
    if outcome.doing is Action.KEEP:
        if outcome.result is Result.OK:
            work.settle(name, NodeStatus.KEPT)
        else:
            work.ask(name, Task.KEEP, in_s=KEEP_RETRY_S)
    elif seen is None:
        if work.now_s >= node.trial_ends_at_s:
            work.fail_on(name, CheckName.KEPT, f"not reached before its trial ended: {outcome.detail}")
        else:
            work.ask(name, Task.KEEP, in_s=KEEP_RETRY_S)
    elif seen.image == planned.to_image and seen.phase is not NodePhase.ON_TRIAL:
        work.settle(name, NodeStatus.KEPT)
    elif seen.image == planned.to_image and node.tries < KEEP_TRIES:
        work.do(name, Action.KEEP, Task.KEEP, tries=node.tries + 1)
    elif seen.image == planned.to_image:
        work.fail_on(name, CheckName.KEPT, f"told {node.tries} times to keep the image, and still on trial")
    else:
        tell_fell_back(work, name, seen)


_HANDLERS = {
    Task.READY: _on_ready,
    Task.HELD: _on_ready,
    Task.SEND: _on_send,
    Task.UNSURE: _on_unsure,
    Task.RETURN: _on_return,
    Task.SOAK: _on_soak,
    Task.SOAKED: _on_soak,
    Task.KEEP: _on_keep,
}
