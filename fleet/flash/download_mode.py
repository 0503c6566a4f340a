"""How a board is put into download mode by hand, where its USB bridge does not do it.

Pins: strapping of each chip (esptool, docs/en/advanced-topics/boot-mode-selection.rst; esp8266/Arduino,
doc/boards.rst): GPIO0 low at reset, GPIO9 on the ESP32-C3. Names of the buttons are those on the boards' silk screens:
all from memory.
"""

from __future__ import annotations

from typing import Final

_BUTTONS: Final = {
    "d1-mini": "join D3 (GPIO0) to G with a wire, press RESET, take the wire off after a second",
    "nodemcu-v2": "hold FLASH, press RST, let go of FLASH after a second",
    "esp32-devkit": "hold BOOT, press EN, let go of BOOT after a second",
    "esp32-s2-devkit": "hold BOOT, press RST, let go of BOOT after a second",
    "esp32-s3-devkit": "hold BOOT, press RST, let go of BOOT after a second",
    "esp32-c3-devkit": "hold BOOT, press RST, let go of BOOT after a second",
}
_BY_CHIP: Final = {"esp32-c3": "GPIO9"}


def by_hand(board_id: str, chip: str) -> str:
    """What to do, as words that follow `On this board:`."""
    pin = _BY_CHIP.get(chip, "GPIO0")
    return _BUTTONS.get(board_id, f"hold {pin} at ground while the chip is reset, and let go after a second")
