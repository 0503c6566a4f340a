"""Codes of plans and pushes."""

from __future__ import annotations

from fleet.codes import Code, Severity, codes_in
from fleet.push.journal_codes import CODES as JOURNAL_CODES

DAMAGED_PLAN = Code(
    "PLN101",
    "a plan file cannot be used",
    "The file is no plan of this tool, or it was changed after it was written: its id is the SHA-256 of "
    "its content.",
    "Make it again with `tankfleet plan`.",
)
STALE_PLAN = Code(
    "PLN102",
    "a plan is stale",
    "A push does exactly what its plan says, so what the plan was made from must still stand.",
    "Look at what changed, and make a new plan with `tankfleet plan`.",
)
TRIAL_TOO_SHORT = Code(
    "PLN103",
    "the soak does not fit into the trial",
    "A node on trial falls back by itself when its trial time is over, so the soak and the word to keep "
    "must come before.",
    "Raise `trial` in the policy and build again, or shorten `soak`.",
)
OTHER_FLEET = Code(
    "PLN104",
    "a plan is for another fleet",
    "The plan names its fleet, and it is not the one of this inventory.",
    "Go to the project folder of that fleet, or make a new plan here.",
)

PUSH_UNFINISHED = Code(
    "PSH101",
    "a push is unfinished",
    "One push at a time: nodes of the unfinished one may be on trial, and nobody watches them.",
    "Run `tankfleet resume` to go on with it, or `tankfleet stop` to end it.",
)
ALREADY_PUSHED = Code(
    "PSH103",
    "this plan was pushed already",
    "A plan is done once. What it said of the nodes no longer holds after that.",
    "Make a new plan with `tankfleet plan`.",
)
LOCKED = Code(
    "PSH104",
    "another run of the tool is at work on the nodes",
    "One at a time, push or rejoin: two would send to the same nodes.",
    "Wait for it; a push can be steered from here with `tankfleet hold`, `go-on`, `stop` or `roll-back`.",
)
HALTED = Code(
    "PSH105",
    "the push was halted by its gate",
    "More nodes of a wave failed than the policy allows, so the wave was brought back and nobody else was"
    " updated.",
    "Read which check failed at which node, put the release right, build it and make a new plan.",
)
NO_SUCH_PUSH = Code(
    "PSH106",
    "no such push",
    "Pushes are named by the id of their plan, and the journal holds none of that name.",
    "See the pushes with `tankfleet audit`.",
)
NOT_IN_PUSH = Code(
    "PSH107",
    "nothing to roll back",
    "Only nodes that the push brought to a new image can be brought back to the one before.",
    "Name nodes that the push kept, or another push with --push.",
)
STOPPED_BY_REQUEST = Code(
    "PSH109",
    "the push was ended on request",
    "Someone asked to stop it or to roll it back; nodes on trial were brought back, kept ones stayed "
    "unless rolled back.",
    "Make a new plan with `tankfleet plan` to go on from here.",
    Severity.WARNING,
)
NOBODY_IN_PILOT = Code(
    "PSH110",
    "no node of a pilot wave could be updated",
    "Without a pilot nothing is known about the new image, so no larger wave may follow.",
    "See why each node was left out, and plan again when they can be updated.",
)
NOT_ALL = Code(
    "PSH111",
    "not every planned node was updated",
    "Some nodes could not spare their controller, could not be reached, or had changed since the plan.",
    "See the reason beside each, and plan again.",
    Severity.WARNING,
)
WEAK_SUPPLY = Code(
    "PSH130",
    "nodes went back because of their supply, not of the image",
    "Their supply fell too low again and again while the new image was on trial, so that they went back by "
    "themselves. All other planned nodes run the new image and keep it.",
    "At each of them look at the supply, the cable and the capacitor beside the board; then plan again with "
    "--retry-failed.",
    Severity.WARNING,
)
DRAWS_TOO_MUCH = Code(
    "PSH131",
    "the push was halted: brown-outs at too many nodes",
    "One node whose supply gives way says nothing of the image; more than half of a wave, and at least two, say that "
    "the new image draws more current than their supplies give. The wave was rolled back and no other node was "
    "updated.",
    "Measure the current of one node with both images; put the release right, or the supplies, and make a new plan.",
)
BROKEN_LINK = Code(
    "PSH132",
    "the push was halted: transfers broke at too many nodes",
    "Where transfers to one node end early, the link to it is broken; where they do to more than half of a wave, and "
    "at least two, the network is. This says nothing of the image, which is not given up. The wave was brought back "
    "and no other node was updated.",
    "Look at the network between this machine and the nodes: signal, access points, what filters or changes traffic. "
    "Then make a new plan.",
)
NOT_IN_NEW_NETWORK = Code(
    "PSH120",
    "a node did not come into its new network",
    "It holds both networks while the new one is on trial, tried the new one, and is on the old one: name or "
    "passphrase are not those of the access point, or the new network does not reach as far as the old one.",
    "Compare both with the access point, set them anew with `tankfleet keys set-network`, and run "
    "`tankfleet rejoin` again. If the access point is changed only after the nodes know, add --single-network.",
)
NOT_SEEN_SINCE = Code(
    "PSH121",
    "a node was given its new network and not seen since",
    "It may be on a network that this machine does not reach, or out of reach of both. By itself it goes back to "
    "its old network when the trial is over.",
    "Put this machine where it reaches the new network, and run `tankfleet find`; then the same command again.",
)
NO_SUCH_REQUEST = Code(
    "PSH122",
    "a node's firmware takes no credentials over the network",
    "It runs a release from before nodes could be told of a new network; it stays on the old one.",
    "Push a newer release first, while the old network is still there; or load the board over USB with "
    "`tankfleet flash`.",
)
NETWORK_REFUSED = Code(
    "PSH123",
    "a node did not take new network credentials",
    "It said no, and stays on the network it has. The refusal's name says why; docs/node-interface.md lists them.",
    "`busy`: run the command again. `bad-credentials`: the board was loaded with other keys than those here: if "
    "every node says so, copy the key folder from the machine that has it; one board is loaded over USB again. "
    "`flash-failed`: its flash is worn out; change the board.",
)
IMAGE_ON_TRIAL = Code(
    "PSH124",
    "an image is on trial on a node",
    "A node that looks for another network meanwhile would be missed by the push that watches it.",
    "Wait until the push is over, or run `tankfleet resume` if it was cut off; then run the command again.",
)

CODES = (
    *codes_in(globals()),
    *JOURNAL_CODES,
)
