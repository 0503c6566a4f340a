"""Codes of the key folder."""

from __future__ import annotations

from fleet.codes import Code, codes_in

NO_KEYS = Code(
    "KEY101",
    "there are no keys here",
    "Images are signed, and nodes are spoken to, with keys that lie in a key folder outside of the "
    "inventory.",
    "If another machine or a backup has the keys of this fleet, copy its key folder to this place: the nodes accept "
    "only those. `tankfleet settings` there names it; the setting `keys` may name another place here. Only for a fleet "
    "that never had any: `tankfleet keys create`.",
)
OPEN_TO_OTHERS = Code(
    "KEY102",
    "the keys can be read by others",
    "Who can read the signing key can make every node run anything, and that cannot be noticed afterwards.",
    "Make the folder yours with mode 0700 and its files with mode 0600. That takes nothing back from whoever has read "
    "them, and keys are not changed over the network: a node gets others only over USB, at a first flash.",
)
KEYS_EXIST = Code(
    "KEY103",
    "keys are already here",
    "Nodes in the field accept only the key that they were flashed with; keys are therefore never "
    "overwritten.",
    "Use the keys that are there, or name another folder with the setting `keys`.",
)
DAMAGED_KEY = Code(
    "KEY104",
    "a key file is damaged",
    "The file is not the key that it should be, so nothing can be signed with it.",
    "Put the file back from your backup of the key folder.",
)
NO_NETWORK = Code(
    "KEY105",
    "no credentials for this network",
    "The inventory names a site's network; its name and passphrase are kept in the key folder.",
    "Set them with `tankfleet keys set-network NAME --ssid SSID`, which reads the passphrase from "
    "standard input.",
)
BAD_NETWORK = Code(
    "KEY106",
    "these network credentials cannot be right",
    "WiFi wants a network name of 1 to 32 bytes and a passphrase of 8 to 63 printable ASCII characters, or 64 hex "
    "digits; an open network, which anybody can join, has none. The credentials of before are as they were.",
    "Give the name and the passphrase as the access point has them; for an open network say `--open`.",
    source="IEEE 802.11-2020, 9.4.2.2 (SSID), annex J.4 (passphrase to PSK)",
)
BAD_NETWORKS_FILE = Code(
    "KEY107",
    "the file of network credentials cannot be read",
    "networks.toml holds one table for each network, with the keys `ssid` and `passphrase`.",
    "Put the line right that the message names, or delete the file and set the networks again.",
)
NOT_FOR_A_BOARD = Code(
    "KEY108",
    "the network's credentials do not fit on a board",
    "A board's credentials area holds a passphrase of 8 to 63 characters; a key of 64 hex digits is one too long.",
    "Set the network's passphrase as text: `tankfleet keys set-network NAME --ssid SSID`.",
)
KEYS_ELSEWHERE = Code(
    "KEY109",
    "this fleet has keys already, and they are not here",
    "Nodes accept only the keys that they were loaded with. Under new ones each of them is an impostor, and has to be "
    "loaded over USB again, with a ladder.",
    "Copy the key folder from the machine or the backup that has it; `tankfleet settings` there names it. Only if all "
    "nodes are to be loaded anew: `tankfleet keys create --new-fleet`.",
)
OF_ANOTHER_PROJECT = Code(
    "KEY110",
    "the keys by the fleet's name are not surely this project's",
    "Two projects may have a fleet of the same name. With the keys of the other one, images and requests of this one "
    "would be signed so that its own nodes refuse them.",
    "If they are this project's keys, say so with the setting `keys`. If it never had any: `tankfleet keys create`.",
)
BAD_PROJECT_ID = Code(
    "KEY111",
    "the project's id cannot be read",
    "The key folder is found by the id in tankfleet.id, which is committed with the project.",
    "Get the file back as it was committed: `git checkout tankfleet.id`, or copy it from another machine.",
)
NODES_ANSWER = Code(
    "KEY112",
    "something answers by the name of a node of this fleet",
    "It may be a board of yours that was loaded with keys which are not here: under new ones it would be an impostor, "
    "and has to be loaded over USB again. But any device on the network can announce any name, and nothing tells "
    "without the keys.",
    "Take your board of that name off its power and run this again: what still answers is not that board. If it was "
    "your board, copy the key folder from the machine that loaded it; `tankfleet settings` there names it. If no board "
    "of this fleet was ever loaded, it is a stranger: `tankfleet keys create --new-fleet` goes on all the same.",
)
STATE_OF_ANOTHER = Code(
    "KEY113",
    "the state folder is another project's",
    "The setting `state` names the folder of shelf and journal. In one folder those of two projects would be mixed: "
    "images of the one on the shelf of the other, and pushes that the other would go on with.",
    "Set `state` in tankfleet.toml to a folder of this project's own.",
)

CODES = codes_in(globals())
