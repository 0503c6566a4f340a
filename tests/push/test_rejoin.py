"""Bringing nodes to a new network: decisions and order, with stand-ins for nodes and air, and a clock that jumps."""

from __future__ import annotations

import asyncio
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from fleet.check.load import load_inventory
from fleet.codes import Exit
from fleet.errors import NodeRefused, NodeUnreachable
from fleet.limits import REJOIN_AT_ONCE, REJOIN_BACK_S, REJOIN_GIVE_TRIES, REJOIN_TELL_S
from fleet.link.codes import CHANGED_ON_WAY, REFUSED, UNREACHABLE
from fleet.link.refusals import SPOILT
from fleet.link.state import NodeState
from fleet.model.site import NetworkTrait
from fleet.rejoin.rejoin import NodeRejoin, RejoinStatus, barred, exit_of, in_order
from fleet.rejoin.rejoining import Rejoining, RejoinOptions
from tests.fake_join import Join
from tests.push import jumping
from tests.push.plans import state_of

OLD_NET, NEW_NET = ("farm", "old passphrase"), ("farm", "new passphrase")
TRIAL_S = 600


@dataclass
class Sim:
    """One node. `away_s`: how long its answers fail from each joining on: it got another address."""

    join: Join
    trouble: list[str] = field(default_factory=list)
    """For each PUT in turn: a refusal's code, `lost` (not taken, no answer), `cut` (taken, no answer),
    `changed` (the link gave up: the node never believed it)."""
    keep_trouble: list[str] = field(default_factory=list)
    known_at: int = 1
    """The joining whose address is known."""
    off: bool = False
    phase: str = "kept"
    knows: bool = True
    given: int = 0
    kept: int = 0


class Air:
    """Hands that reach stand-ins. What happens when: `at(seconds, what)`."""

    def __init__(self, names: Iterable[str], *, both: bool = True) -> None:
        self.air = {OLD_NET, NEW_NET} if both else {OLD_NET}
        self.nodes = {name: Sim(Join(kept=OLD_NET, air=self.air)) for name in names}
        self.searched: list[tuple[str, ...]] = []
        self.on_trial_at_once = 0
        self._events: list[tuple[float, object]] = []

    def at(self, seconds: float, what: object) -> None:
        """Call `what` then."""
        self._events.append((seconds, what))

    def clock(self) -> float:
        return asyncio.get_running_loop().time()

    async def sleep(self, seconds: float) -> None:
        await jumping.later(seconds)

    async def find(self, nodes: Sequence[str]) -> None:
        self.searched.append(tuple(nodes))
        for name in nodes:
            sim = self._ticked(name)
            if sim.join.on is not None:
                sim.known_at = sim.join.joined

    async def state(self, node: str) -> NodeState:
        sim = self._reached(node)
        return state_of(node, phase=sim.phase, network=sim.join.document(self.clock()) if sim.knows else None)

    async def give(self, node: str, trial_s: int) -> None:
        sim = self._reached(node)
        trouble = sim.trouble.pop(0) if sim.trouble else ""
        if trouble == "lost":
            raise NodeUnreachable(UNREACHABLE, "no answer", node=node)
        if trouble == "changed":
            raise NodeUnreachable(CHANGED_ON_WAY, "bad-signature", node=node)
        if trouble and trouble != "cut":
            status = {"not-found": 404, "bad-credentials": 403}.get(trouble, 409)
            raise NodeRefused(REFUSED, trouble, node=node, refusal=trouble, status=status)
        sim.given += 1
        sim.join.give(NEW_NET, trial_s, self.clock())
        trying = sum(one.join.phase == "on-trial" for one in self.nodes.values())
        self.on_trial_at_once = max(self.on_trial_at_once, trying)
        if trouble == "cut":
            raise NodeUnreachable(UNREACHABLE, "no answer", node=node)

    async def keep(self, node: str) -> None:
        sim = self._reached(node)
        trouble = sim.keep_trouble.pop(0) if sim.keep_trouble else ""
        if trouble == "lost":
            raise NodeUnreachable(UNREACHABLE, "no answer", node=node)
        if not sim.join.keep():
            raise NodeRefused(REFUSED, "not-on-trial", node=node, refusal="not-on-trial", status=409)
        sim.kept += 1
        if trouble == "cut":
            raise NodeUnreachable(UNREACHABLE, "no answer", node=node)

    def _ticked(self, node: str) -> Sim:
        now_s = self.clock()
        for event in [event for event in self._events if event[0] <= now_s]:
            self._events.remove(event)
            event[1]()  # type: ignore[operator]
        self.nodes[node].join.tick(now_s)
        return self.nodes[node]

    def _reached(self, node: str) -> Sim:
        sim = self._ticked(node)
        if sim.off or sim.join.on is None or sim.known_at != sim.join.joined:
            raise NodeUnreachable(UNREACHABLE, "no answer", node=node)
        return sim


@dataclass
class Heard:
    """Everything that was reported, with its second."""

    told: list[tuple[str, str]] = field(default_factory=list)
    waited_s: list[float] = field(default_factory=list)
    change: list[tuple[list[str], list[str]]] = field(default_factory=list)
    on_change: object = None

    def stands(self, standing: NodeRejoin) -> None:
        self.told.append((standing.node, str(standing.stands)))

    def change_now(self, nodes: Sequence[str], without: Sequence[str]) -> None:
        self.change.append((list(nodes), list(without)))
        if self.on_change is not None:
            self.on_change()  # type: ignore[operator]

    def waiting(self, standings: Sequence[NodeRejoin]) -> None:
        self.waited_s.append(asyncio.get_running_loop().time())


def _run(
    air: Air,
    *,
    absent: dict[str, str] | None = None,
    heard: Heard | None = None,
    change_after: bool = False,
    barred: dict[str, str] | None = None,
) -> Rejoining:
    async def whole() -> Rejoining:
        wishes = RejoinOptions(TRIAL_S, change_after)
        run = Rejoining({"farm": list(air.nodes)}, absent or {}, air, wishes, heard or Heard(), barred)
        await run.run()
        return run

    return jumping.run(whole())


def _stands(run: Rejoining) -> dict[str, str]:
    return {name: str(standing.stands) for name, standing in run.standings.items()}


# ------------------------------------------------------------------ boards that never get in
def test_a_board_that_never_gets_in_hears_nothing_and_is_nobodys_pilot() -> None:
    air, heard = Air(["a", "b", "c"]), Heard()
    run = _run(air, heard=heard, barred={"a": "the network takes WPA3 alone"})
    assert _stands(run) == {"a": "refused", "b": "kept", "c": "kept"}
    told = run.standings["a"]
    assert (told.reason, told.code and told.code.code) == ("the network takes WPA3 alone", "INV450")
    assert (air.nodes["a"].given, air.nodes["a"].join.kept) == (0, OLD_NET)
    assert "a" not in {node for node, _ in heard.told}
    assert exit_of(list(run.standings.values())) is Exit.PROBLEMS


def test_who_changes_the_access_point_later_is_told_that_it_would_be_left_behind() -> None:
    air, heard = Air(["a", "b"], both=False), Heard()
    _run(air, heard=heard, change_after=True, barred={"b": "the network takes WPA3 alone"})
    assert heard.change == [(["a"], ["b"])]


def test_only_the_esp8266_never_joins_wpa3() -> None:
    """Core 3.1.2's SDK has no SAE (esp8266/Arduino issue 4862); the ESP32 family has it (IDF wifi-security.rst)."""
    inventory = load_inventory(Path(__file__).resolve().parent.parent.parent / "inventory")
    names = [node.name for node in inventory.nodes]
    traits = {"network_traits": (NetworkTrait.WPA3_ONLY,)}
    sites = tuple(site.model_copy(update=traits) for site in inventory.sites)
    wpa3 = inventory.model_copy(update={"sites": sites})
    small = {node.name for node in inventory.nodes if node.board in ("d1-mini", "nodemcu-v2")}
    assert small
    assert set(barred(wpa3, names)) == small
    assert all("WPA3" in why for why in barred(wpa3, names).values())
    assert barred(inventory, names) == {}


# ------------------------------------------------------------------ all is well
def test_the_pilot_first_then_a_few_at_a_time_and_all_keep() -> None:
    air, heard = Air([f"n{i}" for i in range(10)]), Heard()
    run = _run(air, heard=heard)
    assert set(_stands(run).values()) == {"kept"}
    assert {sim.join.kept for sim in air.nodes.values()} == {NEW_NET}
    assert [sim.given for sim in air.nodes.values()] == [1] * 10
    assert air.on_trial_at_once == REJOIN_AT_ONCE
    assert heard.told.index(("n0", "kept")) < heard.told.index(("n1", "asked"))
    assert exit_of(list(run.standings.values())) is Exit.OK


def test_a_node_that_comes_back_at_another_address_is_found_anew() -> None:
    """Each joining gives another address here, so that no node is heard of again until it was looked for."""
    air = Air(["a", "b"])
    assert set(_stands(_run(air)).values()) == {"kept"}
    assert ("a",) in air.searched
    assert ("b",) in air.searched


def test_nothing_is_silent_for_long() -> None:
    air, heard = Air(["a", "b"]), Heard()
    _run(air, heard=heard)
    steps = [after - before for before, after in zip(heard.waited_s, heard.waited_s[1:], strict=False)]
    assert max(steps) <= REJOIN_TELL_S + 0.01


# ------------------------------------------------------------------ the pilot fails
def test_a_pilot_that_does_not_get_in_stops_it_and_goes_back() -> None:
    air = Air(["a", "b", "c"], both=False)
    run = _run(air)
    assert _stands(run) == {"a": "on-the-old", "b": "not-begun", "c": "not-begun"}
    assert run.standings["a"].code is not None
    assert run.standings["a"].code.code == "PSH120"
    assert run.standings["a"].back_at_s == pytest.approx(TRIAL_S, abs=5)
    assert [sim.given for sim in air.nodes.values()] == [1, 0, 0]
    assert exit_of(list(run.standings.values())) is Exit.PROBLEMS
    a = air.nodes["a"].join
    a.tick(TRIAL_S + 60)
    assert (a.phase, a.on, a.kept) == ("put-back", "kept", OLD_NET)


def test_a_pilot_that_is_never_seen_again_stops_it() -> None:
    air = Air(["a", "b"])
    air.at(0.5, lambda: setattr(air.nodes["a"], "off", True))
    run = _run(air)
    assert _stands(run) == {"a": "not-seen", "b": "not-begun"}
    assert run.standings["a"].code.code == "PSH121"  # type: ignore[union-attr]
    assert exit_of(list(run.standings.values())) is Exit.PROBLEMS, "one was not begun"


def test_a_later_one_that_fails_does_not_stop_the_others() -> None:
    air = Air(["a", "b", "c", "d"])
    air.nodes["c"].join.air = {OLD_NET}
    assert _stands(_run(air)) == {"a": "kept", "b": "kept", "c": "on-the-old", "d": "kept"}


def test_a_node_that_was_not_found_is_no_pilot() -> None:
    air = Air(["a", "b", "c"])
    air.nodes["b"].off = True
    run = _run(air, absent={"a": "missing: never found before"})
    assert _stands(run) == {"a": "not-found", "b": "not-found", "c": "kept"}
    assert exit_of(list(run.standings.values())) is Exit.UNREACHABLE
    assert air.nodes["a"].given == 0


# ------------------------------------------------------------------ refused
@pytest.mark.parametrize(
    ("trouble", "code", "why"),
    [
        ("not-found", "PSH122", "its release 1.0.0 cannot take credentials over the network"),
        ("bad-credentials", "PSH123", "bad-credentials"),
        ("flash-failed", "PSH123", "flash-failed"),
    ],
)
def test_a_refusal_is_told_and_stops_it(trouble: str, code: str, why: str) -> None:
    air = Air(["a", "b"])
    air.nodes["a"].trouble = [trouble]
    run = _run(air)
    assert _stands(run) == {"a": "refused", "b": "not-begun"}
    assert (run.standings["a"].code.code, run.standings["a"].reason) == (code, why)  # type: ignore[union-attr]


@pytest.mark.parametrize("code", sorted(SPOILT))
def test_what_the_way_brings_about_is_tried_again_and_then_called_so(code: str) -> None:
    """docs/node-interface.md 2: an honest node signs these to a request that was changed on its way."""
    air = Air("ab")
    air.nodes["a"].trouble = [code] * (REJOIN_GIVE_TRIES - 1)
    air.nodes["b"].trouble = [code] * REJOIN_GIVE_TRIES
    run = _run(air)
    assert _stands(run) == {"a": "kept", "b": "refused"}
    assert run.standings["b"].code is CHANGED_ON_WAY
    assert run.standings["b"].reason == (
        f"{code}: so {REJOIN_GIVE_TRIES} times; a device on the way changes what is sent"
    )


def test_a_request_that_was_never_believed_is_given_anew() -> None:
    """The link gives up after its own tries; the node surely took nothing, so nothing is waited for."""
    air = Air("ab")
    air.nodes["a"].trouble = ["changed"] * (REJOIN_GIVE_TRIES - 1)
    air.nodes["b"].trouble = ["changed"] * REJOIN_GIVE_TRIES
    run = _run(air)
    assert _stands(run) == {"a": "kept", "b": "refused"}
    assert run.standings["b"].code is CHANGED_ON_WAY


def test_busy_is_asked_again_and_then_told() -> None:
    air = Air(["a", "b"])
    air.nodes["a"].trouble = ["busy", "busy"]
    air.nodes["b"].trouble = ["busy"] * 3
    run = _run(air)
    assert _stands(run) == {"a": "kept", "b": "refused"}
    assert run.standings["b"].reason == "busy"


def test_older_firmware_that_does_not_tell_is_asked_and_says_no() -> None:
    air = Air(["a"])
    air.nodes["a"].knows = False
    air.nodes["a"].trouble = ["not-found"]
    assert _run(air).standings["a"].code.code == "PSH122"  # type: ignore[union-attr]


def test_a_node_with_an_image_on_trial_is_left_alone() -> None:
    air = Air(["a"])
    air.nodes["a"].phase = "on-trial"
    run = _run(air)
    assert (run.standings["a"].code.code, air.nodes["a"].given) == ("PSH124", 0)  # type: ignore[union-attr]


# ------------------------------------------------------------------ lost words, cut off runs
def test_words_that_are_lost_on_the_way() -> None:
    """Taken without an answer, not taken, and both of them for `keep`."""
    air = Air(["a", "b", "c", "d"])
    air.nodes["a"].trouble = ["cut"]
    air.nodes["b"].trouble = ["lost"]
    air.nodes["c"].keep_trouble = ["lost"]
    air.nodes["d"].keep_trouble = ["cut"]
    assert set(_stands(_run(air)).values()) == {"kept"}
    assert [sim.given for sim in air.nodes.values()] == [1, 1, 1, 1]


def test_a_node_that_never_says_that_it_took_them() -> None:
    air = Air(["a"])
    air.nodes["a"].trouble = ["lost"] * 3
    run = _run(air)
    assert _stands(run) == {"a": "refused"}
    assert "3 times" in run.standings["a"].reason


@pytest.mark.parametrize("after_s", [0.5, 3.0, 20.0])
def test_killed_between_give_and_keep_then_run_again(after_s: float) -> None:
    """The first run ends without a word at any moment; the second one brings it to its end."""
    air = Air(["a", "b"])

    async def whole() -> Rejoining:
        first = Rejoining({"farm": ["a", "b"]}, {}, air, RejoinOptions(TRIAL_S), Heard())
        killed = asyncio.ensure_future(first.run())
        await jumping.later(after_s)
        killed.cancel()
        await asyncio.gather(killed, return_exceptions=True)
        await jumping.later(10)
        await air.find(["a", "b"])
        second = Rejoining({"farm": ["a", "b"]}, {}, air, RejoinOptions(TRIAL_S), Heard())
        await second.run()
        return second

    run = jumping.run(whole())
    assert set(_stands(run).values()) <= {"kept", "already-there"}
    assert {sim.join.kept for sim in air.nodes.values()} == {NEW_NET}


def test_one_that_is_on_the_new_network_already_is_only_told_to_keep_it() -> None:
    air = Air(["a", "b"])
    air.nodes["a"].join.give(NEW_NET, TRIAL_S, 0.0)
    air.nodes["a"].join.tick(5.0)
    air.nodes["a"].known_at = air.nodes["a"].join.joined
    assert _stands(_run(air)) == {"a": "already-there", "b": "kept"}
    assert (air.nodes["a"].given, air.nodes["a"].kept) == (0, 1)


def test_run_twice_hands_them_over_again_and_ends_as_well() -> None:
    """A node that keeps a network cannot be asked which."""
    air = Air(["a"])
    assert _stands(_run(air)) == {"a": "kept"}
    sim = air.nodes["a"]
    sim.join = Join(kept=NEW_NET, air=air.air)
    sim.known_at = 1
    assert _stands(_run(air)) == {"a": "kept"}
    assert sim.given == 2


# ------------------------------------------------------------------ an access point that cannot have both
def test_change_after_tells_when_and_follows_all_over() -> None:
    air, heard = Air(["a", "b", "c"], both=False), Heard()

    def change() -> None:
        air.air.clear()
        air.air.add(NEW_NET)

    heard.on_change = change
    run = _run(air, heard=heard, change_after=True)
    assert set(_stands(run).values()) == {"kept"}
    assert heard.change == [(["a", "b", "c"], [])]


def test_change_after_names_who_would_be_left_behind() -> None:
    air, heard = Air(["a", "b", "c"], both=False), Heard()
    air.nodes["b"].trouble = ["not-found"]
    run = _run(air, absent={"c": "missing"}, heard=heard, change_after=True)
    assert heard.change == [(["a"], ["b", "c"])]
    assert _stands(run) == {"a": "went-back", "b": "refused", "c": "not-found"}


def test_an_access_point_that_is_never_changed_leaves_all_on_the_old_network() -> None:
    air = Air(["a", "b"], both=False)
    assert _stands(_run(air, change_after=True)) == {"a": "went-back", "b": "went-back"}
    assert {sim.join.kept for sim in air.nodes.values()} == {OLD_NET}


def test_a_new_network_that_never_comes_after_the_old_one_is_gone() -> None:
    """Both are away: the run ends, and the nodes are on the old one as soon as it is there again."""
    air, heard = Air(["a"], both=False), Heard()
    heard.on_change = air.air.clear
    run = _run(air, heard=heard, change_after=True)
    assert _stands(run) == {"a": "not-seen"}
    assert run.standings["a"].back_at_s == pytest.approx(TRIAL_S, abs=5)
    join = air.nodes["a"].join
    air.air.add(OLD_NET)
    join.tick(TRIAL_S + REJOIN_BACK_S + 60)
    assert (join.on, join.phase) == ("kept", "put-back")


# ------------------------------------------------------------------ order and exit
def test_order_is_by_network_and_least_critical_first() -> None:
    inventory = load_inventory(Path(__file__).resolve().parent.parent.parent / "inventory")
    names = [node.name for node in inventory.nodes]
    order = in_order(inventory, names)
    assert sorted(name for found in order.values() for name in found) == sorted(names)
    for network, found in order.items():
        assert {inventory.site_of(inventory.node(name)).network for name in found} == {network}
        duties = [
            {str(inventory.tank(served.tank).duty) for served in inventory.node(name).serves}
            for name in found
        ]
        fire = [number for number, duty in enumerate(duties) if "fire-reserve" in duty]
        rain = [number for number, duty in enumerate(duties) if duty <= {"rain", "irrigation"}]
        assert not (fire and rain) or max(rain) < min(fire)


@pytest.mark.parametrize(
    ("ends", "status"),
    [
        ([RejoinStatus.KEPT, RejoinStatus.ALREADY], Exit.OK),
        ([RejoinStatus.KEPT, RejoinStatus.NOT_SEEN, RejoinStatus.NOT_FOUND], Exit.UNREACHABLE),
        ([RejoinStatus.NOT_FOUND, RejoinStatus.OLD], Exit.PROBLEMS),
        ([RejoinStatus.WENT_BACK], Exit.PROBLEMS),
        ([RejoinStatus.REFUSED], Exit.PROBLEMS),
    ],
)
def test_exit_status(ends: list[RejoinStatus], status: Exit) -> None:
    assert exit_of([NodeRejoin(str(number), stands) for number, stands in enumerate(ends)]) is status
