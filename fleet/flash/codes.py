"""Codes of the first flash: FLA101-109 the port, 110-119 the board, 120-129 the writing, 130-139 what is written,
140-149 afterwards."""

from __future__ import annotations

from fleet.codes import Code, codes_in

NO_SUCH_PORT = Code(
    "FLA101",
    "no such port",
    "A board on a USB cable appears as a serial port, such as /dev/ttyUSB0 or /dev/ttyACM0. This one does "
    "not exist.",
    "Plug the board in and name one of the ports in the message. If it lists none, use a USB data cable, "
    "or another socket.",
)
NO_PERMISSION = Code(
    "FLA102",
    "no permission on the port",
    "Serial ports belong to a group, on Debian and Ubuntu `dialout`, and you are not in it.",
    "Run `sudo usermod -aG dialout $USER`, then log out and in again. For one session alone: `sudo chmod a+rw PORT`.",
)
PORT_BUSY = Code(
    "FLA103",
    "another program uses the port",
    "Two programs on one serial port take each other's bytes.",
    "Close the serial monitor, or the program named in the message, then run the command again.",
)
NO_ANSWER = Code(
    "FLA110",
    "the board does not answer",
    "Not one byte arrived: the port belongs to something else, or the board has no power or is held in "
    "reset. A board on a charge-only cable has no port of its own.",
    "Unplug the cable. If the port stays, it is not this board's: use a USB data cable. If it goes, plug "
    "the cable in again and put the board into download mode by hand, as the message says.",
)
NOT_IN_DOWNLOAD_MODE = Code(
    "FLA111",
    "the board is not in download mode",
    "It sends something, but not its boot loader's protocol: it started the firmware in its flash.",
    "Put it into download mode by hand, as the message says, and run the command again while it is in it.",
)
BROWN_OUT = Code(
    "FLA112",
    "the board's supply is too weak",
    "The board reported that its brown-out detector triggered: the supply fell below what the chip needs.",
    "Use a short, thick cable straight into the computer, without a hub. Disconnect pump relay and probes "
    "while flashing.",
)
WRONG_CHIP = Code(
    "FLA113",
    "the chip differs from the inventory's board",
    "Firmware for one chip does not start on another, and its pins have other functions.",
    "Use the right board, or change the node's `board` in the inventory (`tankfleet show board`) and "
    "build again.",
)
FLASH_TOO_SMALL = Code(
    "FLA114",
    "less flash than the inventory's board has",
    "The running image, a new one and the credentials have fixed places in the flash. With less flash an "
    "update would overwrite one of them.",
    "Use a board with the flash size in the message, or name another kind of board in the inventory.",
)
LOCKED_DOWN = Code(
    "FLA115",
    "the chip refuses to be read or written over USB",
    "Secure download mode or flash encryption is burnt into this chip permanently.",
    "Use another board: this cannot be undone.",
)
MAC_OF_ANOTHER = Code(
    "FLA116",
    "the board belongs to another node",
    "Each board is one node. If two nodes had one MAC, nobody could say which one answers.",
    "Use another board. If this one moves here for good, delete the line `mac:` of the node that had it.",
)
MAC_DIFFERS = Code(
    "FLA117",
    "the node has another board",
    "The inventory has a MAC for this node, and this board has another.",
    "Check the label. If this board replaces the old one, delete the line `mac:` of the node in the "
    "inventory and run the command again: it records the new one.",
)
LINE_TROUBLE = Code(
    "FLA120",
    "bytes were lost on the line",
    "The board answered and then stopped, or sent garbage. Its flash now holds an incomplete image.",
    "Run the command again with `--baud 115200`, with a shorter cable or without a hub.",
)
UNPLUGGED = Code(
    "FLA121",
    "the port disappeared",
    "The cable was unplugged, or the board dropped off the bus. Its flash now holds an incomplete image.",
    "Plug it in and run the command again: it writes everything again.",
)
NOT_VERIFIED = Code(
    "FLA122",
    "the flash does not read back as written",
    "The flash does not hold what was sent: it is worn out, damaged or write-protected, or the supply is "
    "too weak.",
    "Run the command again, with a short cable. If it fails again, use another board.",
)
NO_IMAGE = Code(
    "FLA130",
    "no image for this board on the shelf",
    "This command writes the image that `tankfleet build` made for this very node, for boards.",
    "Run `tankfleet build NODE --target board`, then this command again.",
)
NO_BOOT_LOADER = Code(
    "FLA131",
    "the image's boot loader is not on the shelf",
    "Chips of the ESP32 family start from a boot loader of their own, which the build also puts on the "
    "shelf.",
    "Run `tankfleet build NODE --target board`, then this command again.",
)
OTHER_TICKET = Code(
    "FLA132",
    "the image's ticket is not for this node and these keys",
    "A node with a ticket of other keys would refuse every later update.",
    "Run `tankfleet build NODE --target board` with the key folder that the fleet uses, then this command again.",
)
BAD_TABLE = Code(
    "FLA134",
    "the partition table is not for a node",
    "The table says where application, credentials and trial records lie, and the firmware reads the same "
    "table.",
    "Run `tankfleet build NODE --target board` with this version, then this command again.",
)
OLDER_INVENTORY = Code(
    "FLA135",
    "the image was built from an older inventory",
    "Pins, marks, watches and times are in the image. A board wired as the inventory says now would read "
    "and drive the wrong pins.",
    "Run `tankfleet build NODE --target board`, then this command again. Only if the board is wired as "
    "the older inventory says: --as-built writes the image as it is.",
)
OTHER_STATE = Code(
    "FLA140",
    "the node runs another image than the one written",
    "It answers on the network with a valid signature, but not with the image that was just written.",
    "Disconnect its power for a moment, then run `tankfleet find NODE`.",
)

CODES = codes_in(globals())
