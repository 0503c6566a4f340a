"""What the firmware of a node is set to, each with where it came from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from fleet.facts.tank import wired_to
from fleet.limits import POWER_UP_HOLD_S, SAMPLE_PERIOD_MS
from fleet.water.crossing import debounce_s
from fleet.water.quantities import duration

if TYPE_CHECKING:
    from pydantic import BaseModel

    from fleet.facts.tank import PumpFacts, StartsFacts
    from fleet.model.inventory import Inventory
    from fleet.model.node import Node
    from fleet.model.tank import Pump
    from fleet.water.quantities import Units

_DEFAULT: Final = "default"
_GIVEN: Final = "inventory"


@dataclass(frozen=True, slots=True)
class SettingLine:
    """One value in words; `origin` says where it came from."""

    name: str
    value: str
    origin: str


def node_settings(inventory: Inventory, node: Node) -> tuple[SettingLine, ...]:
    """Those of the node as a whole."""
    site, policy = inventory.site_of(node), inventory.policy
    return (
        SettingLine("release", inventory.fleet.release, _origin(inventory.fleet, "release")),
        SettingLine("debounce", duration(debounce_s(node)), _DEFAULT if node.debounce_s is None else _GIVEN),
        SettingLine("sampling", f"every {SAMPLE_PERIOD_MS} ms", "firmware"),
        *_currents(inventory, node),
        SettingLine("power-up hold", duration(POWER_UP_HOLD_S), "firmware"),
        SettingLine(
            "trial of a new image", duration(policy.trial_s), f"{_origin(policy, 'trial_s')}, policy"
        ),
        SettingLine(
            "network lost after", duration(site.network_lost_s), f"{_origin(site, 'network_lost_s')}, site"
        ),
    )


def _currents(inventory: Inventory, node: Node) -> tuple[SettingLine, ...]:
    """How current gets into the water: once, or where that differs, for each tank."""
    by_tank = {s.tank: wired_to(inventory.tank(s.tank), node).sensing for s in node.serves}
    alike = len({current.words for current in by_tank.values()}) == 1
    told = [
        SettingLine(f"current at the probes{'' if alike else f', {tank}'}", current.when, current.how)
        for tank, current in by_tank.items()
    ]
    return tuple(told[:1] if alike else told)


def pump_settings(facts: PumpFacts, pump: Pump, units: Units) -> tuple[SettingLine, ...]:
    """Those of a tank's pump, and how often it may have to start by them."""
    named = (
        ("longest run", facts.longest_run),
        ("no-rise watch", facts.no_rise),
        ("first rise within", facts.first_rise),
        ("shortest off", facts.shortest_off),
    )
    return (
        SettingLine("pump starts at", f"mark {facts.starts_at}", _GIVEN if pump.on_at else _DEFAULT),
        SettingLine("pump stops at", f"mark {facts.stops_at}", _GIVEN if pump.off_at else _DEFAULT),
        *(SettingLine(name, duration(timed.seconds), timed.origin) for name, timed in named if timed),
        *_starts(facts.starts, units),
    )


def _starts(facts: StartsFacts, units: Units) -> tuple[SettingLine, ...]:
    if facts.cycle_s is None:
        return ()
    worst = f"at {units.flow(facts.demand_l_per_min)} the other way"
    may = f"; its motor may {facts.most_per_hour:.3g} an hour ({facts.origin})" if facts.most_per_hour else ""
    often = (
        f"up to {facts.per_hour:.2g} an hour" if facts.per_hour >= 1 else f"one in {duration(facts.cycle_s)}"
    )
    return (SettingLine("pump starts, at most", often, f"{worst}{may}"),)


def _origin(part: BaseModel, field: str) -> str:
    return _GIVEN if field in part.model_fields_set else _DEFAULT
