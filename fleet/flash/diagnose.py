"""From what esptool said and what was heard on the line to one error with a way out. Pure."""

from __future__ import annotations

import re
from enum import StrEnum
from typing import Final

from fleet.errors import FlashError
from fleet.flash.codes import (
    BROWN_OUT,
    LINE_TROUBLE,
    NO_ANSWER,
    NOT_IN_DOWNLOAD_MODE,
    NOT_VERIFIED,
    UNPLUGGED,
)

_BROWN_OUT: Final = re.compile(rb"brown-?out detector was triggered", re.IGNORECASE)
"""What the ESP32 family prints (ESP-IDF, esp_system, brownout.c)."""
_BOOT_MODE: Final = re.compile(rb"boot(?: mode)?:\s*\(?(0x[0-9a-fA-F]+|\d)")
"""`boot:0x13 (SPI_FAST_FLASH_BOOT)` of the ESP32 family, `boot mode:(3,6)` of the ESP8266."""
_UNVERIFIED: Final = ("MD5 of file does not match", "written flash region is empty")
"""What esptool says (cmds.py, write_flash) when the chip reads back something else than was sent."""


class Stage(StrEnum):
    """How far it had come."""

    CONNECTING = "connecting"
    READING = "reading from"
    WRITING = "writing to"


def diagnose(said: str, stage: Stage, *, gone: bool, heard: bytes, port: str, by_hand: str) -> FlashError:
    """The error to show. `said`: esptool's reason, or empty; `gone`: the port itself failed; `heard`: the last bytes
    that came in."""
    if _BROWN_OUT.search(heard):
        return FlashError(BROWN_OUT, f"{port}: the board says: brown-out detector was triggered")
    if gone:
        return FlashError(UNPLUGGED, f"{port} disappeared while {stage} the board")
    if stage is Stage.CONNECTING:
        return _no_connection(port, heard, by_hand)
    if any(words in said for words in _UNVERIFIED):
        return FlashError(NOT_VERIFIED, f"{port}: {said}")
    return FlashError(LINE_TROUBLE, f"{port}: while {stage} the board: {said or 'it sent nothing more'}")


def _no_connection(port: str, heard: bytes, by_hand: str) -> FlashError:
    if not heard:
        fix = f"{NO_ANSWER.fix} On this board: {by_hand}."
        return FlashError(NO_ANSWER, f"{port}: the board sent nothing", fix=fix)
    mode = _BOOT_MODE.search(heard)
    what = f"its boot mode is {mode[1].decode()}" if mode else f"{len(heard)} bytes arrived, but no answer"
    fix = f"On this board: {by_hand}. Then run the command again while it is in download mode."
    return FlashError(NOT_IN_DOWNLOAD_MODE, f"{port}: the board is running: {what}", fix=fix)
