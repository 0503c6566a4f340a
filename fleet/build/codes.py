"""Codes of building, of tickets and of the shelf."""

from __future__ import annotations

from fleet.codes import Code, codes_in

COMPILE_FAILED = Code(
    "BLD101",
    "compilation failed",
    "PlatformIO ran the compiler for one firmware class and it failed, so none of that class's images was "
    "made.",
    "Read the last lines of the log; the path of the whole log stands with them. Nothing on the shelf has "
    "changed.",
)
TOOLS_MISSING = Code(
    "BLD102",
    "a build tool is missing",
    "Images for the host need a C++ compiler, binutils, BearSSL's static library, PlatformIO and SCons.",
    "On Debian or Ubuntu: apt install g++ libbearssl-dev. PlatformIO and SCons come with tankfleet itself.",
)
BAD_DEFECT = Code(
    "BLD103",
    "no such defect, or not for real boards",
    "Defective firmware exists only to show on the bench how a bad update is caught.",
    "Use it with --target host and one of the names in the message.",
)
NO_PLACE_TO_STAMP = Code(
    "BLD104",
    "the class's image has no room for a node block",
    "Each node's image is made by writing its node block into the section .tank_node_block of the class's "
    "image.",
    "Delete .tankfleet/build/programs and .tankfleet/build/objects (nothing else) and build again. If it "
    "fails again, the firmware's sources have lost their node block.",
)
BUILD_LOCKED = Code(
    "BLD105",
    "another build is running",
    "Two builds in one project folder would overwrite each other's files.",
    "Wait until the other `tankfleet build` has ended, then run it again.",
)
IMAGE_TOO_BIG = Code(
    "BLD106",
    "an image is too big for the board",
    "A board keeps the running image and a new one side by side, so each gets only part of the flash.",
    "Use a board with more flash for this node, or fewer features.",
)
PLATFORM_MISSING = Code(
    "BLD107",
    "the registry lacks a package needed to compile for boards",
    "Images for boards are compiled with PlatformIO's platform for the chip and its packages, each in one "
    "fixed version. The registry answered, but does not have that version, or not for this kind of "
    "computer.",
    "Check the name and the version in the message. Some compilers do not exist for ARM processors: build "
    "on a computer with an Intel or AMD processor. For the bench, --target host needs no packages.",
)
BAD_IMAGE = Code(
    "BLD108",
    "a board's image is invalid",
    "The chip's boot loader starts only an image with the right head, chip, checksum and digest. An image "
    "that cannot start must not reach a node.",
    "Delete .tankfleet/build/programs and .tankfleet/build/objects (nothing else) and build again. If it "
    "fails again, the platform makes images in a format that this tool does not know.",
)
NOTHING_BESIDE = Code(
    "BLD109",
    "PlatformIO made no boot loader or no partition table",
    "A board of the ESP32 family cannot start without both. The platform's Arduino build puts them beside "
    "the image, unless the board's variant has a boot loader of its own, or another version of the core "
    "works differently.",
    "Delete .tankfleet/build/programs and .tankfleet/build/objects (nothing else) and build again. If it "
    "fails again, the log named in the message says what the platform did instead.",
)
NO_NETWORK = Code(
    "BLD110",
    "the compilers could not be downloaded: no network",
    "The compilers for boards are downloaded once, from PlatformIO's registry. No host of the registry, "
    "and no proxy to it, accepted a connection.",
    "Check the network, and HTTPS_PROXY if there is a proxy, then run the command again: it continues "
    "where it stopped. For a computer that never has a network, see docs/building.md. For the bench, "
    "--target host needs none.",
)
FETCH_STALLED = Code(
    "BLD111",
    "the download stalled: no bytes arrive",
    "A download may take as long as bytes arrive, however slowly. This connection delivered none for more "
    "than a minute.",
    "Run `tankfleet build --fetch` again: it continues with the bytes it has. If it stalls at the same "
    "place, check the proxy or the firewall, or use another network.",
)
DISK_FULL = Code(
    "BLD112",
    "the disk is full",
    "The compilers need much room, and each archive lies beside its files until it is unpacked. What was "
    "unfinished has been removed.",
    "Free some space, or name a folder on another disk with the setting `compilers` (`tankfleet settings` "
    "shows it), then run the command again. Complete packages stay and are not downloaded again.",
)
FETCH_BROKEN = Code(
    "BLD113",
    "a package did not arrive complete",
    "Each package is compared with its SHA-256 in the registry, and requested several times. This one "
    "broke off each time, was refused by the server, or differs from what the registry says.",
    "Run `tankfleet build --fetch` again, later or from another network. A proxy that alters downloads is "
    "a usual cause. The log named in the message has all that PlatformIO printed.",
)
OTHER_PACKAGES = Code(
    "BLD114",
    "the compiler or a core differs from its pinned version",
    "A board's packages are pinned, so that the same sources give the same image on every computer. "
    "PlatformIO used other versions, so no image was made.",
    "Run `tankfleet build` again. If it fails again, another program writes into the folder of compilers "
    "(`tankfleet settings` shows it): give tankfleet a folder of its own with the setting `compilers`.",
)
NO_COMPILERS_FOLDER = Code(
    "BLD115",
    "the folder of compilers cannot be used",
    "PlatformIO keeps its compilers in one folder for all your projects. The folder could not be read or "
    "written.",
    "Make it writable for you, or name another with the setting `compilers`: `tankfleet settings` shows it.",
)
CHANGED_MEANWHILE = Code(
    "BLD120",
    "a project changed while it was compiled",
    "An image is signed for what was rendered, and its record names nothing else. After the compilation "
    "the project's folder had other contents, which may be in the image, so no image was made.",
    "Look at the files named in the message and find out what put them there, then build again: each "
    "build begins with a fresh folder.",
)
DAMAGED = Code(
    "SHF101",
    "a file on the shelf is damaged",
    "Files on the shelf are named by their SHA-256 and checked at each reading. The content of this one "
    "does not match its name.",
    "Delete the file named in the message and run `tankfleet build NODE`: it makes the same bytes again.",
)
NOT_ON_SHELF = Code(
    "SHF102",
    "not on the shelf",
    "The requested image, ticket or record was never built here, or was deleted.",
    "Run `tankfleet build NODE`; `tankfleet shelf` lists what is there.",
)
BAD_TICKET = Code(
    "SHF103",
    "an invalid ticket",
    "A ticket is a COSE_Sign1 message over a deterministic CBOR map with exactly nine entries, signed "
    "with ES256.",
    "Run `tankfleet build NODE` to sign a new ticket with the fleet's own key.",
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
    "a file to be sent is damaged",
    "Every image and ticket is checked, byte for byte, before a push or a resumed one sends the first: a "
    "node would take the whole image only to refuse it. Nothing was sent.",
    "Run `tankfleet build` for the nodes named in the message: from the same inventory it makes the same "
    "bytes again. Then push the plan, or resume. A push that was interrupted can also be ended without "
    "them: `tankfleet stop`.",
)

CODES = codes_in(globals())
