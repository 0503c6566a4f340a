"""The node block: this side's layout against the firmware's own header, as the compiler lays it out."""

from __future__ import annotations

import shutil
import subprocess
import zlib
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.boards.board import load_board
from fleet.errors import RenderError
from fleet.keys.trust import Trust
from fleet.model.node import Node
from fleet.model.site import NetworkTrait
from fleet.render import node_block
from fleet.render.block_of import block_of, release_text
from fleet.render.node_block import (
    HEAD_FIELDS,
    MARK_FIELDS,
    TANK_FIELDS,
    MarkBlock,
    NodeBlock,
    TankBlock,
    block_crc,
    unpack,
)
from fleet.render.project import BLOCK_SOURCE, render_node
from fleet.resources import load_templates
from tests.render.block_mutations import spans_of
from tests.sample_fleet import sample_inventory

FIRMWARE = Path(__file__).resolve().parent.parent.parent / "templates" / "firmware"
TRUST = Trust(b"\x04" + bytes(range(64)))


def _compiled(tmp_path: Path, source: str, *more: Path) -> bytes:
    """Standard output of a program compiled against the firmware's header."""
    main = tmp_path / "main.cpp"
    main.write_text(source, encoding="utf-8")
    program = tmp_path / "program"
    compiler = shutil.which("g++")
    assert compiler, "install g++"
    flags = ["-std=c++17", "-Wall", "-Wextra", "-Wconversion", "-Werror", "-Wpedantic", f"-I{FIRMWARE}"]
    subprocess.run([compiler, *flags, str(main), *map(str, more), "-o", str(program)], check=True)
    return subprocess.run([str(program)], check=True, capture_output=True).stdout


def _block(node: str = "hill-1") -> NodeBlock:
    inventory = sample_inventory()
    this = inventory.node(node)
    return block_of(inventory, this, load_board(this.board), TRUST, "host", "1.2.0")


def test_every_field_lies_where_the_compiler_puts_it(tmp_path) -> None:
    kinds = {"NodeBlock": HEAD_FIELDS, "TankBlock": TANK_FIELDS, "MarkBlock": MARK_FIELDS}
    lines = [
        f'printf("%zu %zu\\n", offsetof(tn::{kind}, {field}), sizeof(tn::{kind}::{field}));'
        for kind, fields in kinds.items()
        for field in fields
    ]
    ends = 'printf("%zu %zu %zu %zu\\n", offsetof(tn::NodeBlock, tanks), offsetof(tn::NodeBlock, network_lost_s), '
    ends += "offsetof(tn::NodeBlock, feed_pins), offsetof(tn::NodeBlock, crc32));"
    body = "\n".join([*lines, ends])
    out = _compiled(tmp_path, f'#include "core/node_block.h"\n#include <stdio.h>\nint main() {{ {body} }}')
    theirs = [tuple(map(int, line.split())) for line in out.decode().splitlines()]
    ours = [*spans_of(node_block.HEAD), *spans_of(node_block.TANK), *spans_of(node_block.MARK)]
    assert theirs[:-1] == ours
    assert theirs[-1] == (node_block.HEAD.size, node_block.TAIL_AT, node_block.TAIL_AT + 6, 1020)


@pytest.mark.parametrize("node", ["hill-1", "yard-1"])
def test_compiled_source_is_the_packed_block(tmp_path, node) -> None:
    """The rendered initialiser, compiled, is byte for byte what `pack` makes: so stamping equals
    compiling."""
    inventory = sample_inventory()
    _is_compiled_as_packed(tmp_path, inventory.node(node), _block(node))


def _is_compiled_as_packed(tmp_path: Path, this: Node, packed: NodeBlock) -> None:
    inventory = sample_inventory()
    project = render_node(
        inventory, this, load_board(this.board), TRUST, "host", "1.2.0", templates=load_templates()
    )
    source = tmp_path / "node_block.cpp"
    source.write_bytes(project[BLOCK_SOURCE])
    dump = (
        '#include "core/node_block.h"\n#include <stdio.h>\n'
        "int main() { for (size_t i = 0; i < sizeof tn_node_block; ++i)"
        " putchar(reinterpret_cast<const volatile uint8_t *>(&tn_node_block)[i]); }"
    )
    assert _compiled(tmp_path, dump, source) == packed.pack()


def test_a_tank_whose_resistors_a_pin_feeds(tmp_path) -> None:
    """docs/node-interface.md: pull 2, and the feed's GPIO by tank; GPIO15 is D8 on the D1 mini's print."""
    inventory = sample_inventory()
    node = inventory.node("hill-1")
    header, trough = node.serves
    fed = node.model_copy(
        update={"serves": (header, trough.model_copy(update={"pull_up": "external", "pull_up_feed": "D8"}))}
    )
    block = block_of(inventory, fed, load_board(fed.board), TRUST, "host", "1.2.0")
    assert block.feed_pins == bytes([255, 15, 255, 255])
    assert [m.pull for tank in block.tanks for m in tank.marks] == [1, 1, 1, 2, 2]
    assert unpack(block.pack()) == block
    _is_compiled_as_packed(tmp_path, fed, block)
    nowhere = fed.model_copy(update={"serves": (trough.model_copy(update={"pull_up_feed": "D9"}),)})
    with pytest.raises(RenderError, match="D9"):
        block_of(inventory, nowhere, load_board(fed.board), TRUST, "host", "1.2.0")


def test_traits_of_the_network_are_the_bits_that_the_firmware_looks_at(tmp_path) -> None:
    """The header names the bits; a node's compiled block has those of its own site's network, and the core takes it."""
    inventory = sample_inventory()
    traits = (NetworkTrait.HIDDEN, NetworkTrait.HIGH_CHANNELS, NetworkTrait.NO_80211N)
    sites = tuple(
        site.model_copy(update={"network_traits": traits}) if site.name == "hill" else site
        for site in inventory.sites
    )
    changed = inventory.model_copy(update={"sites": sites})
    node = changed.node("hill-1")
    project = render_node(
        changed, node, load_board(node.board), TRUST, "host", "1.2.0", templates=load_templates()
    )
    source = tmp_path / "node_block.cpp"
    source.write_bytes(project[BLOCK_SOURCE])
    program = (
        '#include "core/node_block.h"\n#include "core/node_block_check.h"\n#include <stdio.h>\n'
        "int main() { const tn::NodeBlock &block = *const_cast<const tn::NodeBlock *>(&tn_node_block);"
        ' printf("%d %d %d %d %d", tn::kHiddenNetwork, tn::kHighChannels, tn::kWpa3Only, tn::kNo80211n,'
        " block.network_traits); return tn::check_node_block(block) == tn::BlockFault::kNone ? 0 : 1; }"
    )
    core = [FIRMWARE / "core" / name for name in ("node_block_check.cpp", "crc32.cpp")]
    hidden, high, wpa3, no_n, compiled = map(int, _compiled(tmp_path, program, source, *core).split())
    assert compiled == hidden | high | no_n
    assert {str(trait): node_block.NETWORK_TRAITS[trait] for trait in NetworkTrait} == {
        "hidden": hidden, "high-channels": high, "wpa3-only": wpa3, "no-802.11n": no_n,
    }  # fmt: skip
    other = block_of(changed, changed.node("yard-1"), load_board("esp32-devkit"), TRUST, "host", "1.2.0")
    assert other.network_traits == 0


def test_checksum_is_that_of_ieee_802_3() -> None:
    """CRC-32 of "123456789" is CBF43926 (the check value in the catalogue of parametrised CRC algorithms)."""
    assert zlib.crc32(b"123456789") == 0xCBF43926
    packed = _block().pack()
    assert block_crc(packed) == zlib.crc32(packed[:1020]) == _block().crc32


def test_block_says_what_the_inventory_says() -> None:
    block = _block()
    assert (block.node, block.site, block.board, block.release) == ("hill-1", "hill", "d1-mini", "1.2.0")
    assert (block.debounce_ms, block.trial_s, block.power_up_hold_s) == (1500, 300, 10)
    assert (block.layout, block.payload_format) == (2, 1)
    header, trough = block.tanks
    assert [(m.name, m.height_mm, m.pin) for m in header.marks] == [
        ("empty", 200, 13),
        ("half", 1000, 12),
        ("full", 1800, 14),
    ]
    assert (header.pump_does, header.pump_pin, header.pump_active_high) == (1, 5, 1)
    assert (header.pump_on_mark, header.pump_off_mark) == (0, 2)
    assert (header.longest_run_s, header.no_rise_s, header.shortest_off_s) == (7200, 1800, 60)
    assert (trough.pump_does, trough.pump_pin) == (0, 255)
    assert [m.pull for m in header.marks + trough.marks] == [1, 1, 1, 0, 0]


def test_draining_pump_starts_high_and_stops_low() -> None:
    (sump,) = _block("yard-2").tanks
    assert (sump.pump_does, sump.pump_active_high, sump.pump_on_mark, sump.pump_off_mark) == (2, 0, 1, 0)


def test_longest_run_is_computed_where_the_inventory_gives_none() -> None:
    """2 x the time to fill pi m2 x 1.8 m = 5654.9 l at 60 L/min: 2 x 5654.9 s and 3.2 s, rounded up."""
    inventory = sample_inventory(header_pump={"longest_run": None})
    block = block_of(inventory, inventory.node("hill-1"), load_board("d1-mini"), TRUST, "host", "1.2.0")
    assert block.tanks[0].longest_run_s == 11313


_NAMES = st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=60)
_MARKS = st.builds(
    MarkBlock,
    name=st.text("abcdef-0123456789", max_size=11),
    height_mm=st.integers(0, 65535),
    pin=st.integers(0, 255),
    pull=st.integers(0, 2),
)
_BYTE, _LONG = st.integers(0, 255), st.integers(0, 2**32 - 1)
_TANKS = st.builds(
    TankBlock,
    name=_NAMES.filter(lambda name: len(name.encode()) < 64),
    marks=st.lists(_MARKS, min_size=1, max_size=4).map(tuple),
    pump_does=_BYTE,
    pump_pin=_BYTE,
    pump_active_high=_BYTE,
    pump_on_mark=_BYTE,
    pump_off_mark=_BYTE,
    longest_run_s=_LONG,
    no_rise_s=_LONG,
    shortest_off_s=_LONG,
    first_rise_s=st.integers(0, 2**16 - 1),
)


@given(st.lists(_TANKS, min_size=1, max_size=4).map(tuple), st.binary(min_size=4, max_size=4))
def test_block_comes_back_as_it_was(tanks, feeds) -> None:
    block = replace(_BLOCK, tanks=tanks, feed_pins=feeds)
    packed = block.pack()
    assert len(packed) == 1024
    assert unpack(packed) == block


_BLOCK = _block()


@given(st.integers(0, 8 * 1024 - 1))
def test_no_flipped_bit_goes_unnoticed(bit) -> None:
    damaged = bytearray(_BLOCK.pack())
    damaged[bit // 8] ^= 1 << bit % 8
    with pytest.raises(ValueError, match="block"):
        unpack(bytes(damaged))


@pytest.mark.parametrize(
    "change",
    [
        {"node": "n" * 64},
        {"feed_pins": bytes(3)},
        {"site": "s" * 64},
        {"board": "b" * 32},
        {"release": "r" * 24},
        {"node": "a\0b"},
        {"debounce_ms": 65536},
        {"trial_s": -1},
        {"vendor_id": bytes(15)},
        {"signing_key": bytes(64)},
        {"tanks": ()},
        {"tanks": _BLOCK.tanks * 3},
        {"tanks": (replace(_BLOCK.tanks[0], marks=()),)},
        {"tanks": (replace(_BLOCK.tanks[0], longest_run_s=2**32),)},
        {"tanks": (replace(_BLOCK.tanks[0], first_rise_s=2**16),)},
        {"tanks": (replace(_BLOCK.tanks[0], marks=(MarkBlock("twelve-chars", 1, 1, 1),)),)},
        {"tanks": (replace(_BLOCK.tanks[0], marks=(MarkBlock("deep", 65536, 1, 1),)),)},
    ],
    ids=str,
)
def test_what_does_not_fit_is_refused_by_name(change) -> None:
    with pytest.raises(RenderError, match="node ") as caught:
        replace(_BLOCK, **change).pack()
    assert caught.value.code.code == "RND103"


def test_missing_and_unknown_pins_are_refused() -> None:
    inventory = sample_inventory()
    node = inventory.node("yard-1")
    board = load_board("esp32-devkit")
    for probes in ({"low": "IO32"}, {"low": "IO32", "high": "IO99"}):
        served = node.serves[0].model_copy(update={"probes": probes})
        changed = node.model_copy(update={"serves": (served,)})
        with pytest.raises(RenderError, match="high") as caught:
            block_of(inventory, changed, board, TRUST, "host", "1.2.0")
        assert caught.value.code.code == "RND104"


@pytest.mark.parametrize(
    ("release", "defect", "text"),
    [
        ("1.2.0", "", "1.2.0"),
        ("1.2.0", "crash-at-boot", "1.2.0+crash-at-boot"),
        ("2026.11.25-rc1", "hang-after-minute", "2026.+hang-after-minute"),
        ("r" * 23, "", "r" * 23),
    ],
)
def test_release_text_keeps_the_defect_and_fits(release, defect, text) -> None:
    assert release_text(release, defect) == text
    assert len(text) <= 23


@pytest.mark.parametrize("release", ["", "r" * 24, "1 2", 'a"b', "ü", "1\n"])
def test_release_text_that_cannot_be_is_refused(release) -> None:
    with pytest.raises(RenderError) as caught:
        release_text(release, "")
    assert caught.value.code.code == "RND105"
