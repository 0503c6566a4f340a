"""From confirmations to matches: each status, told apart by evidence alone."""

from __future__ import annotations

import json

from fleet.find.match import Match, Status, match
from fleet.find.seen import Seen
from fleet.find.sighting import AskResult, Confirmation, Sighting, Source
from fleet.limits import PLACES_TOLD, SIGHTINGS
from fleet.link.state import NodeState, parse_state
from tests.link_helpers import fake

KNOWN = ("ridge-01", "ridge-02")


def _state(node: str, mac: str = "") -> NodeState:
    return parse_state(json.dumps(fake(node, mac=mac).document()).encode(), node=node)


def _at(node: str, address: str, source: Source = Source.ANNOUNCED) -> Sighting:
    return Sighting(node, address, 80, {"id": node, "release": "1.0.0"}, source)


def _confirmed(node: str, address: str, *, mac: str = "", source: Source = Source.ANNOUNCED) -> Confirmation:
    return Confirmation(_at(node, address, source), AskResult.CONFIRMED, _state(node, mac))


def _seen(address: str) -> Seen:
    return Seen(address, 80, "02:00:00:00:00:01", "2026-03-01T06:00:00+00:00")


def _match(*confirmations: Confirmation, last_seen=None, expected=("ridge-01",)) -> list[Match]:
    return match(expected, KNOWN, confirmations, last_seen or {})


def also_at(match: Match) -> tuple[str, ...]:
    return tuple(at.place for at in match.also_at)


def test_found() -> None:
    (found,) = _match(_confirmed("ridge-01", "10.0.0.1"))
    assert (found.status, found.address, found.port, found.evidence) == (Status.FOUND, "10.0.0.1", 80, ())
    assert found.state is not None
    assert found.reachable


def test_missing_tells_where_it_was_last() -> None:
    (never,) = _match()
    assert (never.status, never.evidence) == (Status.MISSING, ("never found before",))
    (gone,) = _match(last_seen={"ridge-01": _seen("10.0.0.9")})
    assert "10.0.0.9:80 on 2026-03-01" in gone.evidence[0]
    assert not gone.reachable


def test_announced_without_an_answer_is_missing() -> None:
    (silent,) = _match(Confirmation(_at("ridge-01", "10.0.0.1"), AskResult.UNREACHABLE, why="refused"))
    assert silent.status is Status.MISSING
    assert silent.evidence == ("announced at 10.0.0.1:80, but no answer: refused",)


def test_a_crowded_node_is_neither_missing_nor_found() -> None:
    (crowded,) = _match(Confirmation(_at("ridge-01", "10.0.0.1"), AskResult.CROWDED, why="crowded"))
    assert (crowded.status, crowded.address, crowded.reachable) == (Status.CROWDED, "10.0.0.1", False)
    assert crowded.evidence == ("announced at 10.0.0.1:80, but all connections there are in use",)
    found, *others = _match(
        Confirmation(_at("ridge-01", "10.0.0.2"), AskResult.CROWDED), _confirmed("ridge-01", "10.0.0.1")
    )
    assert (found.status, others) == (Status.FOUND, [])


def test_moved() -> None:
    (moved,) = _match(_confirmed("ridge-01", "10.0.0.1"), last_seen={"ridge-01": _seen("10.0.0.9")})
    assert (moved.status, moved.address) == (Status.MOVED, "10.0.0.1")
    assert "10.0.0.9:80" in moved.evidence[0]
    assert moved.reachable


def test_a_stale_record_beside_the_true_one_is_no_double() -> None:
    """An old address is still in a cache, and another node of the fleet has it now."""
    stale = Confirmation(_at("ridge-01", "10.0.0.9"), AskResult.OTHER_NODE, _state("ridge-02"))
    (found,) = _match(stale, _confirmed("ridge-01", "10.0.0.1"))
    assert (found.status, found.address) == (Status.FOUND, "10.0.0.1")
    assert found.evidence == ("announced at 10.0.0.9:80, where ridge-02 answers",)


def test_two_boards_with_one_key_are_double() -> None:
    one = _confirmed("ridge-01", "10.0.0.1", mac="02:00:00:00:00:01")
    two = _confirmed("ridge-01", "10.0.0.2", mac="02:00:00:00:00:02")
    (double,) = _match(two, one)
    assert (double.status, double.address, also_at(double)) == (Status.DOUBLE, "10.0.0.1", ("10.0.0.2:80",))
    assert "02:00:00:00:00:01 at 10.0.0.1:80, 02:00:00:00:00:02 at 10.0.0.2:80" in double.evidence[0]
    assert not double.reachable


def test_one_board_at_two_addresses_is_not_double() -> None:
    one = _confirmed("ridge-01", "10.0.0.2", mac="02:00:00:00:00:01")
    same = _confirmed("ridge-01", "10.0.0.1", mac="02:00:00:00:00:01")
    (found,) = _match(one, same)
    assert (found.status, found.address, also_at(found)) == (Status.FOUND, "10.0.0.1", ("10.0.0.2:80",))
    assert found.evidence == ("the same board also answers at 10.0.0.2:80",)


def test_addresses_are_compared_as_numbers() -> None:
    near, far = (_confirmed("ridge-01", f"10.0.0.{n}", mac="02:00:00:00:00:01") for n in (9, 10))
    (found,) = _match(far, near)
    assert (found.address, also_at(found)) == ("10.0.0.9", ("10.0.0.10:80",))
    two = _confirmed("ridge-01", "10.0.0.10", mac="02:00:00:00:00:02")
    assert _match(two, near)[0].address == "10.0.0.9"


def test_who_passes_a_nodes_answers_on_does_not_take_its_place() -> None:
    """At a lower address, with answers that are truly signed: where the node was last known counts more."""
    node = _confirmed("ridge-01", "10.0.0.9", mac="02:00:00:00:00:01")
    between = _confirmed("ridge-01", "10.0.0.2", mac="02:00:00:00:00:01")
    (found,) = _match(between, node, last_seen={"ridge-01": _seen("10.0.0.9")})
    assert (found.status, found.address, also_at(found)) == (Status.FOUND, "10.0.0.9", ("10.0.0.2:80",))
    assert "10.0.0.2:80" in found.evidence[0]


def test_without_a_proof_the_last_known_place_is_named() -> None:
    crowded = [Confirmation(_at("ridge-01", f"10.0.0.{n}"), AskResult.CROWDED) for n in (2, 9)]
    (found,) = _match(*crowded, last_seen={"ridge-01": _seen("10.0.0.9")})
    assert (found.status, found.address) == (Status.CROWDED, "10.0.0.9")


def test_a_name_that_no_node_can_have_is_listed_as_a_strangers() -> None:
    _, stranger = _match(
        Confirmation(_at("a_b", "10.0.0.3"), AskResult.STRANGER), _confirmed("ridge-01", "10.0.0.1")
    )
    assert (stranger.node, stranger.status, stranger.address) == ("a_b", Status.UNKNOWN, "10.0.0.3")
    assert "stranger" in stranger.evidence[0]


def test_an_impostor_alone_and_beside_the_node() -> None:
    false = Confirmation(_at("ridge-01", "10.0.0.3"), AskResult.UNSIGNED, _state("ridge-01"), "no signature")
    (alone,) = _match(false)
    assert (alone.status, alone.address, alone.state) == (Status.IMPOSTOR, "10.0.0.3", None)
    found, beside = _match(false, _confirmed("ridge-01", "10.0.0.1"))
    assert (found.status, beside.status) == (Status.FOUND, Status.IMPOSTOR)
    assert "does not hold its key" in beside.evidence[0]
    assert found.evidence == beside.evidence


def test_found_at_its_last_known_address_without_announcement() -> None:
    quiet = _confirmed("ridge-01", "10.0.0.9", source=Source.LAST_KNOWN)
    (found,) = _match(quiet, last_seen={"ridge-01": _seen("10.0.0.9")})
    assert found.status is Status.FOUND
    assert "not announced" in found.evidence[0]


def test_something_else_at_the_last_known_address_is_no_impostor() -> None:
    at = _at("ridge-01", "10.0.0.9", Source.LAST_KNOWN)
    (missing,) = _match(Confirmation(at, AskResult.SOMETHING_ELSE, why="a printer"))
    assert missing.status is Status.MISSING
    assert missing.evidence == ("last known at 10.0.0.9:80, where another device answers: a printer",)


def test_unknown_nodes_come_last_and_tell_whose_key_they_hold() -> None:
    ours = _confirmed("shed-07", "10.0.0.7")
    theirs = Confirmation(_at("attic", "10.0.0.8"), AskResult.UNSIGNED, _state("attic"))
    silent = Confirmation(_at("barn", "10.0.0.5"), AskResult.UNREACHABLE, why="refused")
    found, *unknown = _match(ours, theirs, silent, _confirmed("ridge-01", "10.0.0.1"))
    assert found.node == "ridge-01"
    assert [(m.node, m.status) for m in unknown] == [
        (n, Status.UNKNOWN) for n in ("attic", "barn", "shed-07")
    ]
    assert "not signed" in unknown[0].evidence[0]
    assert "no answer" in unknown[1].evidence[0]
    assert "holds a key of this fleet" in unknown[2].evidence[0]


def test_nodes_that_were_not_asked_for_are_left_out() -> None:
    assert [m.node for m in _match(_confirmed("ridge-02", "10.0.0.2"))] == ["ridge-01"]


def test_the_order_is_that_of_the_question() -> None:
    both = _match(
        _confirmed("ridge-01", "10.0.0.1"),
        _confirmed("ridge-02", "10.0.0.2"),
        expected=("ridge-02", "ridge-01"),
    )
    assert [m.node for m in both] == ["ridge-02", "ridge-01"]


def test_thousands_of_places_are_told_in_a_few_lines() -> None:
    silent = [
        Confirmation(_at("ridge-01", f"10.0.1.{n}"), AskResult.UNREACHABLE, why="-") for n in range(200)
    ]
    unasked = [Confirmation(_at("ridge-01", f"10.0.2.{n}"), AskResult.NOT_ASKED) for n in range(250)]
    (missing,) = _match(*silent, *unasked)
    assert missing.status is Status.MISSING
    assert len(missing.evidence) == PLACES_TOLD + 2
    assert [line.split()[0] for line in missing.evidence[-2:]] == [str(200 - PLACES_TOLD), "250"]


def test_a_flood_of_announcements_is_said_of_what_was_not_found() -> None:
    found = _confirmed("ridge-01", "10.0.0.1")
    matches = match(["ridge-01", "ridge-02"], ["ridge-01", "ridge-02"], [found], {}, passed_over=True)
    assert [str(SIGHTINGS) in " ".join(one.evidence) for one in matches] == [False, True]
