"""Writing a node block into the image of its class (design 7), and reading it back."""

from __future__ import annotations

from io import BytesIO

from elftools.common.exceptions import ELFError
from elftools.elf.elffile import ELFFile

from fleet.build.codes import NO_PLACE_TO_STAMP
from fleet.errors import BuildError
from fleet.limits import NODE_BLOCK_BYTES

BLOCK_SECTION = ".tank_node_block"


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


def stamp(image: bytes, offset: int, block: bytes) -> bytes:
    """The image with that block at that place."""
    if len(block) != NODE_BLOCK_BYTES or offset < 0 or offset + NODE_BLOCK_BYTES > len(image):
        raise ValueError("the block does not fit the image")
    return b"".join((image[:offset], block, image[offset + NODE_BLOCK_BYTES :]))


def block_in(image: bytes) -> bytes:
    """The node block of an image of the host."""
    offset = block_offset(image)
    return image[offset : offset + NODE_BLOCK_BYTES]


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
