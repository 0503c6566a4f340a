"""What compiled firmware asks for: memory of the heap, and room in each kind of memory."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from pathlib import Path

from elftools.elf.elffile import ELFFile

HEAP = re.compile(
    r"malloc|calloc|realloc|reallocarray|free|strn?dup|v?asprintf|(aligned_|v)alloc|(posix_)?memalign|_?sbrk"
    r"|_Zn[aw][jmy].*|_Zd[al]Pv.*"
)
"""Names of the C library, and of C++'s operators new and delete: plain, sized, aligned, nothrow (Itanium C++ ABI)."""
SIZES = ("code_bytes", "constant_bytes", "data_bytes", "bss_bytes")
_WRITE, _ALLOC, _EXECUTE = 1, 2, 4  # sh_flags


def heap_symbols(path: Path) -> set[str]:
    """Names in an object's symbol table that take memory from the heap or give it back."""
    with path.open("rb") as file:
        table = ELFFile(file).get_section_by_name(".symtab")
        assert table is not None, f"{path} has no symbols"
        return {symbol.name for symbol in table.iter_symbols() if HEAP.fullmatch(symbol.name)}


def sizes(paths: Iterable[Path]) -> dict[str, int]:
    """Bytes of SIZES in these objects together."""
    found = dict.fromkeys(SIZES, 0)
    for path in paths:
        with path.open("rb") as file:
            for section in ELFFile(file).iter_sections():
                flags = section["sh_flags"]
                if not flags & _ALLOC:
                    continue
                if section["sh_type"] == "SHT_NOBITS":
                    kind = "bss_bytes"
                elif flags & _WRITE:
                    kind = "data_bytes"
                else:
                    kind = "code_bytes" if flags & _EXECUTE else "constant_bytes"
                found[kind] += section["sh_size"]
    return found


def over(figures: Mapping[str, int], budget: Mapping[str, int]) -> dict[str, tuple[int, int]]:
    """The figures above their limit, with it; a figure of the budget that was not measured is a KeyError."""
    return {name: (figures[name], limit) for name, limit in budget.items() if figures[name] > limit}
