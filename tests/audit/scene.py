"""A fleet to audit: the demo inventory with all nodes found, well, and on the newest image of the shelf."""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

from fleet.audit.audit import audit
from fleet.audit.facts import Facts, JournalFacts, ShelfFacts
from fleet.audit.report import NodeLine, Report
from fleet.boards.board import load_board
from fleet.build.entry import ShelfEntry
from fleet.check.load import load_inventory
from fleet.find.match import Match, Status
from fleet.link.state import NodeState
from fleet.model.inventory import Inventory
from fleet.render.firmware_class import class_of, vendor_id
from fleet.render.wanted import wanted_crcs
from fleet.water.filling import rising
from tests.link_helpers import trust_in

FOLDER = Path(__file__).resolve().parent.parent.parent / "inventory"
INVENTORY = load_inventory(FOLDER)
NODES = [node.name for node in INVENTORY.nodes]
RELEASES = ("1.0.0", "1.1.0")
TRUST = trust_in()


def digest(node: str, release: str) -> str:
    """The image of that release."""
    return hashlib.sha256(f"{node} {release}".encode()).hexdigest()


def crc(node: str, release: str, inventory: Inventory = INVENTORY) -> str:
    """The checksum of the node block, as rendered today."""
    return wanted_crcs(inventory, TRUST, "host", [(node, release)])[node, release]


def entry(node: str, release: str, sequence: int, **changes: Any) -> ShelfEntry:
    """An entry of the shelf."""
    board = load_board(INVENTORY.node(node).board)
    known = ShelfEntry(
        node=node,
        image=digest(node, release),
        ticket=digest(node, f"ticket {release}"),
        sequence=sequence,
        release=release,
        board=board.id,
        class_id=str(class_of(board, "host").id(vendor_id(INVENTORY.fleet.domain))),
        class_name=class_of(board, "host").name,
        target="host",
        payload_format="host-elf",
        size_bytes=300_000,
        built_at="2026-03-01T10:00:00Z",
        defect="",
        block_crc=crc(node, release),
    )
    return replace(known, **changes)


def shelf(*releases: str) -> ShelfFacts:
    """Every node's images of these releases, rising sequences."""
    return ShelfFacts({node: [entry(node, r, i + 1) for i, r in enumerate(releases)] for node in NODES})


def state(node: str, release: str = "1.1.0", **changes: Any) -> NodeState:
    """A healthy node of the inventory that runs its image of that release."""
    part = INVENTORY.node(node)
    document = {
        "v": 1,
        "node": node,
        "site": INVENTORY.site_of(part).name,
        "board": part.board,
        "mac": part.mac or "02:00:00:00:00:07",
        "class": entry(node, release, 1).class_id,
        "release": release,
        "image": digest(node, release),
        "sequence": 2,
        "floor": 2,
        "phase": "kept",
        "trial_left_s": 0,
        "older_image": None,
        "last_image": None,
        "last_reason": None,
        "boots": 3,
        "reset": "restart",
        "uptime_s": 3600,
        "free_bytes": 40_000,
        "rssi_dbm": None,
        "nonce": "A" * 22,
        "block_crc": crc(node, release),
        "faults": [],
        "tanks": [tank(served.tank) for served in part.serves],
        **changes,
    }
    return NodeState.model_validate_json(json.dumps(document))


def tank(name: str, **changes: Any) -> dict[str, Any]:
    """A tank with its lowest mark wet."""
    marks = [
        {"name": m.name, "height_mm": round(m.height_m * 1000), "state": "wet" if i == 0 else "dry"}
        for i, m in enumerate(rising(INVENTORY.tank(name)))
    ]
    return {"name": name, "marks": marks, "level": 1, "fault": "none", "pump": None, **changes}


def joined(bssid: str, rssi_dbm: int | None = -61, **changes: Any) -> dict[str, Any]:
    """What a node's state says that is joined to that access point."""
    network = {"phase": "kept", "on": "kept", "trial_left_s": 0, "bssid": bssid, "channel": 6}
    return {"network": network, "rssi_dbm": rssi_dbm, **changes}


def with_access_points(points: dict[str, tuple[str, ...]], site: str) -> Inventory:
    """The inventory with these access points listed at that site."""
    sites = tuple(
        one.model_copy(update={"access_points": points}) if one.name == site else one
        for one in INVENTORY.sites
    )
    return Inventory(**(dict(INVENTORY) | {"sites": sites}))


def found(node: str, **changes: Any) -> Match:
    """A node that was found, with changes to its state."""
    return Match(node, Status.FOUND, "10.0.0.1", 80, {}, state(node, **changes))


def facts(*special: Match, journal: JournalFacts | None = None, **changes: Any) -> Facts:
    """Everything well, but for the matches given; more than one match of a node may be given."""
    names = {match.node for match in special}
    matches = [found(node) for node in NODES if node not in names] + list(special)
    pairs = {(m.node, m.state.release) for m in matches if m.state and m.node in NODES}
    pairs |= {(node, RELEASES[-1]) for node in NODES}
    known = Facts(
        INVENTORY,
        shelf(*RELEASES),
        journal or JournalFacts(),
        matches,
        wanted_crcs(INVENTORY, TRUST, "host", pairs),
    )
    return replace(known, **changes)


def audited(*special: Match, **changes: Any) -> tuple[Report, list[tuple[str, str, str]]]:
    """The report, and its findings (code, subject, what) without those that the demo inventory always has."""
    report = audit(facts(*special, **changes))
    return report, [
        (f.code.code, str(f.subject), f.what)
        for f in report.findings
        if f.code.code not in ("AUD122", "AUD140", "AUD141")
    ]


def line(report: Report, node: str) -> NodeLine:
    """The line of one node."""
    return next(one for one in report.lines if one.node == node)
