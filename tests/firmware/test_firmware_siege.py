"""A hundred clients that hang, dribble and lie, against a real node: it accepts nothing and controls its pump."""

from __future__ import annotations

import contextlib
import os
import re
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

from fleet.errors import NodeUnreachable
from fleet.link.state import NodeState
from tests.firmware.firmware_host import (
    EMPTY,
    FULL,
    HALF,
    NAME,
    RELAY,
    HostNode,
    image_of,
    node_block,
    ticket_for,
)
from tests.firmware.siege import Siege, lies

pytestmark = pytest.mark.slow
CLIENTS = 100
CYCLES = 6
REACTION_S = 2.0
"""At 50 times the speed the debounce of 2 s takes 40 ms; the rest is for a machine that does other things as well."""


@pytest.fixture
def board(tmp_path: Path) -> Iterator[HostNode]:
    node = HostNode(tmp_path, f"127.{180 + os.getpid() % 70}.{os.getpid() // 70 % 250}.2", speed=50)
    yield node
    node.end()
    assert "Sanitizer" not in node.log() and "runtime error" not in node.log(), node.log()


def _changes_of_level(board: HostNode, siege: Siege) -> list[float]:
    """Fills and empties the tank again and again under siege; how long the pump relay took to drop out each time."""
    reactions_s: list[float] = []

    def until(relay_on: bool, what: str) -> float:
        begun_s = time.monotonic()

        def reached() -> bool:
            siege.step()
            return board.pins.driven_high(RELAY) is relay_on

        board.wait_for(reached, what)
        return time.monotonic() - begun_s

    for _ in range(CYCLES):
        until(True, "an empty tank is filled")
        for gpio in (EMPTY, HALF, FULL):
            board.pins.set_input(gpio, high=False)
        reactions_s.append(until(False, "a full tank is not"))
        for gpio in (EMPTY, HALF, FULL):
            board.pins.set_input(gpio, high=True)
    return reactions_s


def _state_when_free(board: HostNode) -> NodeState:
    """Once the node has taken the siege's last connections from the queue and found them closed."""
    told: list[NodeState] = []

    def answers() -> bool:
        try:
            told.append(board.state())
        except NodeUnreachable:
            return False
        return bool(told)

    board.wait_for(answers, "a free connection after the siege")
    return told[0]


def test_a_hundred_clients_get_nothing_and_the_pump_is_controlled(board: HostNode) -> None:
    image = image_of(node_block("1.0.0", "two-slot"))
    board.load(image, "two-slot", sequence=5)
    board.start()
    before = board.wait_up()
    siege = Siege(board.address, 8080, lies(NAME, before.nonce, ticket_for(image, 6, "1.0.0")), CLIENTS)
    with contextlib.closing(siege):
        reactions_s = _changes_of_level(board, siege)
    statuses = Counter(
        int(found[1]) for answer in siege.answers if (found := re.match(rb"HTTP/1\.1 (\d+) ", answer))
    )
    print(
        f"siege: {siege.dialled} connections, {CLIENTS} at once, answers {dict(statuses)}, "
        f"pump off after {max(reactions_s):.2f} s at most"
    )
    assert max(reactions_s) < REACTION_S
    assert siege.dialled > CLIENTS
    assert statuses[401] > 0 and statuses[400] > 0, statuses
    assert all(status >= 400 for status in statuses), statuses
    after = _state_when_free(board)
    assert (after.boots, after.phase, after.sequence, after.floor) == (before.boots, before.phase, 5, 5)
    assert (after.older_image, after.last_image, after.faults) == (None, None, ())
    assert board.process is not None and board.process.poll() is None
