"""A simulated node for the tests of the engine: what its images do over simulated time. Pure; nothing sleeps.

Written from docs/node-interface.md, not from the engine. Times are seconds of the simulation.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from functools import cache
from typing import Any

from fleet.link.state import NetworkState, NodeState, Phase
from tests.push.plans import NEW, OLD, image_of, state_of, tank_state

HEALTHY_S = 30.0
BROWN_OUT_AT_S = 1.0
BROWN_OUT_TRIES = 3
OTHER = image_of("other")


@dataclass
class Behaviour:
    """What is wrong with this node or with its new image. All False: a good update."""

    crashes: bool = False
    """The new image never reaches a healthy loop: three starts, then back."""
    hangs_after_s: float | None = None
    """The new image stops answering; the node's own trial brings it back."""
    never_returns: bool = False
    """The new image never comes to the network; the trial brings the node back."""
    dies: bool = False
    """The board is gone for good once it restarts into the new image."""
    inverted: bool = False
    pump_on_when_full: bool = False
    leaks: bool = False
    new_fault: bool = False
    watchdog_at_s: float | None = None
    """The new image is reset by its watchdog that long after it started."""
    forgets_older: bool = False
    """A kept node cannot go back: `no-older-image`."""
    spare_short_until_s: float = 0.0
    window_closed_until_s: float = 0.0
    runs_other: bool = False
    """Someone put another image on it since the plan was made."""
    has_it: bool = False
    """It runs the new image already."""
    off_until_s: float = 0.0
    deaf_to_keep: bool = False
    refuses: str = ""
    cut_at: float | None = None
    """Each transfer of the new image breaks at this share of it; at 1 the node has it all, and does not take it."""
    vanishes: bool = False
    """And the node is never heard of again."""
    brown_outs: int = 0
    """So often its supply gives way while the new image is on trial, a second after each start."""
    latched: bool = False
    """One of its tanks has a fault that only a person clears."""
    forgets_fault: bool = False
    """The new image clears that fault."""

    @property
    def bad(self) -> bool:
        """Whether the new image must not be kept on this node."""
        return bool(
            self.crashes
            or self.hangs_after_s is not None
            or self.never_returns
            or self.dies
            or self.inverted
            or self.pump_on_when_full
            or self.leaks
            or self.new_fault
            or self.watchdog_at_s is not None
            or self.forgets_fault
        )

    @property
    def harmless(self) -> bool:
        """Whether the node can be updated in the end."""
        waits_s = max(self.spare_short_until_s, self.window_closed_until_s)
        never = (
            self.bad
            or self.runs_other
            or self.cut_at is not None
            or self.deaf_to_keep
            or self.refuses
            or self.off_until_s
        )
        return not never and waits_s <= 100.0


@dataclass
class SimNode:
    """One node. `taken` counts whole images taken, by image."""

    name: str
    behaviour: Behaviour
    trial_s: float
    restart_s: float = 4.0
    lingers_s: float = 0.5
    """From its yes to the restart: it answers as before (docs/node-interface.md 2: within a second)."""
    running: str = OLD
    older: str | None = None
    phase: Phase = Phase.KEPT
    trial_ends_s: float = 0.0
    last_image: str | None = None
    last_reason: str | None = None
    boots: int = 7
    reset: str = "power-on"
    booted_s: float = -86_400.0
    back_s: float = -86_400.0
    taken: dict[str, int] = field(default_factory=dict)
    gone: bool = False
    bssid: str | None = None
    """Of the access point that it is joined to, if its firmware says so."""
    brown_outs: int | None = None
    _watchdog_done: bool = False
    _browned: int = 0
    _soon: tuple[float, str, str] | None = None
    """When, and from which image to which, it restarts."""

    def __post_init__(self) -> None:
        self._base, self._tanks = _looks(self.name)
        if self.bssid is not None:
            joined = NetworkState(phase=Phase.KEPT, on="kept", trial_left_s=0, bssid=self.bssid, channel=6)
            self._base = self._base.model_copy(update={"network": joined})
        if self.behaviour.runs_other:
            self.running = OTHER
        if self.behaviour.has_it:
            self.running = NEW

    # ---------------------------------------------------------------- time
    def tick(self, now_s: float) -> None:
        """Let time do its work."""
        if self._soon is not None and now_s >= self._soon[0]:
            self._switch()
        new = self.running == NEW and self.phase is Phase.ON_TRIAL
        if new and self.behaviour.crashes and now_s >= self.back_s:
            self.boots += 2
            self._put_back("no-healthy-boot", self.back_s, "crash")
        elif new and self.behaviour.watchdog_at_s is not None and not self._watchdog_done:
            at_s = self.booted_s + self.behaviour.watchdog_at_s
            if now_s >= at_s:
                self._watchdog_done = True
                self._boot(at_s, "watchdog")
        self._sag(now_s)
        if self.phase is Phase.ON_TRIAL and now_s >= self.trial_ends_s and not self.gone:
            self._put_back("trial-over", self.trial_ends_s, "restart")

    def _sag(self, now_s: float) -> None:
        """Brown-outs of a trial: three times it is tried again, the next one puts the image back
        (docs/node-interface.md 7)."""
        while (
            self.running == NEW and self.phase is Phase.ON_TRIAL and self._browned < self.behaviour.brown_outs
        ):
            at_s = self.booted_s + BROWN_OUT_AT_S
            if now_s < at_s:
                return
            self._browned += 1
            assert self.brown_outs is not None
            self.brown_outs += 1
            if self._browned > BROWN_OUT_TRIES:
                self._put_back("brown-out", at_s, "brown-out")
            else:
                self._boot(at_s, "brown-out")
                self.trial_ends_s = self.back_s + self.trial_s

    def reachable(self, now_s: float) -> bool:
        """Whether it answers now."""
        self.tick(now_s)
        new = self.running == NEW
        hung = (
            new
            and self.behaviour.hangs_after_s is not None
            and now_s >= self.booted_s + self.behaviour.hangs_after_s
        )
        silent = new and (self.behaviour.never_returns or hung)
        return not (self.gone or silent or now_s < self.back_s or now_s < self.behaviour.off_until_s)

    def state(self, now_s: float) -> NodeState:
        """Its state document."""
        new, wrong = self.running == NEW, self.behaviour
        tanks = self._tanks["well"]
        if new and wrong.inverted:
            tanks = self._tanks["inverted"]
        elif new and wrong.pump_on_when_full:
            tanks = self._tanks["pump"]
        elif new and wrong.new_fault:
            tanks = self._tanks["fault"]
        elif wrong.latched and not (wrong.forgets_fault and new):
            tanks = self._tanks["latched"]
        return self._base.model_copy(
            update={
                "image": self.running,
                "phase": self.phase,
                "trial_left_s": max(0.0, self.trial_ends_s - now_s) if self.phase is Phase.ON_TRIAL else 0.0,
                "older_image": self.older,
                "last_image": self.last_image,
                "last_reason": self.last_reason,
                "boots": self.boots,
                "reset": self.reset,
                "brown_outs": self.brown_outs,
                "uptime_s": now_s - self.booted_s,
                "free_bytes": 20_000 if new and wrong.leaks else 40_000,
                "tanks": tanks,
            }
        )

    # ---------------------------------------------------------------- changes
    def take(self, image: str, now_s: float) -> None:
        """A whole image with a good ticket has arrived."""
        self.taken[image] = self.taken.get(image, 0) + 1
        self._soon = (now_s + self.lingers_s, "take", image)

    @property
    def restarting(self) -> bool:
        """Whether it said yes to something and has not restarted yet."""
        return self._soon is not None

    def _switch(self) -> None:
        assert self._soon is not None
        at_s, what, image = self._soon
        self._soon = None
        if what == "put-back":
            self._put_back("told", at_s, "restart")
            return
        self.older, self.running = self.running, image
        self.phase = Phase.ON_TRIAL
        self._boot(at_s, "restart")
        self.trial_ends_s = self.back_s + self.trial_s
        self.gone = self.gone or (image == NEW and self.behaviour.dies)

    def keep(self) -> str:
        """Empty, or the refusal."""
        if self.phase is not Phase.ON_TRIAL:
            return "not-on-trial"
        self.phase = Phase.KEPT
        if self.behaviour.forgets_older:
            self.older = None
        return ""

    def put_back(self, now_s: float) -> str:
        """Empty, or the refusal."""
        if self.older is None:
            return "no-older-image"
        self._soon = (now_s + self.lingers_s, "put-back", self.older)
        return ""

    def power_cut(self, now_s: float) -> None:
        """Off and on."""
        if not self.gone:
            if self._soon is not None:
                self._soon = (now_s, *self._soon[1:])
            self.tick(now_s)
            self._boot(now_s, "power-on")

    def _put_back(self, why: str, at_s: float, reset: str) -> None:
        assert self.older is not None
        self.last_image, self.last_reason = self.running, why
        self.running, self.older = self.older, None
        self.phase = Phase.PUT_BACK
        self._boot(at_s, reset)

    def _boot(self, at_s: float, reset: str) -> None:
        self.boots += 1
        self.reset = reset
        self.booted_s = self.back_s = at_s + self.restart_s


@cache
def _looks(name: str) -> tuple[NodeState, dict[str, Any]]:
    """The state of a node that is well, and its tanks as each behaviour shows them."""
    base = state_of(name)
    return base, {
        "well": base.tanks,
        "inverted": _tanks(name, _contradictory(name)),
        "pump": _tanks(name, _pump_on(name)),
        "fault": _tanks(name, tank_state(f"tank-{name}", 2, fault="no-rise")),
        "latched": _tanks(name, tank_state(f"tank-{name}", 2, fault="longest-run")),
    }


def _tanks(name: str, tank: dict[str, Any]) -> Any:
    return NodeState.model_validate_json(
        json.dumps({**json.loads(state_of(name).model_dump_json(by_alias=True)), "tanks": [tank]})
    ).tanks


def _contradictory(name: str) -> dict[str, Any]:
    tank = tank_state(f"tank-{name}", 2)
    for mark in tank["marks"]:
        mark["state"] = "dry" if mark["state"] == "wet" else "wet"
    return {**tank, "level": None}


def _pump_on(name: str) -> dict[str, Any]:
    tank = tank_state(f"tank-{name}", 3)
    tank["pump"] |= {"relay": "on", "why": "above-high"}
    return tank
