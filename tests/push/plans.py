"""Plans and node states for the tests of the push, made without a fleet."""

from __future__ import annotations

import hashlib
import json
from typing import Any

from fleet.link.state import NodeState
from fleet.push.plan import Plan, sealed

VOLUMES_L = (200.0, 1000.0, 1800.0)
MARKS = (("low", 200), ("half", 1000), ("full", 1800))


def image_of(text: str) -> str:
    """A made-up image's SHA-256."""
    return hashlib.sha256(text.encode()).hexdigest()


OLD, NEW = image_of("old"), image_of("new")


def planned(node: str, **changes: Any) -> dict[str, Any]:
    """One planned node: a tank of 2,000 L with three marks and a pump that fills 60 L/min."""
    return {
        "node": node,
        "site": "hill",
        "board": "esp32-devkit",
        "class_id": "00000000-0000-4000-8000-000000000001",
        "from_image": OLD,
        "from_release": "1.0.0",
        "to_image": NEW,
        "to_release": "1.1.0",
        "sequence": 2,
        "ticket_sha256": "0" * 64,
        "size_bytes": 400_000,
        "why": "test",
        "spare_s": 5000.0,
        "spare_needed_s": 600.0,
        "send_s": 5.0,
        "return_within_s": 30.0,
        "fall_back_within_s": 30.0,
        "expected_s": 10.0,
        "tanks": [
            {
                "tank": f"tank-{node}",
                "volumes_l": VOLUMES_L,
                "inflow_l_per_min": 0.0,
                "draw_l_per_min": 30.0,
                "pump_does": "fill",
                "pump_l_per_min": 60.0,
                "pump_on_mark": 0,
                "pump_off_mark": 2,
            }
        ],
        **changes,
    }


def plan_of(
    *waves: list[dict[str, Any]],
    pilots: int = 1,
    any_hour: bool = True,
    access_points: dict[str, str] | None = None,
    **policy: Any,
) -> Plan:
    """A plan with those waves of planned nodes."""
    return sealed(
        {
            "schema": "tankfleet/plan/1",
            "created_at": "2026-03-01T08:00:00+00:00",
            "fleet": "sample",
            "inventory_sha256": "1" * 64,
            "target": "host",
            "any_hour": any_hour,
            "policy": {
                "first_wave": 2,
                "growth": 3.0,
                "largest_wave": 50,
                "at_once": 8,
                "at_once_per_site": 4,
                "failures_allowed": 0.0,
                "soak_s": 3.0,
                "trial_s": 120.0,
                "spare_time_margin": 2.0,
                "pilot_share_found": 0.1,
                **policy,
            },
            "access_points": access_points or {},
            "waves": [
                {
                    "number": number,
                    "pilot": number <= pilots,
                    "why": "test",
                    "expected_s": 20.0,
                    "chance_found": 0.5,
                    "nodes": nodes,
                }
                for number, nodes in enumerate(waves, start=1)
            ],
            "left_out": [],
            "pilot": None,
            "expected_s": 60.0,
        }
    )


def tank_state(name: str, wet: int, **changes: Any) -> dict[str, Any]:
    """A tank with that many wet marks, from the lowest up."""
    why = "below-low" if wet == 0 else "above-high" if wet == len(MARKS) else "between"
    return {
        "name": name,
        "marks": [
            {"name": mark, "height_mm": mm, "state": "wet" if i < wet else "dry"}
            for i, (mark, mm) in enumerate(MARKS)
        ],
        "level": wet,
        "fault": "none",
        "pump": {
            "does": "fill",
            "relay": "on" if wet == 0 else "off",
            "why": why,
            "run_s": 0,
            "starts": 0,
        },
        **changes,
    }


def state_of(node: str, **changes: Any) -> NodeState:
    """A healthy node that runs the old image; `class_id` is said as `class`."""
    document = {
        "v": 1,
        "node": node,
        "site": "hill",
        "board": "esp32-devkit",
        "mac": "02:00:00:00:00:01",
        "class": "00000000-0000-4000-8000-000000000001",
        "release": "1.0.0",
        "image": OLD,
        "sequence": 1,
        "floor": 1,
        "phase": "kept",
        "trial_left_s": 0,
        "older_image": None,
        "last_image": None,
        "last_reason": None,
        "boots": 7,
        "reset": "power-on",
        "uptime_s": 86_400,
        "free_bytes": 40_000,
        "rssi_dbm": -60,
        "nonce": "A" * 22,
        "block_crc": "0badcafe",
        "faults": [],
        "tanks": [tank_state(f"tank-{node}", 2)],
        **changes,
    }
    return NodeState.model_validate_json(json.dumps(document))
