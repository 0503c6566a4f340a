"""A push as plain lines, off a terminal: one line per step of a node, per verdict, per wave. Nothing is
drawn twice."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum, auto
from typing import TYPE_CHECKING

from fleet.push.blame import Blame
from fleet.push.events import Requested, Resumed
from fleet.push.reporters.words import duration_words, halted_words, plain, wave_words
from fleet.push.state import NodeStatus, PushPhase
from fleet.water.quantities import counted

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from fleet.push.events import Event
    from fleet.push.gate import Verdict
    from fleet.push.state import NodeProgress, PushState

LEFT_OUT_SHOWN = 2
_TOLD = {
    NodeStatus.QUEUED: "queued again",
    NodeStatus.HELD_OFF: "held off",
    NodeStatus.SENDING: "sending",
    NodeStatus.ON_TRIAL: "on trial",
    NodeStatus.KEPT: "kept",
    NodeStatus.PUT_BACK: "put back",
    NodeStatus.LOST: "LOST",
    NodeStatus.LEFT_OUT: "left out",
}
_FAILED = {Blame.SUPPLY: "FAILED for its supply", Blame.LINK: "FAILED for its link"}
"""Where the image is not to blame; else plainly `FAILED`."""


class LineKind(Enum):
    """What a line is about; a drawing keeps all but steps, and colors two of them."""

    STEP = auto()
    """A step of one node."""
    FACT = auto()
    GOOD = auto()
    BAD = auto()


@dataclass(frozen=True, slots=True)
class ToldLine:
    """One line of what changed."""

    text: str
    kind: LineKind = LineKind.FACT


class PlainReporter:
    """Writes each line with `write`."""

    def __init__(self, write: Callable[[str], None]) -> None:
        self._write = write

    def begins(self, state: PushState) -> None:
        """Which push, and where it stands."""
        for line in begin_lines(state):
            self._write(line)

    def happened(self, event: Event, before: PushState, after: PushState) -> None:
        """What changed, a line each."""
        for line in changes(event, before, after):
            self._write(line.text)

    def progress(self, node: str, sent_bytes: int, size_bytes: int) -> None:
        """Not drawn off a terminal."""

    def interrupted(self, awaited: Sequence[str]) -> None:
        """The word that must come at once."""
        self._write(interrupted_words(awaited))


def interrupted_words(awaited: Sequence[str]) -> str:
    """What is said to Ctrl-C."""
    if not awaited:
        return "interrupted: will stop at the next safe point; press Ctrl-C again to stop now"
    names = ", ".join(awaited[:3]) + (" ..." if len(awaited) > 3 else "")
    return f"interrupted: waiting for {names}; press Ctrl-C again to stop now"


def changes(event: Event, before: PushState, after: PushState) -> list[ToldLine]:
    """The lines that this event is worth; those of nodes are indented."""
    lines = []
    if isinstance(event, Requested):
        lines.append(ToldLine(f"asked: {event.word}{f' {chr(32).join(event.nodes)}' if event.nodes else ''}"))
    if isinstance(event, Resumed):
        lines.append(ToldLine("taking over: asking every node with an update under way what it runs"))
    lines += _node_lines(before, after)
    lines += [_verdict_line(verdict) for verdict in after.verdicts[len(before.verdicts) :]]
    if after.phase is PushPhase.RUNNING and after.wave != before.wave:
        lines.append(ToldLine(_wave_line(after)))
    if after.phase is PushPhase.GOING_BACK and before.phase is not PushPhase.GOING_BACK:
        lines.append(ToldLine(f"going back: {halted_words(after.halted_by)}"))
    return lines


def begin_lines(state: PushState) -> list[str]:
    """Which push this is, and its present wave."""
    plan = state.plan
    releases = ", ".join(sorted({node.to_release for _, node in plan.nodes()}))
    waves = counted(len(plan.waves), "wave")
    head = f"push {plan.id}: {releases} to {counted(len(state.nodes), 'node')} of {plan.fleet} in {waves}"
    if state.ended:
        return [f"{head}, {plain(state.phase)}"]
    return [head, _wave_line(state)] if 0 < state.wave <= len(state.waves) else [head]


def _wave_line(state: PushState) -> str:
    waves = state.plan.waves
    expected_s = waves[state.wave - 1].expected_s if state.wave <= len(waves) else waves[-1].expected_s
    return f"{wave_words(state, state.wave)}, {duration_words(expected_s)}"


def _node_lines(before: PushState, after: PushState) -> list[ToldLine]:
    """A line per node that stands otherwise than before; many that are left out for one reason share a
    line."""
    changed = after.nodes.changed_since(before.nodes)
    out = [name for name in changed if _newly_left_out(before.nodes[name], after.nodes[name])]
    shared = {
        reason: [name for name in out if after.nodes[name].reason == reason]
        for reason in dict.fromkeys(after.nodes[name].reason for name in out)
    }
    together = {name for names in shared.values() if len(names) > LEFT_OUT_SHOWN for name in names}
    alone = [
        _node_line(before.nodes[name], after.nodes[name], after) for name in changed if name not in together
    ]
    return [line for line in alone if line is not None] + [
        ToldLine(f"  {len(names)} nodes left out: {reason}")
        for reason, names in shared.items()
        if len(names) > LEFT_OUT_SHOWN
    ]


def _newly_left_out(was: NodeProgress, node: NodeProgress) -> bool:
    return node.stands is NodeStatus.LEFT_OUT and was.stands is not NodeStatus.LEFT_OUT


def _node_line(was: NodeProgress, node: NodeProgress, state: PushState) -> ToldLine | None:
    if node.failed and not was.failed:
        word = "FAILED" if node.blame is None else _FAILED.get(node.blame, "FAILED")
        return ToldLine(f"  {node.node}: {word}: {node.reason}", LineKind.BAD)
    if node.stands is was.stands and not (node.stands is NodeStatus.HELD_OFF and node.holds != was.holds):
        return None
    planned = state.planned[node.node]
    told = _TOLD[node.stands]
    if node.stands is NodeStatus.SENDING:
        told = (
            f"sending {planned.to_release} ({planned.size_bytes / 1024:.0f} KiB), has {planned.from_release}"
        )
    elif node.stands is NodeStatus.PUT_BACK:
        told = f"put back to {planned.from_release}"
    elif node.stands is NodeStatus.KEPT:
        told = f"kept {planned.to_release}"
    why = f": {node.reason}" if node.reason and not node.failed else ""
    return ToldLine(f"  {node.node}: {told}{why}", _KINDS.get(node.stands, LineKind.STEP))


def _verdict_line(verdict: Verdict) -> ToldLine:
    word, kind = ("passed", LineKind.GOOD) if verdict.passed else ("FAILED", LineKind.BAD)
    return ToldLine(f"gate of wave {verdict.wave} {word}: {verdict.text}", kind)


_KINDS = {NodeStatus.LOST: LineKind.BAD, NodeStatus.LEFT_OUT: LineKind.FACT}
"""Of a node's line; any other is a step."""
