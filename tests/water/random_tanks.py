"""Random tanks with pumps, for the real core and a water of its own (tests/firmware/tank_life.cpp): `python
tests/water/random_tanks.py TANKS DAYS SEED [KIND]` says what their watches do."""

from __future__ import annotations

import random
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from statistics import median, quantiles
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from fleet.check.codes.dry_running import DIES_UNSEEN, WATER_GOES_FIRST  # noqa: E402
from fleet.check.load import read_texts  # noqa: E402
from fleet.model.tank import Tank  # noqa: E402
from fleet.water.filling import pump_marks, pump_times  # noqa: E402
from tests.firmware.firmware_build import compile_program, core_sources  # noqa: E402

SOURCES = (
    "tests/firmware/tank_life.cpp",
    *core_sources("control", "probe", "pump", "run", "tank", "crc32"),
)
FAST = ("-std=c++17", "-O2", "-fno-exceptions", "-fno-rtti")
DAY_S = 86_400
LONG_S = 7_200


@dataclass(frozen=True)
class Random:
    """A tank as the inventory has it, and as the simulation is told."""

    data: dict[str, Any]
    shape: str
    sizes_m: tuple[float, float, float]
    heights_m: tuple[float, ...]
    overflow_m: float
    wave_m: float
    period_s: float
    debounce_ms: int

    @property
    def tank(self) -> Tank:
        """The model's."""
        return Tank.model_validate(self.data)


@dataclass(frozen=True)
class Lived:
    """What came of a tank."""

    fault: str
    on_s: int
    level_m: float
    lowest_m: float
    highest_m: float
    starts: int
    contradictory: int
    flapping: int


def tanks(count: int, seed: int, does: str = "") -> list[Random]:
    """Ordinary sizes, pumps that keep up with what is stated (by 2 % at least)."""
    rng = random.Random(seed)
    return [_tank(rng, i, does or ("drain" if i % 5 == 0 else "fill")) for i in range(count)]


def _tank(rng: random.Random, i: int, does: str) -> Random:
    width, height = rng.uniform(0.8, 5.0), rng.uniform(1.0, 4.0)
    shape, sizes, keys = rng.choice(
        [
            ("c", (width, height, 0.0), {"kind": "vertical-cylinder", "diameter": width, "height": height}),
            (
                "b",
                (width, 0.7 * width, height),
                {"kind": "box", "length": width, "width": 0.7 * width, "height": height},
            ),
        ]
    )
    wave_m = min(0.02 * width, 0.15)
    period_s = rng.uniform(0.8, 1.0) * width**0.5 * 1.2
    debounce_ms = max(2000, round(2000 * period_s))
    overflow = 0.95 * height
    low, high = 0.1 * height + wave_m, overflow - 0.05 - 2 * wave_m
    marks = sorted(rng.uniform(low, high) for _ in range(rng.choice([0, 1, 2])))
    heights = [low]
    for mark in [*marks, high]:
        if mark - heights[-1] > max(0.1, 3 * wave_m):
            heights.append(mark)
    if heights[-1] != high:
        heights[-1] = high
    if len(heights) == 1:
        heights = [low, high]
    heights = [round(h, 3) for h in heights]
    area = width**2 * (0.785 if shape == "c" else 0.7)
    flow = area * 1000 * (high - low) / (60 * rng.uniform(0.3, 10))
    against = flow * rng.choice([0.0, rng.uniform(0.0, 0.98), rng.uniform(0.0, 0.98), rng.uniform(0.8, 0.98)])
    flows = {"largest_draw" if does == "fill" else "uncontrolled_inflow": f"{against:.3f} L/min"}
    data = {
        "name": f"tank-{i}",
        "site": "farm",
        "duty": "livestock" if does == "fill" else "sump",
        "shape": {k: v if isinstance(v, str) else f"{v:.4f} m" for k, v in keys.items()},
        "marks": [{"name": f"m{k}", "height": f"{h:.3f} m"} for k, h in enumerate(heights)],
        "overflow": f"{overflow:.3f} m",
        "pump": {"name": "lift", "does": does, "flow": f"{flow:.3f} L/min"},
        **flows,
    }
    if does == "fill":
        data["reserve"] = f"{rng.uniform(0.2, 0.8) * low:.3f} m"
    return Random(data, shape, sizes, tuple(heights), overflow, wave_m, period_s, debounce_ms)


def lines(
    one: Random, days: float, *, works: bool, varies: bool, stirs: bool, cut_s: int, part: float = 1.0
) -> str:
    """The simulation's line. `part` of the stated draw (or inflow) is taken."""
    tank = one.tank
    pump = tank.pump
    times = pump_times(tank, debounced_s=one.debounce_ms / 1000)
    assert pump is not None
    assert times is not None
    start, stop = pump_marks(tank, pump)
    order = [mark.name for mark in sorted(tank.marks, key=lambda m: m.height_m)]
    does = 1 if pump.does == "fill" else 2
    against = tank.largest_draw_l_per_min if does == 1 else tank.uncontrolled_inflow_l_per_min
    level = start.height_m + (0.03 if does == 1 else -0.03)
    words = [
        1 + int(1e6 * one.wave_m) + int(1e3 * level),
        int(days * DAY_S),
        does,
        one.shape,
        *(f"{size:.4f}" for size in one.sizes_m),
        f"{one.overflow_m:.4f}",
        len(one.heights_m),
        *one.heights_m,
        order.index(start.name),
        order.index(stop.name),
        pump.flow_l_per_min,
        part * against,
        one.debounce_ms,
        times.longest_run.seconds,
        times.no_rise.seconds,
        times.first_rise.seconds if times.first_rise else 0,
        times.shortest_off.seconds,
        one.period_s,
        int(works),
        "v" if varies else "c",
        int(stirs),
        cut_s,
        level,
    ]
    return " ".join(map(str, words)) + "\n"


def live(asked: list[str]) -> list[Lived]:
    """Two at a time."""
    program = compile_program(SOURCES, flags=FAST)
    with ThreadPoolExecutor(2) as pool:
        parts = list(pool.map(lambda part: _run(program, part), [asked[::2], asked[1::2]]))
    return [parts[i % 2][i // 2] for i in range(len(asked))]


def _run(program: Path, asked: list[str]) -> list[Lived]:
    done = subprocess.run([str(program)], input="".join(asked), capture_output=True, text=True, check=True)
    rows = [line.split() for line in done.stdout.splitlines()]
    return [
        Lived(r[0], int(r[1]), *(float(mm) / 1000 for mm in r[2:5]), int(r[5]), int(r[6]), int(r[7]))
        for r in rows
    ]


def has_finding(one: Random) -> bool:
    """Whether `check` names the dry pump."""
    board = {"name": "n", "board": "esp32-devkit", "debounce": f"{one.debounce_ms} ms"}
    pins = ["IO16", "IO17", "IO18", "IO19"]
    probes = {mark["name"]: pin for mark, pin in zip(one.data["marks"], pins, strict=False)}
    serves = [{"tank": one.data["name"], "probes": probes, "pump_relay": {"pin": "IO25"}}]
    text = {
        "fleet": {"name": "thornby", "domain": "thornby.example"},
        "sites": [{"name": "farm", "time_zone": "Europe/London", "network": "farm-wifi"}],
        "tanks": [one.data],
        "nodes": [{**board, "serves": serves}],
    }
    import yaml

    inventory, findings = read_texts([("a.yaml", yaml.safe_dump(text).encode())])
    assert inventory is not None, [f.what for f in findings]
    return bool({WATER_GOES_FIRST, DIES_UNSEEN} & {finding.code for finding in findings})


def dead(every: list[Random]) -> list[Lived]:
    """What comes of them with pumps that move nothing, at the largest draw, from a level just over their mark."""
    return live([lines(one, 60, works=False, **KINDS["the largest draw"]) for one in every])


def is_late(one: Random, lived: Lived) -> bool:
    """On for more than 2 h, or past the reserve (or the overflow), before the pump was stopped."""
    reserve = one.tank.reserve_m
    past = lived.lowest_m < reserve if reserve is not None else lived.highest_m >= one.overflow_m
    return lived.on_s > LONG_S or past


def main(count: int, days: float, seed: int, kinds: str = "") -> None:
    """Dead pumps, healthy ones at every draw, stirred and interrupted ones; or one of these kinds alone."""
    every = tanks(count, seed)
    for words, kwargs in KINDS.items():
        if kinds in ("", words):
            lived = live([lines(one, days, works=True, **kwargs) for one in every])
            print(f"{words}: {told(lived)}", flush=True)
    if kinds:
        return
    drawn = [one for one in every if is_drawn(one)]
    stopped = dead(drawn)
    ran = sorted(one.on_s / 3600 for one in stopped if one.fault != "none")
    print(
        f"dead pumps: {len(ran)} of {len(drawn)} stopped, after {median(ran):.2f} h median, "
        f"{quantiles(ran, n=10)[8]:.2f} h p90, {ran[-1]:.1f} h most"
    )
    late = [one for one, lived in zip(drawn, stopped, strict=True) if is_late(one, lived)]
    unnamed = sum(not has_finding(one) for one in late)
    print(f"  {len(late)} after 2 h, or with the water gone; {unnamed} of these without a finding")


def told(lived: list[Lived]) -> str:
    """Counts in words."""
    tripped = sum(one.fault != "none" for one in lived)
    contradictory, flapping = sum(one.contradictory for one in lived), sum(one.flapping for one in lived)
    starts = sum(one.starts for one in lived)
    return f"{starts} starts, {tripped} tripped, {contradictory} contradictory, {flapping} flapping"


def is_drawn(one: Random) -> bool:
    """Whether anything works against its pump."""
    tank = one.tank
    return tank.largest_draw_l_per_min + tank.uncontrolled_inflow_l_per_min > 0


KINDS: dict[str, dict[str, Any]] = {
    "the largest draw": {"varies": False, "stirs": False, "cut_s": 0},
    "a third of it": {"varies": False, "stirs": False, "cut_s": 0, "part": 0.33},
    "varying, stirred": {"varies": True, "stirs": True, "cut_s": 0},
    "varying, stirred, interrupted each day": {"varies": True, "stirs": True, "cut_s": 86_400},
}

if __name__ == "__main__":
    main(int(sys.argv[1]), float(sys.argv[2]), int(sys.argv[3]), *sys.argv[4:5])
