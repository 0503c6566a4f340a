"""`tankfleet flash`: what it says, asks, prints as JSON, and keeps to itself."""

from __future__ import annotations

import base64
import io
import json
from importlib.resources import files
from pathlib import Path

import jsonschema
import pytest

from fleet.cli.app import run
from fleet.codes import Exit
from fleet.errors import FlashError
from fleet.find.match import Match, Status
from fleet.flash.first_state import first_state
from fleet.flash.loader import Found
from fleet.link.state import NodeState, parse_state
from tests.fake_platformio import replace_platformio
from tests.flash.bench_table import CHIPS, MACS, PASSPHRASE, Table, lay_table
from tests.link_helpers import fake
from tests.rom_loader import Faults, Rom

MIB4 = 4 << 20
SCHEMA = json.loads((files("fleet") / "schemas" / "flash.json").read_text(encoding="utf-8"))


@pytest.fixture
def table(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Table:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    table = lay_table(tmp_path / "farm")
    monkeypatch.chdir(table.folder)
    return table


def flash(node: str, *words: str, faults: Faults | None = None) -> tuple[int, Rom]:
    with Rom(CHIPS[node], MACS[node], MIB4, faults) as rom:
        return run(["flash", node, "--port", rom.port, "--wait", "0", *words]), rom


def test_the_whole_job_in_words(table, capsys) -> None:
    status, rom = flash("north", "--yes")
    printed = capsys.readouterr()
    assert status == Exit.OK, printed.err
    assert rom.flash[0] == 0xE9
    assert "found esp8266, 4 MiB of flash, MAC 00:00:5e:00:53:a1, to be added to the inventory" in printed.err
    assert "written and read back: 6 parts" in printed.err
    assert "writing application: 100 %\n" in printed.err
    line = table.file.read_text(encoding="utf-8").splitlines().index("  mac: 00:00:5e:00:53:a1") + 1
    assert f"inventory/farm.yaml:{line}: added `mac: 00:00:5e:00:53:a1`" in printed.err
    assert "Disconnect power once before the first update" in printed.err
    assert "Put a label on the enclosure: north. Wire it as its sheet says." in printed.err
    assert "next: tankfleet sheet node north" in printed.err
    assert [line.split()[0] for line in printed.out.splitlines()[1:]] == [
        "application",
        "trial",
        "trial",
        "credentials",
        "credentials,",
        "run",
    ]
    status, _ = flash("north", "--yes")
    assert status == Exit.OK
    assert "as in the inventory" in capsys.readouterr().err


def test_json_has_the_facts_and_follows_its_schema(table, capsys) -> None:
    status, _ = flash("south", "--yes", "--json")
    printed = capsys.readouterr()
    assert status == Exit.OK, printed.err
    document = json.loads(printed.out)
    jsonschema.Draft202012Validator(SCHEMA).validate(document)
    assert (document["node"], document["mac"], document["mac_is"]) == ("south", MACS["south"], "claimed")
    assert (document["wrote"], document["answered"]) == (True, False)
    assert "Disconnect power" not in printed.err, "that is the ESP8266 alone"


def test_a_dry_run_needs_no_yes_and_writes_nothing(table, capsys) -> None:
    before = table.file.read_bytes()
    status, rom = flash("south", "--dry-run", "--json")
    printed = capsys.readouterr()
    assert status == Exit.OK, printed.err
    document = json.loads(printed.out)
    jsonschema.Draft202012Validator(SCHEMA).validate(document)
    assert document["wrote"] is False
    assert "nothing was written" in printed.err
    assert f"next: tankfleet flash south --port {rom.port}\n" in printed.err, "to be copied as it stands"
    assert rom.flash == b"\x5a" * MIB4
    assert table.file.read_bytes() == before


def test_without_a_terminal_the_flag_is_named(table, capsys) -> None:
    before = table.file.read_bytes()
    status, rom = flash("south")
    assert status == Exit.USAGE
    assert "Add --yes to the command" in capsys.readouterr().err
    assert rom.flash == b"\x5a" * MIB4
    assert table.file.read_bytes() == before


def test_errors_say_what_and_how(table, capsys) -> None:
    status, _ = flash("south", "--yes", faults=Faults(says=b"boot:0x13 (SPI_FAST_FLASH_BOOT)\r\n"))
    said = capsys.readouterr().err
    assert status == Exit.PROBLEMS
    assert "error FLA111: " in said
    assert "hold BOOT, press EN" in said
    assert run(["flash", "sout", "--port", "/dev/null"]) == Exit.USAGE
    assert "Did you mean 'south'?" in capsys.readouterr().err


def test_which_port(table, capsys, monkeypatch) -> None:
    for names, words, fix in (
        (["/dev/ttyUSB0", "/dev/ttyACM1"], "/dev/ttyUSB0, /dev/ttyACM1", "fix: Name it with --port."),
        ([], "no port has a board on it", "USB data cable"),
    ):
        monkeypatch.setattr("fleet.flash.ports.port_names", lambda names=names: names)
        assert run(["flash", "south"]) == Exit.PROBLEMS
        said = capsys.readouterr().err
        assert words in said
        assert fix in said
    with Rom(CHIPS["south"], MACS["south"], MIB4) as rom:
        monkeypatch.setattr("fleet.flash.ports.port_names", lambda: [rom.port])
        assert run(["flash", "south", "--dry-run"]) == Exit.OK
    assert f"searching for a board on {rom.port}" in capsys.readouterr().err


@pytest.mark.slow
def test_no_secret_is_said_or_left_behind(table, capsys, monkeypatch) -> None:
    monkeypatch.setenv("ESPTOOL_TRACE", "1")
    said = ""
    for words in (("--yes",), ("--yes", "--json"), ("--yes",)):
        flash("south", *words, faults=Faults(lose_from=40) if words == ("--yes",) else None)
        printed = capsys.readouterr()
        said += printed.out + printed.err
    assert said
    key = table.keys.node_key("south")
    forms = [
        PASSPHRASE.encode(),
        key,
        key.hex().encode(),
        key.hex().upper().encode(),
        base64.b64encode(key)[:-1],
    ]
    written = {p: p.read_bytes() for p in table.folder.rglob("*") if p.is_file() and "keys" not in p.parts}
    for form in forms:
        assert form not in said.encode()
        assert not [str(path) for path, data in written.items() if form in data]


# ------------------------------------------------------------------ its first state
def state(image: str, mac: str) -> NodeState:
    document = fake("south", mac=mac).document()
    return parse_state(json.dumps({**document, "image": image}).encode(), node="south")


def test_the_first_state_must_be_of_this_board_and_image(table) -> None:
    load = table.load("south")
    found = Found("esp32", MACS["south"], MIB4)

    def heard(image: str, mac: str) -> list[Match]:
        return [Match("south", Status.FOUND, "10.0.0.1", 80, state=state(image, mac))]

    good = first_state(heard(load.entry.image, found.mac), load, found)
    assert good is not None
    assert good.node == "south"
    assert first_state([], load, found) is None
    assert first_state([Match("south", Status.MISSING)], load, found) is None
    for image, mac in (("0" * 64, found.mac), (load.entry.image, MACS["north"])):
        with pytest.raises(FlashError) as caught:
            first_state(heard(image, mac), load, found)
        assert caught.value.code.code == "FLA140"


@pytest.mark.slow
def test_waiting_on_the_network_is_said(table, capsys, monkeypatch) -> None:
    """The search itself is tested in tests/find; here, that its answer is used."""
    load = table.load("south")

    async def find(*_: object, **options: object) -> list[Match]:
        assert options["nodes"] == ["south"]
        assert options["timeout_s"] == 5.0
        return [Match("south", Status.FOUND, "10.0.0.1", 80, state=state(load.entry.image, MACS["south"]))]

    monkeypatch.setattr("fleet.find.find.find", find)
    with Rom(CHIPS["south"], MACS["south"], MIB4) as rom:
        status = run(["flash", "south", "--port", rom.port, "--wait", "5", "--yes"])
    said = capsys.readouterr().err
    assert status == Exit.OK, said
    assert "waiting for south on the network, for up to 5 s" in said
    assert "south answers: release" in said
    assert "next: tankfleet audit" in said


def test_a_person_is_asked_and_may_say_no(table, monkeypatch, capsys) -> None:
    class Keyboard(io.StringIO):
        def isatty(self) -> bool:
            return True

    class Screen(Keyboard):
        pass

    screen = Screen()
    monkeypatch.setattr("sys.stdin", Keyboard("n\n"))
    monkeypatch.setattr("sys.stderr", screen)
    status, rom = flash("south")
    assert status == Exit.USAGE
    assert "Write south to this board? This erases its flash. [y/N]" in screen.getvalue()
    assert rom.flash == b"\x5a" * MIB4


def test_ctrl_c_in_the_middle_says_what_the_board_is_now(table, monkeypatch, capsys) -> None:
    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    before = table.file.read_bytes()
    monkeypatch.setattr("fleet.flash.loader.Loader.start", interrupted)
    status, rom = flash("south", "--yes")
    said = capsys.readouterr().err
    assert status == Exit.INTERRUPTED
    assert "the board may be half written" in said
    assert "Nothing is half written" not in said
    assert rom.flash != b"\x5a" * MIB4
    assert table.file.read_bytes() == before


def test_no_keys_and_no_network_are_told_before_a_port_is_opened(table, capsys) -> None:
    (table.keys.path / "networks.toml").unlink()
    assert run(["flash", "south", "--port", "/dev/ttyUSB99"]) == Exit.USAGE
    assert "error KEY105: " in capsys.readouterr().err
    table.keys.path.rename(table.folder / "elsewhere")
    assert run(["flash", "south", "--port", "/dev/ttyUSB99"]) == Exit.USAGE
    assert "error KEY101: " in capsys.readouterr().err


def test_what_build_shelves_is_what_flash_writes(table, capsys, monkeypatch) -> None:
    """With a stand-in for PlatformIO's compiler run alone."""
    replace_platformio(monkeypatch)
    assert run(["build", "south", "--target", "board", "--release", "2.0.0"]) == Exit.OK, (
        capsys.readouterr().err
    )
    entry = table.shelf.newest("south")
    assert entry is not None
    capsys.readouterr()
    assert entry.release == "2.0.0"
    status, rom = flash("south", "--yes", "--json")
    printed = capsys.readouterr()
    assert status == Exit.OK, printed.err
    assert json.loads(printed.out)["image"] == entry.image
    assert rom.flash[0x10000 : 0x10000 + entry.size_bytes] == table.shelf.image(entry.image)
    beside = table.shelf.record(entry.record)["beside"]
    boot = table.shelf.image(beside["boot-loader"])
    assert rom.flash[0x1000 : 0x1000 + len(boot)] == boot
