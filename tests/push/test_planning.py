"""Making a plan from an inventory, a shelf and what was found: who goes, who stays out, and why."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pytest

from fleet.boards.board import Outage, load_board
from fleet.build.entry import ShelfEntry
from fleet.errors import PlanError
from fleet.find.match import Match, Status
from fleet.link.state import NodeState
from fleet.model.inventory import Inventory
from fleet.push import planning
from fleet.push.context import found_of
from fleet.push.outage import outage_of, times
from fleet.push.plan import Plan, read_plan, write_plan
from fleet.push.planning import Found, PlanRequest, inventory_sha256, make_plan, with_stand_ins
from tests.push.plans import NEW, OLD, image_of, state_of, tank_state

CLASS = "00000000-0000-4000-8000-000000000001"
QUICK = Outage(1e6, 0.0, 0.0, 5.0, 1, 1, "test")
LATE_S = 78.5
"""Until the probes are believed and the pump has rested and run up, by hand (tests/water/test_spare.py)."""
NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
"""A Monday."""


def tank(name: str, site: str = "hill", **changes: Any) -> dict[str, Any]:
    """2 m wide, 2 m high: 3,142 L for each metre."""
    return {
        "name": name,
        "site": site,
        "duty": "irrigation",
        "shape": {"kind": "vertical-cylinder", "diameter": "2 m", "height": "2 m"},
        "marks": [
            {"name": "low", "height": "200 mm"},
            {"name": "half", "height": "1 m"},
            {"name": "full", "height": "1800 mm"},
        ],
        "largest_draw": "30 L/min",
        "pump": {"name": f"pump-{name}", "does": "fill", "flow": "60 L/min"},
        **changes,
    }


def node(name: str, *tanks: str, **changes: Any) -> dict[str, Any]:
    pins = iter(["IO32", "IO33", "IO25", "IO26", "IO27", "IO4", "IO18", "IO19"])
    serves = [
        {
            "tank": t,
            "probes": {mark: next(pins) for mark in ("low", "half", "full")},
            "pump_relay": {"pin": next(pins)},
        }
        for t in (tanks or (f"tank-{name}",))
    ]
    return {"name": name, "board": "esp32-devkit", "serves": serves, **changes}


def inventory(tanks: list[dict[str, Any]], nodes: list[dict[str, Any]], **policy: Any) -> Inventory:
    window = {"rule": "FREQ=DAILY", "first": datetime(2026, 1, 1, 22, 0), "length": "5 h"}
    return Inventory.model_validate(
        {
            "fleet": {"name": "sample", "domain": "water.example"},
            "policy": {"soak": "60 s", "trial": "180 s", **policy},
            "sites": [
                {"name": "hill", "time_zone": "Europe/London", "network": "n"},
                {"name": "yard", "time_zone": "Europe/London", "network": "n", "windows": [window]},
            ],
            "tanks": tanks,
            "nodes": nodes,
        }
    )


def entry(name: str, **changes: Any) -> ShelfEntry:
    made = ShelfEntry(
        node=name,
        image=NEW,
        ticket="7" * 64,
        sequence=100,
        release="1.1.0",
        board="esp32-devkit",
        class_id=CLASS,
        class_name="esp32-devkit/base/two-slot/board",
        target="board",
        payload_format="esp32-bin",
        size_bytes=400_000,
        built_at="2026-03-01T00:00:00Z",
        defect="",
        block_crc="0badcafe",
    )
    return replace(made, **changes)


def plan(fleet: Inventory, states: dict[str, NodeState | None] | None = None, **changes: Any) -> Plan:
    names = [n.name for n in fleet.nodes]
    states = {name: state_of(name) for name in names} | (states or {})
    found = {name: Found(state=state, detail="never found before") for name, state in states.items()}
    request = PlanRequest(
        inventory=fleet,
        nodes=names,
        shelf={name: entry(name) for name in names},
        found=found,
        outages={"esp32-devkit": QUICK},
        target="board",
        now=NOON,
    )
    return make_plan(replace(request, **changes))


def out(made: Plan) -> dict[str, str]:
    return {o.node: o.reason for o in made.left_out}


A = inventory([tank("tank-a")], [node("a")])


def test_the_weakness_of_boards_that_copy_in_place_is_part_of_the_plan() -> None:
    """400,000 bytes are 98 sectors; QUICK's figures a sector."""
    assert plan(A).copy_risks == ()
    (risk,) = plan(A, in_place=frozenset({"esp32-devkit"})).copy_risks
    assert (risk.board, risk.nodes) == ("esp32-devkit", ("a",))
    assert risk.copy_s == pytest.approx(98 * (QUICK.erase_s_per_sector + QUICK.program_s_per_sector), abs=0.1)


def test_one_node_that_can_go() -> None:
    made = plan(A)
    (wave,) = made.waves
    (planned,) = wave.nodes
    assert made.left_out == ()
    assert (planned.from_image, planned.to_image, planned.ticket_sha256) == (OLD, NEW, "7" * 64)
    assert planned.why.startswith("first of")
    assert planned.tanks[0].volumes_l == pytest.approx((628.3, 3141.6, 5654.9), abs=0.1)
    assert (planned.tanks[0].pump_on_mark, planned.tanks[0].pump_off_mark) == (0, 2)
    assert made.inventory_sha256 == inventory_sha256(A)
    assert made.pilot is not None
    assert made.pilot.chance_found == 1.0
    assert read_plan(write_plan(made)) == made


def test_spare_time_now_and_needed() -> None:
    """From half (1 m) down to empty at 30 L/min: 3,141.6 L take 6,283 s. Needed: twice the worst outage, which begins
    45 s before the first byte (15 s for an answer, 30 s to begin)."""
    planned = plan(A).planned("a")
    assert planned.spare_s == pytest.approx(6283.2 - LATE_S, abs=0.1)
    worst_s = 45.0 + QUICK.send_s(400_000) + 5.0 + 180.0 + 5.0
    assert planned.spare_needed_s == pytest.approx(2 * worst_s, abs=0.1)


def test_too_little_water_is_held_off() -> None:
    low = state_of("a", tanks=[tank_state("tank-a", 0)])
    made = plan(A, {"a": low})
    assert out(made) == {"a": "spare-time-too-short"}
    assert "needed 9 min 30 s: held off" in made.left_out[0].detail
    settling = tank_state("tank-a", 2)
    settling["marks"][0]["state"] = "settling"
    assert out(plan(A, {"a": state_of("a", tanks=[settling])})) == {"a": "spare-time-too-short"}


def test_a_supply_that_gave_way_needs_time_for_every_trial_that_the_node_bears() -> None:
    """As many starts as its board's node allows, a trial of 180 s and a restart of 5 s each (test_weak_trials.py)."""
    once_s = 45.0 + QUICK.send_s(400_000) + 5.0 + 180.0 + 5.0
    weak_s = once_s + 3 * (180.0 + 2 * 5.0)
    outages = {"esp32-devkit": replace(QUICK, weak_trials=4, starts_a_try=2)}
    for count, needed_s in ((0, once_s), (1, weak_s)):
        planned = plan(A, {"a": state_of("a", brown_outs=count)}, outages=outages).planned("a")
        assert planned.spare_needed_s == pytest.approx(2 * needed_s, abs=0.1)
        assert planned.spare_needed_weak_s == pytest.approx(2 * weak_s, abs=0.1)
    low = [tank_state("tank-a", 1)]
    weak = plan(A, {"a": state_of("a", tanks=low, brown_outs=3)}, outages=outages)
    assert out(weak) == {"a": "spare-time-too-short"}
    assert "4 whole trials" in weak.left_out[0].detail
    assert "clear-fault a --brown-outs" in weak.left_out[0].detail
    assert out(plan(A, {"a": state_of("a", tanks=low, brown_outs=0)}, outages=outages)) == {}


def test_on_the_bench_water_runs_faster() -> None:
    assert plan(A, process_speed=10.0).planned("a").spare_s == pytest.approx((6283.2 - LATE_S) / 10, abs=0.1)
    assert out(plan(A, process_speed=20.0)) == {"a": "spare-time-too-short"}


@pytest.mark.parametrize(
    ("reason", "state", "changes"),
    [
        ("missing", None, {}),
        ("no-image", state_of("a"), {"shelf": {}}),
        ("already-runs-it", state_of("a", image=NEW), {}),
        ("on-trial", state_of("a", image=NEW, phase="on-trial", trial_left_s=60), {}),
        ("other-class", state_of("a", **{"class": "00000000-0000-4000-8000-00000000000f"}), {}),
        ("was-put-back", state_of("a", phase="put-back", last_image=NEW, last_reason="trial-over"), {}),
        ("given-up", state_of("a"), {"given_up": {NEW: "0123456789ab"}}),
        ("ticket-too-old", state_of("a", floor=100), {}),
        ("damaged-image", state_of("a"), {"damaged": frozenset("a")}),
    ],
)
def test_left_out(reason: str, state: NodeState | None, changes: dict[str, Any]) -> None:
    made = plan(A, {"a": state}, **changes)
    assert out(made) == {"a": reason}
    assert made.waves == ()
    assert made.pilot is None
    assert made.left_out[0].detail


def test_an_image_for_the_other_target_alone_is_named() -> None:
    """Whoever built for the bench, and plans as for boards, is not sent to build again."""
    made = plan(A, shelf={}, elsewhere={"a": entry("a", target="host")})
    assert out(made) == {"a": "no-image"}
    assert "but for the target host: set TANKFLEET_TARGET=host" in made.left_out[0].detail


@pytest.mark.parametrize("fault", ["longest-run", "no-rise"])
def test_a_fault_that_stays_keeps_the_node_out_until_it_is_named(fault: str) -> None:
    latched = state_of("a", tanks=[tank_state("tank-a", 2, fault=fault)])
    made = plan(A, {"a": latched})
    assert out(made) == {"a": "latched-fault"}
    detail = made.left_out[0].detail
    assert f"tank tank-a has the fault {fault}" in detail
    assert "`tankfleet clear-fault a`" in detail
    along = plan(A, {"a": latched}, despite_fault=frozenset({"a"}))
    assert out(along) == {}
    assert along.planned("a").despite_fault
    (notice,) = along.notices
    assert (notice.node, notice.about, notice.count) == ("a", "taken-along", 1)
    assert not plan(A).planned("a").despite_fault


@pytest.mark.parametrize("fault", ["bad-block", "no-record", "flash-failed"])
def test_a_fault_of_the_node_keeps_it_out_until_it_is_named(fault: str) -> None:
    ill = state_of("a", faults=[fault])
    assert out(plan(A, {"a": ill})) == {"a": "node-fault"}
    assert out(plan(A, {"a": ill}, despite_fault=frozenset({"a"}))) == {}


def test_what_a_plan_says_of_nodes_that_go() -> None:
    assert plan(A, {"a": state_of("a", brown_outs=0)}).notices == ()
    (notice,) = plan(A, {"a": state_of("a", brown_outs=5)}).notices
    assert (notice.about, notice.count) == ("brown-outs", 5)
    for word in ("5 times", "supply", "470 uF", "cable", "transmit power"):
        assert word in notice.text
    (notice,) = plan(A, {"a": state_of("a", faults=["no-run-record"])}).notices
    assert notice.about == "no-run-record"
    for fault in ("contradictory", "flapping"):
        (notice,) = plan(A, {"a": state_of("a", tanks=[tank_state("tank-a", 2, fault=fault)])}).notices
        assert (notice.about, notice.count) == ("passing-fault", 1)


def test_a_flapping_mark_tells_no_level() -> None:
    """As one that settles: the worst possible level counts, and that is too little."""
    flapping = tank_state("tank-a", 2)
    flapping["marks"][2]["state"] = "flapping"
    assert out(plan(A, {"a": state_of("a", tanks=[flapping])})) == {"a": "spare-time-too-short"}


def test_a_board_that_could_not_check_a_ticket_is_restarted_first() -> None:
    """6,264 bytes in one piece, for the second stack of the ESP8266's core 3.1.2; only boards that copy in place."""
    poor = state_of("a", largest_block=6_263)
    in_place = frozenset({"esp32-devkit"})
    made = plan(A, {"a": poor}, in_place=in_place)
    assert out(made) == {"a": "no-memory"}
    assert "restart it first, when its tanks can do without it for 5 s" in made.left_out[0].detail
    assert out(plan(A, {"a": state_of("a", largest_block=6_264)}, in_place=in_place)) == {}
    assert out(plan(A, {"a": state_of("a")}, in_place=in_place)) == {}
    assert out(plan(A, {"a": poor})) == {}


def test_a_node_that_came_back_after_brown_outs_needs_another_supply() -> None:
    back = state_of("a", phase="put-back", last_image=NEW, last_reason="brown-out", brown_outs=4)
    assert out(plan(A, {"a": back})) == {"a": "weak-supply"}
    again = plan(A, {"a": back}, again=True)
    assert out(again) == {}
    assert [n.about for n in again.notices] == ["brown-outs"]


def test_again_plans_what_was_given_up() -> None:
    back = state_of("a", phase="put-back", last_image=NEW, last_reason="trial-over")
    assert out(plan(A, {"a": back}, given_up={NEW: "0123456789ab"}, again=True)) == {}


def test_put_back_from_another_image_is_no_reason() -> None:
    back = state_of("a", phase="put-back", last_image=image_of("older"), last_reason="trial-over")
    assert out(plan(A, {"a": back})) == {}


def test_windows() -> None:
    fleet = inventory([tank("tank-a", "yard")], [node("a")])
    made = plan(fleet)
    assert out(made) == {"a": "outside-window"}
    assert made.left_out[0].detail == "yard: opens 2026-03-02T22:00+00:00"
    assert out(plan(fleet, now=datetime(2026, 3, 2, 23, 0, tzinfo=UTC))) == {}
    assert out(plan(fleet, any_hour=True)) == {}
    assert plan(fleet, any_hour=True).any_hour


def test_stand_ins_are_in_different_waves_and_both_have_to_be_there() -> None:
    fleet = inventory(
        [tank("tank-a", supply_group="house"), tank("tank-b", supply_group="house")], [node("a"), node("b")]
    )
    made = plan(fleet)
    assert [[n.node for n in wave.nodes] for wave in made.waves] == [["a"], ["b"]]
    assert out(plan(fleet, {"b": None})) == {"a": "stand-in-down", "b": "missing"}
    trial = state_of("b", phase="on-trial", image=image_of("x"), trial_left_s=9)
    assert out(plan(fleet, {"b": trial})) == {"a": "stand-in-down", "b": "on-trial"}
    assert with_stand_ins(fleet, ["a"]) == ["a", "b"]


def test_the_first_stand_in_of_the_inventory_that_is_down_is_named_whatever_its_group() -> None:
    tanks = [tank("tank-a", supply_group="yard"), tank("tank-b", supply_group="yard")]
    tanks += [tank("tank-c", supply_group="house"), tank("tank-d", supply_group="house")]
    tanks += [tank("tank-e")]
    nodes = [node("c"), node("b"), node("ad", "tank-a", "tank-d"), node("e")]
    told = {one.node: one.detail for one in plan(inventory(tanks, nodes), {"c": None, "b": None}).left_out}
    assert told["ad"].startswith("c, which stands in for it (house)")
    assert set(told) == {"c", "b", "ad"}


def test_supply_groups_are_looked_up_in_proportion_to_the_nodes(monkeypatch) -> None:
    looked_up = 0
    look_up = planning.supply_groups

    def counting(fleet: Inventory, one: Any) -> frozenset[str]:
        nonlocal looked_up
        looked_up += 1
        return look_up(fleet, one)

    monkeypatch.setattr(planning, "supply_groups", counting)
    per_node = []
    for count in (20, 80):
        names, looked_up = [f"n{number}" for number in range(count)], 0
        tanks = [tank(f"tank-{name}", supply_group=f"g{i // 2}") for i, name in enumerate(names)]
        plan(inventory(tanks, [node(name) for name in names]))
        per_node.append(looked_up / count)
    assert per_node[1] <= per_node[0] * 1.1


def test_a_node_of_two_tanks_is_as_critical_as_the_worse_and_as_spare_as_the_emptier() -> None:
    fleet = inventory(
        [tank("tank-a"), tank("tank-fire", duty="fire-reserve", largest_draw="300 L/min"), tank("tank-b")],
        [node("a", "tank-a", "tank-fire"), node("b")],
    )
    states = {"a": state_of("a", tanks=[tank_state("tank-a", 2), tank_state("tank-fire", 3)])}
    made = plan(fleet, states, nodes=["a", "b"])
    assert [n.node for _, n in made.nodes()] == ["b", "a"]
    assert made.planned("a").spare_s == pytest.approx(5654.9 / 300 * 60 - LATE_S, abs=0.1)


def test_a_soak_that_does_not_fit_into_the_trial_is_refused() -> None:
    with pytest.raises(PlanError, match="PLN103"):
        plan(A, soak_s=170.0)
    assert plan(A, soak_s=165.0).policy.soak_s == 165.0
    assert plan(A).policy.soak_s == 60.0


def test_waves_fit_into_the_trial() -> None:
    """With 8 s for each turn of one transfer at a time, a trial of 95 s leaves (95 - 60 - 15) s: 3 turns."""
    count = 9
    fleet = inventory(
        [tank(f"tank-{i}") for i in range(count)],
        [node(f"{i}", f"tank-{i}") for i in range(count)],
        trial="95 s",
        at_once=1,
        first_wave=9,
    )
    states = {f"{i}": state_of(f"{i}", tanks=[tank_state(f"tank-{i}", 2)]) for i in range(count)}
    slow = replace(QUICK, restart_s=31.6)
    made = plan(fleet, states, outages={"esp32-devkit": slow})
    assert [len(wave.nodes) for wave in made.waves] == [3, 3, 3]


def test_detection_of_the_pilot() -> None:
    """Facts of the hypergeometric distribution: 20 nodes, 2 bad, 4 tried: 0.368421; 16 are needed for 95
    %."""
    fleet = inventory(
        [tank(f"tank-{i:02}", ["hill", "yard"][i % 2]) for i in range(20)],
        [node(f"n{i:02}", f"tank-{i:02}") for i in range(20)],
        first_wave=4,
    )
    states = {f"n{i:02}": state_of(f"n{i:02}", tanks=[tank_state(f"tank-{i:02}", 3)]) for i in range(20)}
    made = plan(fleet, states, any_hour=True)
    assert made.pilot is not None
    assert (made.pilot.nodes, made.pilot.of, made.pilot.bad, made.pilot.nodes_needed) == (4, 20, 2, 16)
    assert made.pilot.chance_found == 0.3684
    later = 1 - (6 * 5) / (20 * 19)
    """After 14 nodes (at most half of each site of 10 in one wave): 6 are left for the 2 bad ones."""
    assert [wave.chance_found for wave in made.waves] == [0.3684, round(later, 4), 1.0]
    assert [wave.pilot for wave in made.waves] == [True, False, False]


def test_the_same_world_gives_the_same_plan() -> None:
    assert plan(A).id == plan(A).id
    assert plan(A).id != plan(A, any_hour=True).id


@pytest.mark.parametrize("board", ["d1-mini", "esp32-devkit", "esp32-c3-devkit"])
def test_times_of_real_boards_hold_together(board: str) -> None:
    took = times(outage_of(load_board(board), "board"), 400_000, 300.0)
    assert took.worst_s > 300.0 + took.send_s
    assert took.return_within_s >= 20.0
    assert 0 < took.expected_s < took.send_s + took.return_within_s
    host = times(outage_of(load_board(board), "host"), 400_000, 300.0)
    assert host.worst_s < took.worst_s


# -------------------------------------------------------------------- access points
BARN, HOUSE, STRANGE = "02:11:22:33:44:51", "02:11:22:33:44:62", "02:11:22:33:44:99"


def joined(name: str, bssid: str | None) -> NodeState:
    """A node that says which access point it is joined to."""
    network = {"phase": "kept", "on": "kept", "trial_left_s": 0, "bssid": bssid, "channel": 6}
    return state_of(name, network=network)


def listed(*nodes: dict[str, Any], **policy: Any) -> Inventory:
    """A site with two access points, one of them with two radios; each node has a tank of its own."""
    fleet = inventory([tank(f"tank-{n['name']}") for n in nodes], list(nodes), **policy)
    points = {"barn": (BARN,), "house": ("02:11:22:33:44:61", HOUSE)}
    hill, *others = fleet.sites
    changed = hill.model_copy(update={"access_points": points})
    return fleet.model_copy(update={"sites": (changed, *others)})


@pytest.mark.parametrize(
    ("named", "bssid", "counts_as", "says"),
    [
        ("barn", HOUSE, "house", "state"),
        ("barn", BARN, "barn", "state"),
        (None, HOUSE, "house", "state"),
        ("barn", STRANGE, STRANGE, "state"),
        ("barn", None, "barn", "inventory"),
        (None, None, None, None),
    ],
)
def test_a_plan_names_the_access_point_that_is_really_used(
    named: str | None, bssid: str | None, counts_as: str | None, says: str | None
) -> None:
    made = plan(listed(node("a", access_point=named)), {"a": joined("a", bssid)})
    planned = made.planned("a")
    assert (planned.access_point, planned.access_point_from) == (counts_as, says)
    assert made.access_points == {BARN: "barn", "02:11:22:33:44:61": "house", HOUSE: "house"}
    assert read_plan(write_plan(made)) == made


def test_firmware_of_before_counts_as_the_inventory_says() -> None:
    planned = plan(listed(node("a", access_point="barn"))).planned("a")
    assert (planned.access_point, planned.access_point_from) == ("barn", "inventory")


def test_time_is_counted_by_the_access_points_that_are_used() -> None:
    """Two transfers at a time go through one: three nodes on the barn's take two turns; on two of them, one turn."""
    names = "abcdef"
    fleet = listed(
        *(node(name, access_point="barn" if name in "ace" else "house") for name in names), first_wave=3
    )
    spread = {name: joined(name, BARN if name in "ace" else HOUSE) for name in names}
    crowded = {name: joined(name, BARN) for name in names}
    one_turn, two_turns = (plan(fleet, states).waves[0] for states in (spread, crowded))
    assert len(one_turn.nodes) == len(two_turns.nodes) == 3
    took_s = one_turn.nodes[0].expected_s
    assert one_turn.expected_s == pytest.approx(took_s + 60.0, abs=0.2)
    assert two_turns.expected_s == pytest.approx(2 * took_s + 60.0, abs=0.2)


def test_a_crowded_node_is_left_out_as_crowded() -> None:
    told = "announced at 10.0.0.1:80, but all connections there are in use"
    found = found_of([Match("a", Status.CROWDED, "10.0.0.1", 80, evidence=(told,))])
    assert (found["a"].state, found["a"].absence, found["a"].detail) == (None, "crowded", told)


def test_an_image_of_an_older_inventory_stays_out() -> None:
    """Also where the node runs it already: the remedy is to build. A trial is told of first, for it ends by itself."""
    two = inventory([tank("tank-a"), tank("tank-b")], [node("a"), node("b")])
    made = plan(two, older={"a": "its pin differs"})
    (left,) = made.left_out
    assert (left.node, left.reason) == ("a", "older-inventory")
    assert (
        left.detail == "its pin differs: run `tankfleet build`, then plan again; --as-built plans it as it is"
    )
    assert [one.node for _, one in made.nodes()] == ["b"]
    assert out(plan(A, {"a": state_of("a", image=NEW)}, older={"a": "x"})) == {"a": "older-inventory"}
    assert out(plan(A, {"a": None}, older={"a": "x"})) == {"a": "missing"}


def test_as_built_plans_it_and_says_so() -> None:
    two = inventory([tank("tank-a"), tank("tank-b")], [node("a"), node("b")])
    made = plan(two, older={"a": "its pin differs"}, as_built=True)
    assert made.left_out == ()
    assert {one.node: one.as_built for _, one in made.nodes()} == {"a": True, "b": False}
    (notice,) = made.notices
    assert (notice.node, notice.about) == ("a", "as-built")
    assert notice.text == "planned as you asked (--as-built), although its pin differs"
    again = plan(A, {"a": state_of("a", image=NEW)}, older={"a": "x"}, as_built=True)
    assert out(again) == {"a": "already-runs-it"}, "the other reasons stand"
