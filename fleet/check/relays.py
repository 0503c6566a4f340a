"""Pump relays: a module that is on at LOW has its supply stated, and lets go of the pump at the HIGH that a pin has."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.check.codes.wiring import RELAY_MAY_NOT_RELEASE, RELAY_SUPPLY_UNSTATED
from fleet.finding import Figure, Finding, Subject, SubjectKind
from fleet.limits import RELAY_LED_V, SUPPLY_V

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.inventory.parsed import Parsed


def relays_release(survey: Parsed) -> Iterator[Finding]:
    """Of the modules that are on at LOW; one that is on at HIGH gets no volts from elsewhere at its input."""
    for node in survey.nodes:
        for index, served in enumerate(node.part.serves):
            relay = served.pump_relay
            if relay is None or relay.active == "high":
                continue
            subject = Subject(SubjectKind.TANK, served.tank, "wire", "relay")
            if relay.supply is None:
                what = f"the pump relay of `{served.tank}` is on at LOW, and the supply of its module is not given"
                place = node.value("serves", index, "pump_relay", "active")
                yield Finding(RELAY_SUPPLY_UNSTATED, what, place, subject)
                continue
            left_v = float(relay.supply.removesuffix(" V")) - SUPPLY_V
            if left_v < RELAY_LED_V:
                continue
            what = (
                f"the pump relay of `{served.tank}` is on at LOW and its module fed with {relay.supply}: at HIGH the "
                f"pin has {SUPPLY_V:g} V at most, and {left_v:.1f} V are left; an LED conducts from {RELAY_LED_V:g} V "
                "on"
            )
            figures = (Figure("left at HIGH", left_v, "V"), Figure("LED conducts from", RELAY_LED_V, "V"))
            place = node.value("serves", index, "pump_relay", "supply")
            yield Finding(RELAY_MAY_NOT_RELEASE, what, place, subject, figures=figures)
