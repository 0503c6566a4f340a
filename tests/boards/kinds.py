"""What the boards' own documents say of them, written down a second time: one row for each kind of board.

Headers: header blocks in arduino-esp32 docs/en/boards (DevKitC, Saola-1, C3-DevKitM-1) and esp-dev-kits
esp32-s3-devkitc-1/user_guide.rst; NodeMCU 1.0 and D1 mini from memory.

Loads: nodemcu-devkit-v1.0, schematic of 2015: R6 470 (bridge TXD), R1, R2 12k up, R5 12k down, R9 470 and a blue LED to
3.3 V on GPIO16, R12 470 at the FLASH button. The boards' maker says 10k for the D1 mini. User guides of the kits: RGB
LED on GPIO8 (C3-DevKitM-1), GPIO18 (S2-Saola-1), GPIO38 or 48 (S3-DevKitC-1); native USB socket on the S3 alone.

Buttons: FLASH and Boot join the pin that chooses the download mode with ground: NodeMCU 1.0 schematic; user guides of
the kits in esp-idf docs/en/hw-reference; which pin: esptool docs, boot mode selection. The D1 mini has RESET alone (its
schematic, from memory). Their names on the boards: from memory.

Names of pins: esp-dev-kits esp32-devkitc/user_guide.rst, header block: VP, VN, TX, RX, D0 to D3, CMD, CLK. The names of
the 30-pin boards of other makers, and bare numbers: common practice (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True)
class Kind:
    """A kind of board: pins a row, of ground, of 3.3 V; GPIOs that something on the board hangs on; the GPIO that its
    USB bridge sends to; the buttons of the download mode and of the reset, and the GPIO of the first, None where a
    person needs a wire; other names of some pins."""

    headers: tuple[int, int, int]
    loaded: set[int]
    rx: int
    buttons: tuple[str | None, str]
    button_gpio: int | None
    printed: dict[str, int] = field(default_factory=dict)


KINDS = {
    "d1-mini": Kind((8, 1, 1), {0, 1, 2, 3, 15}, 3, (None, "RESET"), None, {"D3": 0}),
    "nodemcu-v2": Kind(
        (15, 4, 3), {0, 1, 2, 3, 15, 16}, 3, ("FLASH", "RST"), 0,
        {"SD2": 9, "SD3": 10, "CMD": 11, "D10": 1, "D9": 3},
    ),
    "esp32-devkit": Kind(
        (19, 3, 1), {0, 1, 2, 3}, 3, ("BOOT", "EN"), 0,
        {
            "VP": 36, "VN": 39, "TX": 1, "RX": 3, "TX0": 1, "RX0": 3, "TX2": 17, "RX2": 16, "CMD": 11, "CLK": 6,
            "D0": 7, "D1": 8, "D3": 10, "D34": 34, "D13": 13, "D4": 4, "D15": 15, "34": 34, "4": 4, "0": 0,
            "IO13": 13, "SD3": 10,
        },
    ),
    "esp32-s2-devkit": Kind(
        (21, 2, 1), {0, 18, 43, 44}, 44, ("BOOT", "RST"), 0, {"TX": 43, "RX": 44, "18": 18, "0": 0}
    ),
    "esp32-s3-devkit": Kind(
        (22, 4, 2), {0, 19, 20, 38, 43, 44, 48}, 44, ("BOOT", "RST"), 0, {"TX": 43, "RX": 44, "IO4": 4, "4": 4}
    ),
    "esp32-c3-devkit": Kind(
        (15, 10, 2), {8, 9, 20, 21}, 20, ("BOOT", "RST"), 9, {"TX": 21, "RX": 20, "9": 9, "IO9": 9}
    ),
}  # fmt: skip
