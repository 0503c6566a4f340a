"""The whole command line, walked; and a project on which every command can be run in-process, without network."""

from __future__ import annotations

import atexit
import io
import shlex
import shutil
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import pytest
import typer

from fleet.build.shelf import Shelf
from fleet.cli.app import app, run
from fleet.push.state import PushState
from fleet.workspace import Workspace
from tests.push.plans import plan_of, planned
from tests.push.stage import Stage, begun, push
from tests.push.yard import lay_out

GROUPS = ("bench", "keys")
CHANGES_NODES = ("flash", "push", "resume", "stop", "roll-back", "rejoin", "clear-fault")
"""What sends anything to a node that changes it."""


@dataclass(frozen=True)
class Found:
    """One command: its words, and typer's object."""

    words: tuple[str, ...]
    command: Any

    @property
    def name(self) -> str:
        return " ".join(self.words)

    @property
    def options(self) -> list[Any]:
        return [param for param in self.command.params if param.param_type_name == "option"]

    @property
    def arguments(self) -> list[Any]:
        return [param for param in self.command.params if param.param_type_name == "argument"]

    def has(self, flag: str) -> bool:
        return any(flag in option.opts for option in self.options)


def root() -> Any:
    """Typer's object of `tankfleet` itself."""
    return typer.main.get_command(app)


def commands() -> list[Found]:
    """Every command that does something, groups left out."""
    return [found for found in everything() if not hasattr(found.command, "list_commands")]


def everything() -> list[Found]:
    """Every command and every group."""
    return list(_walk(root(), ()))


def _walk(command: Any, words: tuple[str, ...]) -> Iterator[Found]:
    if words:
        yield Found(words, command)
    if hasattr(command, "list_commands"):
        for name in command.list_commands(None):
            yield from _walk(command.get_command(None, name), (*words, name))


def examples_of(help_text: str) -> list[list[str]]:
    """The command lines of the example that a help begins with."""
    line = help_text.splitlines()[0].removeprefix("Example: ")
    words = shlex.split(line.replace("&&", " ; ").replace(">", " ; "))
    lines: list[list[str]] = [[]]
    for word in words:
        if word == ";":
            lines.append([])
        else:
            lines[-1].append(word)
    return [one[1:] for one in lines if one[:1] == ["tankfleet"]]


class Terminal(io.StringIO):
    """A stream that says it is a terminal."""

    def isatty(self) -> bool:
        return True


@cache
def _laid_out() -> Path:
    """The project as it is at first, made once: each test gets a copy."""
    folder = Path(tempfile.mkdtemp(prefix="tankfleet-test-"))
    atexit.register(shutil.rmtree, folder)
    lay_out(folder / "farm", list(Farm.names))
    return folder / "farm"


class Farm:
    """A project with three nodes that are all away, keys, a shelf of made-up images, and a push in its journal."""

    names = ("farm-a", "farm-b", "farm-c")

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        shutil.copytree(_laid_out(), folder)
        self.workspace = Workspace(folder, folder / "inventory", folder / "keys")

    def run(self, *words: str) -> int:
        return run(["--project", str(self.folder), *words])

    def pushed(self, *, until: str = "done") -> PushState:
        """A push of all three nodes: `done`, or cut off when the first of them is `sending` or `on-trial`."""
        # The image of plans.NEW, and what stands for its ticket:
        sha = Shelf(self.workspace.shelf_dir).put_object(b"new")
        one, *rest = (planned(name, size_bytes=3, ticket_sha256=sha) for name in self.names)
        stage = Stage(plan_of([one], rest))
        journal = begun(stage, self.folder / ".tankfleet")
        reporter = _Until(until)
        try:
            push(stage, journal, reporter=reporter)
        except _CutOffError:
            pass
        finally:
            state = journal.state(stage.plan.id)
            journal.close()
        return state


class _CutOffError(Exception):
    """The program ends here."""


class _Until:
    """A reporter that ends the program when the first node stands like that."""

    def __init__(self, stands: str) -> None:
        self._stands = stands

    def begins(self, state: PushState) -> None:
        pass

    def happened(self, event: object, before: PushState, after: PushState) -> None:
        if any(node.stands == self._stands for node in after.nodes.values()):
            raise _CutOffError

    def progress(self, node: str, sent_bytes: int, size_bytes: int) -> None:
        pass

    def interrupted(self, awaited: object) -> None:
        pass


@pytest.fixture
def farm(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Farm:
    """The project, as the current folder."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    farm = Farm(tmp_path / "farm")
    monkeypatch.chdir(farm.folder)
    return farm
