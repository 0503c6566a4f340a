"""The network side of a stand-in: old and new credentials, and which of them it is joined by. Pure.

Written from docs/node-interface.md, not from the firmware. `air` is the networks that are there, shared with whoever
changes them: (name, passphrase). The time is passed in.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

LEAVES_AFTER_S = 1.0
TURN_S = 30.0
STARTS = 4
Credentials = tuple[str, str]


@dataclass
class Join:
    """Joined by the old ones to begin with."""

    kept: Credentials = ("farm", "old passphrase")
    air: set[Credentials] = field(default_factory=lambda: {("farm", "old passphrase")})
    new: Credentials | None = None
    phase: str = "kept"
    on: str | None = "kept"
    ends_s: float = 0.0
    trial_s: float = 0.0
    starts: int = 0
    _leaves_s: float | None = None
    _turn: str = "kept"
    _next_s: float = 0.0
    joined: int = 1
    """How often it joined: each time it may get another address."""

    def give(self, new: Credentials, trial_s: float, now_s: float) -> None:
        """Take new credentials on trial."""
        self.new, self.phase, self.trial_s, self.starts = new, "on-trial", trial_s, 0
        self.ends_s, self._leaves_s = now_s + trial_s, now_s + LEAVES_AFTER_S

    def keep(self) -> bool:
        """End the trial; False unless joined by the new ones."""
        if self.phase != "on-trial" or self.on != "new" or self.new is None:
            return False
        self.kept, self.new, self.phase, self.on = self.new, None, "kept", "kept"
        return True

    def start(self, now_s: float) -> None:
        """A start, whatever its cause: the trial begins anew, or is over at the fourth."""
        self.on, self._turn, self._next_s, self._leaves_s = None, "kept", now_s, None
        if self.phase == "on-trial":
            self.starts += 1
            self.ends_s, self._turn = now_s + self.trial_s, "new"
            if self.starts >= STARTS:
                self._put_back(now_s)

    def tick(self, now_s: float) -> None:
        """Everything that happened up to now."""
        if self.phase == "on-trial" and self._leaves_s is not None and now_s >= self._leaves_s:
            self.on, self._turn, self._next_s, self._leaves_s = None, "new", self._leaves_s, None
        if self.phase == "on-trial" and now_s >= self.ends_s:
            self._put_back(self.ends_s)
        if self.on is not None and self._credentials(self.on) not in self.air:
            self.on, self._next_s = None, now_s
        while self.on is None and now_s >= self._next_s:
            if self._credentials(self._turn) in self.air:
                self.on = self._turn
                self.joined += 1
                break
            self._next_s += TURN_S
            if self.phase == "on-trial":
                self._turn = "kept" if self._turn == "new" else "new"

    def document(self, now_s: float) -> dict[str, Any]:
        """What the state document says of it."""
        left_s = max(0.0, self.ends_s - now_s) if self.phase == "on-trial" else 0
        return {"phase": self.phase, "on": self.on, "trial_left_s": round(left_s)}

    def _put_back(self, now_s: float) -> None:
        self.new, self.phase, self._leaves_s = None, "put-back", None
        if self.on == "new":
            self.on, self._next_s = None, now_s
        self._turn = "kept"

    def _credentials(self, which: str) -> Credentials | None:
        return self.new if which == "new" else self.kept
