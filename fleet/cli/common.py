"""What every command shares: the typer app of a group, the context, the settings, the workspace."""

from __future__ import annotations

import os
import sys
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, cast

import typer
from typer.core import TyperCommand, TyperGroup

from fleet.cli.codes import NEEDS_CONFIRMATION, NO_PROJECT, NO_SUCH_NAME
from fleet.cli.output import Output
from fleet.errors import UsageError
from fleet.settings import TARGETS, Origin, resolve
from fleet.workspace import DEFAULT_STATE, Workspace

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from fleet.finding import Finding
    from fleet.keys.whereabouts import Whereabouts
    from fleet.model.inventory import Inventory

Target = Annotated[
    str | None,
    typer.Option(
        "--target",
        metavar="TARGET",
        help="board, or host for the bench.",
        autocompletion=lambda incomplete: [word for word in TARGETS if word.startswith(incomplete)],
    ),
]
"""The flag of the setting `target`."""
HELP_OPTIONS = {"help_option_names": ["-h", "--help"]}


class ExampleCommand(TyperCommand):
    """A command whose help begins with the example that its docstring begins with; arguments in capitals."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for param in self.params:
            if param.param_type_name == "argument" and param.metavar is None:
                many = param.nargs == -1
                word = str(param.name).upper().removesuffix("S" if many else "")
                param.metavar = f"[{word}]..." if many else word if param.required else f"[{word}]"

    def format_usage(self, ctx: Any, formatter: Any) -> None:
        """The usage line: the words as they are typed."""
        words = [str(param.metavar) for param in self.params if param.param_type_name == "argument"]
        formatter.write_usage(ctx.command_path, " ".join(["[OPTIONS]", *words]))

    def format_options(self, ctx: Any, formatter: Any) -> None:
        """Arguments, then options."""
        arguments: list[Any] = [p for p in self.params if p.param_type_name == "argument"]
        options = [p.get_help_record(ctx) for p in self.get_params(ctx) if p not in arguments]
        for title, rows in (("Arguments", [(p.metavar, p.help) for p in arguments]), ("Options", options)):
            if rows:
                with formatter.section(title):
                    formatter.write_dl([row for row in rows if row])

    def format_help(self, ctx: Any, formatter: Any) -> None:
        """Example, usage, the rest of the text, options."""
        example, _, rest = (self.help or "").partition("\n\n")
        formatter.write(f"{example.strip()}\n\n")
        self.format_usage(ctx, formatter)
        formatter.write_paragraph()
        formatter.write_text(" ".join(rest.split()) if "\n\n" not in rest.strip() else rest.strip())
        self.format_options(ctx, formatter)


class ExampleGroup(TyperGroup):
    """A group whose help begins with an example likewise."""

    def format_help(self, ctx: Any, formatter: Any) -> None:
        """Example, usage, the rest of the text, options, commands."""
        example, _, rest = (self.help or "").partition("\n\n")
        formatter.write(f"{example.strip()}\n\n")
        self.format_usage(ctx, formatter)
        formatter.write_paragraph()
        formatter.write_text(" ".join(rest.split()))
        self.format_options(ctx, formatter)  # the commands too


def command_app() -> typer.Typer:
    """A typer app for one module of commands. A single command: `@command(app, "name")`."""
    return typer.Typer(
        cls=ExampleGroup,
        rich_markup_mode=None,
        add_completion=False,
        context_settings=HELP_OPTIONS,
        no_args_is_help=True,
    )


def command(app: typer.Typer, name: str) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Register a command. Its docstring starts with `Example: tankfleet ...`, then an empty line, then what it does."""

    def register(function: Callable[..., Any]) -> Callable[..., Any]:
        text = " ".join((function.__doc__ or "").partition("\n\n")[2].split())
        short = text.partition(". ")[0].rstrip(".")
        return app.command(name, cls=ExampleCommand, short_help=short, context_settings=HELP_OPTIONS)(
            function
        )

    return register


@dataclass
class Session:
    """One run of the tool: `ctx.obj` of every command (get it with `session(ctx)`)."""

    output: Output = field(default_factory=Output)
    project: Path = field(default_factory=Path.cwd)
    flags: dict[str, str | None] = field(default_factory=dict)
    debug: bool = False
    today: Callable[[], date] = date.today
    """The day here, by which rulings end."""

    def settings(self) -> dict[str, Origin]:
        """All settings with their origins."""
        found = resolve(self.flags, os.environ, self.project, user_dir())
        if not found["compilers"].value:
            found["compilers"] = Origin(str(user_data_dir() / "compilers"), found["compilers"].origin)
        return found

    def setting(self, name: str) -> str:
        """The value of one setting."""
        return self.settings()[name].value

    def jobs(self) -> int:
        """How many compilers may run at the same time."""
        return int(self.setting("jobs")) or os.cpu_count() or 1

    def inventory_dir(self) -> Path:
        """The inventory folder; UsageError if it is not there."""
        folder = self.project / self.setting("inventory")
        if not folder.is_dir():
            raise UsageError(NO_PROJECT, f"there is no folder {folder}")
        return folder

    def inventory(self) -> Inventory:
        """The inventory, checked; InventoryError with all findings if any is an error."""
        return self.checked()[0]

    def checked(self) -> tuple[Inventory, list[Finding]]:
        """As `inventory`, with the findings that do not stop it, those that rulings accept among them."""
        from fleet.check.load import load_checked

        return load_checked(self.inventory_dir(), self.project, self.today())

    def workspace(self, fleet_name: str) -> Workspace:
        """The workspace of the fleet of that name, whose state folder is bound to this project. UsageError if it is
        another project's."""
        from fleet.keys.state_owner import claim_state

        workspace = self.workspace_to_look_at(fleet_name)
        state = workspace.state_dir
        try:
            used = claim_state(state, self.project, make=state.parent != self.project)
        except OSError as error:
            self.output.note(f"The folder {state} could not be bound to this project: {error}")
        else:
            if used and state.parent != self.project:
                self.output.note(f"Shelf and journal in {state} are now bound to this project.")
        return workspace

    def workspace_to_look_at(self, fleet_name: str) -> Workspace:
        """The same, whoever's it is, and left as it is."""
        state = str(Path(self.setting("state") or DEFAULT_STATE).expanduser())
        return Workspace(self.project, self.inventory_dir(), self.keys_at(fleet_name).path, state)

    def keys_at(self, fleet_name: str) -> Whereabouts:
        """Where the keys of the fleet of that name are (empty: not known), and how that folder stands to this project.
        Nothing is written; `fleet.cli.key_folder` opens it."""
        from fleet.keys.project_id import read_project_id
        from fleet.keys.whereabouts import Binding, Whereabouts, key_folder_of

        keys = self.setting("keys")
        if keys:
            return Whereabouts(self.project / Path(keys).expanduser(), Binding.NAMED)
        return key_folder_of(user_dir() / "keys", read_project_id(self.project), fleet_name)

    def compilers_dir(self) -> Path:
        """PlatformIO's core folder: what boards are compiled with, for all projects of this user."""
        return self.project / Path(self.setting("compilers")).expanduser()

    def interactive(self) -> bool:
        """Whether there is a person at a terminal to ask."""
        return sys.stdin.isatty() and sys.stderr.isatty()

    def confirm(self, question: str, *, given: bool, flag: str) -> None:
        """Ask, unless the flag was given; without a terminal the flag is needed. UsageError on no."""
        if given:
            return
        if not self.interactive():
            raise UsageError(
                NEEDS_CONFIRMATION,
                f"{question} There is no terminal to ask on.",
                fix=f"Add {flag} to the command.",
            )
        self.output.prompt(f"{question} [y/N]")
        if sys.stdin.readline().strip().lower() not in ("y", "yes"):
            fix = "To do it, run the command again and answer y."
            raise UsageError(NEEDS_CONFIRMATION, "you said no; nothing was done", fix=fix)

    def confirm_name(self, question: str, name: str, *, given: str, flag: str) -> None:
        """Ask for `name` to be typed, unless the flag gave it; UsageError for anything else."""
        typed = given
        if not given:
            if not self.interactive():
                fix = f"Add {flag} {name} to the command."
                raise UsageError(NEEDS_CONFIRMATION, f"{question} There is no terminal to ask on.", fix=fix)
            self.output.prompt(f"{question} Type {name} to continue:")
            typed = sys.stdin.readline().strip()
        if typed != name:
            fix = f"Type {name}, or add {flag} {name}."
            raise UsageError(NEEDS_CONFIRMATION, f"{typed!r} is not {name!r}; nothing was done", fix=fix)


def session(ctx: typer.Context) -> Session:
    """The session of this run."""
    return cast("Session", ctx.obj)


def user_dir() -> Path:
    """The user's folder for settings and keys (XDG base directory specification)."""
    base = os.environ.get("XDG_CONFIG_HOME") or str(Path.home() / ".config")
    return Path(base) / "tankfleet"


def user_data_dir() -> Path:
    """The user's folder for what may be large and can be had again (XDG base directory specification)."""
    base = os.environ.get("XDG_DATA_HOME") or str(Path.home() / ".local" / "share")
    return Path(base) / "tankfleet"


def short_path(path: Path) -> str:
    """A path as a person would type it: from the current folder if it lies there."""
    try:
        return str(path.relative_to(Path.cwd()))
    except ValueError:
        return str(path)


def nearest(word: str, known: Iterable[str]) -> str:
    """` Did you mean X?` for the nearest known word, or nothing."""
    import difflib

    close = difflib.get_close_matches(word, list(known), n=1, cutoff=0.6)
    return f" Did you mean {close[0]!r}?" if close else ""


_LISTED_BY = {
    "board": "show board",
    "code": "explain",
    "network": "keys networks",
    "node": "show node",
    "schema": "schema",
    "site": "show site",
    "tank": "show tank",
}
"""The command that lists the names of a kind."""


def named(word: str, kind: str, known: Sequence[str], *, listed_by: str = "") -> str:
    """`word` if it is one of the known names; UsageError with one suggestion if not, and what lists them: the command
    `listed_by`, or the one for all of that kind."""
    if word in known:
        return word
    fix = f"Run `tankfleet {listed_by or _LISTED_BY.get(kind, 'show')}` to list the names."
    raise UsageError(NO_SUCH_NAME, f"there is no {kind} {word!r}.{nearest(word, known)}", fix=fix)


def complete_names(*kinds: str) -> Callable[[typer.Context, str], list[str]]:
    """Shell completion for names of nodes, tanks or sites; silent when the inventory cannot be read."""

    def complete(ctx: typer.Context, incomplete: str) -> list[str]:
        try:
            inventory = completing(ctx).inventory()
            names = [part.name for kind in kinds for part in getattr(inventory, kind)]
        except Exception:
            return []
        return [name for name in names if name.startswith(incomplete)]

    return complete


def complete_words(words: Iterable[str]) -> Callable[[str], list[str]]:
    """Shell completion for one of these words."""

    def complete(incomplete: str) -> list[str]:
        return [word for word in words if word.startswith(incomplete)]

    return complete


def completing(ctx: typer.Context) -> Session:
    """A session for shell completion, with the project that the line so far names."""
    given = ctx.find_root().params
    this = Session(project=Path(given.get("project") or Path.cwd()).resolve())
    if given.get("inventory"):
        this.flags = {"inventory": str(Path(given["inventory"]).absolute())}
    return this
