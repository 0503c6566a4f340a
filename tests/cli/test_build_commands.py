"""keys, render, build and shelf as a person types them; PlatformIO itself is replaced
(tests/fake_platformio.py)."""

from __future__ import annotations

import base64
import io
import json
import re
import shutil
import stat
from collections import Counter
from pathlib import Path

import jsonschema
import pytest

from fleet.check.load import load_inventory
from fleet.cli.app import run
from fleet.codes import Exit
from fleet.keys.folder import KeyFolder
from fleet.resources import demo_inventory_dir
from tests.fake_platformio import replace_platformio

DEMO_INVENTORY = demo_inventory_dir()
SCHEMAS = Path(__file__).resolve().parent.parent.parent / "fleet" / "schemas"
INVENTORY = """
fleet: {name: sample, domain: water.example, release: 1.2.0}
sites:
  - {name: hill, time_zone: Europe/Lisbon, network: hill-wifi}
tanks:
  - name: header
    site: hill
    duty: potable
    shape: {kind: vertical-cylinder, diameter: 2 m, height: 2 m}
    marks:
      - {name: empty, height: 200 mm}
      - {name: full, height: 1800 mm}
    pump: {name: bore, does: fill, flow: 60 L/min}
  - name: trough
    site: hill
    duty: livestock
    shape: {kind: box, length: 2 m, width: 1 m, height: 60 cm}
    marks:
      - {name: empty, height: 100 mm}
      - {name: full, height: 500 mm}
nodes:
  - name: hill-1
    board: d1-mini
    serves:
      - tank: header
        probes: {full: D5, empty: D7}
        pump_relay: {pin: D1}
  - name: hill-2
    board: esp32-devkit
    serves:
      - tank: trough
        probes: {full: IO32, empty: IO33}
"""


@pytest.fixture
def project(tmp_path, monkeypatch) -> Path:
    """A project folder that is the current one, with its own key folder and target host."""
    folder = tmp_path / "project"
    (folder / "inventory").mkdir(parents=True)
    (folder / "inventory" / "all.yaml").write_text(INVENTORY, encoding="utf-8")
    (folder / "tankfleet.toml").write_text('target = "host"\nkeys = "keys"\n', encoding="utf-8")
    monkeypatch.chdir(folder)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.setattr("fleet.push.other_keys.find", _nobody)
    return folder


async def _nobody(*args: object, **kwargs: object) -> list[object]:
    """No network is looked at for nodes that have keys."""
    return []


@pytest.fixture
def keyed(project, capsys) -> Path:
    """The same with keys."""
    assert run(["keys", "create", "--new-fleet"]) == Exit.OK
    capsys.readouterr()
    return project


@pytest.fixture
def compiled(monkeypatch) -> list[str]:
    return replace_platformio(monkeypatch)


def _json(capsys, *words: str) -> dict:
    """The JSON that a command prints, held against the schema that comes with the package."""
    assert run([*words, "--json"]) == Exit.OK
    printed = json.loads(capsys.readouterr().out)
    kind = printed["schema"].split("/")[1]
    schema = json.loads((SCHEMAS / f"{kind}.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(printed, schema)
    return printed


def test_keys_are_created_once(project, capsys) -> None:
    assert run(["keys", "create"]) == Exit.OK
    first = capsys.readouterr()
    assert "Created the signing key" in first.err
    assert "next: tankfleet build" in first.err
    assert run(["keys", "create"]) == Exit.OK
    second = capsys.readouterr()
    assert "nothing was changed" in second.err
    assert second.out == first.out


def test_keys_are_created_in_an_empty_folder_and_not_beside_other_files(project, capsys) -> None:
    (project / "keys").mkdir()
    assert run(["keys", "create"]) == Exit.OK
    assert stat.S_IMODE((project / "keys").stat().st_mode) == 0o700
    (project / "keys" / "signing-key.pem").unlink()
    assert run(["keys", "create"]) == Exit.USAGE
    assert "signing-key.pem" in capsys.readouterr().err


def test_shown_keys_hold_no_secret(keyed, capsys) -> None:
    shown = json.dumps(_json(capsys, "keys", "show"))
    assert run(["keys", "show"]) == Exit.OK
    shown += capsys.readouterr().out
    folder = KeyFolder.open(keyed / "keys")
    private = folder.signing_key().private_numbers().private_value.to_bytes(32, "big")
    for secret in (private, folder.fleet_key()):
        assert secret.hex() not in shown.lower()
        assert base64.b64encode(secret).decode().rstrip("=") not in shown
    assert folder.public_point().hex() in shown
    assert folder.key_id().hex() in shown


def test_keys_that_others_can_read_are_refused(keyed, capsys) -> None:
    (keyed / "keys").chmod(0o755)
    assert run(["build"]) == Exit.USAGE
    err = capsys.readouterr().err
    assert "KEY102" in err
    assert "0700" in err


def test_build_without_keys_says_how_to_create_them(project, capsys, compiled) -> None:
    assert run(["build"]) == Exit.USAGE
    err = capsys.readouterr().err
    assert "KEY101" in err
    assert "tankfleet keys create" in err
    assert compiled == []


def test_passphrase_comes_from_standard_input_and_is_never_shown(keyed, capsys, monkeypatch) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("correct horse battery\n"))
    assert run(["keys", "set-network", "hill-wifi", "--ssid", "Hill Farm"]) == Exit.OK
    said = capsys.readouterr()
    networks = _json(capsys, "keys", "networks")
    assert networks["networks"] == [{"network": "hill-wifi", "ssid": "Hill Farm", "sites": ["hill"]}]
    assert run(["keys", "networks"]) == Exit.OK
    said_too = capsys.readouterr()
    assert "horse" not in said.out + said.err + json.dumps(networks) + said_too.out + said_too.err
    assert KeyFolder.open(keyed / "keys").network("hill-wifi").passphrase == "correct horse battery"


def test_network_that_no_site_has_gets_a_suggestion(keyed, capsys) -> None:
    assert run(["keys", "set-network", "hil-wifi", "--ssid", "x"]) == Exit.USAGE
    assert "Did you mean 'hill-wifi'?" in capsys.readouterr().err


def test_node_key_goes_to_a_private_file_and_over_none(keyed, capsys) -> None:
    assert run(["keys", "node", "hill-1", "--out", "hill.key"]) == Exit.OK
    key = KeyFolder.open(keyed / "keys").node_key("hill-1").hex()
    said = capsys.readouterr()
    assert key not in said.out + said.err
    path = keyed / "hill.key"
    assert path.read_text() == f"{key}\n"
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert run(["keys", "node", "hill-2", "--out", "hill.key"]) == Exit.USAGE
    assert path.read_text() == f"{key}\n"


def test_render_writes_once(keyed, capsys) -> None:
    first = _json(capsys, "render")
    assert [made["node"] for made in first["projects"]] == ["hill-1", "hill-2"]
    assert all("platformio.ini" in made["written"] for made in first["projects"])
    assert (keyed / "rendered" / "hill-2" / "src" / "node_block.cpp").is_file()
    assert run(["render"]) == Exit.OK
    printed = capsys.readouterr()
    assert "nothing was written" in printed.err
    assert printed.out == ""


def test_render_of_one_node_touches_no_other(keyed, capsys) -> None:
    assert run(["render", "hill-2"]) == Exit.OK
    assert [path.name for path in (keyed / "rendered").iterdir()] == ["hill-2"]
    assert run(["render", "hil-2"]) == Exit.USAGE
    assert "Did you mean 'hill-2'?" in capsys.readouterr().err


def test_board_target_renders_complete_projects(keyed, capsys, compiled) -> None:
    assert run(["render", "--target", "board"]) == Exit.OK
    project = keyed / "rendered" / "hill-1"
    text = (project / "platformio.ini").read_text(encoding="utf-8")
    port = re.search(r"platformio/espressif(8266|32)@", text)
    assert port
    assert (project / "src" / "ports" / f"esp{port[1]}" / "main.cpp").is_file()
    assert not (project / "src" / "ports" / "host").exists()
    assert (project / "src" / "node_block.cpp").is_file()
    assert compiled == []


def test_build_then_nothing_to_do_then_a_release(keyed, capsys, compiled) -> None:
    first = _json(capsys, "build")
    assert first["made"] == ["hill-1", "hill-2"]
    assert len(first["compiled"]) == 2
    assert run(["build"]) == Exit.OK
    printed = capsys.readouterr()
    assert "Nothing has changed: 2 images" in printed.err
    assert first["entries"][0]["image"][:16] in printed.out
    compiled.clear()
    second = _json(capsys, "build", "--release", "1.3.0", "hill-1")
    assert second["made"] == ["hill-1"]
    assert compiled == []
    shelf = _json(capsys, "shelf", "hill-1")
    assert [entry["release"] for entry in shelf["entries"]] == ["1.2.0", "1.3.0"]
    assert shelf["entries"][1]["sequence"] > shelf["entries"][0]["sequence"]


def test_progress_goes_to_stderr_and_the_table_to_stdout(keyed, capsys, compiled) -> None:
    assert run(["build"]) == Exit.OK
    printed = capsys.readouterr()
    assert printed.out.startswith("node ")
    assert len(printed.out.splitlines()) == 3
    assert "compiling d1-mini/base/copy-in-place/host" in printed.err
    assert "next: tankfleet plan" in printed.err


def test_many_images_are_a_row_for_each_class(keyed, capsys, compiled) -> None:
    (keyed / "inventory" / "all.yaml").unlink()
    shutil.copytree(DEMO_INVENTORY, keyed / "inventory", dirs_exist_ok=True)
    assert run(["build"]) == Exit.OK
    head, *rows = capsys.readouterr().out.splitlines()
    assert head.split("  ")[0] == "class"
    boards = Counter(node.board for node in load_inventory(keyed / "inventory").nodes)
    assert [row.split("/")[0] for row in rows] == sorted(boards)
    for row in rows:
        name, nodes, new, unchanged, _, _, *compiled_in = row.split()
        assert (int(nodes), int(new), int(unchanged)) == (boards[name.split("/")[0]], int(nodes), 0)
        assert compiled_in == ["the", "same", "run"] or float(compiled_in[0]) >= 0
    built = _json(capsys, "build")
    assert len(built["entries"]) == sum(boards.values())
    assert [(one["nodes"], one["made"], one["unchanged"], one["compile_s"]) for one in built["classes"]] == [
        (boards[board], 0, boards[board], None) for board in sorted(boards)
    ]


def test_defect_is_for_the_bench_alone_and_spelt_right(keyed, capsys, compiled) -> None:
    for words in (["--defect", "crash"], ["--defect", "crash-at-boot", "--target", "board"]):
        assert run(["build", *words]) == Exit.USAGE
        err = capsys.readouterr().err
        assert "BLD103" in err
        assert "hang-after-minute" in err
    assert (
        _json(capsys, "build", "--defect", "crash-at-boot")["entries"][0]["release"] == "1.2.0+crash-at-boot"
    )


def test_release_text_that_cannot_be_is_refused(keyed, capsys, compiled) -> None:
    for command in ("render", "build"):
        assert run([command, "--release", "a b"]) == Exit.USAGE
        assert "RND105" in capsys.readouterr().err


def test_empty_shelf_says_what_to_do(keyed, capsys) -> None:
    assert run(["shelf"]) == Exit.OK
    assert "next: tankfleet build" in capsys.readouterr().err
    assert run(["shelf", "nobody"]) == Exit.USAGE


def test_failed_compiler_shows_its_last_lines_and_the_log(keyed, capsys, compiled, monkeypatch) -> None:
    from fleet import resources

    real = dict(resources.load_templates())
    real["firmware/core/bad.cpp"] = b"#error here\n"
    monkeypatch.setattr(resources, "load_templates", lambda: real)
    assert run(["build"]) == Exit.PROBLEMS
    err = capsys.readouterr().err
    assert "BLD101" in err
    assert "#error here" in err
    assert ".log" in err
