"""What a plan and a push have to know of the world: the shelf, the nodes as found, the bench's speed.
Reads only."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from fleet.boards.board import load_board
from fleet.build.older import older_images
from fleet.build.sequence import reissue
from fleet.build.shelf import Shelf
from fleet.build.ticket import SEQUENCE_MAX
from fleet.errors import PlanError
from fleet.find.find import find
from fleet.find.match import Status
from fleet.keys.derive import node_key
from fleet.push.basis import changed_in
from fleet.push.basis_places import placed
from fleet.push.codes import OTHER_FLEET
from fleet.push.history import given_up_at
from fleet.push.outage import outage_of
from fleet.push.plan import Plan, PresentState
from fleet.push.planning import Found, PlanRequest, inventory_sha256, make_plan, with_stand_ins
from fleet.render.firmware_class import class_of, vendor_id

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
    from datetime import datetime

    from fleet.boards.board import Outage
    from fleet.build.entry import ShelfEntry
    from fleet.find.match import Match
    from fleet.find.search import Tell
    from fleet.keys.folder import KeyFolder
    from fleet.model.inventory import Inventory
    from fleet.workspace import Workspace

Target = Literal["board", "host"]


@dataclass(frozen=True, slots=True)
class PushContext:
    """Where a push happens. `interface`: address of the interface to look for nodes on, None for all; `bench_speed`:
    how many times as fast as the clock the water of the bench runs."""

    inventory: Inventory
    workspace: Workspace
    keys: KeyFolder
    interface: str | None
    bench_speed: Callable[[], float]

    @property
    def shelf(self) -> Shelf:
        """The project's shelf."""
        return Shelf(self.workspace.shelf_dir)

    def key_of(self) -> Callable[[str], bytes]:
        """What gives each node's key, from the fleet key read once."""
        fleet_key = self.keys.fleet_key()
        return lambda node: node_key(fleet_key, node)


async def look(field: PushContext, nodes: Sequence[str], timeout_s: float, tell: Tell) -> list[Match]:
    """Look for these nodes, and ask each for its signed state."""
    return await find(
        field.inventory,
        field.key_of(),
        field.workspace,
        interface=field.interface,
        timeout_s=timeout_s,
        nodes=nodes,
        tell=tell,
    )


def found_of(matches: Iterable[Match]) -> dict[str, Found]:
    """What became of each node that was looked for, as a plan wants it."""
    found: dict[str, Found] = {}
    for match in matches:
        told = "; ".join(match.evidence)
        if match.reachable:
            found[match.node] = Found(state=match.state)
        elif match.status is Status.MISSING:
            found.setdefault(match.node, Found(absence="missing", detail=told))
        elif match.status is Status.CROWDED:
            found.setdefault(match.node, Found(absence="crowded", detail=told))
        else:
            found.setdefault(match.node, Found(absence="unreachable", detail=f"{match.status}: {told}"))
    return found


def newest_entries(field: PushContext, nodes: Collection[str], target: Target) -> dict[str, ShelfEntry]:
    """The newest image on the shelf for each node's class and that target; nodes without one are left out."""
    vendor, shelf = vendor_id(field.inventory.fleet.domain), field.shelf
    entries = {}
    for name in nodes:
        board = load_board(field.inventory.node(name).board)
        entry = shelf.newest(name, str(class_of(board, target).id(vendor)))
        if entry is not None:
            entries[name] = entry
    return entries


def older(field: PushContext, entries: Mapping[str, ShelfEntry], target: Target) -> dict[str, str]:
    """By node, of those whose image is not what the inventory gives now: what differs. KeyFolderError without keys."""
    return older_images(field.shelf, field.inventory, field.keys.trust(), target, entries.values())


def outages(inventory: Inventory, target: Target) -> dict[str, Outage]:
    """What an update takes, by board."""
    return {board: outage_of(load_board(board), target) for board in {node.board for node in inventory.nodes}}


def copying_in_place(inventory: Inventory, target: Target) -> frozenset[str]:
    """The boards whose boot loader copies a new image over the old one; none on the bench, where a cut copy is done
    again."""
    if target == "host":
        return frozenset()
    boards = {node.board for node in inventory.nodes}
    return frozenset(board for board in boards if load_board(board).layout == "copy-in-place")


def process_speed(field: PushContext, target: Target) -> float:
    """How many times as fast as the clock the water runs: 1, but on the bench."""
    return field.bench_speed() if target == "host" else 1.0


@dataclass(frozen=True, slots=True)
class PlanOptions:
    """What the person wants of a plan; `nodes` empty: all."""

    nodes: tuple[str, ...]
    target: Target
    any_hour: bool = False
    again: bool = False
    soak_s: float | None = None
    despite_fault: frozenset[str] = frozenset()
    as_built: bool = False


def chosen(inventory: Inventory, wishes: PlanOptions) -> list[str]:
    """The names of the chosen nodes, in the inventory's order."""
    return [n.name for n in inventory.nodes if not wishes.nodes or n.name in wishes.nodes]


async def plan_push(
    field: PushContext, wishes: PlanOptions, now: datetime, timeout_s: float, tell: Tell
) -> Plan:
    """Look for the nodes, and plan. A node whose floor is above the ticket on the shelf gets a new ticket
    first."""
    names = chosen(field.inventory, wishes)
    matches = await look(field, with_stand_ins(field.inventory, names), timeout_s, tell)
    entries = newest_entries(field, names, wishes.target)
    request = PlanRequest(
        inventory=field.inventory,
        nodes=names,
        shelf=entries,
        found=found_of(matches),
        outages=outages(field.inventory, wishes.target),
        target=wishes.target,
        now=now,
        elsewhere=newest_entries(field, names, "host" if wishes.target == "board" else "board"),
        any_hour=wishes.any_hour,
        again=wishes.again,
        despite_fault=wishes.despite_fault,
        soak_s=wishes.soak_s,
        process_speed=process_speed(field, wishes.target),
        in_place=copying_in_place(field.inventory, wishes.target),
        older=older(field, entries, wishes.target),
        as_built=wishes.as_built,
        given_up=given_up_at(field.workspace.journal_path),
    )
    plan = make_plan(request)
    old = _too_old(plan)
    wanted = [*old, *(node.node for _, node in plan.nodes())]
    damaged = frozenset(name for name in wanted if not field.shelf.can_be_sent(entries[name]))
    if damaged:
        request = replace(request, damaged=damaged)
        plan = make_plan(request)
        old = _too_old(plan)
    if not old:
        return plan
    key = field.keys.signing_key()
    for name in old:
        state = request.found[name].state
        floor = state.floor if state is not None else 0
        if floor < SEQUENCE_MAX:
            entries[name] = reissue(field.shelf, entries[name], key, int(now.timestamp()), floor)
    return make_plan(request)


def _too_old(plan: Plan) -> list[str]:
    return [out.node for out in plan.left_out if out.reason == "ticket-too-old"]


def standing(field: PushContext, plan: Plan, matches: Iterable[Match]) -> PresentState:
    """What the plan rests on, as it stands now. PlanError if the plan is for another fleet."""
    fleet = field.inventory.fleet.name
    if plan.fleet != fleet:
        raise PlanError(OTHER_FLEET, f"the plan is for the fleet {plan.fleet!r}, this is {fleet!r}")
    known = {node.name for node in field.inventory.nodes}
    names = [node.node for _, node in plan.nodes() if node.node in known]
    entries = newest_entries(field, names, plan.target)
    return PresentState(
        inventory_sha256=inventory_sha256(field.inventory),
        shelf={name: (entry.image, entry.ticket) for name, entry in entries.items()},
        running={m.node: m.state.image for m in matches if m.reachable and m.state is not None},
        process_speed=process_speed(field, plan.target),
        changed=placed(changed_in(plan.rests_on, field.inventory, names), field.workspace),
        older=older(field, entries, plan.target),
    )
