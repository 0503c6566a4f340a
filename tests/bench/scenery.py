"""Specs, stand-in nodes and folders for the tests of the bench."""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

from fleet.bench.paths import BenchPaths
from fleet.bench.spec import NodeSpec, ProbeSpec, PumpSpec, TankSpec

STANDIN = Path(__file__).with_name("standin.py")
BOX_AREA_M2 = 2.0


def box_tank(name: str = "header", **changes: Any) -> TankSpec:
    """A box of 2 m x 1 m x 1 m: 2000 l, 2 l for each mm. Marks at 0.2, 0.5 and 0.9 m; filled at 120
    L/min."""
    facts: dict[str, Any] = {
        "name": name,
        "duty": "potable",
        "heights_m": (0.0, 0.5, 1.0),
        "volumes_l": (0.0, 1000.0, 2000.0),
        "overflow_m": 0.95,
        "reserve_m": 0.1,
        "largest_draw_l_per_min": 30.0,
        "largest_inflow_l_per_min": 10.0,
        "probes": (
            ProbeSpec(mark="empty", height_m=0.2, gpio=14),
            ProbeSpec(mark="half", height_m=0.5, gpio=12),
            ProbeSpec(mark="full", height_m=0.9, gpio=13),
        ),
        "pump": PumpSpec(does="fill", flow_l_per_min=120.0, gpio=5, active_high=True),
    }
    return TankSpec(**facts | changes)


def node_spec(
    folder: Path, name: str, place: int, subnet: int, tanks: tuple[TankSpec, ...] | None = None
) -> NodeSpec:
    """A node of the bench in `folder` that runs the stand-in."""
    return NodeSpec(
        name=name,
        board="d1-mini",
        address=f"127.{subnet}.0.{place}",
        port=8080,
        mac=f"02:00:00:00:00:{place:02x}",
        folder=str(BenchPaths(folder).node(name).folder),
        boot_loader=str(standin_program(folder)),
        tanks=tanks or (box_tank(f"tank-of-{name}"),),
    )


def standin_program(folder: Path) -> Path:
    """The stand-in as an executable."""
    program = folder / "standin"
    if not program.exists():
        folder.mkdir(parents=True, exist_ok=True)
        program.write_text(f'#!/bin/sh\nexec "{sys.executable}" -S -E "{STANDIN}" "$@"\n')
        program.chmod(0o755)
    return program


def standin_image(spec: NodeSpec, *script: str) -> dict[str, Any]:
    """What the stand-in's flash holds: its wiring, and what each of its starts does."""
    tanks = [
        {
            "name": tank.name,
            "gpios": [probe.gpio for probe in tank.probes],
            "pump": tank.pump.model_dump() if tank.pump else None,
        }
        for tank in spec.tanks
    ]
    return {
        "name": spec.name,
        "board": spec.board,
        "tanks": tanks,
        "script": list(script) or ["serve"],
        "boots": 0,
    }


def flashed(spec: NodeSpec, *script: str) -> NodeSpec:
    """The same spec, once its folder has a flash file."""
    folder = Path(spec.folder)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "flash.bin").write_text(json.dumps(standin_image(spec, *script)))
    return spec


def eventually(what: str, holds: Callable[[], Any], within_s: float = 15.0) -> Any:
    """Ask again and again until `holds` says something true, which is returned; fail at the deadline."""
    deadline_s = time.monotonic() + within_s
    while not (answer := holds()):
        assert time.monotonic() < deadline_s, f"after {within_s:g} s still not: {what}"
        time.sleep(0.05)
    return answer


def processes_of(folder: Path) -> dict[int, str]:
    """Living processes whose command line names that folder, by id, as the kernel tells (proc(5))."""
    found = {}
    for entry in Path("/proc").iterdir():
        if not entry.name.isdigit():
            continue
        with suppress(OSError):
            line = (entry / "cmdline").read_bytes().replace(b"\0", b" ").decode(errors="replace")
            if str(folder) in line and (entry / "stat").read_text().rsplit(")", 1)[1].split()[0] != "Z":
                found[int(entry.name)] = line
    return found
