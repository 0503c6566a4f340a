"""What the commands of a push share: the field, the reporters, running to the end, the summary."""

from __future__ import annotations

import time
from collections import Counter
from contextlib import contextmanager
from typing import TYPE_CHECKING

from fleet.cli.codes import INTERRUPTED
from fleet.cli.key_folder import open_keys
from fleet.cli.search_progress import tell_waiting
from fleet.codes import Exit
from fleet.water.quantities import duration

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from fleet.build.shelf import Shelf
    from fleet.cli.common import Session
    from fleet.cli.output import Output
    from fleet.find.match import Match
    from fleet.push.context import PushContext
    from fleet.push.events import Event, Requested, Resumed
    from fleet.push.journal import Journal
    from fleet.push.plan import PlannedNode
    from fleet.push.runner import Reporter
    from fleet.push.state import NodeProgress, PushState

_ALIKE_SHOWN = 6
_WAVES = ("wave", "nodes", "kept", "put back", "lost", "left out", "gate")
_OTHERS = ("node", "wave", "stands", "release", "why")


def field_of(this: Session) -> PushContext:
    """The inventory, the workspace, the keys, and where to look for nodes."""
    from fleet.bench.control import speed_of_bench
    from fleet.find.scope import interface_for
    from fleet.push.context import PushContext

    inventory = this.inventory()
    workspace = this.workspace(inventory.fleet.name)
    keys = open_keys(this, inventory.fleet.name)
    interface = interface_for(this.setting("find_on"), workspace)
    return PushContext(inventory, workspace, keys, interface, lambda: speed_of_bench(workspace.bench_dir))


@contextmanager
def reporter_of(this: Session, *, json: bool) -> Iterator[Reporter]:
    """Drawn on a terminal, plain lines off one, never silent for 2 s; with `json` also JSON lines on stdout."""
    from fleet.push.reporters.heartbeat import Heartbeat
    from fleet.push.reporters.lines import LinesReporter
    from fleet.push.reporters.plain import PlainReporter
    from fleet.push.reporters.several import Several
    from fleet.push.reporters.terminal import TerminalReporter

    output = this.output
    extra: list[Reporter] = [LinesReporter(_flushed(output))] if json else []
    if not output.animated():
        with Heartbeat(output.note, time.time) as heartbeat:
            yield Several(*extra, PlainReporter(heartbeat.write), heartbeat)
        return
    with TerminalReporter(output.console(output.stderr), time.time) as drawn:
        yield Several(*extra, drawn)


def _flushed(output: Output) -> Callable[[str], None]:
    def write(line: str) -> None:
        output.json(line)
        output.flush()

    return write


def look_at_cargo(
    this: Session, shelf: Shelf, journal: Journal, push: str, first: Sequence[Requested | Resumed]
) -> None:
    """Look at all that a push may send after these events, before anything is asked or sent. ShelfError (SHF105) if a
    new image is damaged. A damaged old one is only told of: who holds it goes back all the same."""
    from fleet.build.codes import DAMAGED_CARGO
    from fleet.push.cargo import left_to_bring_back, left_to_send, refuse_damaged, without_old
    from fleet.push.engine import fold

    waiting = [request.event for request in journal.open_requests(push)]
    state = fold(journal.state(push), [*waiting, *first])
    then = "`tankfleet resume`; or `tankfleet stop` ends the push without them"
    refuse_damaged(shelf, state.plan, left_to_send(state), then=then)
    bad = without_old(shelf, state.plan, left_to_bring_back(state))
    if bad:
        this.output.warn(
            f"the shelf's old image or ticket of {', '.join(bad)} is damaged or missing ({DAMAGED_CARGO.code}): it is "
            "not sent, and a node goes back only if it still holds that image itself"
        )


def run_to_end(
    this: Session,
    field: PushContext,
    journal: Journal,
    push: str,
    first: Sequence[Event] = (),
    *,
    matches: Sequence[Match] | None = None,
    json: bool = False,
) -> PushState | None:
    """Run the push in this process, and sum it up. None if a person interrupted it."""
    import asyncio

    from fleet.push.runner import Interrupted
    from fleet.push.session import Drive

    if matches is None:
        this.output.note(f"searching for the nodes of push {push}")
    with reporter_of(this, json=json) as reporter:
        drive = Drive(field, journal, push, reporter, tell_waiting(this.output), time.time)
        try:
            state = asyncio.run(drive.run(first, matches))
        except Interrupted:
            state = None
    if state is None:
        _say_interrupted(this.output, journal.state(push))
    elif not json:
        sum_up(this.output, state)
    return state


def _say_interrupted(output: Output, state: PushState) -> None:
    from fleet.push.outcome import counts
    from fleet.push.reporters.words import plain

    counted = ", ".join(f"{count} {plain(stands)}" for stands, count in counts(state).items())
    output.note(
        f"{INTERRUPTED.code}: push {state.plan.id} is interrupted: {counted}. The journal is consistent."
    )
    ends = [n.trial_ends_at_s for n in state.nodes.values() if n.stands.value == "on-trial"]
    if ends:
        left_s = max(0.0, min(ends) - time.time())
        output.note(f"Nodes on trial fall back on their own, the first in {duration(left_s)}.")
    output.next_step("tankfleet resume", "tankfleet stop")


def sum_up(output: Output, state: PushState) -> None:
    """The waves, then every node that is not kept, to stdout."""
    verdicts = {verdict.wave: verdict for verdict in state.verdicts}
    rows = []
    for number in range(1, len(state.waves) + 1):
        nodes = state.in_wave(number)
        count = [sum(n.stands.value == s for n in nodes) for s in ("kept", "put-back", "lost", "left-out")]
        verdict = verdicts.get(number)
        gate = "-" if verdict is None else "passed" if verdict.passed else "FAILED"
        rows.append((str(number), str(len(nodes)), *(str(c) for c in count), gate))
    output.table(_WAVES, rows)
    others_of(output, state)


def others_of(output: Output, state: PushState) -> None:
    """Every node that is not kept, and why, to stdout."""
    from fleet.push.reporters.words import plain

    others = [n for n in state.nodes.values() if n.stands.value != "kept" or n.reason]
    alike = Counter((n.stands.value, n.reason) for n in others)
    alone = [n for n in others if alike[(n.stands.value, n.reason)] <= _ALIKE_SHOWN]
    if alone:
        output.table(_OTHERS, [_other(state, n) for n in sorted(alone, key=lambda n: (n.wave, n.node))])
    for (stands, reason), many in alike.items():
        if many > _ALIKE_SHOWN:
            output.data(f"{many} nodes {plain(stands)}: {reason}")


def _other(state: PushState, node: NodeProgress) -> tuple[str, ...]:
    from fleet.push.reporters.words import plain

    release = _release(node.stands.value, state.planned[node.node])
    return (node.node, str(node.wave), plain(node.stands), release, str(node.reason))


def _release(stands: str, planned: PlannedNode) -> str:
    """What the node runs now, as far as the push knows."""
    if stands == "lost":
        return "?"
    return planned.to_release if stands == "kept" else planned.from_release


def close(this: Session, state: PushState | None) -> int:
    """Say what came of the push, the next useful commands, and the exit status."""
    from fleet.push.outcome import code_of, counts, exit_of
    from fleet.push.reporters.words import halted_words, plain

    if state is None:
        return Exit.INTERRUPTED
    output = this.output
    counted = ", ".join(f"{count} {plain(stands)}" for stands, count in counts(state).items())
    code = code_of(state)
    word = f"push {state.plan.id} {plain(state.phase)}: {counted}"
    if code is None:
        output.note(f"{word}. Every planned node runs the new image and keeps it.")
        output.next_step("tankfleet audit", f"tankfleet roll-back --push {state.plan.id}")
    else:
        told = halted_words(state.halted_by)
        why = f"{told[0].upper()}{told[1:]}. " if told else ""
        output.note(f"{word}. {why}{code.code}: {code.title}.")
        output.next_step("tankfleet audit", f"tankfleet explain {code.code}", "tankfleet plan")
    return exit_of(state)
