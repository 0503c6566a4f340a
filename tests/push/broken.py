"""Engines broken on purpose, one mistake each. The monitor of sim.py must catch every one of them."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from itertools import count
from typing import Any
from unittest.mock import patch

from fleet.push import engine, gate
from fleet.push import rollback_steps as backward
from fleet.push import transition as work_module
from fleet.push import update_steps as forward
from fleet.push.blame import Blame
from fleet.push.events import Action, Resumed
from fleet.push.gate import CheckName
from fleet.push.node_table import NodeTable
from fleet.push.reasons import NO_REASON, Halt, HaltedBy, Reason, Why
from fleet.push.state import ON_THE_WAY, NodeStatus, PushPhase, RollbackCause, Task
from fleet.push.transition import Transition


def _lets_partners_go_together() -> Any:
    return patch.object(Transition, "partner_down", lambda self, name: None)


def _ignores_places() -> Any:
    def queued(self: Transition) -> list[str]:
        return [node.node for node in self.wave() if node.queued]

    return patch.multiple(
        Transition, place_free=lambda self, name: True, full=lambda self: False, queued=queued
    )


def _counts_access_points_as_planned() -> Any:
    return patch.object(Transition, "access_point", lambda self, name: self.planned(name).access_point)


def _does_not_know_that_radios_are_of_one_access_point() -> Any:
    def access_point(self: Transition, name: str) -> str | None:
        seen = self.nodes[name].seen
        network = seen.network if seen is not None else None
        return network.bssid if network and network.bssid else self.planned(name).access_point

    return patch.object(Transition, "access_point", access_point)


def _ignores_spare_time() -> Any:
    return patch.object(forward, "why_later", lambda planned, outcome, *, any_hour: "")


def _ignores_what_runs_now() -> Any:
    return patch.object(forward, "why_never", lambda planned, seen: "")


def _sees_no_fault() -> Any:
    return patch.object(forward, "examine", lambda sighting, *, soaked=False: ())


def _does_not_soak() -> Any:
    real = forward._returned

    def returned(work: Transition, node: Any, outcome: Any) -> None:
        real(work, node, outcome)
        if work.nodes[node.node].task is Task.SOAK:
            work.set(node.node, task=Task.SOAKED)

    return patch.object(forward, "_returned", returned)


def _lets_any_number_fail() -> Any:
    return patch.object(engine, "_too_many_failed", lambda work: False)


def _keeps_one_by_one() -> Any:
    def keep(work: Transition) -> None:
        for node in work.wave():
            if node.task is Task.SOAKED:
                forward.keep(work, node.node)

    return patch.object(engine, "_keep_if_well", keep)


def _leaves_the_failed_wave() -> Any:
    def begin(work: Transition, name: str, why: RollbackCause, reason: Reason = NO_REASON) -> None:
        if why is RollbackCause.WAVE and work.nodes[name].task is not Task.NONE:
            node = work.nodes[name]
            if node.pending is None or node.pending.doing is Action.ASK:
                work.settle(name, NodeStatus.KEPT)

    real = backward.begin
    return patch.object(
        backward,
        "begin",
        lambda work, name, why, reason=NO_REASON: (begin if why is RollbackCause.WAVE else real)(
            work, name, why, reason
        ),
    )


def _sends_again_when_unsure() -> Any:
    def unsure(work: Transition, node: Any, outcome: Any) -> None:
        work.do(node.node, Action.SEND, Task.SEND)

    return patch.dict(forward._HANDLERS, {Task.UNSURE: unsure})


def _sends_again_too_soon() -> Any:
    return patch.object(forward, "UNSURE_SETTLE_S", -1.0)


def _sends_again_after_a_crash() -> Any:
    def resume(work: Transition) -> None:
        for node in tuple(work.nodes.values()):
            if node.pending is not None:
                doing = node.pending.doing
                work.set(node.node, pending=None)
                work.do(node.node, doing, node.task)

    return patch.object(engine, "_resume", resume)


def _forgets_what_was_under_way() -> Any:
    real = engine.step

    def step(state: Any, event: Any) -> Any:
        if isinstance(event, Resumed):
            nodes = NodeTable(replace(node, pending=None) for node in state.nodes.values())
            return replace(state, nodes=nodes), ()
        return real(state, event)

    return step


def _goes_on_while_held() -> Any:
    real = engine._request

    def request(work: Transition, said: Any) -> None:
        real(work, said)
        work.change(held=False)

    return patch.object(engine, "_request", request)


def _starts_every_wave() -> Any:
    def start(work: Transition) -> None:
        for node in tuple(work.nodes.values()):
            if node.waiting and node.task is not Task.HELD and work.startable(node.node):
                forward.start(work, node.node)

    return patch.object(engine, "_start_nodes", start)


def _does_not_wait_for_the_restart() -> Any:
    return patch.multiple(backward, UNSURE_SETTLE_S=-1.0, BACK_RESTART_S=-1.0)


def _forgets_the_late() -> Any:
    def next_late(work: Transition) -> bool:
        return False

    return patch.object(engine, "_next_late_wave", next_late)


def _holds_off_for_ever() -> Any:
    return patch.object(forward, "HELD_OFF_TRIES", 10**9)


def _calls_the_silent_lost_at_once() -> Any:
    return patch.object(backward, "_limit_at_s", lambda work, node: work.now_s)


def _stop_leaves_trials_alone() -> Any:
    def end(work: Transition, ends_as: PushPhase, halt: Halt) -> None:
        for node in tuple(work.unsettled()):
            if node.pending is None or node.pending.doing is Action.ASK:
                work.settle(node.node, NodeStatus.LEFT_OUT, Reason(Why.STOPPED))
        work.change(phase=PushPhase.GOING_BACK, ends_as=ends_as)

    return patch.object(engine, "_end", end)


def _is_moody() -> Any:
    """Not a function of the events alone: the fold gives another state."""
    mood = count()
    real = engine.step

    def step(state: Any, event: Any) -> Any:
        after, commands = real(state, event)
        return replace(after, halted_by=(HaltedBy(Halt.STOPPED, next(mood)),)), commands

    return step


def _rolls_back_nobody() -> Any:
    def roll_back(work: Transition, names: frozenset[str]) -> None:
        if not work.push.ended:
            engine._end(work, PushPhase.ROLLED_BACK, Halt.ROLLED_BACK)

    return patch.object(engine, "_roll_back", roll_back)


def _trusts_a_keep_that_broke() -> Any:
    def on_keep(work: Transition, node: Any, outcome: Any) -> None:
        work.settle(node.node, NodeStatus.KEPT)

    return patch.dict(forward._HANDLERS, {Task.KEEP: on_keep})


def _lets_trials_run_out() -> Any:
    def keep(work: Transition) -> None:
        wave = work.wave()
        if not any(n.task in ON_THE_WAY for n in wave):
            for node in wave:
                if node.task is Task.SOAKED:
                    forward.keep(work, node.node)

    stack = ExitStack()
    stack.enter_context(patch.object(Transition, "trial_allows", lambda self, name: True))
    stack.enter_context(patch.object(engine, "_keep_if_well", keep))
    return stack


def _blames_the_image_for_brown_outs() -> Any:
    return patch.object(forward, "BROWN_OUT", "no such word")


def _never_blames_the_image_for_brown_outs() -> Any:
    real = engine._one_cause
    return patch.object(
        engine, "_one_cause", lambda work, blame: blame is not Blame.SUPPLY and real(work, blame)
    )


def _blames_the_image_for_a_broken_link() -> Any:
    return patch.dict(work_module._BLAMES, {CheckName.LINK: Blame.IMAGE})


def _believes_that_all_was_sent_before_it_was_killed() -> Any:
    real = engine._resume

    def resume(work: Transition) -> None:
        for node in tuple(work.nodes.values()):
            if node.pending is not None and node.pending.doing is Action.SEND:
                work.set(node.node, whole=True)
        real(work)

    return patch.object(engine, "_resume", resume)


def _does_not_hear_a_late_word_on_the_image() -> Any:
    return patch.object(backward, "tell_fell_back", lambda work, name, seen: None)


def _does_not_soak_again_after_a_brown_out() -> Any:
    real = forward._returned

    def returned(work: Transition, node: Any, outcome: Any) -> None:
        real(work, node, outcome)
        if node.soak_until_s:
            work.set(node.node, soak_until_s=node.soak_until_s)

    return patch.object(forward, "_returned", returned)


def _lets_a_fault_be_forgotten() -> Any:
    return patch.object(gate, "latched_faults", lambda state: iter(()))


def _updates_despite_a_fault() -> Any:
    return patch.object(forward, "latched_faults", lambda state: iter(()))


def _stops_at_the_first_held_off() -> Any:
    return patch.object(forward, "HELD_OFF_TRIES", 1)


BROKEN = {
    make.__name__.strip("_").replace("_", " "): make
    for make in (
        _lets_partners_go_together,
        _ignores_places,
        _counts_access_points_as_planned,
        _does_not_know_that_radios_are_of_one_access_point,
        _ignores_spare_time,
        _ignores_what_runs_now,
        _sees_no_fault,
        _does_not_soak,
        _lets_any_number_fail,
        _keeps_one_by_one,
        _leaves_the_failed_wave,
        _sends_again_when_unsure,
        _sends_again_too_soon,
        _sends_again_after_a_crash,
        _forgets_what_was_under_way,
        _goes_on_while_held,
        _starts_every_wave,
        _does_not_wait_for_the_restart,
        _forgets_the_late,
        _holds_off_for_ever,
        _calls_the_silent_lost_at_once,
        _stop_leaves_trials_alone,
        _is_moody,
        _rolls_back_nobody,
        _trusts_a_keep_that_broke,
        _lets_trials_run_out,
        _stops_at_the_first_held_off,
        _blames_the_image_for_brown_outs,
        _never_blames_the_image_for_brown_outs,
        _blames_the_image_for_a_broken_link,
        _believes_that_all_was_sent_before_it_was_killed,
        _does_not_hear_a_late_word_on_the_image,
        _does_not_soak_again_after_a_brown_out,
        _lets_a_fault_be_forgotten,
        _updates_despite_a_fault,
    )
}


@contextmanager
def broken(name: str) -> Iterator[Any]:
    """The step function of that broken engine."""
    made = BROKEN[name]()
    if callable(made) and not hasattr(made, "__enter__"):
        yield made
    else:
        with made:
            yield engine.step
