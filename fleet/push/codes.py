"""Codes of plans and pushes."""

from __future__ import annotations

from fleet.codes import Code, Severity, codes_in
from fleet.push.journal_codes import CODES as JOURNAL_CODES

DAMAGED_PLAN = Code(
    "PLN101",
    "an invalid plan file",
    "The file is no plan of this tool, or it was changed after it was written: its id is the SHA-256 of "
    "its content.",
    "Make the plan again with `tankfleet plan`.",
)
STALE_PLAN = Code(
    "PLN102",
    "a plan is stale",
    "A push does exactly what its plan says, so what the plan was made from must be unchanged.",
    "Read what changed, and make a new plan with `tankfleet plan`.",
)
TRIAL_TOO_SHORT = Code(
    "PLN103",
    "the soak does not fit into the trial",
    "A node on trial falls back on its own when its trial ends, so the soak and the order to keep the "
    "image must come before.",
    "Raise `trial` in the policy and build again, or shorten `soak`.",
)
OTHER_FLEET = Code(
    "PLN104",
    "a plan is for another fleet",
    "The plan names its fleet, and this inventory has another one.",
    "Go to the project folder of that fleet, or make a new plan here.",
)

PUSH_UNFINISHED = Code(
    "PSH101",
    "a push is unfinished",
    "Only one push runs at a time. Nodes of the unfinished one may be on trial, and nobody watches them.",
    "Run `tankfleet resume` to continue it, or `tankfleet stop` to end it.",
)
ALREADY_PUSHED = Code(
    "PSH103",
    "this plan was already pushed",
    "A plan is pushed once. After that, what it says of the nodes no longer holds.",
    "Make a new plan with `tankfleet plan`.",
)
LOCKED = Code(
    "PSH104",
    "another run of the tool uses the nodes",
    "Only one push or rejoin runs at a time: two would send to the same nodes.",
    "Wait for it. To control a push from here, use `tankfleet hold`, `go-on`, `stop` or `roll-back`.",
)
HALTED = Code(
    "PSH105",
    "the gate halted the push",
    "More nodes of a wave failed than the policy allows. The wave was rolled back and no other node was "
    "updated.",
    "Read which check failed at which node, fix the release, build it and make a new plan.",
)
NO_SUCH_PUSH = Code(
    "PSH106",
    "no such push",
    "A push has the id of its plan, and the journal holds none with that id.",
    "Run `tankfleet audit` to see the pushes.",
)
NOT_IN_PUSH = Code(
    "PSH107",
    "nothing to roll back",
    "Only a node that the push brought to a new image can be rolled back to its earlier one.",
    "Name nodes that the push kept, or another push with --push.",
)
STOPPED_BY_REQUEST = Code(
    "PSH109",
    "the push was ended on request",
    "Somebody asked to stop it or to roll it back. Nodes on trial were rolled back; kept ones stayed "
    "unless rolled back.",
    "Make a new plan with `tankfleet plan` to continue.",
    Severity.WARNING,
)
NOBODY_IN_PILOT = Code(
    "PSH110",
    "no node of a pilot wave could be updated",
    "Without a pilot nothing is known about the new image, so no larger wave may follow.",
    "Read why each node was left out, and plan again when they can be updated.",
)
NOT_ALL = Code(
    "PSH111",
    "not every planned node was updated",
    "Some nodes could not spare their controller, could not be reached, or had changed since the plan.",
    "Read the reason beside each node, and plan again.",
    Severity.WARNING,
)
WEAK_SUPPLY = Code(
    "PSH130",
    "nodes fell back because of their supply, not the image",
    "Their supply fell too low several times while the new image was on trial, so they fell back on their "
    "own. All other planned nodes run the new image and keep it.",
    "At each of them check the supply, the cable and the capacitor beside the board, then plan again with "
    "--retry-failed.",
    Severity.WARNING,
)
DRAWS_TOO_MUCH = Code(
    "PSH131",
    "the push was halted: brown-outs at too many nodes",
    "One node with a weak supply says nothing about the image. More than half of a wave, and at least "
    "two, mean that the new image draws more current than their supplies give. The wave was rolled back "
    "and no other node was updated.",
    "Measure the current of one node with both images. Fix the release, or the supplies, and make a new "
    "plan.",
)
BROKEN_LINK = Code(
    "PSH132",
    "the push was halted: transfers broke at too many nodes",
    "If transfers to one node end early, its link is broken. If they do to more than half of a wave, and "
    "at least two, the network is. This says nothing about the image, which is not given up. The wave was "
    "rolled back and no other node was updated.",
    "Check the network between this machine and the nodes: signal, access points, devices that filter or "
    "change traffic. Then make a new plan.",
)
NOT_IN_NEW_NETWORK = Code(
    "PSH120",
    "a node did not join its new network",
    "It holds both networks while the new one is on trial. It tried the new one and is on the old one: "
    "name or passphrase differ from the access point's, or the new network does not reach as far as the "
    "old one.",
    "Compare both with the access point, set them again with `tankfleet keys set-network`, and run "
    "`tankfleet rejoin` again. If the access point is changed only after the nodes know, add "
    "--single-network.",
)
NOT_SEEN_SINCE = Code(
    "PSH121",
    "a node received its new network and was not seen since",
    "It may be on a network that this machine does not reach, or out of reach of both. When the trial "
    "ends, it returns to its old network on its own.",
    "Move this machine to where it reaches the new network, run `tankfleet find`, then the same command "
    "again.",
)
NO_SUCH_REQUEST = Code(
    "PSH122",
    "a node's firmware takes no credentials over the network",
    "Its release is from before nodes could receive a new network; it stays on the old one.",
    "Push a newer release first, while the old network exists, or load the board over USB with `tankfleet "
    "flash`.",
)
NETWORK_REFUSED = Code(
    "PSH123",
    "a node refused new network credentials",
    "It stays on its present network. The refusal's name says why; docs/node-interface.md lists them.",
    "`busy`: run the command again. `bad-credentials`: the board was loaded with other keys than those "
    "here; if every node says so, copy the key folder from the machine that has it; if one board does, "
    "load it over USB again. `flash-failed`: its flash is worn out; replace the board.",
)
IMAGE_ON_TRIAL = Code(
    "PSH124",
    "an image is on trial on a node",
    "A push watches the node, and would lose it while it searches for another network.",
    "Wait until the push is over, or run `tankfleet resume` if it was interrupted; then run the command "
    "again.",
)

CODES = (
    *codes_in(globals()),
    *JOURNAL_CODES,
)
