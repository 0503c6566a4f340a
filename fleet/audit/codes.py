"""Codes of the audit: AUD101-109 network, 110-119 images, 120-129 boards, 130-139 faults, 140-149 fleet, 150-159
supply, memory and more faults, 170-179 access points."""

from __future__ import annotations

from fleet.codes import Code, Severity, codes_in

NODE_MISSING = Code(
    "AUD101",
    "a node was not found",
    "It does not answer, so what it runs and how full its tanks are is not known.",
    "Check its power and its network, then run `tankfleet find NODE --timeout 30`.",
)
NODE_DOUBLE = Code(
    "AUD102",
    "two boards claim to be the same node",
    "Both hold the node's key, so nobody knows whose level is reported. Nothing is sent to either.",
    "Disconnect one of them, or load it over USB as another node.",
)
NODE_IMPOSTOR = Code(
    "AUD103",
    "a device impersonates a node",
    "It announces the node's name but cannot sign with the node's key: it is a stranger, or a board "
    "loaded with other keys.",
    "If every node shows this, the keys here are not this fleet's: copy the key folder from the machine "
    "that has it. Otherwise find the device at that address, and load it over USB again if it is yours.",
)
NODE_UNKNOWN = Code(
    "AUD104",
    "a node that is not in the inventory",
    "It is on the network, but nobody plans, updates or audits it.",
    "Add it to the inventory, or take it off the network.",
    Severity.WARNING,
)
NODE_MOVED = Code(
    "AUD105",
    "a node has a new address",
    "The network assigned another address. The node's signed state proves that it is the same node.",
    "Nothing to do. If it happens often, give the node a fixed address.",
    Severity.NOTE,
)
SEVERAL_PLACES = Code(
    "AUD108",
    "a node answers at several addresses",
    "The same board proves its identity at more than one address. It has several, or a device between "
    "relays its answers and could hold back or delay what is sent to it.",
    "Check what answers at the other addresses. Pushes go to the last known one.",
    Severity.WARNING,
)
NETWORK_ON_TRIAL = Code(
    "AUD106",
    "a node has a new network on trial",
    "The node returns to its old network unless it is told in time to keep the new one. If the old "
    "network is gone by then, the node is out of reach.",
    "Run `tankfleet rejoin NODE`, unless it is already running.",
    Severity.WARNING,
)
NETWORK_PUT_BACK = Code(
    "AUD107",
    "a node returned to its old network",
    "It received a new network and could not join it, or was not told to keep it. Other nodes of its site "
    "may be on the new one.",
    "Compare the network's name and passphrase with the access point, then run `tankfleet rejoin NODE` "
    "before the old network is switched off.",
    Severity.WARNING,
)
OLDER_IMAGE = Code(
    "AUD110",
    "a node runs an older image than the newest on the shelf",
    "It was left out of a push, or nothing has been pushed since the build.",
    "Run `tankfleet plan` and push the plan.",
    Severity.WARNING,
)
NEWEST_HALTED = Code(
    "AUD111",
    "the push of the newest image was halted",
    "The last push of that release was halted or rolled back, so it is right that the node runs another "
    "image.",
    "Fix the release, build it and push that.",
    Severity.NOTE,
)
NOT_ON_SHELF = Code(
    "AUD112",
    "a node runs an image that is not on the shelf",
    "Nobody can say what it was built from, and it cannot be sent again.",
    "Build and push a new image. Find out who loaded this one.",
)
NOT_BUILT = Code(
    "AUD113",
    "no image on the shelf for a node",
    "Without an image there is nothing to push, and nothing to compare the node with.",
    "Run `tankfleet build`; for the bench, add --target host.",
    Severity.WARNING,
)
WENT_BACK = Code(
    "AUD114",
    "a node went back to its older image",
    "It gave up the newest image that it received, on its own or on request.",
    "Read what the push reported for it. Fix the release before pushing it again.",
    Severity.WARNING,
)
NEVER_KEPT = Code(
    "AUD115",
    "a node is on trial and no push watches it",
    "No push is under way that could keep its image, so the node falls back when its trial ends.",
    "If a push was interrupted, run `tankfleet resume`. Otherwise let the node fall back, then push again.",
    Severity.WARNING,
)
ON_TRIAL = Code(
    "AUD116",
    "a node is on trial",
    "A push is under way and watches it.",
    "Wait for the push, or run `tankfleet resume` if it was interrupted.",
    Severity.NOTE,
)
OUT_OF_DATE = Code(
    "AUD117",
    "a node's image was built from an older inventory",
    "Marks, pins or pump times in the inventory differ from those in the node's image.",
    "Run `tankfleet build`, then `tankfleet plan`, and push.",
    Severity.WARNING,
)
SHELF_OUT_OF_DATE = Code(
    "AUD118",
    "the newest image was built from an older inventory",
    "Marks, pins or pump times have changed since, so a push would not bring them to the node.",
    "Run `tankfleet build`.",
    Severity.WARNING,
)
OTHER_BOARD = Code(
    "AUD120",
    "a node is another kind of board than the inventory says",
    "Pins and images of one kind do not fit another.",
    "Correct the board in the inventory, or replace the board in the field.",
)
MAC_DIFFERS = Code(
    "AUD121",
    "a node's MAC differs from the inventory",
    "The board was replaced, or two boards were mixed up.",
    "Find out which board is fitted there, then write its MAC into the inventory.",
)
MAC_NOT_CLAIMED = Code(
    "AUD122",
    "the inventory does not know a node's MAC",
    "Without it a replaced board goes unnoticed.",
    "Load the board over USB, which records its MAC, or write it into the inventory by hand.",
    Severity.NOTE,
)
LOST_IN_PUSH = Code(
    "AUD123",
    "a node was lost in its last push",
    "It did not come back after an update. It may have fallen back since; if it is found, its state says so.",
    "Go to the node with a USB cable.",
)
NODE_FAULT = Code(
    "AUD130",
    "a node reports a fault of its own",
    "With such a fault the node does not control its tanks as it should. Its pump relays are off.",
    "`bad-block`, `no-record`, `no-key`: load the node over USB with `tankfleet flash NODE`; it takes no "
    "update. `no-way-back`: if a push was interrupted, `tankfleet resume` keeps the image on trial; "
    "otherwise load the node over USB. `flash-failed`: switch the node off and on; if the fault remains, "
    "replace the board. Any other: this version of the tool does not know the fault; install the version "
    "that built the node's firmware.",
)
MARKS_CONTRADICT = Code(
    "AUD131",
    "probes contradict one another",
    "A higher mark is wet and a lower one dry, which water cannot do: a wire is broken. The pump is off.",
    "Isolate the pump, then check the probes and the cable of that tank.",
)
PUMP_FAULT = Code(
    "AUD132",
    "a node has stopped a pump",
    "The pump ran longer than it should, or no mark changed while it ran: a dry source, a leak or a "
    "closed valve.",
    "Check the pump, the source and the valves. The pump stays off, over restarts and updates too, until "
    "you run `tankfleet clear-fault NODE`. Until then `plan` leaves the node out, unless you name it with "
    "--despite-fault.",
)
RESTARTED_BADLY = Code(
    "AUD133",
    "a node last started after a crash",
    "Its watchdog or an exception restarted it. A supply that sags when the pump starts also does that.",
    "Watch it. Check its supply first, then its release.",
    Severity.WARNING,
)
BROWN_OUTS = Code(
    "AUD150",
    "a node had brown-outs",
    "A brown-out restarts the node while it works: its pump relays drop, and an image on trial gets only "
    "a limited number of starts. The cause is a weak supply, a long thin cable, or a pump that starts on "
    "the same line.",
    "Fit a supply that gives the board's peak current, 470 uF or more beside the board, a shorter or "
    "thicker cable, or lower the transmit power. Then run `tankfleet clear-fault NODE --brown-outs`, and "
    "check that the count stays at 0.",
    Severity.WARNING,
)
PROBE_FLAPS = Code(
    "AUD151",
    "a probe changes faster than its debounce",
    "The cause is waves, spray or a loose contact. The level there is not known, and the pump is off "
    "while it lasts.",
    "Check the probe and its cable. A stilling pipe around the probes keeps waves away. The fault clears "
    "on its own.",
    Severity.WARNING,
)
NO_RUN_RECORD = Code(
    "AUD152",
    "a node has no room for its record of runs",
    "It controls its tanks as it should, but at a restart it forgets how long a pump ran and which faults "
    "must stay.",
    "Load it over USB once with `tankfleet flash`, which writes a new flash layout.",
    Severity.WARNING,
)
SHORT_OF_MEMORY = Code(
    "AUD153",
    "a node has too little contiguous memory for an update",
    "It could not check an image's ticket, and would refuse the image.",
    "Restart it when its tanks can do without it: type `restart` at its console, or switch it off and on. "
    "If this returns soon, its release leaks memory.",
    Severity.WARNING,
)
WENT_BACK_FOR_SUPPLY = Code(
    "AUD154",
    "a node fell back to its older image after brown-outs",
    "Its supply fell too low several times while the new image was on trial. This does not blame the "
    "image, unless it happens at many nodes.",
    "Fix the supply (AUD150), then plan the node again with --retry-failed.",
    Severity.WARNING,
)
NO_SPARE_BOARD = Code(
    "AUD140",
    "no spare board at a site",
    "If a board fails there, its tanks have no controller until a new board arrives.",
    "Keep a spare board of that kind there, and write the count into the inventory.",
    Severity.WARNING,
)
COPY_IN_PLACE = Code(
    "AUD141",
    "boards that copy a new image in place",
    "After a power cut while the boot loader copies, the board must be loaded with a USB cable. Two-slot "
    "boards never need that.",
    "Update them when power is steady. Fit a two-slot board where access is hard.",
    Severity.NOTE,
)
PUSH_UNFINISHED = Code(
    "AUD142",
    "a push is unfinished",
    "Nodes may be on trial, and no push watches them.",
    "Run `tankfleet resume` to continue it, or `tankfleet stop` to end it.",
    Severity.WARNING,
)
RULING_STALE = Code(
    "AUD143",
    "a ruling that no longer applies",
    "Somebody recorded a decision about a finding, and one of its reasons no longer holds.",
    "Review the finding: fix it, rule again, or delete the ruling.",
    Severity.WARNING,
)
_SIGNAL = (
    "common practice: designs of networks aim at -67 dBm or more; from -70 to -75 dBm surveyors call a signal "
    "weak"
)
WEAK_ON_OTHER_ACCESS_POINT = Code(
    "AUD170",
    "a node has joined a weak access point, not the one meant for it",
    "Frames are repeated, so an update takes long and may break off. A board that has joined does not "
    "look for a better access point on its own.",
    "Check that the access point named in the inventory is on and broadcasts the same network name. The "
    "node searches again when it loses its network: restart the access point that it is on. If the node "
    "belongs there, change `access_point`.",
    Severity.WARNING,
    _SIGNAL,
)
OTHER_ACCESS_POINT = Code(
    "AUD171",
    "a node has joined another access point than the inventory says",
    "The node has a good signal there, so nothing is wrong. Transfers are counted where the node really is.",
    "If this stays so, change `access_point` of the node.",
    Severity.NOTE,
    _SIGNAL,
)
UNLISTED_ACCESS_POINT = Code(
    "AUD172",
    "a node has joined an access point that its site does not list",
    "It is a new one, another radio of a known one, or a stranger's with the same network name. Nodes "
    "that have a passphrase join no open network, so a stranger would have to know the passphrase.",
    "Look for this BSSID at your access points and add it to `access_points` of the site. If it is none "
    "of yours, assume that a stranger knows the passphrase: change it at the access points, then run "
    "`tankfleet keys set-network` and `tankfleet rejoin`.",
    Severity.WARNING,
    "IEEE 802.11, four-way handshake: both sides prove that they know the passphrase",
)
WEAK_SIGNAL = Code(
    "AUD173",
    "a node has a weak signal",
    "Frames are repeated, so an update takes long and may break off.",
    "Turn or move the aerial or the enclosure away from metal and water, or place an access point nearer.",
    Severity.NOTE,
    _SIGNAL,
)

CODES = codes_in(globals())
