"""The command `tankfleet`: the table of commands, lazy loading, and the one place where errors become exit codes."""

from __future__ import annotations

import importlib
import traceback
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from fleet.cli.codes import BAD_USAGE, INTERNAL, INTERRUPTED, NO_SUCH_COMMAND, UNWRITABLE
from fleet.cli.common import HELP_OPTIONS, Session, complete_words, nearest
from fleet.cli.interrupt import heard_at_once
from fleet.cli.output import Output
from fleet.codes import Exit
from fleet.errors import BuildError, InventoryError, PlanError, TankfleetError, UsageError
from fleet.limits import FINDINGS_SHOWN
from fleet.settings import COLORS
from fleet.version import __version__

_ClickError: Any = typer.BadParameter.__mro__[2]
_ClickUsageError: Any = typer.BadParameter.__mro__[1]


@dataclass(frozen=True, slots=True)
class Entry:
    """One command: its task, name, module and the name of the typer app in it."""

    task: str
    name: str
    module: str
    what: str
    app: str = "app"


COMMANDS = (
    Entry("The inventory", "new", "fleet.cli.new", "create a new, commented inventory"),
    Entry("The inventory", "check", "fleet.cli.check", "check the inventory"),
    Entry("The inventory", "show", "fleet.cli.show", "show a site, a tank, a node or a board"),
    Entry("The inventory", "sheet", "fleet.cli.sheet", "print a sheet: wiring, tank, steps to tick off"),
    Entry(
        "The inventory",
        "schema",
        "fleet.cli.schema",
        "print the JSON Schema of the inventory or of an output",
    ),
    Entry("Images", "keys", "fleet.cli.keys", "create and show the fleet's keys"),
    Entry("Images", "render", "fleet.cli.render", "write each node's PlatformIO project"),
    Entry("Images", "build", "fleet.cli.build", "build, sign and shelve the images"),
    Entry("Images", "shelf", "fleet.cli.shelf", "list the images on the shelf"),
    Entry("Nodes", "flash", "fleet.cli.flash", "load a board over USB, so that it becomes a node"),
    Entry("Nodes", "find", "fleet.cli.find", "find the nodes on the network"),
    Entry("Nodes", "plan", "fleet.cli.plan", "plan a push in waves"),
    Entry("Nodes", "push", "fleet.cli.push", "push exactly what a plan says"),
    Entry("Nodes", "resume", "fleet.cli.push", "continue a push that was interrupted", "resume_app"),
    Entry(
        "Nodes",
        "hold",
        "fleet.cli.push_control",
        "hold the running push after the updates under way",
        "hold_app",
    ),
    Entry("Nodes", "go-on", "fleet.cli.push_control", "continue a held push", "go_on_app"),
    Entry("Nodes", "stop", "fleet.cli.push_control", "end the push; kept nodes stay updated", "stop_app"),
    Entry(
        "Nodes",
        "roll-back",
        "fleet.cli.push_control",
        "return nodes to their earlier image",
        "roll_back_app",
    ),
    Entry("Nodes", "rejoin", "fleet.cli.rejoin", "move nodes to a new network or passphrase"),
    Entry("Nodes", "clear-fault", "fleet.cli.clear_fault", "clear a fault that keeps a pump stopped"),
    Entry(
        "Nodes", "audit", "fleet.cli.audit", "list what each node runs, and what differs from the inventory"
    ),
    Entry("The bench, and help", "bench", "fleet.cli.bench", "run virtual nodes on this machine"),
    Entry(
        "The bench, and help",
        "demo",
        "fleet.cli.demo",
        "show the whole job on this machine, without hardware",
    ),
    Entry("The bench, and help", "explain", "fleet.cli.explain", "explain a code, offline"),
    Entry(
        "The bench, and help",
        "settings",
        "fleet.cli.settings",
        "show each setting and where it is set",
    ),
)
_BY_NAME = {entry.name: entry for entry in COMMANDS}


class LazyGroup(TyperGroup):
    """Loads a command's module only when that command is asked for."""

    def list_commands(self, ctx: Any) -> list[str]:
        """The names, in the order of the table."""
        return [entry.name for entry in COMMANDS]

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        """The command, loaded now; None if there is none of that name."""
        entry = _BY_NAME.get(cmd_name)
        if entry is None:
            return None
        found = typer.main.get_command(getattr(importlib.import_module(entry.module), entry.app))
        found.name = cmd_name
        return found

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        """As usual, with a suggestion for a misspelt command."""
        if args and args[0] not in _BY_NAME:
            ctx.obj.output.color = ctx.params.get("color") or ctx.obj.output.color  # `root` has not run yet
            raise UsageError(NO_SUCH_COMMAND, f"there is no command {args[0]!r}.{nearest(args[0], _BY_NAME)}")
        return super().resolve_command(ctx, args)

    def format_help(self, ctx: Any, formatter: Any) -> None:
        """An example, then the commands grouped by task, within 40 lines."""
        formatter.write("Example: tankfleet check && tankfleet build && tankfleet plan\n\n")
        formatter.write("Usage: tankfleet [OPTIONS] COMMAND ...\n")
        task = ""
        for entry in COMMANDS:
            if entry.task != task:
                task = entry.task
                formatter.write(f"\n{task}\n")
            formatter.write(f"  {entry.name:<11} {entry.what}\n")
        formatter.write(
            "\nOptions: -h, --version, --project DIR, --inventory DIR, --keys DIR, --state DIR,\n"
            "  --find-on ADDRESS, --color auto|always|never, --debug, --install-completion\n"
        )
        formatter.write("COMMAND -h tells more about each. First time here: tankfleet demo\n")


app = typer.Typer(
    cls=LazyGroup, rich_markup_mode=None, context_settings=HELP_OPTIONS, invoke_without_command=True
)


def _version(asked: bool) -> None:
    if asked:
        Output().data(f"tankfleet {__version__}")
        raise typer.Exit


@app.callback()
def root(
    ctx: typer.Context,
    project: Annotated[
        Path | None, typer.Option("--project", metavar="DIR", help="The project folder; default: here.")
    ] = None,
    inventory: Annotated[
        Path | None,
        typer.Option("--inventory", metavar="DIR", help="The inventory folder; default: inventory."),
    ] = None,
    keys: Annotated[
        Path | None,
        typer.Option("--keys", metavar="DIR", help="The key folder; default: see `tankfleet settings`."),
    ] = None,
    state: Annotated[
        Path | None,
        typer.Option(
            "--state", metavar="DIR", help="The folder of shelf, journal and builds; default: .tankfleet."
        ),
    ] = None,
    find_on: Annotated[
        str | None,
        typer.Option("--find-on", metavar="ADDRESS", help="Where to find nodes: an address, all or auto."),
    ] = None,
    color: Annotated[
        str | None,
        typer.Option(
            "--color", metavar="WHEN", help="auto, always or never.", autocompletion=complete_words(COLORS)
        ),
    ] = None,
    debug: Annotated[bool, typer.Option("--debug", help="Show tracebacks.")] = False,
    version: Annotated[
        bool, typer.Option("--version", "-V", is_eager=True, callback=_version, help="Print it.")
    ] = False,
) -> None:
    """Firmware for fleets of water-tank nodes."""
    del version
    this = ctx.obj
    this.project = (project or Path.cwd()).resolve()
    this.flags = {
        "color": color,
        "find_on": find_on,
        "inventory": str(inventory.absolute()) if inventory else None,
        "keys": str(keys.absolute()) if keys else None,
        "state": str(state.absolute()) if state else None,
    }
    this.debug = debug
    this.output.color = this.setting("color")
    if ctx.invoked_subcommand is None:
        this.output.data(ctx.get_help())


def run(argv: list[str]) -> int:
    """Run one command line; every error becomes an exit code of `Exit` here."""
    this = Session(Output())
    with heard_at_once(this.output):
        try:
            return _run(this, argv)
        finally:
            this.output.clear_progress()
            this.output.flush()


def _run(this: Session, argv: list[str]) -> int:
    try:
        result = typer.main.get_command(app).main(
            argv, prog_name="tankfleet", standalone_mode=False, obj=this
        )
    except TankfleetError as error:
        return _told(this.output, error)
    except _ClickUsageError as error:
        if type(error).__name__ == "NoArgsIsHelpError":  # `tankfleet bench` alone: its help is the answer
            this.output.data(error.ctx.get_help())
            return Exit.OK
        return _told(this.output, UsageError(BAD_USAGE, _usage_words(error), fix=_usage_fix(error)))
    except _ClickError as error:
        return _told(this.output, UsageError(BAD_USAGE, error.format_message()))
    except (KeyboardInterrupt, typer.Abort):
        return _interrupted(this.output)
    except OSError as error:
        if this.debug:
            raise
        return _told(
            this.output, UsageError(UNWRITABLE, f"{error.filename or ''}: {error.strerror or error}")
        )
    except Exception as error:
        return _internal(this, error)
    if result == Exit.INTERRUPTED and not isinstance(result, Exit):  # what typer makes of KeyboardInterrupt
        return _interrupted(this.output)
    return int(result) if isinstance(result, int) else Exit.OK


def _interrupted(output: Output) -> int:
    output.note(
        f"{INTERRUPTED.code}: interrupted. Nothing is half written; run the same command again to continue."
    )
    return Exit.INTERRUPTED


def _usage_words(error: Any) -> str:
    """The message, with one suggestion for a misspelt option. Only an option that is not there comes with what it
    may have meant: one whose value is missing has a name as well."""
    wrong = getattr(error, "option_name", None)
    if wrong is None or not hasattr(error, "possibilities"):
        return str(error.format_message()).replace("Value error, ", "")  # pydantic's word, which says nothing
    if _of_all_commands(error):
        return f"{wrong} comes before the command"
    return f"there is no option {wrong}.{nearest(wrong, error.possibilities or ())}"


def _usage_fix(error: Any) -> str:
    path = error.ctx.command_path if error.ctx is not None else "tankfleet"
    option = _of_all_commands(error)
    if option is not None:
        value = "" if option.is_flag else f" {option.metavar}"
        return f"Write `tankfleet {error.option_name}{value} {path.partition(' ')[2]} ...`."
    return f"Run `{path} -h`."


def _of_all_commands(error: Any) -> Any:
    """The option of `tankfleet` itself that was given behind a command; None if the mistake is another."""
    if not hasattr(error, "possibilities") or error.ctx is None or error.ctx.parent is None:
        return None
    options = error.ctx.find_root().command.params
    return next((one for one in options if error.option_name in one.opts), None)


def _told(output: Output, error: TankfleetError) -> int:
    if isinstance(error, InventoryError):
        for finding in error.findings[:FINDINGS_SHOWN]:
            output.finding(finding, output.stderr)
    output.error(error)
    if isinstance(error, PlanError):
        for changed in error.changed:
            if changed not in error.what:
                output.note(f"  changed: {changed}")
    if isinstance(error, BuildError) and error.tail:
        output.note(error.tail)
        output.note(f"  whole log: {error.log_path}")
    return error.exit_code


def _internal(this: Session, error: Exception) -> int:
    if this.debug:
        raise error
    folder = this.project / ".tankfleet" / "reports"
    stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%SZ")
    path = folder / f"{stamp}.txt"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        path.write_text(
            f"tankfleet {__version__}\n{''.join(traceback.format_exception(error))}", encoding="utf-8"
        )
        where = f"The report is {path}."
    except OSError:
        where = "No report could be written; run again with --debug."
    this.output.note(f"error {INTERNAL.code}: {type(error).__name__}: {error}. {where}")
    this.output.note(f"  fix: {INTERNAL.fix}")
    return Exit.INTERNAL
