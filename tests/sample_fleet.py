"""A small invented fleet for the tests of keys, rendering and building."""

from __future__ import annotations

from typing import Any

from fleet.model.inventory import Inventory
from fleet.resources import load_templates


def sample_inventory(header_pump: dict[str, Any] | None = None, **fleet: Any) -> Inventory:
    """Two sites, three nodes on two boards; one node serves two tanks, one of them without a pump."""
    header = _header()
    header["pump"].update(header_pump or {})
    return Inventory.model_validate(
        {
            "fleet": {"name": "sample", "domain": "water.example", "release": "1.2.0", **fleet},
            "policy": {},
            "sites": [
                {"name": "hill", "time_zone": "Europe/Lisbon", "network": "hill-wifi"},
                {"name": "yard", "time_zone": "Australia/Perth", "network": "yard-wifi"},
            ],
            "tanks": [header, _trough(), _sump()],
            "nodes": [_hill_node(), _yard_node("yard-1"), _yard_node("yard-2")],
        }
    )


def _header() -> dict[str, Any]:
    return {
        "name": "header",
        "site": "hill",
        "duty": "potable",
        "shape": {"kind": "vertical-cylinder", "diameter": "2 m", "height": "2 m"},
        "marks": [
            {"name": "full", "height": "1800 mm"},
            {"name": "empty", "height": "200 mm"},
            {"name": "half", "height": "1 m"},
        ],
        "pump": {
            "name": "bore",
            "does": "fill",
            "flow": "60 L/min",
            "longest_run": "2 h",
            "no_rise": "30 min",
        },
    }


def _trough() -> dict[str, Any]:
    return {
        "name": "trough",
        "site": "hill",
        "duty": "livestock",
        "shape": {"kind": "box", "length": "2 m", "width": "1 m", "height": "60 cm"},
        "marks": [{"name": "low", "height": "100 mm"}, {"name": "high", "height": "500 mm"}],
    }


def _sump() -> dict[str, Any]:
    return {
        "name": "sump",
        "site": "yard",
        "duty": "sump",
        "shape": {"kind": "box", "length": "1 m", "width": "1 m", "height": "1 m"},
        "marks": [{"name": "low", "height": "200 mm"}, {"name": "high", "height": "800 mm"}],
        "pump": {
            "name": "lift",
            "does": "drain",
            "flow": "100 L/min",
            "longest_run": "20 min",
            "no_rise": "10 min",
            "shortest_off": "90 s",
        },
    }


def _hill_node() -> dict[str, Any]:
    return {
        "name": "hill-1",
        "board": "d1-mini",
        "serves": [
            {
                "tank": "header",
                "probes": {"full": "D5", "half": "D6", "empty": "D7"},
                "pump_relay": {"pin": "D1"},
            },
            {"tank": "trough", "probes": {"low": "D2", "high": "D3"}, "pull_up": "external"},
        ],
        "debounce": "1500 ms",
    }


def _yard_node(name: str) -> dict[str, Any]:
    return {
        "name": name,
        "board": "esp32-devkit",
        "serves": [
            {
                "tank": "sump",
                "probes": {"low": "IO32", "high": "IO33"},
                "pump_relay": {"pin": "IO25", "active": "low", "supply": "3.3 V"},
            }
        ],
    }


def small_templates() -> dict[str, bytes]:
    """The real node templates and host platform around a firmware of a few lines: quick to compile."""
    real = load_templates()
    kept = {path: data for path, data in real.items() if path.startswith(("node/", "platforms/"))}
    return {
        **kept,
        "firmware/core/node_block.h": real["firmware/core/node_block.h"],
        "firmware/core/twice.cpp": b'#include "core/twice.h"\nint twice(int n) { return 2 * n; }\n',
        "firmware/core/twice.h": b"int twice(int n);\n",
        "firmware/ports/host/boot_main.cpp": b"int main() { return 7; }\n",
        "firmware/ports/host/main.cpp": _SMALL_MAIN,
    }


_SMALL_MAIN = b"""#include <stdio.h>
#include "core/node_block.h"
#include "core/twice.h"
#ifndef TN_BENCH_DEFECT
#define TN_BENCH_DEFECT 0
#endif
int main() {
  for (const volatile char *c = tn_node_block.node; *c != 0; ++c) putchar(*c);
  printf(" %d %d %s\\n", twice(tn_node_block.trial_s), TN_BENCH_DEFECT, __FILE__);
}
"""
