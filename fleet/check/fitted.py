"""Nodes as they hang: the day they were fitted, the MAC of their board, their cables. And days of rulings."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.check.codes import DAY_TO_COME, MAC_OF_NO_MAKER
from fleet.check.codes.plausible import CABLE_ODD
from fleet.finding import Figure, Finding, Subject, SubjectKind
from fleet.inventory.parsed import subject_of
from fleet.limits import CABLE_MOST_M, FITTED_FROM_YEAR

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.inventory.parsed import Parsed, ParsedPart
    from fleet.model.node import Node

_GIVEN_LOCALLY = 0b10
"""IEEE 802: in the first octet."""


def fitted_fits(survey: Parsed) -> Iterator[Finding]:
    """Days, MACs and cables of all nodes; days of all rulings."""
    for node in survey.nodes:
        yield from _day(survey, node)
        mac = node.part.mac
        if mac is not None and int(mac[:2], 16) & _GIVEN_LOCALLY:
            what = f"{mac} is locally administered: its first byte, {mac[:2]}, has bit 1 set"
            yield Finding(MAC_OF_NO_MAKER, what, node.value("mac"), subject_of(node))
        for index, served in enumerate(node.part.serves):
            length_m = served.cable_length_m or 0.0
            if length_m > CABLE_MOST_M:
                what = (
                    f"{length_m:,.4g} m of cable to `{served.tank}`; {CABLE_MOST_M:g} m is the usual maximum"
                )
                figures = (Figure("cable", length_m, "m"), Figure("most", CABLE_MOST_M, "m"))
                place = node.value("serves", index, "cable_length")
                yield Finding(CABLE_ODD, what, place, Subject(SubjectKind.TANK, served.tank), figures=figures)
    for ruling in survey.rulings:
        if survey.today is not None and ruling.part.date > survey.today:
            what = f"the ruling is dated {ruling.part.date}, and today is {survey.today}"
            yield Finding(
                DAY_TO_COME, what, ruling.value("date"), Subject(SubjectKind.RULING, f"on {ruling.part.code}")
            )


def _day(survey: Parsed, node: ParsedPart[Node]) -> Iterator[Finding]:
    fitted = node.part.fitted
    if fitted is None:
        return
    if survey.today is not None and fitted > survey.today:
        what = f"the node was fitted on {fitted}, and today is {survey.today}"
    elif fitted.year < FITTED_FROM_YEAR:
        what = f"the node was fitted on {fitted}, and there were no such boards before {FITTED_FROM_YEAR}"
    else:
        return
    yield Finding(DAY_TO_COME, what, node.value("fitted"), subject_of(node))
