"""Which addresses a bench takes when others are there."""

from __future__ import annotations

import pytest

from fleet.bench.codes import ADDRESS_TAKEN
from fleet.bench.subnet import Subnets, hold_subnet
from fleet.errors import BenchError
from fleet.limits import BENCH_SUBNETS


class Machine:
    """Which numbers are held on it, by whomever."""

    def __init__(self, *held: int) -> None:
        self.held = set(held)

    def hold(self, number: int) -> Machine | None:
        if number in self.held:
            return None
        self.held.add(number)
        return self

    def close(self) -> None:
        """Never called: the claims of these benches end with the test."""


def test_without_a_wish_it_is_mostly_the_same_and_never_another_s() -> None:
    usual = Subnets("00000007", Machine().hold).take(None)
    assert usual == BENCH_SUBNETS[7]
    machine = Machine()
    benches = [Subnets("00000007", machine.hold) for _ in BENCH_SUBNETS]
    taken = [bench.take(None) for bench in benches]
    assert taken[0] == usual
    assert sorted(taken) == list(BENCH_SUBNETS)
    assert [bench.take(None) for bench in benches] == taken, "asked again, it is what it has"
    with pytest.raises(BenchError) as caught:
        Subnets("00000007", machine.hold).take(None)
    assert caught.value.code is ADDRESS_TAKEN


def test_a_wish_is_fulfilled_or_refused() -> None:
    bench = Subnets("00000007", Machine(80).hold)
    assert bench.take(81) == 81
    assert bench.take(81) == 81
    assert bench.take(None) == 81
    with pytest.raises(BenchError, match=r"127\.80\.x\.y") as caught:
        bench.take(80)
    assert caught.value.code is ADDRESS_TAKEN


def test_a_claim_on_this_machine_ends_when_it_is_given_up() -> None:
    """The kernel's own word: bind(2) gives a UDP address to one socket at a time."""
    first = next(filter(None, map(hold_subnet, reversed(range(10, 60)))))
    number = int(first.getsockname()[0].split(".")[1])
    assert hold_subnet(number) is None
    first.close()
    again = hold_subnet(number)
    assert again is not None
    again.close()
