"""Compiled programs, kept by the digest of all that went into them: the same inputs are never compiled
twice."""

from __future__ import annotations

import hashlib
import json
import shutil
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleet.build.compile import CompileJob, Compilers, failed
from fleet.build.core_dir import platformio_environment, prepare_core_dir
from fleet.build.durable import replace_file
from fleet.build.events import Compiled
from fleet.build.project_dir import write_project
from fleet.build.record import source_digests
from fleet.build.stamp import section_sizes
from fleet.build.versions import tool_versions
from fleet.limits import PROGRAMS_KEPT
from fleet.render.project import BLOCK_SOURCE

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from pathlib import Path

    from fleet.build.events import BuildEvent
    from fleet.build.tools import HostTools

_NOT_COMPILED = (BLOCK_SOURCE, "README.md")


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
    """A compiled program: the image's bytes (stripped ELF) and the facts for its build record.

    `sources` is path to SHA-256, `versions` tool to version, `sizes` section sizes in bytes.
    """

    image: bytes
    sources: dict[str, str]
    versions: dict[str, str]
    sizes: dict[str, int]


def program_of(name: str, defect: str, project: Mapping[str, bytes], tools: HostTools) -> Program:
    """The program that a project makes with these tools."""
    digest = hashlib.sha256(f"{tools.identity()}\n{defect}\n".encode())
    for path, sha in source_digests(project).items():
        if path not in _NOT_COMPILED:
            digest.update(f"{path} {sha}\n".encode())
    return Program(name, defect, project, digest.hexdigest())


@dataclass(frozen=True, slots=True)
class Programs:
    """The programs compiled so far, in a folder."""

    build_dir: Path
    environment: Mapping[str, str]
    lock: int
    """Descriptor of the lock that the compilers hold with us."""

    def find(self, program: Program) -> Built | None:
        """The program, if it is compiled and its bytes are those that were written; None if not."""
        image_path, facts_path = self._paths(program)
        try:
            image = image_path.read_bytes()
            facts = json.loads(facts_path.read_text(encoding="utf-8"))
        except (FileNotFoundError, ValueError):
            return None
        if facts.get("image") != hashlib.sha256(image).hexdigest():
            return None
        return Built(image, facts["sources"], facts["versions"], facts["sizes"])

    def get(self, program: Program) -> Built:
        """The program, which has just been compiled. LookupError if it is not there."""
        built = self.find(program)
        if built is None:
            raise LookupError(f"{program.title} was compiled but is not in {self.build_dir}")
        return built

    def compile(self, programs: Sequence[Program], tools: HostTools, jobs: int) -> Iterator[BuildEvent]:
        """Compile what is asked for, whether it is there or not. Those that can share objects go after one
        another."""
        core_dir = prepare_core_dir(self.build_dir / "core", tools)
        environment = platformio_environment(self.environment, core_dir, self.build_dir / "objects", tools)
        versions = tool_versions(tools)
        by_name = {program.title: (program, self._prepared(program)) for program in programs}
        todo = [job for _, job in by_name.values()]
        for batch in filter(None, (todo[:1], todo[1:])):
            for event in Compilers(environment, jobs, held=(self.lock,)).run(batch):
                if isinstance(event, Compiled):
                    self._keep(*by_name[event.name], versions)
                yield event
        self._forget_old()

    def _prepared(self, program: Program) -> CompileJob:
        """The program's project in its folder, without what earlier runs left there."""
        folder = self.build_dir / "classes" / program.slug
        write_project(folder, program.project)
        shutil.rmtree(folder / ".pio", ignore_errors=True)
        return CompileJob(program.title, folder, self.build_dir / "logs" / f"{program.slug}.log")

    def _keep(self, program: Program, job: CompileJob, versions: Mapping[str, str]) -> None:
        try:
            image = (job.output_dir / "image.elf").read_bytes()
            sizes = section_sizes((job.output_dir / "program.elf").read_bytes())
        except FileNotFoundError as error:
            raise failed(job, f"PlatformIO made no {error.filename}") from error
        sources = source_digests({p: d for p, d in program.project.items() if p not in _NOT_COMPILED})
        image_path, facts_path = self._paths(program)
        replace_file(image_path, image)
        sha = hashlib.sha256(image).hexdigest()
        facts = {"image": sha, "sources": sources, "versions": dict(versions), "sizes": sizes}
        replace_file(facts_path, json.dumps(facts).encode())

    def _paths(self, program: Program) -> tuple[Path, Path]:
        folder = self.build_dir / "programs"
        return folder / f"{program.digest}.elf", folder / f"{program.digest}.json"

    def _forget_old(self) -> None:
        kept = sorted((self.build_dir / "programs").glob("*.elf"), key=lambda path: path.stat().st_mtime_ns)
        for path in kept[:-PROGRAMS_KEPT]:
            path.with_suffix(".json").unlink(missing_ok=True)
            path.unlink()
