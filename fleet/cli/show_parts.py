"""How `show` prints nodes, sites, and the fleet in short."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.cli.show_tank import paragraph
from fleet.water.electrodes import Sure, kohm
from fleet.water.quantities import Units, duration

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleet.cli.output import Output
    from fleet.facts.electrodes import ElectrodeFacts
    from fleet.facts.node import NodeFacts, PinUse
    from fleet.facts.site import BoardLine, FleetFacts, NodeLine, SiteFacts, TankLine


# ------------------------------------------------------------------ a node
def print_node(out: Output, node: NodeFacts) -> None:
    """Everything of one node."""
    out.data(f"{out.style(node.name, 'bold')}: {node.board_title} ({node.board}), at {node.site}")
    mac = node.mac or "not recorded yet (the first flash records it)"
    facts = (
        ("serves", ", ".join(node.tanks)),
        ("place", node.place),
        ("access point", node.access_point or ""),
        ("fitted", node.fitted or ""),
        ("MAC", mac),
        ("platform", f"{node.platform}, {node.layout}"),
        ("debounce", duration(node.debounce_s)),
        ("button", _button(node.clear_pin)),
        ("spare boards", f"{node.spare_boards} of this kind at {node.site}"),
        ("notes", node.notes),
    )
    for name, text in facts:
        if text:
            paragraph(out, f"  {name:14}{text}", "", " " * 16)
    out.data()
    out.table(("pin", "GPIO", "for", "tank", "mark", "pull-up", "fit"), [_pin(use) for use in node.pins])
    for use in node.pins:
        if use.reason:
            paragraph(out, f"  {use.pin}: {use.reason} ({use.source})", "", "    ")
    for electrodes in node.electrodes:
        _electrodes(out, electrodes)
    out.data(f"free for probes: {', '.join(node.free_pins) or 'none'}")
    out.data()
    need = node.need
    paragraph(
        out,
        f"An update stops it for {duration(need.worst_outage_s)} at the worst (an image of "
        f"{need.image_bytes // 1024} KiB: begin, send, write, restart, a whole trial, fall back); its "
        f"tanks need {duration(need.needed_s)} of spare time.",
    )
    for note in node.board_notes:
        paragraph(out, f"- {note}", "", "  ")


def _button(pin: str | None) -> str:
    """What holding it does (docs/node-interface.md, section 8)."""
    return f"{pin}: held for 5 s it clears faults that stay, and pumps may start" if pin else "none"


def _pin(use: PinUse) -> tuple[str, ...]:
    pull = {"internal": "chip's", "external": "outside", None: "-"}[use.pull_up]
    if use.fed_from is not None:
        pull = f"outside, from {use.fed_from}"
    what = use.for_what if use.active is None else f"{use.for_what}, on at {use.active.upper()}"
    fit = {"allowed": "yes", "care": "with care", "refused": "no"}[use.answer]
    return (use.pin, str(use.gpio), what, use.tank, use.mark or "-", pull, fit)


def _electrodes(out: Output, of: ElectrodeFacts) -> None:
    """One pair: what it has, wet and dry, and how sure that is."""
    out.data(f"electrodes of {of.tank}: {of.kind}, cell constant {of.cell_constant_per_cm:.3g} /cm")
    water = f"{of.least_us_per_cm:g} to {of.most_us_per_cm:g} uS/cm ({of.water_source})"
    paragraph(out, f"  water  {water}{', with film' if of.film else ''}", "", " " * 9)
    length = ""
    if of.surely_wet_from_m is not None:
        length = f", from {1000 * of.surely_wet_from_m:.0f} mm of rod under water on"
    dry_from = f"HIGH from {kohm(of.high_at_least_ohm)} on" if of.high_at_least_ohm else "never HIGH"
    for state, (best, worst), sure, limit in (
        ("wet", of.wet_ohm, of.wet, f"LOW up to {kohm(of.low_at_most_ohm or 0)}{length}"),
        ("dry", of.dry_ohm, of.dry, dry_from),
    ):
        verdict = f"{sure}: {of.pull_up} reads {limit}" if sure else "the external resistor is not given"
        pair = ""
        if state == "wet" and of.shared > 1:
            pair = (
                f" of one pair, {of.shared:g} times that for the highest of {of.probes_on_at_once} wet probes "
                "(resistors outside are on at once, and share the common electrode)"
            )
        paragraph(out, f"  {state}    {kohm(best)} to {kohm(worst)}{pair}; {verdict}", "", " " * 9)
    if of.current_ua is not None:
        paragraph(out, f"  DC     up to {of.current_ua:.0f} uA. {of.sampled}", "", " " * 9)
    fit = "no single external resistor reads both reliably"
    if not of.needs_resistor and {of.wet, of.dry} != {Sure.YES}:
        fit = "another pin: what the board itself hangs on one of these is in the way"
    elif not of.needs_resistor:
        fit = "nothing: wet and dry are told apart already"
    elif of.resistor_to_fit_ohm:
        fit = f"{kohm(of.resistor_to_fit_ohm)} outside of the chip reads both reliably"
    out.data(f"  to fit {fit}")
    out.data()


# ------------------------------------------------------------------ a site
def print_site(out: Output, site: SiteFacts, units: Units) -> None:
    """Everything of one site."""
    out.data(f"{out.style(site.name, 'bold')}: {site.title or site.name}")
    out.data(f"  time zone  {site.time_zone}")
    traits = f" ({', '.join(site.network_traits)})" if site.network_traits else ""
    out.data(f"  network    {site.network}{traits}")
    if site.contact:
        out.data(f"  contact    {site.contact}")
    out.data()
    out.data(out.style("windows for updates", "bold"))
    for window in site.windows:
        out.data(f"  {window.rule} from {window.first}, for {duration(window.length_s)}")
    if not site.windows:
        out.data("  none: this site may be updated at any hour")
    out.data()
    out.table(
        ("spare board", "in stock", "nodes of that kind"),
        [(stock.board, str(stock.count), str(stock.nodes)) for stock in site.spare_boards],
    )
    if site.access_points:
        out.data()
        points = [(p.name, ", ".join(p.bssids) or "-", ", ".join(p.nodes) or "-") for p in site.access_points]
        out.table(("access point", "BSSID", "nodes meant for it"), points)
    out.data()
    print_tanks(out, site.tanks, units)
    out.data()
    print_nodes(out, site.nodes)


# ------------------------------------------------------------------ lists
def print_fleet(out: Output, fleet: FleetFacts, kind: str | None, units: Units) -> None:
    """All lists, or the one of a kind."""
    if kind is None:
        out.data(f"fleet {out.style(fleet.fleet, 'bold')}, release {fleet.release}")
        out.data()
    if kind in (None, "site"):
        columns = ("site", "title", "time zone", "tanks", "nodes")
        rows = [(s.name, s.title, s.time_zone, str(s.tanks), str(s.nodes)) for s in fleet.sites]
        out.table(columns, rows)
    if kind is None:
        out.data()
    if kind in (None, "tank"):
        print_tanks(out, fleet.tanks, units)
    if kind is None:
        out.data()
    if kind in (None, "node"):
        print_nodes(out, fleet.nodes)
    if kind == "board":
        print_boards(out, fleet.boards, counted=True)


def print_tanks(out: Output, tanks: Sequence[TankLine], units: Units) -> None:
    """Tanks in short."""
    rows = [(t.name, t.site, t.duty, units.volume(t.capacity_l), t.pump or "-", t.node or "-") for t in tanks]
    out.table(("tank", "site", "duty", "holds", "pump", "node"), rows)


def print_nodes(out: Output, nodes: Sequence[NodeLine]) -> None:
    """Nodes in short."""
    rows = [(n.name, n.site, n.board, ", ".join(n.tanks)) for n in nodes]
    out.table(("node", "site", "board", "tanks"), rows)


def print_boards(out: Output, boards: Sequence[BoardLine], counted: bool) -> None:
    """Kinds of boards in short; `counted`: with how many an inventory has of each."""
    counts = ("nodes", "spares") if counted else ()
    rows = [(b.id, b.title, b.layout, str(b.nodes), str(b.spares))[: 3 + len(counts)] for b in boards]
    out.table(("board", "title", "updates", *counts), rows)
