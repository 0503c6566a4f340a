"""What a fetch that was cut off leaves in the folder of compilers, and how it goes.

The fetcher (`fleet.build.fetcher`) works in one folder of its own, and a marker stands while it puts a package in its
place. So what is not whole can be told from what is, however the fetch ended.
"""

from __future__ import annotations

import json
import shutil
from contextlib import suppress
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

_PLACES = ("packages", "platforms")
_ARCHIVES = "archives"


def marker_path(core_dir: Path) -> Path:
    """Stands while a package is being installed; JSON that names what was there before."""
    return core_dir / "fetching.json"


def litter_dir(core_dir: Path) -> Path:
    """Holds what is on its way: archives, and what is being unpacked."""
    return core_dir / ".cache" / "fetching"


def is_unfinished(core_dir: Path) -> bool:
    """Whether a fetch has left anything behind, or is at work."""
    return marker_path(core_dir).exists() or litter_dir(core_dir).exists()


def clear_unfinished(core_dir: Path, *, keep_archives: bool) -> None:
    """Remove the package that was being installed and what was being unpacked; archives too, unless they are to be
    gone on with: a slow line must get there in the end.

    No fetcher may be at work. OSError if something cannot be removed.
    """
    marker = marker_path(core_dir)
    if marker.exists():
        before = _before(marker)
        for folder in () if before is None else _PLACES:
            for path in (core_dir / folder).glob("*"):
                if path.is_dir() and f"{folder}/{path.name}" not in (before or ()):
                    shutil.rmtree(path)
        marker.unlink()
    with suppress(FileNotFoundError):
        for path in litter_dir(core_dir).iterdir() if keep_archives else (litter_dir(core_dir),):
            if path.name != _ARCHIVES:
                shutil.rmtree(path)


def _before(marker: Path) -> list[str] | None:
    """None for a marker that was cut off itself: it is written before anything is put in place."""
    try:
        found = json.loads(marker.read_text(encoding="utf-8"))["before"]
    except (ValueError, KeyError, TypeError):
        return None
    return [str(path) for path in found] if isinstance(found, list) else None
