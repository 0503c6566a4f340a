"""What a node's images do over time (docs/node-interface.md 4 and 7), for the stand-in of fake_node.py. Pure.

Time comes in as an argument; nothing here sleeps.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Held:
    """An image in a slot, with what its ticket said."""

    image: bytes
    sequence: int
    release: str
    digest: str = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "digest", hashlib.sha256(self.image).hexdigest())


@dataclass
class Slots:
    """Running image, older image, floor, phase, trial. `now_s` is the node's own monotonic clock."""

    running: Held
    trial_s: float = 300.0
    older: Held | None = None
    phase: str = "kept"
    trial_ends_s: float = 0.0
    last_image: str | None = None
    last_reason: str | None = None
    boots: int = 1
    reset: str = "power-on"
    floor: int = field(init=False)

    def __post_init__(self) -> None:
        self.floor = self.running.sequence

    def take(self, new: Held, now_s: float) -> None:
        """A verified image: it runs on trial after the restart."""
        self.older, self.running = self.running, new
        self.phase = "on-trial"
        self.trial_ends_s = now_s + self.trial_s
        self._restarted("restart")

    def keep(self) -> None:
        """The running image stays, and its sequence is the floor from now on."""
        self.phase = "kept"
        self.floor = max(self.floor, self.running.sequence)
        self.trial_ends_s = 0.0

    def put_back(self, reason: str, reset: str = "restart") -> None:
        """Back to the older image; the one left is not held any more."""
        assert self.older is not None
        self.last_image, self.last_reason = self.running.digest, reason
        self.running, self.older = self.older, None
        self.phase = "put-back"
        self.trial_ends_s = 0.0
        self._restarted(reset)

    def tick(self, now_s: float) -> bool:
        """True if the trial was over by now and the node fell back by itself."""
        if self.phase != "on-trial" or now_s < self.trial_ends_s:
            return False
        self.put_back("trial-over")
        return True

    def never_healthy(self) -> None:
        """Three starts in a row without a healthy loop, then back."""
        self.boots += 2
        self.put_back("no-healthy-boot", "crash")

    def power_cut(self) -> None:
        """Off and on again: the same image, one start more."""
        self._restarted("power-on")

    def trial_left_s(self, now_s: float) -> float:
        """Seconds until the node falls back by itself; 0 unless on trial."""
        return max(0.0, round(self.trial_ends_s - now_s, 3)) if self.phase == "on-trial" else 0

    def _restarted(self, reset: str) -> None:
        self.boots += 1
        self.reset = reset
