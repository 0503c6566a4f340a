"""The files of an inventory folder: every `.yaml` and `.yml` under it, but for hidden ones."""

from __future__ import annotations

import os
import stat
from pathlib import Path

from fleet.finding import Finding, Place
from fleet.inventory.codes import NO_FILES, TOO_LARGE, UNREADABLE
from fleet.limits import INVENTORY_FILE_BYTES, INVENTORY_FILES


def inventory_files(folder: Path) -> tuple[list[Path], list[Finding]]:
    """The paths, sorted; findings when there are none, or too many."""
    found: list[Path] = []
    for parent, folders, names in os.walk(folder):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        found += [
            Path(parent) / name
            for name in names
            if name.endswith((".yaml", ".yml")) and not name.startswith(".")
        ]
        if len(found) > INVENTORY_FILES:
            what = f"the folder has more than {INVENTORY_FILES} files"
            return [], [Finding(TOO_LARGE, what, Place(str(folder)))]
    if not found:
        return [], [Finding(NO_FILES, "there is no .yaml file in this folder", Place(str(folder)))]
    return sorted(found), []


def read_bytes(path: Path, shown: str) -> tuple[bytes, list[Finding]]:
    """At most one byte more than is allowed of the file; a finding when it cannot be read."""
    try:
        # O_NONBLOCK: opening a named pipe that nobody writes to would wait for ever.
        descriptor = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)
        with os.fdopen(descriptor, "rb") as file:
            if not stat.S_ISREG(os.fstat(descriptor).st_mode):
                return b"", [Finding(UNREADABLE, "this is not a plain file", Place(shown))]
            return file.read(INVENTORY_FILE_BYTES + 1), []
    except OSError as error:
        return b"", [Finding(UNREADABLE, f"the file cannot be read: {error.strerror}", Place(shown))]
