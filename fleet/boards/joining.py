"""Which boards can join a network at all, by its traits. All boards here have radios for 2.4 GHz alone. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Collection

    from fleet.boards.board import Board

WPA3_ONLY: Final = "wpa3-only"
_WITHOUT_WPA3: Final = frozenset({"esp8266"})
"""Chips whose SDK knows WPA2 at most: NONOS 2.2.x of core 3.1.2 (esp8266/Arduino issue 4862). The ESP32 family has
WPA3-Personal as a station since IDF 4 (wifi-security.rst), switched on in the SDKs that images are built with."""


def why_not_join(board: Board, traits: Collection[str]) -> str:
    """Why that board never joins a network with these traits; empty if it can."""
    if WPA3_ONLY in traits and board.chip in _WITHOUT_WPA3:
        return f"the network takes WPA3 only, and the {board.chip.upper()} knows WPA2 at most"
    return ""
