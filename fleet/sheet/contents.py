"""What a sheet says: from the inventory to plain data, ready to be laid out. Pure: the date is passed in."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, Literal

from fleet.facts.node import about_node
from fleet.facts.site import about_site
from fleet.facts.tank import about_tank, node_of
from fleet.finding import Subject, SubjectKind
from fleet.sheet.care_steps import dc_contactor, gas, isolated, told
from fleet.sheet.settings import SettingLine, node_settings
from fleet.sheet.step import Steps
from fleet.sheet.steps import (
    before_power,
    first_power,
    first_update,
    probe_steps,
    water_steps,
)
from fleet.sheet.tank_part import TankPart, tank_part
from fleet.sheet.wiring import Wire, board_of, drawn_board, wires_of
from fleet.sheet.words import window_words
from fleet.water.quantities import Units

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from fleet.facts.site import NodeLine, TankLine
    from fleet.finding import Finding
    from fleet.model.inventory import Inventory
    from fleet.model.node import Node
    from fleet.sheet.board_svg import DrawnBoard
    from fleet.water.cautions import Caution

Kind = Literal["node", "tank", "site"]
KINDS: Final[tuple[Kind, ...]] = ("node", "tank", "site")
Facts = tuple[tuple[str, str], ...]
"""Names with their values."""


@dataclass(frozen=True, slots=True)
class Minded:
    """A caution, and the tanks that it is about (empty: all of the sheet)."""

    caution: Caution
    tanks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Known:
    """A finding of `check` that stands open or that a ruling accepts, with the reason that it holds by."""

    code: str
    stands: str
    what: str


@dataclass(frozen=True, slots=True)
class Sheet:
    """One node's, or one tank's without a node: everything that is taken up the ladder."""

    kind: str
    name: str
    site: str
    facts: Facts
    board: DrawnBoard | None
    wires: tuple[Wire, ...]
    tanks: tuple[TankPart, ...]
    settings: tuple[SettingLine, ...]
    steps: tuple[Steps, ...]
    cautions: tuple[Minded, ...]
    mains: bool
    """Whether a licensed electrician signs as well."""
    known: tuple[Known, ...] = ()

    @property
    def sources(self) -> str:
        """Where the cautions come from, each matter once."""
        told = (f"{minded.caution.matter}: {minded.caution.source}" for minded in self.cautions)
        return "; ".join(dict.fromkeys(told))


@dataclass(frozen=True, slots=True)
class Cover:
    """The first page of a site's sheets."""

    name: str
    title: str
    facts: Facts
    windows: tuple[str, ...]
    nodes: tuple[NodeLine, ...]
    tanks: tuple[TankLine, ...]
    capacities: tuple[str, ...]
    """Of `tanks`, in words."""
    stock: tuple[tuple[str, int, int], ...]
    """Spare boards: kind, how many, and how many nodes there are of that kind."""


@dataclass(frozen=True, slots=True)
class Document:
    """All sheets of one run; `cover` for a site."""

    title: str
    fleet: str
    printed: str
    cover: Cover | None
    sheets: tuple[Sheet, ...]


def contents(
    inventory: Inventory, kind: Kind, name: str, units: Units, printed: date, findings: Sequence[Finding] = ()
) -> Document:
    """The sheets of a node, a tank or a site; KeyError if there is none of that name. `findings` are those of its
    check: what stands open and what a ruling accepts is on the sheets that it is about."""
    cover = None
    if kind == "node":
        sheets = [_node_sheet(inventory, inventory.node(name), units)]
    elif kind == "tank":
        sheets = [_tank_sheet(inventory, name, units)]
    else:
        cover = _cover(inventory, name, units)
        sheets = [_node_sheet(inventory, inventory.node(node.name), units) for node in cover.nodes]
        sheets += [_tank_sheet(inventory, tank.name, units) for tank in cover.tanks if tank.node is None]
    sheets = [replace(sheet, known=_known(sheet, findings)) for sheet in sheets]
    return Document(f"{kind} {name}", inventory.fleet.name, printed.isoformat(), cover, tuple(sheets))


def _known(sheet: Sheet, findings: Sequence[Finding]) -> tuple[Known, ...]:
    """Those about the node or one of its tanks, or a part of them."""
    about = {Subject(SubjectKind(sheet.kind), sheet.name)}
    about |= {Subject(SubjectKind.TANK, part.facts.name) for part in sheet.tanks}
    mine = [finding for finding in findings if finding.subject.whole in about]
    return tuple(
        Known(
            f.code.code, str(f.ruling) if f.ruling else f"open ({f.severity.value})", f.what.replace("`", "")
        )
        for f in mine
    )


def _node_sheet(inventory: Inventory, node: Node, units: Units) -> Sheet:
    facts, board = about_node(inventory, node.name), board_of(node)
    wires = wires_of(inventory, node, facts.tanks, units)
    parts = tuple(tank_part(inventory, tank, wires, units) for tank in facts.tanks)
    return Sheet(
        kind="node",
        name=node.name,
        site=facts.site,
        facts=_said(
            ("place", facts.place),
            ("contact", inventory.site(facts.site).contact),
            ("board", board.title),
            ("MAC", facts.mac or "not claimed yet"),
            ("serves", ", ".join(facts.tanks)),
            ("access point", facts.access_point or ""),
            ("network", inventory.site(facts.site).network),
            ("fitted", facts.fitted or ""),
            ("spare boards", f"{facts.spare_boards} {board.id} at {facts.site}"),
            ("notes", " ".join((facts.notes, *facts.board_notes)).strip()),
        ),
        board=drawn_board(board, wires),
        wires=wires,
        tanks=parts,
        settings=node_settings(inventory, node),
        steps=_node_steps(inventory, node, parts, units),
        cautions=_minded(parts),
        mains=_mains(parts),
    )


def _node_steps(
    inventory: Inventory, node: Node, parts: tuple[TankPart, ...], units: Units
) -> tuple[Steps, ...]:
    board = board_of(node)
    tanks = tuple(inventory.tank(part.facts.name) for part in parts)
    steps = [before_power(node, board, tanks), first_power(inventory, node, board)]
    several = len(parts) > 1
    for served, tank, part in zip(node.serves, tanks, parts, strict=True):
        number = len(steps) + 1
        steps.append(probe_steps(number, tank, node, board, served, part.facts, units, several=several))
        watered = water_steps(number + 1, tank, part.facts, units, several=several)
        if watered and served.pump_relay:
            steps.append(watered)
    steps.append(first_update(len(steps) + 1, node, tuple(part.facts for part in parts)))
    return tuple(steps)


def _tank_sheet(inventory: Inventory, name: str, units: Units) -> Sheet:
    facts, node = about_tank(inventory, name, units), node_of(inventory, name)
    wires = wires_of(inventory, node, (name,), units) if node else ()
    part = tank_part(inventory, name, wires, units)
    steps: list[Steps] = []
    if node:
        served = next(each for each in node.serves if each.tank == name)
        tank = inventory.tank(name)
        probing = probe_steps(1, tank, node, board_of(node), served, facts, units, several=False)
        first = (*told((tank,)), *gas((tank,)), *isolated((tank,)), *dc_contactor((tank,)))
        steps.append(replace(probing, steps=(*first, *probing.steps)))
        watered = water_steps(2, tank, facts, units, several=False)
        if watered and served.pump_relay:
            steps.append(watered)
    return Sheet(
        kind="tank",
        name=name,
        site=facts.site,
        facts=_said(
            ("contact", inventory.site(facts.site).contact),
            ("duty", facts.duty),
            ("served by", facts.node or "no node"),
            ("node's place", node.place if node else ""),
            ("stand-ins", ", ".join(facts.stand_ins)),
            ("notes", facts.notes),
        ),
        board=drawn_board(board_of(node), wires) if node else None,
        wires=wires,
        tanks=(part,),
        settings=(),
        steps=tuple(steps),
        cautions=_minded((part,)),
        mains=_mains((part,)),
    )


def _cover(inventory: Inventory, name: str, units: Units) -> Cover:
    site = about_site(inventory, name)
    return Cover(
        name=site.name,
        title=site.title or site.name,
        facts=_said(
            ("contact", site.contact),
            ("time zone", site.time_zone),
            ("network", site.network),
        ),
        windows=tuple(window_words(window) for window in site.windows),
        nodes=site.nodes,
        tanks=site.tanks,
        capacities=tuple(units.volume(tank.capacity_l) for tank in site.tanks),
        stock=tuple((stock.board, stock.count, stock.nodes) for stock in site.spare_boards),
    )


def _minded(parts: tuple[TankPart, ...]) -> tuple[Minded, ...]:
    """Each caution once, with the tanks that it is about, the most dangerous first as each tank has them."""
    ranked = [
        (rank, caution, part.facts.name) for part in parts for rank, caution in enumerate(part.facts.cautions)
    ]
    by_caution: dict[Caution, list[str]] = {}
    for _, caution, tank in sorted(ranked, key=lambda each: each[0]):
        by_caution.setdefault(caution, []).append(tank)
    names = [part.facts.name for part in parts]
    return tuple(
        Minded(caution, () if len(tanks) == len(parts) else tuple(t for t in names if t in tanks))
        for caution, tanks in by_caution.items()
    )


def _mains(parts: tuple[TankPart, ...]) -> bool:
    return any(part.facts.pump is not None and part.facts.pump.phase != "dc" for part in parts)


def _said(*facts: tuple[str, str]) -> Facts:
    return tuple((name, value) for name, value in facts if value)
