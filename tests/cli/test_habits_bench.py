"""The behaviours of test_habits.py that need time, real processes, terminals or nodes: a bench of three nodes."""

from __future__ import annotations

import base64
import os
import re
import selectors
import signal
import statistics
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pexpect
import pytest

from fleet.codes import Exit
from fleet.keys.folder import KeyFolder
from tests.bench.scenery import processes_of
from tests.real_fleet import ROOT, build, real_project, tankfleet

pytestmark = [pytest.mark.slow, pytest.mark.alone, pytest.mark.timeout(900)]
NODES = ("kestrel-03", "kestrel-04", "kestrel-05")
PASSPHRASE = "correct horse battery staple"


@pytest.fixture(scope="module")
def project(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Three nodes on the bench; the first release runs on them, a second one is on the shelf."""
    project = real_project(tmp_path_factory.mktemp("habits"), tmp_path_factory.getbasetemp() / "shared-build")
    build(project, *NODES)
    subprocess.run(
        command(project, "keys", "set-network", "kestrel-yard", "--ssid", "Yard"),
        input=PASSPHRASE + "\n",
        text=True,
        cwd=ROOT,
        check=True,
        capture_output=True,
    )
    tankfleet(project, "render", *NODES)
    tankfleet(project, "bench", "up", *NODES)
    build(project, *NODES, "--release", "1.1.0")
    yield project
    tankfleet(project, "bench", "down")
    assert processes_of(project) == {}


def command(project: Path, *words: str) -> list[str]:
    return [sys.executable, "-m", "fleet", "--project", str(project), *words]


# ------------------------------------------------------------------ 3
def test_03_version_takes_no_more_than_four_bare_starts() -> None:
    """Medians of interleaved runs, so that what else this machine does falls on both."""
    bare, version = [], []
    for _ in range(15):
        bare.append(_took_s([sys.executable, "-c", "pass"]))
        version.append(_took_s([sys.executable, "-m", "fleet", "--version"]))
    assert statistics.median(version) <= 4 * statistics.median(bare)


def _took_s(words: list[str]) -> float:
    began_s = time.perf_counter()
    subprocess.run(words, cwd=ROOT, check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - began_s


# ------------------------------------------------------------------ 16
@dataclass(frozen=True)
class Heard:
    """What a command said, the longest silence, and its exit status."""

    text: str
    silent_s: float
    status: int


def listen(words: list[str]) -> Heard:
    """Run a command with pipes, and measure how long it is silent: from its start to its end."""
    process = subprocess.Popen(words, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
    assert process.stdout is not None
    said, silent_s, last_s = b"", 0.0, time.monotonic()
    with selectors.DefaultSelector() as selector:
        selector.register(process.stdout, selectors.EVENT_READ)
        while True:
            selector.select()
            part = os.read(process.stdout.fileno(), 65536)
            now_s = time.monotonic()
            silent_s, last_s = max(silent_s, now_s - last_s), now_s
            if not part:
                break
            said += part
    process.stdout.close()
    return Heard(said.decode(), silent_s, process.wait())


def test_16_nothing_is_silent_for_more_than_two_seconds(project: Path, tmp_path: Path) -> None:
    """On top of what a start of Python and the loading of the command take on this machine just now. The build is one
    in a build folder of its own: what another test has compiled would not be compiled again."""
    build_alone = real_project(tmp_path, tmp_path / "build")
    _hold_to_two_seconds(build_alone, ("build", "larkwood-01"), Exit.OK, "still compiling")
    plan = str(project / "silent.plan")
    runs: list[tuple[tuple[str, ...], Exit, str]] = [
        (
            ("find", *NODES, "larkwood-01", "--timeout", "6"),
            Exit.UNREACHABLE,
            "waiting for 1 node (larkwood-01)",
        ),
        (("plan", *NODES, "--any-hour", "--soak", "8 s", "--out", plan), Exit.OK, ""),
        (("push", plan, "--yes"), Exit.OK, "its soak, "),
        (("roll-back", "--yes"), Exit.OK, ""),
        (("audit", "--timeout", "5"), Exit.PROBLEMS, "waiting for"),
        (("bench", "down"), Exit.OK, ""),
        (("bench", "up", *NODES), Exit.OK, ""),
    ]
    for words, status, told in runs:
        _hold_to_two_seconds(project, words, status, told)


def _hold_to_two_seconds(project: Path, words: tuple[str, ...], status: Exit, told: str) -> None:
    """Run a command that must end so, say so much, and never be silent for longer."""
    start_s = listen(command(project, "find", "nobody")).silent_s
    heard = listen(command(project, *words))
    assert heard.status in (status, Exit.UNREACHABLE), heard.text
    assert told in heard.text
    assert heard.silent_s <= 2.0 + start_s, f"{words}: silent for {heard.silent_s:.1f} s\n{heard.text}"


# ------------------------------------------------------------------ 19
@pytest.mark.parametrize(
    ("words", "begun"),
    [
        (("find", "larkwood-01", "--timeout", "30"), "waiting for 1 node"),
        (("plan", "larkwood-01", "--timeout", "30"), "waiting for"),
        (("audit", "--timeout", "30"), "waiting for"),
    ],
    ids=lambda v: v[0] if isinstance(v, tuple) else "",
)
def test_19_ctrl_c_gets_a_word_within_200_ms(project: Path, words: tuple[str, ...], begun: str) -> None:
    _press_ctrl_c(project, words, begun)


def test_19_ctrl_c_in_a_build_gets_its_word_as_soon(tmp_path: Path) -> None:
    """In a build folder of its own: what another test has compiled would not be compiled again."""
    project = real_project(tmp_path, tmp_path / "build")
    _press_ctrl_c(project, ("build", "larkwood-01"), "compiling ")
    assert processes_of(project / ".tankfleet" / "build") == {}, "no compiler is left"


def _press_ctrl_c(project: Path, words: tuple[str, ...], begun: str) -> None:
    """Start a command, wait for a line that has `begun` in it, press Ctrl-C, and hold it to its manners."""
    process = subprocess.Popen(
        command(project, *words),
        cwd=ROOT,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        bufsize=1,
    )
    assert process.stderr is not None
    with process.stderr as stderr:
        said = []
        while begun not in (line := stderr.readline()):
            said.append(line)
            assert line, f"it ended and never said {begun!r}: {said}"
        pressed_s = time.monotonic()
        process.send_signal(signal.SIGINT)
        while "interrupted" not in (line := stderr.readline()):
            said.append(line)
            assert line, f"it ended without a word: {said}"
        assert time.monotonic() - pressed_s <= 0.2
        rest = stderr.read()
    assert process.wait(timeout=30) == Exit.INTERRUPTED
    assert "run the same command again to continue" in rest
    assert "Traceback" not in rest


def test_19_ctrl_c_in_a_push_gets_its_word_as_soon(project: Path) -> None:
    """What comes after it (journal, resume) is in push/test_push_bench.py."""
    plan = str(project / "cut.plan")
    tankfleet(project, "plan", *NODES, "--retry-failed", "--any-hour", "--soak", "20 s", "--out", plan)
    process = subprocess.Popen(
        command(project, "push", plan, "--yes"),
        cwd=ROOT,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stderr is not None
    assert any(line.endswith(": on trial\n") for line in process.stderr)
    pressed_s = time.monotonic()
    process.send_signal(signal.SIGINT)
    assert any(line.startswith("interrupted: ") for line in process.stderr)
    assert time.monotonic() - pressed_s <= 0.2
    rest = process.stderr.read()
    process.stderr.close()
    assert process.wait(timeout=60) == Exit.INTERRUPTED
    assert "The journal is consistent." in rest
    assert "next: tankfleet resume" in rest
    tankfleet(project, "stop")


def test_22_a_plan_goes_through_a_pipe(project: Path) -> None:
    made = tankfleet(project, "plan", *NODES, "--retry-failed", "--any-hour", "--out", "-").stdout
    words = command(project, "push", "-", "--dry-run")
    done = subprocess.run(words, input=made, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == Exit.OK, done.stderr
    assert [line.split()[1] for line in done.stdout.splitlines()[1:]] != []
    assert "nothing was sent to any node" in done.stderr


# ------------------------------------------------------------------ 24
@pytest.mark.parametrize("width", [60, 80, 200])
def test_24_tables_of_real_nodes_fit_a_real_terminal(project: Path, width: int) -> None:
    for words in (
        ("show", "tank", "header-east"),
        ("find", *NODES),
        ("plan", *NODES, "--any-hour"),
        ("audit", "--timeout", "2"),
        ("shelf",),
        ("bench", "list"),
    ):
        text = on_terminal(project, width, *words)
        paths = ("next: ", str(project))  # never folded: they are to be copied
        too_long = [
            line for line in text.splitlines() if len(line) > width and not any(p in line for p in paths)
        ]
        assert not too_long, words
        if words[0] in ("find", "plan", "audit"):
            assert all(name in text for name in NODES), "names are never cut"


def on_terminal(project: Path, width: int, *words: str) -> str:
    """What a command prints on a terminal of that width, without its escapes."""
    shell = {k: v for k, v in os.environ.items() if k not in ("COLUMNS", "LINES", "NO_COLOR")}
    child = pexpect.spawn(
        sys.executable,
        command(project, *words)[1:],
        cwd=str(ROOT),
        env={**shell, "TERM": "xterm"},
        dimensions=(24, width),
        encoding="utf-8",
        timeout=120,
    )
    child.expect(pexpect.EOF)
    child.close()
    return re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", str(child.before)).replace("\r\n", "\n").replace("\r", "\n")


def test_15_progress_of_a_push_on_a_terminal_and_its_end(project: Path) -> None:
    """The drawing goes away; what stays are the waves, their verdicts and the table."""
    plan = str(project / "drawn.plan")
    tankfleet(project, "plan", *NODES, "--retry-failed", "--any-hour", "--soak", "3 s", "--out", plan)
    text = on_terminal(project, 80, "push", plan, "--yes")
    assert "> wave 1 of" in text
    assert "on trial, " in text
    assert re.search(r"about \d+ s left: ", text)
    assert "gate of wave 1 passed" in text
    assert "3 kept. Every planned node runs the new image and keeps it." in " ".join(text.split())
    tankfleet(project, "roll-back", "--yes")


# ------------------------------------------------------------------ 25
def test_25_no_secret_in_argv_logs_plans_reports_or_json(project: Path) -> None:
    """Every key and the passphrase, raw, in hex and in base64: in everything that was said and written, and in
    the command line and environment of every process of the project while a push runs. Where they have to be:
    the key folder, and in the flash of a virtual node its own key."""
    plan = str(project / "secret.plan")
    tankfleet(project, "plan", *NODES, "--retry-failed", "--any-hour", "--soak", "3 s", "--out", plan)
    processes = Processes(project)
    with processes:
        said = [tankfleet(project, "push", plan, "--yes", "--json")]
    said += [tankfleet(project, *words, expect=status) for words, status in SAID]
    keys = KeyFolder.open(project / "keys")
    own = {name: keys.node_key(name) for name in NODES}
    private = keys.signing_key().private_numbers().private_value.to_bytes(32, "big")
    spoken = "".join(done.stdout + done.stderr + " ".join(done.args) for done in said).encode()
    assert len(processes.seen) > len(NODES)
    places = {"what was said": spoken, "processes": b"\n".join(processes.seen), **_files(project)}
    assert sum(path.endswith("flash.bin") for path in places) == len(NODES)
    for secret in (private, keys.fleet_key(), *own.values()):
        for form in _forms(secret):
            found = {place for place, data in places.items() if form in data}
            allowed = {
                place
                for place in found
                for name, key in own.items()
                if key == secret and f"/{name}/flash" in place
            }
            assert found <= allowed
    assert not [place for place, data in places.items() if PASSPHRASE.encode() in data]


SAID: list[tuple[tuple[str, ...], int]] = [
    (("keys", "show"), 0),
    (("keys", "show", "--json"), 0),
    (("keys", "networks", "--json"), 0),
    (("bench", "list", "--json"), 0),
    (("find", *NODES, "--json"), 0),
    (("shelf", "--json"), 0),
    (("audit", "--offline", "--json"), 0),
]


class Processes:
    """Command lines and environments of all processes that have to do with a project, seen while it is open."""

    def __init__(self, project: Path) -> None:
        self._project = str(project).encode()
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._look)
        self.seen: set[bytes] = set()

    def __enter__(self) -> None:
        self._thread.start()

    def __exit__(self, *error: object) -> None:
        self._ended.set()
        self._thread.join()

    def _look(self) -> None:
        while not self._ended.wait(0.05):
            for folder in Path("/proc").glob("[0-9]*"):
                try:
                    said = (folder / "cmdline").read_bytes() + (folder / "environ").read_bytes()
                except OSError:
                    continue
                if self._project in said:
                    self.seen.add(said)


def _files(project: Path) -> dict[str, bytes]:
    """All files of the project but for the key folder; the build folder is shared, and is looked at too."""
    found = {}
    for folder in (project, (project / ".tankfleet" / "build").resolve()):
        for path in folder.rglob("*"):
            if path.is_file() and project / "keys" not in path.parents:
                found[str(path)] = path.read_bytes()
    return found


def _forms(secret: bytes) -> list[bytes]:
    encoded = [base64.b64encode(secret), base64.urlsafe_b64encode(secret)]
    return [secret, secret.hex().encode(), secret.hex().upper().encode(), *(e.rstrip(b"=") for e in encoded)]
