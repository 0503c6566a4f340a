"""Which addresses a bench has: one part 127.N of loopback for itself, as long as it lives."""

from __future__ import annotations

import socket
from typing import TYPE_CHECKING, Protocol

from fleet.bench.codes import ADDRESS_TAKEN
from fleet.errors import BenchError
from fleet.limits import BENCH_PORT, BENCH_SUBNETS

if TYPE_CHECKING:
    from collections.abc import Callable


class Held(Protocol):
    """A claim; it ends when it is closed, or with its process."""

    def close(self) -> None:
        """Give it up."""


class Subnets:
    """The N of 127.N.x.y that one bench has. `hold` claims one on this machine; None: another bench has it."""

    def __init__(self, bench_id: str, hold: Callable[[int], Held | None]) -> None:
        self._first = int(bench_id, 16) % len(BENCH_SUBNETS)
        self._hold = hold
        self._held: dict[int, Held] = {}

    def take(self, wanted: int | None) -> int:
        """That one; or, without a wish, the one it has, else the first free one from a place on that follows from its
        id: mostly the same each time. BenchError if it is another bench's, or all are."""
        if wanted is None:
            turned = (*BENCH_SUBNETS[self._first :], *BENCH_SUBNETS[: self._first])
            choice = next(iter(self._held), None) or next(filter(self._claim, turned), None)
        else:
            choice = wanted if self._claim(wanted) else None
        if choice is None:
            which = (
                f"127.{wanted}.x.y are"
                if wanted
                else f"all of 127.{BENCH_SUBNETS[0]} to {BENCH_SUBNETS[-1]} are"
            )
            raise BenchError(ADDRESS_TAKEN, f"the addresses {which} another bench's")
        return choice

    def _claim(self, number: int) -> bool:
        if number not in self._held and (held := self._hold(number)) is not None:
            self._held[number] = held
        return number in self._held


def hold_subnet(number: int) -> socket.socket | None:
    """Claim 127.N for this process, by a UDP port that no node has; None if another has it. The kernel gives it free
    when the process ends, however it ends."""
    claim = socket.socket(socket.AF_INET, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC)
    try:
        claim.bind((f"127.{number}.255.254", BENCH_PORT))
    except OSError:
        claim.close()
        return None
    return claim
