"""`bench`: virtual nodes on this machine, with the real firmware in real processes and simulated water."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, Literal, get_args

import typer

from fleet.bench.how import AT_ONCE, How
from fleet.cli.common import command, command_app, complete_names, named, nearest, session
from fleet.cli.key_folder import open_keys
from fleet.codes import Exit
from fleet.limits import BENCH_SPEED
from fleet.water.quantities import counted, duration
from fleet.water.quantities import share as share_text

if TYPE_CHECKING:
    from fleet.bench.control import BenchControl
    from fleet.bench.message import NodeView, TankView
    from fleet.bench.up import BroughtUp
    from fleet.cli.common import Session
    from fleet.cli.output import Output
    from fleet.link.state import NodeState

app = command_app()
_COLUMNS = ("node", "address", "pid", "state", "image", "starts", "tanks")
_NAMES_SHOWN = 6
_POWER = {"running": "on", "off": "off", "starting": "starting", "brick": "brick"}

NodeName = Annotated[str, typer.Argument(help="The node.", autocompletion=complete_names("nodes"))]
TankName = Annotated[str, typer.Argument(help="The tank.", autocompletion=complete_names("tanks"))]
Json = Annotated[bool, typer.Option("--json", help="Print JSON.")]


@app.callback()
def bench() -> None:
    """Example: tankfleet bench up --speed 10

    Virtual nodes on this machine: the real firmware, built with `tankfleet build --target host`, in one
    process for each node on a loopback address of its own, with simulated water behind the probes.
    """


@command(app, "up")
def up(
    ctx: typer.Context,
    nodes: Annotated[
        list[str] | None,
        typer.Argument(help="Only these nodes; default: all.", autocompletion=complete_names("nodes")),
    ] = None,
    speed: Annotated[
        float | None,
        typer.Option(
            "--speed",
            metavar="FACTOR",
            min=0.1,
            max=BENCH_SPEED,
            help="How many times faster than real time the water runs; default 1.",
        ),
    ] = None,
    blank: Annotated[
        bool, typer.Option("--reflash", help="Flash again, even nodes that have an image.")
    ] = False,
    release: Annotated[
        str | None,
        typer.Option("--release", metavar="TEXT", help="Release text to flash; default: the newest."),
    ] = None,
    subnet: Annotated[
        int | None,
        typer.Option(
            "--subnet",
            metavar="N",
            min=1,
            max=254,
            help="N of the addresses 127.N.x.y; default: one that no other bench uses.",
        ),
    ] = None,
) -> int:
    """Example: tankfleet bench up kestrel-01 kestrel-02 --speed 10

    Start virtual nodes. A node that was never flashed, and every node with --reflash, first gets the newest
    image without a defect from the shelf, with its ticket and key, as a first flash over USB would; the
    others go on with what is in their flash. The water starts between the marks, always at the same level
    for the same tank.
    """
    this = session(ctx)
    inventory = this.inventory()
    known = [node.name for node in inventory.nodes]
    asked = [named(name, "node", known) for name in nodes or ()]
    chosen = tuple(name for name in known if not asked or name in asked)
    this.output.note(f"bringing up {counted(len(chosen), 'node')}")
    from fleet.bench.up import Wanted, bring_up
    from fleet.build.shelf import Shelf

    workspace = this.workspace(inventory.fleet.name)
    keys = open_keys(this, inventory.fleet.name)
    wanted = Wanted(chosen, speed, blank, release, subnet)
    return _sum_up(
        this.output,
        bring_up(inventory, workspace, Shelf(workspace.shelf_dir), keys, wanted, this.output.note),
    )


@command(app, "down")
def down(ctx: typer.Context) -> None:
    """Example: tankfleet bench down

    Stop all virtual nodes. Their flash stays, so `bench up` goes on with the images that they ran.
    """
    this = session(ctx)
    control = _control(this)
    if not control.is_up():
        this.output.note("The bench is not up; nothing was done.")
        return
    count = len(control.nodes())
    control.down()
    this.output.note(f"Stopped {counted(count, 'node')}.")
    this.output.next_step("tankfleet bench up")


@command(app, "list")
def list_(ctx: typer.Context, json: Json = False) -> None:
    """Example: tankfleet bench list

    Show each virtual node: its process, what it says it runs, what hurts it, and how its water truly
    stands.
    """
    this = session(ctx)
    control = _control(this)
    views: tuple[NodeView, ...] = ()
    is_up = control.is_up()
    states: dict[str, NodeState | None] = {}
    if is_up:
        from fleet.bench.start import states_of

        views = control.nodes()
        states = states_of([view for view in views if view.power == "running"])
    if json:
        facts = [_facts(view, states.get(view.name)) for view in views]
        this.output.emit_json(
            "bench", {"up": is_up, "speed": control.speed() if is_up else None, "nodes": facts}
        )
    elif not is_up:
        this.output.note("The bench is not up.")
        this.output.next_step("tankfleet bench up")
    else:
        this.output.table(_COLUMNS, [_row(view, states.get(view.name)) for view in views])


@command(app, "hurt")
def hurt(
    ctx: typer.Context,
    node: NodeName,
    how: Annotated[
        Literal[How, "heal"], typer.Argument(metavar="HOW", help=f"{', '.join((*get_args(How), 'heal'))}.")
    ],
    for_s: Annotated[
        float | None,
        typer.Option("--for", metavar="SECONDS", min=0.1, help="Seconds; default: until `heal`."),
    ] = None,
    rate: Annotated[
        int | None,
        typer.Option(
            "--rate", metavar="BYTES", min=1, help="For slow-link, bytes per second; default 20000."
        ),
    ] = None,
    tank: Annotated[
        str | None,
        typer.Option(
            "--tank",
            metavar="TANK",
            help="Of this tank, for lost-probe and swollen; default: the first.",
            autocompletion=complete_names("tanks"),
        ),
    ] = None,
    mark: Annotated[
        str | None,
        typer.Option(
            "--mark",
            metavar="MARK",
            help="The mark; default: for lost-probe the lowest, for swollen the highest.",
        ),
    ] = None,
) -> None:
    """Example: tankfleet bench hurt kestrel-01 power-cut --for 20

    Hurt a virtual node from outside. kill: its process crashes and starts again. brown-out: its supply sags, it
    starts again. power-cut: no power. unreachable: no network. slow-link: few bytes a second. lost-probe: a
    wire is broken, the probe reads dry. swollen: a probe is bridged by dirt and reads wet. heal: all of that is
    over, and it has power.
    """
    this = session(ctx)
    control = _control(this)
    _on_bench(node, "node", [view.name for view in control.nodes()])
    if how == "heal":
        if (for_s, rate, tank, mark) != (None, None, None, None):
            raise typer.BadParameter("heal takes no options")
        well = control.node(node).power == "running" and not control.node(node).hurts
        control.heal(node)
        this.output.note(
            f"Node {node} has no bench fault; nothing was done." if well else f"Node {node} is healed."
        )
    else:
        control.hurt(node, how, for_s=for_s, tank=tank, mark=mark, rate_bytes_per_s=rate)
        until = "" if how in AT_ONCE else f" for {duration(for_s)}" if for_s else " until it is healed"
        this.output.note(f"Node {node}: {how}{until}.")
    heal = () if how in (*AT_ONCE, "heal") or for_s else (f"tankfleet bench hurt {node} heal",)
    this.output.next_step("tankfleet bench list", *heal)


@command(app, "draw")
def draw(
    ctx: typer.Context,
    tank: TankName,
    flow: Annotated[str, typer.Argument(help="Such as '30 L/min'; `daily` follows the simulated day.")],
) -> None:
    """Example: tankfleet bench draw header-east '30 L/min'

    Set what is drawn from a tank on the bench, from now on.
    """
    from fleet.cli.quantity_flag import read_quantity
    from fleet.model.units import Flow_l_per_min

    this = session(ctx)
    control = _control(this)
    l_per_min = None if flow == "daily" else read_quantity(Flow_l_per_min, flow, "FLOW")
    _on_bench(tank, "tank", _tanks_of(control))
    control.draw(tank, l_per_min)
    this.output.note(
        f"Tank {tank}: {'the daily draw' if l_per_min is None else f'{l_per_min:g} L/min'} from now on."
    )
    this.output.next_step("tankfleet bench list")


@command(app, "level")
def level(
    ctx: typer.Context,
    tank: TankName,
    share: Annotated[str, typer.Argument(help="Such as '80 %' of the volume up to the overflow.")],
) -> None:
    """Example: tankfleet bench level header-east '80 %'

    Put the water of a tank on the bench at a share of its volume, at once.
    """
    from fleet.cli.quantity_flag import read_quantity
    from fleet.model.units import Share

    this = session(ctx)
    control = _control(this)
    value = read_quantity(Share, share, "SHARE")
    _on_bench(tank, "tank", _tanks_of(control))
    control.level(tank, value)
    view = control.tank(tank)
    this.output.note(f"Tank {tank}: {share_text(view.share)}, {view.level_m:.2f} m.")
    this.output.next_step("tankfleet bench list")


# ---------------------------------------------------------------------- helpers
def _control(this: Session) -> BenchControl:
    from fleet.bench.control import BenchControl
    from fleet.bench.paths import BenchPaths

    return BenchControl(BenchPaths(this.workspace("").bench_dir).socket)


def _tanks_of(control: BenchControl) -> list[str]:
    return [tank.name for view in control.nodes() for tank in view.tanks]


def _on_bench(name: str, kind: str, known: list[str]) -> None:
    from fleet.bench.codes import NO_SUCH_NODE
    from fleet.errors import BenchRefused

    if name not in known:
        raise BenchRefused(NO_SUCH_NODE, f"there is no {kind} {name!r} on the bench.{nearest(name, known)}")


def _sum_up(output: Output, result: BroughtUp) -> int:
    if not result.started:
        output.note("All nodes are already up; nothing was done.")
    else:
        flashed = f", {len(result.flashed)} of them flashed again" if result.flashed else ""
        already = f"; {counted(len(result.already_up), 'node')} already up" if result.already_up else ""
        output.note(f"Started {counted(len(result.started), 'node')}{flashed}{already}.")
    if result.silent:
        names = ", ".join(result.silent[:_NAMES_SHOWN])
        more = len(result.silent) - _NAMES_SHOWN
        output.warn(
            f"{counted(len(result.silent), 'node')} do not answer: {names}{f' and {more} more' if more > 0 else ''}"
        )
        output.next_step("tankfleet bench list")
        return Exit.UNREACHABLE
    output.next_step("tankfleet find", "tankfleet bench list")
    return Exit.OK


def _row(view: NodeView, state: NodeState | None) -> tuple[str, ...]:
    uptime = "" if view.uptime_s is None else f" {duration(view.uptime_s)}"
    return (
        view.name,
        view.address,
        str(view.pid or "-"),
        ", ".join((f"{_POWER[view.power]}{uptime}", *view.hurts)),
        f"{state.release} {state.phase}" if state else "no answer",
        str(view.starts),
        "; ".join(_tank(tank) for tank in view.tanks),
    )


def _tank(tank: TankView) -> str:
    pump = f" pump {tank.pump}" if tank.pump else ""
    return f"{tank.name} {share_text(tank.share)}{pump}"


def _facts(view: NodeView, state: NodeState | None) -> dict[str, Any]:
    from fleet.bench.message import ListedNode, Said

    said = None
    if state is not None:
        said = Said(release=state.release, image=state.image, phase=state.phase.value)
    return ListedNode(**dict(view), says=said).model_dump(mode="json")
