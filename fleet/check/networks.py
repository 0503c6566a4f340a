"""Networks: what keeps boards from joining them, and access points by name and BSSID."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from fleet.boards.board import board_ids, load_board
from fleet.boards.joining import why_not_join
from fleet.check.codes import network as codes
from fleet.codes import Severity
from fleet.finding import Figure, Finding, Subject
from fleet.inventory.parsed import subject_of
from fleet.limits import ACTIVE_CHANNELS, CHANNELS
from fleet.model.site import NetworkTrait

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.codes import Code
    from fleet.finding import Place
    from fleet.inventory.parsed import Parsed, ParsedPart
    from fleet.model.node import Node
    from fleet.model.site import Site

_HIDDEN, _HIGH, _NO_N = NetworkTrait.HIDDEN, NetworkTrait.HIGH_CHANNELS, NetworkTrait.NO_80211N
_OF_THE_NETWORK: Final = (NetworkTrait.HIDDEN, NetworkTrait.WPA3_ONLY)
"""Traits that go with a network's settings; channels and 802.11n are of the access points at each site."""
_FIGURES: Final = (Figure("highest channel asked on", ACTIVE_CHANNELS), Figure("highest channel", CHANNELS))


def networks_fit(survey: Parsed) -> Iterator[Finding]:
    """Traits and access points of all sites, and the boards that are to join there."""
    for site in survey.sites:
        yield from _traits(site)
        yield from _spares(site)
    yield from _two_things(survey)
    yield from _nodes(survey)
    yield from _bssids(survey)


# ------------------------------------------------------------------ traits
def _traits(site: ParsedPart[Site]) -> Iterator[Finding]:
    subject, given = subject_of(site), site.part.network_traits
    for index, trait in enumerate(given):
        place = site.value("network_traits", index)
        if trait in given[:index]:
            yield Finding(codes.TRAIT_TWICE, f"`{trait}` is given twice", place, subject)
            continue
        said = _said(trait, given)
        if said is not None:
            code, what, figures = said
            yield Finding(code, what, place, subject, figures=figures)


def _said(
    trait: NetworkTrait, given: tuple[NetworkTrait, ...]
) -> tuple[Code, str, tuple[Figure, ...]] | None:
    """Of hidden and high channels together, one finding, at the hidden one."""
    both = _HIDDEN in given and _HIGH in given
    asked = f"boards ask on channels 1 to {ACTIVE_CHANNELS}, and only listen on 12 to {CHANNELS}"
    if trait is _HIDDEN:
        if both:
            what = f"the network is hidden and may be on channels 12 to {CHANNELS}: {asked}, where it does not speak"
            return codes.HIDDEN_ON_HIGH_CHANNELS, what, _FIGURES
        what = f"the network is hidden: boards find it only by asking for its name, on channels 1 to {ACTIVE_CHANNELS}"
        return codes.HIDDEN_NETWORK, what, _FIGURES
    if trait is _HIGH and not both:
        what = f"the network may be on channels 12 to {CHANNELS}: {asked}"
        return codes.HIGH_CHANNELS, what, _FIGURES
    if trait is NetworkTrait.WPA3_ONLY:
        return codes.WPA3_ALONE, "nodes are built for WPA3 here, and join no network of WPA2 then", ()
    if trait is _NO_N:
        figures = (Figure("fastest rate of 802.11g", 54, "Mbit/s"),)
        return codes.NO_80211N, "nodes are built for 802.11b and g only here, 54 Mbit/s at most", figures
    return None


def _two_things(survey: Parsed) -> Iterator[Finding]:
    firsts: dict[str, ParsedPart[Site]] = {}
    for site in survey.sites:
        first = firsts.setdefault(site.part.network, site)
        for trait in _OF_THE_NETWORK:
            here, there = trait in site.part.network_traits, trait in first.part.network_traits
            if here == there:
                continue
            other = first.part.name
            says = (site.part.name, other) if here else (other, site.part.name)
            what = f"`{site.part.network}` is `{trait}` at {says[0]}, and not at {says[1]}"
            yield Finding(codes.TRAITS_DIFFER, what, site.value("network"), subject_of(site))


# ------------------------------------------------------------------ boards
def _nodes(survey: Parsed) -> Iterator[Finding]:
    for node in survey.nodes:
        site = _site_of(survey, node.part)
        if site is None:
            continue
        why = _why_not_join(site, node.part.board)
        if why:
            yield _barred(site, why, node.value("board"), subject_of(node), Severity.ERROR)
        yield from _access_point(survey, node, site)


def _spares(site: ParsedPart[Site]) -> Iterator[Finding]:
    """A spare board that cannot join is no spare; as long as it lies there, nothing stands still."""
    for index, stock in enumerate(site.part.spare_boards):
        why = _why_not_join(site, stock.board)
        if why:
            place = site.value("spare_boards", index, "board")
            subject = subject_of(site, "spare", stock.board)
            yield _barred(site, why, place, subject, Severity.WARNING)


def _why_not_join(site: ParsedPart[Site], board: str) -> str:
    return why_not_join(load_board(board), site.part.network_traits) if board in board_ids() else ""


def _barred(site: ParsedPart[Site], why: str, place: Place, subject: Subject, severity: Severity) -> Finding:
    what = f"it never joins `{site.part.network}` at {site.part.name}: {why}"
    return Finding(codes.CANNOT_JOIN, what, place, subject, severity_here=severity)


def _site_of(survey: Parsed, node: Node) -> ParsedPart[Site] | None:
    """The site of the first tank that it serves, as far as both could be read."""
    tank = survey.tank_by_name.get(node.serves[0].tank)
    return survey.site_by_name.get(tank.part.site) if tank is not None else None


# ------------------------------------------------------------------ access points
def _access_point(survey: Parsed, node: ParsedPart[Node], site: ParsedPart[Site]) -> Iterator[Finding]:
    name, listed = node.part.access_point, site.part.access_points
    if name is None or not listed or name in listed:
        return
    what = f"{site.part.name} has no access point `{name}`.{survey.suggester.hint(name, listed)}"
    fix = f"Its access points are {', '.join(f'`{known}`' for known in list(listed)[:_LISTED])}."
    place, subject = node.value("access_point"), subject_of(node)
    yield Finding(codes.NO_SUCH_ACCESS_POINT, what, place, subject, fix_here=fix)


_LISTED: Final = 10
"""A finding names so many access points at most."""


def _bssids(survey: Parsed) -> Iterator[Finding]:
    macs = {node.part.mac: node.part.name for node in survey.nodes if node.part.mac is not None}
    firsts: dict[str, tuple[str, Place]] = {}
    for site in survey.sites:
        for name, bssids in site.part.access_points.items():
            for index, bssid in enumerate(bssids):
                place = site.value("access_points", name, index)
                subject = subject_of(site, "access point", name)
                if bssid in macs:
                    what = f"{bssid} is the MAC of the node {macs[bssid]}"
                    yield Finding(codes.BSSID_OF_NODE, what, place, subject)
                if bssid in firsts:
                    whose, there = firsts[bssid]
                    what = f"{bssid} already belongs to {whose}, at {there}"
                    yield Finding(codes.BSSID_TWICE, what, place, subject)
                firsts.setdefault(bssid, (f"{name} at {site.part.name}", place))
