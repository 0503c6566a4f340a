"""`show tank NAME --table STEP` and `--depth-of VOLUME`: depth against volume, and the depth for a volume."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from fleet.cli.codes import BAD_USAGE
from fleet.errors import UsageError
from fleet.limits import DEPTH_ROWS
from fleet.water.geometry import total_l
from fleet.water.quantities import METRIC, Units, share
from fleet.water.table import depths, holding, rows

if TYPE_CHECKING:
    from fleet.cli.output import Output
    from fleet.model.tank import Tank
    from fleet.water.table import Depth


_ROUNDED_L = 0.5
"""What a volume up to the top may be over, for it is told in whole litres."""


def show_depths(
    out: Output, tank: Tank, step: str | None, holds: str | None, *, us: bool, json: bool
) -> None:
    """The table at a step, or the depth for a volume, or both. UsageError for a step or volume that cannot be."""
    table = _table(tank, step) if step is not None else ()
    holding_it = _holding(tank, holds) if holds is not None else None
    if json:
        facts: dict[str, Any] = {
            "tank": tank.name,
            "table": [asdict(row) for row in table],
            "holds": asdict(holding_it) if holding_it else None,
        }
        out.emit_json("show-depths", facts)
        return
    units = Units(us)
    if holding_it is not None:
        out.data(
            f"{tank.name} holds {units.volume(holding_it.volume_l)} at {_length(units, holding_it.depth_m)} of depth; "
            f"{units.volume(holding_it.ullage_l)} more go in up to the {_full(tank)} ({share(holding_it.share)} full)"
        )
    if table:
        head = ("depth", "volume", "ullage", "share", "at")
        out.table(head, [_row(units, row) for row in table])


def _row(units: Units, row: Depth) -> tuple[str, ...]:
    lengths = _length(units, row.depth_m), units.volume(row.volume_l), units.volume(row.ullage_l)
    return (*lengths, share(row.share), row.at or "-")


def _length(units: Units, metres: float) -> str:
    return units.length(metres) if units.us else f"{metres:.3f} m"


def _full(tank: Tank) -> str:
    return "top" if tank.overflow_m is None else "overflow"


def _table(tank: Tank, step: str) -> tuple[Depth, ...]:
    step_m = _read("--table", step, length=True)
    count = rows(tank, step_m)
    if count > DEPTH_ROWS:
        raise UsageError(
            BAD_USAGE,
            f"--table: a step of {step} makes {count} rows; {DEPTH_ROWS} are the most",
            fix="Take a larger step, such as `10 cm` or `2 in`.",
        )
    return depths(tank, step_m)


def _holding(tank: Tank, holds: str) -> Depth:
    volume = _read("--depth-of", holds, length=False)
    most = total_l(tank.shape)
    if volume > most + _ROUNDED_L:
        held = f"{METRIC.volume(most)} ({Units(us=True).volume(most)})"
        raise UsageError(
            BAD_USAGE,
            f"--depth-of: {tank.name} never holds {holds}; up to its top it holds {held}",
            fix="Ask for less, or correct the shape in the inventory.",
        )
    return holding(tank, min(volume, most))


def _read(flag: str, text: str, *, length: bool) -> float:
    from fleet.model.rejected import ValueRejected
    from fleet.model.units import read_size_m, read_volume_l

    try:
        return read_size_m(text) if length else read_volume_l(text)
    except ValueRejected as refusal:
        raise UsageError(BAD_USAGE, f"{flag}: {refusal.what}", fix=refusal.fix) from refusal
