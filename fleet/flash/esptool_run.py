"""One run of esptool, a program of its own: its command line, its words and its exit status are all that is used of it.
It is GPL-2.0-or-later, so nothing of it is imported (docs/decisions/esptool.md).

What comes in on the serial line is kept by pyserial's `spy://` port, for a diagnosis. That and the files go through
memory that has no name: of a node's credentials nothing is on a disk or in an argument.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from fleet.limits import FLASH_HEARD_BYTES

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    Watch = Callable[[str], None]
    """Called with each line that it says, as it comes; what it raises ends the run at once."""

_ENVIRONMENT: Final = {
    "PYTHONUNBUFFERED": "1",
    "PYTHONIOENCODING": "utf-8:replace",
    "NO_COLOR": "1",
    "TERM": "dumb",
    "COLUMNS": "400",
}
"""Each line at once, whole, and without colours: rich, with which it prints, folds at the width of a terminal."""
_SETTINGS: Final = b"[esptool]\n"
"""A settings file of ours that sets nothing: esptool would else take one from the present folder or the home, and with
it another way to reset the board."""
_FATAL: Final = "A fatal error occurred: "
_SERIAL: Final = "A serial exception error occurred: "
_GONE: Final = re.compile(rf"{_SERIAL}|^(?:termios\.error|OSError)\b", re.MULTILINE)
_CAME_IN: Final = re.compile(rb"^[0-9.]+ RX   [0-9A-F]{4}  ([0-9A-F ]{49})", re.MULTILINE)
"""A row of the spy's dump: 16 bytes as hexadecimal digits, with a gap in the middle, before the same as text."""


@dataclass(frozen=True, slots=True)
class Ran:
    """A run that has ended. `heard`: the last bytes that came in, at most FLASH_HEARD_BYTES, of one that failed."""

    said: str
    ok: bool
    heard: bytes = b""

    def fact(self, name: str) -> str | None:
        """What stands after `name:` at the beginning of a line."""
        found = re.search(rf"^{re.escape(name)}:\s*(.+?)\s*$", self.said, re.MULTILINE)
        return found[1] if found else None

    @property
    def connected(self) -> bool:
        """Whether a chip answered."""
        return "\nConnected to " in self.said

    @property
    def gone(self) -> bool:
        """Whether the port failed, and not the board."""
        return _GONE.search(self.said) is not None

    @property
    def error(self) -> str:
        """What it gave as the reason for failing, in one line; empty if nothing."""
        for mark in (_FATAL, _SERIAL):
            _, found, rest = self.said.partition(mark)
            if found:
                return " ".join(rest.split("\n", 1)[0].split())
        return ""


def _environment(settings: str) -> dict[str, str]:
    """That of this process, without what would set esptool's options in a person's shell (ESPTOOL_PORT and others)."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("ESPTOOL_")}
    return {**kept, **_ENVIRONMENT, "ESPTOOL_CFGFILE": settings}


@contextmanager
def memory(data: bytes = b"") -> Iterator[tuple[int, str]]:
    """A file in memory that holds these bytes: its descriptor, and the path by which esptool finds it."""
    handle = os.memfd_create("tankfleet")
    try:
        with os.fdopen(os.dup(handle), "wb") as file:
            file.write(data)
        yield handle, f"/proc/self/fd/{handle}"
    finally:
        os.close(handle)


def content(handle: int) -> bytes:
    """All that is in such a file."""
    return os.pread(handle, os.fstat(handle).st_size, 0)


def run_esptool(
    port: str, options: Sequence[str], command: Sequence[str], watch: Watch, files: Sequence[int] = ()
) -> Ran:
    """Run it to its end; `files` are descriptors that the command's paths name. OSError if it cannot be started."""
    with memory() as (line, path), memory(_SETTINGS) as (settings, settings_path):
        url = f"spy://{os.path.realpath(port)}?file={path}"
        # -P: nothing of the folder that the person happens to be in is imported
        words = [sys.executable, "-P", "-m", "esptool", "--port", url, *options, *command]
        said: list[str] = []
        with subprocess.Popen(
            words,
            env=_environment(settings_path),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            pass_fds=(line, settings, *files),
            start_new_session=True,  # Ctrl-C is for this program, which ends the run and says so
            encoding="utf-8",
            errors="replace",
        ) as program:
            assert program.stdout is not None  # noqa: S101 (it was asked for)
            try:
                for words_said in program.stdout:
                    said.append(words_said)
                    watch(words_said.rstrip())
            except BaseException:
                program.kill()
                raise
        ok = program.returncode == 0
        return Ran("".join(said), ok, b"" if ok else heard_in(content(line)))


def heard_in(dump: bytes) -> bytes:
    """What came in last, of what the spy wrote down: at most FLASH_HEARD_BYTES."""
    rows = _CAME_IN.findall(dump)[-FLASH_HEARD_BYTES:]
    return b"".join(bytes.fromhex(row.decode()) for row in rows)[-FLASH_HEARD_BYTES:]
