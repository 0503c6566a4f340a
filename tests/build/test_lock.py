"""Waiting for a build folder that another build, or its compilers, still work in."""

from __future__ import annotations

import fcntl

from fleet.build.lock import LOCK, locked, wait_until_free


def test_it_is_waited_until_who_holds_the_lock_has_ended(tmp_path) -> None:
    """flock(2): a lock belongs to an open file, so a second one of this process stands for another process."""
    path, paused = tmp_path / LOCK, []
    with path.open("w") as held:
        fcntl.flock(held, fcntl.LOCK_EX)

        def pause() -> None:
            paused.append(len(paused))
            if len(paused) == 3:
                held.close()

        wait_until_free(path, pause)
    assert paused == [0, 1, 2]
    with locked(path):
        """Free again: waiting holds nothing."""


def test_where_nothing_was_built_nothing_is_waited_for(tmp_path) -> None:
    wait_until_free(tmp_path / "build" / LOCK, lambda: None)
    assert list(tmp_path.iterdir()) == []
