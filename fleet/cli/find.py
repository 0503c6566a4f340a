"""`find`: which nodes are on the network, what they run and how their tanks stand."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fleet.cli.common import command, command_app, complete_names, named, session
from fleet.cli.cut_off import tell_cut_off
from fleet.cli.key_folder import open_keys
from fleet.cli.search_progress import tell_waiting
from fleet.codes import Exit
from fleet.limits import FIND_TIMEOUT_S
from fleet.water.quantities import counted, duration

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from fleet.cli.output import Output
    from fleet.find.match import Match, Status
    from fleet.json_values import Port
    from fleet.link.state import NetworkState, NodeState, TankState
    from fleet.model.inventory import Inventory

app = command_app()


@dataclass(frozen=True, slots=True)
class FoundLine:
    """One node, or one that claims to be a node."""

    node: str
    status: Status
    address: str | None
    """IPv4 address."""
    port: Port | None
    announced: dict[str, str]
    """TXT keys of its announcement: a hint, not a proof."""
    evidence: tuple[str, ...]
    also_at: tuple[str, ...]
    """ADDRESS:PORT of the other places where the same board answers, of other boards that hold the same node's key, or
    of others that claim an unknown name."""
    access_point: str | None
    """That it is joined to, as its site names it; null: nobody says, or the site does not list it."""
    state: NodeState | None
    """Signed by the node, unless status is unknown and the evidence says that it is not."""


_COLUMNS = (
    "node", "status", "address", "release", "image", "phase", "network", "tanks", "access point", "signal",
)  # fmt: skip


@command(app, "find")
def find(
    ctx: typer.Context,
    nodes: Annotated[
        list[str] | None,
        typer.Argument(help="Only these nodes; default: all.", autocompletion=complete_names("nodes")),
    ] = None,
    timeout: Annotated[
        float,
        typer.Option(
            "--timeout", metavar="SECONDS", min=0.1, max=3600, help="Seconds to wait for missing nodes."
        ),
    ] = FIND_TIMEOUT_S,
    json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> int:
    """Example: tankfleet find kestrel-01 --timeout 5

    Find the nodes on the network and ask each for its signed state: found, missing, moved (at a new address),
    double (two boards hold one node's key), impostor (its key is not the node's), crowded (never had a free
    connection), unknown (not in the inventory). Changes nothing on any node. Exit status 0: all found; 3: some are
    missing or crowded; 1: doubles or impostors.
    """
    import asyncio
    from functools import partial

    from fleet.find.find import find as find_nodes
    from fleet.find.scope import interface_for
    from fleet.keys.derive import node_key

    this = session(ctx)
    inventory = this.inventory()
    known = [node.name for node in inventory.nodes]
    asked = [named(name, "node", known) for name in dict.fromkeys(nodes or [])] or None
    workspace = this.workspace(inventory.fleet.name)
    tell_cut_off(this.output, workspace)
    key_of = partial(node_key, open_keys(this, inventory.fleet.name).fleet_key())
    interface = interface_for(this.setting("find_on"), workspace)
    count = len(asked or known)
    this.output.note(
        f"searching for {counted(count, 'node')} on {interface or 'all interfaces'}, for up to {duration(timeout)}"
    )
    matches = asyncio.run(
        find_nodes(
            inventory,
            key_of,
            workspace,
            interface=interface,
            timeout_s=timeout,
            nodes=asked,
            tell=tell_waiting(this.output),
        )
    )
    points = _access_points(inventory, matches)
    if json:
        told = {"nodes": [_facts(m, points) for m in matches], "counts": _counts(matches)}
        this.output.emit_json("find", told)
    else:
        _show(this.output, matches, points)
    return _exit(matches)


def _access_points(inventory: Inventory, matches: Sequence[Match]) -> dict[str, str]:
    """By node, the name of the access point that it is joined to, where its site lists that."""
    known = {node.name for node in inventory.nodes}
    points = {}
    for match in matches:
        network = match.state.network if match.state else None
        if network is not None and network.bssid is not None and match.node in known:
            site = inventory.site_of(inventory.node(match.node))
            name = site.access_point_of(network.bssid)
            if name is not None:
                points[match.node] = name
    return points


def _show(output: Output, matches: Sequence[Match], points: Mapping[str, str]) -> None:
    from fleet.find import codes
    from fleet.find.match import Status

    output.table(*_table(matches, points))
    of_status = {
        Status.MISSING: codes.MISSING,
        Status.UNKNOWN: codes.UNKNOWN,
        Status.DOUBLE: codes.DOUBLE,
        Status.IMPOSTOR: codes.FALSE_NODE,
        Status.CROWDED: codes.CROWDED,
    }
    for match in matches:
        for told in match.evidence:
            code = of_status.get(match.status)
            output.note(f"{f'{code.code} ' if code else ''}{match.node}, {match.status}: {told}")
    output.note(", ".join(f"{count} {status}" for status, count in _counts(matches).items()) or "no nodes")
    if any(m.reachable for m in matches):
        output.next_step("tankfleet audit", "tankfleet plan")


def _table(
    matches: Sequence[Match], points: Mapping[str, str]
) -> tuple[Sequence[str], Sequence[Sequence[str]]]:
    """Columns and rows; with the network credentials only while those of some node are not simply kept, and with access
    points only where some node says its own."""
    networks = [match.state.network for match in matches if match.state and match.state.network]
    told = {
        "network": any(network.phase != "kept" for network in networks),
        "access point": any(network.bssid for network in networks),
    }
    shown = [n for n, column in enumerate(_COLUMNS) if told.get(column, True)]
    rows = (_row(match, points) for match in matches)
    return [_COLUMNS[n] for n in shown], [[row[n] for n in shown] for row in rows]


def _row(match: Match, points: Mapping[str, str]) -> tuple[str, ...]:
    where = f"{match.address}:{match.port}" if match.address else "-"
    state = match.state
    if state is None:
        return (match.node, match.status, where, match.txt.get("release", "-"), *"------")
    channel = f", channel {state.network.channel}" if state.network and state.network.channel else ""
    signal = f"{state.rssi_dbm} dBm{channel}" if state.rssi_dbm is not None else "-"
    tanks = "; ".join([_tank(tank) for tank in state.tanks] + [f"fault {f}" for f in state.faults])
    return (
        match.node,
        match.status,
        where,
        state.release,
        state.image[:12],
        state.phase,
        _network(state.network) if state.network else "-",
        tanks or "-",
        points.get(match.node) or (state.network.bssid if state.network else None) or "-",
        signal,
    )


def _network(network: NetworkState) -> str:
    """How the network credentials stand; of a trial also by which the node is joined, and what is left of it."""
    if network.phase != "on-trial":
        return network.phase
    on = {"kept": " on the old one,", "new": " on the new one,"}.get(network.on or "", "")
    return f"{network.phase},{on} {duration(network.trial_left_s)} left"


def _tank(tank: TankState) -> str:
    level = "?" if tank.level is None else str(tank.level)
    words = [f"{tank.name} {level} of {len(tank.marks)} wet"]
    if tank.pump is not None:
        words.append(f"pump {tank.pump.relay}")
    if tank.fault != "none":
        words.append(f"fault {tank.fault}")
    return ", ".join(words)


def _facts(match: Match, points: Mapping[str, str]) -> dict[str, Any]:
    state = match.state.model_dump(mode="json", by_alias=True, exclude={"nonce"}) if match.state else None
    line = FoundLine(
        node=match.node,
        status=match.status,
        address=match.address,
        port=match.port,
        announced=dict(match.txt),
        evidence=match.evidence,
        also_at=tuple(at.place for at in match.also_at),
        access_point=points.get(match.node),
        state=match.state,
    )
    return {field.name: getattr(line, field.name) for field in fields(line)} | {"state": state}


def _counts(matches: Sequence[Match]) -> dict[str, int]:
    counted = Counter(match.status.value for match in matches)
    return dict(sorted(counted.items()))


def _exit(matches: Sequence[Match]) -> int:
    from fleet.find.match import Status

    statuses = {match.status for match in matches}
    if statuses & {Status.DOUBLE, Status.IMPOSTOR}:
        return Exit.PROBLEMS
    return Exit.UNREACHABLE if statuses & {Status.MISSING, Status.CROWDED} else Exit.OK
