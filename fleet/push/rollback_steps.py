"""A node on its way back to the image it had: by its own fall-back, told to, or sent the old image again.
Pure.

Every step first asks what the node runs, and decides by that alone.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.limits import (
    BACK_PATIENCE_S,
    BACK_RESTART_S,
    BACK_TRIES,
    HELD_OFF_RETRY_S,
    HELD_OFF_TRIES,
    READY_RETRY_S,
    RETURN_POLL_S,
    UNSURE_SETTLE_S,
)
from fleet.link.state import Phase as NodePhase
from fleet.push.blame import Blame
from fleet.push.events import Action, Outcome, Result
from fleet.push.reasons import NO_REASON, Reason, Why
from fleet.push.state import BACK_TASKS, NodeProgress, NodeStatus, RollbackCause, Task
from fleet.push.update_steps import fell_back, spare_wanted_s, tell_fell_back
from fleet.water.quantities import duration
from fleet.water.spare import suffices

if TYPE_CHECKING:
    from fleet.link.state import NodeState
    from fleet.push.transition import Transition

TOLD = "told"
"""Its word for why it went back, where it was told to."""


def begin(work: Transition, name: str, why: RollbackCause, reason: Reason = NO_REASON) -> None:
    """This node has to go back. What is under way with it ends first; then it is asked what it runs."""
    node = work.nodes[name]
    node = work.set(
        name, back=why if node.back is RollbackCause.NO else node.back, reason=node.reason or reason
    )
    under_way = node.pending is not None and node.pending.doing is not Action.ASK
    if not under_way and node.task not in BACK_TASKS:
        work.ask(name, Task.BACK, limit_at_s=_limit_at_s(work, node), holds=0)


def _limit_at_s(work: Transition, node: NodeProgress) -> float:
    """Until when a node that does not answer may yet come back by itself."""
    if node.stands is NodeStatus.KEPT:
        return work.now_s + BACK_PATIENCE_S
    planned = work.planned(node.node)
    ends_s = node.trial_ends_at_s or work.now_s + planned.return_within_s + work.push.plan.policy.trial_s
    return max(work.now_s, ends_s) + planned.fall_back_within_s


def on_outcome(work: Transition, node: NodeProgress, outcome: Outcome) -> None:
    """Take in how a command for this node ended."""
    handler = _HANDLERS.get(node.task)
    if handler is not None:
        handler(work, node, outcome)
        return
    if outcome.doing is Action.SEND and outcome.result is Result.OK:
        ends_s = outcome.at_s + work.push.plan.policy.trial_s
        work.set(node.node, accepted=node.accepted + 1, sent_at_s=outcome.at_s, trial_ends_at_s=ends_s)
    begin(work, node.node, node.back)


def _on_ask(work: Transition, node: NodeProgress, outcome: Outcome) -> None:
    name, seen = node.node, outcome.seen
    if seen is None:
        if work.now_s >= node.limit_at_s:
            work.settle(name, NodeStatus.LOST, Reason(Why.NO_ANSWER, outcome.detail))
        else:
            work.ask(name, node.task, in_s=RETURN_POLL_S)
        return
    planned = work.planned(name)
    if seen.image == planned.from_image:
        _runs_the_old(work, node, seen)
    elif seen.image == planned.to_image:
        _runs_the_new(work, node, seen, outcome)
    else:
        work.settle(name, NodeStatus.LEFT_OUT, Reason(Why.FOREIGN_IMAGE, seen.image[:12]))


def _runs_the_old(work: Transition, node: NodeProgress, seen: NodeState) -> None:
    """It may be about to restart into the new image: only time, or its own word that it went back, makes
    sure."""
    name = node.node
    if seen.phase is NodePhase.ON_TRIAL:
        work.do(name, Action.KEEP, Task.BACK_KEEP)
        return
    planned = work.planned(name)
    sure = fell_back(planned, node, seen)
    settles_s = BACK_RESTART_S if node.accepted else UNSURE_SETTLE_S if node.sends else 0.0
    if not sure and work.now_s - node.since_s < settles_s:
        work.ask(name, node.task, in_s=RETURN_POLL_S)
        return
    said = seen.last_reason
    if (
        sure and said != TOLD and node.blame is Blame.LINK
    ):  # nobody knew that it had all of the image; it says so
        tell_fell_back(work, name, seen)
    why = NO_REASON if said is None or said == TOLD else Reason(Why.FELL_BACK, said)
    came_back = sure or node.accepted > 0
    work.settle(
        name, NodeStatus.PUT_BACK if came_back else NodeStatus.LEFT_OUT, why if came_back else NO_REASON
    )


def _runs_the_new(work: Transition, node: NodeProgress, seen: NodeState, outcome: Outcome) -> None:
    name = node.node
    on_trial = seen.phase is NodePhase.ON_TRIAL
    if node.task is Task.BACK_RETURN and work.now_s - node.since_s < BACK_RESTART_S:
        work.ask(name, Task.BACK_RETURN, in_s=RETURN_POLL_S)
    elif _must_wait(work, node, outcome):
        return
    elif node.back_tries < BACK_TRIES and (on_trial or seen.older_image == work.planned(name).from_image):
        work.do(name, Action.PUT_BACK, Task.BACK_TOLD, back_tries=node.back_tries + 1)
    elif on_trial and work.now_s < node.limit_at_s:
        work.ask(name, Task.BACK, in_s=RETURN_POLL_S)
    elif on_trial:
        work.settle(name, NodeStatus.LOST, Reason(Why.GOES_NOT_BACK))
    elif node.old_sends >= BACK_TRIES:
        _stays(work, node, "could not be rolled back")
    elif work.place_free(name):
        work.do(name, Action.SEND_OLD, Task.BACK_SEND, old_sends=node.old_sends + 1)
    else:
        work.ask(name, Task.BACK, in_s=RETURN_POLL_S)


def _must_wait(work: Transition, node: NodeProgress, outcome: Outcome) -> bool:
    """A kept node that was not yet told to go back waits for its supply group, for a place, and for spare
    time."""
    if node.stands is not NodeStatus.KEPT or node.back_tries or node.old_sends:
        return False
    partner = work.partner_down(node.node)
    if (partner is not None and partner.stands is not NodeStatus.LOST) or not work.place_free(node.node):
        limit_s = work.now_s + BACK_PATIENCE_S
        work.ask(node.node, Task.BACK, in_s=READY_RETRY_S, limit_at_s=limit_s)
        return True
    if node.back is not RollbackCause.ASKED:
        return False
    needed_s = spare_wanted_s(work.planned(node.node), outcome.seen)
    if partner is not None:
        why = Reason(Why.PARTNER_LOST, partner.node)
    elif not suffices(outcome.spare_s, needed_s):
        why = Reason(Why.SPARE_TIME, f"{duration(outcome.spare_s)}, needed {duration(needed_s)}")
    else:
        return False
    if node.holds + 1 >= HELD_OFF_TRIES:
        _stays(work, node, str(why))
    else:
        limit_s = work.now_s + HELD_OFF_RETRY_S + BACK_PATIENCE_S
        work.ask(
            node.node, Task.BACK, in_s=HELD_OFF_RETRY_S, holds=node.holds + 1, limit_at_s=limit_s, reason=why
        )
    return True


def _stays(work: Transition, node: NodeProgress, why: str) -> None:
    """Nothing more can be done from here: it goes on running the new image, and says so."""
    work.set(node.node, reason=NO_REASON)
    work.settle(node.node, NodeStatus.KEPT, Reason(Why.STAYS, why))


def _on_put_back(work: Transition, node: NodeProgress, outcome: Outcome) -> None:
    if outcome.result is Result.OK:
        limit_s = max(node.limit_at_s, work.now_s + work.planned(node.node).fall_back_within_s)
        work.ask(node.node, Task.BACK_RETURN, in_s=RETURN_POLL_S, limit_at_s=limit_s)
    elif outcome.code == "no-older-image":
        work.ask(node.node, Task.BACK, back_tries=BACK_TRIES)
    else:
        work.ask(node.node, Task.BACK, in_s=RETURN_POLL_S)


def _on_send_old(work: Transition, node: NodeProgress, outcome: Outcome) -> None:
    planned = work.planned(node.node)
    if outcome.result is Result.OK:
        limit_s = max(node.limit_at_s, work.now_s + planned.return_within_s)
        work.ask(node.node, Task.BACK_RETURN, in_s=RETURN_POLL_S, limit_at_s=limit_s)
    elif outcome.result is Result.REFUSED and node.old_sends >= BACK_TRIES:
        said = "the old image was not sent" if outcome.ours else "it refused the old image"
        _stays(work, node, f"{said}: {outcome.code}: {outcome.detail}")
    else:
        limit_s = max(node.limit_at_s, work.now_s + planned.return_within_s)
        work.ask(node.node, Task.BACK, in_s=READY_RETRY_S, limit_at_s=limit_s)


def _on_keep_old(work: Transition, node: NodeProgress, outcome: Outcome) -> None:
    if outcome.result is Result.OK:
        work.settle(node.node, NodeStatus.PUT_BACK, Reason(Why.OLD_SENT))
    else:
        work.ask(node.node, Task.BACK, in_s=RETURN_POLL_S)


_HANDLERS = {
    Task.BACK: _on_ask,
    Task.BACK_RETURN: _on_ask,
    Task.BACK_TOLD: _on_put_back,
    Task.BACK_SEND: _on_send_old,
    Task.BACK_KEEP: _on_keep_old,
}
