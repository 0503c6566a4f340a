"""Codes of the link to a node."""

from __future__ import annotations

from fleet.codes import Code

UNREACHABLE = Code(
    "LNK101",
    "a node does not answer",
    "No connection could be made, or it ended before the answer was complete. The node may be off, "
    "restarting, out of range or at another address.",
    "Run `tankfleet find` to see where the node was last found; look at its power and its network.",
)
STALLED = Code(
    "LNK102",
    "a node stopped taking an image",
    "The connection stands, but the node took no more bytes for longer than a flash erase can last.",
    "Push again. If it happens again, look at the node's signal and free memory in `tankfleet find`.",
)
REFUSED = Code(
    "LNK103",
    "a node said no",
    "The node checked the request, the ticket or the image, and did not accept it. "
    "It still runs what it ran.",
    "The refusal's name says what was wrong; docs/node-interface.md lists them all.",
)
IMPOSTOR = Code(
    "LNK104",
    "an answer is not signed by that node",
    "What answers there does not hold the node's key, or the answer was changed or replayed on its way. "
    "Nothing it says is believed.",
    "Run `tankfleet find` to see what answers there. A board that was loaded with other keys must be loaded "
    "over USB again.",
)
NOT_A_STATE = Code(
    "LNK105",
    "an answer is not what a node says",
    "The answer is too long, not JSON, or lacks what the interface asks for, so nothing follows from it.",
    "Check that the address is a node's and that its release is one that this version of the tool knows.",
)
IMAGE_TOO_BIG = Code(
    "LNK106",
    "an image or ticket is larger than any node takes",
    "No slot of any board is that large, so the file is not a node's image.",
    "Build it again with `tankfleet build`.",
)

CODES = (UNREACHABLE, STALLED, REFUSED, IMPOSTOR, NOT_A_STATE, IMAGE_TOO_BIG)
