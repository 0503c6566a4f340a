"""A sample of failing_disk.py; `python -m tests.failing_disk all` tries every write, fsync and rename."""

from __future__ import annotations

import pytest

from tests.failing_disk import HOWS, OPS, SCENARIOS, yard_of


def test_the_disk_really_fails() -> None:
    """Else nothing below would be shown: the shim's calls are counted, and the first write that fails is told."""
    with yard_of("set-network") as yard, yard.project() as (project, _):
        done = yard.run(project, "write", "forever", 1)
        assert done.returncode == 2
        assert "No space left on device" in done.stderr
        assert int((project.parent / "count").read_text()) >= 1


@pytest.mark.slow
@pytest.mark.parametrize("name", SCENARIOS)
def test_a_failing_disk_loses_nothing(name: str) -> None:
    """One of each scenario's calls, another one in each: the middle one of a kind that turns with the scenario."""
    turn = list(SCENARIOS).index(name)
    op, how = OPS[turn % len(OPS)], HOWS[turn % len(HOWS)]
    with yard_of(name) as yard:
        k = max(1, (yard.count(op) + 1) // 2)
        assert not (came := yard.one(op, how, k)).startswith("WRONG"), (
            f"{came}\npython -m tests.failing_disk {name} {op} {how} {k}"
        )
