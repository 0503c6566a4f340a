"""Real commands on a disk that fails (failing_disk.c): the k-th write, fsync or rename, once or from then on.

After each: no fault of the tool itself, no file half written, nothing lost, and the same command (or the one that it
names) does it once the disk has room. `python -m tests.failing_disk all` tries every k of every command, `... NAME` of
one, `... NAME OP HOW K` one try; the number of tries in a thousand may follow `all` or a name, with a seed. A long
sweep is shared out with two more numbers, `... push 1000 0 2 4` for the second part of four: each part in a network
namespace of its own, for its nodes have the same names.
"""

from __future__ import annotations

import errno
import random
import shutil
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from fleet.build.shelf import Shelf
from fleet.check.load import load_inventory
from fleet.keys.folder import KeyFolder
from fleet.keys.networks import Network
from fleet.push.journal import Journal
from fleet.push.plan import read_plan
from fleet.push.state import PushPhase
from tests.flash.bench_table import MACS, inventory_text, lay_table
from tests.push.yard import lay_out
from tests.push.yard_process import ROOT, YardProcess, stand_ins
from tests.warm_tool import WarmTool

SOURCE = Path(__file__).with_name("failing_disk.c")
OPS = ("write", "fsync", "rename")
HOWS = ("once", "forever")
ERRORS = {"write": errno.ENOSPC, "fsync": errno.EIO, "rename": errno.ENOSPC}
NAMES = ["disk-a", "disk-b"]
PASSPHRASE = "correct horse battery"
BUILD = """
import sys, pytest
from fleet.cli.app import run
from tests.fake_platformio import replace_platformio
replace_platformio(pytest.MonkeyPatch())
sys.exit(run(sys.argv[1:]))
"""
FLASH = """
import sys
from fleet.cli.app import run
from tests.flash.bench_table import CHIPS, MACS
from tests.rom_loader import Rom
with Rom(CHIPS["north"], MACS["north"], 4 << 20) as rom:
    status = run([*sys.argv[1:], "--port", rom.port])
sys.exit(status)
"""


@dataclass(frozen=True)
class Scenario:
    """One command. `check` looks at the project after a failure, `done` after it was done again without one."""

    words: tuple[str, ...]
    check: Callable[[Path], None]
    done: Callable[[Path], None]
    program: str = ""
    """Python that is run instead of the tool."""
    stdin: str = ""
    lay: Callable[[Path], object] = lambda project: lay_out(project, NAMES)
    prepared: Callable[[Path], None] = lambda project: None
    """What is done once, before any try, in the project that each try gets a copy of."""
    with_nodes: bool = False


# -------------------------------------------------------------------- what must hold
def _keys_whole(project: Path) -> None:
    if (project / "new-keys").exists():
        KeyFolder.open(project / "new-keys")


def _networks_whole(project: Path) -> None:
    folder = KeyFolder.open(project / "keys")
    text = (project / "keys" / "networks.toml").read_text(encoding="utf-8")
    assert tomllib.loads(text)["other"]["ssid"] == "Other", "what was set before is lost"
    assert "n" not in folder.networks() or folder.network("n").passphrase == PASSPHRASE
    assert sorted(path.name for path in (project / "keys").iterdir() if path.name.startswith(".")) == []


def _networks_set(project: Path) -> None:
    assert KeyFolder.open(project / "keys").network("n").passphrase == PASSPHRASE


def _node_key_whole(project: Path) -> None:
    path = project / "a.key"
    if path.exists():
        assert path.read_text() == KeyFolder.open(project / "keys").node_key("disk-a").hex() + "\n"


def _plan_whole(project: Path) -> None:
    path = project / "the.plan"
    if path.exists():
        assert len(list(read_plan(path.read_text(encoding="utf-8")).nodes())) == len(NAMES)


def _shelf_whole(project: Path) -> None:
    shelf = Shelf(project / ".tankfleet" / "shelf")
    for entry in shelf.entries():
        shelf.image(entry.image), shelf.ticket(entry.ticket), shelf.record(entry.record)
    assert all(len(shelf.entries(name)) >= 2 for name in NAMES), "what was there before is lost"


def _built(project: Path) -> None:
    _shelf_whole(project)
    shelf = Shelf(project / ".tankfleet" / "shelf")
    assert all(any(entry.target == "host" for entry in shelf.entries(name)) for name in NAMES)


def _inventory_whole(project: Path) -> None:
    """As it was, or with the one line more."""
    mac = load_inventory(project / "inventory").node("north").mac
    lines = (project / "inventory" / "farm.yaml").read_text(encoding="utf-8").splitlines()
    assert mac is None or lines.pop(lines.index(f"  mac: {mac}"))
    assert mac in (None, MACS["north"])
    assert lines == inventory_text().splitlines()


def _claimed(project: Path) -> None:
    _inventory_whole(project)
    assert load_inventory(project / "inventory").node("north").mac == MACS["north"]


def _journal_readable(project: Path) -> None:
    with Journal.reading(project / ".tankfleet" / "journal.db") as journal:
        for record in journal.pushes() if journal is not None else ():
            assert journal is not None
            journal.state(record.id)


def _pushed(project: Path) -> None:
    with Journal.open(project / ".tankfleet" / "journal.db") as journal:
        assert [record.phase for record in journal.pushes()] == [PushPhase.DONE]


def _exists(name: str) -> Callable[[Path], None]:
    def check(project: Path) -> None:
        assert (project / name).exists()

    return check


def _other_network(project: Path) -> None:
    KeyFolder(project / "keys").set_network("other", Network("Other", "another one"))


def _planned(project: Path) -> None:
    words = ["plan", "--any-hour", "--out", str(project / "the.plan")]
    subprocess.run(
        [sys.executable, "-m", "fleet", "--project", str(project), *words],
        check=True,
        cwd=ROOT,
        capture_output=True,
    )


SCENARIOS = {
    "keys-create": Scenario(
        ("--keys", "{project}/new-keys", "keys", "create", "--new-fleet"),
        _keys_whole,
        _exists("new-keys/signing-key.pem"),
    ),
    "set-network": Scenario(
        ("keys", "set-network", "n", "--ssid", "Farm"),
        _networks_whole,
        _networks_set,
        stdin=PASSPHRASE + "\n",
        prepared=_other_network,
    ),
    "keys-node": Scenario(
        ("keys", "node", "disk-a", "--out", "{project}/a.key"), _node_key_whole, _exists("a.key")
    ),
    "build": Scenario(("build", "--target", "host"), _shelf_whole, _built, BUILD),
    "flash": Scenario(
        ("flash", "north", "--yes", "--wait", "0"), _inventory_whole, _claimed, FLASH, lay=lay_table
    ),
    "plan": Scenario(
        ("plan", "--any-hour", "--out", "{project}/the.plan"),
        _plan_whole,
        _exists("the.plan"),
        with_nodes=True,
    ),
    "push": Scenario(
        ("push", "{project}/the.plan", "--fleet", "yard", "--yes"),
        _journal_readable,
        _pushed,
        prepared=_planned,
        with_nodes=True,
    ),
}


# -------------------------------------------------------------------- doing it
@cache
def shim() -> Path:
    """The compiled library."""
    folder = Path(tempfile.mkdtemp(prefix="tankfleet-test-"))
    made = folder / "failing_disk.so"
    subprocess.run(
        ["gcc", "-shared", "-fPIC", "-O1", "-Wall", "-Werror", "-o", made, SOURCE, "-ldl"], check=True
    )
    return made


class Yard:
    """A project laid out and prepared once, and copied for each try."""

    def __init__(self, folder: Path, name: str, tool: WarmTool) -> None:
        self.folder, self.scenario, self.tool = folder, SCENARIOS[name], tool
        self.first = folder / "first"
        self.scenario.lay(self.first)
        with self._nodes(self.first):
            self.scenario.prepared(self.first)

    def _nodes(self, project: Path) -> AbstractContextManager[YardProcess | None]:
        return stand_ins(project) if self.scenario.with_nodes else nullcontext()

    @contextmanager
    def project(self) -> Iterator[tuple[Path, YardProcess | None]]:
        """A fresh copy, with its nodes if the command needs them."""
        project = Path(tempfile.mkdtemp(dir=self.folder)) / "project"
        shutil.copytree(self.first, project)
        with self._nodes(project) as yard:
            yield project, yard
        shutil.rmtree(project.parent)

    def run(self, project: Path, op: str, how: str, k: int) -> subprocess.CompletedProcess[str]:
        """The command on the disk that fails; what it counted is in `count` beside the project."""
        failing = {
            "FAIL_UNDER": str(project),
            "FAIL_OP": op,
            "FAIL_HOW": how,
            "FAIL_AT": str(k),
            "FAIL_ERRNO": str(ERRORS[op]),
            "FAIL_COUNT": str(project.parent / "count"),
        }
        return self._command(project, failing)

    def _command(self, project: Path, failing: dict[str, str] | None) -> subprocess.CompletedProcess[str]:
        words = [word.format(project=project) for word in ("--project", "{project}", *self.scenario.words)]
        return self.tool.run(self.scenario.program, words, self.scenario.stdin, failing)

    def count(self, op: str) -> int:
        """How many such calls the command makes when nothing fails."""
        with self.project() as (project, _):
            done = self.run(project, op, "once", 0)
            assert done.returncode == 0, done.stderr
            return int((project.parent / "count").read_text())

    def one(self, op: str, how: str, k: int) -> str:
        """One try; the exit status, or what is wrong."""
        with self.project() as (project, yard):
            done = self.run(project, op, how, k)
            said = done.stdout + done.stderr
            if done.returncode not in (0, 1, 2, 3) or "Traceback" in said or "CLI107" in said:
                return f"WRONG: exit {done.returncode}: {said[-1500:]}"
            if "CLI109: :" in said:
                return f"WRONG: no file is named: {said[-1500:]}"
            try:
                self.scenario.check(project)
                self._again(project)
                self.scenario.done(project)
                if yard is not None and self.scenario.words[0] == "push":
                    puts = {name: one["puts"] for name, one in yard.report().items()}
                    assert all(one == 1 for one in puts.values()), f"sent twice, or not at all: {puts}"
                left = [str(path) for path in project.rglob(".*.new*")]
                assert not left, f"left behind: {left}"
            except Exception as error:
                return f"WRONG: {type(error).__name__}: {error}\n{said[-1500:]}"
            return f"exit {done.returncode}"

    def _again(self, project: Path) -> None:
        """Once the disk has room: `resume` if a push was cut off, else the same command."""
        done = self._command(project, None)
        if "PSH101" in done.stderr:
            done = self.tool.run("", ["--project", str(project), "resume"])
        assert done.returncode == 0, f"again: {done.returncode} {done.stdout}{done.stderr}"


@contextmanager
def yard_of(name: str) -> Iterator[Yard]:
    """The yard for one command, in memory where that is a file system."""
    memory = Path("/dev/shm")
    with (
        tempfile.TemporaryDirectory(dir=memory if memory.is_dir() else None) as folder,
        WarmTool(shim()) as tool,
    ):
        yield Yard(Path(folder), name, tool)


@dataclass(frozen=True)
class Share:
    """How many tries in a thousand, drawn by which seed, and which part of them (1 for the first) out of how many."""

    per_thousand: int = 1000
    seed: int = 0
    part: int = 1
    parts: int = 1

    def of(self, count: Callable[[str], int]) -> list[tuple[str, str, int]]:
        """This share of all tries, and before it is shared out at least one of each kind. `count`: calls of an op."""
        chance, chosen = random.Random(self.seed), []
        for op in OPS:
            calls = count(op)
            for how in HOWS if calls else ():
                many = max(1, calls * self.per_thousand // 1000)
                chosen += [(op, how, k) for k in sorted(chance.sample(range(1, calls + 1), min(many, calls)))]
        return chosen[self.part - 1 :: self.parts]


def sweep(name: str, share: Share, tell: Callable[[str], None]) -> list[str]:
    """Do them; those that came out wrong, with what shows them again."""
    wrong = []
    with yard_of(name) as yard:
        for op, how, k in share.of(yard.count):
            came = yard.one(op, how, k)
            tell(f"{name} {op} {how} {k}: {came}")
            if came.startswith("WRONG"):
                wrong.append(f"{came}\n  again: python -m tests.failing_disk {name} {op} {how} {k}")
    return wrong


def main(words: list[str]) -> int:
    """The command; 1 if anything came out wrong."""
    if len(words) == 4:
        with yard_of(words[0]) as yard:
            came = yard.one(words[1], words[2], int(words[3]))
        print(came)
        return 1 if came.startswith("WRONG") else 0
    share = Share(*map(int, words[1:]))
    names = list(SCENARIOS) if words[0] == "all" else [words[0]]
    wrong = [one for name in names for one in sweep(name, share, lambda line: print(line, flush=True))]
    print(f"{len(wrong)} wrong")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
