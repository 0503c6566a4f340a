"""`plan`: who gets which image in which wave, and why; written to a file that `push` does exactly."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, cast

import typer

from fleet.cli.common import Target, command, command_app, complete_names, named, session, short_path
from fleet.cli.cut_off import tell_cut_off
from fleet.codes import Exit
from fleet.limits import FIND_TIMEOUT_S
from fleet.water.quantities import counted, duration

if TYPE_CHECKING:
    from fleet.cli.common import Session
    from fleet.push.context import Target as TargetName
    from fleet.push.plan import Plan

app = command_app()

_WAVES = ("wave", "node", "site", "release", "spare time", "needed", "why now")
_LEFT_OUT = ("left out", "because", "in detail")
_NOTICES = ("look at", "because", "in detail")

DespiteFault = Annotated[
    list[str] | None,
    typer.Option(
        "--despite-fault",
        metavar="NODE",
        help="Include this node although it, or one of its tanks, has a fault that stays; may be repeated.",
        autocompletion=complete_names("nodes"),
    ),
]
AsBuilt = Annotated[
    bool, typer.Option("--as-built", help="Also images that were built from an older inventory.")
]
Soak = Annotated[
    str | None,
    typer.Option(
        "--soak", metavar="TIME", help='How long to watch, such as "2 min"; default: the policy\'s.'
    ),
]


@command(app, "plan")
def plan(
    ctx: typer.Context,
    names: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[NODE|SITE]...",
            help="Only these nodes, or all nodes of these sites; default: all.",
            autocompletion=complete_names("nodes", "sites"),
        ),
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="File to write; - is stdout.")
    ] = None,
    any_hour: Annotated[bool, typer.Option("--any-hour", help="Ignore the sites' windows.")] = False,
    again: Annotated[
        bool, typer.Option("--retry-failed", help="Also images that were given up before.")
    ] = False,
    despite_fault: DespiteFault = None,
    as_built: AsBuilt = False,
    soak: Soak = None,
    target: Target = None,
    timeout: Annotated[
        float,
        typer.Option(
            "--timeout", metavar="SECONDS", min=0.1, max=3600, help="Seconds to wait for missing nodes."
        ),
    ] = FIND_TIMEOUT_S,
    json: Annotated[bool, typer.Option("--json", help="Print JSON: the plan itself.")] = False,
) -> int:
    """Example: tankfleet plan ridge --out ridge.plan

    Find the nodes, compare what they run with the newest images on the shelf, and plan a push in waves: the
    least critical tanks first, every firmware class, board and site early, tanks that stand in for each other
    never together, no tank that cannot spare its controller. Changes nothing on any node.
    """
    import asyncio
    import time
    from datetime import UTC, datetime

    from fleet.cli.formats import Format, must_suit
    from fleet.cli.push_summary import field_of
    from fleet.cli.search_progress import tell_waiting
    from fleet.push.context import PlanOptions, plan_push

    this = session(ctx)
    if out is not None:
        must_suit(out, "--out", Format.JSON)
    this.flags["target"] = target
    field = field_of(this)
    wishes = PlanOptions(
        nodes=_nodes(this, names or []),
        target=cast("TargetName", this.setting("target")),
        any_hour=any_hour,
        again=again,
        soak_s=_soak_s(soak),
        despite_fault=_with_faults(this, despite_fault or []),
        as_built=as_built,
    )
    tell_cut_off(this.output, field.workspace)
    this.output.note("searching for the nodes, to see what each runs and how full its tanks are")
    now = datetime.fromtimestamp(int(time.time()), UTC)
    made = asyncio.run(plan_push(field, wishes, now, timeout, tell_waiting(this.output)))
    to_stdout = str(out) == "-"
    if json or to_stdout:
        this.output.emit_json("plan", made.model_dump(mode="json", by_alias=True, exclude={"schema_"}))
    else:
        _show(this, made)
    return _close(this, made, out, field.workspace.plans_dir)


def _nodes(this: Session, names: list[str]) -> tuple[str, ...]:
    """The nodes that are named, one by one or by their site."""
    inventory = this.inventory()
    sites = {site.name for site in inventory.sites}
    by_name = [node.name for node in inventory.nodes]
    wanted = {named(name, "node or site", [*by_name, *sites]) for name in names}
    return tuple(node.name for node in inventory.nodes if wanted & {node.name, inventory.site_of(node).name})


def _with_faults(this: Session, names: list[str]) -> frozenset[str]:
    known = [node.name for node in this.inventory().nodes]
    return frozenset(named(name, "node", known) for name in names)


def _soak_s(text: str | None) -> float | None:
    if text is None:
        return None
    from fleet.cli.quantity_flag import read_quantity
    from fleet.model.units import Duration_s

    return read_quantity(Duration_s, text, "--soak")


def _show(this: Session, made: Plan) -> None:
    output = this.output
    rows = [
        (
            f"{wave.number}{' pilot' if wave.pilot else ''}",
            node.node,
            node.site,
            f"{node.from_release} -> {node.to_release}",
            "no limit" if node.spare_s is None else duration(node.spare_s),
            duration(node.spare_needed_s),
            f"{node.why}; as built, from an older inventory" if node.as_built else node.why,
        )
        for wave, node in made.nodes()
    ]
    if rows:
        output.table(_WAVES, rows)
    if made.left_out:
        output.table(_LEFT_OUT, [(o.node, o.reason.replace("-", " "), o.detail) for o in made.left_out])
    if made.notices:
        output.table(_NOTICES, [(n.node, n.about.replace("-", " "), n.text) for n in made.notices])
    if made.pilot is not None:
        output.note(f"pilot: {made.pilot.text}")
    for risk in made.copy_risks:
        output.note(risk.text)


def _close(this: Session, made: Plan, out: Path | None, plans_dir: Path) -> int:
    """Write the file, and say what can be done with it."""
    from fleet.durable import write_out
    from fleet.push.plan import write_plan
    from fleet.push.reporters.words import duration_words

    output = this.output
    missing = [o.node for o in made.left_out if o.reason in ("missing", "unreachable", "crowded")]
    named = None if str(out) == "-" else out
    path = named or plans_dir / f"{made.id}.plan"
    if made.waves or named is not None:
        write_out(path, write_plan(made).encode())
    if not made.waves:
        # To a file that was named an empty plan goes too: an older one that lies there must not be pushed in its place.
        written = "No plan was written" if out is None else f"The plan in {short_path(path)} updates no node"
        written = "The plan on stdout updates no node" if str(out) == "-" else written
        output.note(f"Nothing to push: {_why_nobody(made)}. {written}.")
        stale = any(o.reason == "older-inventory" for o in made.left_out)
        output.next_step(
            "tankfleet build" if stale else "tankfleet build --release RELEASE", "tankfleet audit"
        )
        return Exit.UNREACHABLE if missing else Exit.OK
    count = sum(len(wave.nodes) for wave in made.waves)
    waves = counted(len(made.waves), "wave")
    output.note(
        f"plan {made.id}: {counted(count, 'node')} in {waves}, "
        f"{duration_words(made.expected_s)}, soak {duration(made.policy.soak_s)}; {len(made.left_out)} left out"
    )
    shown = short_path(path)
    output.note(f"written: {shown}")
    output.next_step(f"tankfleet push {shlex.quote(shown)} --dry-run", f"tankfleet push {shlex.quote(shown)}")
    return Exit.OK


def _why_nobody(made: Plan) -> str:

    reasons: dict[str, int] = {}
    for out in made.left_out:
        reasons[out.reason] = reasons.get(out.reason, 0) + 1
    told = (_left_out_words(reason, count) for reason, count in reasons.items())
    return ", ".join(told) or "no nodes"


def _left_out_words(reason: str, count: int) -> str:
    if reason == "already-runs-it":
        return f"{counted(count, 'node')} already {'runs' if count == 1 else 'run'} it"
    return f"{counted(count, 'node')}: {reason.replace('-', ' ')}"
