"""What the inventory says and means of one node, and of one kind of board: pins, uses, outage. Pure."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from fleet.boards.board import load_board
from fleet.boards.pins import label, may, probe_use, relay_use
from fleet.boards.uses import Use
from fleet.facts.clear_button import clear_gpio
from fleet.facts.electrodes import ElectrodeFacts, about_electrodes
from fleet.facts.tank import Need, update_need
from fleet.limits import DEBOUNCE_MS

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.boards.board import Board, Load, Pin, Reset
    from fleet.model.inventory import Inventory
    from fleet.model.node import Node, Served


@dataclass(frozen=True, slots=True)
class PinUse:
    """A pin in use: `for_what` is `probe`, `probe feed` or `pump relay`, `answer` whether it is fit for that."""

    pin: str
    """By the name that the inventory uses, or by the first one of the board where that is `GPIOn`."""
    gpio: int
    for_what: str
    tank: str
    mark: str | None
    pull_up: str | None
    pull_up_ohm: float | None
    """Null where it is outside and its value is not given."""
    fed_from: str | None
    """Of a probe with a resistor outside: the pin that feeds it while the probes are read; null: the supply."""
    active: str | None
    answer: str
    reason: str
    source: str


@dataclass(frozen=True, slots=True)
class NodeFacts:
    """All of one node."""

    name: str
    site: str
    board: str
    board_title: str
    platform: str
    layout: str
    mac: str | None
    place: str
    fitted: str | None
    access_point: str | None
    debounce_s: float
    clear_pin: str | None
    """The pin of the button that clears faults that stay; None for none."""
    tanks: tuple[str, ...]
    pins: tuple[PinUse, ...]
    electrodes: tuple[ElectrodeFacts, ...]
    """Of the tanks whose electrodes and water are given."""
    free_pins: tuple[str, ...]
    """Pins that could take another probe on the chip's own pull-up without second thoughts."""
    spare_boards: int
    """Of its kind, at its site."""
    need: Need
    board_notes: tuple[str, ...]
    notes: str


@dataclass(frozen=True, slots=True)
class Fitness:
    """Whether a pin may serve one use."""

    answer: str
    reason: str
    source: str


@dataclass(frozen=True, slots=True)
class BoardPin:
    """A pin of a kind of board, with its fitness for each use."""

    pin: str
    gpio: int
    aliases: tuple[str, ...]
    probe: Fitness
    probe_external: Fitness
    relay: Fitness
    """Active high."""
    relay_low: Fitness
    feed: Fitness
    """For the resistors outside of a tank's probes."""
    analog: Fitness
    spare: Fitness
    """For a wire laid for later."""
    reset: Reset
    """What it is from reset until the firmware sets it."""
    loads: tuple[Load, ...]
    """What the board itself hangs on it."""
    also: tuple[str, ...]
    """What else is known of it, each with its source."""


@dataclass(frozen=True, slots=True)
class BoardFacts:
    """All of one kind of board."""

    id: str
    title: str
    chip: str
    platform: str
    platformio_board: str
    framework: str
    layout: str
    payload_format: str
    flash_bytes: int
    slot_bytes: int
    flash_map: str
    internal_pull_up_ohm: float
    pull_up_least_ohm: float
    pull_up_most_ohm: float
    pull_up_source: str
    rows: tuple[tuple[str, ...], tuple[str, ...]]
    """Names of all pins in the two rows on the board, from the top down; those not in `pins` are no GPIO."""
    pins: tuple[BoardPin, ...]
    button_gpio: int | None
    """GPIO that a button on the board pulls LOW while it is pressed."""
    notes: tuple[str, ...]
    sources: dict[str, str]
    nodes: tuple[str, ...]
    """Nodes of the inventory that are of this kind."""


def about_node(inventory: Inventory, name: str) -> NodeFacts:
    """The facts of the node of that name; KeyError if there is none."""
    node = inventory.node(name)
    board = load_board(node.board)
    site = inventory.site_of(node)
    pins = tuple(_uses(node, board))
    taken = {use.gpio for use in pins}
    fit = (p for p in board.pins if p.gpio not in taken and _is_free(board, p))
    return NodeFacts(
        name=node.name,
        site=site.name,
        board=board.id,
        board_title=board.title,
        platform=board.platform,
        layout=board.layout,
        mac=node.mac,
        place=node.place,
        fitted=node.fitted.isoformat() if node.fitted else None,
        access_point=node.access_point,
        debounce_s=DEBOUNCE_MS / 1000 if node.debounce_s is None else node.debounce_s,
        clear_pin=_clear_pin(node, board),
        tanks=tuple(served.tank for served in node.serves),
        pins=pins,
        electrodes=tuple(of for served in node.serves if (of := _electrodes(inventory, served, board))),
        free_pins=tuple(pin.name for pin in fit),
        spare_boards=sum(stock.count for stock in site.spare_boards if stock.board == board.id),
        need=update_need(inventory, node),
        board_notes=board.notes,
        notes=node.notes,
    )


def _clear_pin(node: Node, board: Board) -> str | None:
    gpio = clear_gpio(node, board)
    return next((label(pin) for pin in board.pins if pin.gpio == gpio), None)


def about_board(inventory: Inventory | None, board_id: str) -> BoardFacts:
    """The facts of a kind of board.

    Without an inventory no nodes are named. UsageError if there is no such kind.
    """
    board = load_board(board_id)
    nodes = inventory.nodes if inventory else ()
    return BoardFacts(
        id=board.id,
        title=board.title,
        chip=board.chip,
        platform=board.platform,
        platformio_board=board.platformio_board,
        framework=board.framework,
        layout=board.layout,
        payload_format=board.payload_format,
        flash_bytes=board.flash_bytes,
        slot_bytes=board.slot_bytes,
        flash_map=board.flash_map,
        internal_pull_up_ohm=board.pull_up.ohm,
        pull_up_least_ohm=board.pull_up.least_ohm,
        pull_up_most_ohm=board.pull_up.most_ohm,
        pull_up_source=f"{board.pull_up.source}; limits: {board.pull_up.limits_source}",
        rows=board.rows,
        pins=tuple(
            BoardPin(
                pin=pin.name,
                gpio=pin.gpio,
                aliases=pin.aliases,
                probe=_fitness(board, pin, Use.PROBE_INTERNAL),
                probe_external=_fitness(board, pin, Use.PROBE_EXTERNAL),
                relay=_fitness(board, pin, Use.RELAY_HIGH),
                relay_low=_fitness(board, pin, Use.RELAY_LOW),
                feed=_fitness(board, pin, Use.PROBE_FEED),
                analog=_fitness(board, pin, Use.ANALOG),
                spare=_fitness(board, pin, Use.SPARE),
                reset=pin.reset,
                loads=pin.loads,
                also=(
                    *(f"{fact.what} ({fact.source})" for fact in pin.facts),
                    *(f"{load.what} ({load.source})" for load in pin.loads),
                ),
            )
            for pin in board.pins
        ),
        button_gpio=board.button_gpio,
        notes=board.notes,
        sources=dict(board.sources),
        nodes=tuple(node.name for node in nodes if node.board == board.id),
    )


def _uses(node: Node, board: Board) -> Iterator[PinUse]:
    for served in node.serves:
        internal = served.pull_up == "internal"
        for mark, name in served.probes.items():
            probe = _pin_use(board, name, probe_use(served.pull_up), "probe", served.tank)
            yield replace(
                probe,
                mark=mark,
                pull_up=served.pull_up,
                pull_up_ohm=board.pull_up.ohm if internal else served.pull_up_resistor_ohm,
                fed_from=board.pin_as_said(served.pull_up_feed).name if served.pull_up_feed else None,
            )
        if served.pull_up_feed:
            yield _pin_use(board, served.pull_up_feed, Use.PROBE_FEED, "probe feed", served.tank)
        if served.pump_relay:
            active = served.pump_relay.active
            relay = _pin_use(board, served.pump_relay.pin, relay_use(active), "pump relay", served.tank)
            yield replace(relay, active=active)


def _pin_use(board: Board, name: str, use: Use, for_what: str, tank: str) -> PinUse:
    pin = board.pin_as_said(name)
    fit = _fitness(board, pin, use)
    return PinUse(
        pin=pin.name,
        gpio=pin.gpio,
        for_what=for_what,
        tank=tank,
        mark=None,
        pull_up=None,
        pull_up_ohm=None,
        fed_from=None,
        active=None,
        answer=fit.answer,
        reason=fit.reason,
        source=fit.source,
    )


def _electrodes(inventory: Inventory, served: Served, board: Board) -> ElectrodeFacts | None:
    return about_electrodes(inventory.tank(served.tank), served, board)


def _fitness(board: Board, pin: Pin, use: Use) -> Fitness:
    verdict = may(board, pin, use)
    return Fitness(verdict.answer.value, verdict.reason, verdict.source)


def _is_free(board: Board, pin: Pin) -> bool:
    return may(board, pin, Use.PROBE_INTERNAL).answer == "allowed"
