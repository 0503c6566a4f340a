"""Running PlatformIO, one process for one project, several at a time; each has its own log."""

from __future__ import annotations

import queue
import subprocess
import sys
import threading
import time
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from fleet.build.codes import COMPILE_FAILED, DISK_FULL, FETCH_BROKEN, NO_NETWORK, PLATFORM_MISSING
from fleet.build.events import Compiled, Compiling, StillCompiling
from fleet.build.process import end_process, start_process
from fleet.errors import BuildError
from fleet.limits import BUILD_LOG_TAIL_LINES, COMPILE_TIMEOUT_S, PROGRESS_EVERY_S

if TYPE_CHECKING:
    import subprocess
    from collections.abc import Callable, Iterator, Mapping, Sequence
    from pathlib import Path

    from fleet.codes import Code

ENVIRONMENT_NAME = "node"
_NOT_FETCHED = {
    "HTTPClientError": NO_NETWORK,
    "InternetConnectionError": NO_NETWORK,
    "UnknownPackageError": PLATFORM_MISSING,
    "PackageException": FETCH_BROKEN,
}
"""Errors of PlatformIO (platformio 6.2, http.py and package/exception.py) when a package cannot be had.

All is fetched before anything is compiled (`fleet.build.fetch`): this is for what something else has taken away since.
"""
_NO_ROOM = "No space left on device"
"""ENOSPC in words, in the language that compilers are started with."""


@dataclass(frozen=True, slots=True)
class CompileJob:
    """One project folder to compile."""

    name: str
    folder: Path
    log_path: Path

    @property
    def output_dir(self) -> Path:
        """Where PlatformIO puts what it makes."""
        return self.folder / ".pio" / "build" / ENVIRONMENT_NAME


@dataclass(slots=True)
class _Running:
    job: CompileJob
    process: subprocess.Popen[bytes]
    began_s: float


@dataclass(slots=True)
class Compilers:
    """Starts compilers, `jobs` cores in all, and waits for them. `clock_s` is monotonic; the descriptors in `held`
    are handed on to them."""

    environment: Mapping[str, str]
    jobs: int
    held: tuple[int, ...] = ()
    clock_s: Callable[[], float] = time.monotonic
    ended: queue.SimpleQueue[_Running] = field(default_factory=queue.SimpleQueue)

    def run(self, jobs: Sequence[CompileJob]) -> Iterator[Compiling | StillCompiling | Compiled]:
        """Compile all; an event at least every PROGRESS_EVERY_S.

        BuildError for the first that fails or takes longer than COMPILE_TIMEOUT_S. However the run ends, no
        process that it started is left.
        """
        waiting = list(jobs)
        at_once = max(1, min(self.jobs, len(jobs)))
        running: list[_Running] = []
        began_s = self.clock_s()
        try:
            while waiting or running:
                while waiting and len(running) < at_once:
                    job = waiting.pop(0)
                    running.append(self._start(job, max(1, self.jobs // at_once)))
                    yield Compiling(job.name, job.log_path)
                ended = self._next()
                if ended is None:
                    self._refuse_late(running)
                    yield StillCompiling(tuple(r.job.name for r in running), self.clock_s() - began_s)
                    continue
                running.remove(ended)
                if ended.process.returncode != 0:
                    raise failed(ended.job, f"PlatformIO ended with {ended.process.returncode}")
                yield Compiled(ended.job.name, self.clock_s() - ended.began_s)
        finally:
            for left in running:
                end_process(left.process)

    def _start(self, job: CompileJob, cores: int) -> _Running:
        command = [sys.executable, "-m", "platformio", "run", "-d", str(job.folder), "-e", ENVIRONMENT_NAME]
        command += ["-j", str(cores)]
        process = start_process(command, job.folder, self.environment, job.log_path, self.held)
        running = _Running(job, process, self.clock_s())
        threading.Thread(target=self._wait, args=(running,), daemon=True).start()
        return running

    def _wait(self, running: _Running) -> None:
        running.process.wait()
        self.ended.put(running)

    def _next(self) -> _Running | None:
        try:
            return self.ended.get(timeout=PROGRESS_EVERY_S)
        except queue.Empty:
            return None

    def _refuse_late(self, running: Sequence[_Running]) -> None:
        for this in running:
            if self.clock_s() - this.began_s > COMPILE_TIMEOUT_S:
                raise failed(this.job, f"no result after {COMPILE_TIMEOUT_S:.0f} s")


def failed(job: CompileJob, what: str, code: Code = COMPILE_FAILED) -> BuildError:
    """The error for one job, with the last lines of its log; of `code`, if nothing else is the cause."""
    try:
        lines = job.log_path.read_text(encoding="utf-8", errors="replace").splitlines()
    except OSError:
        lines = []
    tail = "\n".join(lines[-BUILD_LOG_TAIL_LINES:])
    if any(_NO_ROOM in line for line in lines):
        return BuildError(DISK_FULL, f"{job.name}: {what}", log_path=str(job.log_path), tail=tail)
    unfetched = [code for line in lines for name, code in _NOT_FETCHED.items() if line.startswith(name)]
    if unfetched and not any("Compiling " in line for line in lines):
        wanted = [line.split(": Installing ")[1] for line in lines if "Manager: Installing " in line]
        what = f"PlatformIO could not fetch {wanted[-1] if wanted else 'what it needs'}"
        code = unfetched[0]
    return BuildError(code, f"{job.name}: {what}", log_path=str(job.log_path), tail=tail)
