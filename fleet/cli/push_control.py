"""`hold`, `go-on`, `stop`, `roll-back`: what a person can say to a push, while it runs or after."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from fleet.cli.common import command, command_app, complete_names, named, session
from fleet.cli.nothing import Nothing, say_nothing
from fleet.codes import Exit
from fleet.limits import ASK_BEFORE_NODES, REQUEST_TAKEN_S

if TYPE_CHECKING:
    from fleet.cli.common import Session
    from fleet.push.control import Hearing
    from fleet.push.events import Requested
    from fleet.push.journal import Journal
    from fleet.workspace import Workspace

hold_app = command_app()
go_on_app = command_app()
stop_app = command_app()
roll_back_app = command_app()


DryRun = Annotated[bool, typer.Option("--dry-run", help="Check and show; send nothing.")]
JsonLines = Annotated[bool, typer.Option("--json", help="Print JSON lines, one per event.")]


@command(hold_app, "hold")
def hold(ctx: typer.Context) -> int:
    """Example: tankfleet hold

    Hold the push that is under way: no further node is begun; what is in flight is watched, judged and
    kept or brought back as usual. `tankfleet go-on` lets it go on.
    """
    return _say(
        session(ctx), "hold", "The push will hold when the updates under way are done.", "tankfleet go-on"
    )


@command(go_on_app, "go-on")
def go_on(ctx: typer.Context) -> int:
    """Example: tankfleet go-on

    Let a held push go on.
    """
    return _say(session(ctx), "go-on", "The push continues.", "tankfleet hold")


@command(stop_app, "stop")
def stop(ctx: typer.Context, dry_run: DryRun = False, json: JsonLines = False) -> int:
    """Example: tankfleet stop --dry-run

    End the push that is under way. Nodes on trial go back to the image they had; what is kept stays kept. If
    no process is running the push (it was cut off), this one brings its nodes back.
    """
    from fleet.push.events import Requested, RequestKind

    this = session(ctx)
    workspace = _workspace(this)
    said = Requested(time.time(), RequestKind.STOP)
    if dry_run:
        return _dry_run(this, workspace, said, "stop", None, json=json)
    if _to_runner(this, workspace, said):
        this.output.note("The push stops: nodes on trial are rolled back, kept ones stay.")
        this.output.next_step("tankfleet audit", "tankfleet plan")
        return Exit.OK
    return _run_alone(this, said, None, json=json)


@command(roll_back_app, "roll-back")
def roll_back(
    ctx: typer.Context,
    nodes: Annotated[
        list[str] | None,
        typer.Argument(
            help="Only these nodes; default: all that the push updated.",
            autocompletion=complete_names("nodes"),
        ),
    ] = None,
    push: Annotated[
        str, typer.Option("--push", metavar="ID", help="Id of the push; default: the last one.")
    ] = "",
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
    dry_run: DryRun = False,
    json: JsonLines = False,
) -> int:
    """Example: tankfleet roll-back kestrel-01

    Bring nodes back to the image that they had before a push, the last one or one named with --push. A
    node that still holds its older image is told to go back to it; else it is sent the old image with a
    new ticket. Nodes wait until their tanks can spare them. A push that is still running ends.
    """
    from fleet.push.events import Requested, RequestKind

    this = session(ctx)
    workspace = _workspace(this)
    known = [node.name for node in this.inventory().nodes]
    names = tuple(named(name, "node", known) for name in dict.fromkeys(nodes or ()))
    said = Requested(time.time(), RequestKind.ROLL_BACK, names)
    if dry_run:
        words = ["roll-back", *names, *(["--push", push] if push else [])]
        return _dry_run(this, workspace, said, " ".join(words), push, json=json)
    if not push and _to_runner(this, workspace, said):
        this.output.note("The push ends, and its nodes are rolled back; see the terminal where it runs.")
        this.output.next_step("tankfleet audit")
        return Exit.OK
    return _run_alone(this, said, push, yes=yes, json=json)


# -------------------------------------------------------------------- saying it to a runner
def _workspace(this: Session) -> Workspace:
    return this.workspace(this.inventory().fleet.name)


def _say(this: Session, word: Literal["hold", "go-on"], done: str, undo: str) -> int:
    """Hold or go on: for a push that a process runs now, or for when it is resumed."""
    from fleet.push import control

    said = control.Requested(time.time(), control.RequestKind(word))
    hearing = control.hold_or_go_on(_workspace(this).journal_path, said, control.Waiting(REQUEST_TAKEN_S))
    if hearing.heard is control.Heard.NO_PUSH:
        return say_nothing(this, Nothing.NONE_UNDER_WAY)
    if hearing.heard is control.Heard.WRITTEN_DOWN:
        this.output.note(
            f"No process runs push {hearing.push} now. The request takes effect when the push is resumed."
        )
        this.output.next_step("tankfleet resume", "tankfleet stop")
        return Exit.OK
    if hearing.heard is control.Heard.SO_ALREADY:
        now = "is held" if word == "hold" else "is not held"
        done = f"Nothing to do: push {hearing.push} {now} already."
    _warn_if_later(this, hearing)
    this.output.note(done)
    this.output.next_step(undo, "tankfleet stop")
    return Exit.OK


def _to_runner(this: Session, workspace: Workspace, said: Requested) -> bool:
    """Ask the process that runs the push. False if none does it."""
    from fleet.push import control

    hearing = control.ask_runner(workspace.journal_path, said, control.Waiting(REQUEST_TAKEN_S))
    _warn_if_later(this, hearing)
    return hearing.has_runner


def _warn_if_later(this: Session, hearing: Hearing) -> None:
    if hearing.is_late:
        this.output.warn(
            f"process {hearing.pid} runs the push and has not answered yet; it will act on this soon"
        )


# -------------------------------------------------------------------- doing it here, or showing it
def _dry_run(
    this: Session, workspace: Workspace, said: Requested, doing: str, push: str | None, *, json: bool
) -> int:
    """What it would do to each node, from the journal alone. `push`: for a roll-back, the one named."""
    from fleet.build.shelf import Shelf
    from fleet.cli.preview import show_foretold
    from fleet.cli.push_summary import look_at_cargo
    from fleet.push import control

    rolling = said.word is control.RequestKind.ROLL_BACK
    with control.Journal.reading(workspace.journal_path) as journal:
        target = control.target(journal, said, push) if journal is not None else None
        if journal is None or target is None:
            nothing = Nothing.NEVER_PUSHED if rolling else Nothing.NONE_UNDER_WAY
            return say_nothing(this, nothing, dry_run=doing, json=json)
        if rolling and not control.to_bring_back(journal, target, said):
            return say_nothing(this, Nothing.NONE_TO_BRING_BACK, push=target, dry_run=doing, json=json)
        look_at_cargo(this, Shelf(workspace.shelf_dir), journal, target, [said])
        show_foretold(this, journal, target, said, doing=doing, json=json)
    return Exit.OK


def _run_alone(
    this: Session, said: Requested, push: str | None, *, yes: bool = False, json: bool = False
) -> int:
    """No process runs the push: take it over, and do here what was asked."""
    from fleet.cli.push_summary import close, field_of, look_at_cargo, run_to_end
    from fleet.push import control
    from fleet.push.outcome import rolled_back_exit
    from fleet.push.session import journal_of

    field = field_of(this)
    with journal_of(field.workspace) as journal:
        rolling = said.word is control.RequestKind.ROLL_BACK
        target = control.target(journal, said, push)
        if target is None:
            return say_nothing(this, Nothing.NEVER_PUSHED if rolling else Nothing.NONE_UNDER_WAY, json=json)
        if rolling and not _agreed(this, journal, target, said, yes=yes):
            return say_nothing(this, Nothing.NONE_TO_BRING_BACK, push=target, json=json)
        first = control.first_events(journal, target, said, time.time())
        look_at_cargo(this, field.shelf, journal, target, first)
        state = run_to_end(this, field, journal, target, first, json=json)
    status = close(this, state)
    if state is None:
        return status
    return rolled_back_exit(state, said.nodes) if rolling else Exit.OK


def _agreed(this: Session, journal: Journal, push: str, said: Requested, *, yes: bool) -> bool:
    """Whether there is anything to bring back; asks before many nodes."""
    from fleet.push.control import to_bring_back

    wanted = to_bring_back(journal, push, said)
    if len(wanted) > ASK_BEFORE_NODES:
        question = f"Bring {len(wanted)} nodes back to their images from before push {push}?"
        this.confirm(question, given=yes, flag="--yes")
    return bool(wanted)
