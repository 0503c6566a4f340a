"""Making a plan: inventory + shelf + what was found + policy + the time -> waves, reasons, and who stays
out. Pure."""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from dataclasses import dataclass, field
from functools import cached_property
from math import ceil
from typing import TYPE_CHECKING, Any, Literal

from fleet.boards.trial import room_s
from fleet.calendar.windows import next_opening, open_until
from fleet.errors import PlanError
from fleet.find.access_points import used
from fleet.limits import AT_ONCE_PER_ACCESS_POINT, CONFIDENCE, KEEP_RESERVE_S
from fleet.link.state import Phase
from fleet.push.basis import basis_of
from fleet.push.codes import TRIAL_TOO_SHORT
from fleet.push.condition import BROWN_OUT, SUPPLY_CURES, is_weak, memory_words, short_of_memory, weak_words
from fleet.push.copy_risk import copy_risks
from fleet.push.detection import bad_count, chance_found, pilot_needed
from fleet.push.notices import faulty, notices
from fleet.push.outage import Times, times
from fleet.push.plan import LeftOut, Pilot, Plan, PlannedNode, PushPolicy, Wave, sealed
from fleet.push.spare import node_spare, tank_bounds
from fleet.push.waves import CRITICALITY, Candidate, Placed, Sizes, pack
from fleet.render.firmware_class import how_to_say
from fleet.water.quantities import counted, duration
from fleet.water.spare import needed_s, suffices

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from datetime import datetime

    from fleet.boards.board import Outage
    from fleet.build.entry import ShelfEntry
    from fleet.link.state import NodeState
    from fleet.model.inventory import Inventory
    from fleet.model.node import Node
    from fleet.render.firmware_class import Target


@dataclass(frozen=True, slots=True)
class Found:
    """What became of a node when it was looked for: its signed state, or why there is none."""

    state: NodeState | None = None
    absence: Literal["missing", "unreachable", "crowded"] = "missing"
    detail: str = ""


class SupplyIndex:
    """The nodes of an inventory by supply group: looked through once, and not once for each node."""

    def __init__(self, inventory: Inventory) -> None:
        self._of_group: dict[str, list[tuple[int, Node]]] = {}
        for number, node in enumerate(inventory.nodes):
            for group in supply_groups(inventory, node):
                self._of_group.setdefault(group, []).append((number, node))

    def sharing(self, groups: Iterable[str]) -> list[Node]:
        """The nodes of these groups, once each, in the inventory's order."""
        members = dict(member for group in groups for member in self._of_group[group])
        return [members[number] for number in sorted(members)]


@dataclass(frozen=True)
class PlanRequest:
    """What a plan is made from. `nodes` are the chosen names; `shelf`, `found` and `outages` (by board)
    are by name, and so is `elsewhere`, the newest images for the other target; `in_place` are the boards whose boot
    loader copies a new image over the old one.

    `found` should also hold the nodes that share a supply group with the chosen ones.
    """

    inventory: Inventory
    nodes: Sequence[str]
    shelf: Mapping[str, ShelfEntry]
    found: Mapping[str, Found]
    outages: Mapping[str, Outage]
    target: Target
    now: datetime
    elsewhere: Mapping[str, ShelfEntry] = field(default_factory=dict)
    any_hour: bool = False
    again: bool = False
    """Also images that were given up before: by this node, or by an earlier push."""
    soak_s: float | None = None
    process_speed: float = 1.0
    in_place: frozenset[str] = frozenset()
    despite_fault: frozenset[str] = frozenset()
    """Nodes that a person wants updated though they have a fault."""
    damaged: frozenset[str] = frozenset()
    """Nodes whose image or ticket on the shelf is not what its name says."""
    older: Mapping[str, str] = field(default_factory=dict)
    """Nodes whose image on the shelf is not what the inventory gives now, with what differs."""
    as_built: bool = False
    """Such images all the same."""
    given_up: Mapping[str, str] = field(default_factory=dict)
    """Images that an earlier push gave up, with that push's id."""

    @cached_property
    def supply(self) -> SupplyIndex:
        """Who can stand in for whom."""
        return SupplyIndex(self.inventory)


@dataclass(frozen=True, slots=True)
class _Going:
    """A node that can be updated."""

    node: Node
    entry: ShelfEntry
    state: NodeState
    candidate: Candidate
    times: Times
    spare_s: float | None
    needed_s: float
    weak_needed_s: float


@dataclass(slots=True)
class _Sorted:
    going: dict[str, _Going] = field(default_factory=dict)
    left_out: list[LeftOut] = field(default_factory=list)


def inventory_sha256(inventory: Inventory) -> str:
    """The SHA-256 of all that the inventory says, whatever files it is spread over: 64 hex digits."""
    content = inventory.model_dump(mode="json")
    return hashlib.sha256(json.dumps(content, sort_keys=True, separators=(",", ":")).encode()).hexdigest()


def make_plan(request: PlanRequest) -> Plan:
    """The plan. PlanError if the soak does not fit into the trial."""
    policy = _policy(request)
    sorted_ = _Sorted()
    for name in request.nodes:
        _sort(request, policy, name, sorted_)
    going = sorted_.going
    waves, pilots = pack((one.candidate for one in going.values()), _sizes(policy, going))
    made = _waves(policy, waves, pilots, going, request)
    return sealed(
        {
            "created_at": request.now.isoformat(timespec="seconds"),
            "fleet": request.inventory.fleet.name,
            "inventory_sha256": inventory_sha256(request.inventory),
            "rests_on": basis_of(request.inventory, going),
            "target": request.target,
            "any_hour": request.any_hour,
            "process_speed": request.process_speed,
            "policy": policy,
            "access_points": _bssids(request.inventory, made),
            "waves": made,
            "left_out": tuple(sorted_.left_out),
            "notices": tuple(
                n for name, one in going.items() for n in notices(name, one.state, request.older)
            ),
            "pilot": _pilot(policy, made),
            "copy_risks": copy_risks(
                (node for wave in made for node in wave.nodes), request.in_place, request.outages
            ),
            "expected_s": round(sum(wave.expected_s for wave in made), 1),
        }
    )


def _policy(request: PlanRequest) -> PushPolicy:
    said = request.inventory.policy
    soak_s = said.soak_s if request.soak_s is None else request.soak_s
    if room_s(said.trial_s, soak_s) < 0:
        both = f"a soak of {duration(soak_s)} and {KEEP_RESERVE_S:g} s to send `keep`"
        raise PlanError(TRIAL_TOO_SHORT, f"{both} are longer than a trial of {duration(said.trial_s)}")
    return PushPolicy(
        first_wave=said.first_wave,
        growth=said.growth,
        largest_wave=said.largest_wave,
        at_once=said.at_once,
        at_once_per_site=said.at_once_per_site,
        failures_allowed=said.failures_allowed,
        soak_s=soak_s,
        trial_s=said.trial_s,
        spare_time_margin=said.spare_time_margin,
        pilot_share_found=said.pilot_share_found,
    )


def _sizes(policy: PushPolicy, going: Mapping[str, _Going]) -> Sizes:
    """Waves no larger than what comes back and is soaked before the trial of its first node runs out."""
    slowest_s = max((one.times.expected_s for one in going.values()), default=1.0)
    turns = 1 + int(room_s(policy.trial_s, policy.soak_s) // max(slowest_s, 0.1))
    return Sizes(policy.first_wave, policy.growth, policy.largest_wave, policy.at_once * turns)


# -------------------------------------------------------------------- who goes, who stays out
def _sort(request: PlanRequest, policy: PushPolicy, name: str, into: _Sorted) -> None:
    node = request.inventory.node(name)
    found, entry = request.found.get(name, Found()), request.shelf.get(name)
    state = found.state
    if state is None:
        into.left_out.append(LeftOut(node=name, reason=found.absence, detail=found.detail or "not found"))
        return
    if entry is None:
        told = f"the shelf has no image for it (board {node.board}, target {request.target})"
        other = request.elsewhere.get(name)
        if other is not None:
            told += f", but for the target {other.target}: {how_to_say(other.target)}"
        into.left_out.append(LeftOut(node=name, reason="no-image", detail=told))
        return
    out = _why_not(request, node, entry, state)
    if out is not None:
        into.left_out.append(out)
        return
    took = times(request.outages[node.board], entry.size_bytes, policy.trial_s)
    weak = is_weak(state)
    weak_s = needed_s(took.weak_s, policy.spare_time_margin)
    wanted_s = weak_s if weak else needed_s(took.worst_s, policy.spare_time_margin)
    spare_s, told = node_spare(request.inventory, node, state, request.process_speed)
    if not suffices(spare_s, wanted_s):
        detail = f"{duration(spare_s)} ({told}), needed {duration(wanted_s)}: held off"
        if weak:
            detail += f"; {weak_words(state, request.outages[node.board].weak_trials)}"
        into.left_out.append(LeftOut(node=name, reason="spare-time-too-short", detail=detail))
        return
    candidate = _candidate(request.inventory, node, entry, state)
    into.going[name] = _Going(node, entry, state, candidate, took, spare_s, wanted_s, weak_s)


def _why_not(request: PlanRequest, node: Node, entry: ShelfEntry, state: NodeState) -> LeftOut | None:
    """Why the node stays out, apart from its water; None if it can go."""
    name = node.name
    if state.phase is Phase.ON_TRIAL:
        told = f"{state.image[:12]} is on trial for {duration(state.trial_left_s)} more"
        return LeftOut(node=name, reason="on-trial", detail=told)
    if name in request.older and not request.as_built:
        told = f"{request.older[name]}: run `tankfleet build`, then plan again; --as-built plans it as it is"
        return LeftOut(node=name, reason="older-inventory", detail=told)
    if state.image == entry.image:
        return LeftOut(node=name, reason="already-runs-it", detail=f"{entry.release} ({entry.image[:12]})")
    if state.class_id != entry.class_id:
        told = f"it is of class {state.class_id[:8]}, the image of {entry.class_id[:8]}: load it over USB"
        return LeftOut(node=name, reason="other-class", detail=told)
    if state.last_image == entry.image and state.phase is Phase.PUT_BACK and not request.again:
        if state.last_reason == BROWN_OUT:
            told = f"it fell back from {entry.release} after brown-outs: {SUPPLY_CURES}; then plan with --retry-failed"
            return LeftOut(node=name, reason="weak-supply", detail=told)
        told = f"it fell back from {entry.release} ({state.last_reason}); --retry-failed plans it anyway"
        return LeftOut(node=name, reason="was-put-back", detail=told)
    if entry.image in request.given_up and not request.again:
        told = f"push {request.given_up[entry.image]} gave {entry.release} up; --retry-failed plans it anyway"
        return LeftOut(node=name, reason="given-up", detail=told)
    if name in request.damaged:
        told = f"the shelf's image or ticket of {entry.release} is damaged: `tankfleet build {name}`"
        return LeftOut(node=name, reason="damaged-image", detail=told)
    if entry.sequence <= state.floor:
        told = (
            f"ticket {entry.sequence} is not above the node's floor {state.floor}, and no ticket can be: load it over "
            "USB"
        )
        return LeftOut(node=name, reason="ticket-too-old", detail=told)
    return _condition(request, node, state) or _wrong_hour(request, node) or _stand_in_down(request, node)


def _condition(request: PlanRequest, node: Node, state: NodeState) -> LeftOut | None:
    """Why its own condition keeps it out: a fault, unless the person named it; too little memory."""
    out = None if node.name in request.despite_fault else faulty(node.name, state)
    if out is None and short_of_memory(state, in_place=node.board in request.in_place):
        restart_s = request.outages[node.board].restart_s
        told = (
            f"{memory_words(state)}: restart it first, when its tanks can do without it for {duration(restart_s)} (its "
            "console's `restart`, or switch it off and on)"
        )
        out = LeftOut(node=node.name, reason="no-memory", detail=told)
    return out


def _wrong_hour(request: PlanRequest, node: Node) -> LeftOut | None:
    site = request.inventory.site_of(node)
    if request.any_hour or open_until(site, request.now) is not None:
        return None
    opens = next_opening(site, request.now)
    when = f"opens {opens.isoformat(timespec='minutes')}" if opens else "no window ahead"
    return LeftOut(node=node.name, reason="outside-window", detail=f"{site.name}: {when}")


def _stand_in_down(request: PlanRequest, node: Node) -> LeftOut | None:
    groups = supply_groups(request.inventory, node)
    for other in request.supply.sharing(groups):
        if other.name == node.name:
            continue
        state = request.found.get(other.name, Found()).state
        if state is None or state.phase is Phase.ON_TRIAL:
            how = "cannot be reached" if state is None else "is on trial"
            shared = groups & supply_groups(request.inventory, other)
            told = f"{other.name}, which stands in for it ({min(shared)}), {how}"
            return LeftOut(node=node.name, reason="stand-in-down", detail=told)
    return None


def supply_groups(inventory: Inventory, node: Node) -> frozenset[str]:
    """The supply groups of the tanks that the node serves."""
    tanks = (inventory.tank(served.tank) for served in node.serves)
    return frozenset(tank.supply_group for tank in tanks if tank.supply_group)


def with_stand_ins(inventory: Inventory, names: Iterable[str]) -> list[str]:
    """These nodes, and those that share a supply group with one of them, in the inventory's order."""
    chosen = set(names)
    groups: frozenset[str] = frozenset()
    for name in chosen:
        groups |= supply_groups(inventory, inventory.node(name))
    return [n.name for n in inventory.nodes if n.name in chosen or supply_groups(inventory, n) & groups]


def _candidate(inventory: Inventory, node: Node, entry: ShelfEntry, state: NodeState) -> Candidate:
    duties = [inventory.tank(served.tank).duty for served in node.serves]
    site = inventory.site_of(node)
    return Candidate(
        node=node.name,
        site=site.name,
        board=node.board,
        class_id=entry.class_id,
        duty=max(duties, key=CRITICALITY.__getitem__),
        access_point=used(site, node, state).name,
        groups=supply_groups(inventory, node),
    )


# -------------------------------------------------------------------- the waves of the document
def _waves(
    policy: PushPolicy,
    packed: Sequence[Sequence[Placed]],
    pilots: int,
    going: Mapping[str, _Going],
    request: PlanRequest,
) -> tuple[Wave, ...]:
    fleet = sum(len(placed) for placed in packed)
    bad = bad_count(fleet, policy.pilot_share_found) if fleet else 0
    waves: list[Wave] = []
    so_far = 0
    for number, placed in enumerate(packed, start=1):
        so_far += len(placed)
        pilot = number <= pilots
        waves.append(
            Wave(
                number=number,
                pilot=pilot,
                why="pilot: meets every firmware class, board and site" if pilot else "after a good pilot",
                expected_s=round(_wave_s(policy, [going[p.candidate.node] for p in placed]), 1),
                chance_found=round(chance_found(fleet, bad, so_far), 4),
                nodes=tuple(_planned(request, going[p.candidate.node], p.why) for p in placed),
            )
        )
    return tuple(waves)


def _wave_s(policy: PushPolicy, wave: Sequence[_Going]) -> float:
    """Expected seconds: as many turns as the caps ask for, then the soak."""
    per_site = Counter(one.candidate.site for one in wave)
    per_point = Counter(one.candidate.access_point for one in wave if one.candidate.access_point)
    turns = max(
        ceil(len(wave) / policy.at_once),
        *(ceil(n / policy.at_once_per_site) for n in per_site.values()),
        *(ceil(n / AT_ONCE_PER_ACCESS_POINT) for n in per_point.values()),
    )
    return turns * max(one.times.expected_s for one in wave) + policy.soak_s


def _planned(request: PlanRequest, one: _Going, why: str) -> PlannedNode:
    entry, took = one.entry, one.times
    return PlannedNode(
        node=one.node.name,
        site=one.candidate.site,
        board=one.node.board,
        access_point=one.candidate.access_point,
        access_point_from=used(request.inventory.site_of(one.node), one.node, one.state).said_by,
        class_id=entry.class_id,
        supply_groups=tuple(sorted(one.candidate.groups)),
        from_image=one.state.image,
        from_release=one.state.release,
        to_image=entry.image,
        to_release=entry.release,
        sequence=entry.sequence,
        ticket_sha256=entry.ticket,
        size_bytes=entry.size_bytes,
        why=why,
        spare_s=None if one.spare_s is None else round(one.spare_s, 1),
        spare_needed_s=round(one.needed_s, 1),
        spare_needed_weak_s=round(one.weak_needed_s, 1),
        send_s=round(took.send_s, 1),
        return_within_s=round(took.return_within_s, 1),
        fall_back_within_s=round(took.fall_back_within_s, 1),
        expected_s=round(took.expected_s, 1),
        in_place=one.node.board in request.in_place,
        despite_fault=one.node.name in request.despite_fault,
        as_built=one.node.name in request.older,
        tanks=tuple(tank_bounds(request.inventory.tank(s.tank)) for s in one.node.serves),
    )


def _bssids(inventory: Inventory, waves: Sequence[Wave]) -> dict[str, str]:
    """By BSSID, the names of the access points at the planned nodes' sites, for nodes that change over meanwhile."""
    sites = {node.site for wave in waves for node in wave.nodes}
    return {
        bssid: name
        for site in inventory.sites
        if site.name in sites
        for name, bssids in site.access_points.items()
        for bssid in bssids
    }


def _pilot(policy: PushPolicy, waves: Sequence[Wave]) -> dict[str, Any] | None:
    fleet = sum(len(wave.nodes) for wave in waves)
    if not fleet:
        return None
    pilot = sum(len(wave.nodes) for wave in waves if wave.pilot)
    bad = bad_count(fleet, policy.pilot_share_found)
    chance, needed = chance_found(fleet, bad, pilot), pilot_needed(fleet, bad)
    text = (
        f"a fault that hits {policy.pilot_share_found:.0%} of {counted(fleet, 'node')} ({bad}) shows in the pilot "
        f"of {pilot} with probability {chance:.2f}; for {CONFIDENCE:.2f} the pilot needs {counted(needed, 'node')}"
    )
    return Pilot(
        nodes=pilot,
        of=fleet,
        share=policy.pilot_share_found,
        bad=bad,
        chance_found=round(chance, 4),
        nodes_needed=needed,
        text=text,
    ).model_dump()
