"""`keys`: create the fleet's keys, show their public part, set network credentials, derive a node's key."""

from __future__ import annotations

import getpass
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fleet.cli.codes import BAD_USAGE
from fleet.cli.common import command, command_app, complete_names, completing, named, session
from fleet.cli.key_folder import fits, open_keys, place_for_new_keys, refuse_new_keys
from fleet.errors import KeyFolderError, UsageError
from fleet.keys.codes import BAD_NETWORK

if TYPE_CHECKING:
    from fleet.cli.common import Session
    from fleet.keys.folder import KeyFolder
    from fleet.model.inventory import Inventory

app = command_app()

Json = Annotated[bool, typer.Option("--json", help="Print JSON.")]


@app.callback()
def keys() -> None:
    """Example: tankfleet keys create

    The key folder: the key that signs images, the key that node keys are derived from, and the credentials of
    the networks. It lies outside of the inventory; nothing secret is ever shown.
    """


@command(app, "create")
def create(
    ctx: typer.Context,
    new_fleet: Annotated[
        bool,
        typer.Option(
            "--new-fleet",
            help="Even if the fleet already has keys: every node must then be loaded over USB again.",
        ),
    ] = False,
    json: Json = False,
) -> None:
    """Example: tankfleet keys create

    Create the signing key and the fleet key, of a fleet that has none. Keys that are there already are never
    overwritten. Shelf, journal and network are looked at first: where nodes have other keys, those are to be copied
    here from the machine that has them.
    """
    from fleet.keys.folder import KeyFolder

    this = session(ctx)
    inventory = this.inventory()
    there = _there(this, inventory)
    if there is not None:
        folder = there
        this.output.note("The keys exist already; nothing was changed.")
    else:
        if not new_fleet:
            refuse_new_keys(this, inventory)
        path = place_for_new_keys(this, inventory.fleet.name)
        folder = KeyFolder.create(path)
        this.output.note(f"Created the signing key and the fleet key in {path}, readable by you alone.")
        this.output.note("Keep a copy off this machine: nodes accept only images signed with this key.")
    _show(this, folder, json=json)
    this.output.next_step("tankfleet build", "tankfleet keys networks")


@command(app, "show")
def show(ctx: typer.Context, json: Json = False) -> None:
    """Example: tankfleet keys show

    Show the public part of the signing key and what tells these keys from others.
    """
    this = session(ctx)
    _show(this, _folder(this, this.inventory()), json=json)


@command(app, "networks")
def networks(ctx: typer.Context, json: Json = False) -> None:
    """Example: tankfleet keys networks

    List the networks that the inventory names, and which have credentials in the key folder.
    """
    this = session(ctx)
    inventory = this.inventory()
    known = _folder(this, inventory).networks()
    rows = [
        {
            "network": name,
            "ssid": known[name].ssid if name in known else None,
            "sites": [site.name for site in inventory.sites if site.network == name],
        }
        for name in _network_names(inventory)
    ]
    if json:
        this.output.emit_json("networks", {"networks": rows})
        return
    table = [(str(r["network"]), str(r["ssid"] or "not set"), ", ".join(r["sites"] or [])) for r in rows]
    this.output.table(("network", "ssid", "sites"), table)


def _complete_network(ctx: typer.Context, incomplete: str) -> list[str]:
    try:
        return [name for name in _network_names(completing(ctx).inventory()) if name.startswith(incomplete)]
    except Exception:
        return []


@command(app, "set-network")
def set_network(
    ctx: typer.Context,
    network: Annotated[
        str,
        typer.Argument(help="The network's name in the inventory.", autocompletion=_complete_network),
    ],
    ssid: Annotated[
        str, typer.Option("--ssid", metavar="SSID", help="The network name (SSID) of the access point.")
    ],
    is_open: Annotated[
        bool, typer.Option("--open", help="The network is open: no passphrase, anybody can join it.")
    ] = False,
) -> None:
    """Example: tankfleet keys set-network farm --ssid "Hill Farm"

    Set a network's credentials. The passphrase is asked for, or read as one line from standard input: never
    from the command line, where others could see it. An open network, which has none, is set with --open.
    """
    from fleet.keys.networks import Network

    this = session(ctx)
    inventory = this.inventory()
    folder = _folder(this, inventory)
    named(network, "network", _network_names(inventory))
    wanted = Network(ssid, "" if is_open else _passphrase(this, ssid))
    if folder.networks().get(network) == wanted:
        this.output.note(f"The network {network} already has these credentials; nothing was changed.")
    else:
        folder.set_network(network, wanted)
        this.output.note(
            f"Set the credentials of the network {network}; nodes get them at their first flash, or by `rejoin`."
        )
    sites = [
        f"tankfleet rejoin --site {site.name} --dry-run"
        for site in inventory.sites
        if site.network == network
    ]
    this.output.next_step("tankfleet keys networks", *sites)


@command(app, "node")
def node(
    ctx: typer.Context,
    name: Annotated[str, typer.Argument(help="The node.", autocompletion=complete_names("nodes"))],
    out: Annotated[
        Path,
        typer.Option(
            "--out", metavar="FILE", help="File to write, new, readable by you alone; - is stdout, to a pipe."
        ),
    ],
) -> None:
    """Example: tankfleet keys node kestrel-01 --out kestrel-01.key

    Write a node's own key, as 64 hex digits, to a new file that you alone can read, or to a pipe: for other
    programs that speak to that node. It is never shown on a terminal.
    """
    from fleet.keys.private_file import create_private, read_private

    this = session(ctx)
    inventory = this.inventory()
    named(name, "node", [n.name for n in inventory.nodes])
    text = _folder(this, inventory).node_key(name).hex().encode() + b"\n"
    if str(out) == "-":
        if this.output.stdout.isatty():
            raise UsageError(BAD_USAGE, "a key is never shown on a terminal", fix="Pipe it, or name a file.")
        this.output.raw(text.decode().rstrip())
    elif out.is_file() and read_private(out, len(text) + 1) == text:
        this.output.note(f"The key of node {name} is in {out} already; nothing was written.")
    else:
        create_private(out, text)
        this.output.note(f"Wrote the key of node {name} to {out}, readable by you alone.")
    this.output.next_step(f"tankfleet find {name}")


def _folder(this: Session, inventory: Inventory) -> KeyFolder:
    return open_keys(this, inventory.fleet.name)


def _there(this: Session, inventory: Inventory) -> KeyFolder | None:
    """The project's keys, if there are any; those by the fleet's name that are not its own are left alone."""
    from fleet.keys.folder import KeyFolder
    from fleet.keys.whereabouts import Binding

    at = this.keys_at(inventory.fleet.name)
    if at.standing is Binding.TAKEN or not at.path.is_dir() or not any(at.path.iterdir()):
        return None
    if at.standing is Binding.OLD and not fits(this, KeyFolder.open(at.path)):
        return None
    return _folder(this, inventory)


def _show(this: Session, folder: KeyFolder, *, json: bool) -> None:
    trust = folder.trust()
    if json:
        facts = {
            "folder": str(folder.path),
            "key_id": trust.key_id.hex(),
            "public_point": trust.point.hex(),
            "fingerprint": trust.fingerprint,
            "fleet_key_fingerprint": folder.fleet_key_fingerprint(),
        }
        this.output.emit_json("keys", facts)
        return
    rows = [
        ("folder", str(folder.path)),
        ("signing key id", trust.key_id.hex()),
        ("signing key SHA-256", trust.fingerprint),
        ("public point", trust.point.hex()),
        ("fleet key fingerprint", folder.fleet_key_fingerprint()),
    ]
    this.output.table(("what", "value"), rows)


def _network_names(inventory: Inventory) -> list[str]:
    return sorted({site.network for site in inventory.sites})


def _passphrase(this: Session, ssid: str) -> str:
    """The passphrase, typed or from standard input. KeyFolderError if there is none: nothing there is no open network,
    but a script whose input went astray."""
    if this.interactive():
        typed = getpass.getpass(f"Passphrase of {ssid} (not shown): ", stream=sys.stderr)
    else:
        try:
            typed = sys.stdin.readline().rstrip("\r\n")
        except UnicodeDecodeError:
            raise KeyFolderError(BAD_NETWORK, "the passphrase is not printable ASCII") from None
    if not typed:
        whence = "was typed" if this.interactive() else "came from standard input"
        raise KeyFolderError(BAD_NETWORK, f"no passphrase {whence}; nothing was changed")
    return typed
