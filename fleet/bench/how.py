"""The ways to hurt a virtual node from outside."""

from __future__ import annotations

from typing import Literal

How = Literal["kill", "power-cut", "unreachable", "slow-link", "lost-probe", "swollen"]
