"""Network credentials over the network: the sealing against published vectors, the node in a made-up world, power cuts,
and real node processes whose networks come and go.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from test_firmware_power_cuts import FAST

from fleet.errors import LinkError, NodeRefused
from fleet.keys.networks import Network
from fleet.link.state import NetworkState, Phase
from tests.firmware.firmware_build import (
    CRYPTO,
    broken,
    compile_program,
    core_sources,
    notices,
    run_checks,
    with_instead,
)
from tests.firmware.firmware_host import EMPTY, FULL, HALF, RELAY, HostNode, image_of, node_block
from tests.firmware.firmware_trust import ask, mbedtls_tool
from tests.firmware.sealing_vectors import gcm_vectors, hkdf_vectors

OLD, NEW = Network("barn-wifi", "the old passphrase"), Network("yard-wifi", "the new passphrase")
WRONG = Network("yard-wifi", "mistyped passphrase")


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


def _made_up_world(instead: Path | None = None) -> Path:
    """The node's test, with that file instead of the core's of its name."""
    return compile_program(
        ["tests/firmware/network_test.cpp", CRYPTO, *with_instead(instead, core_sources())]
    )


def test_a_node_in_a_made_up_world() -> None:
    run_checks(_made_up_world())


# Cores without the way back, that keep what they never joined, that call for the new network alone, that leave what was
# given up in the other sector, and that take a trial of any time.
MUTANTS = {
    "never over": ("network_trial.cpp", "if (now_ms >= trial->over_ms) return TrialWork::kOver;", ""),
    "no fourth start": (
        "credentials.cpp",
        "++record.starts >= kNetworkTrialStarts",
        "++record.starts >= 250",
    ),
    "keeps unseen": (
        "requests.cpp",
        "if (!network_trial_joined(network_trial_, Which::kNew, network_was_up_)) return Code::kNotOnTrial;",
        "",
    ),
    "new alone": (
        "network_trial.cpp",
        "trial->calling == Which::kNew ? Which::kKept : Which::kNew",
        "Which::kNew",
    ),
    "leftover": ("credentials.cpp", "  write(&record);\n  return Code::kOk;", "  return Code::kOk;"),
    "any time": ("network_body.cpp", "if (trial_s < kLeastNetworkTrialS) return false;", ""),
}


@pytest.mark.slow
@pytest.mark.parametrize("mutant", MUTANTS)
def test_a_core_that_is_broken_is_noticed(mutant: str, tmp_path: Path) -> None:
    notices(_made_up_world(broken(MUTANTS[mutant], tmp_path)))


def _cut_test(instead: Path | None = None) -> Path:
    """The power-cut test of the credentials, with that file instead of the core's of its name."""
    core = with_instead(instead, core_sources("credentials", "two_sectors"))
    tests = ["tests/firmware/credentials_cut_test.cpp", "tests/firmware/quick_crc32.cpp"]
    return compile_program([*tests, *core], flags=FAST)


def test_a_power_cut_leaves_key_and_network() -> None:
    run_checks(_cut_test(), ["once"])


@pytest.mark.slow
def test_a_power_cut_and_one_at_the_next_start_leave_key_and_network() -> None:
    print(run_checks(_cut_test()))


# A record written over in place, a leftover that no start mends, and one that is left though no power was cut.
CUT_MUTANTS = {
    "in place": (
        "two_sectors.cpp",
        "firm == Firm::kIs ? other_than(*newest) : newest->sector",
        "newest->sector",
    ),
    "leftover": ("credentials.cpp", "} else if (!other_sector_is_clean(record)) {", "} else if (false) {"),
    "one sector": (
        "credentials.cpp",
        "  if (!write(&record)) return Code::kFlashFailed;\n  write",
        "  write",
    ),
}


@pytest.mark.slow
@pytest.mark.parametrize("mutant", CUT_MUTANTS)
def test_credentials_that_a_cut_could_lose_are_noticed(mutant: str, tmp_path: Path) -> None:
    notices(_cut_test(broken(CUT_MUTANTS[mutant], tmp_path)))


# --- real processes


@pytest.fixture
def board(tmp_path: Path) -> Iterator[HostNode]:
    address = f"127.{180 + os.getpid() % 70}.{os.getpid() // 70 % 250}.5"
    node = HostNode(tmp_path, address, speed=40, air=tmp_path / "air")
    _in_the_air(node, OLD)
    node.load(image_of(node_block("1.0.0", "two-slot")), "two-slot", network=OLD)
    node.start()
    node.wait_up()
    yield node
    node.end()
    assert "Sanitizer" not in node.log() and "runtime error" not in node.log(), node.log()


def _in_the_air(node: HostNode, *networks: Network) -> None:
    assert node.air is not None
    lines = "".join(f"{each.ssid}\t{each.passphrase}\n" for each in networks)
    node.air.with_suffix(".new").write_text(lines, encoding="utf-8")
    node.air.with_suffix(".new").replace(node.air)


def _network(node: HostNode) -> NetworkState | None:
    """Its state's word on the network; None while it cannot be reached."""
    try:
        return node.state().network
    except LinkError:
        return None


def _is(node: HostNode, phase: Phase, on: str) -> bool:
    found = _network(node)
    return found is not None and (found.phase, found.on) == (phase, on)


def _in_flash(node: HostNode, network: Network) -> bool:
    return network.passphrase.encode() in (node.folder / "flash.bin").read_bytes()


@pytest.mark.slow
def test_a_node_goes_to_the_new_network_and_keeps_it(board: HostNode) -> None:
    assert _is(board, Phase.KEPT, "kept")
    _in_the_air(board, OLD, NEW)
    assert board.ask(lambda link: link.give_network(NEW, 600)) is Phase.KEPT
    with pytest.raises(NodeRefused, match="not-on-trial"):
        board.ask(lambda link: link.keep_network())
    board.wait_for(lambda: _is(board, Phase.ON_TRIAL, "new"), "it joins the new network")
    _in_the_air(board, NEW)
    board.stop()
    board.start()
    board.wait_for(
        lambda: _is(board, Phase.ON_TRIAL, "new"), "it joins the new network after a power cut, too"
    )
    assert _in_flash(board, OLD)
    board.ask(lambda link: link.keep_network())
    assert _is(board, Phase.KEPT, "kept")
    assert _in_flash(board, NEW)
    assert not _in_flash(board, OLD)
    board.stop()
    board.start()
    board.wait_for(lambda: _is(board, Phase.KEPT, "kept"), "it joins the new network for good")


@pytest.mark.slow
def test_a_mistyped_passphrase_is_put_back_and_the_pump_is_controlled(board: HostNode) -> None:
    _in_the_air(board, OLD, NEW)
    board.wait_for(lambda: board.pins.driven_high(RELAY) is True, "an empty tank is filled")
    board.ask(lambda link: link.give_network(WRONG, 600))
    board.wait_for(lambda: _network(board) is None, "it leaves its network")
    for gpio in (EMPTY, HALF, FULL):
        board.pins.set_input(gpio, high=False)
    board.wait_for(lambda: board.pins.driven_high(RELAY) is False, "a full tank is not")
    for gpio in (EMPTY, HALF, FULL):
        board.pins.set_input(gpio, high=True)
    board.wait_for(lambda: board.pins.driven_high(RELAY) is True, "and an empty one is again")
    board.wait_for(lambda: _is(board, Phase.ON_TRIAL, "kept"), "it falls back to the old one", within_s=45)
    for _ in range(3):
        assert _in_flash(board, WRONG)
        board.stop()
        board.start()
        board.wait_loop()
    board.stop()
    board.start()
    board.wait_for(lambda: _is(board, Phase.PUT_BACK, "kept"), "the fourth start puts back")
    assert not _in_flash(board, WRONG)
    assert not re.search("passphrase", board.log())
