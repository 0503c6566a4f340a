"""Which boards can join a network at all, by its traits. All boards here have radios for 2.4 GHz alone. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Collection

    from fleet.boards.board import Board

WPA3_ONLY: Final = "wpa3-only"


def why_not_join(board: Board, traits: Collection[str]) -> str:
    """Why that board never joins a network with these traits; empty if it can."""
    if WPA3_ONLY in traits and not board.wpa3:
        return f"the network takes WPA3 only, and the {board.chip.upper()} knows WPA2 at most"
    return ""
