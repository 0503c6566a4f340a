"""Compiled programs, kept by the digest of all that went into them: the same inputs are never compiled
twice."""

from __future__ import annotations

import hashlib
import json
from base64 import b64decode, b64encode
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleet.build.codes import CHANGED_MEANWHILE, NOTHING_BESIDE, OTHER_PACKAGES
from fleet.build.compile import CompileJob, Compilers, failed
from fleet.build.core_dir import SCONS_LOCK, platformio_environment, prepare_core_dir
from fleet.build.events import Compiled
from fleet.build.fetch import Fetcher, core_dir_error
from fleet.build.project_dir import strangers, write_fresh, write_project
from fleet.build.record import BOOT_LOADER, PARTITIONS, source_digests
from fleet.build.stamp import section_sizes
from fleet.build.versions import other_packages, tool_versions
from fleet.durable import replace_file
from fleet.limits import PROGRAMS_KEPT
from fleet.render.project import BLOCK_SOURCE, PARTITION_TABLE, render_board_settings

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from pathlib import Path

    from fleet.boards.board import Board
    from fleet.build.events import BuildEvent, FetchEvent
    from fleet.build.tools import BuildTools

_NOT_COMPILED = (BLOCK_SOURCE, "README.md")
_BESIDE = {BOOT_LOADER: "bootloader.bin", PARTITIONS: "partitions.bin"}
"""Files beside the image, from PlatformIO's espressif32 platform with the Arduino core.

As read in `tools/platformio-build.py` of its package framework-arduinoespressif32 3.20014.231204 (core 2.0.14): the
image depends on `$BUILD_DIR/bootloader.bin`, made of the core's own boot loader for that flash mode and rate,
unless the board's variant has a boot loader of its own (none of ours has), and on `$BUILD_DIR/partitions.bin`, made
of the project's `partitions.csv`, as neither variant nor core has a table of that name. `$BUILD_DIR` is where the
image is.
"""


@dataclass(frozen=True, slots=True)
class Program:
    """One program to have: its name, its defect if any, its whole project, and the digest of what it is made
    from.

    The node block is no part of the digest: it is stamped. Classes whose code is the same have the same
    digest.
    """

    name: str
    defect: str
    project: Mapping[str, bytes]
    digest: str
    board: Board | None = None
    """None: for the host."""

    @property
    def for_board(self) -> bool:
        """Whether PlatformIO's platform for a chip makes it."""
        return self.board is not None

    @property
    def outputs(self) -> tuple[str, str]:
        """What PlatformIO makes: the image, and the ELF file with its symbols."""
        return ("firmware.bin", "firmware.elf") if self.for_board else ("image.elf", "program.elf")

    @property
    def title(self) -> str:
        """What it is called in messages."""
        return self.name + (f"+{self.defect}" if self.defect else "")

    @property
    def slug(self) -> str:
        """A name for its folder and its log."""
        return self.title.replace("/", "_")


@dataclass(frozen=True, slots=True)
class Built:
    """A compiled program: the image's bytes (host: stripped ELF), a board's ELF file, and facts for its build record.

    `sources` is path to SHA-256, `versions` tool to version, `sizes` section sizes in bytes. `beside` is what else a
    first load over USB writes, by name: boot loader and partition table of the ESP32 family.
    """

    image: bytes
    elf: bytes
    sources: dict[str, str]
    versions: dict[str, str]
    sizes: dict[str, int]
    beside: dict[str, bytes]


def program_of(
    name: str, defect: str, project: Mapping[str, bytes], tools: BuildTools, board: Board | None = None
) -> Program:
    """The program that a project makes with these tools, for that board; None: for the host."""
    digest = hashlib.sha256(f"{tools.identity()}\n{defect}\n".encode())
    for path, sha in source_digests(project).items():
        if path not in _NOT_COMPILED:
            digest.update(f"{path} {sha}\n".encode())
    return Program(name, defect, project, digest.hexdigest(), board)


@dataclass(frozen=True, slots=True)
class Programs:
    """The programs compiled so far, in a folder."""

    build_dir: Path
    core_dir: Path
    """PlatformIO's."""
    environment: Mapping[str, str]
    lock: int
    """Descriptor of the lock that the compilers hold with us."""

    def find(self, program: Program) -> Built | None:
        """The program, if it is compiled and its bytes are those that were written; None if not."""
        image_path, elf_path, facts_path = self._paths(program)
        try:
            image = image_path.read_bytes()
            elf = elf_path.read_bytes() if program.for_board else b""
            facts = json.loads(facts_path.read_text(encoding="utf-8"))
        except (FileNotFoundError, ValueError):
            return None
        if "beside" not in facts or facts.get("image") != hashlib.sha256(image + elf).hexdigest():
            return None
        beside = {name: b64decode(text) for name, text in facts["beside"].items()}
        return Built(image, elf, facts["sources"], facts["versions"], facts["sizes"], beside)

    def get(self, program: Program) -> Built:
        """The program, which has just been compiled. LookupError if it is not there."""
        built = self.find(program)
        if built is None:
            raise LookupError(f"{program.title} was compiled but is not in {self.build_dir}")
        return built

    def fetch(
        self, boards: Sequence[Board], templates: Mapping[str, bytes], tools: BuildTools
    ) -> Iterator[FetchEvent]:
        """Bring what projects for these boards are compiled with; the last event is a FetchResult. BuildError."""
        folders = []
        for board in boards:
            folders.append(self.build_dir / "fetch" / board.id)
            settings = render_board_settings(board, templates=templates)
            write_project(folders[-1], {"platformio.ini": settings})
        yield from Fetcher(
            self._environment(tools), self.core_dir, self.build_dir / "logs" / "fetch.log"
        ).run(folders)

    def _environment(self, tools: BuildTools) -> dict[str, str]:
        """PlatformIO's, with its core folder laid out. BuildError (BLD112, BLD115) if that cannot be."""
        try:
            prepare_core_dir(self.core_dir, tools)
        except OSError as error:
            raise core_dir_error(self.core_dir, error) from error
        return platformio_environment(self.environment, self.core_dir, self.build_dir / "objects", tools)

    def compile(self, programs: Sequence[Program], tools: BuildTools, jobs: int) -> Iterator[BuildEvent]:
        """Compile what is asked for, whether it is there or not. Those that can share objects go after one
        another."""
        environment = self._environment(tools)
        # Nobody compiles here: the build's lock is ours.
        (self.build_dir / "objects" / SCONS_LOCK).unlink(missing_ok=True)
        by_name = {program.title: (program, self._prepared(program)) for program in programs}
        todo = [job for _, job in by_name.values()]
        for batch in filter(None, (todo[:1], todo[1:])):
            for event in Compilers(environment, jobs, held=(self.lock,)).run(batch):
                if isinstance(event, Compiled):
                    self._keep(*by_name[event.name], tools)
                yield event
        self._forget_old()

    def _prepared(self, program: Program) -> CompileJob:
        """The program's project in its folder, and nothing else: neither what earlier runs left nor what anybody put
        there."""
        folder = self.build_dir / "classes" / program.slug
        write_fresh(folder, program.project)
        return CompileJob(program.title, folder, self.build_dir / "logs" / f"{program.slug}.log")

    def _keep(self, program: Program, job: CompileJob, tools: BuildTools) -> None:
        log = job.log_path.read_text(encoding="utf-8", errors="replace") if program.board else ""
        versions = tool_versions(tools, log)
        if program.board and (wrong := other_packages(versions, program.board.packages)):
            raise failed(job, ", ".join(wrong), OTHER_PACKAGES)
        try:
            image, symbols = ((job.output_dir / name).read_bytes() for name in program.outputs)
        except FileNotFoundError as error:
            raise failed(job, f"PlatformIO made no {error.filename}") from error
        beside = _beside(program, job)
        sources = _compiled_sources(program, job)
        image_path, elf_path, facts_path = self._paths(program)
        elf = symbols if program.for_board else b""
        if program.for_board:
            replace_file(elf_path, elf)
        replace_file(image_path, image)
        sha = hashlib.sha256(image + elf).hexdigest()
        facts = {
            "image": sha,
            "sources": sources,
            "versions": versions,
            "sizes": section_sizes(symbols),
            "beside": {name: b64encode(data).decode() for name, data in beside.items()},
        }
        replace_file(facts_path, json.dumps(facts).encode())

    def _paths(self, program: Program) -> tuple[Path, Path, Path]:
        """Of the image, of a board's ELF file, of the facts."""
        start = self.build_dir / "programs" / program.digest
        image = start.with_suffix(".bin" if program.for_board else ".elf")
        return image, start.with_suffix(".elf"), start.with_suffix(".json")

    def _forget_old(self) -> None:
        kept = sorted((self.build_dir / "programs").glob("*.elf"), key=lambda path: path.stat().st_mtime_ns)
        for path in kept[:-PROGRAMS_KEPT]:
            path.with_suffix(".json").unlink(missing_ok=True)
            path.with_suffix(".bin").unlink(missing_ok=True)
            path.unlink()


def _compiled_sources(program: Program, job: CompileJob) -> dict[str, str]:
    """Path to SHA-256 of what the compiler was given: the project, and nothing else. BuildError (BLD120) if the folder
    holds anything else after the run."""
    others = strangers(job.folder, program.project)
    if others:
        raise failed(job, f"in {job.folder}: {', '.join(others)}", CHANGED_MEANWHILE)
    return source_digests({p: d for p, d in program.project.items() if p not in _NOT_COMPILED})


def _beside(program: Program, job: CompileJob) -> dict[str, bytes]:
    """What else a first load needs: all of it, or BuildError (BLD109)."""
    if PARTITION_TABLE not in program.project:
        return {}
    try:
        return {name: (job.output_dir / file).read_bytes() for name, file in _BESIDE.items()}
    except FileNotFoundError as error:
        raise failed(job, f"PlatformIO made no {error.filename}", NOTHING_BESIDE) from error
