"""A push in words: one line for a wave, one for a node, what is awaited, how long it may yet take."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from fleet.push.reasons import Halt
from fleet.push.state import NodeStatus, PushPhase, Task
from fleet.water.quantities import counted, duration

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from fleet.push.reasons import HaltedBy
    from fleet.push.state import NodeProgress, PushState

_AWAITED = {
    Task.READY: "whether it can be updated",
    Task.HELD: "its tank or its window",
    Task.SEND: "its transfer",
    Task.UNSURE: "report of the image it runs",
    Task.RETURN: "its return",
    Task.SOAK: "its soak",
    Task.SOAKED: "the rest of its wave",
    Task.KEEP: "confirmation that it keeps the image",
    Task.BACK: "its return to the old image",
    Task.BACK_TOLD: "its return to the old image",
    Task.BACK_RETURN: "its return to the old image",
    Task.BACK_SEND: "the transfer of its old image",
    Task.BACK_KEEP: "confirmation that it keeps the old image",
}
_DOING = {
    Task.READY: "asked whether it can be updated",
    Task.HELD: "held off",
    Task.SEND: "sending",
    Task.UNSURE: "transfer interrupted, asking which image it runs",
    Task.RETURN: "restarting",
    Task.SOAK: "on trial",
    Task.SOAKED: "on trial and well, waiting for the rest of its wave",
    Task.KEEP: "told to keep",
    Task.BACK: "going back",
    Task.BACK_TOLD: "told to go back",
    Task.BACK_RETURN: "restarting into the old image",
    Task.BACK_SEND: "sending the old image",
    Task.BACK_KEEP: "told to keep the old image",
}
_URGENT = (
    Task.BACK_SEND,
    Task.BACK_TOLD,
    Task.BACK_RETURN,
    Task.BACK_KEEP,
    Task.BACK,
    Task.UNSURE,
    Task.SEND,
    Task.RETURN,
    Task.KEEP,
    Task.READY,
    Task.SOAK,
    Task.SOAKED,
    Task.HELD,
)
"""Nodes in these tasks are shown first, where not all can be."""
_HALTED_BY = {
    Halt.STOPPED: "stopped on request",
    Halt.ROLLED_BACK: "rolled back on request",
    Halt.NO_PILOT: "no node of pilot wave {wave} could be updated",
    Halt.WAVE_FAILED: "wave {wave} failed: {nodes}",
    Halt.DRAWS_TOO_MUCH: "brown-outs at too many nodes for chance",
    Halt.LINK_BROKEN: "transfers broke at too many nodes for chance",
}


def halted_words(halted_by: Sequence[HaltedBy]) -> str:
    """Why a push goes no further; empty where nothing halted it."""
    return "; ".join(
        _HALTED_BY[one.halt].format(wave=one.wave, nodes=", ".join(one.nodes)) for one in halted_by
    )


def count_words(nodes: Mapping[NodeStatus, int] | Counter[NodeStatus]) -> str:
    """`3 kept, 1 on-trial`: how many stand how, without zeros."""
    return ", ".join(f"{nodes[stands]} {plain(stands)}" for stands in NodeStatus if nodes.get(stands))


def plain(word: str) -> str:
    """A word of the push as a person writes it: `on-trial` is `on trial`."""
    return word.replace("-", " ")


def wave_words(state: PushState, number: int) -> str:
    """One line about a wave."""
    nodes = state.in_wave(number)
    pilot = number <= len(state.plan.waves) and state.plan.waves[number - 1].pilot
    kind = "pilot" if pilot else "late" if number > len(state.plan.waves) else ""
    head = f"wave {number} of {len(state.waves)}{f' ({kind})' if kind else ''}, {counted(len(nodes), 'node')}"
    return f"{head}: {count_words(Counter(node.stands for node in nodes)) or 'all moved to the end'}"


def node_words(state: PushState, node: NodeProgress, now_s: float, share: float | None = None) -> str:
    """One line about a node: how it stands, and what is awaited. `share` of its transfer, if one runs."""
    why = f": {node.reason}" if node.reason else ""
    if node.task is Task.NONE:
        return f"{plain(node.stands)}{why}"
    doing = _DOING[node.task]
    if node.task in (Task.SEND, Task.BACK_SEND) and share is not None:
        doing = f"{doing}, {share:.0%}"
    elif node.task is Task.SOAK:
        doing = f"{doing}, {_left(node.soak_until_s, now_s)} of the soak left"
    elif node.task is Task.HELD and node.pending is not None:
        doing = f"{doing}, asked again in {_left(node.pending.at_s, now_s)}"
    elif node.limit_at_s > now_s and node.task in (Task.RETURN, Task.UNSURE, Task.BACK, Task.BACK_RETURN):
        doing = f"{doing}, for up to {_left(node.limit_at_s, now_s)} more"
    return f"{doing}{why}"


def in_flight(state: PushState) -> list[NodeProgress]:
    """The nodes that something is under way with, most urgent first."""
    order = {task: place for place, task in enumerate(_URGENT)}
    moving = [node for node in state.nodes.values() if node.task is not Task.NONE]
    return sorted(moving, key=lambda node: (order[node.task], node.node))


def awaited_words(state: PushState, now_s: float) -> str:
    """What is awaited right now, named."""
    moving = in_flight(state)
    if state.held and state.phase is PushPhase.RUNNING and not moving:
        return "held: waiting for `tankfleet go-on` (or `stop`)"
    if not moving:
        return "waiting for the journal"
    first = moving[0]
    more = f" and {len(moving) - 1} more" if len(moving) > 1 else ""
    return f"waiting for {first.node}{more}: {_AWAITED[first.task]}, {duration(now_s - first.since_s)} so far"


def time_left_s(state: PushState, now_s: float) -> float:
    """Expected seconds to the end: what the plan expects of the waves to come, and of the rest of this
    one."""
    waves = state.plan.waves
    to_come_s = sum(wave.expected_s for wave in waves[state.wave :])
    if not 0 < state.wave <= len(waves):
        return to_come_s
    begun = [node.before_at_s for node in state.in_wave(state.wave) if node.before_at_s]
    gone_s = now_s - min(begun) if begun else 0.0
    return to_come_s + max(0.0, waves[state.wave - 1].expected_s - gone_s)


def duration_words(seconds: float) -> str:
    """`about 3 min`: a duration as a person says it."""
    return f"about {duration(max(1.0, seconds))}"


def _left(until_s: float, now_s: float) -> str:
    return duration(max(0.0, until_s - now_s))
