"""What a build tells while it runs. Reporters (terminal, JSON, tests) decide what to show."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    from fleet.build.entry import ShelfEntry
    from fleet.json_values import Count, NotNegative, Some


class FetchStep(Enum):
    """What is awaited while compilers and cores are fetched."""

    OTHER_RUN = "another run fetches"
    LOOKING = "what is there, and what is needed"
    RECEIVING = "bytes of an archive"
    UNPACKING = "files of an archive"


@dataclass(frozen=True, slots=True)
class FetchPlanned:
    """These packages are not here: names, bytes of all archives (None: not known), and the folder they go into."""

    names: tuple[str, ...]
    size_bytes: int | None
    folder: Path


@dataclass(frozen=True, slots=True)
class Fetching:
    """A package on its way, `number` of `count`.

    `done` of `of` (None or 0: not known) are bytes while it is received, files while it is unpacked; `all_bytes` have
    come of all archives; `left_s` is how long the rest of the bytes takes at the rate so far, None while that is not
    known.
    """

    step: FetchStep
    name: str = ""
    number: int = 0
    count: int = 0
    done: int = 0
    of: int | None = None
    all_bytes: int = 0
    left_s: float | None = None


@dataclass(frozen=True, slots=True)
class Fetched:
    """One package is there, whole."""

    name: str
    version: str
    number: int
    count: int


@dataclass(frozen=True, slots=True)
class Package:
    """One package in one version; two boards may need two versions. `new`: it was not there before."""

    name: str
    version: str
    new: bool


@dataclass(frozen=True, slots=True)
class FetchResult:
    """All that the boards need is there."""

    folder: Path
    packages: tuple[Package, ...]


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
    """One firmware class of a build."""

    name: str
    nodes: Some
    made: Count
    """Nodes that got a new ticket."""
    restored: Count
    """Nodes whose missing files were made again under the ticket that they had."""
    unchanged: Count
    size_bytes: Some
    """Of its largest image."""
    program: str | None
    """The compiler run that it needed; one run serves all classes with the same code. Null: none was needed."""
    compile_s: NotNegative | None
    """How long that run took."""


@dataclass(frozen=True, slots=True)
class BuildResult:
    """The last event of a build: what is now on the shelf for the nodes asked for."""

    entries: tuple[ShelfEntry, ...]
    classes: tuple[ClassResult, ...]
    """One for each firmware class."""
    made: tuple[str, ...]
    """Nodes that got a new ticket."""
    restored: tuple[str, ...]
    """Nodes whose missing files were made again under the ticket that they had."""
    compiled: tuple[str, ...]
    """Programs that the compiler ran for."""

    @property
    def changed(self) -> bool:
        """Whether anything was done at all."""
        return bool(self.made or self.restored or self.compiled)


FetchEvent = FetchPlanned | Fetching | Fetched | FetchResult
BuildEvent = FetchEvent | Compiling | StillCompiling | Compiled | Shelving | BuildResult
