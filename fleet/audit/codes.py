"""Codes of the audit: AUD101-109 network, 110-119 images, 120-129 boards, 130-139 faults, 140-149 fleet, 150-159
supply, memory and more faults, 170-179 access points."""

from __future__ import annotations

from fleet.codes import Code, Severity, codes_in

NODE_MISSING = Code(
    "AUD101",
    "a node was not found",
    "Nobody knows what it runs or how its tanks stand.",
    "Look at its power and its network, then run `tankfleet find NODE --timeout 30`.",
)
NODE_DOUBLE = Code(
    "AUD102",
    "two boards are one node",
    "Both hold the node's key, so whose level it is nobody knows, and nothing is sent to either.",
    "Take one of them off the network, or load it over USB as another node.",
)
NODE_IMPOSTOR = Code(
    "AUD103",
    "something gives itself out as a node",
    "It announces the node's name but cannot sign for it: a stranger, or a board loaded with other keys.",
    "If every node shows this, the keys here are not this fleet's: copy the key folder from the machine that has it. "
    "Else find the device at that address, and load it over USB again if it is yours.",
)
NODE_UNKNOWN = Code(
    "AUD104",
    "a node that is not in the inventory",
    "It is on the network and nobody plans, updates or audits it.",
    "Add it to the inventory, or take it off the network.",
    Severity.WARNING,
)
NODE_MOVED = Code(
    "AUD105",
    "a node has a new address",
    "Addresses are handed out anew now and then; its signed state says that it is the same node.",
    "Nothing, unless it happens often: then give it a fixed address.",
    Severity.NOTE,
)
SEVERAL_PLACES = Code(
    "AUD108",
    "a node answers at several places",
    "The same board proves itself at more than one address: it has several, or something between passes its answers on "
    "and could hold back or delay what is sent to it.",
    "Look at what answers at the other addresses. Pushes go to where it was last known.",
    Severity.WARNING,
)
NETWORK_ON_TRIAL = Code(
    "AUD106",
    "a node has a new network on trial",
    "Unless it is told to keep it in time, it goes back to the old one; if that is gone by then, it is lost from "
    "sight.",
    "Run `tankfleet rejoin NODE`, unless it is running just now.",
    Severity.WARNING,
)
NETWORK_PUT_BACK = Code(
    "AUD107",
    "a node went back to its old network",
    "It was given a new network and did not get into it, or was not told to keep it. Others of its site may be "
    "on the new one.",
    "Compare the network's name and passphrase with the access point, then run `tankfleet rejoin NODE`, before the old "
    "network is taken away.",
    Severity.WARNING,
)
OLDER_IMAGE = Code(
    "AUD110",
    "a node runs an older image than the newest on the shelf",
    "It was left out of a push, or nothing was pushed since the build.",
    "Run `tankfleet plan` and push the plan.",
    Severity.WARNING,
)
NEWEST_HALTED = Code(
    "AUD111",
    "the newest image was halted",
    "The last push of that release was halted or rolled back, so it is right that the node runs another one.",
    "Put the release right, build it and push that.",
    Severity.NOTE,
)
NOT_ON_SHELF = Code(
    "AUD112",
    "a node runs an image that is not on the shelf",
    "Nobody can say what it was built from, and it cannot be sent again.",
    "Build and push a new image; find out who loaded this one.",
)
NOT_BUILT = Code(
    "AUD113",
    "no image on the shelf for a node",
    "Without an image there is nothing to push, and nothing to compare the node with.",
    "Run `tankfleet build`, with --target host if it is for the bench.",
    Severity.WARNING,
)
WENT_BACK = Code(
    "AUD114",
    "a node went back to its older image",
    "It gave up the newest image that it was given, by itself or because it was told to.",
    "See what the push said of it; put the release right before it is pushed again.",
    Severity.WARNING,
)
NEVER_KEPT = Code(
    "AUD115",
    "a node is on trial and nobody watches",
    "No push is under way that could keep its image, so it will fall back when its trial is over.",
    "Run `tankfleet resume` if a push was cut off; else let it fall back, and push again.",
    Severity.WARNING,
)
ON_TRIAL = Code(
    "AUD116",
    "a node is on trial",
    "A push is under way and watches it.",
    "Wait for the push, or run `tankfleet resume` if it was cut off.",
    Severity.NOTE,
)
OUT_OF_DATE = Code(
    "AUD117",
    "a node works by an older inventory",
    "Marks, pins or pump times in the inventory are no longer those in the node's image.",
    "Run `tankfleet build`, then `tankfleet plan` and push.",
    Severity.WARNING,
)
SHELF_OUT_OF_DATE = Code(
    "AUD118",
    "the newest image was built from an older inventory",
    "Marks, pins or pump times have changed since, so pushing it would not bring them to the node.",
    "Run `tankfleet build`.",
    Severity.WARNING,
)
OTHER_BOARD = Code(
    "AUD120",
    "a node is another kind of board than the inventory says",
    "Pins and images of one kind do not fit another.",
    "Put the board's kind right in the inventory, or the board in the field.",
)
MAC_DIFFERS = Code(
    "AUD121",
    "a node's MAC differs from the inventory",
    "The board was swapped, or two boards were mixed up.",
    "Find out which board hangs there; then put its MAC into the inventory.",
)
MAC_NOT_CLAIMED = Code(
    "AUD122",
    "the inventory does not know a node's MAC",
    "Without it a swapped board is not noticed.",
    "It is written down when the board is loaded over USB; or put it into the inventory by hand.",
    Severity.NOTE,
)
LOST_IN_PUSH = Code(
    "AUD123",
    "a node was lost in its last push",
    "It did not come back after an update. It may have fallen back since; its state tells, if it is found.",
    "Go and look at it, with a USB cable.",
)
NODE_FAULT = Code(
    "AUD130",
    "a node reports a fault of its own",
    "A node with such a fault does not control its tanks as it should; its pump relays are off.",
    "`bad-block`, `no-record`, `no-key`: load it over USB, `tankfleet flash NODE`; it takes no update. `no-way-back`: "
    "`tankfleet resume` keeps the image on trial, where a push was cut off; else load it over USB. `flash-failed`: "
    "switch it off and on, and if it is still there, change the board. Any other: a fault that this version of the "
    "tool does not know; install the one that its firmware was built with.",
)
MARKS_CONTRADICT = Code(
    "AUD131",
    "probes contradict one another",
    "A higher mark is wet and a lower one dry, which water cannot do: a broken wire. The pump is off.",
    "Look at the probes and the cable of that tank; isolate the pump first.",
)
PUMP_FAULT = Code(
    "AUD132",
    "a node has stopped a pump",
    "It ran longer than it should, or no mark changed while it ran: a dry source, a leak, a closed valve.",
    "Look at pump, source and valves. The pump stays off, over restarts and updates too, until you run `tankfleet "
    "clear-fault NODE`; until then `plan` leaves the node out, unless you name it with --despite-fault.",
)
RESTARTED_BADLY = Code(
    "AUD133",
    "a node last started after a crash",
    "Its watchdog or an exception restarted it; a supply that sags when the pump starts does that too.",
    "Watch it; look at its supply, then at its release.",
    Severity.WARNING,
)
BROWN_OUTS = Code(
    "AUD150",
    "a node's supply gave way",
    "A brown-out restarts the node in the middle of its work: its pump relays drop, and an image on trial gets only so "
    "many starts. It comes from a weak supply, a long thin cable, or a pump that starts on the same line.",
    "Fit a supply that gives the board's peak current, 470 uF or more beside the board, a shorter or thicker cable, or "
    "less transmit power; then run `tankfleet clear-fault NODE --brown-outs`, and see whether the count stays at 0.",
    Severity.WARNING,
)
PROBE_FLAPS = Code(
    "AUD151",
    "a probe changes faster than its debounce",
    "Waves, spray or a loose contact: the level is not known there, and the pump is off while it lasts.",
    "Look at the probe and its cable; a still pipe around the probes keeps waves away. It ends by itself.",
    Severity.WARNING,
)
NO_RUN_RECORD = Code(
    "AUD152",
    "a node has no place for its record of runs",
    "It controls its tanks as it should, but a restart forgets how long a pump ran and faults that ought to stay.",
    "Load it over USB once with `tankfleet flash`, which lays the flash out anew.",
    Severity.WARNING,
)
SHORT_OF_MEMORY = Code(
    "AUD153",
    "a node has too little memory in one piece for an update",
    "It could not check the ticket of an image, and would refuse it.",
    "Restart it when its tanks can be without it: with `restart` at its console, or power off and on. If this comes "
    "back soon, its release leaks memory.",
    Severity.WARNING,
)
WENT_BACK_FOR_SUPPLY = Code(
    "AUD154",
    "a node went back to its older image after brown-outs",
    "Its supply fell too low again and again while the new image was on trial. That says nothing of the image, unless "
    "many nodes do so.",
    "Put the supply right (AUD150), then plan it again with --retry-failed.",
    Severity.WARNING,
)
NO_SPARE_BOARD = Code(
    "AUD140",
    "no spare board at a site",
    "When a board dies there, its tanks stay without control until one is brought.",
    "Put a spare board of that kind there, and its count into the inventory.",
    Severity.WARNING,
)
COPY_IN_PLACE = Code(
    "AUD141",
    "boards that copy a new image in place",
    "A power cut while the boot loader copies leaves them in need of a USB cable; two-slot boards never are.",
    "Update them when power is steady; fit a two-slot board where a ladder is far.",
    Severity.NOTE,
)
PUSH_UNFINISHED = Code(
    "AUD142",
    "a push is unfinished",
    "Nodes may be on trial with nobody watching.",
    "Run `tankfleet resume` to go on with it, or `tankfleet stop` to end it.",
    Severity.WARNING,
)
RULING_STALE = Code(
    "AUD143",
    "a ruling that no longer rules",
    "A decision about a finding was written down with its reason, and has outlived one of them.",
    "Look at the finding again: put right what it says, rule anew, or take the ruling out.",
    Severity.WARNING,
)
_SIGNAL = (
    "common practice: designs of networks aim at -67 dBm or more; from -70 to -75 dBm surveyors call a signal "
    "weak"
)
WEAK_ON_OTHER_ACCESS_POINT = Code(
    "AUD170",
    "a node sits on a weak access point, and another is meant for it",
    "Frames are sent several times over, so that an update takes long and may break off; a board that is joined does "
    "not look for a better one by itself.",
    "See that the access point of the inventory is on, and that it says the same network's name. The node looks anew "
    "when it loses its network: restart the access point that it is on. If it is meant to be there, change "
    "`access_point`.",
    Severity.WARNING,
    _SIGNAL,
)
OTHER_ACCESS_POINT = Code(
    "AUD171",
    "a node is joined to another access point than the inventory says",
    "It hears that one well, so that nothing is wrong with it; transfers are counted where it really is.",
    "Change `access_point` of the node, if it stays like this.",
    Severity.NOTE,
    _SIGNAL,
)
UNLISTED_ACCESS_POINT = Code(
    "AUD172",
    "a node is joined to an access point that its site does not list",
    "It is a new one, another radio of an old one, or a stranger's that broadcasts the same name. Nodes that have a "
    "passphrase join no open network, so that a stranger would have to know it.",
    "Look for this BSSID at your access points and add it to `access_points` of the site. If it is none of yours, "
    "assume that a stranger knows the passphrase: change it at the access points, then `tankfleet keys set-network` "
    "and `tankfleet rejoin`.",
    Severity.WARNING,
    "IEEE 802.11, four-way handshake: both sides prove that they know the passphrase",
)
WEAK_SIGNAL = Code(
    "AUD173",
    "a node has a weak signal",
    "Frames are sent several times over, so that an update takes long and may break off.",
    "Turn or move the aerial or the enclosure, away from metal and water; or bring an access point nearer.",
    Severity.NOTE,
    _SIGNAL,
)

CODES = codes_in(globals())
