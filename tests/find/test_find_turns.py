"""Whose turn it is, with a clock of the test's and nobody to ask."""

from __future__ import annotations

import asyncio
from collections import Counter

import pytest

from fleet.find.asking import Asking
from fleet.find.sighting import AskResult, Confirmation, Sighting
from fleet.find.turns import Turns
from fleet.limits import FIND_TURN_S


def at(node: str, host: int, port: int = 80) -> Sighting:
    return Sighting(node, f"10.0.{host // 250}.{host % 250}", port)


def order(turns: Turns) -> list[Sighting]:
    found = []
    while (one := turns.next()) is not None:
        found.append(one)
    return found


def test_names_that_are_looked_for_come_first_and_take_turns() -> None:
    turns = Turns(["a", "b"])
    for one in (at("x", 1), at("a", 1), at("a", 2), at("a", 3), at("b", 9)):
        turns.add(one)
    assert [one.node for one in order(turns)] == ["a", "b", "a", "a", "x"]


def test_one_address_with_a_thousand_ports_keeps_no_other_waiting() -> None:
    turns = Turns(["a"])
    for port in range(1000):
        turns.add(at("a", 1, 8000 + port))
    turns.add(at("a", 2))
    assert at("a", 2) in order(turns)[:2]


def test_nobody_has_a_second_turn_before_all_had_their_first() -> None:
    turns = Turns(["a"])
    places = [at("a", host) for host in range(50)]
    for one in places:
        turns.add(one)
    seen = Counter()
    for _ in range(100):
        one = turns.next()
        assert one is not None
        seen[one] += 1
        turns.add(one)
        assert max(seen.values()) - min(seen[place] for place in places) <= 1
    assert set(seen.values()) == {2}


def test_a_turn_ends_only_for_somebody_who_had_no_more_and_gets_longer_each_time() -> None:
    turns = Turns(["a"])
    turns.add(at("a", 1))
    one = turns.next()
    assert one == at("a", 1)
    assert not turns.over(one, 1000.0), "nobody waits"
    turns.add(at("x", 1))
    assert not turns.over(one, 1000.0), "who is not looked for takes no turn of one that is"
    turns.add(at("a", 2))
    assert not turns.over(one, FIND_TURN_S * 0.99)
    assert turns.over(one, FIND_TURN_S)
    turns.add(one)
    assert turns.next() == at("a", 2)
    assert turns.next() == one
    turns.add(at("a", 2))
    assert not turns.over(one, FIND_TURN_S)
    assert turns.over(one, 2 * FIND_TURN_S)


def test_no_more_are_asked_at_once_than_allowed() -> None:
    told: list[Confirmation] = []
    open_now, most = 0, 0

    async def confirm(one: Sighting) -> Confirmation:
        nonlocal open_now, most
        open_now += 1
        most = max(most, open_now)
        await asyncio.sleep(0)
        open_now -= 1
        return Confirmation(one, AskResult.UNREACHABLE)

    async def whole() -> None:
        asking = Asking(confirm, ["a"], 3, told.append)
        for host in range(12):
            asking.ask(at("a", host))
            asking.ask(at("a", host))
        while asking.busy:
            await asyncio.sleep(0)

    asyncio.run(whole())
    assert most == 3
    assert len(told) == 12


def test_what_was_asked_and_what_was_not_are_told_apart_at_the_end() -> None:
    async def whole() -> list[Confirmation]:
        asking = Asking(lambda one: asyncio.Event().wait(), ["a"], 2, lambda told: None)
        for host in range(5):
            asking.ask(at("a", host))
        left = asking.end()
        assert not asking.busy
        return left

    left = asyncio.run(whole())
    assert Counter(one.outcome for one in left) == {AskResult.UNREACHABLE: 2, AskResult.NOT_ASKED: 3}


def test_an_error_in_asking_ends_the_search() -> None:
    async def confirm(one: Sighting) -> Confirmation:
        raise ZeroDivisionError

    async def whole() -> None:
        asking = Asking(confirm, ["a"], 2, lambda told: None)
        asking.ask(at("a", 1))
        await asyncio.sleep(0)
        await asyncio.sleep(0)
        asking.go_on()

    with pytest.raises(ZeroDivisionError):
        asyncio.run(whole())
