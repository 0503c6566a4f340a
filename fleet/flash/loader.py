"""One board in download mode, by esptool: who it is, writing, reading back, starting. No byte of it is logged."""

from __future__ import annotations

import struct
import termios
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import serial
from esp_pylib.errors import FatalError

from fleet.errors import FlashError
from fleet.flash.codes import LOCKED_DOWN, NOT_VERIFIED
from fleet.flash.diagnose import Stage, diagnose
from fleet.flash.download_mode import by_hand
from fleet.flash.esptool_quiet import cmds, flash_size_bytes, quiet
from fleet.flash.ports import ListeningPort, open_port
from fleet.limits import FLASH_BAUD, FLASH_CONNECT_TRIES, FLASH_READ_BACK_BYTES

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from esptool.loader import ESPLoader

    from fleet.boards.board import Board
    from fleet.flash.contents import Part

    Progress = Callable[[int, int], None]

_FAULTS = (FatalError, serial.SerialException, termios.error, OSError, struct.error, IndexError)
"""What esptool and pyserial raise when a board or its cable fails; the last two on answers cut short."""
_PORT_FAULTS = (serial.SerialException, termios.error, OSError)


@dataclass(frozen=True, slots=True)
class Line:
    """How to speak to the board: the port, the rate for writing, the way into download mode (`esptool --before`)."""

    port: str
    baud: int = FLASH_BAUD
    before: str = "default-reset"
    tries: int = FLASH_CONNECT_TRIES


@dataclass(frozen=True, slots=True)
class Found:
    """What the board says of itself. `mac` as in the inventory; `flash_bytes` None if its flash chip does not say."""

    chip: str
    mac: str
    flash_bytes: int | None


class Loader:
    """A connected board. Made by `connected`."""

    def __init__(self, esp: ESPLoader, line: Line, board: Board, port: ListeningPort) -> None:
        self._esp: Any = esp
        self._line = line
        self._board = board
        self._port = port

    @property
    def chip(self) -> str:
        """The chip's name as in the boards' data: `esp8266`, `esp32-c3`."""
        return str(self._esp.CHIP_NAME).lower()

    def identify(self) -> Found:
        """Chip, MAC and flash size; starts esptool's helper program in the chip's memory. Writes nothing to flash."""
        with self._watched(Stage.READING):
            mac = ":".join(f"{byte:02x}" for byte in self._esp.read_mac())
            if self._esp.secure_download_mode or self._esp.get_flash_encryption_enabled():
                raise FlashError(LOCKED_DOWN, f"{self._line.port}: the board {mac} is locked")
            self._esp = cmds.run_stub(self._esp)
            cmds.attach_flash(self._esp)
            size = cmds.detect_flash_size(self._esp)
            return Found(self.chip, mac, flash_size_bytes(size))

    def hurry(self) -> None:
        """Go on at the rate for writing."""
        if self._line.baud != self._port.baudrate:
            with self._watched(Stage.READING):
                self._esp.change_baud(self._line.baud)

    def write(self, part: Part, progress: Progress) -> None:
        """Write one part and have it read back: small ones byte for byte, of large ones the chip's own digest."""
        self._esp.WRITE_FLASH_ATTEMPTS = (
            1  # never go on by itself with what is plugged in next: another board?
        )
        with self._watched(Stage.WRITING, progress):
            cmds.write_flash(self._esp, [(part.at, part.data)])
            if len(part.data) > FLASH_READ_BACK_BYTES:
                return
            if self._esp.read_flash(part.at, len(part.data)) != part.data:
                raise FlashError(
                    NOT_VERIFIED, f"{self._line.port}: {part.name} at 0x{part.at:X} reads back differently"
                )

    def start(self) -> None:
        """Restart the board, out of download mode."""
        with self._watched(Stage.READING):
            cmds.reset_chip(self._esp, "hard-reset")

    @contextmanager
    def _watched(self, stage: Stage, progress: Progress | None = None) -> Iterator[None]:
        with _watching(stage, self._line, self._board, self._port, progress):
            yield


@contextmanager
def connected(line: Line, board: Board) -> Iterator[Loader]:
    """The board on that port, in download mode; the port is closed at the end. FlashError (FLA101-121)."""
    port = open_port(line.port, int(cmds.ESPLoader.ESP_ROM_BAUD))
    try:
        with _watching(Stage.CONNECTING, line, board, port, None):
            esp = cmds.detect_chip(port, connect_mode=line.before, connect_attempts=line.tries)
        yield Loader(esp, line, board, port)
    finally:
        port.close()


@contextmanager
def _watching(
    stage: Stage, line: Line, board: Board, port: ListeningPort, progress: Progress | None
) -> Iterator[None]:
    try:
        with quiet(progress):
            yield
    except _FAULTS as error:
        # A FatalError that came of the port's own failure names it as its context.
        gone = isinstance(error, _PORT_FAULTS) or isinstance(error.__context__, _PORT_FAULTS)
        manual = by_hand(board.id, board.chip)
        raise diagnose(error, stage, gone=gone, heard=port.heard(), port=line.port, by_hand=manual) from error
