"""Confirming sightings: the signed state decides who is there, whatever was announced."""

from __future__ import annotations

import asyncio
import secrets
from dataclasses import replace

import pytest

from fleet.find.confirm import Confirmer
from fleet.find.sighting import AskResult, Confirmation, Sighting, Source
from fleet.link.client import Timeouts, open_session
from tests.fake_node import FakeNode
from tests.link_helpers import HASTY, PATIENT, fake, key_of

KNOWN = ("ridge-01", "ridge-02")


def confirm(
    node: FakeNode, asked: str, source: Source = Source.ANNOUNCED, timeouts: Timeouts = PATIENT
) -> Confirmation:
    async def whole() -> Confirmation:
        async with node, open_session() as session:
            confirmer = Confirmer(session, key_of, KNOWN, secrets.token_bytes, timeouts=timeouts)
            return await confirmer.confirm(Sighting(asked, node.address, node.port, source=source))

    return asyncio.run(whole())


def test_the_node_itself() -> None:
    confirmed = confirm(fake("ridge-01"), "ridge-01")
    assert confirmed.outcome is AskResult.CONFIRMED
    assert confirmed.state is not None


def test_another_node_of_the_fleet() -> None:
    """A stale record, or an address that was given to another."""
    other = confirm(fake("ridge-02"), "ridge-01")
    assert other.outcome is AskResult.OTHER_NODE
    assert other.state is not None
    assert other.state.node == "ridge-02"


@pytest.mark.parametrize("source", Source)
def test_a_board_with_other_keys_that_says_it_is_the_node(source) -> None:
    assert confirm(fake("ridge-01", node_key=bytes(32)), "ridge-01", source).outcome is AskResult.UNSIGNED


def test_a_false_node_that_says_it_is_another_of_the_fleet() -> None:
    assert confirm(fake("ridge-02", node_key=bytes(32)), "ridge-01").outcome is AskResult.UNSIGNED


def test_a_stranger_at_a_last_known_address_is_no_impostor() -> None:
    stranger = confirm(fake("attic", node_key=bytes(32)), "ridge-01", Source.LAST_KNOWN)
    assert stranger.outcome is AskResult.SOMETHING_ELSE
    assert "attic" in stranger.why


def test_an_answer_that_is_no_state() -> None:
    node = fake("ridge-01", node_key=bytes(32))
    node.faults.raw_body = b"<html>"
    assert confirm(node, "ridge-01").outcome is AskResult.UNSIGNED
    assert confirm(node, "ridge-01", Source.LAST_KNOWN).outcome is AskResult.SOMETHING_ELSE


def test_a_refusal_is_something_else() -> None:
    node = fake("ridge-01")
    node.faults.refuse = {"/v1/state": (404, "not-found")}
    assert confirm(node, "ridge-01").outcome is AskResult.SOMETHING_ELSE


@pytest.mark.parametrize(
    "faults",
    [
        {"refuse": {"/v1/state": (404, "not-found")}},
        {"raw_body": b"<html>"},
        {"down": True},
        {"crowded": 10**9},
    ],
)
@pytest.mark.parametrize("key", [None, bytes(32)], ids=["its own key", "another key"])
def test_a_reason_says_neither_node_nor_place(faults, key) -> None:
    """Both are said beside it, by whoever shows it."""
    node = fake("ridge-01", **({} if key is None else {"node_key": key}))
    for fault, how in faults.items():
        setattr(node.faults, fault, how)
    told = confirm(node, "ridge-01", timeouts=replace(HASTY, crowded_s=0.02, crowded_retry_s=0.005))
    assert told.outcome is not AskResult.CONFIRMED
    assert told.why
    assert node.name not in told.why
    assert node.address not in told.why


@pytest.mark.parametrize("source", Source)
def test_a_crowded_node_is_asked_again_and_then_called_so(source) -> None:
    """docs/node-interface.md 2: `crowded` is the one refusal that is not signed, for the request was not read."""
    node = fake("ridge-01")
    node.faults.crowded = 10**9
    given_up = confirm(node, "ridge-01", source, replace(PATIENT, crowded_s=0.02, crowded_retry_s=0.005))
    assert given_up.outcome is AskResult.CROWDED
    node = fake("ridge-01")
    node.faults.crowded = 3
    patient = replace(PATIENT, crowded_s=30, crowded_retry_s=0.005)
    assert confirm(node, "ridge-01", source, patient).outcome is AskResult.CONFIRMED


@pytest.mark.parametrize("fault", ["down", "silent", "half_answer"])
def test_no_answer(fault) -> None:
    node = fake("ridge-01")
    setattr(node.faults, fault, True)
    confirmed = confirm(node, "ridge-01", timeouts=HASTY)
    assert confirmed.outcome is AskResult.UNREACHABLE
    assert confirmed.why


def test_a_node_that_is_not_in_the_inventory_may_hold_a_key_of_ours() -> None:
    assert confirm(fake("shed-07"), "shed-07").outcome is AskResult.CONFIRMED


@pytest.mark.parametrize("odd", ["Guest", "a_b", "a\x1bb", "x" * 64, "", "ridge-01\n"])
def test_a_name_that_cannot_be_a_nodes_is_a_strangers_and_is_not_asked(odd) -> None:
    node = fake("ridge-01")
    assert confirm(node, odd).outcome is AskResult.STRANGER
    assert node.heard == []


def test_a_stranger_without_proof_is_asked_no_more_often_than_before() -> None:
    """Once under a key, once without; a node of ours whose answers are forged is asked again."""
    node = fake("attic", node_key=bytes(32))
    assert confirm(node, "attic").outcome is AskResult.UNSIGNED
    assert len(node.heard) == 2
    node = fake("ridge-01")
    node.faults.forged = {"/v1/state": 1}
    assert confirm(node, "ridge-01").outcome is AskResult.CONFIRMED


def test_who_answers_slowly_and_proves_nothing_holds_a_search_for_a_bounded_time() -> None:
    """Each of its answers comes in time, and none is signed: it would be asked five times, 10 s each."""
    node = fake("ridge-01", node_key=bytes(32))
    node.faults.answer_delay_s = 9.0

    async def whole() -> Confirmation:
        async with node, open_session() as session:
            confirmer = Confirmer(session, key_of, KNOWN, secrets.token_bytes, timeouts=PATIENT, whole_s=0.05)
            return await confirmer.confirm(Sighting("ridge-01", node.address, node.port))

    held = asyncio.run(whole())
    assert held.outcome is AskResult.UNREACHABLE
    assert held.why == "no proof of identity within 0.05 s"
