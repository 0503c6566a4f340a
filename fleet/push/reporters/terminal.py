"""A push on a terminal: one line per wave, a bounded number of lines for nodes, what is awaited, time left.

Fits 24 rows whatever the number of nodes. Drawn several times a second, so it never stands still for 2 s.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from fleet.limits import NODE_LINES_SHOWN, SCREEN_PER_SECOND, WAVE_LINES_SHOWN
from fleet.push.reporters.plain import LineKind, begin_lines, changes, interrupted_words
from fleet.push.reporters.words import (
    awaited_words,
    count_words,
    duration_words,
    in_flight,
    node_words,
    plain,
    time_left_s,
    wave_words,
)
from fleet.push.state import PushPhase, Task

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from types import TracebackType

    from rich.console import Console, RenderableType

    from fleet.push.events import Event
    from fleet.push.state import PushState


_STYLES = {LineKind.BAD: "red", LineKind.GOOD: "green"}
"""A color beside the words that say the same."""


class TerminalReporter:
    """Draws on a rich console, as a context manager: `with TerminalReporter(console, now_s) as reporter`."""

    def __init__(self, console: Console, now_s: Callable[[], float]) -> None:
        from rich.live import Live

        self._console = console
        self._now_s = now_s
        self._state: PushState | None = None
        self._sent: dict[str, float] = {}
        self._live = Live(
            console=console,
            get_renderable=self._drawn,
            refresh_per_second=SCREEN_PER_SECOND,
            transient=True,
            redirect_stdout=False,
            redirect_stderr=False,
        )

    def __enter__(self) -> TerminalReporter:
        self._live.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._live.stop()

    # ---------------------------------------------------------------- what is told
    def begins(self, state: PushState) -> None:
        """Draw it."""
        self._state = state
        self._print(begin_lines(state)[0], "bold")

    def happened(self, event: Event, before: PushState, after: PushState) -> None:
        """Draw how it stands now; what should stay readable is written above the drawing."""
        self._state = after
        for line in changes(event, before, after):
            if line.kind is not LineKind.STEP:
                self._print(line.text.strip(), _STYLES.get(line.kind, ""))
        for name in tuple(self._sent):
            if after.nodes[name].task not in (Task.SEND, Task.BACK_SEND):
                del self._sent[name]

    def progress(self, node: str, sent_bytes: int, size_bytes: int) -> None:
        """The share that is drawn beside the node."""
        self._sent[node] = sent_bytes / max(1, size_bytes)

    def interrupted(self, awaited: Sequence[str]) -> None:
        """The word that must come at once."""
        self._print(interrupted_words(awaited), "yellow")

    def _print(self, line: str, style: str) -> None:
        self._console.print(line, style=style, highlight=False, markup=False)

    # ---------------------------------------------------------------- the drawing
    def _drawn(self) -> RenderableType:
        from rich.text import Text

        lines = screen(self._state, self._now_s(), self._sent) if self._state is not None else []
        return Text("\n".join(lines), no_wrap=True, overflow="ellipsis")


def screen(state: PushState, now_s: float, sent: dict[str, float]) -> list[str]:
    """The lines of the drawing: at most 1 + WAVE_LINES_SHOWN + 1 + NODE_LINES_SHOWN + 2."""
    return [_head(state, now_s), *_waves(state), *_nodes(state, now_s, sent), awaited_words(state, now_s)]


def _head(state: PushState, now_s: float) -> str:
    counted = count_words(Counter(node.stands for node in state.nodes.values()))
    phase = "held" if state.held and state.phase is PushPhase.RUNNING else plain(state.phase)
    left = f", {duration_words(time_left_s(state, now_s))} left" if state.phase is PushPhase.RUNNING else ""
    return f"push {state.plan.id}, {phase}{left}: {counted}"


def _waves(state: PushState) -> list[str]:
    """The present wave and those around it."""
    total = len(state.waves)
    present = max(1, min(state.wave, total))
    first = max(1, min(present - WAVE_LINES_SHOWN // 2, total - WAVE_LINES_SHOWN + 1))
    shown = range(first, min(total, first + WAVE_LINES_SHOWN - 1) + 1)
    return [f"{'>' if number == present else ' '} {wave_words(state, number)}" for number in shown]


def _nodes(state: PushState, now_s: float, sent: dict[str, float]) -> list[str]:
    moving = in_flight(state)
    lines = [
        f"    {node.node}: {node_words(state, node, now_s, sent.get(node.node))}"
        for node in moving[:NODE_LINES_SHOWN]
    ]
    rest = moving[NODE_LINES_SHOWN:]
    if rest:
        lines.append(f"    and {len(rest)} more: {count_words(Counter(node.stands for node in rest))}")
    return lines
