"""Packing into waves: order, sizes, supply groups, sites; for any fleet."""

from __future__ import annotations

from collections import Counter
from math import ceil, floor

from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.model.tank import Duty
from fleet.push.waves import CRITICALITY, Candidate, Sizes, pack


def one(node: str, duty: Duty = Duty.IRRIGATION, **more: object) -> Candidate:
    facts = {"site": "hill", "board": "esp32", "class_id": "c1", **more}
    return Candidate(node=node, duty=duty, **facts)  # type: ignore[arg-type]


def names(candidates: list[Candidate], sizes: Sizes) -> list[list[str]]:
    waves, _ = pack(candidates, sizes)
    return [[placed.candidate.node for placed in wave] for wave in waves]


def test_least_critical_first() -> None:
    fleet = [one(duty.value, duty, site=duty.value) for duty in Duty]
    waves = names(fleet, Sizes(1, 1.0, 50, 50))
    assert waves == [
        ["rain"],
        ["irrigation"],
        ["process"],
        ["sump"],
        ["livestock"],
        ["potable"],
        ["fire-reserve"],
    ]


def test_the_first_waves_meet_every_class_board_and_site() -> None:
    fleet = [one(f"plain-{i}") for i in range(6)]
    fleet += [
        one("z-other-site", Duty.POTABLE, site="yard"),
        one("z-other-board", Duty.POTABLE, board="c3", class_id="c2"),
    ]
    waves, pilots = pack(fleet, Sizes(2, 2.0, 50, 50))
    assert [p.candidate.node for p in waves[0]] == ["plain-0", "z-other-board"]
    assert waves[1][0].candidate.node == "z-other-site"
    assert pilots == 2
    assert "first of board esp32" in waves[0][0].why
    assert waves[1][0].why == "first of site yard"
    assert waves[1][1].why == "by cost of a failure: irrigation"


def test_a_supply_group_is_never_in_one_wave() -> None:
    house = frozenset({"house"})
    fleet = [one("east", groups=house, site="a"), one("west", groups=house, site="b"), one("other", site="c")]
    waves = names(fleet, Sizes(10, 3.0, 50, 50))
    assert waves == [["east", "other"], ["west"]]


def test_no_more_than_half_of_a_site_in_one_wave() -> None:
    waves = names([one(f"n{i}") for i in range(8)], Sizes(10, 3.0, 50, 50))
    assert [len(wave) for wave in waves] == [4, 4]


def test_waves_grow_by_what_the_last_one_really_had() -> None:
    fleet = [one(f"n{i:02}", site=f"s{i}") for i in range(40)]
    assert [len(w) for w in names(fleet, Sizes(2, 3.0, 14, 50))] == [2, 6, 14, 14, 4]
    assert [len(w) for w in names(fleet, Sizes(2, 3.0, 14, 8))] == [2, 6, 8, 8, 8, 8]


def test_nobody() -> None:
    assert pack([], Sizes(2, 3.0, 14, 8)) == ([], 0)


CANDIDATES = st.lists(
    st.builds(
        lambda i, duty, site, board, groups: (i, duty, site, board, groups),
        st.integers(0, 10**6),
        st.sampled_from(list(Duty)),
        st.sampled_from(["a", "b", "c"]),
        st.sampled_from(["esp32", "c3", "nodemcu"]),
        st.frozensets(st.sampled_from(["east", "west", "north"]), max_size=2),
    ),
    max_size=40,
    unique_by=lambda t: t[0],
).map(
    lambda rows: [
        Candidate(f"n{i}", site, board, board, duty, None, groups) for i, duty, site, board, groups in rows
    ]
)
SIZES = st.builds(Sizes, st.integers(1, 5), st.floats(1, 4), st.integers(1, 12), st.integers(1, 12))


@settings(max_examples=200, deadline=None)
@given(CANDIDATES, SIZES)
def test_any_fleet(fleet: list[Candidate], sizes: Sizes) -> None:
    waves, pilots = pack(fleet, sizes)
    packed = [placed.candidate for wave in waves for placed in wave]
    assert sorted(c.node for c in packed) == sorted(c.node for c in fleet), "each node once"
    last = None
    per_site = Counter(c.site for c in fleet)
    for wave in waves:
        assert 1 <= len(wave) <= min(sizes.largest, sizes.fits)
        assert len(wave) <= (sizes.first if last is None else max(1, floor(sizes.growth * last)))
        last = len(wave)
        groups = [group for placed in wave for group in placed.candidate.groups]
        assert len(groups) == len(set(groups)), "a supply group twice in one wave"
        for site, count in Counter(placed.candidate.site for placed in wave).items():
            assert count <= max(1, ceil(per_site[site] / 2))
    features = set().union(*(c.features for c in fleet)) if fleet else set()
    met = set().union(*(p.candidate.features for wave in waves[:pilots] for p in wave)) if pilots else set()
    assert met == features, "the pilot meets everything"
    if pilots:
        before = set().union(*(p.candidate.features for wave in waves[: pilots - 1] for p in wave), set())
        assert before != features, "no wave is a pilot for nothing"


@settings(max_examples=100, deadline=None)
@given(CANDIDATES)
def test_after_the_pilot_cost_never_falls_within_a_wave(fleet: list[Candidate]) -> None:
    waves, pilots = pack(fleet, Sizes(2, 3.0, 12, 12))
    for wave in waves[pilots:]:
        costs = [CRITICALITY[placed.candidate.duty] for placed in wave]
        assert costs == sorted(costs)
