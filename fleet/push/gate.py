"""The gate: named checks of a node's health, each with its evidence, and the verdict on a wave.

Pure. A check compares the node's state right before its image was sent, when it returned, and now; what
the water could have done in between comes from the plan (volumes at the marks, largest flows).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from math import ceil, floor
from typing import TYPE_CHECKING

from fleet.limits import (
    CONFIDENCE,
    GATE_FREE_BYTES_SHARE,
    GATE_LARGEST_BLOCK_SHARE,
    GATE_LEVEL_FACTOR,
    GATE_LEVEL_SLACK_S,
    GATE_SETTLED_AFTER_S,
    GATE_SIGNAL_DROP_DB,
)
from fleet.push.condition import (
    brown_outs_between,
    keeps_faults,
    latched_faults,
    memory_words,
    short_of_memory,
)
from fleet.push.detection import share_bound
from fleet.water.quantities import counted, duration

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.link.state import NodeState, PumpState, TankState
    from fleet.push.plan import PlannedNode, TankBounds

RUNNING_WHY = {"fill": frozenset({"below-low", "between"}), "drain": frozenset({"above-high", "between"})}
"""For what reasons a pump relay may be on (docs/node-interface.md 4)."""
MUST_RUN_WHY = {"fill": "below-low", "drain": "above-high"}
BAD_RESETS = frozenset({"watchdog", "crash"})
STARTS_EXPECTED = 1


class CheckName(StrEnum):
    """What is looked at."""

    SENT = "took the image"
    RETURNED = "returned in time"
    IMAGE = "runs the expected image"
    RESETS = "no reset loop"
    MARKS = "marks not contradictory"
    PUMP = "pump state safe"
    FAULTS = "no new faults"
    LATCHED = "faults that stay are still reported"
    LEVEL = "level moved no more than the water could"
    RESOURCES = "free memory and signal not much worse"
    SOAK = "still true after the soak"
    KEPT = "was kept in time"
    SUPPLY = "its supply held"
    LINK = "the link to it held"


@dataclass(frozen=True, slots=True)
class Check:
    """One check at one node: what it is called, how it went, and what that rests on."""

    name: CheckName
    ok: bool
    evidence: str


@dataclass(frozen=True, slots=True)
class Examination:
    """What is known of a node under examination. Times are epoch seconds.

    `before` was read right before the image was sent; `returned` is the first state under the new image.
    """

    planned: PlannedNode
    before: NodeState
    before_at_s: float
    returned: NodeState
    now: NodeState
    now_at_s: float
    process_speed: float = 1.0


@dataclass(frozen=True, slots=True)
class Verdict:
    """The decision after (part of) a wave. `bound`: the share of failures is not above it, with 95 %
    confidence. `failed` for the image, `supply` for their supply; `of` counts those that can tell of the image."""

    wave: int
    passed: bool
    failed: tuple[str, ...]
    of: int
    allowed: int
    bound: float
    text: str
    supply: tuple[str, ...] = ()
    draws_too_much: bool = False
    """So many failed for their supply that it is put down to the image."""
    link: tuple[str, ...] = ()
    """Those whose transfers broke; they tell nothing of the image either."""
    link_broken: bool = False
    """So many of them that it is put down to the network."""


def failures_allowed(share: float, wave_size: int) -> int:
    """How many of a wave may fail."""
    return floor(share * wave_size + 1e-9)


def judge(
    wave: int,
    *,
    failed: tuple[str, ...],
    of: int,
    share_allowed: float,
    all_failed: int,
    all_judged: int,
    supply: tuple[str, ...] = (),
    too_much: bool = False,
    link: tuple[str, ...] = (),
    link_broken: bool = False,
) -> Verdict:
    """The verdict on `of` nodes of a wave, beside those that failed for their `supply` or their `link`; the
    bound counts all nodes that the push has judged so far. `too_much`: so many failed for their supply that the image
    is to blame; `link_broken`: so many for their link that the network is."""
    allowed = failures_allowed(share_allowed, of)
    bound = share_bound(all_failed, all_judged) if all_judged else 1.0
    passed = len(failed) <= allowed and not too_much and not link_broken
    text = f"{len(failed)} of {of} failed{f', {allowed} allowed' if allowed or not passed else ''}"
    text = text if of else "no node to judge the image by"
    if passed and all_judged:
        most = ceil(100 * bound)
        text = f"{text}, {all_failed} of {all_judged} so far ({CONFIDENCE:.0%} sure: at most {most}% fail)"
    if supply:
        text = f"{text}; {_more(supply, 'failed by brown-outs', too_much, 'the image draws too much')}"
    if link:
        text = f"{text}; {_more(link, 'could not be sent to', link_broken, 'the network is broken')}"
    return Verdict(wave, passed, failed, of, allowed, bound, text, supply, too_much, link, link_broken)


def _more(nodes: tuple[str, ...], did: str, many: bool, cause: str) -> str:
    means = f"too many for chance: {cause}" if many else "which says nothing of the image"
    return f"{counted(len(nodes), 'node')} more {did}, {means}"


def examine(sighting: Examination, *, soaked: bool = False) -> tuple[Check, ...]:
    """Every check on one node that answered. `soaked`: this is the last look before the node may be kept."""
    checks = (
        _image(sighting),
        _resets(sighting),
        _marks(sighting, soaked=soaked),
        _pump(sighting),
        _faults(sighting),
        _latched(sighting),
        _level(sighting),
        _resources(sighting),
    )
    if not soaked:
        return checks
    bad = [check for check in checks if not check.ok]
    ran_s = sighting.now.uptime_s
    evidence = f"up for {duration(ran_s)} without a restart" if not bad else f"failed: {bad[0].name}"
    return (*checks, Check(CheckName.SOAK, not bad, evidence))


def _image(s: Examination) -> Check:
    ok = s.now.image == s.planned.to_image
    told = f"runs {s.now.image[:12]}"
    return Check(CheckName.IMAGE, ok, told if ok else f"{told}, expected {s.planned.to_image[:12]}")


def _resets(s: Examination) -> Check:
    """A start more for each brown-out says nothing of the image; the soak begins anew after it (forward.py)."""
    starts, browned = s.now.boots - s.before.boots, brown_outs_between(s.before, s.now)
    told = f"{starts} start{'s' if starts != 1 else ''} since the image was sent, last one: {s.now.reset}"
    if browned:
        told = f"{told}; {browned} of them after a brown-out"
    ok = STARTS_EXPECTED <= starts <= STARTS_EXPECTED + browned and s.now.reset not in BAD_RESETS
    return Check(CheckName.RESETS, ok, told)


def _faults(s: Examination) -> Check:
    new = [f"node: {fault}" for fault in s.now.faults if fault not in s.before.faults]
    for was, tank in _tanks(s):
        if tank.fault != "none" and (was is None or tank.fault != was.fault):
            new.append(f"{tank.name}: {tank.fault}")
    if len(s.now.tanks) != len(s.planned.tanks):
        new.append(f"it reports {len(s.now.tanks)} tanks, it serves {len(s.planned.tanks)}")
    return Check(CheckName.FAULTS, not new, "; ".join(new) or "no new fault")


def _latched(s: Examination) -> Check:
    """Only a person clears such a fault: one that is gone after an update lets a pump run dry again."""
    if not keeps_faults(s.before):
        return Check(CheckName.LATCHED, True, "the firmware before could not keep a fault over a restart")
    now = {tank.name: tank.fault for tank in s.now.tanks}
    before = list(latched_faults(s.before))
    gone = [f"{tank}: {fault} before, none now" for tank, fault in before if now.get(tank) == "none"]
    stayed = [f"{tank}: still {fault}" for tank, fault in before if now.get(tank) == fault]
    return Check(CheckName.LATCHED, not gone, "; ".join(gone or stayed) or "there was none")


def _marks(s: Examination, *, soaked: bool) -> Check:
    bad = []
    for was, tank in _tanks(s):
        if contradictory(tank) and not (was is not None and contradictory(was)):
            bad.append(f"{tank.name}: {_shown(tank)}")
        elif (
            soaked
            and s.now.uptime_s >= GATE_SETTLED_AFTER_S
            and any(m.state == "settling" for m in tank.marks)
        ):
            bad.append(
                f"{tank.name}: still settling {duration(s.now.uptime_s)} after the start: {_shown(tank)}"
            )
    return Check(CheckName.MARKS, not bad, "; ".join(bad) or "; ".join(_shown(tank) for tank in s.now.tanks))


def contradictory(tank: TankState) -> bool:
    """Whether a higher mark is wet while a lower one is dry."""
    states = [mark.state for mark in tank.marks]
    return "dry" in states and "wet" in states[states.index("dry") :]


def _shown(tank: TankState) -> str:
    return " ".join(f"{mark.name} {mark.state}" for mark in reversed(tank.marks))


def _pump(s: Examination) -> Check:
    bad = []
    told = []
    for bounds, tank in _bounds(s):
        if bounds.pump_does is None:
            continue
        if tank.pump is None or tank.pump.does != bounds.pump_does:
            bad.append(f"{tank.name}: its {bounds.pump_does} pump is missing from the report")
            continue
        told.append(f"{tank.name}: {tank.pump.relay} ({tank.pump.why})")
        bad += [f"{tank.name}: {what}" for what in _unsafe(bounds, tank, tank.pump)]
    return Check(CheckName.PUMP, not bad, "; ".join(bad) or "; ".join(told) or "no pump")


def _unsafe(bounds: TankBounds, tank: TankState, pump: PumpState) -> Iterator[str]:
    must_run = MUST_RUN_WHY[pump.does]
    if pump.relay == "off":
        if pump.why == must_run:
            yield f"pump relay off although {pump.why}"
        return
    if tank.fault != "none":
        yield f"pump relay on despite the fault {tank.fault}"
    if pump.why not in RUNNING_WHY[pump.does]:
        yield f"pump relay on although {pump.why}"
    off_mark = tank.marks[bounds.pump_off_mark] if bounds.pump_off_mark is not None else None
    if off_mark is not None and off_mark.state == ("wet" if pump.does == "fill" else "dry"):
        yield f"pump relay on although {off_mark.name} is {off_mark.state}"


def _level(s: Examination) -> Check:
    bad = []
    told = []
    elapsed_s = max(0.0, s.now_at_s - s.before_at_s)
    earlier = {tank.name: tank for tank in s.before.tanks}
    for bounds, tank in _bounds(s):
        was = earlier.get(tank.name)
        if was is None or was.level is None or tank.level is None:
            continue
        told.append(f"{tank.name}: level {was.level} -> {tank.level}")
        what = _impossible(
            bounds, was, tank, elapsed_s * s.process_speed, GATE_LEVEL_SLACK_S * s.process_speed
        )
        if what:
            bad.append(f"{tank.name}: {what} in {duration(elapsed_s)}")
    return Check(CheckName.LEVEL, not bad, "; ".join(bad) or "; ".join(told) or "no level known before")


def _impossible(bounds: TankBounds, was: TankState, now: TankState, elapsed_s: float, slack_s: float) -> str:
    """Why the water cannot have gone from one level to the other in that (process) time; empty if it can."""
    low, high = was.level or 0, now.level or 0
    if low == high:
        return ""
    rose, volumes = high > low, bounds.volumes_l
    least_l = volumes[high - 1] - volumes[low] if rose else volumes[low - 1] - volumes[high]
    flow = bounds.inflow_l_per_min if rose else bounds.draw_l_per_min
    most_l = flow / 60 * (elapsed_s + slack_s) * GATE_LEVEL_FACTOR
    way = "rose" if rose else "fell"
    if bounds.pump_does == ("fill" if rose else "drain"):
        most_l += bounds.pump_l_per_min / 60 * _pump_ran_s(was, now, elapsed_s, slack_s) * GATE_LEVEL_FACTOR
        if most_l == 0.0:
            return (
                f"level {low} -> {high}: it {way}, but its pump is reported off and nothing else can cause it"
            )
    if least_l <= most_l:
        return ""
    return f"level {low} -> {high}: it {way} by at least {least_l:.0f} L, at most {most_l:.0f} L could flow"


def _pump_ran_s(was: TankState, now: TankState, elapsed_s: float, slack_s: float) -> float:
    """How long the pump may have run, by what the node says: its count of starts begins anew with each
    restart."""
    if now.pump is not None and (now.pump.relay == "on" or now.pump.starts > 0):
        return elapsed_s + slack_s
    return slack_s if was.pump is not None and was.pump.relay == "on" else 0.0


def _resources(s: Examination) -> Check:
    bad: list[str] = []
    for when, reference in (("before", s.before), ("when it returned", s.returned)):
        least = reference.free_bytes * GATE_FREE_BYTES_SHARE
        if s.now.free_bytes < least and not bad:
            bad.append(f"{s.now.free_bytes} bytes free, {reference.free_bytes} {when}")
    bad += _blocks(s)
    if s.now.rssi_dbm is not None and s.before.rssi_dbm is not None:
        drop_db = s.before.rssi_dbm - s.now.rssi_dbm
        if drop_db > GATE_SIGNAL_DROP_DB:
            bad.append(f"signal {s.now.rssi_dbm} dBm, {s.before.rssi_dbm} dBm before")
    signal = "" if s.now.rssi_dbm is None else f", signal {s.now.rssi_dbm} dBm"
    return Check(CheckName.RESOURCES, not bad, "; ".join(bad) or f"{s.now.free_bytes} bytes free{signal}")


def _blocks(s: Examination) -> Iterator[str]:
    """What is wrong with its largest block of memory, where it can say."""
    now = s.now.largest_block
    for when, reference in (("before", s.before), ("when it returned", s.returned)):
        was = reference.largest_block
        if now is not None and was is not None and now < was * GATE_LARGEST_BLOCK_SHARE:
            yield f"{now} bytes in one piece, {was} {when}"
            return
    if short_of_memory(s.now, in_place=s.planned.in_place):
        yield memory_words(s.now)


def _tanks(s: Examination) -> Iterator[tuple[TankState | None, TankState]]:
    """Each tank with its state before, if there was one."""
    earlier = {tank.name: tank for tank in s.before.tanks}
    for tank in s.now.tanks:
        yield earlier.get(tank.name), tank


def _bounds(s: Examination) -> Iterator[tuple[TankBounds, TankState]]:
    """Each tank of the plan that the node reports with as many marks as planned."""
    reported = {tank.name: tank for tank in s.now.tanks}
    for bounds in s.planned.tanks:
        tank = reported.get(bounds.tank)
        if tank is not None and len(tank.marks) == len(bounds.volumes_l):
            yield bounds, tank
