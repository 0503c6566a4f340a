"""Steps of commissioning that keep people and pumps from harm: each only where it applies."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.model.tank import Duty
from fleet.sheet.step import Step
from fleet.water.cautions import gives_gas

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleet.boards.board import Board
    from fleet.facts.tank import PumpFacts
    from fleet.model.node import Node
    from fleet.model.tank import Tank


def told(tanks: Sequence[Tank]) -> list[Step]:
    """Before a fire reserve's pump is isolated (NFPA 25, impairments; from memory)."""
    if not any(tank.duty is Duty.FIRE_RESERVE for tank in tanks):
        return []
    return [
        Step(
            "Fire reserve: before you isolate its pump, tell whoever supervises it. Never draw it down for this.",
            each=("who", "when"),
        )
    ]


def told_again(tank: Tank) -> list[Step]:
    """After it."""
    if tank.duty is not Duty.FIRE_RESERVE:
        return []
    return [Step("Reserve full and pump back in service: tell whoever supervises it.", each=("who", "when"))]


def gas(tanks: Sequence[Tank]) -> list[Step]:
    """Before a sump is opened. Oxygen and flammable gas: 29 CFR 1910.146; hydrogen sulphide: the ceiling that NIOSH
    recommends (from memory)."""
    if not any(gives_gas(tank) for tank in tanks):
        return []
    return [
        Step(
            "Measure gas at the sump before you open it and while you work: oxygen, hydrogen sulphide, methane.",
            "19.5 to 23.5 % O2; H2S under 10 ppm or your local limit; under 10 % of the lower explosive limit",
            each=("O2, %", "H2S, ppm", "explosive limit, %"),
        )
    ]


def isolated(tanks: Sequence[Tank]) -> list[Step]:
    """Before anybody touches a wire: proved dead, by a tester that is itself proved (EN 50110-1 6.2.4; from memory)."""
    if not any(tank.pump is not None for tank in tanks):
        return []
    return [
        Step(
            "Pump isolated and locked off; its circuit is dead at the contactor.",
            "0 V between all poles and to earth; the tester shows a live part before and after",
            "V",
        )
    ]


def dc_contactor(tanks: Sequence[Tank]) -> list[Step]:
    """IEC 60947-4-1: a contactor for AC does not break the arc of a DC motor."""
    if not any(tank.pump is not None and tank.pump.phase == "dc" for tank in tanks):
        return []
    return [Step("DC pump: the contactor's plate.", "DC-3 or DC-5 at the pump's volts and amperes", "V, A")]


def module_supply(node: Node, board: Board) -> list[Step]:
    """Where a relay module is on at LOW: with 5 V at its input side it may not release at the 3.3 V of a pin."""
    if not any(served.pump_relay and served.pump_relay.active == "low" for served in node.serves):
        return []
    do = f"Relay module, on at LOW: DC volts at its input side, VCC beside IN to {board.ground}."
    return [Step(do, "3.0 to 3.6 V; with 5 V it may not release", "V")]


def dry_run(pump: PumpFacts) -> Step:
    """What stops a pump that has lost its water while the node does not see it."""
    where = "in or at its source" if pump.does == "fill" else f"below mark {pump.stops_at}"
    return Step(
        f"Dry-run protection {where} (float, pressure or current switch): trip it by hand while the pump runs.",
        "the pump stops although the node's relay is on",
    )
