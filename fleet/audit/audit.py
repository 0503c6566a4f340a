"""The audit: findings across inventory, shelf, nodes and journal, and a verdict for each node. Pure."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from fleet.audit import codes
from fleet.audit.fleet_checks import copy_in_place_s, fleet_findings
from fleet.audit.node_checks import presence, state_findings
from fleet.audit.report import NodeLine, Report
from fleet.audit.ruling_checks import ruling_findings, touching
from fleet.codes import Severity
from fleet.find.match import Status
from fleet.finding import Subject, SubjectKind

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from fleet.audit.facts import Facts
    from fleet.codes import Code
    from fleet.find.match import Match
    from fleet.finding import Finding
    from fleet.model.node import Node

_SEVERITIES = tuple(Severity)
_VERDICTS: tuple[tuple[Code, str], ...] = (
    (codes.NODE_MISSING, "not found"),
    (codes.NODE_DOUBLE, "two boards"),
    (codes.NODE_IMPOSTOR, "impostor"),
    (codes.LOST_IN_PUSH, "lost"),
    (codes.OTHER_BOARD, "other board"),
    (codes.MAC_DIFFERS, "other MAC"),
    (codes.NODE_FAULT, "node fault"),
    (codes.MARKS_CONTRADICT, "marks contradict"),
    (codes.PUMP_FAULT, "pump stopped by a fault"),
    (codes.PROBE_FLAPS, "a probe flaps"),
    (codes.NOT_ON_SHELF, "unknown image"),
    (codes.NEVER_KEPT, "on trial, not watched"),
    (codes.ON_TRIAL, "on trial"),
    (codes.WENT_BACK, "went back"),
    (codes.WENT_BACK_FOR_SUPPLY, "went back: its supply"),
    (codes.NETWORK_ON_TRIAL, "new network on trial"),
    (codes.NETWORK_PUT_BACK, "back on its old network"),
    (codes.UNLISTED_ACCESS_POINT, "on an unlisted access point"),
    (codes.WEAK_ON_OTHER_ACCESS_POINT, "on a weak access point"),
    (codes.SEVERAL_PLACES, "at several places"),
    (codes.OUT_OF_DATE, "older inventory"),
    (codes.OLDER_IMAGE, "older image"),
    (codes.RESTARTED_BADLY, "restarted after a crash"),
    (codes.BROWN_OUTS, "weak supply"),
    (codes.SHORT_OF_MEMORY, "short of memory"),
    (codes.NO_RUN_RECORD, "forgets faults at a restart"),
    (codes.NOT_BUILT, "no image built"),
    (codes.SHELF_OUT_OF_DATE, "ok, shelf is out of date"),
    (codes.NEWEST_HALTED, "ok, newest halted"),
)
"""The first code that a node has decides its verdict."""


def audit(facts: Facts) -> Report:
    """Look at everything; the same facts give the same report."""
    findings = sorted(_findings(facts), key=_order)
    by_subject: dict[Subject, list[str]] = defaultdict(list)
    for finding in findings:
        by_subject[finding.subject].append(finding.code.code)
    matches = _by_node(facts.matches or ())
    lines = tuple(
        _line(
            facts,
            node,
            matches.get(node.name),
            tuple(dict.fromkeys(by_subject[_subject(node)])),
        )
        for node in facts.inventory.nodes
    )
    missing = tuple(m.node for m in facts.matches or () if m.status in (Status.MISSING, Status.CROWDED))
    return Report(lines, tuple(findings), missing, tuple(ruling.line for ruling in facts.rulings))


def _findings(facts: Facts) -> Iterator[Finding]:
    for match in facts.matches or ():
        yield from presence(match)
    for name, match in _by_node(facts.matches or ()).items():
        if match.state is not None and match.status in (Status.FOUND, Status.MOVED, Status.DOUBLE):
            yield from state_findings(facts, facts.inventory.node(name), match.state)
    yield from fleet_findings(facts)
    yield from ruling_findings(ruling.line for ruling in facts.rulings)


def _by_node(matches: Iterable[Match]) -> dict[str, Match]:
    """The first match of each node that is in the inventory; unknown ones are left out."""
    first: dict[str, Match] = {}
    for match in matches:
        if match.status is not Status.UNKNOWN:
            first.setdefault(match.node, match)
    return first


def _subject(node: Node) -> Subject:
    return Subject(SubjectKind.NODE, node.name)


def _order(finding: Finding) -> tuple[int, str, str, str]:
    return (_SEVERITIES.index(finding.severity), finding.code.code, str(finding.subject), finding.what)


def _line(facts: Facts, node: Node, match: Match | None, found: tuple[str, ...]) -> NodeLine:
    state = match.state if match is not None else None
    newest = facts.shelf.newest(node.name)
    last = facts.journal.last.get(node.name)
    site = facts.inventory.site_of(node)
    network = state.network if state is not None else None
    return NodeLine(
        node=node.name,
        site=site.name,
        board=node.board,
        status=match.status if match else "not asked",
        address=f"{match.address}:{match.port}" if match and match.address else None,
        release=state.release if state else None,
        image=state.image if state else None,
        sequence=state.sequence if state else None,
        phase=state.phase if state else None,
        newest_release=newest.release if newest else None,
        newest_image=newest.image if newest else None,
        last_push=f"{last.push} {last.stands}" if last else None,
        access_point=node.access_point,
        joined=site.access_point_of(network.bssid) if network and network.bssid else None,
        bssid=network.bssid if network else None,
        channel=network.channel if network else None,
        rssi_dbm=state.rssi_dbm if state else None,
        copy_in_place_s=copy_in_place_s(node.board, newest),
        verdict=_verdict(found, asked=match is not None),
        findings=found,
        rulings=touching(facts.rulings, facts.inventory, node),
    )


def _verdict(found: tuple[str, ...], *, asked: bool) -> str:
    for code, words in _VERDICTS:
        if code.code in found:
            return words
    return "ok" if asked else "not asked"
