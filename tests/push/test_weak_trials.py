"""The worst outage of a node whose supply gives way, against the core (tests/firmware/trial_outage_test.cpp)."""

from __future__ import annotations

import pytest

from fleet.boards.board import board_ids, load_board
from fleet.push.outage import outage_of
from tests.firmware.firmware_build import CRYPTO, compile_program, core_sources, run_program

TRIAL_S = 300.0
SPARED_S = 10.0
"""By which each of the core's trials is cut short before its end."""
SIZE = 400_000


@pytest.fixture(scope="module")
def lives() -> dict[tuple[str, str], tuple[int, int, float]]:
    """By boot loader and cause of the restarts: trials, starts until the older image runs, seconds on trial."""
    program = compile_program(["tests/firmware/trial_outage_test.cpp", CRYPTO, *core_sources()])
    lines = [line.split() for line in run_program(program).splitlines() if line.startswith("trials: ")]
    return {(who, why): (int(trials), int(starts), float(s)) for _, who, why, trials, starts, s in lines}


def test_the_core_begins_a_trial_anew_with_each_start(
    lives: dict[tuple[str, str], tuple[int, int, float]],
) -> None:
    """docs/node-interface.md 7: three tries after brown-outs, eight starts in all; the ESP32 family's boot loader gives
    one start, and each try passes through the older image."""
    assert {life: trials for life, (trials, _, _) in lives.items()} == {
        ("own", "brown-outs"): 4,
        ("own", "watchdog"): 8,
        ("own", "both"): 8,
        ("esp32", "brown-outs"): 4,
        ("esp32", "watchdog"): 1,
        ("esp32", "both"): 4,
    }


@pytest.mark.parametrize("board", board_ids())
@pytest.mark.parametrize("target", ["board", "host"])
def test_the_worst_outage_of_a_weak_supply_covers_the_longest_life(
    board: str, target: str, lives: dict[tuple[str, str], tuple[int, int, float]]
) -> None:
    kind = load_board(board)
    outage = outage_of(kind, "host" if target == "host" else "board")
    family = "esp32" if target == "board" and kind.payload_format == "esp32-bin" else "own"
    worst_s = outage.worst_s(SIZE, TRIAL_S, weak=True)
    once_s = outage.worst_s(SIZE, TRIAL_S)
    longest_s = 0.0
    for (who, _), (trials, starts, on_trial_s) in lives.items():
        if who != family:
            continue
        # What one trial has: two starts. Each further one is a restart of the board.
        life_s = once_s - TRIAL_S + on_trial_s + SPARED_S * trials + (starts - 2) * outage.restart_s
        longest_s = max(longest_s, life_s)
    assert worst_s == pytest.approx(longest_s)
    assert sum(step.seconds for step in outage.steps(SIZE, TRIAL_S)) == pytest.approx(once_s)
