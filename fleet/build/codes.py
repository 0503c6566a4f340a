"""Codes of building, of tickets and of the shelf."""

from __future__ import annotations

from fleet.codes import Code, codes_in

COMPILE_FAILED = Code(
    "BLD101",
    "the compiler stopped",
    "PlatformIO ran the compiler for one firmware class and it failed, so none of that class's images "
    "were made.",
    "Read the last lines of the log; the whole log is named with them. Nothing on the shelf has changed.",
)
TOOLS_MISSING = Code(
    "BLD102",
    "something to build with is missing",
    "Images for the host need a C++ compiler, binutils, BearSSL's static library, PlatformIO and SCons.",
    "On Debian or Ubuntu: apt install g++ libbearssl-dev. PlatformIO and SCons come with tankfleet itself.",
)
BAD_DEFECT = Code(
    "BLD103",
    "no such defect, or not for real boards",
    "Defective firmware exists only to show on the bench how a bad update is caught.",
    "Use it with --target host, and one of the names that the message lists.",
)
NO_PLACE_TO_STAMP = Code(
    "BLD104",
    "the class's image has no place for a node block",
    "Each node's image is made by writing its node block into the section .tank_node_block of the class's "
    "image.",
    "Delete .tankfleet/build/programs and .tankfleet/build/objects (nothing else) and build again; if it stays, the "
    "firmware's sources have lost their node block.",
)
BUILD_LOCKED = Code(
    "BLD105",
    "another build is running",
    "Two builds in one project folder would write into each other's files.",
    "Wait until the other `tankfleet build` has ended, then run it again.",
)
IMAGE_TOO_BIG = Code(
    "BLD106",
    "an image is too big for the board",
    "A board keeps the running image and a new one side by side, so each has only part of the flash.",
    "Use a board with more flash for this node, or fewer features.",
)
PLATFORM_MISSING = Code(
    "BLD107",
    "the registry lacks a package that boards are compiled with",
    "Images for boards are compiled with PlatformIO's platform for the chip and its packages, each in one fixed "
    "version. The registry was reached, and has no such version, or none for this kind of computer.",
    "Look at the name and the version in the message. On a computer with an ARM processor some compilers do not exist: "
    "build on one with an Intel or AMD processor. For the bench, --target host needs no packages.",
)
BAD_IMAGE = Code(
    "BLD108",
    "a board's image is not what it should be",
    "The boot loader of a chip starts only an image with the right head, chip, checksum and digest, and a node must "
    "not be sent one that cannot start.",
    "Delete .tankfleet/build/programs and .tankfleet/build/objects (nothing else) and build again; if it stays, the "
    "platform makes images of a form that is not known here.",
)
NOTHING_BESIDE = Code(
    "BLD109",
    "PlatformIO made no boot loader or no partition table",
    "A board of the ESP32 family cannot start without both. The platform's Arduino build puts them beside the image, "
    "unless its board's variant has a boot loader of its own, or another version of the core does it otherwise.",
    "Delete .tankfleet/build/programs and .tankfleet/build/objects (nothing else) and build again; if it stays, the "
    "log that the message names says what the platform did instead.",
)
NO_NETWORK = Code(
    "BLD110",
    "no network to fetch compilers from",
    "What boards are compiled with is fetched once, from PlatformIO's registry. No host of the registry, or no proxy "
    "that leads to it, took a connection.",
    "Look at the network, and at HTTPS_PROXY if there is a proxy; then run it again: it goes on where it was. For a "
    "computer that never has a network, see docs/building.md. For the bench, --target host needs none.",
)
FETCH_STALLED = Code(
    "BLD111",
    "the download has stopped: no bytes arrive",
    "Fetching takes as long as bytes come, however slowly; from this connection none came for more than a minute.",
    "Run `tankfleet build --fetch` again: it goes on with the bytes that came. If it stops at the same place again, "
    "look at the proxy or the firewall, or use another network.",
)
DISK_FULL = Code(
    "BLD112",
    "the disk is full",
    "What boards are compiled with takes much room, and each archive lies beside it until it is unpacked. What was "
    "unfinished has been removed.",
    "Free some space, or name a folder on another disk by the setting `compilers` (`tankfleet settings` shows it); "
    "then run it again. What was whole stays and is not fetched again.",
)
FETCH_BROKEN = Code(
    "BLD113",
    "a package does not arrive complete",
    "Each package is held to its SHA-256 in the registry, and is asked for several times over. This one broke off each "
    "time, was refused by the server, or was not what the registry says.",
    "Run `tankfleet build --fetch` again, later or from another network; a proxy that alters downloads is a usual "
    "cause. The log that the message names has all that PlatformIO said.",
)
OTHER_PACKAGES = Code(
    "BLD114",
    "the compiler or a core has another version than the pinned one",
    "A board's packages are pinned, so that the same sources give the same image on each computer. PlatformIO used "
    "others, so no image was made.",
    "Run `tankfleet build` again. If it stays, something else writes into the folder of compilers (`tankfleet "
    "settings` shows it): give tankfleet one of its own by the setting `compilers`.",
)
NO_COMPILERS_FOLDER = Code(
    "BLD115",
    "the folder of compilers cannot be used",
    "PlatformIO keeps what it compiles with in one folder for all your projects. It could not be read or written.",
    "Make it yours to write, or name another by the setting `compilers`: `tankfleet settings` shows it.",
)
CHANGED_MEANWHILE = Code(
    "BLD120",
    "a project was changed while it was compiled",
    "An image is signed for what was rendered, and its record names that and nothing else. After the compiler's run "
    "the project's folder held something else, which may be in the image, so none was made.",
    "Look at the files that the message names and at what put them there, then build again: each build begins with a "
    "fresh folder.",
)
DAMAGED = Code(
    "SHF101",
    "a file on the shelf is damaged",
    "Files on the shelf are named by their SHA-256 and checked whenever they are read; this one is not "
    "what its name says.",
    "Delete the file that the message names and run `tankfleet build NODE`: the same bytes are made again.",
)
NOT_ON_SHELF = Code(
    "SHF102",
    "not on the shelf",
    "The image, ticket or record that was asked for was never built here, or was deleted.",
    "Run `tankfleet build NODE`; `tankfleet shelf` lists what is there.",
)
BAD_TICKET = Code(
    "SHF103",
    "a ticket is not what it should be",
    "A ticket is a COSE_Sign1 message over a deterministic CBOR map with exactly nine entries, signed "
    "with ES256.",
    "Run `tankfleet build NODE` to have a new ticket signed with the fleet's own key.",
)
OTHER_KEY = Code(
    "SHF104",
    "the image trusts another signing key",
    "A node block carries the public key that the node accepts; a ticket signed with another key would be "
    "refused.",
    "Use the key folder that this image was built with, or run `tankfleet build NODE` to build it for "
    "this one.",
)
DAMAGED_CARGO = Code(
    "SHF105",
    "what is to be sent is damaged",
    "Every image and ticket that a push or a resumed one is to send is checked, byte for byte, before the first is "
    "sent: a node would take in the whole image only to refuse it. Nothing was sent.",
    "Run `tankfleet build` for the nodes that the message names: of the same inventory it makes the same bytes again; "
    "then push the plan, or resume. A push that was cut off can also be ended without them: `tankfleet stop`.",
)

CODES = codes_in(globals())
