"""Talking to a running bench: a typed client of its control socket."""

from __future__ import annotations

import fcntl
import os
import time
from contextlib import suppress
from typing import TYPE_CHECKING, TypeVar

from pydantic import ValidationError

from fleet.bench.codes import ASKED_WRONG, BAD_MESSAGE, CODES, NOT_UP
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
    NodeView,
    Remove,
    SetDraw,
    SetLevel,
    TakeSubnet,
    TankView,
)
from fleet.bench.paths import BenchPaths
from fleet.errors import BenchError, BenchRefused
from fleet.limits import BENCH_CONTROL_TIMEOUT_S, BENCH_END_TIMEOUT_S
from fleet.socket_path import connect_to

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from fleet.bench.how import How
    from fleet.bench.message import Request
    from fleet.bench.spec import NodeSpec

_View = TypeVar("_View", NodeView, TankView)


class BenchControl:
    """A bench by the path of its control socket. Each method raises BenchError: NOT_UP if nobody answers
    there, or with the bench's own code when it refuses."""

    def __init__(self, socket_path: Path, timeout_s: float = BENCH_CONTROL_TIMEOUT_S) -> None:
        self._path = socket_path
        self._timeout_s = timeout_s

    # ------------------------------------------------------------------ the bench
    def is_up(self) -> bool:
        """Whether a bench answers. A socket left behind by a bench that was killed does not count."""
        try:
            self._ask(Hello())
        except BenchError as error:
            if error.code is NOT_UP:
                return False
            raise
        return True

    def pid(self) -> int:
        """The process id of the bench."""
        return self._ask(Hello()).pid

    def speed(self) -> float:
        """Simulated seconds per real second."""
        return self._ask(Hello()).speed

    def down(self) -> None:
        """End the bench with all its nodes; returns when every process is gone."""
        self._ask(Down())
        deadline_s = time.monotonic() + BENCH_END_TIMEOUT_S
        while lock_is_held(BenchPaths(self._path.parent).lock):
            if time.monotonic() > deadline_s:
                raise BenchError(NOT_UP, "the bench announced its end, but still runs", fix="Read its log.")
            time.sleep(0.01)

    def subnet(self, wanted: int | None = None) -> int:
        """N of the addresses 127.N.x.y that are this bench's from now on; without a wish those it has, else any."""
        return self._ask(TakeSubnet(wanted=wanted)).subnet

    # ------------------------------------------------------------------ nodes
    def add(self, nodes: Sequence[NodeSpec]) -> None:
        """Put nodes on the bench and give them power; those that are there already stay as they are."""
        self._ask(Add(nodes=tuple(nodes)))

    def remove(self, names: Sequence[str]) -> None:
        """Take nodes off the bench; their flash stays."""
        self._ask(Remove(nodes=tuple(names)))

    def nodes(self) -> tuple[NodeView, ...]:
        """All nodes, in the order in which they were added."""
        return self._ask(ListNodes()).nodes

    def node(self, name: str) -> NodeView:
        """One node; KeyError if it is not on the bench."""
        return _named(self.nodes(), name)

    def tank(self, name: str) -> TankView:
        """The water of one tank; KeyError if no node on the bench serves it."""
        return _named([tank for node in self.nodes() for tank in node.tanks], name)

    def events(self, after: int = 0) -> tuple[EventView, ...]:
        """What happened after event number `after`, as far as it is still remembered."""
        return self._ask(ListEvents(after=after)).events

    # ------------------------------------------------------------------ from outside
    def hurt(
        self,
        node: str,
        how: How,
        *,
        for_s: float | None = None,
        tank: str | None = None,
        mark: str | None = None,
        rate_bytes_per_s: int | None = None,
    ) -> None:
        """Hurt a node for a time, or until healed."""
        self._ask(
            HurtNode(node=node, how=how, for_s=for_s, tank=tank, mark=mark, rate_bytes_per_s=rate_bytes_per_s)
        )

    def heal(self, node: str) -> None:
        """End all that hurts a node, and give it power."""
        self._ask(HealNode(node=node))

    def draw(self, tank: str, flow_l_per_min: float | None) -> None:
        """Draw this much from a tank from now on; None: as the day goes."""
        self._ask(SetDraw(tank=tank, flow_l_per_min=flow_l_per_min))

    def level(self, tank: str, share: float) -> None:
        """Put a tank's water at a share (0 to 1) of its capacity up to the overflow."""
        self._ask(SetLevel(tank=tank, share=share))

    # ------------------------------------------------------------------ inside
    def _ask(self, request: Request) -> Answer:
        try:
            with connect_to(self._path, self._timeout_s) as connection, connection.makefile("rwb") as stream:
                stream.write(request.model_dump_json().encode() + b"\n")
                stream.flush()
                line = stream.readline()
        except OSError as error:
            raise BenchError(
                NOT_UP, f"no bench answers at {self._path} ({error.strerror or error})"
            ) from error
        if not line:
            raise BenchError(NOT_UP, "the bench ended before it answered")
        try:
            answer = Answer.model_validate_json(line)
        except ValidationError as error:
            raise BenchError(
                BAD_MESSAGE, f"the bench's answer cannot be read: {error.error_count()} faults"
            ) from error
        if not answer.ok:
            code = next((code for code in CODES if code.code == answer.code), BAD_MESSAGE)
            raise (BenchRefused if code in ASKED_WRONG else BenchError)(code, answer.what)
        return answer


def speed_of_bench(bench_dir: Path) -> float:
    """How many times as fast as the clock the water of the bench in that folder runs; 1 where none is up."""
    control = BenchControl(BenchPaths(bench_dir).socket)
    return control.speed() if control.is_up() else 1.0


def lock_is_held(path: Path) -> bool:
    """Whether a bench holds the lock."""
    with suppress(FileNotFoundError):
        lock = os.open(path, os.O_RDWR | os.O_CLOEXEC)
        try:
            fcntl.flock(lock, fcntl.LOCK_SH | fcntl.LOCK_NB)
        except BlockingIOError:
            return True
        finally:
            os.close(lock)
    return False


def _named(views: Sequence[_View], name: str) -> _View:
    for view in views:
        if view.name == name:
            return view
    raise KeyError(name)
