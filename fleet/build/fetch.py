"""Fetching what boards are compiled with, before anything is compiled: a package after the other, one run at a time."""

from __future__ import annotations

import errno
import json
import os
import queue
import sys
import threading
import time
from dataclasses import dataclass, field, replace
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any

from fleet.build.codes import (
    DISK_FULL,
    FETCH_BROKEN,
    FETCH_STALLED,
    NO_COMPILERS_FOLDER,
    NO_NETWORK,
    PLATFORM_MISSING,
)
from fleet.build.compile import ENVIRONMENT_NAME
from fleet.build.events import Fetched, Fetching, FetchPlanned, FetchResult, FetchStep, Package
from fleet.build.lock import locked
from fleet.build.process import end_process, start_process
from fleet.build.unfinished import SIGN, clear_unfinished, is_unfinished, litter_dir, marker_path
from fleet.errors import BuildError, LockedError
from fleet.limits import (
    BUILD_LOG_TAIL_LINES,
    FETCH_QUIET_S,
    FETCH_REACH_S,
    FETCH_STALL_S,
    FETCH_TRIES,
    PROGRESS_EVERY_S,
    UNPACK_STALL_S,
)

if TYPE_CHECKING:
    import subprocess
    from collections.abc import Callable, Iterator, Mapping, Sequence
    from pathlib import Path

    from fleet.build.events import FetchEvent

_CAUSES = {
    "no-network": NO_NETWORK,
    "disk-full": DISK_FULL,
    "unknown": PLATFORM_MISSING,
    "stalled": FETCH_STALLED,
    "broken": FETCH_BROKEN,
}
_STEPS = {"receiving": FetchStep.RECEIVING, "unpacking": FetchStep.UNPACKING}
_PAUSE = threading.Event()
_ENDED = {"is": "ended"}


@dataclass(slots=True)
class _Tally:
    """What has been told so far."""

    folder: Path
    now: Fetching = field(default_factory=lambda: Fetching(FetchStep.LOOKING))
    sizes: dict[str, int | None] = field(default_factory=dict)
    got: dict[str, int] = field(default_factory=dict)
    began_with: dict[str, int] = field(default_factory=dict)
    """Bytes of a package's archive that an earlier run had left."""
    fetched: list[tuple[str, str]] = field(default_factory=list)
    """Name and version."""
    receiving_s: float = 0.0

    def took(self, line: Mapping[str, Any], passed_s: float) -> FetchEvent | None:
        """Take in what the fetcher says, `passed_s` after it said the last thing."""
        what, name = line["is"], line.get("name", "")
        if what == "planned":
            sizes = {one["name"]: one["bytes"] for one in line["packages"]}
            self.sizes |= sizes
            known = [size for size in sizes.values() if size is not None]
            return FetchPlanned(tuple(sizes), sum(known) if len(known) == len(sizes) else None, self.folder)
        if what in _STEPS:
            if what == "receiving":
                self._received(name, int(line["done"]), line["of"], passed_s)
            number = list(self.sizes).index(name) + 1 if name in self.sizes else 0
            self.now = replace(
                self.now,
                step=_STEPS[what],
                name=name,
                number=number,
                count=len(self.sizes),
                done=line["done"],
                of=line["of"] if line["of"] is not None else self.sizes.get(name),
                all_bytes=sum(self.got.values()),
                left_s=self._left_s(),
            )
            return self.now
        if what == "fetched":
            self.fetched.append((line["package"], line["version"]))
            return Fetched(*self.fetched[-1], len(self.fetched), len(self.sizes))
        return None

    def _received(self, name: str, done: int, of: int | None, passed_s: float) -> None:
        if name not in self.began_with and done:
            self.began_with[name] = done
        elif done > self.got.get(name, 0):
            self.receiving_s += passed_s
        self.got[name] = done
        if of is not None:
            self.sizes[name] = of

    def _left_s(self) -> float | None:
        came = sum(self.got.values()) - sum(self.began_with.values())
        sizes = list(self.sizes.values())
        if came <= 0 or self.receiving_s <= 0 or None in sizes:
            return None
        rest = sum(size or 0 for size in sizes) - sum(self.got.values())
        return max(0, rest) * self.receiving_s / came


@dataclass(frozen=True, slots=True)
class Fetcher:
    """Fetches into PlatformIO's core folder `core_dir`. `environment` is that of PlatformIO; `clock_s` is monotonic."""

    environment: Mapping[str, str]
    core_dir: Path
    log_path: Path
    clock_s: Callable[[], float] = time.monotonic

    def run(self, projects: Sequence[Path]) -> Iterator[FetchEvent]:
        """Bring all that the projects need; an event at least every PROGRESS_EVERY_S, the last one a FetchResult.

        BuildError: BLD107 (not in the registry), BLD110 (no network), BLD111 (nothing comes any more), BLD112 (disk
        full), BLD113 (does not arrive whole), BLD115 (the folder cannot be written). However the run ends, no process
        that it started is left, and what is in the folder is whole; what came of an archive is kept for the next run.
        """
        try:
            yield from self._alone(projects)
        except OSError as error:
            raise core_dir_error(self.core_dir, error) from error

    def _alone(self, projects: Sequence[Path]) -> Iterator[FetchEvent]:
        """Wait for another run, then put right what a run that was killed has left, then fetch."""
        while True:
            try:
                with locked(self.core_dir / "fetching.lock") as lock:
                    if is_unfinished(self.core_dir):
                        clear_unfinished(self.core_dir, keep_archives=True)
                    yield from self._fetch(projects, lock)
                    return
            except LockedError:
                yield Fetching(FetchStep.OTHER_RUN)
                _PAUSE.wait(PROGRESS_EVERY_S)

    def _fetch(self, projects: Sequence[Path], lock: int) -> Iterator[FetchEvent]:
        keep_archives = True
        lines: queue.SimpleQueue[dict[str, Any]] = queue.SimpleQueue()
        process = self._start(projects, lock, lines)
        try:
            yield from self._follow(process, lines)
            keep_archives = False
        except BuildError as error:
            keep_archives = error.code is not DISK_FULL
            raise
        finally:
            end_process(process)
            clear_unfinished(self.core_dir, keep_archives=keep_archives)

    def _start(
        self, projects: Sequence[Path], lock: int, lines: queue.SimpleQueue[dict[str, Any]]
    ) -> subprocess.Popen[bytes]:
        events, told = os.pipe()
        orders = {
            "events": told,
            "marker": str(marker_path(self.core_dir)),
            "litter": str(litter_dir(self.core_dir)),
            "sign": SIGN,
            "projects": [str(project) for project in projects],
            "environment": ENVIRONMENT_NAME,
            "tries": FETCH_TRIES,
            "quiet_s": FETCH_QUIET_S,
            "reach_s": FETCH_REACH_S,
        }
        spec = find_spec("fleet.build.fetcher")
        if spec is None or spec.origin is None:
            raise FileNotFoundError("fleet/build/fetcher.py")
        try:
            command = [sys.executable, "-P", spec.origin, json.dumps(orders)]
            process = start_process(command, self.core_dir, self.environment, self.log_path, (told, lock))
        except BaseException:
            os.close(events)
            raise
        finally:
            os.close(told)
        threading.Thread(target=_read, args=(events, lines), daemon=True).start()
        return process

    def _follow(
        self, process: subprocess.Popen[bytes], lines: queue.SimpleQueue[dict[str, Any]]
    ) -> Iterator[FetchEvent]:
        """Tell what the fetcher tells, until it is done; and say so where it tells nothing new for too long."""
        tally = _Tally(self.core_dir)
        moved_s = said_s = self.clock_s()
        yield tally.now
        while True:
            line = _next(lines)
            now_s = self.clock_s()
            if line is None:
                self._refuse_still(tally.now, now_s - moved_s)
                yield tally.now
                continue
            if line["is"] == "failed":
                raise self._failed(
                    _CAUSES[line["cause"]], f"{line['name'] or 'the registry'}: {line['what']}"
                )
            if line["is"] == "ready":
                process.wait()
                packages = (
                    Package(name, version, (name, version) in tally.fetched)
                    for name, version in line["packages"]
                )
                yield FetchResult(self.core_dir, tuple(packages))
                return
            if line is _ENDED:
                raise self._failed(FETCH_BROKEN, f"the fetcher ended with {process.wait()}")
            event = tally.took(line, now_s - said_s)
            moved_s = said_s = now_s
            if event is not None:
                yield event

    def _refuse_still(self, now: Fetching, still_s: float) -> None:
        """The fetcher tells of each byte and file: what it does not tell did not happen."""
        limit_s = UNPACK_STALL_S if now.step is FetchStep.UNPACKING else FETCH_STALL_S
        if still_s > limit_s:
            where = f"{now.name}, {now.done} of {now.of or '?'}" if now.name else "the registry"
            raise self._failed(FETCH_STALLED, f"{where}: nothing new for {still_s:.0f} s")

    def _failed(self, code: Any, what: str) -> BuildError:
        try:
            lines = self.log_path.read_text(encoding="utf-8", errors="replace").splitlines()
        except OSError:
            lines = []
        tail = "\n".join(lines[-BUILD_LOG_TAIL_LINES:])
        return BuildError(code, what, log_path=str(self.log_path), tail=tail)


def core_dir_error(core_dir: Path, error: OSError) -> BuildError:
    """Why the folder of compilers could not be used."""
    full = error.errno in (errno.ENOSPC, errno.EDQUOT)
    return BuildError(DISK_FULL if full else NO_COMPILERS_FOLDER, f"{core_dir}: {error.strerror or error}")


def _read(events: int, lines: queue.SimpleQueue[dict[str, Any]]) -> None:
    with os.fdopen(events, "rb") as file:
        for line in file:
            lines.put(json.loads(line))
    lines.put(_ENDED)


def _next(lines: queue.SimpleQueue[dict[str, Any]]) -> dict[str, Any] | None:
    try:
        return lines.get(timeout=PROGRESS_EVERY_S)
    except queue.Empty:
        return None
