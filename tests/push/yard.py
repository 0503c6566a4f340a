"""A project folder with an inventory, keys, a shelf of made-up images, and stand-ins for its nodes over
real HTTP.

In a process of its own, announced over multicast DNS: `python -m tests.push.yard FOLDER`. It says `ready`,
obeys lines on stdin (`NODE fault value`), and writes to FOLDER/taken.json which images each stand-in took
whole.
"""

from __future__ import annotations

import asyncio
import hashlib
import json
import sys
from contextlib import AsyncExitStack
from pathlib import Path
from typing import Any

from fleet.boards.board import load_board
from fleet.build import ticket as tickets
from fleet.build.entry import ShelfEntry
from fleet.build.shelf import record_bytes
from fleet.check.load import load_inventory
from fleet.keys.folder import KeyFolder
from fleet.push.context import PushContext
from fleet.render.firmware_class import class_of, vendor_id
from fleet.render.wanted import wanted_crcs
from fleet.workspace import Workspace
from tests.announcer import Announced, Announcer
from tests.fake_node import FakeNode

FLEET, DOMAIN, BOARD = "yard", "yard.example", "esp32-devkit"
IMAGE_BYTES = 60_000
RECORD: dict[str, Any] = {"made": "up"}
INVENTORY = """
fleet: {{name: yard, domain: yard.example}}
policy: {{first_wave: 1, soak: 1 s, trial: 60 s, spare_time_margin: 1.0, at_once_per_site: 8, {policy}}}
sites:
{sites}
tanks:
{tanks}
nodes:
{nodes}
"""
SITE = "  - {{name: site-{i}, time_zone: Europe/Lisbon, network: n}}\n"
TANK = """  - name: tank-{name}
    site: site-{i}
    duty: irrigation
    shape: {{kind: box, length: 20 m, width: 10 m, height: 2 m}}
    marks: [{{name: low, height: 400 mm}}, {{name: full, height: 1800 mm}}]
    largest_draw: 30 L/min
    pump: {{name: pump-{name}, does: fill, flow: 400 L/min}}
"""
NODE = """  - name: {name}
    board: esp32-devkit
    debounce: 20 s
    serves: [{{tank: tank-{name}, probes: {{low: IO32, full: IO33}}, pump_relay: {{pin: IO25}}}}]
"""


def lay_out(folder: Path, names: list[str], policy: str = "") -> PushContext:
    """Inventory, keys, and an old and a new image for each node on the shelf."""
    (folder / "inventory").mkdir(parents=True)
    text = INVENTORY.format(
        policy=policy or "growth: 3.0",
        sites="".join(SITE.format(i=i) for i in range(len(names))),
        tanks="".join(TANK.format(name=name, i=i) for i, name in enumerate(names)),
        nodes="".join(NODE.format(name=name) for name in names),
    )
    (folder / "inventory" / "all.yaml").write_text(text, encoding="utf-8")
    (folder / "tankfleet.toml").write_text('keys = "keys"\nfind_on = "127.0.0.1"\n', encoding="utf-8")
    keys = KeyFolder.create(folder / "keys")
    inventory = load_inventory(folder / "inventory")
    workspace = Workspace(folder, folder / "inventory", folder / "keys")
    field = PushContext(inventory, workspace, keys, "127.0.0.1", lambda: 1.0)
    for name in names:
        for release, sequence in (("1.0.0", 1), ("1.1.0", 100)):
            shelve(field, name, release, sequence)
    return field


def image_of(name: str, release: str) -> bytes:
    """A made-up image."""
    seed = hashlib.sha256(f"{name} {release}".encode()).digest()
    return (seed * (IMAGE_BYTES // len(seed) + 1))[:IMAGE_BYTES]


def class_id() -> str:
    """The class of all nodes of the yard."""
    return str(class_of(load_board(BOARD), "board").id(vendor_id(DOMAIN)))


def shelve(field: PushContext, name: str, release: str, sequence: int) -> ShelfEntry:
    """Put a made-up image with a good ticket on the shelf."""
    image = image_of(name, release)
    firmware_class = class_of(load_board(BOARD), "board")
    fields = tickets.TicketFields(
        sequence=sequence,
        vendor_id=vendor_id(DOMAIN).bytes,
        class_id=firmware_class.id(vendor_id(DOMAIN)).bytes,
        node=name,
        payload_format="esp32-bin",
        size_bytes=len(image),
        digest=hashlib.sha256(image).digest(),
        release=release,
    )
    ticket = tickets.sign(fields, field.keys.signing_key())
    crcs = wanted_crcs(field.inventory, field.keys.trust(), "board", [(name, release)])
    entry = ShelfEntry(
        node=name,
        image=hashlib.sha256(image).hexdigest(),
        ticket=hashlib.sha256(ticket).hexdigest(),
        sequence=sequence,
        release=release,
        board=BOARD,
        class_id=class_id(),
        class_name=firmware_class.name,
        target="board",
        payload_format="esp32-bin",
        size_bytes=len(image),
        built_at="2026-03-01T00:00:00Z",
        defect="",
        block_crc=crcs[name, release],
        record=hashlib.sha256(record_bytes(RECORD)).hexdigest(),
        inputs="0" * 64,
    )
    field.shelf.add(entry, image, ticket, RECORD)
    return entry


def stand_in(field: PushContext, name: str, **more: Any) -> FakeNode:
    """A stand-in for that node, which runs the old image."""
    vendor = vendor_id(DOMAIN)
    node = FakeNode(
        name,
        node_key=field.keys.node_key(name),
        trust=field.keys.trust(),
        vendor_id=vendor.bytes,
        class_id=class_of(load_board(BOARD), "board").id(vendor).bytes,
        payload_format="esp32-bin",
        image=image_of(name, "1.0.0"),
        site="site-0",
        board=BOARD,
        **{"trial_s": 60.0, "restart_s": 0.2, **more},
    )
    node.tanks = [tank_of(name)]
    return node


def tank_of(name: str, low: str = "wet", full: str = "dry", relay: str = "off") -> dict[str, Any]:
    """Its one tank, half full unless told otherwise."""
    why = {("wet", "dry"): "between", ("wet", "wet"): "above-high", ("dry", "dry"): "below-low"}
    return {
        "name": f"tank-{name}",
        "marks": [
            {"name": "low", "height_mm": 400, "state": low},
            {"name": "full", "height_mm": 1800, "state": full},
        ],
        "level": {("wet", "dry"): 1, ("wet", "wet"): 2, ("dry", "dry"): 0}.get((low, full)),
        "fault": "none" if (low, full) in why else "contradictory",
        "pump": {
            "does": "fill",
            "relay": relay,
            "why": why.get((low, full), "fault"),
            "run_s": 0,
            "starts": 0,
        },
    }


def inverted_under(node: FakeNode, release: str) -> None:
    """From its next start on: the probes read the other way round while it runs that release."""

    def on_boot(booted: FakeNode) -> None:
        bad = booted.slots.running.release == release
        booted.tanks = [tank_of(booted.name, "dry", "wet") if bad else tank_of(booted.name)]

    node.on_boot = on_boot


async def live(folder: Path, names: list[str]) -> None:
    """Announced stand-ins, steered by lines on stdin, until it ends."""
    inventory = load_inventory(folder / "inventory")
    workspace = Workspace(folder, folder / "inventory", folder / "keys")
    field = PushContext(inventory, workspace, KeyFolder(folder / "keys"), "127.0.0.1", lambda: 1.0)
    async with AsyncExitStack() as stack:
        announcer = await stack.enter_async_context(Announcer())
        nodes = {}
        for name in names or [node.name for node in inventory.nodes]:
            nodes[name] = await stack.enter_async_context(stand_in(field, name))
            announcer.nodes.append(Announced(name, nodes[name].address, nodes[name].port, nodes[name].txt()))
        sys.stdout.write("ready\n")
        sys.stdout.flush()
        loop = asyncio.get_running_loop()
        while line := await loop.run_in_executor(None, sys.stdin.readline):
            _obey(folder, nodes, line.split())
            sys.stdout.write("ok\n")
            sys.stdout.flush()


def _obey(folder: Path, nodes: dict[str, FakeNode], words: list[str]) -> None:
    if words[0] == "report":
        report = {
            name: {
                "taken": node.images_taken,
                "release": node.slots.running.release,
                "phase": node.slots.phase,
                "puts": sum(1 for method, _ in node.heard if method == "PUT"),
            }
            for name, node in nodes.items()
        }
        (folder / "report.json").write_text(json.dumps(report), encoding="utf-8")
    elif words[0] == "inverted":
        for node in nodes.values():
            inverted_under(node, words[1])
    else:
        for node in nodes.values():
            setattr(node.faults, words[0], json.loads(words[1]))


if __name__ == "__main__":
    asyncio.run(live(Path(sys.argv[1]), sys.argv[2:]))
