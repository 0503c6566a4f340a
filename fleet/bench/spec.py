"""What the bench has to know of a node and its tanks; `scene.py` makes it from the inventory."""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from fleet.limits import BENCH_TABLE_POINTS, MARKS_PER_TANK, TANKS_PER_NODE

Gpio = Annotated[int, Field(ge=0, le=63)]


class Spec(BaseModel):
    """Base of all parts: unknown keys are errors, nothing changes."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class ProbeSpec(Spec):
    """A mark with the GPIO that its probe is wired to."""

    mark: str
    height_m: Annotated[float, Field(ge=0)]
    gpio: Gpio


class PumpSpec(Spec):
    """A pump with the GPIO of its relay; `active_high`: the relay picks up when the pin is HIGH."""

    does: Literal["fill", "drain"]
    flow_l_per_min: Annotated[float, Field(gt=0)]
    gpio: Gpio
    active_high: bool


class TankSpec(Spec):
    """A tank: its table of levels and volumes (rising, from 0), its marks from the lowest up, its flows."""

    name: str
    duty: str
    heights_m: Annotated[tuple[float, ...], Field(min_length=2, max_length=BENCH_TABLE_POINTS)]
    volumes_l: Annotated[tuple[float, ...], Field(min_length=2, max_length=BENCH_TABLE_POINTS)]
    overflow_m: Annotated[float, Field(gt=0)]
    reserve_m: Annotated[float, Field(ge=0)] | None = None
    largest_draw_l_per_min: Annotated[float, Field(ge=0)] = 0.0
    largest_inflow_l_per_min: Annotated[float, Field(ge=0)] = 0.0
    probes: Annotated[tuple[ProbeSpec, ...], Field(min_length=1, max_length=MARKS_PER_TANK)]
    pump: PumpSpec | None = None

    @model_validator(mode="after")
    def _table_rises(self) -> TankSpec:
        for column in (self.heights_m, self.volumes_l):
            if any(b <= a for a, b in pairwise(column)):
                raise ValueError("the table of levels and volumes must rise")
        if len(self.heights_m) != len(self.volumes_l):
            raise ValueError("as many volumes as levels")
        if self.overflow_m > self.heights_m[-1] + 1e-9:
            raise ValueError("the overflow is above the table")
        return self


class NodeSpec(Spec):
    """A virtual node: where it answers, its files, and what it serves."""

    name: str
    board: str
    address: Annotated[str, Field(pattern=r"^127\.\d{1,3}\.\d{1,3}\.\d{1,3}$")]
    port: Annotated[int, Field(ge=1, le=65535)]
    mac: Annotated[str, Field(pattern=r"^[0-9a-f]{2}(:[0-9a-f]{2}){5}$")]
    folder: str
    """Holds `flash.bin`, `pins` and `node.log`."""
    boot_loader: str
    tanks: Annotated[tuple[TankSpec, ...], Field(min_length=1, max_length=TANKS_PER_NODE)]
