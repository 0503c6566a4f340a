"""Run the benchmarks and print the table: what, figure, target, verdict. `python -m benchmarks [NAME ...]`."""

from __future__ import annotations

import importlib
import sys

from benchmarks.row import Row

NAMES = ("startup", "inventory", "engine", "find", "transfer")


def main(names: list[str]) -> int:
    """Print a Markdown table; exit 1 if a figure misses its target."""
    rows: list[Row] = []
    for name in names or list(NAMES):
        print(f"measuring {name} ...", file=sys.stderr, flush=True)
        rows += importlib.import_module(f"benchmarks.{name}").measure()
    cells = [("what", "figure", "target", "verdict", "seen")]
    cells += [(r.what, r.figure, r.target, "met" if r.ok else "MISSED", r.note) for r in rows]
    widths = [max(len(row[i]) for row in cells) for i in range(5)]
    for number, row in enumerate(cells):
        print("| " + " | ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)) + " |")
        if number == 0:
            print("|" + "|".join("-" * (width + 2) for width in widths) + "|")
    return 0 if all(r.ok for r in rows) else 1


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
