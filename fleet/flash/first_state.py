"""What a board that was just flashed says of itself on the network: is it the node, with what was written? Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.errors import FlashError
from fleet.flash.codes import OTHER_STATE

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleet.find.match import Match
    from fleet.flash.contents import Load
    from fleet.flash.loader import Found
    from fleet.link.state import NodeState


def first_state(matches: Sequence[Match], load: Load, found: Found) -> NodeState | None:
    """The node's signed state; None if it was not heard of. FlashError (FLA140) for another image or board."""
    match = next((m for m in matches if m.node == load.node.name), None)
    if match is None or not match.reachable or match.state is None:
        return None
    state = match.state
    if state.image != load.entry.image or state.mac != found.mac:
        what = f"{load.node.name} at {match.address}: image {state.image[:16]} on {state.mac}"
        raise FlashError(OTHER_STATE, f"{what}; this command wrote {load.entry.image[:16]} to {found.mac}")
    return state
