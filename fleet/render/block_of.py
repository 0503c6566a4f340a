"""From the model to the node block: pins, marks and pump values of one node."""

from __future__ import annotations

import re
from math import ceil
from typing import TYPE_CHECKING

from fleet.errors import RenderError
from fleet.facts.clear_button import clear_gpio
from fleet.limits import POWER_UP_HOLD_S, RELEASE_CHARS, SAMPLE_PERIOD_MS
from fleet.model.tank import height_mm
from fleet.render.block_check import refuse_bad
from fleet.render.codes import BAD_RELEASE, DOES_NOT_FIT, NO_PROBE_PIN
from fleet.render.firmware_class import class_of, payload_format, vendor_id
from fleet.render.node_block import (
    LAYOUTS,
    NETWORK_TRAITS,
    NO_FEEDS,
    NO_PIN,
    PAYLOADS,
    PULLS,
    PUMP_DOES,
    MarkBlock,
    NodeBlock,
    TankBlock,
)
from fleet.water.crossing import debounce_ms, debounce_s
from fleet.water.filling import pump_marks, pump_times, rising

if TYPE_CHECKING:
    from fleet.boards.board import Board
    from fleet.keys.trust import Trust
    from fleet.model.inventory import Inventory
    from fleet.model.node import Node, Served
    from fleet.model.tank import Mark, Tank
    from fleet.render.firmware_class import Target
    from fleet.water.filling import PumpTimes

_RELEASE = re.compile(r"[0-9A-Za-z.+_-]+")


def release_text(release: str, defect: str) -> str:
    """The release text of an image: that of the fleet, with the defect's name behind it on the bench.

    At most RELEASE_CHARS: the release is cut short before the defect's name is. RenderError for a release
    that is too long or has other characters than letters, digits, and `.+_-`.
    """
    if len(release) > RELEASE_CHARS or not _RELEASE.fullmatch(release):
        raise RenderError(BAD_RELEASE, f"release {release!r}")
    if not defect:
        return release
    suffix = f"+{defect}"
    return release[: RELEASE_CHARS - len(suffix)] + suffix


def block_of(
    inventory: Inventory, node: Node, board: Board, trust: Trust, target: Target, release: str
) -> NodeBlock:
    """The node block of one node. RenderError if a pin is missing (RND104), a value does not fit (RND103), or the node
    would refuse the block (RND107)."""
    block = unchecked_block(inventory, node, board, trust, target, release)
    refuse_bad(block)
    return block


def unchecked_block(
    inventory: Inventory, node: Node, board: Board, trust: Trust, target: Target, release: str
) -> NodeBlock:
    """The same without the node's own check. RenderError if a pin is missing."""
    vendor = vendor_id(inventory.fleet.domain)
    site = inventory.site_of(node)
    return NodeBlock(
        node=node.name,
        site=site.name,
        board=board.id,
        release=release,
        vendor_id=vendor.bytes,
        class_id=class_of(board, target).id(vendor).bytes,
        signing_key=trust.point,
        key_id=trust.key_id,
        debounce_ms=debounce_ms(node),
        sample_period_ms=SAMPLE_PERIOD_MS,
        trial_s=ceil(inventory.policy.trial_s),
        power_up_hold_s=POWER_UP_HOLD_S,
        layout=LAYOUTS[board.layout],
        payload_format=PAYLOADS[payload_format(board, target)],
        tanks=tuple(_tank_block(node, served, inventory.tank(served.tank), board) for served in node.serves),
        network_lost_s=ceil(site.network_lost_s),
        clear_pin=_clear_pin(node, board),
        network_traits=sum(NETWORK_TRAITS[trait] for trait in set(site.network_traits)),
        feed_pins=_feed_pins(node, board),
    )


def _clear_pin(node: Node, board: Board) -> int:
    try:
        gpio = clear_gpio(node, board)
    except KeyError as error:
        what = f"node {node.name}: board {board.id} has no pin {node.clear_button} (its button)"
        raise RenderError(NO_PROBE_PIN, what) from error
    return NO_PIN if gpio is None else gpio


def _feed_pins(node: Node, board: Board) -> bytes:
    # A feed without resistors (INV466, accepted) feeds nothing: the node refuses a block that names it.
    feeds = [
        NO_PIN
        if served.pull_up_feed is None or not served.is_fed
        else _gpio(node, board, served.pull_up_feed, f"the feed of the probes at {served.tank}")
        for served in node.serves
    ]
    return (bytes(feeds) + NO_FEEDS)[: len(NO_FEEDS)]


def _tank_block(node: Node, served: Served, tank: Tank, board: Board) -> TankBlock:
    marks = rising(tank)
    blocks = tuple(_mark_block(node, served, mark, board) for mark in marks)
    times = _pump_times(tank, debounce_s(node))
    if tank.pump is None or times is None or served.pump_relay is None:
        return TankBlock(tank.name, blocks)
    start, stop = pump_marks(tank, tank.pump)
    return TankBlock(
        name=tank.name,
        marks=blocks,
        pump_does=PUMP_DOES[tank.pump.does],
        pump_pin=_gpio(node, board, served.pump_relay.pin, f"the pump relay of tank {tank.name}"),
        pump_active_high=int(served.pump_relay.active == "high"),
        pump_on_mark=marks.index(start),
        pump_off_mark=marks.index(stop),
        longest_run_s=times.longest_run.seconds,
        no_rise_s=times.no_rise.seconds,
        shortest_off_s=times.shortest_off.seconds,
        first_rise_s=times.first_rise.seconds if times.first_rise else 0,
    )


def _pump_times(tank: Tank, debounced_s: float) -> PumpTimes | None:
    try:
        return pump_times(tank, debounced_s=debounced_s)
    except OverflowError as error:
        raise RenderError(DOES_NOT_FIT, f"tank {tank.name}: its pump would never move the level") from error


def _mark_block(node: Node, served: Served, mark: Mark, board: Board) -> MarkBlock:
    what = f"mark {mark.name} of tank {served.tank}"
    if mark.name not in served.probes:
        raise RenderError(NO_PROBE_PIN, f"node {node.name} names no pin for {what}")
    pin = _gpio(node, board, served.probes[mark.name], what)
    pull = "fed" if served.is_fed else served.pull_up
    return MarkBlock(mark.name, height_mm(mark.height_m), pin, PULLS[pull])


def _gpio(node: Node, board: Board, name: str, what: str) -> int:
    try:
        gpio = board.pin(name).gpio
    except KeyError as error:
        raise RenderError(
            NO_PROBE_PIN, f"node {node.name}: board {board.id} has no pin {name} ({what})"
        ) from error
    if gpio == NO_PIN:
        raise RenderError(NO_PROBE_PIN, f"node {node.name}: pin {name} cannot be used ({what})")
    return gpio
