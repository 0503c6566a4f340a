"""One virtual board: its process, why it started, and when it starts again. The clock is passed in."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING, Protocol

from fleet.limits import (
    BENCH_BACK_OFF_S,
    BENCH_BOOT_DELAY_S,
    BENCH_QUICK_END_S,
    BENCH_QUICK_STARTS,
    BENCH_WATCHDOG_S,
    BENCH_WATCHDOG_STEP_S,
)

if TYPE_CHECKING:
    from collections.abc import Callable

WANTS_RESTART = 75
NOTHING_BOOTABLE = 78


class Reset(StrEnum):
    """Why a board started; the words of the boot loader's `--reset`."""

    POWER_ON = "power-on"
    RESTART = "restart"
    WATCHDOG = "watchdog"
    CRASH = "crash"
    BROWN_OUT = "brown-out"


class Power(StrEnum):
    """What a board is doing."""

    OFF = "off"
    STARTING = "starting"
    RUNNING = "running"
    BRICK = "brick"


class Process(Protocol):
    """A started process."""

    @property
    def pid(self) -> int:
        """Its id."""

    def poll(self) -> int | None:
        """Its exit code, negative for a signal; None while it runs."""

    def kill(self) -> None:
        """End it at once, as SIGKILL does."""


class Pins(Protocol):
    """What a board needs of its pins."""

    def heartbeat(self) -> int:
        """A count that the firmware's main loop moves on."""

    def float_outputs(self) -> None:
        """Nothing drives the pins any more."""


class Machine:
    """One virtual board. Times are seconds of one steady clock; `tell` hears a word and a detail at each
    change."""

    def __init__(
        self,
        start: Callable[[Reset], Process],
        pins: Pins,
        tell: Callable[[str, str], None] = lambda what, detail: None,
    ) -> None:
        self.power = Power.OFF
        self.starts = 0
        self.reset = Reset.POWER_ON
        self.started_at_s = 0.0
        self._start_process = start
        self._pins = pins
        self._tell = tell
        self._process: Process | None = None
        self._due_at_s = 0.0
        self._ending_as: Reset | None = None
        self._quick_ends = 0
        self._last_heartbeat = 0
        self._silent_s = 0.0
        self._last_tick_s = 0.0

    @property
    def pid(self) -> int | None:
        """The id of its process, while there is one."""
        return None if self._process is None else self._process.pid

    # ------------------------------------------------------------------ from outside
    def power_on(self, now_s: float) -> None:
        """Give it power; nothing happens if it has power (a brick stays one until its power is cut)."""
        if self.power is Power.OFF:
            self._quick_ends = 0
            self._wait(Reset.POWER_ON, now_s, BENCH_BOOT_DELAY_S)

    def cut_power(self) -> None:
        """Take its power away, now."""
        if self.power is not Power.OFF:
            self.power = Power.OFF
            self._tell("power-cut", "")
        if self._process is not None:
            self._process.kill()
        self._pins.float_outputs()

    def kill(self, cause: Reset | None = None) -> bool:
        """End its process from outside, as a crash would, or with that cause; False if there is none."""
        if self._process is None or self.power is not Power.RUNNING:
            return False
        self._ending_as = cause or self._ending_as
        self._process.kill()
        return True

    def tick(self, now_s: float) -> None:
        """See whether the process ended or hangs; start it when that is due."""
        step_s = min(max(0.0, now_s - self._last_tick_s), BENCH_WATCHDOG_STEP_S)
        self._last_tick_s = now_s
        if self._process is not None:
            code = self._process.poll()
            if code is None:
                if self.power is Power.RUNNING:
                    self._watch(step_s)
                return
            self._ended(code, now_s)
        if self.power is Power.STARTING and now_s >= self._due_at_s:
            self._start(now_s)

    # ------------------------------------------------------------------ inside
    def _watch(self, step_s: float) -> None:
        heartbeat = self._pins.heartbeat()
        if heartbeat != self._last_heartbeat:
            self._last_heartbeat, self._silent_s = heartbeat, 0.0
            return
        self._silent_s += step_s
        if self._silent_s >= BENCH_WATCHDOG_S and self._process is not None and self._ending_as is None:
            self._ending_as = Reset.WATCHDOG
            self._tell("watchdog", f"no heartbeat for {BENCH_WATCHDOG_S:g} s")
            self._process.kill()

    def _ended(self, code: int, now_s: float) -> None:
        self._process = None
        self._pins.float_outputs()
        cause, self._ending_as = self._ending_as, None
        if self.power is not Power.RUNNING:
            return
        if code == NOTHING_BOOTABLE:
            self.power = Power.BRICK
            self._tell("brick", "no bootable image in its flash")
            return
        self._quick_ends = self._quick_ends + 1 if now_s - self.started_at_s < BENCH_QUICK_END_S else 0
        reset = cause or (Reset.RESTART if code == WANTS_RESTART else Reset.CRASH)
        self._tell("ended", "needs a restart" if code == WANTS_RESTART else _how(code))
        self._wait(reset, now_s, self._delay_s())

    def _delay_s(self) -> float:
        over = self._quick_ends - BENCH_QUICK_STARTS
        if over < 0:
            return BENCH_BOOT_DELAY_S
        return min(BENCH_BACK_OFF_S, 2.0 ** min(over, 10))

    def _wait(self, reset: Reset, now_s: float, delay_s: float) -> None:
        self.power, self.reset = Power.STARTING, reset
        self._due_at_s = now_s + delay_s

    def _start(self, now_s: float) -> None:
        self._last_heartbeat, self._silent_s = self._pins.heartbeat(), 0.0
        self.starts += 1
        self.started_at_s = now_s
        try:
            self._process = self._start_process(self.reset)
        except OSError as error:
            self._quick_ends += 1
            self._tell("not-started", str(error))
            self._wait(self.reset, now_s, max(1.0, self._delay_s()))
            return
        self.power = Power.RUNNING
        self._tell("started", f"{self.reset.value}, pid {self._process.pid}")


def _how(code: int) -> str:
    return f"signal {-code}" if code < 0 else f"exit {code}"
