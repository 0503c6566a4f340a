"""The control part of the firmware's core: its C++ tests, compiled with the sanitizers and run here."""

from __future__ import annotations

import json
import re
import subprocess
import zlib
from functools import cache
from pathlib import Path

import pytest
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from tests.firmware.firmware_build import (
    CORE,
    CRYPTO,
    ROOT,
    SLOTS,
    compile_and_check,
    compile_object,
    compile_program,
    core_sources,
    run_checks,
    run_program,
)

TESTS = "tests/firmware"


def test_node_block_is_checked_and_the_checksum_is_that_of_zlib() -> None:
    texts = ["a", "tank", "the quick brown fox", "x" * 1020]
    sources = [f"{TESTS}/node_block_check_test.cpp", *core_sources("node_block_check", "crc32")]
    output = compile_and_check(sources, texts)
    wanted = [f"{zlib.crc32(text.encode()):08x}" for text in texts]
    assert [line.split()[1] for line in output.splitlines() if line.startswith("crc ")] == wanted


def test_control_of_probes_level_and_pump() -> None:
    core = core_sources("control", "probe", "pump", "run", "tank", "crc32")
    compile_and_check([f"{TESTS}/control_test.cpp", *core])


def test_http_reader() -> None:
    compile_and_check([f"{TESTS}/http_test.cpp", *core_sources("http", "text")])


@cache
def _documents() -> Path:
    core = core_sources(
        "state_doc",
        "metrics",
        "node_view",
        "text",
        "tank",
        "probe",
        "pump",
        "run",
        "credentials",
        "long_answer",
    )
    return compile_program([f"{TESTS}/documents_test.cpp", CRYPTO, *core, *SLOTS])


def test_documents_in_pieces_and_as_a_whole() -> None:
    run_checks(_documents())


def test_state_document_says_what_the_interface_page_says() -> None:
    """Keys, their order and their values, read with Python's json; the keys of each table of docs/node-interface.md."""
    state = json.loads(run_program(_documents(), ["state", "sample"]))
    page = (ROOT / "docs" / "node-interface.md").read_text(encoding="utf-8")
    table = page.split("## 4.")[1].split("## 5.")[0]
    rows = [
        re.findall(r"`([a-z0-9_]+)`", line.split("|")[1])
        for line in table.splitlines()
        if line.startswith("| `")
    ]
    assert sorted(state) == sorted(key for row in rows for key in row)
    assert (state["node"], state["site"], state["board"]) == ("upper-barn", "home-farm", "esp32-devkit")
    assert state["mac"] == "24:6f:28:00:0a:ff"
    assert state["class"] == "00112233-4455-6677-8899-aabbccddeeff"
    assert (state["image"], state["older_image"], state["last_image"]) == ("11" * 32, "22" * 32, "33" * 32)
    assert (state["phase"], state["trial_left_s"], state["last_reason"]) == (
        "on-trial",
        121,
        "no-healthy-boot",
    )
    assert (state["sequence"], state["floor"], state["boots"], state["reset"]) == (8, 7, 17, "watchdog")
    assert (state["uptime_s"], state["free_bytes"], state["rssi_dbm"], state["faults"]) == (
        725,
        38000,
        -67,
        [],
    )
    assert (state["brown_outs"], state["largest_block"]) == (3, 21000)
    assert state["network"] == {
        "phase": "on-trial",
        "on": "new",
        "trial_left_s": 60,
        "bssid": "02:ab:00:00:0c:ff",
        "channel": 11,
    }
    assert re.fullmatch(r"[0-9a-f]{8}", state["block_crc"])
    header, sump = state["tanks"]
    assert header["marks"] == [
        {"name": "empty", "height_mm": 200, "state": "wet"},
        {"name": "half", "height_mm": 1000, "state": "wet"},
        {"name": "full", "height_mm": 1850, "state": "dry"},
    ]
    assert (header["name"], header["level"], header["fault"]) == ("header", 2, "none")
    assert header["pump"] == {"does": "fill", "relay": "on", "why": "between", "run_s": 11, "starts": 2}
    assert sump["pump"] == {"does": "drain", "relay": "off", "why": "power-up-hold", "run_s": 0, "starts": 2}


def test_state_document_of_a_bad_block_is_still_json() -> None:
    state = json.loads(run_program(_documents(), ["state", "bad"]))
    assert (state["node"], state["faults"], state["tanks"]) == ("", ["bad-block", "no-record"], [])
    assert state["image"] == "0" * 64
    assert (state["largest_block"], state["network"]["bssid"], state["network"]["channel"]) == (None,) * 3
    largest = json.loads(run_program(_documents(), ["state", "largest"]))
    assert largest["faults"] == [
        "no-record",
        "no-key",
        "no-way-back",
        "flash-failed",
        "no-run-record",
    ]


@pytest.mark.parametrize("which", ["sample", "largest", "bad"])
def test_metrics_page_is_openmetrics(which: str) -> None:
    """The strict OpenMetrics parser of prometheus_client is the other party."""
    text = run_program(_documents(), ["metrics", which])
    assert text.endswith("\n# EOF\n")
    families = {family.name: family for family in text_string_to_metric_families(text)}
    assert all(family.documentation for family in families.values())
    assert families["tanknode_boots"].type == "counter"
    if which == "sample":
        wet = {(s.labels["tank"], s.labels["mark"]): s.value for s in families["tanknode_mark_wet"].samples}
        assert wet[("header", "half")] == 1
        assert wet[("header", "full")] == 0
        assert {s.labels["tank"]: s.value for s in families["tanknode_level_marks"].samples} == {
            "header": 2,
            "sump": 2,
        }
        runs = {s.labels["tank"]: s.value for s in families["tanknode_pump_run_seconds"].samples}
        assert runs == {"header": 76.75, "sump": 65.25}
        phases = {s.labels["tanknode_phase"]: s.value for s in families["tanknode_phase"].samples}
        assert phases == {"kept": 0, "on-trial": 1, "put-back": 0}
        networks = families["tanknode_network_phase"].samples
        assert {s.labels["tanknode_network_phase"]: s.value for s in networks} == phases
    assert ("tanknode_mark_wet" in families) == (which != "bad")


def test_whole_node() -> None:
    compile_and_check([f"{TESTS}/node_test.cpp", CRYPTO, *core_sources()])


def test_each_digest_that_is_begun_is_ended() -> None:
    """Also where the flash fails, the body ends early or its connection drops."""
    compile_and_check([f"{TESTS}/digest_count_test.cpp", CRYPTO, *core_sources()])


@pytest.mark.parametrize("connections", [4, 2])
def test_places_rooms_time_and_nonces(connections: int) -> None:
    rooms = min(connections - 1, 2)
    defines = [f"TN_CONNECTIONS={connections}", f"TN_ANSWER_ROOMS={rooms}"]
    compile_and_check([f"{TESTS}/serve_test.cpp", CRYPTO, *core_sources()], defines=defines)


def test_every_metric_is_documented() -> None:
    text = run_program(_documents(), ["metrics", "sample"])
    made = set(re.findall(r"^(tanknode_[a-z_]+)", text, re.M))
    page = (ROOT / "docs" / "node-interface.md").read_text(encoding="utf-8").split("## 9.")[1]
    assert made == set(re.findall(r"`(tanknode_[a-z_]+)`", page))


def test_core_needs_no_library_and_little_stack() -> None:
    """Size-optimised as for a chip: no heap, no standard C++ library, nothing of the host; no frame of over 1 KiB (the
    stack of an ESP8266 sketch is 4 KiB: cores/esp8266/cont.h of its Arduino core, from memory)."""
    flags = ["-std=c++17", "-Os", "-fno-exceptions", "-fno-rtti", "-Wframe-larger-than=1024"]
    objects = [str(compile_object(path, flags=flags)) for path in sorted((ROOT / CORE).glob("*.cpp"))]
    listing = subprocess.run(["nm", *objects], capture_output=True, text=True, check=True).stdout
    kinds = [line.split()[-2:] for line in listing.splitlines() if len(line.split()) in (2, 3)]
    wanted = {name for kind, name in kinds if kind == "U"} - {name for kind, name in kinds if kind != "U"}
    assert wanted <= {
        "memchr",
        "memcmp",
        "memcpy",
        "memmove",
        "memset",
        "strchr",
        "strcmp",
        "strlen",
        "strncmp",
    }


def test_core_includes_c_headers_alone() -> None:
    """The cross compilers of Debian bring no standard C++ library."""
    for path in sorted((ROOT / CORE).iterdir()):
        found = re.findall(r"#include <([^>]+)>", path.read_text(encoding="utf-8"))
        assert set(found) <= {"stddef.h", "stdint.h", "string.h"}, path.name
