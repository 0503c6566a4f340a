"""Each check of the gate: what it lets pass, what it stops, and what it says. Bounds are common practice
and our own."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.link.state import NodeState
from fleet.push.blame import too_many_for_chance
from fleet.push.gate import Check, CheckName, Examination, contradictory, examine, failures_allowed, judge
from fleet.push.plan import PlannedNode
from tests.push.plans import MARKS, NEW, OLD, planned, state_of, tank_state

TANK = "tank-a"
PUMP_OFF = {"does": "fill", "relay": "off", "why": "between", "run_s": 0, "starts": 0}


def after(**changes: Any) -> NodeState:
    """The node some seconds after it returned under the new image, well."""
    return state_of(
        "a",
        **{"image": NEW, "phase": "on-trial", "boots": 8, "reset": "restart", "uptime_s": 20.0, **changes},
    )


def look(
    now: NodeState,
    *,
    before: NodeState | None = None,
    returned: NodeState | None = None,
    elapsed_s: float = 30.0,
    soaked: bool = False,
    speed: float = 1.0,
    **plan: Any,
) -> dict[CheckName, Check]:
    sighting = Examination(
        planned=PlannedNode.model_validate(planned("a", **plan)),
        before=before or state_of("a"),
        before_at_s=1000.0,
        returned=returned or after(),
        now=now,
        now_at_s=1000.0 + elapsed_s,
        process_speed=speed,
    )
    return {check.name: check for check in examine(sighting, soaked=soaked)}


def failed(checks: dict[CheckName, Check]) -> set[CheckName]:
    return {name for name, check in checks.items() if not check.ok}


def test_a_node_that_is_well_passes_every_check() -> None:
    checks = look(after(), soaked=True)
    assert failed(checks) == set()
    assert set(checks) >= {CheckName.IMAGE, CheckName.RESETS, CheckName.PUMP, CheckName.LEVEL, CheckName.SOAK}
    assert all(check.evidence for check in checks.values())


def test_another_image() -> None:
    checks = look(after(image=OLD))
    assert failed(checks) == {CheckName.IMAGE}
    assert checks[CheckName.IMAGE].evidence == f"runs {OLD[:12]}, expected {NEW[:12]}"


@pytest.mark.parametrize(
    ("boots", "reset", "ok"),
    [
        (8, "restart", True),
        (8, "power-on", True),
        (9, "restart", False),
        (8, "watchdog", False),
        (8, "crash", False),
    ],
)
def test_resets(boots: int, reset: str, ok: bool) -> None:
    checks = look(after(boots=boots, reset=reset))
    assert (CheckName.RESETS not in failed(checks)) == ok
    assert f"{boots - 7} start" in checks[CheckName.RESETS].evidence


@pytest.mark.parametrize(
    ("boots", "browned", "reset", "ok"),
    [
        (9, 1, "brown-out", True),  # in place: the node started itself again
        (9, 1, "restart", True),  # ESP32: handed over again by the older image, which restarts for it
        (11, 3, "brown-out", True),
        (10, 1, "brown-out", False),  # one start more than its brown-outs
        (9, 0, "power-on", False),
        (9, 1, "crash", False),
        (8, 1, "brown-out", True),  # before its first start was counted
    ],
)
def test_a_brown_out_is_no_reset_loop(boots: int, browned: int, reset: str, ok: bool) -> None:
    before = state_of("a", brown_outs=40)
    checks = look(after(boots=boots, reset=reset, brown_outs=40 + browned), before=before)
    assert (CheckName.RESETS not in failed(checks)) == ok
    if browned:
        assert f"{browned} of them after a brown-out" in checks[CheckName.RESETS].evidence


@pytest.mark.parametrize("fault", ["longest-run", "no-rise"])
def test_an_update_must_not_clear_a_fault_that_only_a_person_clears(fault: str) -> None:
    """docs/node-interface.md 8. Firmware that kept no faults counted no brown-outs either: it is not held to it."""
    was, well = tank_state(TANK, 2, fault=fault), tank_state(TANK, 2)
    before = state_of("a", tanks=[was], brown_outs=0)
    checks = look(after(tanks=[well], brown_outs=0), before=before)
    assert failed(checks) == {CheckName.LATCHED}
    assert checks[CheckName.LATCHED].evidence == f"tank-a: {fault} before, none now"
    assert failed(look(after(tanks=[was], brown_outs=0), before=before)) == set()
    assert failed(look(after(tanks=[well]), before=before)) == {CheckName.LATCHED}
    assert failed(look(after(tanks=[well], brown_outs=0), before=state_of("a", tanks=[was]))) == set()


@pytest.mark.parametrize("fault", ["contradictory", "flapping"])
def test_a_fault_that_passes_may_pass_during_an_update(fault: str) -> None:
    before = state_of("a", tanks=[tank_state(TANK, 2, fault=fault)], brown_outs=0)
    assert failed(look(after(brown_outs=0), before=before)) == set()


def marked(*states: str, **changes: Any) -> dict[str, Any]:
    """A tank with these states of its marks, from the lowest up."""
    marks = [{"name": n, "height_mm": mm, "state": s} for (n, mm), s in zip(MARKS, states, strict=True)]
    return {**tank_state(TANK, 2), "marks": marks, "level": None, **changes}


def test_inverted_probes_contradict_one_another() -> None:
    """Two of three marks wet reads, inverted, as the upper one wet and the lower two dry."""
    checks = look(after(tanks=[marked("dry", "dry", "wet", fault="contradictory")]))
    assert failed(checks) == {CheckName.MARKS, CheckName.FAULTS}
    assert checks[CheckName.MARKS].evidence == "tank-a: full wet half dry low dry"


def test_marks_that_contradicted_one_another_before_are_not_the_new_images_fault() -> None:
    broken = marked("dry", "wet", "dry", fault="contradictory")
    checks = look(after(tanks=[broken]), before=state_of("a", tanks=[broken]))
    assert failed(checks) == set()


def test_marks_may_settle_for_a_while_but_not_for_ever() -> None:
    settling = marked("wet", "settling", "dry")
    assert failed(look(after(tanks=[settling], uptime_s=5.0))) == set()
    assert failed(look(after(tanks=[settling], uptime_s=5.0), soaked=True)) == set()
    assert CheckName.MARKS in failed(look(after(tanks=[settling], uptime_s=60.0), soaked=True))


@pytest.mark.parametrize(
    ("wet", "relay", "why", "fault", "told"),
    [
        (3, "on", "between", "none", "pump relay on although full is wet"),
        (2, "on", "above-high", "none", "pump relay on although above-high"),
        (2, "on", "between", "no-rise", "pump relay on despite the fault no-rise"),
        (2, "on", "power-up-hold", "none", "pump relay on although power-up-hold"),
        (2, "on", "updating", "none", "pump relay on although updating"),
        (0, "off", "below-low", "none", "pump relay off although below-low"),
    ],
)
def test_unsafe_pumps(wet: int, relay: str, why: str, fault: str, told: str) -> None:
    tank = tank_state(TANK, wet, fault=fault, pump={**PUMP_OFF, "relay": relay, "why": why})
    checks = look(after(tanks=[tank]), before=state_of("a", tanks=[tank_state(TANK, wet)]))
    assert CheckName.PUMP in failed(checks)
    assert told in checks[CheckName.PUMP].evidence


@pytest.mark.parametrize(
    ("wet", "relay", "why"),
    [
        (0, "on", "below-low"),
        (1, "on", "between"),
        (2, "off", "between"),
        (3, "off", "above-high"),
        (0, "off", "power-up-hold"),
        (0, "off", "shortest-off"),
        (0, "off", "resting"),
    ],
)
def test_safe_pumps(wet: int, relay: str, why: str) -> None:
    tank = tank_state(TANK, wet, pump={**PUMP_OFF, "relay": relay, "why": why, "starts": 1})
    assert failed(look(after(tanks=[tank]), before=state_of("a", tanks=[tank_state(TANK, wet)]))) == set()


def test_a_draining_pump_that_runs_on_below_its_low_mark() -> None:
    bounds = {
        "tank": TANK,
        "volumes_l": (200.0, 1000.0, 1800.0),
        "inflow_l_per_min": 10.0,
        "draw_l_per_min": 0.0,
        "pump_does": "drain",
        "pump_l_per_min": 100.0,
        "pump_on_mark": 2,
        "pump_off_mark": 0,
    }
    pump = {"does": "drain", "relay": "on", "why": "between", "run_s": 50, "starts": 1}
    dry, between = tank_state(TANK, 0, pump=pump), tank_state(TANK, 1, pump=pump)
    sump = {"tanks": [bounds]}
    assert failed(look(after(tanks=[between]), before=state_of("a", tanks=[between]), **sump)) == set()
    checks = look(after(tanks=[dry]), before=state_of("a", tanks=[dry]), **sump)
    assert checks[CheckName.PUMP].evidence == "tank-a: pump relay on although low is dry"


def test_a_pump_that_is_no_longer_reported() -> None:
    checks = look(after(tanks=[tank_state(TANK, 2, pump=None)]))
    assert CheckName.PUMP in failed(checks)


def test_only_new_faults_count() -> None:
    old = tank_state(TANK, 2, fault="longest-run")
    assert failed(look(after(tanks=[old]), before=state_of("a", tanks=[old]))) == set()
    assert failed(look(after(tanks=[old]))) == {CheckName.FAULTS}
    assert failed(look(after(faults=["bad-block"]))) == {CheckName.FAULTS}
    assert failed(look(after(tanks=[]))) == {CheckName.FAULTS}


def level_after(was: int, is_: int, elapsed_s: float, **more: Any) -> Check:
    starts = more.pop("starts", 1)
    tank = tank_state(TANK, is_)
    tank["pump"]["starts"] = starts
    return look(
        after(tanks=[tank]), before=state_of("a", tanks=[tank_state(TANK, was)]), elapsed_s=elapsed_s, **more
    )[CheckName.LEVEL]


def test_a_level_that_falls_faster_than_the_draw() -> None:
    """From above full to below half: at least 800 L, at 30 L/min; in a minute at most 52 L with slack and
    factor."""
    check = level_after(3, 1, 60.0)
    assert not check.ok
    assert "it fell by at least 800 L, at most 52 L could flow" in check.evidence
    assert level_after(3, 1, 20 * 60.0).ok


def test_a_level_that_rises_faster_than_the_pump() -> None:
    """From below low to above half: at least 800 L, at 60 L/min."""
    assert not level_after(0, 2, 60.0).ok
    assert level_after(0, 2, 10 * 60.0).ok


def test_the_next_mark_may_be_right_above_the_water() -> None:
    assert level_after(2, 3, 1.0).ok
    assert level_after(2, 1, 1.0).ok


def test_a_pump_that_is_said_to_be_off_cannot_fill() -> None:
    """A relay that sticks: the node says off, no start since it restarted, and the water rises all the
    same."""
    check = level_after(1, 2, 60.0, starts=0)
    assert not check.ok
    assert "its pump is reported off and nothing else can" in check.evidence


def test_water_on_the_bench_runs_faster() -> None:
    assert not level_after(3, 1, 60.0, speed=1.0).ok
    assert level_after(3, 1, 60.0, speed=20.0).ok


def test_memory_and_signal() -> None:
    assert failed(look(after(free_bytes=30_000))) == set()
    checks = look(after(free_bytes=29_999))
    assert failed(checks) == {CheckName.RESOURCES}
    assert checks[CheckName.RESOURCES].evidence == "29999 bytes free, 40000 before"
    assert failed(look(after(rssi_dbm=-72))) == set()
    assert failed(look(after(rssi_dbm=-73))) == {CheckName.RESOURCES}
    assert failed(look(after(rssi_dbm=None))) == set()


def test_memory_in_shreds() -> None:
    """60 % of the largest block before, and when it returned."""
    before = state_of("a", largest_block=20_000)
    assert failed(look(after(largest_block=12_000), before=before)) == set()
    checks = look(after(largest_block=11_999), before=before)
    assert failed(checks) == {CheckName.RESOURCES}
    assert checks[CheckName.RESOURCES].evidence == "11999 bytes in one piece, 20000 before"
    checks = look(after(largest_block=11_999), returned=after(largest_block=20_000))
    assert checks[CheckName.RESOURCES].evidence == "11999 bytes in one piece, 20000 when it returned"
    assert failed(look(after(largest_block=1))) == set()  # the firmware before did not say
    assert failed(look(after(), before=before)) == set()


def test_an_image_with_which_no_ticket_could_be_checked_any_more() -> None:
    """6,264 bytes in one piece on boards that copy in place (docs/board-esp8266.md)."""
    checks = look(after(largest_block=6_263), in_place=True)
    assert failed(checks) == {CheckName.RESOURCES}
    assert "6263 bytes of contiguous memory, 6264 needed" in checks[CheckName.RESOURCES].evidence
    assert failed(look(after(largest_block=6_264), in_place=True)) == set()


def test_a_leak_shows_against_the_return_too() -> None:
    checks = look(after(free_bytes=50_000), returned=after(free_bytes=80_000))
    assert checks[CheckName.RESOURCES].evidence == "50000 bytes free, 80000 when it returned"


def test_the_soak_repeats_what_failed() -> None:
    checks = look(after(free_bytes=1), soaked=True)
    assert failed(checks) == {CheckName.RESOURCES, CheckName.SOAK}


@given(st.lists(st.sampled_from(["wet", "dry", "settling"]), min_size=1, max_size=4))
def test_contradictory_is_a_wet_mark_over_a_dry_one(states: list[str]) -> None:
    tank = state_of("a").tanks[0]
    marks = tuple(tank.marks[0].model_copy(update={"state": s}) for s in states)
    by_hand = any(
        states[low] == "dry" and states[high] == "wet" for high in range(len(states)) for low in range(high)
    )
    assert contradictory(tank.model_copy(update={"marks": marks})) == by_hand


LEVELS = st.integers(0, 3)


@given(was=LEVELS, is_=LEVELS, elapsed_s=st.floats(0, 1e6), more_s=st.floats(0, 1e6))
def test_more_time_never_makes_a_level_less_possible(
    was: int, is_: int, elapsed_s: float, more_s: float
) -> None:
    if level_after(was, is_, elapsed_s).ok:
        assert level_after(was, is_, elapsed_s + more_s).ok


@given(
    st.builds(
        tank_state,
        st.just(TANK),
        LEVELS,
        fault=st.sampled_from(["none", "contradictory", "longest-run", "no-rise"]),
        pump=st.builds(
            lambda relay, why: {**PUMP_OFF, "relay": relay, "why": why},
            st.sampled_from(["on", "off"]),
            st.sampled_from(["below-low", "above-high", "between", "fault", "resting", "unknown-level"]),
        ),
    )
)
def test_no_state_with_a_relay_on_at_a_full_tank_passes(tank: dict[str, Any]) -> None:
    checks = look(after(tanks=[tank]), before=state_of("a", tanks=[tank_state(TANK, tank["level"])]))
    overflows = tank["pump"]["relay"] == "on" and tank["level"] == 3
    assert not (overflows and CheckName.PUMP not in failed(checks))
    if tank["fault"] != "none":
        assert CheckName.FAULTS in failed(checks)


@pytest.mark.parametrize(
    ("share", "size", "allowed"),
    [(0.0, 50, 0), (0.1, 9, 0), (0.1, 10, 1), (0.34, 3, 1), (0.5, 2, 1), (1.0, 4, 4)],
)
def test_allowance(share: float, size: int, allowed: int) -> None:
    assert failures_allowed(share, size) == allowed


def test_verdict_says_what_it_rests_on() -> None:
    good = judge(1, failed=(), of=20, share_allowed=0.0, all_failed=0, all_judged=20)
    assert good.passed
    assert good.bound == pytest.approx(0.1391, abs=1e-4)
    assert good.text == "0 of 20 failed, 0 of 20 so far (95% sure: at most 14% fail)"
    bad = judge(2, failed=("a",), of=9, share_allowed=0.1, all_failed=1, all_judged=29)
    assert not bad.passed
    assert bad.text == "1 of 9 failed, 0 allowed"


def test_verdict_with_nodes_whose_supply_gave_way() -> None:
    """Three of the five can tell of the image: 1 - 0.05^(1/3) = 63.2 % (the exact bound for no failure of 3)."""
    good = judge(1, failed=(), of=3, share_allowed=0.0, all_failed=0, all_judged=3, supply=("a", "b"))
    assert good.passed
    assert good.bound == pytest.approx(0.6316, abs=1e-4)
    assert good.text == (
        "0 of 3 failed, 0 of 3 so far (95% sure: at most 64% fail); 2 nodes more failed by brown-outs, which says "
        "nothing of the image"
    )
    bad = judge(
        1,
        failed=(),
        of=2,
        share_allowed=0.0,
        all_failed=0,
        all_judged=2,
        supply=("a", "b", "c"),
        too_much=True,
    )
    assert not bad.passed
    assert bad.text.endswith(
        "3 nodes more failed by brown-outs, too many for chance: the image draws too much"
    )


@pytest.mark.parametrize(
    ("failed_", "of", "too_many"),
    [
        (0, 1, False),
        (1, 1, False),
        (1, 2, False),
        (2, 2, True),
        (2, 3, True),
        (2, 4, False),
        (3, 5, True),
        (9, 50, False),
    ],
)
def test_brown_outs_of_more_than_half_and_at_least_two_blame_the_image(
    failed_: int, of: int, too_many: bool
) -> None:
    assert too_many_for_chance(failed_, of) == too_many
