"""Random tanks whose node is updated as late as their spare time lets it, at a margin of 1: the real core, and a water
of its own (tests/firmware/outage_life.cpp). `python tests/water/random_outages.py TANKS SEED` says how often the
reserve or the overflow was touched."""

from __future__ import annotations

import random
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import pairwise
from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING, Any

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from fleet.limits import POWER_UP_HOLD_S, PUMP_RUN_UP_S, STATE_AGE_S  # noqa: E402
from fleet.model.tank import Tank  # noqa: E402
from fleet.water.filling import (  # noqa: E402
    believe_s,
    between_l,
    overflow_m,
    pump_marks,
    rising,
    shortest_off,
    time_s,
)
from fleet.water.spare import spare_time  # noqa: E402
from tests.firmware.firmware_build import compile_program, core_sources  # noqa: E402

if TYPE_CHECKING:
    from collections.abc import Callable

SOURCES = (
    "tests/firmware/outage_life.cpp",
    *core_sources("control", "probe", "pump", "run", "tank", "crc32"),
)
FAST = ("-std=c++17", "-O2", "-fno-exceptions", "-fno-rtti")
LONGEST_S = 86_400.0
"""Of an update: what can be left alone for longer says nothing of its end."""
FORMER_REST_S = 60.0


@dataclass(frozen=True)
class Case:
    """One tank, and where its water stands and how old the state is when the update begins."""

    data: dict[str, Any]
    shape: str
    sizes_m: tuple[float, float, float]
    level_m: float
    passed_s: float
    age_s: float
    run_up_s: float
    debounced_s: float
    seed: int

    @property
    def tank(self) -> Tank:
        """The model's."""
        return Tank.model_validate(self.data)


@dataclass(frozen=True)
class Came:
    """What came of one: `left_s` of the largest draw (or inflow) before the limit was touched, below 0: it was."""

    wet: int
    away_s: float
    left_s: float

    @property
    def touched(self) -> bool:
        """Beyond the two integrations' difference."""
        return self.left_s < -0.01


def counted(tank: Tank, wet: int, debounced_s: float) -> float:
    """The longest outage that a margin of 1 lets pass, from the node's word on its marks on."""
    return spare_time(tank, _wet(tank, wet), debounced_s=debounced_s).worst_s


def formerly(tank: Tank, wet: int, debounced_s: float) -> float:
    """The same, as it was when a rest of 60 s and the probes' time were left to the margin; from the first byte on."""
    del debounced_s
    spare = spare_time(tank, _wet(tank, wet))
    assert tank.pump is not None
    until_s = spare.until_reserve_s if tank.pump.does == "fill" else spare.until_overflow_s
    return until_s - max(0.0, shortest_off(tank.pump).seconds - FORMER_REST_S) + STATE_AGE_S


def cases(count: int, seed: int) -> list[Case]:
    """Every shape, mark and limit anywhere; half of the states are told just as the level has passed a mark."""
    rng = random.Random(seed)
    drawn = (_case(rng, number) for number in range(count * 3))
    return [case for case in drawn if case is not None and _holds_by_itself(case)][:count]


def _holds_by_itself(case: Case) -> bool:
    """Whether the pump starts in time when its mark is passed with the node there: else an update touches nothing that
    would not be touched without it (`check` names such marks)."""
    tank = case.tank
    pump = tank.pump
    assert pump is not None
    fills = pump.does == "fill"
    limit_m = (tank.reserve_m or 0.0) if fills else overflow_m(tank)
    against = tank.largest_draw_l_per_min if fills else tank.uncontrolled_inflow_l_per_min
    room_s = time_s(between_l(tank, pump_marks(tank, pump)[0].height_m, limit_m), against)
    return room_s >= believe_s(case.debounced_s) + PUMP_RUN_UP_S


def _case(rng: random.Random, number: int) -> Case | None:
    kind, sizes, keys, height = _shape(rng)
    heights = sorted(round(rng.uniform(0.15, 0.9) * height, 3) for _ in range(rng.randint(2, 4)))
    if min(b - a for a, b in pairwise(heights)) < 0.02:
        return None
    does = "drain" if number % 3 == 0 else "fill"
    names = [f"m{k}" for k in range(len(heights))]
    one, other = sorted(rng.sample(range(len(names)), 2))
    on, off = (one, other) if does == "fill" else (other, one)
    against = rng.uniform(0.5, 300)
    debounced_s = rng.choice([2.0, rng.uniform(1, 10)])
    data = {
        "name": f"tank-{number}",
        "site": "farm",
        "duty": "livestock" if does == "fill" else "sump",
        "shape": {k: v if isinstance(v, str) else f"{v:.4f} m" for k, v in keys.items()},
        "marks": [{"name": name, "height": f"{h:.3f} m"} for name, h in zip(names, heights, strict=True)],
        "overflow": f"{rng.uniform(heights[-1] + 0.02, 0.97 * height):.3f} m",
        "pump": {
            "name": "lift",
            "does": does,
            "flow": f"{against * rng.uniform(1.05, 4):.3f} L/min",
            "on_at": names[on],
            "off_at": names[off],
        },
        "largest_draw" if does == "fill" else "uncontrolled_inflow": f"{against:.3f} L/min",
    }
    if does == "fill" and rng.random() < 0.9:
        data["reserve"] = f"{rng.uniform(0.05, 0.99) * heights[on]:.3f} m"
    if rng.random() < 0.5:
        data["pump"]["shortest_off"] = f"{rng.choice([5, 30, 90, 300, 900])} s"
    level_m, passed_s = rng.uniform(0.05, 0.97) * height, rng.uniform(0, 30)
    if rng.random() < 0.5:
        mark_m = rng.choice(heights)
        level_m = mark_m + (1e-6 if does == "fill" else -1e-6)
        passed_s = rng.choice([debounced_s, rng.uniform(0, debounced_s)])
    return Case(
        data,
        kind,
        sizes,
        level_m,
        passed_s,
        rng.choice([STATE_AGE_S, rng.uniform(0, STATE_AGE_S)]),
        rng.choice([PUMP_RUN_UP_S, rng.uniform(0, PUMP_RUN_UP_S)]),
        round(debounced_s, 3),
        rng.randrange(1 << 32),
    )


def _shape(rng: random.Random) -> tuple[str, tuple[float, float, float], dict[str, Any], float]:
    """The simulation's letter and sizes, the inventory's keys, and how high it is."""
    wide, high = rng.uniform(0.5, 4), rng.uniform(0.8, 4)
    narrow = rng.uniform(0.5, 1) * wide
    return rng.choice(
        [
            ("c", (wide, 0.0, high), {"kind": "vertical-cylinder", "diameter": wide, "height": high}, high),
            (
                "b",
                (wide, narrow, high),
                {"kind": "box", "length": wide, "width": narrow, "height": high},
                high,
            ),
            (
                "f",
                (narrow, wide, high),
                {"kind": "frustum", "bottom_diameter": narrow, "top_diameter": wide, "height": high},
                high,
            ),
            (
                "l",
                (wide, high, 0.0),
                {"kind": "horizontal-cylinder", "diameter": wide, "length": high},
                wide,
            ),
        ]
    )


def _wet(tank: Tank, count: int) -> list[str]:
    return [mark.name for mark in rising(tank)[:count]]


def line(case: Case, allowed_s: Callable[[Tank, int, float], float], factor: float = 1.0) -> str:
    """The simulation's line: the outage that is allowed, times `factor`."""
    tank = case.tank
    pump = tank.pump
    assert pump is not None
    fills = pump.does == "fill"
    start, stop = pump_marks(tank, pump)
    order = [mark.name for mark in rising(tank)]
    limit_m = (tank.reserve_m or 0.0) if fills else tank.overflow_m
    away = []
    for wet in range(len(order) + 1):
        first_byte_s = factor * allowed_s(tank, wet, case.debounced_s) - STATE_AGE_S
        away.append(first_byte_s if isfinite(first_byte_s) and 0 < first_byte_s < LONGEST_S else -1)
    words = [
        case.seed,
        1 if fills else 2,
        case.shape,
        *(f"{size:.4f}" for size in case.sizes_m),
        limit_m,
        len(order),
        *(mark.height_m for mark in rising(tank)),
        order.index(start.name),
        order.index(stop.name),
        pump.flow_l_per_min,
        tank.largest_draw_l_per_min if fills else tank.uncontrolled_inflow_l_per_min,
        round(1000 * case.debounced_s),
        shortest_off(pump).seconds,
        POWER_UP_HOLD_S,
        case.run_up_s,
        case.age_s,
        case.passed_s,
        case.level_m,
        *away,
    ]
    return " ".join(map(str, words)) + "\n"


def live(asked: list[str]) -> list[Came]:
    """Those that were updated; two at a time."""
    program = compile_program(SOURCES, flags=FAST)
    with ThreadPoolExecutor(2) as pool:
        parts = list(pool.map(lambda part: _run(program, part), [asked[::2], asked[1::2]]))
    return [came for part in parts for came in part if came.away_s >= 0]


def _run(program: Path, asked: list[str]) -> list[Came]:
    done = subprocess.run([str(program)], input="".join(asked), capture_output=True, text=True, check=True)
    rows = [row.split() for row in done.stdout.splitlines()]
    return [Came(int(wet), float(away_s), float(left_s)) for wet, away_s, left_s in rows]


def main(count: int, seed: int) -> None:
    """Print a line for each reckoning."""
    drawn = cases(count, seed)
    for told, allowed_s, factor in (
        ("as it was, margin 1", formerly, 1.0),
        ("as it was, margin 1.1", formerly, 1 / 1.1),
        ("as it was, margin 1.25", formerly, 1 / 1.25),
        ("margin 1", counted, 1.0),
        ("margin 1, outages a tenth longer than counted", counted, 1.1),
    ):
        came = live([line(case, allowed_s, factor) for case in drawn])
        print(f"{told}: touched in {sum(one.touched for one in came)} of {len(came)}")


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
