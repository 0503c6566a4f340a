"""The whole build: compile each class once, stamp each node's block, sign, shelve; and do nothing twice."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleet.build.class_job import ClassJob, ShelfNeed
from fleet.build.classes import classes_of
from fleet.build.events import BuildResult, ClassResult, Compiled, Shelving
from fleet.build.lock import LOCK, locked
from fleet.build.programs import Programs, program_of
from fleet.build.tools import board_tools, host_tools
from fleet.render.project import render_boot_loader, render_node

if TYPE_CHECKING:
    from collections.abc import Callable, Generator, Iterable, Mapping, Sequence
    from pathlib import Path

    from fleet.boards.board import Board
    from fleet.build.classes import BuildRequest, ClassPart
    from fleet.build.entry import ShelfEntry
    from fleet.build.events import BuildEvent
    from fleet.build.programs import Built, Program
    from fleet.build.shelf import Shelf
    from fleet.build.tools import BuildTools
    from fleet.keys.folder import KeyFolder
    from fleet.keys.trust import Trust

BOOT_LOADER = "boot-loader/host"


@dataclass(frozen=True, slots=True)
class BuildContext:
    """Where and with what a build works. `core_dir` is PlatformIO's folder of compilers, `now_s` seconds since
    1970, UTC; `environment` that of the process."""

    build_dir: Path
    core_dir: Path
    shelf: Shelf
    keys: KeyFolder
    templates: Mapping[str, bytes]
    environment: Mapping[str, str]
    load_board: Callable[[str], Board]
    now_s: Callable[[], int]


def build(request: BuildRequest, shop: BuildContext) -> Generator[BuildEvent]:
    """Bring the shelf up to date for the nodes asked for; the last event is the BuildResult.

    BuildError, RenderError, KeyFolderError, ShelfError, UsageError or LockedError. Whatever was shelved
    before an error stays good; the same build then goes on from there.
    """
    request.check()
    key, trust = shop.keys.signing_key(), shop.keys.trust()
    shop.build_dir.mkdir(parents=True, exist_ok=True)
    with locked(shop.build_dir / LOCK) as lock:
        parts = classes_of(request, trust, shop.load_board)
        projects = [_project(request, part, trust, shop) for part in parts]
        tools = host_tools() if request.target == "host" else board_tools()
        jobs = [
            ClassJob(
                request,
                part,
                _program(request, part, project, tools),
                shop.shelf,
                key,
                shop.now_s,
            )
            for part, project in zip(parts, projects, strict=True)
        ]
        built, runs = yield from _programs(jobs, request.jobs, shop, tools, lock)
        done: dict[str, tuple[ShelfEntry, ShelfNeed]] = {}
        total = sum(job.todo_count for job in jobs)
        for job in jobs:
            for entry, doing in job.work(built[job.program.digest]) if job.todo_count else ():
                done[entry.node] = (entry, doing)
                yield Shelving(len(done), total)
        untouched = [
            entry for job in jobs for _, entry, doing in job.states if entry and doing is ShelfNeed.NOTHING
        ]
    entries = sorted([*untouched, *(entry for entry, _ in done.values())], key=lambda entry: entry.node)
    classes = tuple(_class_result(job, entries, done, runs.get(job.program.digest)) for job in jobs)
    compiled = tuple(sorted(run.name for run in runs.values()))
    yield BuildResult(
        tuple(entries), classes, _named(done, ShelfNeed.MAKE), _named(done, ShelfNeed.RESTORE), compiled
    )


def fetch(request: BuildRequest, shop: BuildContext) -> Generator[BuildEvent]:
    """Bring what the boards of the nodes asked for are compiled with, and compile nothing; the last event is a
    FetchResult. BuildError or LockedError. No keys are needed."""
    shop.build_dir.mkdir(parents=True, exist_ok=True)
    with locked(shop.build_dir / "lock") as lock:
        boards = [shop.load_board(name) for name in sorted({node.board for node in request.wanted})]
        store = Programs(shop.build_dir, shop.core_dir, shop.environment, lock)
        yield from store.fetch(boards, shop.templates, board_tools())


def finished(events: Iterable[BuildEvent]) -> BuildResult:
    """Run a build to its end and return its result."""
    last: BuildEvent | None = None
    for event in events:
        last = event
    if not isinstance(last, BuildResult):
        raise TypeError("a build ends with its result")
    return last


def _project(request: BuildRequest, part: ClassPart, trust: Trust, shop: BuildContext) -> dict[str, bytes]:
    """What stands for a class: its first node's own project, whose block is written over for the others."""
    first = part.nodes[0]
    release = request.release or request.inventory.fleet.release
    return render_node(
        request.inventory,
        first.node,
        first.board,
        trust,
        request.target,
        release,
        templates=shop.templates,
        defect=request.defect,
    )


def _program(request: BuildRequest, part: ClassPart, project: dict[str, bytes], tools: BuildTools) -> Program:
    """The program of a class; all its nodes have one kind of board."""
    board = part.nodes[0].board if request.target == "board" else None
    return program_of(part.name, request.defect, project, tools, board)


def _class_result(
    job: ClassJob,
    entries: Sequence[ShelfEntry],
    done: Mapping[str, tuple[ShelfEntry, ShelfNeed]],
    run: Compiled | None,
) -> ClassResult:
    nodes = {part.node.name for part in job.part.nodes}
    made, restored = (
        sum(done[n][1] is kind for n in nodes & set(done)) for kind in (ShelfNeed.MAKE, ShelfNeed.RESTORE)
    )
    return ClassResult(
        name=job.part.name,
        nodes=len(nodes),
        made=made,
        restored=restored,
        unchanged=len(nodes) - made - restored,
        size_bytes=max(entry.size_bytes for entry in entries if entry.node in nodes),
        program=run.name if run else None,
        compile_s=round(run.took_s, 3) if run else None,
    )


def _programs(
    jobs: Sequence[ClassJob], cores: int, shop: BuildContext, tools: BuildTools, lock: int
) -> Generator[BuildEvent, None, tuple[dict[str, Built], dict[str, Compiled]]]:
    """The programs that are needed, and the compiler runs for those that were not there; both by digest. The
    host's boot loader included."""
    store = Programs(shop.build_dir, shop.core_dir, shop.environment, lock)
    wanted = {job.program.digest: job.program for job in reversed(jobs) if job.todo_count}
    boot = None
    if any(job.request.target == "host" for job in jobs):
        boot = program_of(BOOT_LOADER, "", render_boot_loader(templates=shop.templates), tools)
        if not shop.shelf.has_boot_loader(boot.digest):
            wanted[boot.digest] = boot
    built = {digest: found for digest, program in wanted.items() if (found := store.find(program))}
    missing = [program for digest, program in wanted.items() if digest not in built]
    runs = {}
    boards = {program.board.id: program.board for program in missing if program.board}
    if boards:
        yield from store.fetch([boards[name] for name in sorted(boards)], shop.templates, tools)
    for event in store.compile(missing, tools, cores) if missing else ():
        if isinstance(event, Compiled):
            runs.update({program.digest: event for program in missing if program.title == event.name})
        yield event
    built |= {program.digest: store.get(program) for program in missing}
    if boot and boot.digest in built:
        shop.shelf.put_host_boot_loader(built[boot.digest].image, boot.digest)
    return built, runs


def _named(done: Mapping[str, tuple[ShelfEntry, ShelfNeed]], wanted: ShelfNeed) -> tuple[str, ...]:
    return tuple(sorted(node for node, (_, doing) in done.items() if doing is wanted))
