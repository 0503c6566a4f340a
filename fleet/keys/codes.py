"""Codes of the key folder."""

from __future__ import annotations

from fleet.codes import Code, codes_in

NO_KEYS = Code(
    "KEY101",
    "no keys here",
    "The keys in a key folder, outside of the inventory, sign images and the requests to nodes.",
    "If another machine or a backup has the keys of this fleet, copy its key folder here: the nodes "
    "accept only those keys. `tankfleet settings` on that machine names the folder; the setting `keys` "
    "may name another place on this one. Only if the fleet never had keys: `tankfleet keys create`.",
)
OPEN_TO_OTHERS = Code(
    "KEY102",
    "others can read the keys",
    "Whoever can read the signing key can make every node run anything, and nobody would notice.",
    "Make yourself the owner of the folder with mode 0700 and its files with mode 0600. Whoever has read "
    "the keys still has them, and keys are not changed over the network: a node gets new ones only over "
    "USB, at a first flash.",
)
KEYS_EXIST = Code(
    "KEY103",
    "keys exist already",
    "Nodes in the field accept only the key that they were flashed with, so the tool never overwrites keys.",
    "Use these keys, or name another folder with the setting `keys`.",
)
DAMAGED_KEY = Code(
    "KEY104",
    "a key file is damaged",
    "The file does not hold a valid key, so nothing can be signed with it.",
    "Restore the file from your backup of the key folder.",
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
    "invalid network credentials",
    "WiFi requires a network name of 1 to 32 bytes and a passphrase of 8 to 63 printable ASCII "
    "characters, or 64 hex digits. An open network, which anybody can join, has no passphrase. The "
    "earlier credentials are unchanged.",
    "Give the name and the passphrase that the access point has. For an open network add `--open`.",
    source="IEEE 802.11-2020, 9.4.2.2 (SSID), annex J.4 (passphrase to PSK)",
)
BAD_NETWORKS_FILE = Code(
    "KEY107",
    "the file of network credentials cannot be read",
    "networks.toml holds one table for each network, with the keys `ssid` and `passphrase`.",
    "Fix the line named in the message, or delete the file and set the networks again.",
)
NOT_FOR_A_BOARD = Code(
    "KEY108",
    "the network's credentials do not fit on a board",
    "A board's credentials area holds a passphrase of 8 to 63 characters; a key of 64 hex digits is one too long.",
    "Set the network's passphrase as text: `tankfleet keys set-network NAME --ssid SSID`.",
)
KEYS_ELSEWHERE = Code(
    "KEY109",
    "this fleet has keys, but not here",
    "Nodes accept only the keys that they were loaded with. Under new keys each node would count as an "
    "impostor and would have to be loaded over USB again, on site.",
    "Copy the key folder from the machine or the backup that has it; `tankfleet settings` on that machine "
    "names it. Only if all nodes are to be loaded again: `tankfleet keys create --new-fleet`.",
)
OF_ANOTHER_PROJECT = Code(
    "KEY110",
    "keys for this fleet's name may belong to another project",
    "Two projects may have a fleet of the same name. Images and requests signed with the other one's keys "
    "are refused by this project's nodes.",
    "If they are this project's keys, name their folder with the setting `keys`. If it never had any: "
    "`tankfleet keys create`.",
)
BAD_PROJECT_ID = Code(
    "KEY111",
    "the project's id cannot be read",
    "The id in tankfleet.id, which is committed with the project, leads to the key folder.",
    "Restore the committed file with `git checkout tankfleet.id`, or copy it from another machine.",
)
NODES_ANSWER = Code(
    "KEY112",
    "a device answers by the name of a node of this fleet",
    "It may be your board, loaded with keys which are not here: under new keys it would count as an "
    "impostor and would have to be loaded over USB again. But any device on the network can announce any "
    "name, and without the keys nobody can tell.",
    "Disconnect your board of that name and run this again: whatever still answers is not that board. If "
    "it was your board, copy the key folder from the machine that loaded it; `tankfleet settings` on that "
    "machine names it. If no board of this fleet was ever loaded, it is a stranger: `tankfleet keys "
    "create --new-fleet` continues all the same.",
)
STATE_OF_ANOTHER = Code(
    "KEY113",
    "the state folder belongs to another project",
    "The setting `state` names the folder of shelf and journal. Two projects in one folder would mix "
    "their images on the shelf, and each would continue the other's pushes.",
    "Set `state` in tankfleet.toml to a folder for this project alone.",
)

CODES = codes_in(globals())
