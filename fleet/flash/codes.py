"""Codes of the first flash: FLA101-109 the port, 110-119 the board, 120-129 the writing, 130-139 what is written,
140-149 afterwards."""

from __future__ import annotations

from fleet.codes import Code, codes_in

NO_SUCH_PORT = Code(
    "FLA101",
    "no such port",
    "A board on a USB cable shows up as a serial port, such as /dev/ttyUSB0 or /dev/ttyACM0; this one is not there.",
    "Plug the board in and name one of the ports that the message lists. None at all: another cable, one with data "
    "lines, or another socket.",
)
NO_PERMISSION = Code(
    "FLA102",
    "no permission on the port",
    "Serial ports belong to a group, on Debian and Ubuntu `dialout`, and you are not in it.",
    "Run `sudo usermod -aG dialout $USER`, then log out and in again. For one session alone: `sudo chmod a+rw PORT`.",
)
PORT_BUSY = Code(
    "FLA103",
    "another program has the port",
    "Two programs on one serial port take each other's bytes.",
    "Close the serial monitor or whatever the message names, then run the command again.",
)
NO_ANSWER = Code(
    "FLA110",
    "no answer at all",
    "Not one byte came in: this is the port of something else, or the board has no power or is held in reset. A board "
    "on a cable without data lines has no port of its own.",
    "Pull the cable out: if the port stays, it is not this board's, and the board wants a cable with data lines. If it "
    "goes, plug it in again and put the board into download mode by hand, as the message says.",
)
NOT_IN_DOWNLOAD_MODE = Code(
    "FLA111",
    "the board is not in download mode",
    "It sends something, but does not answer its boot loader's protocol: it started what it has in flash.",
    "Put it into download mode by hand, as the message says, and run the command again while it is.",
)
BROWN_OUT = Code(
    "FLA112",
    "the board's supply is too weak",
    "The board said that its brown-out detector was triggered: the supply fell below what the chip needs.",
    "Use a short, thick cable straight into the computer, no hub; take pump relay and probes off while flashing.",
)
WRONG_CHIP = Code(
    "FLA113",
    "another chip than the inventory's board has",
    "Firmware of one chip does not start on another, and pins have other meanings.",
    "Take the right board, or change the node's `board` in the inventory (`tankfleet show board`) and build again.",
)
FLASH_TOO_SMALL = Code(
    "FLA114",
    "less flash than the inventory's board has",
    "The running image, a new one and the credentials have their places in the flash; with less of it, an update would "
    "write over something.",
    "Take a board with the flash size that the message gives, or another kind of board in the inventory.",
)
LOCKED_DOWN = Code(
    "FLA115",
    "the chip refuses to be read or written over USB",
    "Secure download mode or flash encryption was burnt into this chip for good.",
    "Take another board: this cannot be undone.",
)
MAC_OF_ANOTHER = Code(
    "FLA116",
    "the board belongs to another node",
    "Each board is one node; with two nodes on one MAC nobody could say which one answers.",
    "Take another board. If this one moves here for good, delete the line `mac:` of the node that had it.",
)
MAC_DIFFERS = Code(
    "FLA117",
    "the node has another board",
    "The inventory has a MAC for this node, and it is not this board's.",
    "Check the label. If this board replaces the old one, delete the line `mac:` of the node in the inventory, then "
    "run the command again: it claims the new one.",
)
LINE_TROUBLE = Code(
    "FLA120",
    "bytes were lost on the line",
    "The board answered and then did not, or answered nonsense. What it has in flash now is not whole.",
    "Run the command again with `--baud 115200`, with a shorter cable or without a hub.",
)
UNPLUGGED = Code(
    "FLA121",
    "the port went away",
    "The cable was pulled, or the board fell off the bus. What it has in flash now is not whole.",
    "Plug it in again and run the command again: it writes everything anew.",
)
NOT_VERIFIED = Code(
    "FLA122",
    "what was written does not read back",
    "The flash does not hold what was sent: worn out, damaged, write-protected, or too weak a supply.",
    "Run the command again, with a short cable. The second time the same: take another board.",
)
NO_IMAGE = Code(
    "FLA130",
    "no image for this board on the shelf",
    "What is written is the image that `tankfleet build` made for this very node, for boards.",
    "Run `tankfleet build NODE --target board`, then this command again.",
)
NO_BOOT_LOADER = Code(
    "FLA131",
    "the image's boot loader is not on the shelf",
    "Chips of the ESP32 family start from a boot loader of their own, which the build puts on the shelf too.",
    "Run `tankfleet build NODE --target board`, then this command again.",
)
OTHER_TICKET = Code(
    "FLA132",
    "the image's ticket is not for this node and these keys",
    "A node that is given a ticket of other keys would refuse every later update.",
    "Run `tankfleet build NODE --target board` with the key folder that the fleet uses, then this command again.",
)
BAD_TABLE = Code(
    "FLA134",
    "the partition table is not one for a node",
    "The table says where application, credentials and trial records lie; the firmware reads the same one.",
    "Run `tankfleet build NODE --target board` with this version, then this command again.",
)
OLDER_INVENTORY = Code(
    "FLA135",
    "the image was built from an older inventory",
    "Pins, marks, watches and times are in the image: a board that is wired as the inventory says now would read and "
    "drive the wrong pins.",
    "Run `tankfleet build NODE --target board`, then this command again. Only for a board that is wired as the "
    "older inventory says: --as-built writes the image as it is.",
)
OTHER_STATE = Code(
    "FLA140",
    "the node runs another image than was written",
    "It answers on the network with a good signature, but not with the image that was just written.",
    "Take its power away for a moment, then run `tankfleet find NODE`.",
)

CODES = codes_in(globals())
