"""Writing a node block into the image of its class (design 7), and reading it back.

On the host the image is the ELF file itself. On a board it is what the platform made of the ELF file: the block is
written into both, at its symbol's place, and the image's checksums are made anew (`fleet.build.esp_image`).
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from io import BytesIO
from typing import Final

from elftools.common.exceptions import ELFError
from elftools.elf.elffile import ELFFile
from elftools.elf.sections import SymbolTableSection

from fleet.build.codes import NO_PLACE_TO_STAMP
from fleet.build.esp_image import check_image, with_bytes_at
from fleet.errors import BuildError
from fleet.limits import NODE_BLOCK_BYTES
from fleet.render.node_block import BLOCK_HEAD, block_crc

BLOCK_SECTION = ".tank_node_block"
BLOCK_SYMBOL: Final = "tn_node_block"


def block_offset(elf: bytes) -> int:
    """Where in an ELF file the node block lies. BuildError (BLD104) unless there is one section of the right
    size."""
    try:
        sections = [s for s in ELFFile(BytesIO(elf)).iter_sections() if s.name == BLOCK_SECTION]
    except (ELFError, ValueError) as error:
        raise BuildError(NO_PLACE_TO_STAMP, f"not an ELF file: {error}") from error
    if (
        len(sections) != 1
        or sections[0]["sh_type"] != "SHT_PROGBITS"
        or sections[0]["sh_size"] != NODE_BLOCK_BYTES
    ):
        raise BuildError(
            NO_PLACE_TO_STAMP, f"the section {BLOCK_SECTION} is missing or not of {NODE_BLOCK_BYTES} bytes"
        )
    return int(sections[0]["sh_offset"])


@dataclass(frozen=True, slots=True)
class SymbolPlace:
    """Where the node block lies: its address on the chip, and its offset in the ELF file."""

    address: int
    offset: int


def symbol_place(elf: bytes) -> SymbolPlace:
    """Of the node block of a board's ELF file. BuildError (BLD104) unless there is one symbol of the right size."""
    try:
        file = ELFFile(BytesIO(elf))
        tables = [s for s in file.iter_sections() if isinstance(s, SymbolTableSection)]
        found = [one for table in tables for one in table.get_symbol_by_name(BLOCK_SYMBOL) or ()]
        if len(found) == 1 and found[0]["st_size"] == NODE_BLOCK_BYTES:
            section = file.get_section(found[0]["st_shndx"])
            address = int(found[0]["st_value"])
            return SymbolPlace(address, int(section["sh_offset"]) + address - int(section["sh_addr"]))
    except (ELFError, ValueError, TypeError) as error:
        raise BuildError(NO_PLACE_TO_STAMP, f"not an ELF file: {error}") from error
    raise BuildError(
        NO_PLACE_TO_STAMP, f"the symbol {BLOCK_SYMBOL} is missing or not of {NODE_BLOCK_BYTES} bytes"
    )


@dataclass(frozen=True, slots=True)
class BoardStamp:
    """One class of a board: its ELF file, the image that the platform made of it, and where the block lies."""

    chip: str
    elf: bytes
    image: bytes
    place: SymbolPlace

    @classmethod
    def of(cls, chip: str, elf: bytes, image: bytes, slot_bytes: int) -> BoardStamp:
        """Check the image first. BuildError: BLD104, BLD106, BLD108."""
        check_image(image, chip, slot_bytes)
        place = symbol_place(elf)
        return cls(chip, elf, image, place)

    def stamped(self, block: bytes) -> bytes:
        """The image of the node with that block."""
        elf = stamp(self.elf, self.place.offset, block)
        return with_bytes_at(self.image, self.chip, self.place.address, block, hashlib.sha256(elf).digest())


@dataclass(frozen=True, slots=True)
class HostStamp:
    """One class of the host: its image, and where the block lies in it."""

    image: bytes
    offset: int

    @classmethod
    def of(cls, image: bytes) -> HostStamp:
        """BuildError (BLD104) if the image has no place for a block."""
        return cls(image, block_offset(image))

    def stamped(self, block: bytes) -> bytes:
        """The image of the node with that block."""
        return stamp(self.image, self.offset, block)


def stamp(image: bytes, offset: int, block: bytes) -> bytes:
    """The image with that block at that place."""
    if len(block) != NODE_BLOCK_BYTES or offset < 0 or offset + NODE_BLOCK_BYTES > len(image):
        raise ValueError("the block does not fit the image")
    return b"".join((image[:offset], block, image[offset + NODE_BLOCK_BYTES :]))


def block_in(image: bytes) -> bytes:
    """The node block of an image of the host."""
    offset = block_offset(image)
    return image[offset : offset + NODE_BLOCK_BYTES]


def block_with(image: bytes, crc32: int) -> bytes:
    """The node block with that checksum of any image, found by its head. LookupError if the image has none."""
    at = image.find(BLOCK_HEAD)
    while at >= 0:
        block = image[at : at + NODE_BLOCK_BYTES]
        if len(block) == NODE_BLOCK_BYTES and block_crc(block) == crc32:
            return block
        at = image.find(BLOCK_HEAD, at + 1)
    raise LookupError("no node block with that checksum")


def section_sizes(elf: bytes) -> dict[str, int]:
    """Bytes of code and constants, of initialised data, and of zeroed data, as `size` of binutils counts
    them."""
    sizes = {"text_bytes": 0, "data_bytes": 0, "bss_bytes": 0}
    for section in ELFFile(BytesIO(elf)).iter_sections():
        flags = section["sh_flags"]
        if not flags & 0x2:  # SHF_ALLOC
            continue
        if section["sh_type"] == "SHT_NOBITS":
            sizes["bss_bytes"] += section["sh_size"]
        elif flags & 0x1:  # SHF_WRITE
            sizes["data_bytes"] += section["sh_size"]
        else:
            sizes["text_bytes"] += section["sh_size"]
    return sizes
