"""An emulation of the ROM loaders of ESP8266 and the ESP32 family on a pseudo-terminal, for the real esptool.

Written from the published protocol (esptool, docs/en/advanced-topics/serial-protocol.rst: SLIP frames, commands,
status bytes, checksum; command set of serial NOR flash) and the chips' documented registers. It is a stand-in, not a
chip: what is loaded into memory (esptool's helper program, "stub") is not run; its commands are answered from the
same page.
The flash is NOR: erased by sectors of 4 KiB, programming only clears bits. DTR and RTS do not exist here.
"""

from __future__ import annotations

import hashlib
import os
import pty
import select
import struct
import threading
import tty
import zlib
from collections.abc import Callable
from dataclasses import dataclass, field

SECTOR = 4096
SYNC, READ_REG, WRITE_REG = 0x08, 0x0A, 0x09
MEM_BEGIN, MEM_END, MEM_DATA = 0x05, 0x06, 0x07
FLASH_BEGIN, FLASH_DATA, FLASH_END = 0x02, 0x03, 0x04
SPI_SET_PARAMS, SPI_ATTACH, CHANGE_BAUDRATE = 0x0B, 0x0D, 0x0F
DEFL_BEGIN, DEFL_DATA, DEFL_END, MD5, SECURITY_INFO = 0x10, 0x11, 0x12, 0x13, 0x14
READ_FLASH = 0xD2
STUB_ONLY = {READ_FLASH, 0xD0, 0xD1, 0xD3}


@dataclass(frozen=True)
class Chip:
    """One chip's facts: esptool 5 targets/*.py for the addresses; `magic` is at 0x40001000."""

    name: str
    magic: int
    spi_base: int
    usr2: int
    w0: int
    status_bytes: int
    mac_at: int | None = None
    """Where the eFuses show the MAC; the ESP8266 and the ESP32 have it in ways of their own."""
    security_info: bool = False
    chip_id: int | None = None
    """Part of the security information; the ESP32-S2 leaves it out, and is known by its magic number."""


ESP8266 = Chip("esp8266", 0xFFF0C101, 0x60000200, 0x24, 0x40, 2)
ESP32 = Chip("esp32", 0x00F01D83, 0x3FF42000, 0x24, 0x80, 4)
ESP32S2 = Chip("esp32-s2", 0x000007C6, 0x3F402000, 0x20, 0x58, 4, 0x3F41A044, security_info=True)
ESP32S3 = Chip("esp32-s3", 0x00000009, 0x60002000, 0x20, 0x58, 4, 0x60007044, security_info=True, chip_id=9)
ESP32C3 = Chip("esp32-c3", 0x6921506F, 0x60002000, 0x20, 0x58, 4, 0x60008844, security_info=True, chip_id=5)


@dataclass
class Faults:
    """What goes wrong. Counts are of frames that hold data for the flash, from 0."""

    silent: bool = False
    says: bytes = b""
    """Sent instead of every answer."""
    lose_bytes_of: set[int] = field(default_factory=set)
    lose_from: int | None = None
    """From this frame on, bytes of each are lost."""
    unplug_at: int | None = None
    brown_out_at: int | None = None
    stuck_bit_at: int | None = None
    """An address in flash with a bit that stays 0."""
    lies_of: int | None = None
    """An address that reads back wrong although the digest is right."""
    secure: bool = False


class Rom:
    """A board on a pseudo-terminal: `with Rom(ESP32, mac, 4 << 20) as rom:` and esptool on `rom.port`."""

    def __init__(self, chip: Chip, mac: str, flash_bytes: int, faults: Faults | None = None) -> None:
        self.chip = chip
        self.mac = bytes.fromhex(mac.replace(":", ""))
        self.flash = bytearray(b"\x5a" * flash_bytes)
        self.faults = faults or Faults()
        self.stub = False
        self.commands: list[int] = []
        self.starts = 0
        self.baud_asked: list[int] = []
        self._data_frames = 0
        self._spi: dict[int, int] = {}
        self._inflating: zlib._Decompress | None = None
        self._at = 0
        self._erased = 0
        self._sending: list[bytes] = []
        self._awaits_ack = False
        self._error: BaseException | None = None
        self._handlers = self._table()

    # ---------------------------------------------------------------- life
    def __enter__(self) -> Rom:
        self._master, self._slave = pty.openpty()
        tty.setraw(self._slave)
        self.port = os.ttyname(self._slave)
        self._wake_read, self._wake_write = os.pipe()
        self._thread = threading.Thread(target=self._serve, name="rom-loader")
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        os.close(self._wake_write)
        self._thread.join(timeout=10)
        assert not self._thread.is_alive()
        os.close(self._wake_read)
        self._unplug()
        if self._error is not None:
            raise self._error

    def _unplug(self) -> None:
        for handle in (self._master, self._slave):
            if handle >= 0:
                os.close(handle)
        self._master = self._slave = -1

    def _serve(self) -> None:
        try:
            frame: bytearray | None = None
            while self._master >= 0:
                ready, _, _ = select.select([self._master, self._wake_read], [], [])
                if self._wake_read in ready:
                    return
                for byte in os.read(self._master, 65536):
                    if byte != 0xC0:
                        if frame is not None:
                            frame.append(byte)
                    elif frame:
                        self._frame(bytes(frame))
                        frame = None
                        if self._master < 0:
                            return
                    else:
                        frame = bytearray()
        except OSError:
            return
        except BaseException as error:  # shown by __exit__: a fault of the emulation must fail the test
            self._error = error

    # ---------------------------------------------------------------- frames
    def _write(self, data: bytes) -> None:
        view = memoryview(data)
        while view and self._master >= 0:
            _, ready, _ = select.select([self._wake_read], [self._master], [])
            if ready:
                view = view[os.write(self._master, view) :]

    def _send(self, payload: bytes) -> None:
        escaped = payload.replace(b"\xdb", b"\xdb\xdd").replace(b"\xc0", b"\xdb\xdc")
        self._write(b"\xc0" + escaped + b"\xc0")

    def _answer(
        self, command: int, value: int = 0, data: bytes = b"", status: tuple[int, int] = (0, 0)
    ) -> None:
        count = 2 if self.stub else self.chip.status_bytes
        data += bytes(status) + bytes(count - 2)
        self._send(struct.pack("<BBHI", 1, command, len(data), value) + data)

    def _frame(self, escaped: bytes) -> None:
        frame = escaped.replace(b"\xdb\xdc", b"\xc0").replace(b"\xdb\xdd", b"\xdb")
        if self.faults.silent:
            return
        if self.faults.says:
            self._write(self.faults.says)
            return
        if self._awaits_ack:
            self._acknowledged(frame)
            return
        if len(frame) < 8 or frame[0] != 0:
            return
        command, size, checksum = frame[1], *struct.unpack("<HI", frame[2:8])
        data = frame[8:]
        self.commands.append(command)
        if command in (FLASH_DATA, DEFL_DATA):
            data = self._spoilt(data)
            if self._master < 0:
                return
        if len(data) != size:
            self._answer(command, status=(0xC0, 0) if self.stub else (1, 5))
            return
        if command in (FLASH_DATA, DEFL_DATA, MEM_DATA) and _checksum(data[16:]) != checksum & 0xFF:
            self._answer(command, status=(0xC1, 0) if self.stub else (1, 7))
            return
        handler = self._handlers.get(command)
        if handler is None or (command in STUB_ONLY and not self.stub):
            self._unsupported()
            return
        handler(data)

    def _unsupported(self) -> None:
        """A ROM says so eight times, 14 bytes each with four status bytes (esptool, loader.py, `command`)."""
        if self.stub:
            self._answer(0, status=(0xFF, 0))
            return
        for _ in range(8):
            self._send(struct.pack("<BBHI", 1, 0, 4, 0) + b"\x01\x05\x00\x00")

    def _spoilt(self, data: bytes) -> bytes:
        number, self._data_frames = self._data_frames, self._data_frames + 1
        faults = self.faults
        if number == faults.unplug_at:
            self._unplug()
        elif faults.brown_out_at is not None and number >= faults.brown_out_at:
            self._write(b"\r\nBrownout detector was triggered\r\n\r\nets Jul 29 2019 12:21:46\r\n")
            faults.silent = True
            return b""
        elif number in faults.lose_bytes_of or (faults.lose_from is not None and number >= faults.lose_from):
            return data[: len(data) // 2] + data[len(data) // 2 + 3 :]
        return data

    # ---------------------------------------------------------------- commands
    def _table(self) -> dict[int, Callable[[bytes], None]]:
        table: dict[int, Callable[[bytes], None]] = {
            SYNC: self._sync,
            READ_REG: self._read_reg,
            WRITE_REG: self._write_reg,
            MEM_BEGIN: lambda data: self._answer(MEM_BEGIN),
            MEM_DATA: lambda data: self._answer(MEM_DATA),
            MEM_END: self._mem_end,
            FLASH_BEGIN: self._flash_begin,
            FLASH_DATA: self._flash_data,
            FLASH_END: self._flash_end,
            DEFL_BEGIN: self._defl_begin,
            DEFL_DATA: self._defl_data,
            DEFL_END: lambda data: self._answer(DEFL_END),
            MD5: self._md5,
            CHANGE_BAUDRATE: self._change_baud,
            SPI_ATTACH: lambda data: self._answer(SPI_ATTACH),
            SPI_SET_PARAMS: lambda data: self._answer(SPI_SET_PARAMS),
            READ_FLASH: self._read_flash,
        }
        if self.chip.security_info:
            table[SECURITY_INFO] = self._security_info
        return table

    def _sync(self, data: bytes) -> None:
        assert data == b"\x07\x07\x12\x20" + 32 * b"\x55"
        for _ in range(8):
            self._answer(SYNC, value=0x20120707)

    def _security_info(self, data: bytes) -> None:
        flags = 4 if self.faults.secure else 0  # bit 2: secure download mode
        info = struct.pack("<IB7s", flags, 0, bytes(7))
        if self.chip.chip_id is not None:
            info += struct.pack("<II", self.chip.chip_id, 0)
        self._answer(SECURITY_INFO, data=info)

    def _registers(self) -> dict[int, int]:
        """Where each chip has its MAC (facts of esptool's targets; ESP8266 in OTP, the others in eFuse)."""
        m = self.mac
        low, high = int.from_bytes(m[2:], "big"), int.from_bytes(m[:2], "big")
        if self.chip is ESP8266:
            return {
                0x3FF00050: m[5] << 24,
                0x3FF00054: m[3] << 8 | m[4],
                0x3FF0005C: int.from_bytes(m[:3], "big"),
            }
        if self.chip is ESP32:
            encrypted = 1 << 20 if self.faults.secure else 0  # FLASH_CRYPT_CNT, eFuse word 0
            return {0x3FF5A000: encrypted, 0x3FF5A004: low, 0x3FF5A008: high}
        assert self.chip.mac_at is not None
        return {self.chip.mac_at: low, self.chip.mac_at + 4: high}

    def _read_reg(self, data: bytes) -> None:
        (at,) = struct.unpack("<I", data)
        known = {0x40001000: self.chip.magic, **self._registers()}
        self._answer(READ_REG, value=known.get(at, self._spi.get(at, 0)))

    def _write_reg(self, data: bytes) -> None:
        for start in range(0, len(data), 16):
            at, value, mask, _ = struct.unpack("<IIII", data[start : start + 16])
            self._spi[at] = self._spi.get(at, 0) & ~mask | value & mask
            if at == self.chip.spi_base and value & 1 << 18:  # SPI_CMD_USR: run what is set up
                self._flash_command(self._spi.get(self.chip.spi_base + self.chip.usr2, 0) & 0xFF)
        self._answer(WRITE_REG)

    def _flash_command(self, command: int) -> None:
        """Read id (JEDEC: maker, kind, log2 of the size) and the first word of SFDP (JESD216)."""
        size_code = len(self.flash).bit_length() - 1
        answers = {0x9F: 0xEF | 0x40 << 8 | size_code << 16, 0x5A: int.from_bytes(b"SFDP", "little")}
        self._spi[self.chip.spi_base + self.chip.w0] = answers.get(command, 0)
        self._spi[self.chip.spi_base] = 0

    def _mem_end(self, data: bytes) -> None:
        stay, _ = struct.unpack("<II", data)
        self._answer(MEM_END)
        if not stay:
            self.stub = True
            self._send(b"OHAI")

    def _change_baud(self, data: bytes) -> None:
        self.baud_asked.append(struct.unpack("<I", data[:4])[0])
        self._answer(CHANGE_BAUDRATE)

    # ---------------------------------------------------------------- flash
    def _erase(self, start: int, size: int) -> None:
        first, last = start // SECTOR * SECTOR, -(-(start + size) // SECTOR) * SECTOR
        self.flash[first:last] = b"\xff" * (last - first)

    def _program(self, data: bytes) -> None:
        for offset, byte in enumerate(data):
            self.flash[self._at + offset] &= byte
        stuck = self.faults.stuck_bit_at
        if stuck is not None and self._at <= stuck < self._at + len(data):
            self.flash[stuck] &= 0xFE
        self._at += len(data)

    def _flash_begin(self, data: bytes) -> None:
        size, _, _, self._at = struct.unpack("<IIII", data[:16])
        self._erase(self._at, size)
        self._answer(FLASH_BEGIN)

    def _flash_data(self, data: bytes) -> None:
        self._program(data[16:])
        self._answer(FLASH_DATA)

    def _flash_end(self, data: bytes) -> None:
        """Without `stay` a ROM starts the program, and a stub goes back to its ROM (esptool's `soft_reset`)."""
        (stay,) = struct.unpack("<I", data)
        self._answer(FLASH_END)
        if stay == 0:
            self.starts += not self.stub
            self.stub = False

    def _defl_begin(self, data: bytes) -> None:
        size, _, _, self._at = struct.unpack("<IIII", data[:16])
        self._erase(self._at, size)
        self._inflating = zlib.decompressobj()
        self._answer(DEFL_BEGIN)

    def _defl_data(self, data: bytes) -> None:
        assert self._inflating is not None
        self._program(self._inflating.decompress(data[16:]))
        self._answer(DEFL_DATA)

    def _md5(self, data: bytes) -> None:
        at, size, _, _ = struct.unpack("<IIII", data)
        digest = hashlib.md5(self.flash[at : at + size])
        self._answer(MD5, data=digest.digest() if self.stub else digest.hexdigest().encode())

    def _read_flash(self, data: bytes) -> None:
        at, size, block, _ = struct.unpack("<IIII", data)
        found = bytearray(self.flash[at : at + size])
        lie = self.faults.lies_of
        if lie is not None and at <= lie < at + size:
            found[lie - at] ^= 1
        self._answer(READ_FLASH)
        self._sending = [bytes(found[n : n + block]) for n in range(0, size, block)]
        self._sending.append(hashlib.md5(found).digest())
        self._awaits_ack = True
        self._send(self._sending.pop(0))

    def _acknowledged(self, frame: bytes) -> None:
        assert len(frame) == 4
        self._send(self._sending.pop(0))
        self._awaits_ack = len(self._sending) > 0


def _checksum(data: bytes) -> int:
    """XOR of all bytes from 0xEF."""
    state = 0xEF
    for byte in data:
        state ^= byte
    return state
