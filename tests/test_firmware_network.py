"""Network credentials over the network: the sealing against published vectors, the node in a made-up world, power cuts,
and real node processes with networks that come and go.
"""

from __future__ import annotations

import pytest
from firmware_build import FIRMWARE, ROOT, compile_and_run
from firmware_trust import ask, mbedtls_tool
from sealing_vectors import gcm_vectors, hkdf_vectors

CORE = sorted(path.relative_to(ROOT) for path in (FIRMWARE / "core").glob("*.cpp"))
CRYPTO = "templates/firmware/ports/host/crypto_bearssl.cpp"


@pytest.mark.parametrize("tool", [None, "mbedtls"])
def test_sealed_data_is_opened_as_nist_published(tool: str | None) -> None:
    lines, answers = zip(*gcm_vectors(), strict=True)
    assert len(lines) >= 375
    assert sum(answer == "refused" for answer in answers) > 50
    assert ask(lines, mbedtls_tool() if tool else None) == list(answers)


@pytest.mark.parametrize("tool", [None, "mbedtls"])
def test_keys_are_derived_as_rfc_5869_published(tool: str | None) -> None:
    lines, answers = zip(*hkdf_vectors(), strict=True)
    assert len(lines) == 3
    assert ask(lines, mbedtls_tool() if tool else None) == list(answers)
    too_long = ("hkdf", b"key", b"", b"", (255 * 32 + 1).to_bytes(2, "big"))
    assert ask([too_long]) == ["refused"]


def test_a_node_in_a_made_up_world() -> None:
    output = compile_and_run(["tests/firmware/network_test.cpp", CRYPTO, *CORE], libs=["bearssl"])
    assert output.endswith(", 0 failed\n"), output
