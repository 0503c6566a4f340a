"""Codes of the link to a node."""

from __future__ import annotations

from fleet.codes import Code, codes_in

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
    "Run `tankfleet find` to see what answers there. If every node shows this, the keys here are not this fleet's: "
    "copy the key folder from the machine that has it. One board that has other keys is loaded over USB again.",
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
TOO_SLOW = Code(
    "LNK107",
    "the link to a node is too slow for an image",
    "A node that takes an image controls no pump, so it ends a transfer that is slower than 10 kB/s, after 10 s that "
    "it grants for pauses. The node still runs what it ran.",
    "Look at the node's signal in `tankfleet find`: move its access point or its aerial, or push when the network is "
    "idle. A board out of reach of a good signal can be loaded over USB with `tankfleet flash`.",
)
UNPROVED = Code(
    "LNK108",
    "an answer that anybody could have sent",
    "A node signs its yes and its no. This answer to a request that changes something is not signed by it: it may be "
    "from anything between here and the node, so it is taken for no answer at all, and the node is asked what it runs.",
    "If it comes again and again, look at what is between this machine and the node. A node with the fault `no-key` "
    "cannot sign: load it over USB.",
)
NO_MEMORY = Code(
    "LNK109",
    "a node has not enough memory in one piece",
    "Checking the signature of a ticket needs some kilobytes in one piece, and the node had none just then. It says "
    "nothing of the ticket or the image.",
    "Push again. If it happens again and again, restart the node (`restart` at its console, or power off and on), and "
    "look at `largest_block` in `tankfleet find NODE --json`.",
    source="BearSSL on the ESP8266 needs 6,264 bytes for ECDSA over P-256 (measured with the core's own library)",
)
CROWDED = Code(
    "LNK110",
    "all connections of a node are taken",
    "A node serves few at a time, and others hold its connections. It drops who holds one without need, so "
    "this passes.",
    "Try again. If it lasts, see which other programs speak to the node: scrapers, other computers with this tool.",
)
CHANGED_ON_WAY = Code(
    "LNK111",
    "something between changes what is sent",
    "The node says, signed, that what came to it is not what this machine sent: a length, a field or a byte differed. "
    "It did nothing, and the request was sent anew, with a fresh nonce, as often as is allowed. This says nothing of "
    "the node or its image.",
    "Look at what is between this machine and the node: a proxy, a router with a filter, an access point that loses "
    "bytes; or run the command again from a machine on the node's own network.",
)

CODES = codes_in(globals())
