"""The data files of boards and chips keep to their schema, and a mistake in one is named."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from fleet.boards.board import board_ids, chip_pins, load_board
from fleet.boards.data_file import Trait, data_schema, read_board, read_chip
from fleet.cli.app import run
from fleet.codes import Exit
from tests.boards.kinds import KINDS
from tests.firmware.firmware_build import ROOT

DATA = ROOT / "fleet" / "boards" / "data"
BOARDS = sorted(DATA.glob("*.toml"))
CHIPS = sorted((DATA / "chips").glob("*.toml"))


@pytest.mark.parametrize("path", [*BOARDS, *CHIPS], ids=lambda path: path.stem)
def test_the_files_keep_to_the_schema_that_is_exported(path: Path) -> None:
    """jsonschema as the other party."""
    kind = "board" if path in BOARDS else "chip"
    schema = data_schema(kind)
    Draft202012Validator.check_schema(schema)
    Draft202012Validator(schema).validate(tomllib.loads(path.read_text(encoding="utf-8")))


@pytest.mark.parametrize(
    ("kind", "path", "number"),
    [("board", BOARDS[0], "flash_bytes"), ("chip", CHIPS[0], "internal_pull_up_ohm")],
)
def test_the_schema_that_is_exported_refuses_what_the_reader_refuses(kind, path: Path, number: str) -> None:
    """Any key left out, one too many, a number as text."""
    validator = Draft202012Validator(data_schema(kind))
    good = tomllib.loads(path.read_text(encoding="utf-8"))
    optional = {"aliases", "button_pin", "chip_id", "load", "numbers", "unclear"}
    for key in good.keys() - optional:
        assert not validator.is_valid({name: value for name, value in good.items() if name != key}), key
    assert not validator.is_valid(good | {"colour": "blue"})
    assert not validator.is_valid(good | {number: "45000"})
    assert data_schema(kind)["title"] == f"Data file of a {kind}"


def test_the_schemas_are_printed(capsys: pytest.CaptureFixture[str]) -> None:
    for kind in ("board", "chip"):
        assert run(["schema", f"{kind}-file"]) == Exit.OK
        assert json.loads(capsys.readouterr().out) == data_schema(kind)


def test_each_trait_is_one_that_some_chip_has() -> None:
    seen = {fact.trait for path in CHIPS for pin in chip_pins(path.stem) for fact in pin.facts}
    assert seen == set(Trait)


def test_each_chip_is_that_of_a_board() -> None:
    assert {load_board(board_id).chip for board_id in board_ids()} == {path.stem for path in CHIPS}


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("flash_bytes = 4194304", 'flash_bytes = "4 MB"', "flash_bytes"),
        ("flash_bytes = 4194304", 'flash_bytes = "4194304"', "flash_bytes"),
        ("flash_bytes = 4194304", "", "flash_bytes"),
        ("flash_bytes = 4194304", "flash_bytes = 4194304\nflash_size = 4", "flash_size"),
        ('layout = "copy-in-place"', 'layout = "swap"', "layout"),
        ('"D5", "D6", "D7", "D8"', '"D5", "D6", "D7"', "the rows do not have each pin once"),
        ('"D4", "GND"', '"D4", "D5"', "the rows do not have each pin once"),
        ('ground = "GND"', 'ground = "G"', "the rows do not have each pin once"),
        ('["RST", "A0", "5V"]', '["RST", "A0", "5V", "EN"]', "not in the rows: EN"),
        ("D1 = 5", "D1 = 4", "two pins are one GPIO"),
        ("D1 = 5", "D1 = 99", "less than or equal to 63"),
        ('id = "d1-mini"', 'id = "d1-maxi"', "its id is 'd1-maxi'"),
        ("slot_bytes = 1044464", "slot_bytes = 9044464", "larger than the flash"),
        ("platform = \"platform-", "platforms = \"platform-", "no source is named for platform"),
        ("@3.30102.0", "@~3.30102.0", "packages"),
        ("platformio/espressif8266@", "espressif8266@", "platform"),
        ("[outage]", '[aliases]\nD11 = ["X"]\n\n[outage]', "aliases of pins that there are not: D11"),
        ("copies_back = 1", "copies_back = -1", "copies_back"),
        ("notes = [", 'button_pin = "D3"\nnotes = [', "a button and its source go together"),
        ('pin = "RX"', 'pin = "A0"', "loads on pins that there are not: A0"),
        ('to = "high"\n', "", "RX: the driver needs `to` and `ohm`"),
        ("ohm = 10000.0", "ohm = 10000.0\ndrop_v = 2.0", "D3: `drop_v` belongs to a LED"),
        ('is = "driver"', 'is = "input"', "RX: the input has no `to` and `ohm`"),
        ("[sources]", '[sources]\nbutton = "the schematic"', "a button and its source go together"),
        ("notes = [", 'button_pin = "A0"\nnotes = [', "on a pin that there is not: A0"),
    ],
)  # fmt: skip
def test_a_mistake_in_a_board_is_named(old: str, new: str, said: str, tmp_path: Path) -> None:
    text = (DATA / "d1-mini.toml").read_text(encoding="utf-8")
    assert old in text
    broken = tmp_path / "d1-mini.toml"
    broken.write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(ValueError, match=said):
        read_board(broken)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('is = "strap-low"', 'is = "strap-sideways"', "fact"),
        ('pins = "6-11"', 'pins = "6-31"', "does not have"),
        ('relay_first = "5, 4"', 'relay_first = "5, 40"', "does not have"),
        ("internal_pull_up_least_ohm = 20000", "internal_pull_up_least_ohm = 30000", "between its limits"),
        ('source = "esp8266/Arduino doc/boards.rst"', "", "source"),
        ('pins = "4-5"', 'pins = "5"', "`reset` does not have each GPIO once"),
        ('pins = "4-5"', 'pins = "3-5"', "`reset` does not have each GPIO once"),
        ('pull = "down"', 'pull = "sideways"', "reset"),
        ('chip = "esp8266"', 'chip = "esp8285"', "its chip is 'esp8285'"),
    ],
)
def test_a_mistake_in_a_chip_is_named(old: str, new: str, said: str, tmp_path: Path) -> None:
    text = (DATA / "chips" / "esp8266.toml").read_text(encoding="utf-8")
    assert old in text
    broken = tmp_path / "esp8266.toml"
    broken.write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(ValueError, match=said):
        read_chip(broken)


@pytest.mark.parametrize(
    ("read", "name", "old", "new"),
    [
        (read_chip, "chips/esp8266", 'pins = "6-11"', 'pins = "0-16"'),
        (read_chip, "chips/esp8266", "internal_pull_up_least_ohm = 20000", "internal_pull_up_least_ohm = 27000"),
        (read_chip, "chips/esp8266", "internal_pull_up_most_ohm = 100000", "internal_pull_up_most_ohm = 27000"),
        (read_board, "d1-mini", "slot_bytes = 1044464", "slot_bytes = 4194304"),
    ],
)  # fmt: skip
def test_what_is_at_its_limit_is_taken(read, name: str, old: str, new: str, tmp_path: Path) -> None:
    """A fact about all GPIOs, a pull-up that is exact at one end, a slot as large as the flash."""
    text = (DATA / f"{name}.toml").read_text(encoding="utf-8")
    assert old in text
    path = tmp_path / f"{Path(name).name}.toml"
    path.write_text(text.replace(old, new), encoding="utf-8")
    assert read(path)


@pytest.mark.parametrize("board_id", board_ids())
def test_the_rows_have_all_pins_of_the_headers(board_id: str) -> None:
    board = load_board(board_id)
    names = [*board.rows[0], *board.rows[1]]
    grounds, supplies = names.count(board.ground), names.count(board.supply)
    assert {len(row) for row in board.rows} == {KINDS[board_id].headers[0]}
    assert (grounds, supplies) == KINDS[board_id].headers[1:]
