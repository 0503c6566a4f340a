"""`push` and `resume`: do exactly what a plan says, wave by wave; go on with a push that was cut off."""

from __future__ import annotations

import shlex
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fleet.cli.common import command, command_app, completing, session
from fleet.cli.nothing import Nothing, say_done_before, say_nothing
from fleet.codes import Exit
from fleet.limits import ASK_BEFORE_NODES, FIND_TIMEOUT_S
from fleet.water.quantities import counted

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleet.cli.common import Session
    from fleet.find.match import Match
    from fleet.push.context import PushContext
    from fleet.push.journal import Journal
    from fleet.push.plan import Plan, PlannedNode

app = command_app()
resume_app = command_app()


def _complete_plan(ctx: typer.Context, incomplete: str) -> list[str]:
    """Plan files beside what is typed, and the ids of plans that `plan` named itself."""
    try:
        ids = [path.stem for path in completing(ctx).workspace_to_look_at("").plans_dir.glob("*.plan")]
    except Exception:
        ids = []
    start = Path(incomplete)
    folder = start if incomplete.endswith("/") else start.parent
    files = [str(path) for path in sorted(folder.glob("*.plan"))]
    return [word for word in (*files, *sorted(ids)) if word.startswith(incomplete)]


@command(app, "push")
def push(
    ctx: typer.Context,
    plan: Annotated[
        str,
        typer.Argument(help="The plan: its file, its id, or - for stdin.", autocompletion=_complete_plan),
    ],
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Check and show; send nothing.")] = False,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
    fleet: Annotated[
        str,
        typer.Option(
            "--fleet", metavar="NAME", help="The fleet's name, to push to all real boards at any hour."
        ),
    ] = "",
    json: Annotated[bool, typer.Option("--json", help="Print JSON lines, one per event.")] = False,
) -> int:
    """Example: tankfleet push ridge.plan

    Do exactly what the plan says, in waves. Each node is asked once more whether its tanks can spare it, gets
    its image, and is watched on trial. After each wave a gate looks at the evidence: keep and go on, or bring
    the wave back and stop. Refuses a plan that is stale, naming what changed. Ctrl-C leaves at a safe point;
    `tankfleet resume` goes on. Exit status 0: all kept; 1: halted or not all; 3: some nodes unreachable.
    """
    from fleet.cli.push_summary import close, field_of, run_to_end
    from fleet.push.session import journal_of

    this = session(ctx)
    field = field_of(this)
    made = _read(plan, field)
    if not made.waves:
        return say_nothing(this, Nothing.EMPTY_PLAN, push=made.id, json=json)
    if dry_run:
        return _dry_run(this, field, made, plan, json=json)
    with journal_of(field.workspace) as journal:
        done = _refuse_or_done(this, journal, made, json=json)
        if done is not None:
            return done
        matches = _checked(this, field, made)
        _ask(this, field, made, yes=yes, fleet=fleet)
        journal.begin(made, time.time())
        return close(this, run_to_end(this, field, journal, made.id, matches=matches, json=json))


@command(resume_app, "resume")
def resume(
    ctx: typer.Context,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Check and show; send nothing.")] = False,
    json: Annotated[bool, typer.Option("--json", help="Print JSON lines, one per event.")] = False,
) -> int:
    """Example: tankfleet resume

    Go on with a push that was cut off by Ctrl-C, kill or a power cut. Every node that something was under way
    with is asked what it runs before anything is done: nothing is sent twice, nothing is forgotten.
    """
    from fleet.cli.preview import show_foretold
    from fleet.cli.push_summary import close, field_of, look_at_cargo, run_to_end
    from fleet.push.events import Resumed
    from fleet.push.session import journal_of

    this = session(ctx)
    field = field_of(this)
    with journal_of(field.workspace) as journal:
        unfinished = journal.unfinished()
        if unfinished is None:
            return say_nothing(this, Nothing.NONE_TO_RESUME, dry_run="resume" if dry_run else "", json=json)
        first = [Resumed(time.time())]
        look_at_cargo(this, field.shelf, journal, unfinished, first)
        if dry_run:
            show_foretold(this, journal, unfinished, first[0], doing="resume", json=json)
            return Exit.OK
        for line in how_it_stands(journal, unfinished):
            this.output.note(line)
        return close(this, run_to_end(this, field, journal, unfinished, first, json=json))


def how_it_stands(journal: Journal, push_id: str) -> list[str]:
    """What was in progress, in a few lines."""
    from fleet.push.reporters.words import in_flight, node_words, wave_words

    state = journal.state(push_id)
    wave = [wave_words(state, state.wave)] if 0 < state.wave <= len(state.waves) else []
    moving = in_flight(state)
    shown = [f"  {node.node}: {node_words(state, node, state.now_s)}" for node in moving[:10]]
    more = [f"  and {len(moving) - 10} more"] if len(moving) > 10 else []
    return [f"push {push_id} was interrupted, phase {state.phase.value}", *wave, *shown, *more]


def _read(name: str, field: PushContext) -> Plan:
    """The plan in that file, of that id, or on stdin."""
    from fleet.errors import PlanError
    from fleet.push.codes import DAMAGED_PLAN
    from fleet.push.plan import read_plan

    if name == "-":
        return read_plan(sys.stdin.read())
    path = Path(name)
    by_id = field.workspace.plans_dir / f"{name}.plan"
    path = path if path.is_file() or not by_id.is_file() else by_id
    try:
        return read_plan(path.read_text(encoding="utf-8"))
    except FileNotFoundError as error:
        raise PlanError(DAMAGED_PLAN, f"there is no plan {name}") from error
    except UnicodeDecodeError as error:
        raise PlanError(DAMAGED_PLAN, f"{path} is not text") from error


def _refuse_or_done(this: Session, journal: Journal, made: Plan, *, json: bool) -> int | None:
    """None if the plan may be pushed; an exit status if it is done already; PushError if it may not."""
    from fleet.errors import PushError
    from fleet.push.codes import ALREADY_PUSHED, PUSH_UNFINISHED
    from fleet.push.state import PushPhase

    unfinished = journal.unfinished()
    if unfinished is not None:
        for line in how_it_stands(journal, unfinished):
            this.output.note(line)
        raise PushError(PUSH_UNFINISHED, f"push {unfinished} is unfinished")
    record = next((record for record in journal.pushes() if record.id == made.id), None)
    if record is None:
        return None
    if record.phase is PushPhase.DONE:
        return say_done_before(this, journal.state(made.id), json=json)
    raise PushError(ALREADY_PUSHED, f"plan {made.id} was already pushed, and ended as {record.phase.value}")


def _checked(this: Session, field: PushContext, made: Plan) -> Sequence[Match]:
    """Where the nodes are; PlanError if the plan is stale."""
    import asyncio

    from fleet.cli.search_progress import tell_waiting
    from fleet.push.cargo import refuse_damaged
    from fleet.push.context import look, standing
    from fleet.push.plan import refuse_stale

    known = {node.name for node in field.inventory.nodes}
    names = [node.node for _, node in made.nodes() if node.node in known]
    refuse_stale(made, standing(field, made, []))
    refuse_damaged(field.shelf, made, [node.node for _, node in made.nodes()], then="push the same plan")
    this.output.note(f"asking {counted(len(names), 'node')} whether the plan is still valid")
    matches = asyncio.run(look(field, names, FIND_TIMEOUT_S, tell_waiting(this.output)))
    refuse_stale(made, standing(field, made, matches))
    return matches


def _ask(this: Session, field: PushContext, made: Plan, *, yes: bool, fleet: str) -> None:
    """Ask before many nodes; all real boards at any hour need the fleet's name."""
    from fleet.push.reporters.words import duration_words

    nodes = [node for _, node in made.nodes()]
    if made.target == "board" and made.any_hour and len(nodes) == len(field.inventory.nodes):
        question = (
            f"This plan updates {counted(len(nodes), 'node')} of {made.fleet} outside of their windows."
        )
        this.confirm_name(question, made.fleet, given=fleet, flag="--fleet")
    elif len(nodes) > ASK_BEFORE_NODES:
        releases = ", ".join(sorted({node.to_release for node in nodes}))
        question = (
            f"Push {releases} to {counted(len(nodes), 'node')} in {counted(len(made.waves), 'wave')}, "
            f"{duration_words(made.expected_s)}?"
        )
        this.confirm(question, given=yes, flag="--yes")


def _would(node: PlannedNode) -> str:
    return f"send{' as built, from an older inventory' if node.as_built else ''}, soak, keep"


def _dry_run(this: Session, field: PushContext, made: Plan, name: str, *, json: bool) -> int:
    """Everything but sending: is the plan sound and fresh, and what would be done? `name`: as it was typed."""
    matches = _checked(this, field, made)
    reached = {match.node for match in matches if match.reachable}
    away = [node.node for _, node in made.nodes() if node.node not in reached]
    if json:
        waves = [[node.node for node in wave.nodes] for wave in made.waves]
        facts = {"push": made.id, "kind": "dry-run", "waves": waves, "unreachable": away}
        this.output.emit_json("push", facts)
    else:
        rows = [
            (str(wave.number), node.node, f"{node.from_release} -> {node.to_release}", _would(node))
            for wave, node in made.nodes()
        ]
        this.output.table(("wave", "node", "release", "would"), rows)
    this.output.note(f"Dry run of plan {made.id}: it is still valid; nothing was sent to any node.")
    if away:
        this.output.note(f"do not answer now: {', '.join(away)}")
    if name != "-":
        this.output.next_step(f"tankfleet push {shlex.quote(name)}")
    return Exit.UNREACHABLE if away else Exit.OK
