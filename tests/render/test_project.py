"""Rendered projects: complete, the same each time, and safe whatever the inventory holds."""

from __future__ import annotations

import ast
import configparser
import csv
import posixpath
import re
import subprocess
import sys
from pathlib import Path
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.boards.board import board_ids, load_board
from fleet.errors import RenderError
from fleet.keys.trust import Trust
from fleet.render.escape import cpp_string, plain
from fleet.render.firmware_class import FirmwareClass, vendor_id
from fleet.render.project import BLOCK_SOURCE, render_board_settings, render_boot_loader, render_node
from fleet.resources import load_templates
from tests.sample_fleet import sample_inventory, small_templates

ROOT = Path(__file__).resolve().parent.parent.parent
TRUST = Trust(b"\x04" + bytes(range(64)))


def _project(
    node: str = "hill-1", *, target="host", templates=None, defect="", release="1.2.0"
) -> dict[str, bytes]:
    inventory = sample_inventory()
    this = inventory.node(node)
    board = load_board(this.board)
    return render_node(
        inventory,
        this,
        board,
        TRUST,
        target,
        release,
        templates=templates or small_templates(),
        defect=defect,
    )


def test_project_has_all_that_platformio_needs() -> None:
    project = _project(templates=load_templates())
    core = {path.name for path in (ROOT / "templates" / "firmware" / "core").iterdir()}
    assert {path.removeprefix("src/core/") for path in project if path.startswith("src/core/")} == core
    assert {"platformio.ini", "README.md", BLOCK_SOURCE, "src/ports/host/main.cpp"} <= set(project)
    assert "platforms/tankhost/builder/main.py" in project
    assert "src/ports/host/boot_main.cpp" not in project
    ini = configparser.ConfigParser(interpolation=None)
    ini.read_string(project["platformio.ini"].decode())
    assert ini["env:node"]["platform"] == "tankhost"
    assert ini["platformio"]["platforms_dir"] == "platforms"


def _missing_headers(project: dict[str, bytes]) -> set[str]:
    """Quoted includes that lie neither beside the source nor under `src`, where a compiler looks for them."""
    missing = set()
    for path, data in project.items():
        for name in (
            re.findall(r'^#include "([^"]+)"', data.decode(), re.M) if path.startswith("src/") else ()
        ):
            places = {posixpath.normpath(f"{posixpath.dirname(path)}/{name}"), f"src/{name}"}
            if not places & set(project):
                missing.add(f"{path}: {name}")
    return missing


def test_host_projects_hold_each_header_that_their_sources_include() -> None:
    """Those of the boards: below. Without what the port shares with another, the crypto's would be missing."""
    templates = load_templates()
    projects = [_project(templates=templates), render_boot_loader(templates=templates)]
    assert [_missing_headers(project) for project in projects] == [set(), set()]
    less = {path: data for path, data in templates.items() if not path.startswith("firmware/ports/bearssl/")}
    assert _missing_headers(_project(templates=less)) == {
        "src/ports/host/crypto_bearssl.cpp: ../bearssl/glue.h"
    }


def test_same_input_gives_the_same_bytes_in_another_process() -> None:
    """Another process has another seed for the order of sets: nothing may depend on it."""
    script = (
        "import hashlib; from tests.render.test_project import _project\n"
        "p = _project(); print(list(p) == sorted(p), hashlib.sha256(repr(p).encode()).hexdigest())"
    )
    seen = set()
    for seed in ("1", "2"):
        done = subprocess.run(
            [sys.executable, "-c", script],
            capture_output=True,
            text=True,
            check=True,
            cwd=ROOT,
            env={"PYTHONHASHSEED": seed, "PATH": "/usr/bin:/bin"},
        )
        seen.add(done.stdout)
    assert len(seen) == 1
    assert seen.pop().startswith("True ")


def test_only_the_node_block_and_the_readme_differ_within_a_class() -> None:
    one, other = _project("yard-1"), _project("yard-2")
    assert {path for path in one if one[path] != other[path]} == {BLOCK_SOURCE, "README.md"}


def test_defect_is_one_define_and_the_release_text() -> None:
    sound, broken = _project(), _project(defect="probes-inverted")
    differ = {path for path in sound if sound[path] != broken[path]}
    assert differ == {"platformio.ini", BLOCK_SOURCE, "README.md"}
    assert "-DTN_BENCH_DEFECT=3" in broken["platformio.ini"].decode()
    assert "TN_BENCH_DEFECT" not in sound["platformio.ini"].decode()
    assert b'"1.2.0+probes-inverted"' in broken[BLOCK_SOURCE]


def test_boot_loader_has_its_own_main() -> None:
    boot = render_boot_loader(templates=small_templates())
    assert "src/ports/host/boot_main.cpp" in boot
    assert "src/ports/host/main.cpp" not in boot
    assert BLOCK_SOURCE not in boot


def test_board_without_a_port_is_refused_and_says_which() -> None:
    with pytest.raises(RenderError, match=r"d1-mini.*esp8266") as caught:
        _project(target="board")
    assert caught.value.code.code == "RND101"


PROBE_PINS = {
    "esp8266": ("GPIO14", "GPIO12"), "esp32": ("GPIO32", "GPIO33"), "esp32-c3": ("GPIO0", "GPIO1"),
    "esp32-s2": ("GPIO1", "GPIO2"), "esp32-s3": ("GPIO4", "GPIO5"),
}  # fmt: skip


def render_board(board_id: str) -> dict[str, bytes]:
    """The project of a node on that board, with probes on pins that suit it."""
    whole = sample_inventory()
    trough = whole.tank("trough")
    probes = dict(
        zip((mark.name for mark in trough.marks), PROBE_PINS[load_board(board_id).chip], strict=True)
    )
    serves = [{"tank": "trough", "probes": probes}]
    document = {"name": "one", "board": board_id, "serves": serves}
    node = type(whole.nodes[0]).model_validate(document)
    templates = load_templates()
    return render_node(
        whole, node, load_board(board_id), TRUST, "board", "1.2.0", templates=templates, defect=""
    )


@pytest.mark.parametrize("board_id", board_ids())
def test_every_board_renders_a_whole_project_for_its_pinned_platform(board_id: str) -> None:
    """Its port, what that shares and no other, each header, the whole core, C++17 in place of the platform's own
    gnu++11, and warnings on."""
    board = load_board(board_id)
    project = render_board(board_id)
    port = "esp8266" if board.chip == "esp8266" else "esp32"
    folders = {path.split("/")[2] for path in project if path.startswith("src/ports/")}
    core = {path.name for path in (ROOT / "templates" / "firmware" / "core").iterdir()}
    assert folders == {port, *(["bearssl"] if port == "esp8266" else [])}
    assert not _missing_headers(project)
    assert {path.removeprefix("src/core/") for path in project if path.startswith("src/core/")} == core
    assert BLOCK_SOURCE in project
    ini = configparser.ConfigParser(interpolation=None)
    ini.read_string(project["platformio.ini"].decode())
    env = ini["env:node"]
    assert re.fullmatch(r"platformio/espressif(8266|32)@\d+\.\d+\.\d+", env["platform"])
    assert env["platform_packages"].split() == list(board.packages)
    assert (env["platform"], env["board"]) == (board.platform, board.platformio_board)
    assert env["build_unflags"] == "-std=gnu++11"
    assert "-std=gnu++17" in env["build_flags"].split()
    assert env["build_flags"].count("-ffile-prefix-map=") == 2
    assert {"-Wall", "-Wextra"} <= set(env["build_src_flags"].split())
    assert ("partitions.csv" in project) is (port == "esp32")
    assert render_board_settings(board, templates=load_templates()) == project["platformio.ini"]


def test_esp8266_project_pins_platform_board_and_linker_script() -> None:
    project = _project(
        target="board", templates={**small_templates(), "firmware/ports/esp8266/main.cpp": b""}
    )
    ini = configparser.ConfigParser(interpolation=None)
    ini.read_string(project["platformio.ini"].decode())
    node = ini["env:node"]
    assert re.fullmatch(r"platformio/espressif8266@\d+\.\d+\.\d+", node["platform"])
    assert (node["board"], node["framework"]) == ("d1_mini", "arduino")
    assert node["board_build.ldscript"] == "eagle.flash.4m.ld"
    assert "partitions.csv" not in project


def test_esp32_partitions_hold_two_equal_slots_inside_the_flash() -> None:
    """ESP-IDF, components/partition_table/gen_esp32part.py: applications are aligned to 0x10000, data to
    0x1000."""
    project = _project(
        "yard-1", target="board", templates={**small_templates(), "firmware/ports/esp32/main.cpp": b""}
    )
    lines = [line for line in project["partitions.csv"].decode().splitlines() if not line.startswith("#")]
    rows = [[cell.strip() for cell in row] for row in csv.reader(lines)]
    ends = 0x8000 + 0x1000
    for name, kind, _, offset, size in rows:
        at, room = int(offset, 16), int(size, 16)
        assert at >= ends, f"{name} overlaps"
        assert at % (0x10000 if kind == "app" else 0x1000) == 0
        ends = at + room
    board = load_board("esp32-devkit")
    slots = [int(row[4], 16) for row in rows if row[1] == "app"]
    assert slots == [board.slot_bytes] * 2
    assert ends <= board.flash_bytes
    assert rows[1][1:3] == ["data", "ota"]
    assert int(rows[1][4], 16) == 0x2000


def _octal_free(literal: str) -> bytes:
    """A C++ literal read by another reader: Python's own, whose octal escapes are C's."""
    return ast.literal_eval("b" + literal.replace("\\?", "?"))


@given(st.text())
def test_cpp_string_reads_back_as_the_same_bytes(text) -> None:
    literal = cpp_string(text)
    assert literal.isascii()
    assert "\n" not in literal
    assert _octal_free(literal) == text.encode("utf-8")


def test_digit_behind_an_escape_does_not_join_it() -> None:
    assert cpp_string("\x011") == '"\\0011"'


@pytest.mark.parametrize("text", ["a\nb", "a;b", "a[b", "a`b", "a|b", "${sysenv.X}", "<b>", "ü", "a\0"])
def test_plain_refuses_what_could_mean_something(text) -> None:
    with pytest.raises(RenderError):
        plain(text)


@pytest.mark.parametrize(
    "template",
    [
        b"{{ block.node }}",
        b"{{ nothing_of_that_name | plain }}",
        b"{{ block.nothing | plain }}",
        b"{% if %}",
        b"{{ block.vendor_id }}",
    ],
)
def test_template_without_escaper_or_with_an_unknown_name_stops_the_rendering(template) -> None:
    with pytest.raises(RenderError) as caught:
        _project(templates={**small_templates(), "node/README.md.j2": template})
    assert caught.value.code.code == "RND102"


def test_ids_are_uuids_of_version_5() -> None:
    """Vendor: UUID5(DNS, "vendor-a.example") = 512161d1-... (computed with the uuid module, another project's
    value)."""
    vendor = vendor_id("vendor-a.example")
    assert vendor == UUID("512161d1-7449-54a7-8f30-9c87c12bd295")
    one = FirmwareClass("d1-mini", "copy-in-place", "host")
    assert one.name == "d1-mini/base/copy-in-place/host"
    assert one.id(vendor).version == 5
    others = {
        FirmwareClass("d1-mini", "copy-in-place", "board"),
        FirmwareClass("nodemcu-v2", "copy-in-place", "host"),
        FirmwareClass("d1-mini", "copy-in-place", "host", ("log",)),
    }
    assert len({one.id(vendor), one.id(vendor_id("b.example")), *(other.id(vendor) for other in others)}) == 5
