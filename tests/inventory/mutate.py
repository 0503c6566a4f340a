"""Mutated inventories: structure-aware mistakes, each from one seed and one number.

`python -m tests.inventory.mutate SEED NUMBER` prints one of them and what is found in it.
"""

from __future__ import annotations

import copy
import random
import sys
from pathlib import Path
from typing import Any

from fleet.check.load import read_texts
from fleet.inventory.source import Source
from fleet.inventory.yaml_reader import read_yaml

HERE = Path(__file__).resolve().parent
DEMO = HERE.parent.parent / "inventory"
BASES = [
    [HERE / "farm.yaml"],
    [HERE / "orchard.yaml"],
    sorted(DEMO.glob("*.yaml")),
    [HERE / "farm.yaml", HERE / "rulings.yaml"],
    [HERE / "works.yaml"],
]
WEIGHTS = [30, 30, 5, 15, 20]

NASTY: list[Any] = [
    None, True, False, 0, -1, 1, 12, 1e300, -0.5, 10**17, "", " ", "~", "null", "true", "NO", "012", "1_000", "1e3",
    "10:20:30:40:50:10", "aa:bb:cc:dd:ee:ff", "2.4", "2.4 m", "-2.4 m", "0 m", "1e9 m", "2,4 m", "2.4 M", "nan m",
    "60 L/min", "60 L/mn", "1 furlong", "1 lightyear", "9**9**9 m", "10 %", "101 %", "4 h", "0 s", "1e-9 s", "400 d",
    "2025-03-14", "2025-02-30", "2025-03-14 02:30", "2025-03-14T02:30Z", "14.3.2025", "FREQ=DAILY", "FREQ=SECONDLY",
    "FREQ=WEEKLY;BYDAY=MO,XX", "FREQ=DAILY;COUNT=0", "FREQ=YEARLY;BYMONTH=13", "FREQ=DAILY;UNTIL=19970902T170000Z",
    "1e-300 L/min",
    "Europe/Lisbon", "Europe", "../../etc/passwd", "/etc/passwd", "a b", "A", "a_b", "-a", "a-", "a" * 64, "x" * 5000,
    "é", "💧", "a\nb", "a\tb", "a\u202eb", "\u0000", "\u001b[31m", "'", '"', "\\", "{{ 7*7 }}", "%s", "${HOME}", "`id`",
    "box", "sphere", "vertical-cylinder", "strapped", "fill", "esp32-devkit", "d1-mini", "GPIO14", "D1", "IO32",
    "INV403", "INV405", "INV166", "INV499", "AUD101", "accepted", "note", "rods", "plates", "constant",
    "0 ohm", "100 kohm", "1 nohm", "4 cm2", "0.5 /cm", "/cm", "0.5 / cm", "submersible", {"is": "40 min"},
    {"is": 3, "reason": ""}, {"reason": "so"}, {"kind": "rods", "spacing": "1 mm"}, {"kind": "constant"},
    {"kind": "submersible", "diameter": "6 in", "soft_start": True}, {"soft_start": "yes"}, {"diameter": 6},
    "tank header", "node sump-node", "2026-01-14",
    [], {}, [[]], [{}], {"a": 1}, ["a", "b"], [None], {"": ""}, {"kind": "box"}, {"name": "x"}, {"kind": None},
]  # fmt: skip
SNIPPETS = [
    "\t", "  ", "- ", ": ", "#", "&a ", "*a", "!!str ", "!x ", "<<: *a\n", "---\n", "...\n", "%YAML 1.1\n", "? ", "| ",
    "> ", "{", "}", "[", "]", ",", "'", '"', "\\", "@", "`", "\x00", "\x1b", "\x85", "\u2028", "\ufeff", "\u202e", "\r",
    "~", "null", "é", "💧", "[" * 50, "{a: " * 50, "- " * 50, "x" * 5000, "\n\n", "a: 1\n", "name: x\n",
]  # fmt: skip


class Mutant:
    """Number `number` of the run `seed`: `files` by name, as bytes."""

    def __init__(self, seed: int | str, number: int) -> None:
        self.random = random.Random(f"{seed}/{number}")
        base = self.random.choices(BASES, WEIGHTS)[0]
        self.files = {path.name: path.read_bytes() for path in base}
        if self.random.random() < 0.6:
            self._in_the_tree()
        if self.random.random() < 0.5:
            self._in_the_text()
        if self.random.random() < 0.03:
            self._in_the_bytes()

    # ---------------------------------------------------------------- the tree
    def _in_the_tree(self) -> None:
        name = self.random.choice(sorted(self.files))
        tree = copy.deepcopy(read_yaml(Source(name, self.files[name].decode())).top)
        for _ in range(self.random.choice([1, 1, 1, 2, 3, 8])):
            self._change(tree)
        text = Writer(self.random).text(tree)
        self.files[name] = text.encode("utf-8", "surrogatepass")

    def _change(self, tree: Any) -> None:
        holders = list(_holders(tree))
        holder = self.random.choice(holders)
        if not holder:
            return
        key = self.random.choice(list(holder) if isinstance(holder, dict) else range(len(holder)))
        value = holder[key]
        change = self.random.randrange(9)
        if change <= 2:
            holder[key] = copy.deepcopy(self.random.choice(NASTY))
        elif change == 3:
            del holder[key]
        elif change == 4 and isinstance(holder, dict):
            holder[self._typo(str(key))] = holder.pop(key)
        elif change == 5:
            other = self.random.choice(holders)
            if other:
                other_key = self.random.choice(list(other) if isinstance(other, dict) else range(len(other)))
                holder[key] = copy.deepcopy(other[other_key])
        elif change == 6 and isinstance(holder, list):
            holder.extend(copy.deepcopy(value) for _ in range(self.random.choice([1, 1, 2, 5, 250])))
        elif change == 7 and isinstance(value, str):
            holder[key] = self._typo(value)
        elif change == 8 and isinstance(holder, dict):
            holder[str(self.random.choice(NASTY))[:60]] = copy.deepcopy(self.random.choice(NASTY))
        elif isinstance(holder, list):
            self.random.shuffle(holder)

    def _typo(self, word: str) -> str:
        letters = list(word) or ["x"]
        at = self.random.randrange(len(letters))
        how = self.random.randrange(4)
        if how == 0:
            del letters[at]
        elif how == 1:
            letters.insert(at, self.random.choice("abcxyz019-_ ."))
        elif how == 2:
            letters[at] = letters[at].swapcase()
        else:
            letters[at], letters[-1] = letters[-1], letters[at]
        return "".join(letters)

    # ---------------------------------------------------------------- the text
    def _in_the_text(self) -> None:
        name = self.random.choice(sorted(self.files))
        text = self.files[name].decode("utf-8", "surrogatepass")
        for _ in range(self.random.choice([1, 1, 2, 4])):
            lines = text.split("\n")
            at = self.random.randrange(len(lines))
            change = self.random.randrange(8)
            if change == 0:
                del lines[at]
            elif change == 1:
                lines.insert(at, lines[self.random.randrange(len(lines))])
            elif change == 2:
                lines[at] = " " * self.random.randrange(4) + lines[at]
            elif change == 3:
                lines[at] = lines[at][self.random.randrange(4) :]
            elif change == 4:
                lines = lines[:at]
            text = "\n".join(lines)
            if change >= 5:
                at = self.random.randrange(len(text) + 1)
                gone = self.random.choice([0, 0, 1, 3])
                text = text[:at] + self.random.choice(SNIPPETS) + text[at + gone :]
        self.files[name] = text.encode("utf-8", "surrogatepass")

    def _in_the_bytes(self) -> None:
        name = self.random.choice(sorted(self.files))
        data = bytearray(self.files[name] or b"\n")
        for _ in range(self.random.choice([1, 2, 10])):
            data[self.random.randrange(len(data))] = self.random.randrange(256)
        self.files[name] = bytes(data)


def _holders(tree: Any) -> Any:
    """Every list and mapping of a tree."""
    if isinstance(tree, (dict, list)):
        yield tree
        for inner in tree.values() if isinstance(tree, dict) else tree:
            yield from _holders(inner)


class Writer:
    """YAML of a tree in styles that change from place to place."""

    def __init__(self, chance: random.Random) -> None:
        self.random = chance

    def text(self, tree: dict[str, Any]) -> str:
        """Keys of the file as a block; what is in them in any style."""
        return "".join(f"{self._scalar(key)}:{self._value(value, 2)}" for key, value in tree.items())

    def _value(self, value: Any, indent: int) -> str:
        if not isinstance(value, (dict, list)) or not value or self.random.random() < 0.3:
            return f" {self._flow(value)}\n"
        space = " " * indent
        if isinstance(value, dict):
            inner = [f"{space}{self._scalar(k)}:{self._value(v, indent + 2)}" for k, v in value.items()]
        else:
            inner = [f"{space}-{self._value(v, indent + 2)}" for v in value]
        return "\n" + "".join(inner)

    def _flow(self, value: Any) -> str:
        if isinstance(value, dict):
            return "{" + ", ".join(f"{self._scalar(k)}: {self._flow(v)}" for k, v in value.items()) + "}"
        if isinstance(value, list):
            return "[" + ", ".join(self._flow(v) for v in value) + "]"
        return self._scalar(value)

    def _scalar(self, value: Any) -> str:
        if value is None:
            return self.random.choice(["null", "~", ""])
        if isinstance(value, bool):
            return str(value).lower()
        if isinstance(value, (int, float)):
            return repr(value)
        style = self.random.random()
        if style < 0.5 and value and value.isprintable() and not set(value) & set(":#,[]{}&*!|>'\"%@`?~-"):
            return str(value)
        if style < 0.8 and value.isprintable():
            return "'" + value.replace("'", "''") + "'"
        escaped = "".join(c if c.isprintable() and c not in '"\\' else f"\\U{ord(c):08X}" for c in value)
        return f'"{escaped}"'


def main(seed: str, number: str) -> None:
    """Print one mutant and its findings."""
    mutant = Mutant(seed, int(number))
    for name, data in mutant.files.items():
        print(f"# ---- {name}\n{data.decode('utf-8', 'backslashreplace')}")
    inventory, findings = read_texts(sorted(mutant.files.items()))
    for finding in findings:
        print(finding.place, finding.code.code, finding.what)
    print("an inventory" if inventory else "no inventory")


if __name__ == "__main__":
    main(*sys.argv[1:])
