"""A virtual node: a machine, its pins, the water of its tanks, and what hurts it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from fleet.bench.codes import BAD_HURT
from fleet.bench.how import AT_ONCE
from fleet.bench.hurt import Wounds, check_options
from fleet.bench.machine import Machine, Power, Process, Reset
from fleet.bench.message import NodeView, TankView
from fleet.bench.paths import NodePaths
from fleet.bench.pins import PinsFile
from fleet.bench.wiring import Wiring
from fleet.bench.world import TankWorld
from fleet.errors import BenchError

if TYPE_CHECKING:
    from collections.abc import Callable

    from fleet.bench.message import HurtNode
    from fleet.bench.spec import NodeSpec


class VirtualNode:
    """One node of the bench; `tell` hears (subject, what, detail) of all that happens to it and its
    tanks."""

    def __init__(
        self,
        spec: NodeSpec,
        bench_id: str,
        speed: float,
        start: Callable[[list[str], Path], Process],
        tell: Callable[[str, str, str], None],
    ) -> None:
        self.spec = spec
        self._bench_id, self._speed = bench_id, speed
        self._tell = tell
        self._start_process = start
        self._paths = NodePaths(Path(spec.folder))
        self._pins = PinsFile(self._paths.pins)
        self._wiring = Wiring(spec.tanks)
        self._worlds = {tank.name: TankWorld(tank, speed) for tank in spec.tanks}
        self._wounds = Wounds(spec.tanks)
        self._machine = Machine(
            self._start, self._pins, lambda what, detail: tell(f"node {spec.name}", what, detail)
        )
        self._pumps: dict[str, bool] = {}
        self._last_tick_s: float | None = None

    # ------------------------------------------------------------------ time
    def power_on(self, now_s: float) -> None:
        """Give it power."""
        self._machine.power_on(now_s)

    def tick(self, now_s: float) -> None:
        """Let time pass for its process and its water."""
        if self._wounds.heal_due(now_s):
            self._apply(now_s)
        self._machine.tick(now_s)
        real_s = 0.0 if self._last_tick_s is None else max(0.0, now_s - self._last_tick_s)
        self._last_tick_s = now_s
        self._pumps = self._wiring.running_pumps(self._pins)
        for name, world in self._worlds.items():
            for event in world.advance(real_s, pump_on=self._pumps.get(name, False)):
                self._tell(f"tank {name}", event.what.value, f"level {event.level_m:.2f} m")
        self._wiring.write_probes(self._pins, self._worlds, self._wounds.probes)

    def end(self) -> None:
        """Take its power for good."""
        self._machine.cut_power()

    @property
    def pid(self) -> int | None:
        """Its process, while it has one."""
        return self._machine.pid

    # ------------------------------------------------------------------ from outside
    def hurt(self, request: HurtNode, now_s: float) -> None:
        """Hurt it; BenchError if the options do not fit, or there is nothing to kill."""
        if request.how in AT_ONCE:
            check_options(request)
            if not self._machine.kill(Reset.BROWN_OUT if request.how == "brown-out" else None):
                raise BenchError(
                    BAD_HURT, f"{self.spec.name} has no process to end: it is {self._machine.power.value}"
                )
            return
        self._wounds.add(request, now_s)
        self._apply(now_s)

    def heal(self, now_s: float) -> None:
        """End all that hurts it; a brick stays one."""
        self._wounds.heal()
        self._apply(now_s)

    def world(self, tank: str) -> TankWorld | None:
        """The water of a tank that it serves."""
        return self._worlds.get(tank)

    # ------------------------------------------------------------------ what is
    def view(self, now_s: float) -> NodeView:
        """What an onlooker sees."""
        machine, rate = self._machine, self._wounds.link_rate_bytes_per_s
        running = machine.power is Power.RUNNING
        return NodeView(
            name=self.spec.name,
            board=self.spec.board,
            address=self.spec.address,
            port=self.spec.port,
            mac=self.spec.mac,
            power=machine.power.value,
            pid=machine.pid,
            starts=machine.starts,
            reset=machine.reset.value,
            uptime_s=round(now_s - machine.started_at_s, 1) if running else None,
            network="down" if self._wounds.network_down else "slow" if rate else "up",
            hurts=self._wounds.words,
            tanks=tuple(self._tank_view(world) for world in self._worlds.values()),
        )

    def _tank_view(self, world: TankWorld) -> TankView:
        pump = None if world.spec.pump is None else "on" if self._pumps.get(world.spec.name) else "off"
        totals = world.totals
        return TankView(
            name=world.spec.name,
            level_m=round(world.level_m, 4),
            volume_l=round(world.volume_l, 2),
            share=round(world.share, 4),
            wet=tuple(p.mark for p, wet in zip(world.spec.probes, world.wet(), strict=True) if wet),
            draw_l_per_min=round(world.draw_l_per_min(), 3),
            inflow_l_per_min=round(world.inflow_l_per_min(), 3),
            pump=pump,
            pump_run_s=round(totals.pump_run_s, 1),
            spilled_l=round(totals.spilled_l, 2),
            lacked_l=round(totals.lacked_l, 2),
            below_reserve_s=round(totals.below_reserve_s, 1),
        )

    # ------------------------------------------------------------------ inside
    def _apply(self, now_s: float) -> None:
        self._pins.set_network_down(self._wounds.network_down)
        self._pins.set_link_rate(self._wounds.link_rate_bytes_per_s)
        if self._wounds.without_power:
            self._machine.cut_power()
        else:
            self._machine.power_on(now_s)

    def _start(self, reset: Reset) -> Process:
        spec, paths = self.spec, self._paths
        words = [spec.boot_loader, "run", "--flash", str(paths.flash), "--pins", str(paths.pins)]
        words += ["--address", spec.address, "--port", str(spec.port), "--mac", spec.mac]
        words += ["--speed", f"{self._speed:g}", "--reset", reset.value, "--bench", self._bench_id]
        return self._start_process(words, paths.log)
