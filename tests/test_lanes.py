"""The lanes of `make test` (`tests/lanes.py`, `.ci/lane`): none hears another, and the user stays who he is."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

from tests import lanes

PEER = """
import socket, struct, sys

own, group = sys.argv[1].encode(), ("224.0.0.251", 5353)
bound = socket.create_server(("127.0.0.1", 8080))
ear = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
ear.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
ear.bind(("", group[1]))
joined = struct.pack("4s4s", socket.inet_aton(group[0]), socket.inet_aton("127.0.0.1"))
ear.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, joined)
mouth = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
mouth.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton("127.0.0.1"))
print("listens", flush=True)
for line in sys.stdin:
    if line == "say\\n":
        mouth.sendto(own, group)
        print("said", flush=True)
    else:
        print(ear.recv(100).decode(), flush=True)
"""
"""A machine in a lane: holds the port that another one holds too, and says and hears by the group of mDNS."""


@pytest.fixture(autouse=True)
def _networks() -> None:
    if reason := lanes.why_no_networks():
        pytest.skip(f"no networks of our own here: {reason}")


class Peer:
    """One in a lane of its own."""

    def __init__(self, name: str) -> None:
        self._process = subprocess.Popen(
            [lanes.LANE, sys.executable, "-c", PEER, name],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        assert self._line() == "listens"

    def _line(self) -> str:
        assert self._process.stdout is not None
        return self._process.stdout.readline().rstrip("\n")

    def _tell(self, word: str) -> None:
        assert self._process.stdin is not None
        self._process.stdin.write(f"{word}\n")
        self._process.stdin.flush()

    def say(self) -> None:
        self._tell("say")
        assert self._line() == "said"

    def hears(self) -> str:
        """The oldest that came and was not heard yet."""
        self._tell("hear")
        return self._line()

    def end(self) -> None:
        self._process.communicate(timeout=20)


def test_lanes_hear_themselves_and_not_each_other() -> None:
    """What is said on the loopback is heard at once; so nothing of the first is in front of what the second says."""
    peers = Peer("one"), Peer("two")
    try:
        for peer in peers:
            peer.say()
            peer.say()
        assert [peer.hears() for peer in (*peers, *peers)] == ["one", "two", "one", "two"]
    finally:
        for peer in peers:
            peer.end()


def test_in_a_lane_the_user_is_the_same_and_the_status_is_the_commands() -> None:
    ask = "import os; print(os.getuid(), os.getgid(), os.geteuid()); raise SystemExit(7)"
    done = subprocess.run(
        [lanes.LANE, sys.executable, "-c", ask], capture_output=True, text=True, check=False
    )
    ids = [str(number) for number in (os.getuid(), os.getgid(), os.geteuid())]
    assert (done.returncode, done.stdout.split()) == (7, ids)


def test_longest_files_are_there() -> None:
    """A file that is renamed would begin last."""
    assert [name for name in lanes.LONGEST if not (lanes.ROOT / "tests" / name).is_file()] == []


@pytest.mark.parametrize(
    ("in_lanes", "alone", "status"),
    [(0, 0, 0), (1, 0, 1), (0, 1, 1), (0, 5, 0), (1, 5, 1), (5, 0, 0), (5, 1, 1), (5, 5, 5), (0, 4, 4)],
)
def test_one_failure_fails_all(in_lanes: int, alone: int, status: int) -> None:
    assert lanes.together(in_lanes, alone) == status
