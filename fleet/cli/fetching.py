"""What `build` says while it fetches what boards are compiled with."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING

from fleet.build.events import FetchStep
from fleet.cli.common import short_path
from fleet.push.reporters.words import duration_words

if TYPE_CHECKING:
    from fleet.build.events import Fetched, Fetching, FetchPlanned, FetchResult
    from fleet.cli.output import Output

_AWAITED = {
    FetchStep.OTHER_RUN: "waiting: another tankfleet downloads into the same folder",
    FetchStep.LOOKING: "looking up the compilers for boards",
}


def planned_words(event: FetchPlanned) -> str:
    """One line, before anything is fetched."""
    size = f", {size_words(event.size_bytes)}" if event.size_bytes is not None else ""
    names = ", ".join(event.names)
    return f"fetching {names}{size}, into {short_path(event.folder)}; this happens once"


def fetching_words(event: Fetching) -> str:
    """One line: the package, how much of it is there, how much of all, and how long the rest takes."""
    if event.step in _AWAITED:
        return _AWAITED[event.step]
    which = f"{event.name} ({event.number} of {event.count})"
    if event.step is FetchStep.UNPACKING:
        files = f", {event.done:,} of {event.of:,} files" if event.of else ""
        return f"unpacking {which}{files}"
    of = f" of {size_words(event.of)}" if event.of else ""
    left = f"; {duration_words(event.left_s)} left for all" if event.left_s is not None else ""
    return f"fetching {which}, {size_words(event.done)}{of}{left}"


def fetched_words(event: Fetched) -> str:
    """One line, once a package is there."""
    return f"fetched {event.name} {event.version} ({event.number} of {event.count})"


def show_fetched(output: Output, result: FetchResult, *, json: bool) -> None:
    """What `build --fetch` prints at its end."""
    if json:
        packages = [asdict(package) for package in result.packages]
        output.emit_json("fetch", {"folder": str(result.folder), "packages": packages})
    else:
        rows = [(one.name, one.version, "new" if one.new else "present") for one in result.packages]
        output.table(("package", "version", "now"), rows)
    if not any(package.new for package in result.packages):
        output.note(f"Nothing to download: all compilers are in {short_path(result.folder)}.")
    output.next_step("tankfleet build --target board")


def size_words(size_bytes: int) -> str:
    """In megabytes of 1,000,000 bytes, as networks and disks are sold."""
    return f"{size_bytes / 1e6:.1f} MB"
