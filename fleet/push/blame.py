"""What the failure of a node in a push is put down to: its image or its supply. Pure.

A brown-out says that the supply of that node is weak, and nothing of the image, so it is no evidence against it:
neither in what a wave may lose nor in the bound. But a new image that draws more current than the old one shows itself
by brown-outs and by nothing else. So when more than half of a wave failed for their supply, and at least two nodes, or
so many of all that the push has judged, that is put down to what the image draws.
"""

from __future__ import annotations

from enum import StrEnum

from fleet.limits import BROWN_OUTS_BLAME_IMAGE_NODES, BROWN_OUTS_BLAME_IMAGE_SHARE


class Blame(StrEnum):
    """What the failure of a node is put down to."""

    IMAGE = "image"
    SUPPLY = "supply"
    """Brown-outs: the node's supply, not the image."""
    DRAW = "draw"
    """Brown-outs of so many nodes that it is the image that draws too much."""


def draws_too_much(for_supply: int, of: int) -> bool:
    """Whether so many of these nodes failed for their supply that the image is to blame."""
    return for_supply >= BROWN_OUTS_BLAME_IMAGE_NODES and for_supply > BROWN_OUTS_BLAME_IMAGE_SHARE * of
