"""Restart policy of a virtual board, with a clock and processes that the test moves."""

from __future__ import annotations

from itertools import pairwise

import pytest

from fleet.bench.machine import NOTHING_BOOTABLE, WANTS_RESTART, Machine, Power, Reset
from fleet.limits import BENCH_BACK_OFF_S, BENCH_BOOT_DELAY_S, BENCH_WATCHDOG_S

KILLED = -9


class Process:
    """A process that ends when the test says so, or when it is killed."""

    def __init__(self, pid: int) -> None:
        self.pid, self.code = pid, None

    def poll(self) -> int | None:
        return self.code

    def kill(self) -> None:
        if self.code is None:
            self.code = KILLED


class Rig:
    """A machine with its clock; `resets` holds the reason and the time of each start."""

    def __init__(self) -> None:
        self.now_s, self.beats, self.floats = 100.0, 0, 0
        self.alive = True
        self.resets: list[tuple[Reset, float]] = []
        self.told: list[str] = []
        self.broken = False
        self.machine = Machine(self._start, self, lambda what, detail: self.told.append(what))

    def _start(self, reset: Reset) -> Process:
        if self.broken:
            raise FileNotFoundError("no boot loader")
        self.resets.append((reset, self.now_s))
        self.process = Process(1000 + len(self.resets))
        return self.process

    def heartbeat(self) -> int:
        return self.beats

    def float_outputs(self) -> None:
        self.floats += 1

    def run(self, seconds: float) -> None:
        for _ in range(round(seconds * 10)):
            self.now_s += 0.1
            self.beats += self.alive
            self.machine.tick(self.now_s)


@pytest.fixture
def rig() -> Rig:
    rig = Rig()
    rig.machine.power_on(rig.now_s)
    rig.run(1.0)
    return rig


def test_power_on_starts_after_the_boot_delay(rig) -> None:
    ((reset, at_s),) = rig.resets
    assert reset is Reset.POWER_ON
    assert at_s - 100.0 == pytest.approx(BENCH_BOOT_DELAY_S, abs=0.11)
    assert rig.machine.power is Power.RUNNING
    assert rig.machine.pid == 1001


@pytest.mark.parametrize(
    ("code", "reset"),
    [(WANTS_RESTART, Reset.RESTART), (1, Reset.CRASH), (0, Reset.CRASH), (-11, Reset.CRASH)],
)
def test_the_way_it_ended_is_the_next_reset(rig, code, reset) -> None:
    rig.run(10.0)
    rig.process.code = code
    floats = rig.floats
    rig.run(0.1)
    assert rig.floats > floats, "the relay pin floats at once, not only after the next start"
    assert rig.machine.pid is None
    rig.run(1.0)
    assert [r for r, _ in rig.resets] == [Reset.POWER_ON, reset]
    assert rig.machine.starts == 2


def test_no_heartbeat_for_the_watchdog_time_is_a_watchdog_reset(rig) -> None:
    rig.alive = False
    rig.run(BENCH_WATCHDOG_S - 0.5)
    assert rig.process.code is None
    rig.run(1.5)
    assert [r for r, _ in rig.resets] == [Reset.POWER_ON, Reset.WATCHDOG]
    assert "watchdog" in rig.told


def test_a_heartbeat_now_and_then_is_enough(rig) -> None:
    rig.alive = False
    for _ in range(5):
        rig.run(BENCH_WATCHDOG_S - 1.0)
        rig.beats += 1
    assert len(rig.resets) == 1


def test_a_bench_that_was_held_up_does_not_blame_its_nodes(rig) -> None:
    rig.alive = False
    rig.now_s += 60.0
    rig.machine.tick(rig.now_s)
    rig.run(1.0)
    assert rig.process.code is None


def test_crash_loop_starts_quickly_at_first_then_backs_off(rig) -> None:
    """The firmware falls back after three starts without a healthy loop: the fourth must come soon."""
    for _ in range(1200):
        if rig.process.code is None:
            rig.process.code = 1
        rig.run(0.1)
    starts = [at_s for _, at_s in rig.resets]
    gaps = [b - a for a, b in pairwise(starts)]
    assert max(gaps[:4]) < 1.2, "the first of them ran for 0.7 s"
    assert gaps[4] < gaps[5] < gaps[6]
    assert max(gaps) <= BENCH_BACK_OFF_S + 0.5
    assert len(starts) < 20


def test_a_good_run_ends_the_back_off(rig) -> None:
    for _ in range(300):
        if rig.process.code is None:
            rig.process.code = 1
        rig.run(0.1)
    rig.run(20.0)
    rig.process.code = 1
    count = len(rig.resets)
    rig.run(1.0)
    assert len(rig.resets) == count + 1


def test_nothing_bootable_is_a_brick_until_its_power_is_cut(rig) -> None:
    rig.process.code = NOTHING_BOOTABLE
    rig.run(60.0)
    assert rig.machine.power is Power.BRICK
    assert len(rig.resets) == 1
    rig.machine.power_on(rig.now_s)
    rig.run(5.0)
    assert len(rig.resets) == 1
    rig.machine.cut_power()
    rig.machine.power_on(rig.now_s)
    rig.run(1.0)
    assert [r for r, _ in rig.resets] == [Reset.POWER_ON, Reset.POWER_ON]


def test_power_cut_keeps_it_off_and_gives_a_power_on_reset(rig) -> None:
    rig.machine.cut_power()
    assert rig.process.code == KILLED
    rig.run(30.0)
    assert rig.machine.power is Power.OFF
    assert len(rig.resets) == 1
    rig.machine.power_on(rig.now_s)
    rig.run(1.0)
    assert rig.resets[-1][0] is Reset.POWER_ON


def test_power_back_before_the_old_process_is_gone_waits_for_it(rig) -> None:
    old = rig.process
    old.kill = lambda: None
    rig.machine.cut_power()
    rig.machine.power_on(rig.now_s)
    rig.run(2.0)
    assert len(rig.resets) == 1, "two processes would share one flash"
    old.code = KILLED
    rig.run(1.0)
    assert len(rig.resets) == 2


def test_a_killed_node_comes_back_as_crashed(rig) -> None:
    assert rig.machine.kill()
    rig.run(1.0)
    assert [r for r, _ in rig.resets] == [Reset.POWER_ON, Reset.CRASH]


def test_a_brown_out_is_a_cause_of_its_own(rig) -> None:
    assert rig.machine.kill(Reset.BROWN_OUT)
    rig.run(1.0)
    assert rig.machine.kill()
    rig.run(1.0)
    assert [r for r, _ in rig.resets] == [Reset.POWER_ON, Reset.BROWN_OUT, Reset.CRASH]


def test_a_boot_loader_that_cannot_be_started_is_told_and_tried_again(rig) -> None:
    rig.broken = True
    rig.process.code = 1
    rig.run(3.0)
    assert "not-started" in rig.told
    assert rig.machine.power is Power.STARTING
    rig.broken = False
    rig.run(20.0)
    assert rig.machine.power is Power.RUNNING
