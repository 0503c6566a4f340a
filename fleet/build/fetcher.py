"""The program that fetches what boards are compiled with, one package after the other.

`fleet.build.fetch` starts it as a process of its own, so that it can be ended at any moment. It works with PlatformIO's
own managers of packages (platformio 6.2, package/manager), which decide what is needed and where it comes from, and
does four things in its own way:

- an archive goes on where it was cut off, and its digest is checked before it is used;
- what is unpacked becomes a package by one rename; PlatformIO copies file by file, the sign that it is installed among
  the first, and what is cut off then counts as whole;
- while a package is being installed a marker says so, and the package is signed: PlatformIO itself, or a person, may
  put others beside it meanwhile, which must stay;
- a disk that is full ends it; PlatformIO would try the next mirror.

Nothing of this package is imported here: the program runs by its path, wherever it is installed. What it tells goes as
JSON, a line each, to the descriptor that it is given; what PlatformIO says goes to its log.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import json
import os
import queue
import shutil
import socket
import sys
import threading
import time
import traceback
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn
from urllib.parse import urlsplit

import platformio.http
import requests
from platformio.exception import UserSideException
from platformio.package.exception import PackageException, UnknownPackageError
from platformio.package.lockfile import LockFile
from platformio.package.manager.platform import PlatformPackageManager
from platformio.package.manager.tool import ToolPackageManager
from platformio.package.meta import PackageItem, PackageSpec
from platformio.package.unpack import FileUnpacker
from platformio.platform.factory import PlatformFactory
from platformio.project.config import ProjectConfig
from platformio.registry.client import RegistryClient
from urllib3.exceptions import ReadTimeoutError
from urllib3.util.retry import Retry

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

_FULL = (errno.ENOSPC, errno.EDQUOT)
_CHUNK_BYTES = 4096
"""Written at a time: what is lost when the line breaks, and the least that a slow line has to bring in time."""
_TOLD_EVERY_S = 0.2
_BLOCK_BYTES = 4096
"""A file takes whole blocks of the disk."""


class StoppedError(BaseException):
    """The end of the whole run; no `Exception`, for PlatformIO takes those for reasons to try another mirror."""

    def __init__(self, cause: str, what: str) -> None:
        super().__init__(what)
        self.cause = cause
        self.what = what


@dataclass
class Run:
    """One run: where everything goes, and how patient it is. Times in seconds."""

    events: int
    marker: Path
    litter: Path
    sign: str
    """The name of the file that stands in a package until it is whole."""
    tries: int
    quiet_s: float
    reach_s: float
    now_name: str = ""
    trouble: str = ""
    """What went wrong with the package in hand; told if no mirror has it."""
    stalled: bool = False
    """Whether that was that no byte came."""
    told_s: float = field(default=0.0)
    reached: bool = False
    begun: list[Path] = field(default_factory=list)
    """The signed packages."""

    def say(self, event: str, /, **facts: Any) -> None:
        """Tell the tool."""
        line = json.dumps({"is": event, **facts}) + "\n"
        os.write(self.events, line.encode())

    def say_now_and_then(self, event: str, /, **facts: Any) -> None:
        """The same, but not more than a few times in a second."""
        now_s = time.monotonic()
        if now_s - self.told_s >= _TOLD_EVERY_S:
            self.told_s = now_s
            self.say(event, **facts)

    def need_room(self, need_bytes: int) -> None:
        """StoppedError if the disk has less."""
        free_bytes = shutil.disk_usage(self.litter).free
        if free_bytes < need_bytes:
            raise StoppedError("disk-full", f"{need_bytes} bytes are needed, {free_bytes} are free")

    @contextlib.contextmanager
    def marked(self) -> Iterator[None]:
        """Leave a marker that goes when the package is whole, on the disk too; not at all if this process is ended."""
        self.marker.write_text(json.dumps({"package": self.now_name}), encoding="utf-8")
        _synced(self.marker)
        yield
        os.sync()
        for package in self.begun:
            with contextlib.suppress(
                FileNotFoundError
            ):  # PlatformIO itself may have put another in its place
                (package / self.sign).unlink()
                _synced(package)
        self.begun.clear()
        self.marker.unlink()

    def put(self, made: Path, place: Path) -> None:
        """Put a package in its place, signed. What stands there, and did not count as installed, goes in one piece."""
        if place.exists():
            old = self.litter / "replaced"
            shutil.rmtree(place if not _renamed(place, old) else old)
        self._sign(made)
        if not _renamed(made, place):
            place.mkdir()
            self._sign(place)
            shutil.copytree(made, place, symlinks=True, dirs_exist_ok=True)
        self.begun.append(place)

    def _sign(self, package: Path) -> None:
        """On the disk, before anything that could make it count as installed."""
        (package / self.sign).touch()
        _synced(package / self.sign)
        _synced(package)


def _renamed(path: Path, to: Path) -> bool:
    """False if a person has put the packages on another disk, to which nothing can be renamed."""
    try:
        path.rename(to)
    except OSError as error:
        if error.errno != errno.EXDEV:
            raise
        return False
    return True


def _synced(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY | os.O_CLOEXEC)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


class _Careful:
    """What the managers of platforms and of tools have in common here. Mixed into PlatformIO's own classes."""

    run: Run
    _known: dict[str, Any]

    def get_download_dir(self) -> str:
        return self._litter("archives")

    def get_tmp_dir(self) -> str:
        return self._litter("unpacked")

    def lock(self) -> None:
        """Not while bytes come: builds of other projects ask for PlatformIO's lock, and would wait for all of them.
        `fleet.build.fetch` sees to it that no two runs fetch at once."""

    def unlock(self) -> None:
        """Nothing was locked."""

    def cleanup_expired_downloads(self) -> None:
        """Nothing stays to expire: an archive goes when its package is there."""

    def fetch_registry_package(self, spec: Any) -> Any:
        """Asked once for each package."""
        key = spec.humanize()
        if key not in self._known:
            self._known[key] = super().fetch_registry_package(spec)  # type: ignore[misc]
        return self._known[key]

    def size(self, spec: Any) -> tuple[str, int | None, int | None]:
        """Version, bytes of the archive and of what is in it, of the package that will be taken; None: not known."""
        found = self.fetch_registry_package(spec) if spec.owner else None
        version = self.pick_best_registry_version(found["versions"], spec) if found else None  # type: ignore[attr-defined]
        if version is None:
            return "", None, None
        file = self.pick_compatible_pkg_file(version["files"]) or {}  # type: ignore[attr-defined]
        return str(version["name"]), file.get("size"), version.get("unpacked_size")

    def download(self, url: str, checksum: str | None = None, *, anew: bool = True) -> str:
        """The archive's path. It goes on from what an earlier run has left of it."""
        name = checksum or hashlib.sha256(url.encode()).hexdigest()
        part = Path(self.get_download_dir()) / name
        if checksum and part.is_file() and _digest(part, checksum) == checksum.lower():
            return str(part)
        in_pieces = self._receive(url, part)
        if checksum and _digest(part, checksum) != checksum.lower():
            part.unlink()
            if in_pieces and anew:  # one of them was not of this archive
                return self.download(url, checksum, anew=False)
            raise self._trouble("the download does not match the registry: its digest differs")
        return str(part)

    def unpack(self, src: str, dst: str) -> Any:
        """As PlatformIO does it, counted."""
        run = self.run
        with FileUnpacker(src) as unpacker:
            archive = unpacker._archiver
            run.say("unpacking", name=run.now_name, done=0, of=0)
            items = archive.get_items()
            sizes = [getattr(item, "size", getattr(item, "file_size", 0)) for item in items]
            run.need_room(sum(-(-size // _BLOCK_BYTES) * _BLOCK_BYTES for size in sizes))
            extract, done = archive.extract_item, 0

            def counted(*args: Any, **options: Any) -> None:
                nonlocal done
                extract(*args, **options)
                done += 1
                run.say_now_and_then("unpacking", name=run.now_name, done=done, of=len(items))

            archive.extract_item = counted
            return unpacker.unpack(dst, with_progress=False)

    def install_from_uri(self, *args: Any, **options: Any) -> Any:
        """As PlatformIO does it; StoppedError if the disk is full."""
        try:
            return super().install_from_uri(*args, **options)  # type: ignore[misc]
        except OSError as error:
            if error.errno in _FULL:
                raise StoppedError("disk-full", os.strerror(error.errno or 0)) from error
            raise

    def _install_tmp_pkg(self, made: Any) -> Any:
        """Put the unpacked package in its place by one rename; beside one of the same name in another version."""
        place = Path(self.package_dir) / made.get_safe_dirname()  # type: ignore[attr-defined]
        there = PackageItem(str(place)).metadata
        if there and (there.version, there.spec.owner) != (made.metadata.version, made.metadata.spec.owner):
            place = place.with_name(f"{place.name}@{made.metadata.version}")
        with LockFile(self.package_dir):  # type: ignore[attr-defined]
            self.run.put(Path(made.path), place)
        return PackageItem(str(place))

    def _litter(self, name: str) -> str:
        folder = self.run.litter / name
        folder.mkdir(parents=True, exist_ok=True)
        return str(folder)

    def _trouble(self, what: str, *, stalled: bool = False) -> PackageException:
        self.run.trouble, self.run.stalled = what, stalled
        return PackageException(what)

    def _receive(self, url: str, part: Path) -> bool:
        """Get the rest of an archive; whether it came in more than one piece. A line that breaks is asked anew as long
        as bytes come."""
        run, failures = self.run, 0
        while True:
            before = part.stat().st_size if part.is_file() else 0
            try:
                self._answer(url, part, before)
                return before > 0
            except requests.RequestException as error:
                grown = part.is_file() and part.stat().st_size > before
                failures = 1 if grown else failures + 1
                if failures >= run.tries:
                    # A read that times out in the middle of a body comes wrapped (requests, Response.iter_content).
                    within = error.args[0] if error.args else None
                    stalled = isinstance(error, requests.Timeout) or isinstance(within, ReadTimeoutError)
                    what = f"no byte in {run.quiet_s:.0f} s" if stalled else str(error)
                    raise self._trouble(f"{failures} times in a row: {what}", stalled=stalled) from error
                time.sleep(1)

    def _answer(self, url: str, part: Path, have: int) -> None:
        """One answer of the server, written behind what is there, or from the beginning if it sends that."""
        run = self.run
        head = {"Accept-Encoding": "identity", **({"Range": f"bytes={have}-"} if have else {})}
        with platformio.http.HTTPSession() as session, session.get(url, headers=head, stream=True) as answer:
            if answer.status_code == 416:  # RFC 9110 15.5.17: there is nothing behind what we have
                part.unlink()
                raise requests.HTTPError("the server has fewer bytes than are here already")
            answer.raise_for_status()
            if answer.status_code != 206:
                have = 0
            length = answer.headers.get("content-length")
            of = have + int(length) if length else None
            with part.open("ab" if have else "wb") as file:
                for chunk in answer.iter_content(_CHUNK_BYTES):
                    file.write(chunk)
                    file.flush()
                    have += len(chunk)
                    run.say_now_and_then("receiving", name=run.now_name, done=have, of=of)
            run.say("receiving", name=run.now_name, done=have, of=of)
        if of is not None and have < of:
            raise requests.ConnectionError(f"{have} of {of} bytes came")


class Platforms(_Careful, PlatformPackageManager):  # type: ignore[misc]
    """PlatformIO's manager of platforms."""


class Tools(_Careful, ToolPackageManager):  # type: ignore[misc]
    """PlatformIO's manager of compilers, frameworks and other tools."""


@dataclass(frozen=True)
class Wanted:
    """A package that is not here yet."""

    manager: Any
    spec: Any


def fetch(run: Run, projects: Sequence[str], environment: str) -> list[tuple[str, str]]:
    """Fetch what the projects need and is not here; name and version of all that they need. StoppedError."""
    platforms = _managers(run)[0]
    specs = {}
    for project in projects:
        os.chdir(project)
        specs[project] = PackageSpec(str(ProjectConfig.get_instance().get(f"env:{environment}", "platform")))
    unique = {spec.humanize(): spec for spec in specs.values()}.values()
    _get(run, [Wanted(platforms, spec) for spec in unique if not platforms.get_package(spec)])
    found: set[tuple[str, str]] = set()
    missing: dict[str, Wanted] = {}
    every: list[tuple[Any, Any]] = []
    for project in projects:
        os.chdir(project)
        tools = _managers(run)[1]
        package = platforms.get_package(specs[project])
        found.add((package.metadata.name, str(package.metadata.version)))
        platform = PlatformFactory.new(package)
        platform.configure_project_packages(environment, [])
        for name, options in platform.packages.items():
            if not options.get("optional"):
                spec = platform.get_package_spec(name)
                every.append((tools, spec))
                if not tools.get_package(spec):
                    missing.setdefault(spec.humanize(), Wanted(tools, spec))
    _get(run, list(missing.values()))
    for tools, spec in every:
        tools.memcache_reset()
        metadata = tools.get_package(spec).metadata
        found.add((metadata.name, str(metadata.version)))
    return sorted(found)


def _managers(run: Run) -> tuple[Platforms, Tools]:
    """Of the current folder's project."""
    made = (Platforms(), Tools())
    for manager in made:
        manager.run, manager._known = run, {}
    return made


def _get(run: Run, missing: Sequence[Wanted]) -> None:
    """Say what will be fetched and how large it is, look whether it fits, and fetch it."""
    if not missing:
        return
    _reach(run)
    run.litter.mkdir(parents=True, exist_ok=True)
    planned, labels, need_bytes, stays_bytes = [], [], 0, 0  # two platforms may want one tool in two versions
    for one in missing:
        run.now_name = one.spec.name
        version, size_bytes, unpacked_bytes = one.manager.size(one.spec)
        labels.append(f"{one.spec.name}@{version}" if version else one.spec.name)
        planned.append({"name": labels[-1], "bytes": size_bytes})
        stays_bytes += unpacked_bytes or 0
        need_bytes = max(need_bytes, stays_bytes + (size_bytes or 0))
    run.say("planned", packages=planned)
    run.need_room(need_bytes)
    for one, label in zip(missing, labels, strict=True):
        run.now_name, run.trouble, run.stalled = label, "", False
        run.say("receiving", name=run.now_name, done=0, of=None)
        with run.marked():
            package = one.manager.install(one.spec, skip_dependencies=isinstance(one.manager, Platforms))
        metadata = package.metadata
        run.say("fetched", name=label, package=metadata.name, version=str(metadata.version))
        shutil.rmtree(run.litter)
        run.litter.mkdir()


def _reach(run: Run) -> None:
    """StoppedError if neither the registry's hosts nor the proxy that leads to them take a connection in time."""
    if run.reached:
        return
    run.say("asking")
    answers: queue.SimpleQueue[str] = queue.SimpleQueue()
    endpoints = [urlsplit(url) for url in RegistryClient()._session_iter.endpoints]
    places = []
    for endpoint in endpoints:
        proxy = requests.utils.select_proxy(
            endpoint.geturl(), requests.utils.get_environ_proxies(endpoint.geturl())
        )
        url = urlsplit(proxy if not proxy or "://" in proxy else f"http://{proxy}") if proxy else endpoint
        places.append((str(url.hostname), url.port or (443 if url.scheme == "https" else 80)))
    for place in places:
        threading.Thread(target=_connect, args=(place, run.reach_s, answers), daemon=True).start()
    ends_s, said = time.monotonic() + run.reach_s, []
    for _ in places:
        try:
            answer = answers.get(timeout=max(0.0, ends_s - time.monotonic()))
        except queue.Empty:
            break
        if not answer:
            run.reached = True
            return
        said.append(answer)
    hosts = ", ".join(host for host, _ in places)
    raise StoppedError("no-network", f"{hosts}: {said[0] if said else f'no answer in {run.reach_s:.0f} s'}")


def _connect(place: tuple[str, int], timeout_s: float, answers: queue.SimpleQueue[str]) -> None:
    try:
        socket.create_connection(place, timeout_s).close()
    except OSError as error:
        answers.put(str(error))
    else:
        answers.put("")


def _digest(path: Path, like: str) -> str:
    """In hex, by the algorithm that makes digests of that length."""
    kind = {32: "md5", 40: "sha1"}.get(len(like), "sha256")
    with path.open("rb") as file:
        return hashlib.file_digest(file, kind).hexdigest()


def _impatient(run: Run) -> None:
    """PlatformIO itself looks for the internet at hosts that have nothing to do with it, waits for bytes for ever, and
    asks a server that refuses for half a minute (platformio 6.2, http.py)."""
    platformio.http.ensure_internet_on = lambda raise_exception=False: True
    platformio.http.__default_requests_timeout__ = (run.quiet_s, run.quiet_s)
    platformio.http.Retry = lambda **options: Retry(**{**options, "total": run.tries - 1})


def main(argument: str) -> NoReturn:
    """Run by orders in JSON; the exit status is 0 or 1."""
    orders = json.loads(argument)
    run = Run(
        orders["events"],
        Path(orders["marker"]),
        Path(orders["litter"]),
        orders["sign"],
        orders["tries"],
        orders["quiet_s"],
        orders["reach_s"],
    )
    _impatient(run)
    status = 1
    try:
        run.say("ready", packages=fetch(run, orders["projects"], orders["environment"]))
        status = 0
    except StoppedError as error:
        run.say("failed", cause=error.cause, name=run.now_name, what=error.what)
    except Exception as error:
        if not isinstance(error, UserSideException):
            traceback.print_exc()
        full = isinstance(error, OSError) and error.errno in _FULL
        unknown = isinstance(error, UnknownPackageError) and not run.trouble
        cause = "disk-full" if full else "unknown" if unknown else "stalled" if run.stalled else "broken"
        run.say("failed", cause=cause, name=run.now_name, what=run.trouble or str(error))
    finally:
        with contextlib.suppress(OSError):
            sys.stdout.flush()
        os._exit(status)  # without waiting for threads that wait for a connection


if __name__ == "__main__":
    main(sys.argv[1])
