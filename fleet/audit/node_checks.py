"""What is to be said of one node that was looked for.

Its presence, its board, its image, its faults. Pure.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.audit import codes
from fleet.audit.radio_checks import radio_findings
from fleet.boards.board import load_board
from fleet.find.codes import CROWDED
from fleet.find.match import Status
from fleet.finding import Finding, Subject, SubjectKind
from fleet.link.state import Phase
from fleet.push.condition import BROWN_OUT, NOTED_FAULTS, memory_words, short_of_memory
from fleet.water.quantities import counted, duration

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.audit.facts import Facts
    from fleet.build.entry import ShelfEntry
    from fleet.codes import Code
    from fleet.find.match import Match
    from fleet.link.state import NodeState, TankState
    from fleet.model.node import Node

_PRESENCE: dict[Status, Code] = {
    Status.MISSING: codes.NODE_MISSING,
    Status.DOUBLE: codes.NODE_DOUBLE,
    Status.IMPOSTOR: codes.NODE_IMPOSTOR,
    Status.MOVED: codes.NODE_MOVED,
    Status.UNKNOWN: codes.NODE_UNKNOWN,
    Status.CROWDED: CROWDED,
}
_TANK_FAULTS = {
    "contradictory": (codes.MARKS_CONTRADICT, "its marks contradict one another"),
    "longest-run": (codes.PUMP_FAULT, "its pump ran longer than the longest run"),
    "no-rise": (codes.PUMP_FAULT, "no mark changed while its pump ran"),
    "flapping": (codes.PROBE_FLAPS, "a probe changes faster than its debounce"),
}
_LOAD_AGAIN = (
    "Load it over USB: `tankfleet flash {node}`. If the fault comes back, its flash is worn: replace the "
    "board."
)
_FAULT_FIXES = {
    "bad-block": f"It cannot check tickets and takes no update. {_LOAD_AGAIN}",
    "no-record": f"It takes no update. {_LOAD_AGAIN}",
    "no-key": f"It cannot authenticate requests and takes no update. {_LOAD_AGAIN}",
    "no-way-back": "Its earlier image is damaged, so it stays on trial. If the new image works and a push was "
    "interrupted, `tankfleet resume` keeps it; otherwise load it over USB: `tankfleet flash {node}`.",
    "flash-failed": "A write to its flash failed, which no image can fix. Switch it off and on; if `tankfleet find "
    "{node}` still shows the fault, replace the board.",
}
"""By the node's own word for what is wrong with it (docs/node-interface.md 4); it takes one image at a time, and an
update with the image that it runs already mends nothing."""
_UNKNOWN_FAULT_FIX = (
    "This version of the tool does not know that fault: install the version that built the node's firmware, "
    "and watch {node} until then."
)
_PLACES_TOLD = frozenset({Status.FOUND, Status.MOVED})
"""Their evidence names the other places already (fleet/find/match.py)."""
_BAD_RESETS = ("watchdog", "crash")
SHORT = 12
"""Digits of a digest that a person is shown."""


def presence(match: Match) -> Iterator[Finding]:
    """Missing, moved, double, impostor, unknown, crowded, at several places."""
    code = _PRESENCE.get(match.status)
    if code is None and match.also_at:
        code = codes.SEVERAL_PLACES
    if code is None:
        return
    told = "; ".join(match.evidence) or match.status.value
    others = () if match.status in _PLACES_TOLD else match.also_at
    also = f" (also at {', '.join(at.place for at in others)})" if others else ""
    yield Finding(code, f"{told}{also}", subject=Subject(SubjectKind.NODE, match.node))


def state_findings(facts: Facts, node: Node, state: NodeState) -> Iterator[Finding]:
    """All that a node's signed state gives cause for."""
    yield from board_findings(node, state)
    yield from image_findings(facts, node, state)
    yield from network_findings(node, state)
    yield from radio_findings(facts.inventory, node, state)
    yield from fault_findings(node, state)


def network_findings(node: Node, state: NodeState) -> Iterator[Finding]:
    """New network credentials that are on trial, or did not hold."""
    network = state.network
    if network is None or network.phase is Phase.KEPT:
        return
    code = codes.NETWORK_ON_TRIAL
    on = {"kept": "it is on the old one", "new": "it is on the new one"}.get(
        network.on or "", "it is on neither"
    )
    what = f"its trial ends in {duration(network.trial_left_s)}; {on}"
    if network.phase is Phase.PUT_BACK:
        code, what = codes.NETWORK_PUT_BACK, "it gave up the last new network that it received"
    yield Finding(code, what, subject=Subject(SubjectKind.NODE, node.name))


def board_findings(node: Node, state: NodeState) -> Iterator[Finding]:
    """Whether it is the board that the inventory says."""
    subject = Subject(SubjectKind.NODE, node.name)
    if state.board and state.board != node.board:
        what = f"its board is {state.board}; the inventory says {node.board}"
        yield Finding(codes.OTHER_BOARD, what, subject=subject)
    if node.mac is not None and state.mac != node.mac:
        what = f"its MAC is {state.mac}; the inventory says {node.mac}"
        yield Finding(codes.MAC_DIFFERS, what, subject=subject)


def image_findings(facts: Facts, node: Node, state: NodeState) -> Iterator[Finding]:
    """What it runs, against the shelf, the inventory and the journal."""
    subject = Subject(SubjectKind.NODE, node.name)
    newest, running = facts.shelf.newest(node.name), facts.shelf.entry_for(node.name, state.image)
    if newest is not None and running is None:
        what = f"{state.release}, image {state.image[:SHORT]}, which was not built here"
        yield Finding(codes.NOT_ON_SHELF, what, subject=subject)
    elif newest is not None and newest.image != state.image:
        yield _older(facts, subject, state, newest)
    if state.phase is Phase.PUT_BACK:
        code = codes.WENT_BACK_FOR_SUPPLY if state.last_reason == BROWN_OUT else codes.WENT_BACK
        yield Finding(code, _went_back(facts, node, state), subject=subject)
    elif state.phase is Phase.ON_TRIAL:
        watched = node.name in facts.journal.unfinished_nodes
        what = f"{state.release} is on trial for {duration(state.trial_left_s)} more"
        yield Finding(codes.ON_TRIAL if watched else codes.NEVER_KEPT, what, subject=subject)
    wanted = facts.wanted_crc.get((node.name, state.release))
    if facts.shelf.is_elsewhere(node.name, state.image):
        return  # its block is that of the other target, which says nothing of the inventory
    if wanted is not None and wanted != state.block_crc:
        what = f"its node block is {state.block_crc}; the inventory gives {wanted} today"
        yield Finding(codes.OUT_OF_DATE, what, subject=subject)


def _older(facts: Facts, subject: Subject, state: NodeState, newest: ShelfEntry) -> Finding:
    push = facts.journal.halted_images.get(newest.image)
    if push is not None:
        what = f"it runs {state.release}; push {push} of {newest.release} was halted"
        return Finding(codes.NEWEST_HALTED, what, subject=subject)
    runs, there = f"{state.release} ({state.image[:SHORT]})", f"{newest.release} ({newest.image[:SHORT]})"
    what = f"it runs {runs}; {there} is newest"
    return Finding(codes.OLDER_IMAGE, what, subject=subject)


def _went_back(facts: Facts, node: Node, state: NodeState) -> str:
    left = facts.shelf.entry_for(node.name, state.last_image) if state.last_image else None
    from_what = (
        left.release if left else f"image {state.last_image[:SHORT]}" if state.last_image else "an image"
    )
    reason = f" ({state.last_reason})" if state.last_reason else ""
    last = facts.journal.last.get(node.name)
    pushed = (
        f"; push {last.push}: {last.reason}"
        if last and last.image == state.last_image and last.reason
        else ""
    )
    return f"from {from_what} to {state.release}{reason}{pushed}"


def fault_findings(node: Node, state: NodeState) -> Iterator[Finding]:
    """What the node itself complains of."""
    subject = Subject(SubjectKind.NODE, node.name)
    for fault in state.faults:
        code = codes.NO_RUN_RECORD if fault in NOTED_FAULTS else codes.NODE_FAULT
        yield Finding(code, f"it reports {fault}", subject=subject, fix_here=_fault_fix(node, fault))
    for tank in state.tanks:
        yield from _tank_fault(node, tank)
    if state.reset in _BAD_RESETS:
        what = f"its last start came from {state.reset}; {state.boots} starts so far"
        yield Finding(codes.RESTARTED_BADLY, what, subject=subject)
    yield from _supply_and_memory(node, state)


def _fault_fix(node: Node, fault: str) -> str:
    """What to do about that fault of a node; empty where the code says it."""
    if fault in NOTED_FAULTS:
        return ""
    return _FAULT_FIXES.get(fault, _UNKNOWN_FAULT_FIX).format(node=node.name)


def _supply_and_memory(node: Node, state: NodeState) -> Iterator[Finding]:
    subject = Subject(SubjectKind.NODE, node.name)
    if state.brown_outs:
        last = ", the last of which came from one" if state.reset == BROWN_OUT else ""
        count = counted(state.brown_outs, "brown-out")
        what = f"{count} in {state.boots} starts{last}"
        yield Finding(codes.BROWN_OUTS, what, subject=subject)
    if short_of_memory(state, in_place=load_board(node.board).layout == "copy-in-place"):
        yield Finding(codes.SHORT_OF_MEMORY, memory_words(state), subject=subject)


def _tank_fault(node: Node, tank: TankState) -> Iterator[Finding]:
    if tank.fault == "none":
        return
    code, what = _TANK_FAULTS.get(tank.fault, (codes.NODE_FAULT, f"it reports {tank.fault}"))
    fix = "" if tank.fault in _TANK_FAULTS else _UNKNOWN_FAULT_FIX.format(node=node.name)
    marks = ", ".join(f"{mark.name} {mark.state}" for mark in tank.marks)
    subject = Subject(SubjectKind.NODE, node.name)
    yield Finding(code, f"tank {tank.name}: {what} ({marks})", subject=subject, fix_here=fix)
