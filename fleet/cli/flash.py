"""`flash`: the first load of a board over USB."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fleet.cli.codes import INTERRUPTED
from fleet.cli.common import command, command_app, complete_names, named, session, short_path
from fleet.cli.key_folder import open_keys
from fleet.cli.search_progress import tell_waiting
from fleet.codes import Exit
from fleet.limits import FLASH_BAUD, FLASH_STATE_TIMEOUT_S
from fleet.water.quantities import duration

if TYPE_CHECKING:
    from collections.abc import Callable

    from fleet.cli.common import Session
    from fleet.cli.output import Output
    from fleet.flash.contents import Load
    from fleet.flash.flash import Flashed, MacStatus
    from fleet.flash.loader import Found, Line
    from fleet.keys.folder import KeyFolder
    from fleet.link.state import NodeState
    from fleet.model.inventory import Inventory
    from fleet.workspace import Workspace

app = command_app()
_QUIET_S = 1.7
"""Nothing is silent for longer than 2 s."""


def _complete_port(incomplete: str) -> list[str]:
    from fleet.flash.ports import port_names

    return [name for name in port_names() if name.startswith(incomplete)]


@command(app, "flash")
def flash(
    ctx: typer.Context,
    node: Annotated[
        str, typer.Argument(help="The node that the board becomes.", autocompletion=complete_names("nodes"))
    ],
    port: Annotated[
        str,
        typer.Option(
            "--port",
            metavar="PORT",
            help="The board's serial port; default: the only one there is.",
            autocompletion=_complete_port,
        ),
    ] = "",
    baud: Annotated[
        int,
        typer.Option("--baud", metavar="N", min=9600, max=3_000_000, help="Bits per second while writing."),
    ] = FLASH_BAUD,
    wait: Annotated[
        float,
        typer.Option(
            "--wait",
            metavar="SECONDS",
            min=0,
            max=3600,
            help="Seconds to wait for it on the network; 0: do not wait.",
        ),
    ] = FLASH_STATE_TIMEOUT_S,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Check the board and all the rest; write nothing.")
    ] = False,
    as_built: Annotated[
        bool, typer.Option("--as-built", help="Also an image that was built from an older inventory.")
    ] = False,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
    json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> int:
    """Example: tankfleet flash kestrel-01 --port /dev/ttyUSB0

    Make a new board this node, over USB: check chip, flash size and MAC against the inventory, write boot loader,
    application and credentials, read everything back, start it, add its MAC to the inventory, and wait for its first
    signed state. The pump relay should not be wired to a pump meanwhile.
    """
    from fleet.flash.loader import Line
    from fleet.flash.ports import only_port

    this = session(ctx)
    inventory, load, keys = _load(this, node, as_built=as_built)
    workspace = this.workspace(inventory.fleet.name)
    line = Line(port or only_port(), baud)
    try:
        done = _flashed(this, inventory, load, line, yes=yes, dry_run=dry_run)
    except KeyboardInterrupt:
        again = "the board may be half written: run the same command again, it writes everything again"
        this.output.note(f"{INTERRUPTED.code}: interrupted. The inventory is unchanged; {again}.")
        return Exit.INTERRUPTED
    state = None
    if dry_run:
        _tell_found(this.output, done.found, done.standing, load)
        this.output.note("dry run: nothing was written, to the board or to the inventory")
    else:
        _tell_done(this.output, done, load)
        state = _state(this, inventory, workspace, keys.node_key, load, done, wait) if wait else None
    if json:
        this.output.emit_json("flash", _facts(line.port, load, done, state))
    else:
        _show(this.output, load, done)
    _next(this.output, load, line, state, dry_run=dry_run)
    return 0


def _flashed(
    this: Session, inventory: Inventory, load: Load, line: Line, *, yes: bool, dry_run: bool
) -> Flashed:
    from fleet.flash.flash import flash as flash_board

    def agree(found: Found, standing: MacStatus) -> None:
        _tell_found(this.output, found, standing, load)
        question = f"Write {load.node.name} to this board? This erases its flash."
        this.confirm(question, given=yes, flag="--yes")

    this.output.note(f"searching for a board on {line.port}")
    return flash_board(
        load,
        inventory,
        this.inventory_dir(),
        line,
        agree=agree,
        tell=_told(this.output),
        dry_run=dry_run,
    )


def _load(this: Session, node: str, *, as_built: bool) -> tuple[Inventory, Load, KeyFolder]:
    """What is to be written: all of it is checked before a port is opened."""
    from fleet.boards.board import load_board
    from fleet.build.shelf import Shelf
    from fleet.flash.contents import load_of

    inventory = this.inventory()
    part = inventory.node(named(node, "node", [one.name for one in inventory.nodes]))
    workspace = this.workspace(inventory.fleet.name)
    keys = open_keys(this, inventory.fleet.name)
    shelf = Shelf(workspace.shelf_dir)
    return inventory, load_of(inventory, part, load_board(part.board), shelf, keys, as_built=as_built), keys


def _tell_found(output: Output, found: Found, standing: MacStatus, load: Load) -> None:
    known = "as in the inventory" if standing == "known" else "to be added to the inventory"
    size = "" if found.flash_bytes is None else f", {found.flash_bytes / 2**20:g} MiB of flash"
    output.note(f"found {found.chip}{size}, MAC {found.mac}, {known}")
    output.note(f"for {load.node.name}: image {load.entry.image[:16]}, release {load.entry.release}")


def _told(output: Output) -> Callable[[str, int, int], None]:
    """One line when a part begins, one when all of it is sent, and one at least every two seconds."""
    last: dict[str, Any] = {"what": "", "at_s": 0.0}

    def tell(what: str, sent: int, total: int) -> None:
        now_s = time.monotonic()
        if what != last["what"] or sent >= total or now_s - last["at_s"] > _QUIET_S:
            last.update(what=what, at_s=now_s)
            output.note(f"{what}: {100 * sent // max(total, 1)} %")

    return tell


def _tell_done(output: Output, done: Flashed, load: Load) -> None:
    output.note(f"written and read back: {len(load.parts)} parts; the board is started")
    if done.claimed is not None:
        output.note(f"{short_path(done.claimed.path)}:{done.claimed.line}: added `mac: {done.found.mac}`")


def _state(
    this: Session,
    inventory: Inventory,
    workspace: Workspace,
    node_key_of: Callable[[str], bytes],
    load: Load,
    done: Flashed,
    wait_s: float,
) -> NodeState | None:
    import asyncio

    from fleet.find.find import find
    from fleet.find.scope import interface_for
    from fleet.flash.first_state import first_state

    this.output.note(f"waiting for {load.node.name} on the network, for up to {duration(wait_s)}")
    matches = asyncio.run(
        find(
            inventory,
            node_key_of,
            workspace,
            interface=interface_for(this.setting("find_on"), workspace),
            timeout_s=wait_s,
            nodes=[load.node.name],
            tell=tell_waiting(this.output),
        )
    )
    state = first_state(matches, load, done.found)
    name = load.node.name
    if state is None:
        this.output.note(
            f"{name} does not answer. If its network {load.network} is elsewhere, this is normal."
        )
    else:
        this.output.note(f"{name} answers: release {state.release}, phase {state.phase}, {_signal(state)}")
    return state


def _signal(state: NodeState) -> str:
    return f"signal {state.rssi_dbm} dBm" if state.rssi_dbm is not None else "no radio"


def _show(output: Output, load: Load, done: Flashed) -> None:
    word = "written" if done.wrote else "would be written"
    rows = [(part.name, f"0x{part.at:06X}", f"{len(part.data)}", word) for part in load.parts]
    output.table(("part", "at", "bytes", "outcome"), rows)


def _facts(port: str, load: Load, done: Flashed, state: NodeState | None) -> dict[str, Any]:
    return {
        "node": load.node.name,
        "board": load.board.id,
        "port": port,
        "chip": done.found.chip,
        "mac": done.found.mac,
        "mac_is": str(done.standing),
        "flash_bytes": done.found.flash_bytes,
        "image": load.entry.image,
        "release": load.entry.release,
        "network": load.network,
        "wrote": done.wrote,
        "parts": [{"name": p.name, "at": p.at, "size_bytes": len(p.data)} for p in load.parts],
        "answered": state is not None,
    }


def _next(output: Output, load: Load, line: Line, state: NodeState | None, *, dry_run: bool) -> None:
    name = load.node.name
    if dry_run:
        output.next_step(f"tankfleet flash {name} --port {line.port}")
        return
    output.note(f"Put a label on the enclosure: {name}. Wire it as its sheet says.")
    if load.board.payload_format == "esp8266-bin":
        output.note(
            "Disconnect power once before the first update over the network: after a load over USB this "
            "chip takes no update until then."
        )
    if state is None:
        output.next_step(f"tankfleet sheet node {name}", f"tankfleet find {name}")
    else:
        output.next_step(f"tankfleet sheet node {name}", "tankfleet audit")
