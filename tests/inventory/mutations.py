"""Mutated inventories: never a traceback, every rejection with a place and a code, none slow or large.

`python -m tests.inventory.mutations SEED COUNT` reads so many and says what came of them. A failure names the command
that shows the inventory again.
"""

from __future__ import annotations

import resource
import sys
import time
import traceback
from datetime import date
from typing import TYPE_CHECKING

from fleet.check.load import read_texts
from fleet.codes import Severity
from tests.inventory.mutate import Mutant

if TYPE_CHECKING:
    from fleet.finding import Finding
    from fleet.model.inventory import Inventory

TODAY = date(2026, 6, 1)
LONGEST_S = 1.0
MOST_BYTES = 200 * 1024 * 1024


def wrong_with(mutant: Mutant, inventory: Inventory | None, findings: list[Finding]) -> str:
    """What is wrong with how this inventory was read; empty when all is well."""
    errors = [finding for finding in findings if finding.severity is Severity.ERROR]
    if (inventory is None) != bool(errors):
        return f"inventory: {inventory is not None}, errors: {len(errors)}"
    for finding in findings:
        place = finding.place
        if place is None or place.path not in mutant.files or not finding.code.code.startswith("INV"):
            return f"{finding.code.code} has no place: {finding}"
        lines = mutant.files[place.path].decode("utf-8", "replace").split("\n")
        if not (1 <= place.line <= len(lines) and 1 <= place.col < place.end_col):
            return f"{place} is not in the text: {finding}"
        if place.quote and place.end_col > len(place.quote) + 2:
            return f"{place} to {place.end_col} is behind the end of the line: {finding}"
        if not finding.what.isprintable() or not finding.fix.isprintable():
            return f"{finding.what!r} would do something to a terminal"
        if "expected something else" in finding.what or "invalid YAML" in finding.what:
            return f"no words of our own for {finding}"
    if findings != sorted(findings, key=lambda finding: finding.sort_key()):
        return "not sorted by place"
    return ""


def run(seed: str, numbers: range) -> dict[str, int]:
    """Read those; how many were taken and refused, and how often each code was said."""
    seen: dict[str, int] = {"taken": 0, "refused": 0}
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
    for number in numbers:
        mutant = Mutant(seed, number)
        again = f"\npython -m tests.inventory.mutate {seed} {number}"
        start = time.process_time()
        try:
            inventory, findings = read_texts(sorted(mutant.files.items()), TODAY)
        except Exception:
            raise AssertionError(traceback.format_exc() + again) from None
        took_s = time.process_time() - start
        wrong = wrong_with(mutant, inventory, findings)
        assert not wrong, wrong + again
        assert took_s <= LONGEST_S, f"{took_s:.2f} s{again}"
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
        assert peak - before <= MOST_BYTES, f"{(peak - before) >> 20} MiB{again}"
        seen["taken" if inventory else "refused"] += 1
        for finding in findings:
            seen[finding.code.code] = seen.get(finding.code.code, 0) + 1
    return seen


def main(seed: str, count: str) -> None:
    """Print how often each was seen."""
    for name, times in sorted(run(seed, range(int(count))).items()):
        print(f"{name}: {times}")


if __name__ == "__main__":
    main(*sys.argv[1:])
