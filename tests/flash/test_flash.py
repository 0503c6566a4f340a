"""First flashes with the real esptool on emulated ROM loaders: what is written, what goes wrong, what is claimed.

esptool is the other party for the protocol (its own checksums, MD5 and timeouts), the firmware's C++ for the records
(test_flash_records.py).
"""

from __future__ import annotations

import errno
import os
import pty
import re
import subprocess
import tty
from itertools import pairwise
from pathlib import Path

import pytest
from esptool.bin_image import LoadFirmwareImage

from fleet.boards.board import load_board
from fleet.boards.partitions import partition_table
from fleet.errors import BuildError, FlashError, KeyFolderError, TankfleetError, UsageError
from fleet.flash.codes import CODES
from fleet.flash.contents import load_of
from fleet.flash.flash import MacStatus
from fleet.flash.places import esp8266_places, places_in
from fleet.flash.ports import open_port
from fleet.flash.table import areas
from fleet.keys.networks import Network
from tests.flash.bench_table import CHIPS, MACS, NODES, PASSPHRASE, WEST, Table, lay_table
from tests.flash.board_images import binary_table, esp32_image, esp8266_image
from tests.rom_loader import ESP32, ESP8266, READ_FLASH, Faults, Rom

MIB4 = 4 << 20
ROOT = Path(__file__).resolve().parent.parent.parent


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Table:
    """For tests that change nothing in it."""
    return lay_table(tmp_path_factory.mktemp("flash") / "farm")


@pytest.fixture
def table(tmp_path: Path) -> Table:
    return lay_table(tmp_path / "farm")


def board(node: str, faults: Faults | None = None, mac: str = "", flash_bytes: int = 0) -> Rom:
    """With the flash that this kind of board has, unless told otherwise."""
    size_bytes = flash_bytes or load_board(NODES[node]).flash_bytes
    return Rom(CHIPS[node], mac or MACS.get(node, WEST), size_bytes, faults)


def refused(table: Table, node: str, rom: Rom, **options: object) -> TankfleetError:
    """The error; the inventory is as it was, byte for byte, and no helper file is left beside it."""
    before = table.file.read_bytes()
    with rom, pytest.raises(TankfleetError) as caught:
        table.flash(node, rom.port, **options)  # type: ignore[arg-type]
    assert table.file.read_bytes() == before
    assert [path.name for path in table.inventory_dir.iterdir()] == [table.file.name]
    assert PASSPHRASE not in str(caught.value) + caught.value.fix
    return caught.value


def impatient(monkeypatch: pytest.MonkeyPatch, folder: Path) -> None:
    """esptool gives up sooner, by its own settings file."""
    (folder / "esptool.cfg").write_text("[esptool]\nwrite_block_attempts = 1\ntimeout = 0.5\n")
    monkeypatch.setenv("ESPTOOL_CFGFILE", str(folder / "esptool.cfg"))


# ------------------------------------------------------------------ what goes well
@pytest.mark.parametrize("node", ["north", "south", "east", "upper", "lower"])
def test_every_part_is_in_its_place_and_the_mac_is_claimed(table, node) -> None:
    before = table.file.read_text(encoding="utf-8")
    with board(node) as rom:
        done = table.flash(node, rom.port)
    load = table.load(node)
    size_bytes = load.board.flash_bytes
    assert done.wrote
    assert (done.found.chip, done.found.mac, done.found.flash_bytes) == (
        load.board.chip,
        MACS[node],
        size_bytes,
    )
    untouched = bytearray(b"\x01" * size_bytes)
    for part in load.parts:
        assert rom.flash[part.at : part.at + len(part.data)] == part.data, part.name
        sectors = slice(part.at // 4096 * 4096, -(-(part.at + len(part.data)) // 4096) * 4096)
        untouched[sectors] = bytes(sectors.stop - sectors.start)
    outside = [byte for byte, out in zip(rom.flash, untouched, strict=True) if out]
    assert set(outside) == {0x5A}, "nothing else was erased or written"
    assert set(rom.baud_asked) == {460_800}
    assert READ_FLASH in rom.commands
    after = table.file.read_text(encoding="utf-8")
    line = f"  mac: {MACS[node]}\n"
    assert after.replace(line, "", 1) == before
    assert done.standing is MacStatus.CLAIMED
    assert done.claimed is not None
    assert after.splitlines()[done.claimed.line - 1] == line.strip("\n")
    assert table.inventory().node(node).mac == MACS[node]


@pytest.mark.slow
def test_a_node_that_has_this_mac_is_flashed_again_without_a_change(table) -> None:
    before = table.file.read_bytes()
    with board("west") as rom:
        done = table.flash("west", rom.port)
    assert (done.standing, done.claimed) == (MacStatus.KNOWN, None)
    assert table.file.read_bytes() == before


@pytest.mark.parametrize("node", ["north", "south", "east"])
def test_the_page_of_the_interface_lists_what_is_written_in_order(whole, node) -> None:
    """docs/node-interface.md 11: a row for each part; where it names a place for the ESP8266, or of the boot loader and
    the table, it is that one."""
    page = (Path(__file__).resolve().parents[2] / "docs" / "node-interface.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| `([^`]+)` \| (.+?) \| (.+?) \| .+ \|$", page.split("## 11. ")[1], re.M)
    load = whole.load(node)
    column = 1 if load.board.chip == "esp8266" else 2
    told = [row for row in rows if row[column] != "–"]
    assert [row[0] for row in told] == [part.name for part in load.parts]
    for row, part in zip(told, load.parts, strict=True):
        places = {int(place, 16) for place in re.findall(r"0x[0-9A-F]+", row[column])}
        assert not places or part.at in places, row


def test_parts_do_not_overlap_and_lie_within_the_flash(whole) -> None:
    for node in ("north", "south", "east", "upper", "lower"):
        load = whole.load(node)
        ends = sorted((part.at, part.at + len(part.data)) for part in load.parts)
        assert all(a[1] <= b[0] for a, b in pairwise(ends)), node
        assert ends[-1][1] <= load.board.flash_bytes
        app = next(part for part in load.parts if part.name == "application")
        others = [part.at for part in load.parts if part.at > app.at]
        assert min(others) >= app.at + load.board.slot_bytes, "the largest image has room"


def test_esptools_own_reader_takes_the_made_up_images(whole) -> None:
    for node, chip in (("south", "esp32"), ("east", "esp32c3"), ("upper", "esp32s2"), ("lower", "esp32s3")):
        app = next(part for part in whole.load(node).parts if part.name == "application")
        image = LoadFirmwareImage(chip, app.data)
        assert image.checksum == image.calculate_checksum()
        assert image.stored_digest == image.calc_digest


def test_a_dry_run_writes_nothing(whole) -> None:
    before = whole.file.read_bytes()

    def never(*_: object) -> None:
        raise AssertionError("nobody is asked")

    with board("south") as rom:
        done = whole.flash("south", rom.port, dry_run=True, agree=never)
    assert not done.wrote
    assert done.claimed is not None, "what would be added is known"
    assert rom.flash == b"\x5a" * MIB4
    assert whole.file.read_bytes() == before


def test_no_is_taken_for_an_answer(whole) -> None:
    def no(*_: object) -> None:
        raise KeyboardInterrupt

    before = whole.file.read_bytes()
    with board("south") as rom, pytest.raises(KeyboardInterrupt):
        whole.flash("south", rom.port, agree=no)
    assert rom.flash == b"\x5a" * MIB4
    assert whole.file.read_bytes() == before


def test_bytes_lost_once_are_sent_again(table) -> None:
    with board("south", Faults(lose_bytes_of={1, 3})) as rom:
        assert table.flash("south", rom.port).wrote


# ------------------------------------------------------------------ what goes wrong on a bench
def test_silence(whole) -> None:
    error = refused(whole, "south", board("south", Faults(silent=True)))
    assert error.code.code == "FLA110"
    assert "hold BOOT, press EN" in error.fix


BOOT_TEXTS = [
    (
        "south",
        b"ets Jul 29 2019 12:21:46\r\nrst:0x1 (POWERON_RESET),boot:0x13 (SPI_FAST_FLASH_BOOT)\r\n",
        "0x13",
    ),
    ("east", b"ESP-ROM:esp32c3-api1-20210207\r\nrst:0x1 (POWERON),boot:0xc (SPI_FAST_FLASH_BOOT)\r\n", "0xc"),
    ("north", b"\r\n ets Jan  8 2013,rst cause:2, boot mode:(3,6)\r\n\r\nload 0x4010f000\r\n", "3"),
]


@pytest.mark.parametrize(("node", "text", "mode"), BOOT_TEXTS)
def test_boot_text_instead_of_an_answer(whole, node, text, mode) -> None:
    """Texts as in ESP-IDF's and the Arduino core's documentation of boot messages."""
    error = refused(whole, node, board(node, Faults(says=text)))
    assert error.code.code == "FLA111"
    assert f"its boot mode is {mode}" in error.what
    assert "hold" in error.fix


@pytest.mark.slow
def test_noise_of_a_running_program(whole) -> None:
    error = refused(whole, "south", board("south", Faults(says=b"\x00\xf8\x1e\x80" * 9)))
    assert error.code.code == "FLA111"


@pytest.mark.parametrize("at", [0, pytest.param(4, marks=pytest.mark.slow)])
def test_brown_out(whole, at, monkeypatch, tmp_path) -> None:
    impatient(monkeypatch, tmp_path)
    error = refused(whole, "south", board("south", Faults(brown_out_at=at)))
    assert error.code.code == "FLA112"
    says = b"Brownout detector was triggered\r\n"
    assert refused(whole, "south", board("south", Faults(says=says))).code.code == "FLA112"


def test_wrong_chip(whole) -> None:
    error = refused(whole, "south", Rom(ESP8266, MACS["south"], MIB4))
    assert error.code.code == "FLA113"
    assert "this board has an esp8266; south is ESP32 DevKitC (WROOM-32, 4 MB), with an esp32" in error.what
    assert refused(whole, "north", Rom(ESP32, MACS["north"], MIB4)).code.code == "FLA113"


def test_flash_too_small(whole) -> None:
    rom = board("south", flash_bytes=2 << 20)
    error = refused(whole, "south", rom)
    assert error.code.code == "FLA114"
    assert "2 MiB of flash" in error.what
    assert "4 MiB of flash" in error.what
    assert rom.flash == b"\x5a" * (2 << 20)


@pytest.mark.slow
def test_a_flash_twice_as_large_is_taken(table) -> None:
    with board("south", flash_bytes=8 << 20) as rom:
        assert table.flash("south", rom.port).found.flash_bytes == 8 << 20


@pytest.mark.parametrize("node", ["south", "east", "lower"])
def test_locked_down(whole, node) -> None:
    """Flash encryption on the ESP32, secure download mode on the C3 and S3."""
    error = refused(whole, node, board(node, Faults(secure=True)))
    assert error.code.code == "FLA115"
    assert (MACS[node] in error.what) is (node == "south"), "secure download mode does not tell the MAC"


def test_mac_of_another_node(whole) -> None:
    error = refused(whole, "south", board("south", mac=WEST))
    assert error.code.code == "FLA116"
    assert "west" in error.what


def test_mac_differs(whole) -> None:
    rom = board("west", mac=MACS["south"])
    error = refused(whole, "west", rom)
    assert error.code.code == "FLA117"
    assert WEST in error.what
    assert MACS["south"] in error.what
    assert rom.flash == b"\x5a" * MIB4


def test_bytes_that_go_on_being_lost(whole) -> None:
    error = refused(whole, "south", board("south", Faults(lose_from=2)))
    assert error.code.code == "FLA120"
    assert "--baud 115200" in error.fix


@pytest.mark.parametrize("at", [pytest.param(0, marks=pytest.mark.slow), 2])
def test_unplugged_in_the_middle(table, at) -> None:
    error = refused(table, "south", board("south", Faults(unplug_at=at)))
    assert error.code.code == "FLA121"
    with board("south") as rom:
        assert table.flash("south", rom.port).standing is MacStatus.CLAIMED, "and again, all is well"


@pytest.mark.parametrize("node", [pytest.param("north", marks=pytest.mark.slow), "south"])
def test_what_was_written_does_not_verify(whole, node) -> None:
    load = whole.load(node)
    app = next(part for part in load.parts if part.name == "application")
    at = next(n for n in range(100, 200) if app.data[n] & 1)
    error = refused(whole, node, board(node, Faults(stuck_bit_at=app.at + at)))
    assert error.code.code == "FLA122"


def test_credentials_are_read_back_byte_for_byte(whole) -> None:
    """A chip whose digest is right while its flash reads back wrong: only a real reading finds it."""
    credentials = next(part for part in whole.load("south").parts if part.name == "credentials")
    error = refused(whole, "south", board("south", Faults(lies_of=credentials.at + 10)))
    assert error.code.code == "FLA122"
    assert "credentials" in error.what


def test_another_board_on_the_same_port_is_not_written(whole) -> None:
    """Swapped behind its USB adapter while the person is asked."""
    with board("south") as rom:

        def swap(*_: object) -> None:
            rom.mac = bytes.fromhex(MACS["east"].replace(":", ""))

        with pytest.raises(FlashError) as caught:
            whole.flash("south", rom.port, agree=swap)
        assert caught.value.code.code == "FLA117"
        assert rom.flash == b"\x5a" * MIB4


def test_no_run_of_esptool_has_a_secret_in_its_arguments(table, monkeypatch) -> None:
    seen: list[list[str]] = []
    real = subprocess.Popen

    def noted(words: list[str], **options: object) -> object:
        seen.append(words)
        return real(words, **options)

    monkeypatch.setattr("fleet.flash.esptool_run.subprocess.Popen", noted)
    load = table.load("north")
    (credentials,) = (part.data for part in load.parts if part.name == "credentials")
    with board("north") as rom:
        assert table.flash("north", rom.port).wrote
    assert [next(w for w in words if w.endswith(("-id", "-flash", "-mac"))) for words in seen] == [
        "flash-id",
        "write-flash",
        "read-flash",
        "read-mac",
    ]
    told = " ".join(word for words in seen for word in words)
    assert PASSPHRASE not in told
    assert credentials[:64].hex() not in told
    paths = re.findall(r"\S*/fd/\S*", told)
    assert paths
    assert all(re.search(r"/proc/self/fd/\d+$", path) for path in paths), "files in memory alone"


def test_the_file_changed_while_it_was_written(table) -> None:
    def meanwhile(*_: object) -> None:
        table.file.write_bytes(table.file.read_bytes() + b"# a note\n")

    with board("south") as rom, pytest.raises(UsageError) as caught:
        table.flash("south", rom.port, agree=meanwhile)
    assert caught.value.code.code == "INV180"
    assert "mac" not in table.file.read_text(encoding="utf-8").split("name:  south")[1].split("serves")[0]


def test_a_disk_that_does_not_take_the_claim(table, monkeypatch) -> None:
    """The board is loaded by then: a person has to know what the inventory lacks."""
    before = table.file.read_bytes()

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with board("south") as rom, pytest.raises(UsageError) as caught:
        monkeypatch.setattr(os, "fsync", full)
        table.flash("south", rom.port)
    assert caught.value.code.code == "INV180"
    assert f"{table.file} cannot be written (No space left on device)" in caught.value.what
    assert "the board is loaded" in caught.value.what
    assert f"`mac: {MACS['south']}`" in caught.value.fix
    assert table.file.read_bytes() == before
    assert rom.flash[0x1000] == 0xE9


# ------------------------------------------------------------------ the port
def test_no_such_port(whole) -> None:
    with pytest.raises(FlashError) as caught:
        whole.flash("south", "/dev/ttyUSB99")
    assert caught.value.code.code == "FLA101"
    assert "/dev/ttyUSB99" in caught.value.what


def test_a_file_that_is_no_port(whole, tmp_path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(FlashError) as caught:
        whole.flash("south", str(tmp_path / "file"))
    assert caught.value.code.code == "FLA101"


def test_busy_names_the_program(whole) -> None:
    import serial

    with board("south") as rom, serial.Serial(rom.port, exclusive=True), pytest.raises(FlashError) as caught:
        whole.flash("south", rom.port)
    assert caught.value.code.code == "FLA103"


@pytest.mark.parametrize(("group", "words"), [(0, "udev"), (20, "usermod -aG dialout")])
def test_no_permission_says_how_to_get_it(monkeypatch, group, words) -> None:
    """Group 20 is `dialout` on Debian (base-passwd)."""
    master, slave = pty.openpty()
    tty.setraw(slave)
    name = os.ttyname(slave)
    try:
        os.chown(name, -1, group)

        def denied(*_: object, **__: object) -> int:
            raise PermissionError(13, "Permission denied", name)

        monkeypatch.setattr("serial.serialposix.os.open", denied)
        with pytest.raises(FlashError) as caught:
            open_port(name, 115_200)
    finally:
        monkeypatch.undo()
        os.close(slave)
        os.close(master)
    assert caught.value.code.code == "FLA102"
    assert words in caught.value.fix
    assert "log out and in again" in caught.value.fix


# ------------------------------------------------------------------ before a board is touched
def test_no_image_on_the_shelf(table) -> None:
    for path in (table.shelf.path / "nodes" / "south").iterdir():
        path.unlink()
    with pytest.raises(FlashError) as caught:
        table.load("south")
    assert caught.value.code.code == "FLA130"
    assert "tankfleet build south --target board" in caught.value.fix


def test_an_image_of_an_older_inventory(table) -> None:
    text = table.file.read_text(encoding="utf-8")
    table.file.write_text(text.replace("{low: D5, full: D6}", "{low: D5, full: D7}"), encoding="utf-8")
    with pytest.raises(FlashError) as caught:
        table.load("north")
    assert caught.value.code.code == "FLA135"
    assert "north: the image was built from an older inventory" in caught.value.what
    assert "tankfleet build north --target board" in caught.value.fix
    assert table.load("south").entry.node == "south", "the others are as they were"
    inventory = table.inventory()
    node = inventory.node("north")
    load = load_of(inventory, node, load_board(node.board), table.shelf, table.keys, as_built=True)
    assert load.entry.node == "north"


def test_no_boot_loader(table, monkeypatch) -> None:
    monkeypatch.setattr("fleet.build.shelf.Shelf.record", lambda self, sha: {})
    with pytest.raises(FlashError) as caught:
        table.load("south")
    assert caught.value.code.code == "FLA131"


def test_no_network_credentials_and_too_long_ones(table) -> None:
    table.keys.set_network("farm-wifi", Network("Farm", "ab" * 32))
    with pytest.raises(KeyFolderError) as caught:
        table.load("south")
    assert caught.value.code.code == "KEY108"
    (table.keys.path / "networks.toml").unlink()
    with pytest.raises(KeyFolderError) as caught:
        table.load("south")
    assert caught.value.code.code == "KEY105"


def test_a_ticket_of_other_keys_or_for_another_image(table, tmp_path) -> None:
    with pytest.raises(FlashError) as caught:
        other = lay_table(tmp_path / "other")
        Table(table.folder, other.keys, table.shelf).load("south")
    assert caught.value.code.code == "FLA132"
    table.put("south", esp32_image("esp32", "newer"), sequence=1_800_000_000, digest=bytes(32))
    with pytest.raises(FlashError) as caught:
        table.load("south")
    assert caught.value.code.code == "FLA132"


@pytest.mark.parametrize("without", ["otadata", "app0", "tank_key", "tank_trial"])
def test_a_partition_table_that_lacks_a_place(without) -> None:
    table = binary_table("esp32-devkit", without=without)
    assert len(areas(table)) == len(areas(binary_table("esp32-devkit"))) - 1
    with pytest.raises(FlashError) as caught:
        places_in(table, load_board("esp32-devkit").slot_bytes)
    assert caught.value.code.code == "FLA134"


def test_an_image_from_before_the_record_of_runs_is_written_without_it(table, monkeypatch) -> None:
    monkeypatch.setattr(
        "tests.flash.bench_table.binary_table", lambda board: binary_table(board, without="tank_run")
    )
    table.put("south", esp32_image("esp32", "older"), sequence=1_800_000_000)
    assert "run record" not in [part.name for part in table.load("south").parts]


@pytest.mark.parametrize(
    "board_id", ["esp32-devkit", "esp32-c3-devkit", "esp32-s2-devkit", "esp32-s3-devkit"]
)
def test_places_are_those_of_the_boards_data(board_id) -> None:
    """From the binary form back to the rows that it was made of (fleet/boards/data/partitions)."""
    kind = load_board(board_id)
    rows = {row.name: row for row in partition_table(kind.flash_map)}
    places, notes = places_in(binary_table(board_id), kind.slot_bytes)
    assert places.application_at == rows["app0"].at
    assert places.credentials_at == (rows["tank_key"].at, rows["tank_key"].at + 4096)
    assert places.records_at == (rows["tank_trial"].at, rows["tank_trial"].at + 4096)
    assert places.runs == (rows["tank_run"].at, 0x10000)
    assert notes == (rows["otadata"].at, 0x2000)


def test_a_tables_md5_counts() -> None:
    table = binary_table("esp32-devkit")
    slot_bytes = load_board("esp32-devkit").slot_bytes
    for spoilt in (table[:20] + b"x" + table[21:], table[:64], b"", b"\xff" * 0xC00):
        with pytest.raises(FlashError, match="FLA134"):
            places_in(spoilt, slot_bytes)
    with pytest.raises(FlashError, match="FLA134"):
        places_in(table, slot_bytes + 1)


def test_the_places_of_an_esp8266_are_those_of_its_firmware() -> None:
    text = (ROOT / "templates" / "firmware" / "ports" / "esp8266" / "chip_flash.h").read_text(
        encoding="utf-8"
    )
    places = esp8266_places()
    for one, two in (places.credentials_at, places.records_at):
        assert f"{{{{0x{one:06X}, kSectorBytes}}, {{0x{two:06X}, kSectorBytes}}}}" in text
    assert places.runs is not None
    assert f"{{0x{places.runs.at:06X}, kRunsBytes}}" in text


WRONG_IMAGES = {
    "another chip": esp32_image("esp32", "x", chip_id=9),
    "checksum": (lambda d: d[:100] + bytes([d[100] ^ 1]) + d[101:])(esp32_image("esp32", "x")),
    "trailing bytes": esp32_image("esp32", "x") + b"\xff",
    "cut short": esp32_image("esp32", "x")[:-16],
    "of an ESP8266": esp8266_image("x"),
    "too long": esp32_image("esp32", "x", 1_966_081),
}


@pytest.mark.parametrize("name", WRONG_IMAGES)
def test_images_are_checked_by_us(table, name) -> None:
    """esptool's reader lets most of these pass (facts of its 5.6.0)."""
    table.put("south", WRONG_IMAGES[name], sequence=1_800_000_000)
    with pytest.raises(BuildError) as caught:
        table.load("south")
    assert caught.value.code.code in ("BLD106", "BLD108")
    assert "of south" in caught.value.what


def test_every_code_of_the_area_is_tested() -> None:
    here = Path(__file__).parent.parent
    text = "".join(path.read_text(encoding="utf-8") for path in here.glob("*/test_flash*.py"))
    for code in CODES:
        assert code.code in text, code.code
