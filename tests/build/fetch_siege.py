"""Fetching under siege: `python -m tests.build.fetch_siege INTERRUPTED BROKEN FULL [SEED]`.

So many times a run is interrupted (Ctrl-C) at a random moment, an archive breaks at a random byte, and the disk (a
small tmpfs in a mount namespace of its own) is full at a random size. After each, nothing half unpacked may count as a
package, and the next run must go on to the end. A failure names the seed.
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

from fleet.build.programs import Programs
from fleet.build.tools import board_tools
from fleet.errors import BuildError
from fleet.resources import load_templates
from tests.build.registry import FILES, PACKAGES, Registry, Trouble, serving, standin_board


class Siege:
    """One folder of compilers, emptied before each attack."""

    def __init__(self, folder: Path, registry: Registry, rng: random.Random) -> None:
        self.folder, self.registry, self.rng = folder, registry, rng
        self.core = folder / "core"
        self.begin()
        began_s = time.monotonic()
        self.fetch()
        self.whole_run_s = time.monotonic() - began_s

    def begin(self) -> None:
        """From nothing."""
        for path in self.folder.iterdir():
            shutil.rmtree(path)
        (self.folder / "build").mkdir()
        self.registry.troubles.clear()

    def fetch(self) -> None:
        """To the end, or BuildError."""
        store = Programs(self.folder / "build", self.core, self.registry.environment(), 0)
        for _ in store.fetch([standin_board()], load_templates(), board_tools()):
            pass

    def hold(self, what: str) -> None:
        """What must be so after an attack: each package is whole or not there, and the next run makes all so."""
        cores = self.core / "packages" / "framework-standin"
        if cores.is_dir() and len(list((cores / "cores").glob("*.h"))) != FILES + 1:
            raise AssertionError(f"{what}: a half unpacked package counts as there")
        self.registry.troubles.clear()
        self.fetch()
        if len(list((cores / "cores").glob("*.h"))) != FILES + 1:
            raise AssertionError(f"{what}: the next run did not make it whole")
        there = {path.name for place in ("platforms", "packages") for path in (self.core / place).iterdir()}
        if there != {*PACKAGES, "tool-scons"}:
            raise AssertionError(f"{what}: {sorted(there)}")
        for left in (self.core / "fetching.json", self.core / ".cache" / "fetching"):
            if left.exists():
                raise AssertionError(f"{what}: {left.name} was left")

    def interrupt(self) -> None:
        """Ctrl-C, as a terminal sends it: to this very process."""
        self.begin()
        wait_s = self.rng.uniform(0.1, self.whole_run_s)
        timer = threading.Timer(wait_s, os.kill, (os.getpid(), signal.SIGINT))
        timer.start()
        try:
            self.fetch()
            timer.join()
            threading.Event().wait()  # the signal is on its way
        except KeyboardInterrupt:
            pass
        timer.cancel()
        self.hold(f"Ctrl-C after {wait_s:.3f} s")

    def break_off(self) -> None:
        """An archive is cut off or altered, each time that it is asked for."""
        self.begin()
        name = self.rng.choice(list(PACKAGES))
        size = len(self.registry.archives[name])
        cut = self.rng.randrange(size)
        trouble = self.rng.choice(
            (
                Trouble(cut_after_bytes=0, always=True),
                Trouble(cut_after_bytes=cut),
                Trouble(other_bytes=True, always=True),
                Trouble(other_bytes=True, cut_after_bytes=cut),
                Trouble(status=self.rng.choice((403, 404, 500, 503)), always=True),
            )
        )
        self.registry.troubles[name] = trouble
        try:
            self.fetch()
        except BuildError as error:
            if error.code.code != "BLD113":
                raise AssertionError(f"{name}, {trouble}: {error}") from error
        self.hold(f"{name}, {trouble}")

    def fill(self) -> None:
        """A disk with less room than it takes; then one with enough."""
        self.begin()
        self.core.mkdir()
        pages = self.rng.randrange(18, 230)
        mount = ["mount", "-t", "tmpfs", "-o", f"size={pages * 4}k", "none", str(self.core)]
        subprocess.run(mount, check=True)
        try:
            try:
                self.fetch()
            except BuildError as error:
                if error.code.code != "BLD112":
                    raise AssertionError(f"a disk of {pages} pages: {error}\n{error.tail}") from error
                if list(self.core.glob(".cache/fetching/*")):
                    raise AssertionError(
                        f"a disk of {pages} pages: what was unfinished takes room"
                    ) from error
            else:
                raise AssertionError(f"a disk of {pages} pages is large enough")
            subprocess.run(["mount", "-o", "remount,size=16m", str(self.core)], check=True)
            self.hold(f"a disk of {pages} pages")
        finally:
            subprocess.run(["umount", str(self.core)], check=True)


def main(words: list[str]) -> int:
    """All attacks; the last line says how many of each were gone on from."""
    interrupted, broken, full, seed = (int(word) for word in [*words, "1"][:4])
    if not words[4:]:
        alone = ["unshare", "--user", "--map-root-user", "--mount"]
        again = [
            sys.executable,
            "-m",
            "tests.build.fetch_siege",
            *map(str, (interrupted, broken, full, seed)),
        ]
        return subprocess.run([*alone, *again, "alone"], check=False).returncode
    with serving() as registry, tempfile.TemporaryDirectory() as folder:
        siege = Siege(Path(folder), registry, random.Random(seed))
        for attack, times in ((siege.interrupt, interrupted), (siege.break_off, broken), (siege.fill, full)):
            for number in range(times):
                try:
                    attack()
                except AssertionError as error:
                    print(f"seed {seed}, {attack.__name__} {number}: {error}")
                    return 1
    print(f"{interrupted} interrupted, {broken} broken, {full} full: each was gone on from")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
