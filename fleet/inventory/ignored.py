"""What of a project is never committed: its lines in `.gitignore`, added to those that are there."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from fleet.resources import shipped_dir

if TYPE_CHECKING:
    from pathlib import Path

IGNORE_FILE: Final = ".gitignore"


def shipped_ignored() -> str:
    """The text of `.gitignore` in a new project."""
    return (shipped_dir("templates") / "start" / "gitignore").read_text(encoding="utf-8")


def missing_lines(there: str) -> tuple[str, ...]:
    """The patterns that such a file lacks (gitignore(5)); with or without a slash at either end is the same to us."""
    known = {_bare(line) for line in there.splitlines()}
    patterns = [line for line in shipped_ignored().splitlines() if line and not line.startswith("#")]
    return tuple(line for line in patterns if _bare(line) not in known)


def add_ignored(folder: Path) -> tuple[str, ...]:
    """Write `.gitignore` into `folder`, or add what one that is there lacks; the patterns that were added.

    No other byte of it is changed.
    """
    path = folder / IGNORE_FILE
    if not path.exists():
        path.write_text(shipped_ignored(), encoding="utf-8")
        return missing_lines("")
    there = path.read_text(encoding="utf-8", errors="surrogateescape")
    missing = missing_lines(there)
    if missing:
        end = "" if there.endswith("\n") or not there else "\n"
        with path.open("a", encoding="utf-8") as file:
            file.write(end + "".join(f"{line}\n" for line in missing))
    return missing


def _bare(line: str) -> str:
    return line.strip().strip("/")
