"""What a build tells while it runs. Reporters (terminal, JSON, tests) decide what to show."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    from fleet.build.entry import ShelfEntry


@dataclass(frozen=True, slots=True)
class Compiling:
    """A compiler run has started for one class."""

    name: str
    log_path: Path


@dataclass(frozen=True, slots=True)
class StillCompiling:
    """These are still running, `took_s` seconds after the first began."""

    names: tuple[str, ...]
    took_s: float


@dataclass(frozen=True, slots=True)
class Compiled:
    """One class is compiled."""

    name: str
    took_s: float


@dataclass(frozen=True, slots=True)
class Shelving:
    """So many of the images are stamped, signed and shelved."""

    done: int
    total: int


@dataclass(frozen=True, slots=True)
class ClassResult:
    """One firmware class of a build: how many of its nodes got a new ticket (`made`), had missing files made
    again (`restored`) or needed nothing (`unchanged`); the size of its largest image.

    `compile_s` is how long the compiler ran for its program, None if it did not have to; `program` names that
    run, which serves every class whose code is the same.
    """

    name: str
    nodes: int
    made: int
    restored: int
    unchanged: int
    size_bytes: int
    program: str | None
    compile_s: float | None


@dataclass(frozen=True, slots=True)
class BuildResult:
    """The last event of a build: what is now on the shelf for the nodes asked for.

    `made` names the nodes that got a new ticket, `restored` those whose missing files were made again under
    the ticket they had, `compiled` the compiler runs.
    """

    entries: tuple[ShelfEntry, ...]
    classes: tuple[ClassResult, ...]
    made: tuple[str, ...]
    restored: tuple[str, ...]
    compiled: tuple[str, ...]

    @property
    def changed(self) -> bool:
        """Whether anything was done at all."""
        return bool(self.made or self.restored or self.compiled)


BuildEvent = Compiling | StillCompiling | Compiled | Shelving | BuildResult
