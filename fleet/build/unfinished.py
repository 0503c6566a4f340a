"""What a fetch that was cut off leaves in the folder of compilers, and how it goes.

The fetcher (`fleet.build.fetcher`) works in one folder of its own. While it puts a package in its place a marker
stands, and the package has a sign in it until it is whole. So what is not whole can be told from what is, however the
fetch ended; and from what others have put there, for the folder may be a person's own, into which PlatformIO installs
as well.
"""

from __future__ import annotations

import shutil
from contextlib import suppress
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from pathlib import Path

_PLACES = ("packages", "platforms")
_ARCHIVES = "archives"
SIGN: Final = ".tankfleet-fetching"
"""A file in a package that the fetcher has put in its place, until it is whole."""


def marker_path(core_dir: Path) -> Path:
    """Stands while a package is being installed; JSON that names it, for a person."""
    return core_dir / "fetching.json"


def litter_dir(core_dir: Path) -> Path:
    """Holds what is on its way: archives, and what is being unpacked."""
    return core_dir / ".cache" / "fetching"


def is_unfinished(core_dir: Path) -> bool:
    """Whether a fetch has left anything behind, or is at work."""
    return marker_path(core_dir).exists() or litter_dir(core_dir).exists()


def clear_unfinished(core_dir: Path, *, keep_archives: bool) -> None:
    """Remove the packages that were being installed and what was being unpacked; archives too, unless they are to be
    gone on with: a slow line must get there in the end.

    No fetcher may be at work. OSError if something cannot be removed.
    """
    marker = marker_path(core_dir)
    if marker.exists():
        for folder in _PLACES:
            for sign in (core_dir / folder).glob(f"*/{SIGN}"):
                _remove(sign)
        marker.unlink()
    with suppress(FileNotFoundError):
        for path in litter_dir(core_dir).iterdir() if keep_archives else (litter_dir(core_dir),):
            if path.name != _ARCHIVES:
                shutil.rmtree(path)


def _remove(sign: Path) -> None:
    """The package of that sign; the sign last, so that what is left of it is known for what it is."""
    for path in sign.parent.iterdir():
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path)
        elif path != sign:
            path.unlink()
    shutil.rmtree(sign.parent)
