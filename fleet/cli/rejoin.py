"""`rejoin`: hand new network credentials to nodes over the network, and see each into its new network."""

from __future__ import annotations

import shlex
from collections import Counter
from typing import TYPE_CHECKING, Annotated, cast

import typer

from fleet.cli.codes import BAD_USAGE, INTERRUPTED
from fleet.cli.common import command, command_app, complete_names, named, session
from fleet.cli.cut_off import tell_cut_off
from fleet.cli.rejoin_words import Told, clock_text, facts, show, stands_now, where
from fleet.cli.search_progress import tell_waiting
from fleet.codes import Exit
from fleet.errors import UsageError
from fleet.limits import (
    ASK_BEFORE_NODES,
    FIND_TIMEOUT_S,
    NETWORK_TRIAL_MAX_S,
    NETWORK_TRIAL_MIN_S,
    NETWORK_TRIAL_S,
)
from fleet.water.quantities import counted

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from fleet.cli.common import Session
    from fleet.cli.output import Output
    from fleet.find.match import Match
    from fleet.keys.networks import Network
    from fleet.model.inventory import Inventory
    from fleet.push.context import PushContext
    from fleet.rejoin.rejoin import NodeRejoin
    from fleet.rejoin.rejoining import Rejoining, RejoinOptions
    from fleet.render.firmware_class import Target

app = command_app()

_DRY_COLUMNS = ("node", "site", "network", "stands", "would")


@command(app, "rejoin")
def rejoin(
    ctx: typer.Context,
    nodes: Annotated[
        list[str] | None,
        typer.Argument(
            help="The nodes; or all of a site with --site.", autocompletion=complete_names("nodes")
        ),
    ] = None,
    site: Annotated[
        str,
        typer.Option(
            "--site", metavar="SITE", help="All nodes of this site.", autocompletion=complete_names("sites")
        ),
    ] = "",
    trial: Annotated[
        str,
        typer.Option(
            "--trial",
            metavar="TIME",
            help='How long a node tries before it goes back, such as "20 min"; default: 10 min.',
        ),
    ] = "",
    change_after: Annotated[
        bool,
        typer.Option(
            "--single-network",
            help="The access point cannot offer both: change it once all nodes know.",
        ),
    ] = False,
    timeout: Annotated[
        float,
        typer.Option(
            "--timeout", metavar="SECONDS", min=0.1, max=3600, help="Seconds to wait for missing nodes."
        ),
    ] = FIND_TIMEOUT_S,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Check and show; send nothing.")] = False,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
    json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> int:
    """Example: tankfleet rejoin --site ridge --dry-run

    Hand each node the credentials that the key folder has for its site's network, sealed for that node alone. It holds
    both networks while the new one is on trial, and keeps the new one when it is told so from there; else it goes back
    on its own. One node goes first; if it does not get in, nobody else is told. Pumps are controlled throughout. Which
    network a node holds cannot be asked, so nodes that are there already are given it again. Exit status 0: all are on
    the new network; 1: some are not; 3: some did not answer.
    """
    from fleet.cli.push_summary import field_of
    from fleet.rejoin.node_access import networks_of
    from fleet.rejoin.rejoining import RejoinOptions

    this = session(ctx)
    field = field_of(this)
    names = _names(field.inventory, nodes or [], site)
    wishes = RejoinOptions(_trial_s(trial), change_after)
    again = _again(names, site, trial, change_after=change_after)
    networks = networks_of(field, names)
    matches, older = _found(this, field, list(networks), timeout)
    if dry_run:
        status = _dry_run(this, field.inventory, matches, wishes, older, json=json)
        this.output.next_step(again)
        return status
    _ask(this, field.inventory, networks, yes=yes)
    run, done = _run(this, field, networks, matches, wishes)
    standings = list(run.standings.values()) if run is not None else []
    if json:
        this.output.emit_json("rejoin", facts(field.inventory, standings, wishes, {}, older))
    elif done:
        show(this.output, field.inventory, standings)
    return _close(this.output, standings, again, done=done)


# ------------------------------------------------------------------ what is wanted
def _names(inventory: Inventory, nodes: Sequence[str], site: str) -> list[str]:
    if bool(nodes) == bool(site):
        what = (
            "name the nodes, or one site with --site" if not nodes else "nodes and --site exclude each other"
        )
        raise UsageError(
            BAD_USAGE, what, fix="`tankfleet rejoin NODE...`, or `tankfleet rejoin --site SITE`."
        )
    known = [node.name for node in inventory.nodes]
    if nodes:
        return [named(name, "node", known) for name in dict.fromkeys(nodes)]
    named(site, "site", [one.name for one in inventory.sites])
    found = [node.name for node in inventory.nodes if inventory.site_of(node).name == site]
    if not found:
        raise UsageError(BAD_USAGE, f"the site {site} has no nodes", fix="`tankfleet show sites` lists them.")
    return found


def _again(names: Sequence[str], site: str, trial: str, *, change_after: bool) -> str:
    """The same command once more."""
    flags = [*(["--trial", trial] if trial else []), *(["--single-network"] if change_after else [])]
    return shlex.join(["tankfleet", "rejoin", *(["--site", site] if site else names), *flags])


def _trial_s(text: str) -> int:
    if not text:
        return int(NETWORK_TRIAL_S)
    from fleet.cli.quantity_flag import read_quantity
    from fleet.model.units import Duration_s

    seconds = round(read_quantity(Duration_s, text, "--trial"))
    if not NETWORK_TRIAL_MIN_S <= seconds <= NETWORK_TRIAL_MAX_S:
        raise UsageError(
            BAD_USAGE,
            f"a trial of {text} is not possible",
            fix=f"Give --trial a time from {NETWORK_TRIAL_MIN_S} s to {NETWORK_TRIAL_MAX_S // 3600} h.",
        )
    return seconds


def _found(
    this: Session, field: PushContext, names: Sequence[str], timeout_s: float
) -> tuple[list[Match], dict[str, bool]]:
    """The nodes as they were found, and whose image was built from an older inventory; what is hard is said before."""
    import asyncio

    from fleet.cli.rejoin_traits import built_before, warn_before, warn_of_old_images
    from fleet.push.context import look

    tell_cut_off(this.output, field.workspace)
    warn_before(this.output, field.inventory, names)
    this.output.note(f"searching for {counted(len(names), 'node')} on {field.interface or 'all interfaces'}")
    matches = asyncio.run(look(field, names, timeout_s, tell_waiting(this.output)))
    first = {match.node: match for match in reversed(matches)}
    this.output.note(
        "A node cannot be asked which networks it holds. One that is already on the new network receives it again."
    )
    found = [first[name] for name in names]
    older = built_before(field, cast("Target", this.setting("target")), found)
    warn_of_old_images(this.output, older)
    return found, older


def _ask(this: Session, inventory: Inventory, networks: Mapping[str, Network], *, yes: bool) -> None:
    if len(networks) > ASK_BEFORE_NODES:
        wanted = sorted({inventory.site_of(inventory.node(name)).network for name in networks})
        question = f"Send {counted(len(networks), 'node')} the credentials of {', '.join(wanted)}?"
        this.confirm(question, given=yes, flag="--yes")


# ------------------------------------------------------------------ doing it
def _run(
    this: Session,
    field: PushContext,
    networks: Mapping[str, Network],
    matches: Sequence[Match],
    wishes: RejoinOptions,
) -> tuple[Rejoining | None, bool]:
    """The run, and whether it came to its end. LockedError while a push, or another rejoin, is under way; PushError if
    a push was cut off."""
    import asyncio
    import os

    from fleet.push.history import refuse_unfinished
    from fleet.push.lock import runner_lock
    from fleet.rejoin.node_access import rejoin_nodes

    runs: list[Rejoining] = []
    with runner_lock(field.workspace.journal_path, os.getpid()):
        refuse_unfinished(field.workspace.journal_path)
        try:
            asyncio.run(rejoin_nodes(field, networks, matches, wishes, Told(this.output), runs.append))
        except KeyboardInterrupt:
            return (runs[0] if runs else None), False
    return runs[0], True


# ------------------------------------------------------------------ printing
def _dry_run(
    this: Session,
    inventory: Inventory,
    matches: Sequence[Match],
    wishes: RejoinOptions,
    older: Mapping[str, bool],
    *,
    json: bool,
) -> int:
    """How each node stands, and what would be done; nothing but questions was sent."""
    from fleet.rejoin.rejoin import NodeRejoin, barred, exit_of, first_need, not_found, not_sent

    standings, would = [], {}
    never = barred(inventory, [match.node for match in matches])
    for match in matches:
        if match.node in never:
            standings.append(not_sent(match.node, never[match.node]))
            would[match.node] = f"nothing: {never[match.node]}"
            continue
        if match.state is None or not match.reachable:
            standings.append(not_found(match.node, f"{match.status}: {'; '.join(match.evidence)}"))
            would[match.node] = "nothing: it was not found"
            continue
        what, standing = first_need(NodeRejoin(match.node), match.state)
        standings.append(standing)
        would[match.node] = {"give": "give, follow, keep", "keep": "keep"}.get(
            what, f"nothing: {standing.reason}"
        )
    if json:
        this.output.emit_json("rejoin", facts(inventory, standings, wishes, would, older))
    else:
        states = {match.node: match for match in matches}
        rows = [(n, *where(inventory, n), stands_now(states[n]), would[n]) for n in would]
        this.output.table(_DRY_COLUMNS, rows)
    this.output.note("Dry run: nothing was sent to any node; they were asked only for their state.")
    left = [one for one in standings if one.ended]
    return exit_of(left)


def _close(output: Output, standings: Sequence[NodeRejoin], again: str, *, done: bool) -> int:
    """What came of it, what is to be done about it, the next commands, and the exit status."""
    from fleet.rejoin.rejoin import exit_of

    stands = ", ".join(
        f"{n} {str(s).replace('-', ' ')}" for s, n in Counter(one.stands for one in standings).items()
    )
    if not done:
        output.note(f"{INTERRUPTED.code}: interrupted: {stands or 'nothing was sent'}.")
        ends = [one.back_at_s for one in standings if one.under_way and one.back_at_s is not None]
        if ends:
            output.note(
                f"Nodes on trial return to the old network on their own, the last at {clock_text(max(ends))}."
            )
        output.next_step(again)
        return Exit.INTERRUPTED
    output.note(f"{counted(len(standings), 'node')}: {stands}.")
    status = exit_of(standings)
    if status is Exit.OK:
        output.next_step("tankfleet find", "tankfleet audit")
        return status
    codes = {one.code.code: one.code for one in standings if one.code is not None}
    for code in codes.values():
        output.note(f"{code.code}: {code.title}. {code.fix}")
    output.next_step(*(f"tankfleet explain {code}" for code in codes), f"{again} --dry-run")
    return status
