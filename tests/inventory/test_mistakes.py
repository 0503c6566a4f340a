"""Inventories with one engineering mistake each: `check` finds that one, by its code and of the right part.

Each file of `mistakes/` is a whole inventory. It begins with comment lines: what the mistake is, and one line
`# finds: CODE SUBJECT` for each finding (one, but for mistakes that show in two places). `# says: ...` is a piece of
the finding's words: a figure, or a pin that is offered.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import pytest

from fleet.codes import Severity
from fleet.inventory.codes import CODES
from fleet.inventory.load import read_texts

FOLDER = Path(__file__).resolve().parent / "mistakes"
AT_LEAST = 25


@dataclass(frozen=True)
class Mistake:
    """One file with what its head expects."""

    name: str
    data: bytes
    finds: tuple[tuple[str, str], ...]
    says: tuple[str, ...]


def _read(path: Path) -> Mistake:
    text = path.read_text(encoding="utf-8")
    finds = tuple((code, subject) for code, subject in re.findall(r"^# finds: (\S+) (.+)$", text, re.M))
    says = tuple(re.findall(r"^# says: (.+)$", text, re.M))
    return Mistake(path.stem, text.encode(), finds, says)


MISTAKES = [_read(path) for path in sorted(FOLDER.glob("*.yaml"))]


@pytest.mark.parametrize("mistake", MISTAKES, ids=lambda mistake: mistake.name)
def test_the_mistake_is_found_and_nothing_else(mistake: Mistake) -> None:
    assert mistake.finds, "its head expects nothing"
    inventory, findings = read_texts([(f"{mistake.name}.yaml", mistake.data)])
    said = "\n".join(f"{finding.what} {finding.fix}" for finding in findings)
    assert sorted((f.code.code, f.subject) for f in findings) == sorted(mistake.finds), said
    assert (inventory is None) == any(f.severity is Severity.ERROR for f in findings)
    for piece in mistake.says:
        assert piece in said
    for finding in findings:
        assert finding.place is not None
        assert finding.place.quote


def test_there_are_enough_and_each_code_has_one() -> None:
    assert len(MISTAKES) >= AT_LEAST
    seen = {code for mistake in MISTAKES for code, _ in mistake.finds}
    assert {code.code for code in CODES if code.ruled} <= seen
