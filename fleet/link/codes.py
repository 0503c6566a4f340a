"""Codes of the link to a node."""

from __future__ import annotations

from fleet.codes import Code, codes_in

UNREACHABLE = Code(
    "LNK101",
    "a node does not answer",
    "No connection could be made, or it ended before the answer was complete. The node may be off, "
    "restarting, out of range or at another address.",
    "Run `tankfleet find` to see where the node was last found. Check its power and its network.",
)
STALLED = Code(
    "LNK102",
    "a node stopped taking an image",
    "The connection is up, but the node took no more bytes for longer than a flash erase can last.",
    "Push again. If it happens again, check the node's signal and free memory in `tankfleet find`.",
)
REFUSED = Code(
    "LNK103",
    "a node refused",
    "The node checked the request, the ticket or the image, and did not accept it. It still runs the same "
    "image.",
    "The refusal's name says what was wrong; docs/node-interface.md lists all names.",
)
IMPOSTOR = Code(
    "LNK104",
    "an answer is not signed by that node",
    "Whatever answers there does not hold the node's key, or somebody changed or replayed the answer. The "
    "tool ignores it.",
    "Run `tankfleet find` to see what answers there. If every node shows this, the keys here are not this "
    "fleet's: copy the key folder from the machine that has it. If one board has other keys, load it "
    "over USB again.",
)
NOT_A_STATE = Code(
    "LNK105",
    "an invalid answer",
    "The answer is too long, not JSON, or lacks a field of the node's interface, so the tool ignores it.",
    "Check that the address is a node's and that this version of the tool knows its release.",
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
    "A node that takes an image controls no pump. It therefore ends a transfer that is slower than 10 "
    "kB/s, after an allowance of 10 s for pauses. The node still runs the same image.",
    "Check the node's signal in `tankfleet find`. Move its access point or its aerial, or push when the "
    "network is idle. Without a good signal, load the board over USB with `tankfleet flash`.",
)
UNPROVED = Code(
    "LNK108",
    "an unsigned answer that anybody could have sent",
    "A node signs its yes and its no. This answer to a request that changes something is not signed: it "
    "may be from any device between here and the node. It counts as no answer, and the tool asks the node "
    "what it runs.",
    "If it happens again, check the devices between this machine and the node. A node with the fault "
    "`no-key` cannot sign: load it over USB.",
)
NO_MEMORY = Code(
    "LNK109",
    "a node has too little contiguous memory",
    "To check a ticket's signature, a node needs some kilobytes in one piece, and had none at that "
    "moment. This says nothing about the ticket or the image.",
    "Push again. If it happens again, restart the node (`restart` at its console, or switch it off and "
    "on), and check `largest_block` in `tankfleet find NODE --json`.",
    source="BearSSL on the ESP8266 needs 6,264 bytes for ECDSA over P-256 (measured with the core's own library)",
)
CROWDED = Code(
    "LNK110",
    "all connections of a node are in use",
    "A node serves few connections at a time, and others hold them. It drops those that are held without "
    "need, so this passes.",
    "Try again. If it lasts, find out which other programs connect to the node: scrapers, other computers "
    "with this tool.",
)
CHANGED_ON_WAY = Code(
    "LNK111",
    "a device on the way changes what is sent",
    "The node says, signed, that it did not receive what this machine sent: a length, a field or a byte "
    "differed. It did nothing, and the tool repeated the request, with a fresh nonce, as often as is "
    "allowed. This says nothing about the node or its image.",
    "Check what is between this machine and the node: a proxy, a router with a filter, an access point "
    "that loses bytes. Or run the command again from a machine on the node's own network.",
)

CODES = codes_in(globals())
