"""`clear-fault`: let a pump run again that its node stopped for good, once a person has looked."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from fleet.cli.codes import NO_CLEARING, STILL_FAULTY
from fleet.cli.common import command, command_app, complete_names, named, session
from fleet.cli.search_progress import tell_waiting
from fleet.codes import Exit
from fleet.errors import LinkError, NodeRefused
from fleet.limits import FIND_TIMEOUT_S
from fleet.water.quantities import counted

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleet.cli.common import Session
    from fleet.cli.output import Output
    from fleet.find.match import Match
    from fleet.link.client import NodeLink
    from fleet.link.state import NodeState, TankState
    from fleet.push.context import PushContext

app = command_app()

_COLUMNS = ("tank", "fault", "means", "check first")
_CHANGED = ("tank", "fault", "now", "pump")
_CAUTION = (
    "Isolate the pump (lock its supply off) before you work on it: once the fault is cleared, its node may "
    "start it at any time."
)

_MAY = "may start the pump at once. Is everybody clear of it?"
_COUNTS_ANEW = "sets the count of brown-outs to 0. Continue?"


@command(app, "clear-fault")
def clear_fault(
    ctx: typer.Context,
    node: Annotated[
        str, typer.Argument(help="The node of the tank.", autocompletion=complete_names("nodes"))
    ],
    tank: Annotated[
        str,
        typer.Option(
            "--tank",
            metavar="TANK",
            help="Of this tank only; default: all tanks of the node.",
            autocompletion=complete_names("tanks"),
        ),
    ] = "",
    brown_outs: Annotated[
        bool,
        typer.Option(
            "--brown-outs", help="Set the count of brown-outs to 0; clears no tank unless --tank names it."
        ),
    ] = False,
    timeout: Annotated[
        float,
        typer.Option("--timeout", metavar="SECONDS", min=0.1, max=3600, help="Seconds to wait for the node."),
    ] = FIND_TIMEOUT_S,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Check and show; send nothing.")] = False,
    yes: Annotated[
        bool, typer.Option("--yes", help="Do not ask; you have checked pump, source and probes.")
    ] = False,
    json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> int:
    """Example: tankfleet clear-fault kestrel-01 --tank header-east

    Clear the faults of a node that stay: a pump that ran too long, or ran and nothing rose. They outlive restarts and
    updates, because someone has to look first: at the well, the pipe, the probes. Shows what each means and what to
    look at, asks, then tells the node, which starts its pump again when its marks say so. Exit status 0: cleared, or
    there was none; 1: a fault is still there; 3: the node did not answer.
    """
    from fleet.cli.push_summary import field_of
    from fleet.link.faults import with_faults

    this = session(ctx)
    field = field_of(this)
    part = field.inventory.node(named(node, "node", [one.name for one in field.inventory.nodes]))
    match = _found(this, field, part.name, timeout)
    state = _state_of(match)
    if tank:
        named(tank, f"tank of {part.name}", [one.name for one in state.tanks], listed_by=f"find {part.name}")
    tanks = with_faults(state, tank) if tank or not brown_outs else []
    count = (state.brown_outs or 0) if brown_outs else 0
    after = None
    if tanks or count:
        _tell(this.output, state, tanks, count)
        if not dry_run:
            question = (
                f"Have you checked pump, source and probes? {part.name} {_MAY if tanks else _COUNTS_ANEW}"
            )
            this.confirm(question, given=yes, flag="--yes")
            after = _clear(field, match, tanks, count)
    if json:
        this.output.emit_json("clear-fault", _facts(state, tanks, count, after, dry_run=dry_run))
    asked = (
        f"clear-fault {part.name}{f' --tank {tank}' if tank else ''}{' --brown-outs' if brown_outs else ''}"
    )
    return _close(this.output, state, tanks, count, after, asked=asked, json=json)


# ------------------------------------------------------------------ the node
def _found(this: Session, field: PushContext, node: str, timeout_s: float) -> Match:
    import asyncio

    from fleet.push.context import look

    this.output.note(f"searching for {node} on {field.interface or 'all interfaces'}")
    matches = asyncio.run(look(field, [node], timeout_s, tell_waiting(this.output)))
    return next(match for match in matches if match.node == node)


def _state_of(match: Match) -> NodeState:
    from fleet.errors import NodeUnreachable
    from fleet.link.codes import UNREACHABLE

    if match.reachable and match.state is not None:
        return match.state
    what = f"{match.node}: {match.status}: {'; '.join(match.evidence)}"
    raise NodeUnreachable(UNREACHABLE, what, node=match.node)


def _clear(field: PushContext, match: Match, tanks: Sequence[tuple[int, TankState]], count: int) -> NodeState:
    """Tell the node, then ask it how it stands."""
    import asyncio

    from fleet.link.client import open_session
    from fleet.push.addresses import Places

    async def talk() -> NodeState:
        async with open_session() as connections:
            link = Places(field, [match], connections).link(match.node)
            for number, _ in tanks:
                await _told(link, number)
            if count:
                await _told(link, None)
            return await link.state()

    return asyncio.run(talk())


async def _told(link: NodeLink, number: int | None) -> None:
    """Of one tank, or of the brown-outs. One that is gone already is as good as cleared."""
    try:
        await (link.clear_brown_outs() if number is None else link.clear_fault(number))
    except NodeRefused as refused:
        if refused.refusal == "not-found":
            raise LinkError(NO_CLEARING, refused.what, node=link.node) from refused
        if refused.refusal != "no-fault":
            raise


# ------------------------------------------------------------------ what is said
def _tell(output: Output, state: NodeState, tanks: Sequence[tuple[int, TankState]], count: int) -> None:
    from fleet.link.faults import latched

    for _, one in tanks:
        fault = latched(one)
        if fault is not None:
            output.note(f"{one.name}: {one.fault}: {fault.means}. Check first: {fault.look}.")
    if tanks:
        output.warn(_CAUTION)
    if count:
        output.note(
            f"{state.node}: {counted(count, 'start')} after a brown-out. Check first: its supply, the "
            "supply's cable and plugs, what else hangs on it."
        )


def _close(
    output: Output,
    state: NodeState,
    tanks: Sequence[tuple[int, TankState]],
    count: int,
    after: NodeState | None,
    *,
    asked: str,
    json: bool,
) -> int:
    """What changed, what is next, the exit status. `asked`: the command, to be run again without --dry-run."""
    name = state.node
    if not tanks and not count:
        passing = [f"{one.name}: {one.fault}" for one in state.tanks if one.fault != "none"]
        more = f" (clears on its own: {', '.join(passing)})" if passing else ""
        output.note(f"Nothing to clear: {name} has no fault that stays{more}. Nothing was sent.")
        output.next_step(f"tankfleet find {name}")
        return Exit.OK
    if after is None:
        output.note("Dry run: nothing was sent; the node was asked only for its state.")
        output.next_step(f"tankfleet {asked}")
        return Exit.OK
    if tanks and not json:
        output.table(_CHANGED, [_changed(one, after) for _, one in tanks])
    if count:
        output.note(f"brown-outs: {count}, now {after.brown_outs}")
    still = [one.name for number, one in tanks if not _cleared(number, after)]
    if still or (count and after.brown_outs):
        what = ", ".join(still) or "the count of brown-outs"
        output.note(f"{STILL_FAULTY.code}: {STILL_FAULTY.title}: {what}. {STILL_FAULTY.fix}")
        output.next_step(f"tankfleet find {name}", f"tankfleet explain {STILL_FAULTY.code}")
        return Exit.PROBLEMS
    output.next_step(f"tankfleet find {name}", "tankfleet audit")
    return Exit.OK


def _cleared(number: int, after: NodeState) -> bool:
    from fleet.link.faults import latched

    return number > len(after.tanks) or latched(after.tanks[number - 1]) is None


def _changed(before: TankState, after: NodeState) -> tuple[str, ...]:
    now = next((one for one in after.tanks if one.name == before.name), before)
    pump = f"{now.pump.relay}, {now.pump.why}" if now.pump else "-"
    return (before.name, before.fault, now.fault, pump)


def _facts(
    state: NodeState,
    tanks: Sequence[tuple[int, TankState]],
    count: int,
    after: NodeState | None,
    *,
    dry_run: bool,
) -> dict[str, Any]:
    from fleet.link.faults import latched

    shown = []
    for number, one in tanks:
        fault = latched(one)
        shown.append(
            {
                "tank": one.name,
                "number": number,
                "fault": one.fault,
                "means": fault.means if fault else "",
                "look_first": fault.look if fault else "",
                "cleared": after is not None and _cleared(number, after),
            }
        )
    return {
        "node": state.node,
        "dry_run": dry_run,
        "tanks": shown,
        "brown_outs": state.brown_outs,
        "brown_outs_cleared": bool(count) and after is not None and after.brown_outs == 0,
    }
