"""What hurts a virtual node now, until when, and what that comes to. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleet.bench.codes import BAD_HURT, NO_SUCH_NODE
from fleet.bench.how import AT_ONCE
from fleet.bench.wiring import ProbeHurt
from fleet.errors import BenchRefused

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleet.bench.message import HurtNode
    from fleet.bench.spec import TankSpec

DEFAULT_RATE_BYTES_PER_S = 20_000


@dataclass(frozen=True, slots=True)
class Wound:
    """One thing that hurts; `until_s` on the bench's clock, None: until healed."""

    how: str
    until_s: float | None
    probe: tuple[str, str] | None = None
    rate_bytes_per_s: int = 0

    def __str__(self) -> str:
        if self.probe is not None:
            return f"{self.how} {self.probe[0]}/{self.probe[1]}"
        return f"{self.how} {self.rate_bytes_per_s} B/s" if self.rate_bytes_per_s else self.how


class Wounds:
    """All that hurts one node."""

    def __init__(self, tanks: Sequence[TankSpec]) -> None:
        self._tanks = tuple(tanks)
        self._wounds: list[Wound] = []

    def add(self, request: HurtNode, now_s: float) -> None:
        """Add what `request` asks for (not one of AT_ONCE, which are over at once); BenchError if its options do not
        fit."""
        check_options(request)
        until_s = None if request.for_s is None else now_s + request.for_s
        probe = self._probe(request) if request.how in tuple(ProbeHurt) else None
        rate = (request.rate_bytes_per_s or DEFAULT_RATE_BYTES_PER_S) if request.how == "slow-link" else 0
        self._wounds = [w for w in self._wounds if (w.how, w.probe) != (request.how, probe)]
        self._wounds.append(Wound(request.how, until_s, probe, rate))

    def heal(self) -> None:
        """End all."""
        self._wounds = []

    def heal_due(self, now_s: float) -> bool:
        """End what is over by now; whether anything was."""
        left = [w for w in self._wounds if w.until_s is None or now_s < w.until_s]
        over = len(left) != len(self._wounds)
        self._wounds = left
        return over

    # ------------------------------------------------------------------ what it comes to
    @property
    def words(self) -> tuple[str, ...]:
        """Each wound in words."""
        return tuple(str(w) for w in self._wounds)

    @property
    def without_power(self) -> bool:
        """Whether its power is cut."""
        return self._any("power-cut")

    @property
    def network_down(self) -> bool:
        """Whether it has no network."""
        return self._any("unreachable")

    @property
    def link_rate_bytes_per_s(self) -> int:
        """The rate of its link; 0 for no limit."""
        return next((w.rate_bytes_per_s for w in self._wounds if w.how == "slow-link"), 0)

    @property
    def probes(self) -> dict[tuple[str, str], ProbeHurt]:
        """The probes that lie, by (tank, mark)."""
        return {w.probe: ProbeHurt(w.how) for w in self._wounds if w.probe is not None}

    def _any(self, how: str) -> bool:
        return any(w.how == how for w in self._wounds)

    def _probe(self, request: HurtNode) -> tuple[str, str]:
        """By default the first tank; its lowest probe is lost, its highest is swollen: both contradict the
        others."""
        tank = next((t for t in self._tanks if request.tank in (None, t.name)), None)
        if tank is None:
            known = ", ".join(t.name for t in self._tanks)
            raise BenchRefused(
                NO_SUCH_NODE, f"{request.node} does not serve a tank {request.tank!r}; it serves {known}"
            )
        marks = [probe.mark for probe in tank.probes]
        mark = request.mark or (marks[0] if ProbeHurt(request.how) is ProbeHurt.LOST else marks[-1])
        if mark not in marks:
            raise BenchRefused(
                NO_SUCH_NODE, f"tank {tank.name} has no mark {mark!r}; it has {', '.join(marks)}"
            )
        return tank.name, mark


def check_options(request: HurtNode) -> None:
    """BenchError for an option that this way to hurt does not take."""
    if request.how in AT_ONCE and request.for_s is not None:
        raise BenchRefused(BAD_HURT, f"the node restarts on its own, so `{request.how}` takes no time")
    if request.how != "slow-link" and request.rate_bytes_per_s is not None:
        raise BenchRefused(BAD_HURT, f"`{request.how}` takes no rate; only `slow-link` does")
    if request.how not in tuple(ProbeHurt) and (request.tank is not None or request.mark is not None):
        raise BenchRefused(
            BAD_HURT, f"`{request.how}` takes no tank and no mark; only `lost-probe` and `swollen` do"
        )
