"""Published vectors of AES-256-GCM and HKDF-SHA256, from the PyPI package cryptography-vectors."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

import cryptography_vectors

from tests.firmware.firmware_trust import Word

VECTORS = Path(cryptography_vectors.__file__).parent
SEALED_BYTES = 128
"""At a time, of the ports (kSealedBytes in core/limits.h)."""


@cache
def gcm_vectors() -> tuple[tuple[tuple[Word, ...], str], ...]:
    """NIST CAVP, gcmDecrypt256: lines for trust_tool with IVs of 96 and tags of 128 bits, and what it must answer."""
    found: list[tuple[tuple[Word, ...], str]] = []
    text = (VECTORS / "ciphers/AES/GCM/gcmDecrypt256.rsp").read_text(encoding="ascii")
    for section in text.split("[Keylen = 256]")[1:]:
        if "[IVlen = 96]" not in section or "[Taglen = 128]" not in section:
            continue
        for block in section.split("\n\n")[1:]:
            fields = dict(re.findall(r"^(\w+) = ?(.*)$", block, re.M))
            if "Key" not in fields or len(fields["CT"]) // 2 > SEALED_BYTES:
                continue
            words: list[Word] = [bytes.fromhex(fields[name]) for name in ("Key", "IV", "AAD", "CT", "Tag")]
            found.append((("open", *words), fields.get("PT", "refused")))
    assert "FAIL" in text
    return tuple(found)


@cache
def hkdf_vectors() -> tuple[tuple[tuple[Word, ...], str], ...]:
    """RFC 5869 appendix A, those with SHA-256."""
    found: list[tuple[tuple[Word, ...], str]] = []
    for block in re.split(r"^COUNT", (VECTORS / "KDF/rfc-5869-HKDF-SHA256.txt").read_text(), flags=re.M)[1:]:
        fields = dict(re.findall(r"^(\w+) += ?([0-9a-f]*)$", block, re.M))
        words: list[Word] = [bytes.fromhex(fields[name]) for name in ("IKM", "salt", "info")]
        found.append((("hkdf", *words, int(fields["L"]).to_bytes(2, "big")), fields["OKM"]))
    return tuple(found)
