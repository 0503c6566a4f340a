"""Refusals of a node (docs/node-interface.md 2) that whoever changes a request on its way can bring about. Pure.

The node signs them, for it is honest; but they speak of what came to it, not of what was sent. So they are no answer to
what was asked.
"""

from __future__ import annotations

from typing import Final

from fleet.errors import LinkError, NodeRefused

UNBELIEVED: Final = frozenset(
    {"bad-request", "no-signature", "bad-signature", "nonce-used", "length-required"}
)
"""Said before the node believed the request, or instead of taking its body: it did nothing, and took no byte."""
SPOILT: Final = UNBELIEVED | {"too-big", "wrong-size", "wrong-digest"}
"""And those that rest on the announced length and on the body, which no signature of the head covers."""


def of_the_link(error: LinkError) -> bool:
    """Whether it says that something is wrong with the link: no proved answer, or a no to what came changed."""
    return not isinstance(error, NodeRefused) or error.refusal in SPOILT
