"""All virtual nodes of a bench and what is asked of them. No sockets; clock and process start are passed
in."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleet.bench.codes import ADDRESS_TAKEN, NO_SUCH_NODE, NOT_STARTED, NOT_UP, TOO_MANY_NODES
from fleet.bench.message import (
    Add,
    Answer,
    Down,
    EventView,
    HealNode,
    Hello,
    HurtNode,
    ListEvents,
    ListNodes,
    Remove,
    SetDraw,
    SetLevel,
    TakeSubnet,
)
from fleet.bench.subnet import Subnets
from fleet.bench.virtual_node import VirtualNode
from fleet.errors import BenchError, BenchRefused
from fleet.limits import BENCH_EVENTS, BENCH_NODES

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from fleet.bench.machine import Process
    from fleet.bench.message import Request
    from fleet.bench.spec import NodeSpec
    from fleet.bench.subnet import Held
    from fleet.bench.world import TankWorld


@dataclass(frozen=True, slots=True)
class Machinery:
    """What a bench needs of the machine that it is on."""

    now_s: Callable[[], float]
    """A steady clock."""
    start: Callable[[list[str], Path], Process]
    is_free: Callable[[str, int], bool]
    """Whether nobody listens at that address and port."""
    hold: Callable[[int], Held | None]
    """Claims 127.N.x.y (subnet.py)."""
    log: Callable[[str], None]
    """Hears one line for each event."""


class Hub:
    """The bench of that id, at that speed of the water, held by the process of that id."""

    def __init__(self, bench_id: str, speed: float, pid: int, machinery: Machinery) -> None:
        self.ending = False
        self._bench_id, self._speed, self._pid = bench_id, speed, pid
        self._now_s, self._start = machinery.now_s, machinery.start
        self._is_free, self._log = machinery.is_free, machinery.log
        self._subnets = Subnets(bench_id, machinery.hold)
        self._began_at_s = self._now_s()
        self._nodes: dict[str, VirtualNode] = {}
        self._leaving: list[VirtualNode] = []
        self._events: deque[EventView] = deque(maxlen=BENCH_EVENTS)
        self._event_count = 0

    # ------------------------------------------------------------------ time
    def tick(self) -> None:
        """Let every node's time pass."""
        now_s = self._now_s()
        for node in self._nodes.values():
            node.tick(now_s)
        for node in self._leaving:
            node.tick(now_s)
        self._leaving = [node for node in self._leaving if node.pid is not None]

    @property
    def leaving(self) -> bool:
        """Whether a node that was taken off still has a process (see again after a tick)."""
        return bool(self._leaving)

    def end(self) -> None:
        """Take all nodes off."""
        self.ending = True
        self._remove(tuple(self._nodes))

    # ------------------------------------------------------------------ requests
    def answer(self, request: Request) -> Answer:
        """Do what is asked. What cannot be done is answered with its code and words."""
        try:
            return self._do(request)
        except BenchError as error:
            return Answer(ok=False, code=error.code.code, what=error.what)
        except OSError as error:
            return Answer(ok=False, code=NOT_STARTED.code, what=str(error))

    def _do(self, request: Request) -> Answer:
        now_s = self._now_s()
        match request:
            case Hello():
                return Answer(ok=True, pid=self._pid, speed=self._speed)
            case ListNodes():
                return Answer(ok=True, nodes=tuple(node.view(now_s) for node in self._nodes.values()))
            case ListEvents():
                return Answer(ok=True, events=tuple(e for e in self._events if e.number > request.after))
            case TakeSubnet():
                return Answer(ok=True, subnet=self._subnets.take(request.wanted))
            case Add():
                self._add(request.nodes)
            case Remove():
                self._remove(request.nodes)
            case HurtNode():
                self._node(request.node).hurt(request, now_s)
                self._tell(f"node {request.node}", "hurt", request.how)
            case HealNode():
                self._node(request.node).heal(now_s)
                self._tell(f"node {request.node}", "healed", "")
            case SetDraw():
                self._world(request.tank).fixed_draw_l_per_min = request.flow_l_per_min
            case SetLevel():
                self._world(request.tank).set_share(request.share)
            case Down():
                self.end()
        return Answer(ok=True)

    def _add(self, specs: tuple[NodeSpec, ...]) -> None:
        if self.ending:
            raise BenchError(NOT_UP, "the bench is ending")
        fresh = [spec for spec in specs if spec.name not in self._nodes]
        if len(self._nodes) + len(fresh) > BENCH_NODES:
            raise BenchRefused(TOO_MANY_NODES, f"at most {BENCH_NODES} virtual nodes fit on one bench")
        for spec in fresh:
            if not self._is_free(spec.address, spec.port):
                raise BenchError(
                    ADDRESS_TAKEN, f"{spec.address}:{spec.port}, meant for {spec.name}, is in use"
                )
        for spec in fresh:
            node = VirtualNode(spec, self._bench_id, self._speed, self._start, self._tell)
            node.tick(self._now_s())
            node.power_on(self._now_s())
            self._nodes[spec.name] = node

    def _remove(self, names: tuple[str, ...]) -> None:
        for name in names:
            node = self._node(name)
            node.end()
            self._leaving.append(node)
            del self._nodes[name]

    # ------------------------------------------------------------------ inside
    def _node(self, name: str) -> VirtualNode:
        try:
            return self._nodes[name]
        except KeyError:
            raise BenchRefused(NO_SUCH_NODE, f"node {name!r} is not on the bench") from None

    def _world(self, tank: str) -> TankWorld:
        for node in self._nodes.values():
            world = node.world(tank)
            if world is not None:
                return world
        raise BenchRefused(NO_SUCH_NODE, f"no node on the bench serves a tank {tank!r}")

    def _tell(self, subject: str, what: str, detail: str) -> None:
        self._event_count += 1
        at_s = round(self._now_s() - self._began_at_s, 3)
        self._events.append(
            EventView(number=self._event_count, at_s=at_s, subject=subject, what=what, detail=detail)
        )
        self._log(f"{subject}: {what} {detail}".rstrip())
