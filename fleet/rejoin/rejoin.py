"""Bringing nodes to new network credentials: who goes first, what a node's state asks for, how it ended. Pure.

A node holds both, the old credentials and those on trial, and is told to keep the new ones only while it is joined by
them; else it goes back by itself (docs/node-interface.md). So nothing here can lose a node: at worst it is late.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum
from typing import TYPE_CHECKING

from fleet.boards.board import load_board
from fleet.boards.joining import why_not_join
from fleet.check.codes.network import CANNOT_JOIN
from fleet.codes import Exit
from fleet.errors import NodeRefused
from fleet.limits import REJOIN_BACK_S, REJOIN_GIVE_TRIES, REJOIN_LEAVES_S
from fleet.link.codes import CHANGED_ON_WAY
from fleet.link.refusals import SPOILT
from fleet.link.state import Phase
from fleet.push.codes import (
    IMAGE_ON_TRIAL,
    NETWORK_REFUSED,
    NO_SUCH_REQUEST,
    NOT_IN_NEW_NETWORK,
    NOT_SEEN_SINCE,
)
from fleet.push.waves import CRITICALITY

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from fleet.codes import Code
    from fleet.errors import LinkError
    from fleet.link.state import NodeState
    from fleet.model.inventory import Inventory

_UNKNOWN_REQUEST = (404, 405)
"""What firmware that does not know the request says to it."""


class RejoinStatus(StrEnum):
    """How a node stands: on its way, then how it ended."""

    NOT_BEGUN = "not-begun"
    ASKED = "asked"
    GIVEN = "given"
    """It holds old and new; it is out looking, or on one of the two."""
    KEPT = "kept"
    ALREADY = "already-there"
    """It was on the new network when it was asked first, and was told to keep it."""
    OLD = "on-the-old"
    """It tried the new network, and is on the old one."""
    WENT_BACK = "went-back"
    REFUSED = "refused"
    NOT_SEEN = "not-seen"
    NOT_FOUND = "not-found"
    """Nothing was sent to it."""


WELL = (RejoinStatus.KEPT, RejoinStatus.ALREADY)
_AWAY = (RejoinStatus.NOT_SEEN, RejoinStatus.NOT_FOUND)


@dataclass(frozen=True, slots=True)
class NodeRejoin:
    """One node. `back_at_s`: when it goes back to the old network by itself, epoch seconds; None: it does not."""

    node: str
    stands: RejoinStatus = RejoinStatus.NOT_BEGUN
    reason: str = ""
    code: Code | None = None
    back_at_s: float | None = None

    @property
    def ended(self) -> bool:
        """Whether nothing more is done about it."""
        return self.stands not in (RejoinStatus.NOT_BEGUN, RejoinStatus.ASKED, RejoinStatus.GIVEN)

    @property
    def under_way(self) -> bool:
        """Whether something is being done about it just now."""
        return self.stands in (RejoinStatus.ASKED, RejoinStatus.GIVEN)


class Next(StrEnum):
    """What is to be done with a node, after its word."""

    GIVE = "give"
    KEEP = "keep"
    WAIT = "wait"
    END = "end"


@dataclass(frozen=True, slots=True)
class Trial:
    """What was done so far. `sure`: the node said that it took them; `told`: it was told to keep them (whether it heard
    that or not); `patient`: the access point is changed only later, so being on the old network means nothing yet."""

    given_s: float
    ends_s: float
    sure: bool = False
    told: bool = False
    patient: bool = False


def first_need(standing: NodeRejoin, state: NodeState) -> tuple[Next, NodeRejoin]:
    """What the first word of a node asks for. A node on the new network already is only told to keep it."""
    if state.phase is Phase.ON_TRIAL:
        return Next.END, _ended(standing, RejoinStatus.REFUSED, "an image is on trial on it", IMAGE_ON_TRIAL)
    network = state.network
    if network is not None and network.phase is Phase.ON_TRIAL and network.on == "new":
        return Next.KEEP, replace(standing, stands=RejoinStatus.GIVEN)
    return Next.GIVE, standing


def after_word(standing: NodeRejoin, trial: Trial, state: NodeState, now_s: float) -> tuple[Next, NodeRejoin]:
    """What a node's word asks for, once credentials were sent to it."""
    network = state.network
    if network is None:
        return Next.GIVE, standing
    if network.phase is Phase.ON_TRIAL:
        if network.on == "new":
            return Next.KEEP, standing
        if network.on == "kept" and not trial.patient and now_s - trial.given_s >= REJOIN_LEAVES_S:
            back_s = now_s + network.trial_left_s
            why = "it tried the new network and could not join"
            return Next.END, _ended(standing, RejoinStatus.OLD, why, NOT_IN_NEW_NETWORK, back_s)
        return Next.WAIT, replace(standing, back_at_s=now_s + network.trial_left_s)
    if network.phase is Phase.KEPT and (trial.told or trial.sure):
        return Next.END, kept(standing)
    if not trial.sure:
        return Next.GIVE, standing
    why = "the new network did not hold for its trial"
    return Next.END, _ended(standing, RejoinStatus.WENT_BACK, why, NOT_IN_NEW_NETWORK)


def after_silence(standing: NodeRejoin, trial: Trial, now_s: float) -> tuple[Next, NodeRejoin]:
    """What silence asks for: patience, until the node must long be back on its old network."""
    if now_s < trial.ends_s + REJOIN_BACK_S:
        return Next.WAIT, standing
    why = "no answer on either network since it received the new one"
    return Next.END, _ended(standing, RejoinStatus.NOT_SEEN, why, NOT_SEEN_SINCE, trial.ends_s)


def is_no(error: LinkError) -> bool:
    """Whether the node surely did not take the credentials: it said so, or never believed the request."""
    return isinstance(error, NodeRefused) or error.code is CHANGED_ON_WAY


def passes(error: LinkError) -> bool:
    """Whether that is worth trying again: the node is busy, or what came to it was not what was sent."""
    return error.code is CHANGED_ON_WAY or _spoilt(error) or getattr(error, "refusal", "") == "busy"


def _spoilt(error: LinkError) -> bool:
    return isinstance(error, NodeRefused) and error.refusal in SPOILT


def after_no(standing: NodeRejoin, error: LinkError, release: str) -> NodeRejoin:
    """How a node stands that said no to new credentials, as often as it was asked."""
    if isinstance(error, NodeRefused) and error.status in _UNKNOWN_REQUEST:
        why = f"its release {release} cannot take credentials over the network"
        return _ended(standing, RejoinStatus.REFUSED, why, NO_SUCH_REQUEST)
    if _spoilt(error):
        why = f"{error.what}: so {REJOIN_GIVE_TRIES} times; a device on the way changes what is sent"
        return _ended(standing, RejoinStatus.REFUSED, why, CHANGED_ON_WAY)
    return _ended(
        standing,
        RejoinStatus.REFUSED,
        error.what,
        NETWORK_REFUSED if isinstance(error, NodeRefused) else error.code,
    )


def never_took(standing: NodeRejoin) -> NodeRejoin:
    """A node that answers, but never said that it took them."""
    why = f"the connection ended before its answer, {REJOIN_GIVE_TRIES} times, and it has not taken the credentials"
    return _ended(standing, RejoinStatus.REFUSED, why, NETWORK_REFUSED)


def kept(standing: NodeRejoin) -> NodeRejoin:
    """A node that said that it keeps them."""
    return _ended(standing, RejoinStatus.KEPT, "", None)


def not_found(node: str, why: str) -> NodeRejoin:
    """A node that nothing was sent to, because it does not answer."""
    return NodeRejoin(node, RejoinStatus.NOT_FOUND, why)


def barred(inventory: Inventory, names: Iterable[str]) -> dict[str, str]:
    """By node whose board never joins its site's network, why. Nothing is to be sent to it."""
    found = {}
    for name in names:
        node = inventory.node(name)
        why = why_not_join(load_board(node.board), inventory.site_of(node).network_traits)
        if why:
            found[name] = why
    return found


def not_sent(node: str, why: str) -> NodeRejoin:
    """A node that nothing was sent to, because its board never joins that network."""
    return NodeRejoin(node, RejoinStatus.REFUSED, why, CANNOT_JOIN)


def _ended(
    standing: NodeRejoin, stands: RejoinStatus, reason: str, code: Code | None, back_at_s: float | None = None
) -> NodeRejoin:
    return replace(standing, stands=stands, reason=reason, code=code, back_at_s=back_at_s)


def in_order(inventory: Inventory, names: Iterable[str]) -> dict[str, list[str]]:
    """By network, in the inventory's order: its nodes, those first whose tanks can best do without being watched."""
    by_network: dict[str, list[str]] = {}
    wanted = set(names)
    for node in inventory.nodes:
        if node.name in wanted:
            by_network.setdefault(inventory.site_of(node).network, []).append(node.name)
    return {
        network: sorted(found, key=lambda name: _cost(inventory, name))
        for network, found in by_network.items()
    }


def _cost(inventory: Inventory, name: str) -> int:
    return max(CRITICALITY[inventory.tank(served.tank).duty] for served in inventory.node(name).serves)


def exit_of(standings: Sequence[NodeRejoin]) -> Exit:
    """Ok: all are on the new network; unreachable: the others did not answer; problems: anything else."""
    left = {one.stands for one in standings if one.stands not in WELL}
    if not left:
        return Exit.OK
    return Exit.UNREACHABLE if left <= set(_AWAY) else Exit.PROBLEMS
