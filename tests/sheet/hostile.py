"""An invented inventory at the edges of what may be written: long names, marks close together, markup in texts."""

from __future__ import annotations

from typing import Any

from fleet.model.inventory import Inventory

LONG = "long-name-" * 6 + "end"
MARKUP = "</style><script>alert('x')</script> & \"so\" on"
CLOSE_MARKS = ("lowest-mark", "second-mark", "third--mark", "highestmark")


def hostile_inventory() -> Inventory:
    """A trough of 30 cm with four marks within 6 cm, a reservoir of 12 m, a ball, a lying sump; one node for all."""
    return Inventory.model_validate(
        {
            "fleet": {"name": "hostile", "domain": "hostile.example"},
            "policy": {},
            "sites": [
                {
                    "name": "far",
                    "title": MARKUP,
                    "time_zone": "Europe/London",
                    "network": "n",
                    "contact": MARKUP,
                }
            ],
            "tanks": [_trough(), _reservoir(), _ball(), _lying()],
            "nodes": [_node()],
        }
    )


def _trough() -> dict[str, Any]:
    heights = ("0.18 m", "0.20 m", "0.22 m", "0.24 m")
    return {
        "name": LONG,
        "site": "far",
        "duty": "livestock",
        "shape": {"kind": "frustum", "bottom_diameter": "0.4 m", "top_diameter": "1.2 m", "height": "0.3 m"},
        "marks": [{"name": n, "height": h} for n, h in zip(CLOSE_MARKS, heights, strict=True)],
        "overflow": "0.26 m",
        "reserve": "0.16 m",
        "largest_draw": "6 L/min",
        "notes": MARKUP,
        "pump": {"name": LONG, "does": "fill", "flow": "20 L/min", "power": "250 W"},
    }


def _reservoir() -> dict[str, Any]:
    return {
        "name": "reservoir",
        "site": "far",
        "duty": "potable",
        "shape": {
            "kind": "vertical-cylinder",
            "diameter": "3 m",
            "height": "12 m",
            "bottom": "hemispherical",
        },
        "marks": [{"name": "low", "height": "11.2 m"}, {"name": "full", "height": "11.4 m"}],
        "overflow": "11.6 m",
        "water": {"kind": "mains"},
        "pump": {"name": "lift", "does": "fill", "flow": "200 L/min", "power": "3 kW", "phase": "three"},
    }


def _ball() -> dict[str, Any]:
    return {
        "name": "ball",
        "site": "far",
        "duty": "fire-reserve",
        "shape": {"kind": "sphere", "diameter": "2 m"},
        "marks": [{"name": "low", "height": "0.4 m"}, {"name": "full", "height": "1.7 m"}],
    }


def _lying() -> dict[str, Any]:
    return {
        "name": "lying",
        "site": "far",
        "duty": "sump",
        "shape": {"kind": "horizontal-cylinder", "diameter": "2 m", "length": "5 m", "ends": "dished"},
        "marks": [{"name": "low", "height": "0.4 m"}, {"name": "high", "height": "1.5 m"}],
        "uncontrolled_inflow": "16 L/min",
        "pump": {"name": "out", "does": "drain", "flow": "60 L/min"},
    }


def _node() -> dict[str, Any]:
    wires = dict(zip(CLOSE_MARKS, ("red", "white/blue", "Yellow", "<i>green</i>"), strict=True))
    return {
        "name": "edge",
        "board": "esp32-s2-devkit",
        "place": MARKUP,
        "serves": [
            {
                "tank": LONG,
                "probes": dict(zip(CLOSE_MARKS, ("IO1", "IO2", "IO3", "IO4"), strict=True)),
                "wires": {**wires, "common": "black", "relay": "pink/grey"},
                "pump_relay": {"pin": "IO5"},
            },
            {"tank": "reservoir", "probes": {"low": "IO6", "full": "IO7"}, "pump_relay": {"pin": "IO33"}},
            {"tank": "ball", "probes": {"low": "IO10", "full": "IO11"}},
            {
                "tank": "lying",
                "probes": {"low": "IO12", "high": "IO13"},
                "pump_relay": {"pin": "IO36", "active": "low", "supply": "3.3 V"},
            },
        ],
    }
