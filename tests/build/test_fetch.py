"""Fetching, by the real fetcher and PlatformIO's own client, from a registry of ours that is slow, broken or away."""

from __future__ import annotations

import fcntl
import json
import shutil
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path

import jsonschema
import pytest

from fleet.boards.board import Board
from fleet.build import fetch as fetching
from fleet.build.builder import BuildContext, build, finished
from fleet.build.classes import BuildRequest
from fleet.build.events import Compiled, Fetched, Fetching, FetchPlanned, FetchResult, FetchStep, Package
from fleet.build.programs import Programs
from fleet.build.shelf import Shelf
from fleet.build.tools import board_tools
from fleet.build.unfinished import SIGN, is_unfinished
from fleet.cli.app import run
from fleet.codes import Exit
from fleet.errors import BuildError
from fleet.keys.folder import KeyFolder
from fleet.resources import load_templates
from tests.build.registry import FILES, NEWER, PACKAGES, Registry, Trouble, serving, standin_board
from tests.sample_fleet import sample_inventory, small_templates

pytestmark = pytest.mark.slow

ROOT = Path(__file__).resolve().parent.parent.parent


@pytest.fixture
def registry() -> Iterator[Registry]:
    with serving() as registry:
        yield registry


class Shop:
    """One folder of compilers, and what fetches into it."""

    def __init__(self, folder: Path, registry: Registry) -> None:
        self.core = folder / "core"
        self.log = folder / "build" / "logs" / "fetch.log"
        self._store = Programs(folder / "build", self.core, registry.environment(), 0)
        (folder / "build").mkdir()

    def events(self, *boards: Board) -> Iterator[object]:
        return self._store.fetch(boards or [standin_board()], load_templates(), board_tools())

    def fetch(self) -> list[object]:
        return list(self.events())

    def fails(self) -> BuildError:
        with pytest.raises(BuildError) as caught:
            self.fetch()
        return caught.value

    def packages(self) -> list[str]:
        places = (self.core / "platforms", self.core / "packages")
        return sorted(path.name for place in places if place.is_dir() for path in place.iterdir())

    def is_whole(self) -> bool:
        """Each file of each package, and nothing besides."""
        cores = list((self.core / "packages" / "framework-standin" / "cores").glob("*.h"))
        return self.packages() == sorted([*PACKAGES, "tool-scons"]) and len(cores) == FILES + 1

    def has_litter(self) -> bool:
        return is_unfinished(self.core) or any((self.core / ".cache" / "tmp").iterdir())


def _result(shop: Shop, *, new: bool) -> FetchResult:
    return FetchResult(shop.core, tuple(Package(name, PACKAGES[name], new) for name in sorted(PACKAGES)))


@pytest.fixture
def shop(tmp_path, registry) -> Shop:
    return Shop(tmp_path, registry)


def test_all_that_is_needed_is_fetched_once_a_package_after_the_other(shop, registry) -> None:
    events = shop.fetch()
    assert shop.is_whole()
    assert not shop.has_litter()
    assert events[-1] == _result(shop, new=True)
    told = [event for event in events if isinstance(event, (FetchPlanned, Fetched))]
    assert [type(event) for event in told] == [FetchPlanned, Fetched, FetchPlanned, Fetched, Fetched]
    assert told[2].size_bytes == sum(len(registry.archives[name]) for name in list(PACKAGES)[1:])
    assert [(e.name, e.number, e.count) for e in told if isinstance(e, Fetched)][-1] == (
        "framework-standin",
        3,
        3,
    )
    steps = [event.step for event in events if isinstance(event, Fetching)]
    assert {FetchStep.LOOKING, FetchStep.RECEIVING, FetchStep.UNPACKING} <= set(steps)
    registry.asked.clear()
    assert shop.fetch()[-1] == _result(shop, new=False)
    assert registry.asked == [], "what is there is not asked for"


def test_two_boards_get_one_tool_in_two_versions(shop, registry) -> None:
    """As `tool-esptoolpy` is for the ESP8266 and for the ESP32. Each board's own compiler is taken for it."""
    pins = ("framework-standin@2.0.5", f"toolchain-standin@{NEWER}")
    other = replace(standin_board("d1-mini"), packages=pins)
    events = list(shop.events(standin_board(), other))
    versions = {(one.name, one.version) for one in events[-1].packages}
    assert versions == {*PACKAGES.items(), ("toolchain-standin", NEWER)}
    assert [(e.number, e.count) for e in events if isinstance(e, Fetched)] == [(1, 1), (2, 4), (3, 4), (4, 4)]
    registry.asked.clear()
    assert not any(one.new for one in list(shop.events(standin_board(), other))[-1].packages)
    assert registry.asked == []


def test_line_that_breaks_goes_on_where_it_was(shop, registry) -> None:
    registry.troubles["framework-standin"] = Trouble(cut_after_bytes=100_000, always=True)
    assert shop.fetch()
    assert shop.is_whole()
    gets = [path for method, path in registry.asked if (method, path) == ("GET", "/mirror/framework-standin")]
    assert len(gets) == 5
    once = sum(len(archive) for archive in registry.archives.values())
    assert once <= registry.sent_bytes < once + len(gets) * 4096, "less than a chunk is lost at each break"


def test_line_that_brings_nothing_is_given_up_and_says_so(shop, registry) -> None:
    registry.troubles["toolchain-standin"] = Trouble(cut_after_bytes=0, always=True)
    error = shop.fails()
    assert error.code.code == "BLD113"
    assert "toolchain-standin@1.2.3: 3 times in a row" in error.what
    assert shop.packages() == ["standin", "tool-scons"]
    registry.troubles.clear()
    shop.fetch()
    assert shop.is_whole()


@pytest.mark.parametrize("name", list(PACKAGES))
def test_archive_with_another_digest_is_not_unpacked(shop, registry, name) -> None:
    registry.troubles[name] = Trouble(other_bytes=True, always=True)
    error = shop.fails()
    assert error.code.code == "BLD113"
    assert f"{name}@{PACKAGES[name]}: what arrived is not what the registry says" in error.what
    assert name not in shop.packages()
    registry.troubles.clear()
    shop.fetch()
    assert shop.is_whole()


def test_wrong_bytes_before_a_break_are_found_out_and_fetched_anew(shop, registry) -> None:
    registry.troubles["framework-standin"] = Trouble(other_bytes=True, cut_after_bytes=50_000)
    shop.fetch()
    assert shop.is_whole()


def test_server_that_alters_and_breaks_each_answer_is_given_up(shop, registry) -> None:
    registry.troubles["framework-standin"] = Trouble(other_bytes=True, cut_after_bytes=200_000, always=True)
    assert shop.fails().code.code == "BLD113"


@pytest.mark.parametrize("status", [403, 404, 500])
def test_server_that_refuses_an_archive_is_not_called_a_missing_network(shop, registry, status) -> None:
    registry.troubles["toolchain-standin"] = Trouble(status=status, always=True)
    error = shop.fails()
    assert error.code.code == "BLD113"
    assert str(status) in error.what


def test_package_that_the_registry_lacks_is_named(shop, registry) -> None:
    del registry.archives["toolchain-standin"]
    error = shop.fails()
    assert error.code.code == "BLD107"
    assert "toolchain-standin" in error.what


def test_connection_that_stands_still_has_a_code_of_its_own(shop, registry, monkeypatch) -> None:
    monkeypatch.setattr(fetching, "FETCH_QUIET_S", 0.5)
    registry.troubles["framework-standin"] = Trouble(hangs=True, always=True)
    error = shop.fails()
    assert error.code.code == "BLD111"
    assert not (shop.core / "fetching.json").exists()
    registry.troubles.clear()
    registry.sent_bytes = 0
    shop.fetch()
    assert shop.is_whole()
    assert registry.sent_bytes < len(registry.archives["framework-standin"]), "it goes on with what came"


def test_fetcher_that_tells_nothing_is_ended(shop, registry, monkeypatch) -> None:
    """Whatever it hangs at."""
    monkeypatch.setattr(fetching, "FETCH_STALL_S", 1.5)
    registry.troubles["framework-standin"] = Trouble(hangs=True, always=True)
    began_s = time.monotonic()
    assert shop.fails().code.code == "BLD111"
    assert time.monotonic() - began_s < 12


def test_slow_line_has_no_limit_as_long_as_bytes_come(shop, registry, monkeypatch) -> None:
    """It takes longer than the limit for a line that brings nothing; and it is told how long it takes."""
    monkeypatch.setattr(fetching, "FETCH_QUIET_S", 2.0)
    monkeypatch.setattr(fetching, "FETCH_STALL_S", 5.0)
    registry.troubles["framework-standin"] = Trouble(bytes_per_s=70_000, always=True)
    began_s = time.monotonic()
    events = shop.fetch()
    assert time.monotonic() - began_s > 6
    left = [
        e.left_s for e in events if isinstance(e, Fetching) and e.left_s and e.name.startswith("framework")
    ]
    assert 1 < left[0] < 30
    assert left[-1] < left[0]
    assert shop.is_whole()


@pytest.mark.parametrize("silent", [False, True])
def test_no_network_is_said_within_ten_seconds(tmp_path, silent) -> None:
    """A port that nobody listens at; and one that takes no more connections and does not say no."""
    registry = Registry({})
    with ExitStack() as stack:
        port, *callers = (stack.enter_context(socket.socket()) for _ in range(6))
        port.bind(("127.0.0.1", 0))
        for caller in callers if silent else ():
            port.listen(0)
            caller.setblocking(False)
            caller.connect_ex(port.getsockname())
        registry.url = f"http://127.0.0.1:{port.getsockname()[1]}"
        began_s = time.monotonic()
        error = Shop(tmp_path, registry).fails()
    assert error.code.code == "BLD110"
    assert time.monotonic() - began_s < 10


def _until(events: Iterator[object], step: FetchStep, name: str) -> None:
    for event in events:
        if isinstance(event, Fetching) and event.step is step and event.name.startswith(name):
            return


@pytest.mark.parametrize("step", [FetchStep.RECEIVING, FetchStep.UNPACKING])
def test_run_that_is_ended_leaves_only_whole_packages(shop, step) -> None:
    events = shop.events()
    _until(events, step, "framework-standin")
    events.close()
    assert shop.packages() == ["standin", "tool-scons", "toolchain-standin"]
    assert not (shop.core / "fetching.json").exists()
    assert [e.name for e in shop.fetch() if isinstance(e, Fetched)] == ["framework-standin"]
    assert shop.is_whole()
    assert not shop.has_litter()


def test_what_a_killed_run_was_installing_goes_at_the_next_start(shop) -> None:
    """As it is when the power goes between the rename and the end: the marker stands, the package is in its place."""
    shop.fetch()
    framework = shop.core / "packages" / "framework-standin"
    (shop.core / "fetching.json").write_text(json.dumps({"package": "framework-standin"}))
    (framework / SIGN).touch()
    (framework / "cores" / "Arduino.h").unlink()
    unpacked = shop.core / ".cache" / "fetching" / "unpacked" / "x"
    unpacked.mkdir(parents=True)
    assert [e.name for e in shop.fetch() if isinstance(e, Fetched)] == ["framework-standin"]
    assert shop.is_whole()
    assert not shop.has_litter()


def test_what_platformio_itself_installs_meanwhile_stays(shop, registry, monkeypatch) -> None:
    """A person may name their own folder of PlatformIO as that of the compilers."""
    other = f"toolchain-standin@{NEWER}"
    with monkeypatch.context() as patch:
        patch.setattr(fetching, "clear_unfinished", lambda *_, **__: None)  # the tool was killed
        events = shop.events()
        _until(events, FetchStep.UNPACKING, "framework-standin")
        events.close()
    assert (shop.core / "fetching.json").exists()
    words = ["pkg", "install", "--global", "--tool", f"tests/{other}"]
    environment = {**registry.environment(), "PLATFORMIO_CORE_DIR": str(shop.core)}
    subprocess.run([sys.executable, "-m", "platformio", *words], env=environment, check=True)
    theirs = [one for one in shop.packages() if one.startswith("toolchain-standin")]
    assert len(theirs) == 2
    assert [e.name for e in shop.fetch() if isinstance(e, Fetched)] == ["framework-standin"]
    assert [one for one in shop.packages() if one.startswith("toolchain-standin")] == theirs
    compiler = {(shop.core / "packages" / one / "bin" / "compiler").read_text() for one in theirs}
    assert compiler == {"g++\n"}
    assert not shop.has_litter()


def test_second_run_waits_for_the_first_and_finds_all_there(shop, registry) -> None:
    registry.troubles["framework-standin"] = Trouble(bytes_per_s=400_000)
    first: list[object] = []
    events = shop.events()
    _until(events, FetchStep.RECEIVING, "framework-standin")
    other = threading.Thread(target=lambda: first.extend(shop.fetch()))
    other.start()
    for _ in events:
        pass
    other.join(30)
    assert Fetching(FetchStep.OTHER_RUN) in first
    assert first[-1] == _result(shop, new=False)
    assert shop.is_whole()


def test_folder_that_cannot_be_written_is_named(tmp_path, registry) -> None:
    (tmp_path / "core").write_text("a file")
    error = Shop(tmp_path, registry).fails()
    assert error.code.code == "BLD115"
    assert str(tmp_path / "core") in error.what


def test_disk_that_is_too_small_is_said_before_anything_is_fetched(shop, registry, monkeypatch) -> None:
    """The sizes are the registry's."""
    real = registry.package

    def huge(kind: str, name: str) -> bytes | None:
        said = real(kind, name)
        return said and said.replace(b'"size": ', b'"size": 9999999')

    registry.package = huge
    error = shop.fails()
    assert error.code.code == "BLD112"
    assert "are needed" in error.what
    assert not [path for _, path in registry.asked if path.startswith("/mirror/framework")]


def _workshop(tmp_path: Path, registry: Registry, **changes) -> BuildContext:
    templates = {**small_templates(), "firmware/ports/esp32/main.cpp": b""}
    shop = BuildContext(
        tmp_path / "build",
        tmp_path / "core",
        Shelf(tmp_path / "shelf"),
        KeyFolder.create(tmp_path / "keys"),
        templates,
        registry.environment(),
        standin_board,
        lambda: 1_790_000_000,
    )
    return replace(shop, **changes)


def test_build_for_a_board_fetches_first_then_compiles_and_records_what_was_used(tmp_path, registry) -> None:
    """From nothing to a signed image, by the real PlatformIO; the compiler is this machine's."""
    shop = _workshop(tmp_path, registry)
    request = BuildRequest(sample_inventory(), "board", ("yard-1", "yard-2"), jobs=2)
    kinds = [type(event) for event in build(request, shop)]
    assert kinds.index(FetchResult) < kinds.index(Compiled)
    (entry, _) = finished(build(request, shop)).entries
    tools = shop.shelf.record(entry.record)["tools"]
    used = {name: version for name, version in PACKAGES.items() if name != "standin"}
    assert {name: tools[name] for name in used} == used
    assert "tool-scons" not in tools
    asked = len(registry.asked)
    again = replace(shop, templates={**shop.templates, "firmware/core/added.cpp": b"int added;\n"})
    assert finished(build(request, again)).compiled
    assert len(registry.asked) == asked, "with all there, compiling asks nobody"


def test_command_fetches_without_keys_and_compiles_nothing(tmp_path, registry, monkeypatch, capsys) -> None:
    """For all boards of the demo's inventory; then there is nothing to fetch."""
    shutil.copytree(ROOT / "inventory", tmp_path / "inventory")
    for name, value in registry.environment().items():
        monkeypatch.setenv(name, value)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setattr("fleet.boards.board.load_board", standin_board)
    command = ["--project", str(tmp_path), "build", "--fetch"]
    assert run([*command, "--json"]) == Exit.OK
    first = capsys.readouterr()
    facts = json.loads(first.out)
    jsonschema.validate(facts, json.loads((ROOT / "fleet" / "schemas" / "fetch.json").read_text()))
    assert facts["folder"] == str(tmp_path / "data" / "tankfleet" / "compilers")
    assert {one["name"]: one["version"] for one in facts["packages"]} == PACKAGES
    assert all(one["new"] for one in facts["packages"])
    assert "fetching toolchain-standin@1.2.3, framework-standin@2.0.5+sha.abc, 0.5 MB, into" in first.err
    assert "fetched framework-standin 2.0.5+sha.abc (3 of 3)" in first.err
    assert run(command) == Exit.OK
    second = capsys.readouterr()
    assert "Nothing to download" in second.err
    assert [line.split()[0] for line in second.out.splitlines()[1:]] == sorted(PACKAGES)
    assert not (tmp_path / ".tankfleet" / "build" / "classes").exists()


SIEGE = [sys.executable, "-m", "tests.build.fetch_siege"]


def test_broken_full_and_interrupted_runs_are_all_gone_on_from() -> None:
    """A few of each; `python -m tests.build.fetch_siege 50 50 10` does all of them, in ten minutes."""
    done = subprocess.run([*SIEGE, "3", "3", "2"], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "3 interrupted, 3 broken, 2 full: each was gone on from" in done.stdout


def test_fetcher_ends_with_the_tool_that_started_it(shop, registry, tmp_path) -> None:
    """After kill -9 of the tool: the fetcher sees that nobody listens, and the next run gets its turn."""
    script = tmp_path / "run.py"
    script.write_text(
        "import sys\nfrom pathlib import Path\n"
        "from fleet.build.fetch import Fetcher\nimport json\n"
        "environment, core, log, project = json.loads(sys.argv[1])\n"
        "for event in Fetcher(environment, Path(core), Path(log)).run([Path(project)]):\n"
        "    print(event, flush=True)\n"
    )
    list_of_events = shop.events()
    next(list_of_events)
    list_of_events.close()
    project = shop.log.parent.parent / "fetch" / "esp32-devkit"
    registry.troubles["framework-standin"] = Trouble(bytes_per_s=60_000)
    environment = {**registry.environment(), "PLATFORMIO_CORE_DIR": str(shop.core)}
    argument = json.dumps([environment, str(shop.core), str(shop.log), str(project)])
    tool = subprocess.Popen(
        [sys.executable, str(script), argument], env=environment, stdout=subprocess.PIPE, text=True
    )
    assert tool.stdout
    for line in tool.stdout:
        if "RECEIVING" in line and "framework-standin" in line:
            break
    tool.send_signal(signal.SIGKILL)
    tool.wait()
    tool.stdout.close()
    shop.fetch()
    assert shop.is_whole()
    assert not shop.has_litter()


def test_build_of_another_project_does_not_wait_while_bytes_come(shop, registry) -> None:
    """PlatformIO holds a lock on its folder of packages while it installs, and each of its runs asks for it."""
    registry.troubles["framework-standin"] = Trouble(bytes_per_s=400_000)
    events = shop.events()
    _until(events, FetchStep.RECEIVING, "framework-standin")
    with (shop.core / "packages.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    for _ in events:
        pass
    assert shop.is_whole()
