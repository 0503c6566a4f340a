"""Pins that feed the resistors outside of a tank's probes: there are such resistors, and the pin holds its level."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.check.codes.feeds import FEED_TOO_WEAK, FEED_UNUSED
from fleet.finding import Figure, Finding, Subject, SubjectKind
from fleet.limits import FEED_CURRENT_UA
from fleet.water.electrodes import largest_current_ua, resistor_pull

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.inventory.parsed import ParsedPart
    from fleet.model.node import Node, Served


def feeds_fit(node: ParsedPart[Node], index: int, served: Served) -> Iterator[Finding]:
    """The feed of the probes at one tank; what its pin can do is said with the other pins."""
    if served.pull_up_feed is None:
        return
    place, subject = node.value("serves", index, "pull_up_feed"), Subject(SubjectKind.TANK, served.tank)
    if not served.is_fed:
        what = f"`{served.pull_up_feed}` is to feed resistors, but the pull-up is the chip's own"
        yield Finding(FEED_UNUSED, what, place, subject)
    elif served.pull_up_resistor_ohm:
        pull = resistor_pull(served.pull_up_resistor_ohm)
        most_ua = len(served.probes) * largest_current_ua(pull)
        if most_ua > FEED_CURRENT_UA:
            what = (
                f"{len(served.probes)} wet probes take up to {most_ua / 1e3:,.0f} mA from `{served.pull_up_feed}` "
                f"({pull.what}); a pin holds its level up to {FEED_CURRENT_UA / 1e3:g} mA"
            )
            figures = (Figure("current", most_ua, "uA"), Figure("limit", FEED_CURRENT_UA, "uA"))
            yield Finding(FEED_TOO_WEAK, what, place, subject, figures=figures)
