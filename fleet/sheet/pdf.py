"""A PDF of a sheet, printed by a headless browser of the Chromium family, if there is one."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from fleet.errors import SheetError
from fleet.limits import SHEET_PDF_TIMEOUT_S
from fleet.sheet.codes import BROWSER_FAILED, NO_BROWSER

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

BROWSERS: Final = ("chromium", "chromium-browser", "google-chrome")


@dataclass(frozen=True, slots=True)
class Ended:
    """How a program ended, and the end of what it said."""

    status: int
    said: str


def find_browser(which: Callable[[str], str | None] = shutil.which) -> str:
    """The path of the first browser there is. SheetError (SHT101) if there is none."""
    for name in BROWSERS:
        path = which(name)
        if path:
            return path
    raise SheetError(NO_BROWSER, f"none of {', '.join(BROWSERS)} is on the PATH")


def start(command: Sequence[str], timeout_s: float = SHEET_PDF_TIMEOUT_S) -> Ended:
    """Run a program to its end. SheetError (SHT102) if it takes longer; then, and when interrupted, it ends with all
    that it started."""
    with subprocess.Popen(
        command,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        errors="replace",
        start_new_session=True,
    ) as program:
        try:
            _, said = program.communicate(timeout=timeout_s)
        except subprocess.TimeoutExpired as error:
            os.killpg(program.pid, signal.SIGKILL)
            raise SheetError(BROWSER_FAILED, f"{command[0]} had not ended after {timeout_s:g} s") from error
        except BaseException:
            os.killpg(program.pid, signal.SIGKILL)
            raise
    return Ended(program.returncode, said)


def make_pdf(
    html: str, folder: Path, *, browser: str, as_root: bool, run: Callable[[Sequence[str]], Ended] = start
) -> bytes:
    """The PDF of a page; `folder` is an empty one that the caller removes. SheetError (SHT102) if none comes.

    The browser gets a profile of its own there and no network. Chromium will not sandbox itself for root; the
    page is ours, has no script, and everything in it is escaped. Its shared memory goes to files, for in a container
    there is little of the other.
    """
    source, target = folder / "sheet.html", folder / "sheet.pdf"
    source.write_text(html, encoding="utf-8")
    command = [
        browser,
        "--headless",
        "--disable-gpu",
        "--disable-dev-shm-usage",
        "--no-first-run",
        "--no-pdf-header-footer",
        "--disable-background-networking",
        "--proxy-server=127.0.0.1:9",
        f"--user-data-dir={folder / 'profile'}",
        *(["--no-sandbox"] if as_root else []),
        f"--print-to-pdf={target}",
        source.as_uri(),
    ]
    ended = run(command)
    if not target.is_file() or target.stat().st_size == 0:
        last = ended.said.strip().rpartition("\n")[2]
        said = f": {last}" if last else ""
        raise SheetError(BROWSER_FAILED, f"{browser} ended with status {ended.status} and no PDF{said}")
    return target.read_bytes()
