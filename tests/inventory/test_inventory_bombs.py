"""Files made to take all time and memory: each is refused within a second and 200 MB, at a place, with a code.

Each is read in a process of its own, which measures its own processor time and its own peak.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from fleet.check.load import read_inventory, read_texts
from fleet.limits import INVENTORY_BYTES, INVENTORY_FILE_BYTES

LONGEST_UNITS = 15
"""A second on a machine that adds a million squares in 67 ms. Machines differ, and one of shared cores differs from
minute to minute: so both are measured in one process, the unit before and after."""
MOST_BYTES = 200 * 1024 * 1024
FULL = INVENTORY_FILE_BYTES - 200

CHILD = """
import json, sys, time
from pathlib import Path
from fleet.check.load import read_inventory
import fleet.boards.board, pint
def kib(field):
    line = next(line for line in Path("/proc/self/status").read_text().splitlines() if line.startswith(field))
    return int(line.split()[1])
Path("/proc/self/clear_refs").write_text("5")  # proc(5): sets the peak, VmHWM, to what is used now
def unit():
    start = time.process_time()
    sum(i * i for i in range(1_000_000))
    return time.process_time() - start
unit_s = unit()
before, start = kib("VmRSS"), time.process_time()
inventory, findings = read_inventory(Path(sys.argv[1]))
took_s, grown = time.process_time() - start, (kib("VmHWM") - before) * 1024
unit_s = max(unit_s, unit())
places = [[f.code.code, f.place.line, f.place.col, f.what] for f in findings]
print(json.dumps({"took_s": took_s, "unit_s": unit_s, "grown": grown, "taken": inventory is not None,
                  "count": len(places), "first": places[:3]}))
"""


def filled(piece: str, before: str = "", after: str = "", size: int = FULL) -> str:
    """The piece, as often as goes into `size` bytes."""
    return before + piece * ((size - len(before) - len(after)) // len(piece.encode())) + after


def alias_bomb() -> str:
    lines = ["a0: &a0 [x, x, x, x, x, x, x, x, x, x]"]
    lines += [f"a{i}: &a{i} [{', '.join([f'*a{i - 1}'] * 10)}]" for i in range(1, 30)]
    return "\n".join(lines) + "\n"


def wrong_names(count: int) -> str:
    tanks = "".join(
        f"  - {{name: tank-{i:05}, site: sitee, duty: sump, shape: {{kind: sphere, diameter: 1 m}}, "
        f"marks: [{{name: a, height: 1 cm}}]}}\n"
        for i in range(count)
    )
    nodes = "".join(
        f"  - {{name: node-{i:05}, board: esp32-devkit, serves: [{{tank: tnak-{i:05}, probes: {{a: IO32}}}}]}}\n"
        for i in range(count)
    )
    return f"fleet: {{name: a, domain: a.example}}\ntanks:\n{tanks}nodes:\n{nodes}"


BOMBS = {
    "aliases of aliases": alias_bomb(),
    "an alias of itself": "a: &a [*a, *a]\n",
    "anchors only": filled("- &a 1\n", "tanks:\n"),
    "flow lists in lists": "tanks: " + "[" * 1_000_000,
    "flow mappings in mappings": "tanks: " + "{a: " * 500_000,
    "block lists in lists": "- " * 1_000_000,
    "complex keys in keys": "? " * 1_000_000,
    "block mappings in mappings": "".join(" " * i + "a:\n" for i in range(2_500)),
    "flow lists that close": "[" * 1_000_000 + "]" * 1_000_000,
    "one plain text": filled("x", "fleet: "),
    "one plain text of many lines": filled("  x\n", "fleet:\n"),
    "one text in quotes": filled("x", "fleet: '", "'"),
    "one text of escapes": filled("\\u0041", 'fleet: "', '"'),
    "one text block": filled("  x\n", "fleet: |\n"),
    "one key": filled("x", "", ": 1\n"),
    "a long unit": filled("m", "fleet: {name: 1 ", "}"),
    "a list of numbers": filled("1,", "tanks: [", "]"),
    "a list of numbers, one a line": filled("- 1\n", "tanks:\n"),
    "a list of empty mappings": filled("- {}\n", "tanks:\n"),
    "a list of nothing": filled("-\n", "nodes:\n"),
    "one key again and again": filled("a: 1\n"),
    "many unknown keys": "".join(f"k{i}: 1\n" for i in range(300_000)),
    "many unknown keys in a tank": "tanks: [{" + "".join(f"k{i}: 1, " for i in range(300_000)) + "}]\n",
    "many probes": "nodes: [{probes: {" + "".join(f"k{i}: 1, " for i in range(300_000)) + "}}]\n",
    "many marks": filled("{name: A, height: 1}, ", "tanks: [{marks: [", "]}]"),
    "many windows": filled("{rule: A}, ", "sites: [{windows: [", "]}]"),
    "many stocks": filled("{board: a, count: 1}, ", "sites: [{name: a, spare_boards: [", "]}]"),
    "many lines of a table": filled("{depth: 1, volume: 1}, ", "tanks: [{shape: {kind: strapped, table: [", "]}}]"),
    "comments": filled("# a comment\n"),
    "empty lines": filled("\n"),
    "spaces": filled(" "),
    "tabs": filled("\t"),
    "commas": filled(",", "a: ["),
    "colons": filled(":"),
    "question marks": filled("? \n"),
    "documents": filled("---\n"),
    "directives": filled("%YAML 1.2\n"),
    "tags": filled("- !!str 1\n", "tanks:\n"),
    "quotes": filled("'"),
    "double quotes": filled('"'),
    "control characters": filled("\x01"),
    "byte order marks": filled("\ufeff"),
    "wrong bytes": "\udcff" * 1_000_000,
    "names that are all wrong": wrong_names(2_000),
    "one line of mistakes": filled("{name: 1}, ", "sites: [", "]"),
    "recurrence rules": "sites: [{name: a, time_zone: a, network: a, windows: ["
    + filled("{rule: FREQ=DAILY;" + "COUNT=1;" * 30 + "X, first: 2025-01-01 00:00, length: 1 h}, ", size=200_000)
    + "]}]",
}  # fmt: skip


def test_of_a_file_of_mistakes_the_first_are_listed_and_that_there_are_more() -> None:
    for name in ("anchors only", "a list of numbers", "control characters", "one line of mistakes"):
        _, findings = read_texts([("a.yaml", BOMBS[name].encode())])
        assert 500 <= len([f for f in findings if f.code.code != "INV113"]) <= 510, name
        assert "INV113" in [finding.code.code for finding in findings], name


@pytest.mark.slow
@pytest.mark.alone
@pytest.mark.parametrize("name", BOMBS)
def test_a_bomb_is_refused_within_a_second_and_200_mb(name: str, tmp_path: Path) -> None:
    folder = tmp_path / "inventory"
    folder.mkdir()
    data = BOMBS[name].encode("utf-8", "surrogateescape")
    (folder / "bomb.yaml").write_bytes(data)
    done = subprocess.run(
        [sys.executable, "-c", CHILD, str(folder)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert told["took_s"] <= LONGEST_UNITS * told["unit_s"], told
    assert told["grown"] <= MOST_BYTES, told
    assert not told["taken"]
    assert told["count"] >= 1
    assert told["grown"] > 0
    assert all(line >= 1 and col >= 1 for _, line, col, _ in told["first"])


def test_too_many_bytes_in_all_files_together(tmp_path: Path) -> None:
    for number in range(INVENTORY_BYTES // INVENTORY_FILE_BYTES + 1):
        with (tmp_path / f"{number:02}.yaml").open("wb") as file:
            file.truncate(INVENTORY_FILE_BYTES)  # zeros that take no room on the disk
    inventory, findings = read_inventory(tmp_path)
    assert inventory is None
    assert findings[-1].code.code == "INV106"
    assert "together" in findings[-1].what


def test_what_is_no_plain_file_is_not_waited_for(tmp_path: Path) -> None:
    (tmp_path / "a.yaml").write_text("fleet: {name: a, domain: a.example}\n", encoding="utf-8")
    os.mkfifo(tmp_path / "pipe.yaml")
    (tmp_path / "nowhere.yaml").symlink_to(tmp_path / "not-there")
    (tmp_path / "loop.yaml").symlink_to(tmp_path / "loop.yaml")
    inventory, findings = read_inventory(tmp_path)
    assert inventory is None
    assert [(f.code.code, f.place.path.rpartition("/")[2]) for f in findings if f.place] == [
        ("INV101", "loop.yaml"),
        ("INV101", "nowhere.yaml"),
        ("INV101", "pipe.yaml"),
    ]


def test_hidden_files_and_folders_are_left_out_and_others_are_found(tmp_path: Path) -> None:
    (tmp_path / "a.yaml").write_text("fleet: {name: a, domain: a.example}\n", encoding="utf-8")
    for path in (".hidden.yaml", ".git/b.yaml", "notes.txt", "c.yaml~"):
        (tmp_path / path).parent.mkdir(exist_ok=True)
        (tmp_path / path).write_text("{", encoding="utf-8")
    (tmp_path / "sites").mkdir()
    (tmp_path / "sites" / "b.yml").write_text(
        "sites: [{name: b, time_zone: UTC, network: b}]\n", encoding="utf-8"
    )
    inventory, findings = read_inventory(tmp_path)
    assert not findings
    assert inventory is not None
    assert [site.name for site in inventory.sites] == ["b"]
