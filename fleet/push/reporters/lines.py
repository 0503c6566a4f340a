"""A push as JSON lines: one document per thing that happened, schema `tankfleet/push/1`
(fleet/schemas/push.json)."""

from __future__ import annotations

import json
from dataclasses import asdict
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from fleet.push.events import Requested, Resumed
from fleet.push.outcome import code_of, counts, outcomes
from fleet.push.reporters.words import halted_words

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from fleet.push.events import Event
    from fleet.push.state import PushState

SCHEMA = "tankfleet/push/1"


class LinesReporter:
    """Writes each line with `write`."""

    def __init__(self, write: Callable[[str], None], push: str = "") -> None:
        self._write = write
        self._push = push

    def begins(self, state: PushState) -> None:
        """The push, and how it stands at first."""
        self._push = state.plan.id
        waves = [list(wave) for wave in state.waves]
        self._line(
            state.now_s,
            "begins",
            phase=state.phase,
            fleet=state.plan.fleet,
            waves=waves,
            counts=counts(state),
        )

    def happened(self, event: Event, before: PushState, after: PushState) -> None:
        """Every node that stands otherwise than before; verdicts; waves; what people said; the end."""
        at_s = event.at_s
        if isinstance(event, Requested):
            self._line(at_s, "request", word=event.word, nodes=event.nodes)
        if isinstance(event, Resumed):
            self._line(at_s, "resumed")
        for name in after.nodes.changed_since(before.nodes):
            was, node = before.nodes[name], after.nodes[name]
            if (node.stands, node.reason, node.blame) != (was.stands, was.reason, was.blame):
                told = {
                    "stands": node.stands,
                    "reason": str(node.reason),
                    "why": node.reason.why,
                    "blame": node.blame,
                }
                self._line(at_s, "node", node=name, wave=node.wave, **told)
        for verdict in after.verdicts[len(before.verdicts) :]:
            self._line(at_s, "verdict", **asdict(verdict))
        if after.wave != before.wave and not after.ended and after.wave <= len(after.waves):
            self._line(at_s, "wave", wave=after.wave, nodes=after.waves[after.wave - 1])
        if after.ended and not before.ended:
            self.ended(after)

    def ended(self, state: PushState) -> None:
        """The outcome as a whole."""
        code = code_of(state)
        self._line(
            state.now_s,
            "end",
            phase=state.phase,
            code=code.code if code else None,
            why=halted_words(state.halted_by),
            halted_by=[asdict(one) for one in state.halted_by],
            counts=counts(state),
            nodes=[asdict(one) for one in outcomes(state)],
        )

    def progress(self, node: str, sent_bytes: int, size_bytes: int) -> None:
        """Bytes are not worth a line each."""

    def interrupted(self, awaited: Sequence[str]) -> None:
        """Nothing of the push: it goes on later. The command says so on stderr."""

    def _line(self, at_s: float, kind: str, **facts: Any) -> None:
        self._write(_document(at_s, self._push, kind, facts))


def write_nothing(at_s: float, push: str | None, nothing: str) -> str:
    """The line that says that there was nothing to do, and why."""
    return _document(at_s, push, "nothing", {"nothing": nothing})


def _document(at_s: float, push: str | None, kind: str, facts: Mapping[str, Any]) -> str:
    at = datetime.fromtimestamp(at_s, UTC).isoformat(timespec="milliseconds")
    return json.dumps({"schema": SCHEMA, "push": push, "at": at, "kind": kind, **facts}, ensure_ascii=False)
