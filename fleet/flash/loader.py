"""One board in download mode, by esptool: who it is, writing, reading back, starting. No byte of it is logged.

Each step is a run of esptool (esptool_run.py). Between the runs the port is kept open here, without its lock: closing
it could reset the board, and another one that is plugged in meanwhile gets another name. Each run shows the board's
MAC before it writes: at another one it is ended.
"""

from __future__ import annotations

import fcntl
import re
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from fleet.errors import FlashError
from fleet.flash.codes import LOCKED_DOWN, MAC_DIFFERS, NOT_VERIFIED, UNPLUGGED
from fleet.flash.diagnose import Stage, diagnose
from fleet.flash.esptool_run import Ran, content, memory, run_esptool
from fleet.flash.ports import open_port
from fleet.limits import (
    FLASH_BAUD,
    FLASH_CONNECT_TRIES,
    FLASH_READ_BACK_BYTES,
    FLASH_READ_BACK_GAP_BYTES,
    FLASH_ROM_BAUD,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from fleet.boards.board import Board
    from fleet.flash.contents import Part

    Tell = Callable[[str, int, int], None]
    """Called with what is done, how many of its bytes are done, and of how many."""

_STAY: Final = "no-reset"
_START: Final = "hard-reset"
_LOCKED: Final = "in Secure Download Mode"
_LOST: Final = "Lost connection, retrying"
_PART_BEGINS: Final = re.compile(r"Writing '.*' at 0x([0-9a-f]+)\.\.\.")
_GOES_ON: Final = re.compile(r"(?:Writing at|Reading from) 0x[0-9a-f]+ .*?([0-9.]+)% ")
_SIZE: Final = re.compile(r"(\d+)(KB|MB)")
_UNITS: Final = {"KB": 1 << 10, "MB": 1 << 20}
_ESP32_CRYPT_COUNT: Final = (0x3FF5A000, 0x7F << 20)
"""eFuse word 0, FLASH_CRYPT_CNT: encryption is on with an odd number of bits set (ESP32 technical reference manual,
eFuse controller; ESP-IDF, flash encryption)."""


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

    def __init__(self, line: Line, board: Board) -> None:
        self._line = line
        self._board = board
        self._mac = ""
        self._first = self._run(Stage.READING, ["flash-id"])

    @property
    def chip(self) -> str:
        """The chip's name as in the boards' data: `esp8266`, `esp32-c3`."""
        found = re.search(r"^Connected to (\S+) on ", self._first.said, re.MULTILINE)
        return found[1].lower() if found else ""

    def identify(self) -> Found:
        """Chip, MAC and flash size. Writes nothing to flash. FlashError (FLA115) if the board is locked."""
        mac = (self._first.fact("MAC") or "").lower()
        if _LOCKED in self._first.said or self._encrypted():
            raise FlashError(LOCKED_DOWN, f"{self._line.port}: the board{mac and f' {mac}'} is locked")
        self._mac = mac
        size = _SIZE.fullmatch(self._first.fact("Detected flash size") or "")
        return Found(self.chip, mac, int(size[1]) * _UNITS[size[2]] if size else None)

    def _encrypted(self) -> bool:
        """Whether flash encryption was burnt in. The ESP8266 has none."""
        if self.chip == "esp8266":
            return False
        if self.chip == "esp32":
            at, mask = _ESP32_CRYPT_COUNT
            word = re.search(
                r"^0x[0-9a-f]+ = (0x[0-9a-f]+)", self._ask(["read-mem", hex(at)]).said, re.MULTILINE
            )
            return word is not None and (int(word[1], 16) & mask).bit_count() % 2 == 1
        return self._ask(["get-security-info"]).fact("Flash Encryption") == "Enabled"

    def write(self, parts: Sequence[Part], tell: Tell) -> None:
        """Write them, at the rate for writing; the chip's own digest of each is compared with ours."""
        under_way: Part | None = None

        def watch(line: str) -> None:
            nonlocal under_way
            if begins := _PART_BEGINS.match(line):
                at = int(begins[1], 16)
                under_way = next(part for part in parts if part.at == at)
            elif under_way and (goes_on := _GOES_ON.match(line)):
                _tell_share(tell, f"writing {under_way.name}", goes_on[1], len(under_way.data))

        with _files(parts) as (handles, words):
            self._run(Stage.WRITING, ["write-flash", *words], watch, handles, baud=self._line.baud)

    def read_back(self, parts: Sequence[Part], tell: Tell) -> None:
        """Compare the small ones byte for byte: a digest says what the chip believes, not what it reads."""
        small = [part for part in parts if len(part.data) <= FLASH_READ_BACK_BYTES]
        for start, end, there in _stretches(small):

            def watch(line: str, size_bytes: int = end - start) -> None:
                if goes_on := _GOES_ON.match(line):
                    _tell_share(tell, "reading back", goes_on[1], size_bytes)

            with memory() as (handle, path):
                command = ["read-flash", hex(start), str(end - start), path]
                self._run(Stage.WRITING, command, watch, [handle], baud=self._line.baud)
                read = content(handle)
            for part in there:
                if read[part.at - start :][: len(part.data)] != part.data:
                    what = f"{self._line.port}: {part.name} at 0x{part.at:X} does not read back as written"
                    raise FlashError(NOT_VERIFIED, what)

    def start(self) -> None:
        """Restart the board, out of download mode."""
        self._ask(["read-mac"], after=_START)

    def _ask(self, command: Sequence[str], *, after: str = _STAY) -> Ran:
        """A short question, which the chip's own loader answers: nothing is loaded into its memory first."""
        return self._run(Stage.READING, command, after=after, own_loader=True)

    def _run(
        self,
        stage: Stage,
        command: Sequence[str],
        watch: Callable[[str], None] = lambda line: None,
        files: Sequence[int] = (),
        *,
        after: str = _STAY,
        baud: int = FLASH_ROM_BAUD,
        own_loader: bool = False,
    ) -> Ran:
        """FlashError (FLA110-112, 117, 120-122) if it fails; a board that is locked down fails without one."""
        options = ["--before", self._line.before, "--after", after, "--baud", str(baud)]
        options += ["--connect-attempts", str(self._line.tries), *(["--no-stub"] if own_loader else [])]

        def watched(line: str) -> None:
            self._same_board(line, stage)
            watch(line)

        ran = run_esptool(self._line.port, options, command, watched, files)
        if ran.ok or _LOCKED in ran.said:
            return ran
        stage = stage if ran.connected else Stage.CONNECTING
        manual = self._board.download_mode
        raise diagnose(ran.error, stage, gone=ran.gone, heard=ran.heard, port=self._line.port, by_hand=manual)

    def _same_board(self, line: str, stage: Stage) -> None:
        """Never go on with what is plugged in next, as esptool would."""
        if line.startswith(_LOST):
            raise FlashError(UNPLUGGED, f"{self._line.port} disappeared while {stage} the board")
        now = line.removeprefix("MAC:").strip().lower()
        if self._mac and line.startswith("MAC:") and now != self._mac:
            what = f"{self._line.port}: the board was {self._mac}; now it is another, {now}"
            raise FlashError(MAC_DIFFERS, what)


def _tell_share(tell: Tell, what: str, percent: str, size_bytes: int) -> None:
    tell(what, round(float(percent) * size_bytes / 100), size_bytes)


@contextmanager
def _files(parts: Sequence[Part]) -> Iterator[tuple[list[int], list[str]]]:
    """The parts as files in memory: their descriptors, and the words that name place and file of each."""
    handles: list[int] = []
    words: list[str] = []
    with ExitStack() as files:
        for part in parts:
            handle, path = files.enter_context(memory(part.data))
            handles.append(handle)
            words += [hex(part.at), path]
        yield handles, words


def _stretches(parts: Sequence[Part]) -> Iterator[tuple[int, int, list[Part]]]:
    """Stretches of flash, from and to, that hold these parts with small gaps: each is one run."""
    together: list[Part] = []
    for part in sorted(parts, key=lambda part: part.at):
        if together and part.at - _end(together[-1]) > FLASH_READ_BACK_GAP_BYTES:
            yield together[0].at, _end(together[-1]), together
            together = []
        together.append(part)
    if together:
        yield together[0].at, _end(together[-1]), together


def _end(part: Part) -> int:
    return part.at + len(part.data)


@contextmanager
def connected(line: Line, board: Board) -> Iterator[Loader]:
    """The board on that port, in download mode; the port is closed at the end. FlashError (FLA101-121)."""
    with open_port(line.port, FLASH_ROM_BAUD) as port:
        fcntl.flock(port.fileno(), fcntl.LOCK_UN)  # esptool takes the lock for itself, in each run
        yield Loader(line, board)
