"""The ways to hurt a virtual node from outside."""

from __future__ import annotations

from typing import Final, Literal

How = Literal["kill", "brown-out", "power-cut", "unreachable", "slow-link", "lost-probe", "swollen"]
AT_ONCE: Final = ("kill", "brown-out")
"""What ends a node's process and is over with that; it starts again by itself."""
