"""Random damage to the files of a journal: each is either told with its own code, or the data are the same.

`python -m tests.push.damage 10000 7` does 10,000 of them from the seed 7; `python -m tests.push.damage one 7 123`
does the one of that number alone and shows it.
"""

from __future__ import annotations

import random
import shutil
import sys
import tempfile
import traceback
from collections import Counter
from collections.abc import Callable
from pathlib import Path

from fleet.errors import TankfleetError
from fleet.push.events import Requested, RequestKind, Resumed
from fleet.push.journal import Journal
from tests.push.plans import plan_of, planned
from tests.push.stage import BEGAN_S, Stage, push

NAME = "journal.db"
OWN = {f"PSH{number}" for number in (108, 140, 141, 142, 143, 147)}
"""The codes of damage. A disk that is full, locked or read-only is none."""
Files = dict[str, bytes]


def all_of(journal: Journal) -> list[object]:
    """All that a journal says."""
    said: list[object] = [journal.pushes(), journal.unfinished()]
    for record in journal.pushes():
        said += [journal.plan(record.id), journal.events(record.id), journal.outcomes(record.id)]
        said += [journal.open_requests(record.id)]
    said += [journal.is_taken(number) for number in (1, 2, 3)]
    return said


def _files(folder: Path) -> Files:
    """What a kill -9 leaves: the index in memory (-shm) is made anew by whoever comes next."""
    return {path.name: path.read_bytes() for path in folder.iterdir() if not path.name.endswith("-shm")}


def states(folder: Path) -> tuple[list[Files], Files]:
    """A journal that was closed, and one that was cut off with its newest commits in the log of writes only; and how
    its files were earlier."""
    done = Stage(plan_of([planned("a")], [planned("b"), planned("c")]))
    cut_off = Stage(plan_of([planned(f"n{i}") for i in range(6)], pilots=1))
    with Journal.open(folder / NAME) as journal:
        journal.begin(done.plan, BEGAN_S)
        push(done, journal)
    earlier = _files(folder)
    with Journal.open(folder / NAME) as journal:
        journal.begin(cut_off.plan, BEGAN_S + 900)
        journal.request(cut_off.plan.id, Requested(BEGAN_S + 901, RequestKind.HOLD))
        state = journal.state(cut_off.plan.id)
        for second in range(5):
            journal.append(
                cut_off.plan.id, [Resumed(BEGAN_S + 902 + second)], state, [1] if second == 2 else []
            )
        journal.request(cut_off.plan.id, Requested(BEGAN_S + 910, RequestKind.GO_ON))
        killed = _files(folder)
    return [_files(folder), killed], earlier


def _some_bytes(data: bytes, chance: random.Random) -> bytes:
    changed = bytearray(data)
    for _ in range(chance.choice((1, 1, 1, 2, 8))):
        changed[chance.randrange(len(changed))] ^= 1 << chance.randrange(8)
    return bytes(changed)


def _a_stretch(data: bytes, chance: random.Random) -> bytes:
    at = chance.randrange(len(data))
    size = min(chance.choice((4, 64, 512, 4096)), len(data) - at)
    filler = chance.choice((b"\x00", b"\xff", b""))
    return data[:at] + (filler * size if filler else chance.randbytes(size)) + data[at + size :]


def _a_sector_of_another_place(data: bytes, chance: random.Random) -> bytes:
    size = chance.choice((512, 4096))
    places = max(1, len(data) // size)
    to, of = (chance.randrange(places) * size for _ in range(2))
    return data[:to] + data[of : of + size] + data[to + len(data[of : of + size]) :]


def _shorter(data: bytes, chance: random.Random) -> bytes:
    return data[: chance.choice((chance.randrange(len(data)), len(data) // 4096 // 2 * 4096, 0))]


def _longer(data: bytes, chance: random.Random) -> bytes:
    return data + chance.randbytes(chance.choice((1, 512, 4096)))


CHANGES: tuple[Callable[[bytes, random.Random], bytes], ...] = (
    _some_bytes,
    _some_bytes,
    _some_bytes,
    _a_stretch,
    _a_sector_of_another_place,
    _shorter,
    _longer,
)


def harm(files: Files, earlier: Files, chance: random.Random) -> tuple[Files, str]:
    """One file of them changed, dropped, or as it was earlier; and what was done."""
    names = [name for name in files if files[name]]
    weights = [8 if name.endswith("-wal") else 12 if name == NAME else 1 for name in names]
    (name,) = chance.choices(names, weights)
    doing = chance.randrange(20)
    if doing == 0 and name != NAME:
        return {other: data for other, data in files.items() if other != name}, f"{name} dropped"
    if doing == 1:
        return {**files, name: earlier.get(name, b"")}, f"{name} as it was earlier"
    change = chance.choice(CHANGES)
    return {**files, name: change(files[name], chance)}, f"{name}:{change.__name__}"


class Bench:
    """Undamaged files, and what they say."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        first = folder / "first"
        first.mkdir()
        self.states, self.earlier = states(first)
        self.said = [self._read(files, make=False) for files in self.states]
        assert self.said[0] == self.said[1], "a cut-off journal says the same as a closed one"

    def _read(self, files: Files, *, make: bool) -> list[object] | None:
        folder = Path(tempfile.mkdtemp(dir=self.folder))
        try:
            for name, data in files.items():
                (folder / name).write_bytes(data)
            opened = Journal.open(folder / NAME) if make else Journal.open_if_there(folder / NAME)
            if opened is None:
                return None
            with opened:
                return all_of(opened)
        finally:
            shutil.rmtree(folder)

    def one(self, seed: int, number: int) -> tuple[str, str]:
        """The damage of that number, and what came of it: a code, `same`, or what is wrong."""
        chance = random.Random(f"{seed} {number}")
        which = chance.randrange(len(self.states))
        harmed, what = harm(self.states[which], self.earlier, chance)
        make = chance.random() < 0.5
        try:
            said = self._read(harmed, make=make)
        except TankfleetError as error:
            code = error.code.code
            return what, code if code in OWN else f"WRONG: {code}: {error.what}"
        except Exception:
            return what, f"WRONG: {traceback.format_exc()}"
        return what, "same" if said == self.said[which] else "WRONG: other data, and not a word"


def run(count: int, seed: int, folder: Path) -> tuple[Counter[str], list[str]]:
    """Do that many; how often each came out, and those that came out wrong, with what shows them again."""
    bench, came, wrong = Bench(folder), Counter[str](), []
    for number in range(count):
        what, outcome = bench.one(seed, number)
        came[outcome.partition(":")[0]] += 1
        if outcome.startswith("WRONG"):
            wrong.append(f"{what}: {outcome}\n  again: python -m tests.push.damage one {seed} {number}")
    return came, wrong


def main(words: list[str]) -> int:
    """The command; 1 if anything came out wrong."""
    memory = Path("/dev/shm")
    with tempfile.TemporaryDirectory(dir=memory if memory.is_dir() else None) as folder:
        if words[0] == "one":
            print(*Bench(Path(folder)).one(int(words[1]), int(words[2])), sep="\n")
            return 0
        came, wrong = run(int(words[0]), int(words[1]), Path(folder))
    print("\n".join(wrong[:20]))
    print(", ".join(f"{outcome} {count}" for outcome, count in sorted(came.items())))
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
