"""What the failure of a node in a push is put down to: its image, its supply or its link. Pure.

Only the node's signed word on an image, or that it did not come back once it had all of it, is evidence against the
image.

A brown-out says that the supply of that node is weak, and nothing of the image, so it is no evidence against it:
neither in what a wave may lose nor in the bound. But a new image that draws more current than the old one shows itself
by brown-outs and by nothing else. So when more than half of a wave failed for their supply, and at least two nodes, or
so many of all that the push has judged, that is put down to what the image draws.

A transfer that ends early, again and again, says that the link to that node is broken, and as little of the image. More
than half of a wave say so of the network: then the push stops, and the image is as good as it was.
"""

from __future__ import annotations

from enum import StrEnum

from fleet.limits import ONE_CAUSE_NODES, ONE_CAUSE_SHARE


class Blame(StrEnum):
    """What the failure of a node is put down to."""

    IMAGE = "image"
    SUPPLY = "supply"
    """Brown-outs: the node's supply, not the image."""
    LINK = "link"
    """Transfers that ended early, or came changed: what is between this machine and the node, not the image."""
    DRAW = "draw"
    """Brown-outs of so many nodes that it is the image that draws too much."""


OF_THE_IMAGE = frozenset({Blame.IMAGE, Blame.DRAW})
"""What is evidence against an image."""
BESIDE_THE_IMAGE = frozenset({Blame.SUPPLY, Blame.LINK})
"""What is none: such a node counts neither for the image nor against it."""


def too_many_for_chance(failed: int, of: int) -> bool:
    """Whether so many of these nodes failed for one cause of their own that it cannot be each one's own: for their
    supply, then it is what the image draws; for their link, then it is the network."""
    return failed >= ONE_CAUSE_NODES and failed > ONE_CAUSE_SHARE * of
