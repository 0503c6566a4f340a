"""`check` and `new` as a person meets them."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from fleet.check.load import load_inventory, read_inventory, read_texts
from fleet.cli.app import run
from fleet.cli.demo import lay_out as lay_out_demo
from fleet.codes import Exit
from fleet.errors import InventoryError
from fleet.inventory.start import fleet_name

GOLDEN = Path(__file__).resolve().parent.parent / "golden" / "inventory"


# ------------------------------------------------------------------ new
def test_a_new_project_passes_its_check_even_a_strict_one(tmp_path: Path, capsys) -> None:
    folder = tmp_path / "Otter Creek"
    assert run(["new", str(folder)]) == Exit.OK
    printed = capsys.readouterr()
    assert printed.out.split("\n")[:-1] == [
        str(folder / name)
        for name in (
            ".gitignore",
            "inventory/fleet.yaml",
            "inventory/home.yaml",
            "tankfleet.toml",
            "tankfleet.id",
        )
    ]
    assert f"next: cd '{folder}'" in printed.err
    assert run(["--project", str(folder), "check", "--strict"]) == Exit.OK
    assert capsys.readouterr().out == "1 site, 2 tanks, 2 nodes: no findings.\n"
    assert load_inventory(folder / "inventory").fleet.name == "otter-creek"
    assert ".tankfleet/" in (folder / ".gitignore").read_text(encoding="utf-8").split("\n")


def test_a_new_project_says_what_to_mind_before_anyone_goes_to_a_tank(tmp_path: Path) -> None:
    """Cautions: mains near water, potable water, fire reserve, confined space, deferring to local code."""
    assert run(["new", str(tmp_path / "a")]) == Exit.OK
    text = (tmp_path / "a" / "inventory" / "home.yaml").read_text(encoding="utf-8")
    for words in (
        "licensed electrician",
        "RCD or GFCI",
        "drinking water",
        "Fire reserve",
        "Confined space",
        "Local codes",
    ):
        assert words in text


@pytest.mark.parametrize("there", ["tankfleet.toml", "inventory/mine.yaml", "inventory/home.yaml"])
def test_new_writes_over_nothing(there: str, tmp_path: Path, capsys) -> None:
    (tmp_path / there).parent.mkdir(exist_ok=True)
    (tmp_path / there).write_text("mine", encoding="utf-8")
    before = sorted(tmp_path.rglob("*"))
    assert run(["new", str(tmp_path)]) == Exit.USAGE
    assert "INV112" in capsys.readouterr().err
    assert sorted(tmp_path.rglob("*")) == before
    assert (tmp_path / there).read_text(encoding="utf-8") == "mine"


SECRET_OR_MADE = (
    "keys/signing-key.pem",
    "kestrel-01.key",
    ".tankfleet/journal.db",
    "rendered/kestrel-01/platformio.ini",
)
COMMITTED = (
    ".gitignore",
    "tankfleet.toml",
    "tankfleet.id",
    "inventory/fleet.yaml",
    "inventory/keys/wells.yaml",
)


def _ignored_by_git(folder: Path) -> set[str]:
    """What git itself, whose file it is, would not commit."""
    git = ("git", "-c", f"safe.directory={folder}", "-C", str(folder))
    env = {**os.environ, "GIT_CONFIG_GLOBAL": os.devnull, "GIT_CONFIG_SYSTEM": os.devnull}
    subprocess.run([*git, "init", "-q"], check=True, env=env)
    asked = subprocess.run(
        [*git, "check-ignore", "--no-index", *SECRET_OR_MADE, *COMMITTED],
        check=False,
        capture_output=True,
        text=True,
        env=env,
    )
    return set(asked.stdout.split())


@pytest.mark.skipif(shutil.which("git") is None, reason="git is not installed")
@pytest.mark.parametrize("how", ["new", "demo"])
def test_keys_and_work_folders_of_a_project_are_never_committed(how: str, tmp_path: Path) -> None:
    folder = tmp_path / "farm"
    if how == "new":
        assert run(["new", str(folder)]) == Exit.OK
    else:
        lay_out_demo(folder, print)
    assert _ignored_by_git(folder) == set(SECRET_OR_MADE)


def test_a_gitignore_that_is_there_gets_only_the_lines_that_it_lacks(tmp_path: Path, capsys) -> None:
    there = "# mine\n/.tankfleet\n*.bak"
    (tmp_path / ".gitignore").write_text(there, encoding="utf-8")
    assert run(["new", str(tmp_path)]) == Exit.OK
    assert str(tmp_path / ".gitignore") in capsys.readouterr().out.split()
    wanted = f"{there}\n/rendered/\n/keys/\n*.key\n"
    assert (tmp_path / ".gitignore").read_text(encoding="utf-8") == wanted
    assert run(["new", str(tmp_path)]) == Exit.OK
    assert capsys.readouterr().out == ""
    assert (tmp_path / ".gitignore").read_text(encoding="utf-8") == wanted


@pytest.mark.parametrize(
    ("folder", "name"),
    [
        ("otter", "otter"),
        ("Otter Creek 2", "otter-creek-2"),
        ("--x--", "x"),
        ("Ärger", "rger"),
        ("井戸", "my-fleet"),
    ],
)
def test_the_fleet_is_named_after_its_folder(folder: str, name: str) -> None:
    assert fleet_name(Path(folder)) == name


def test_a_long_folder_name_makes_a_name_that_is_short_enough() -> None:
    assert fleet_name(Path("a" * 62 + "-b" * 40)) == "a" * 62


# ------------------------------------------------------------------ check
def test_check_needs_an_inventory_folder(tmp_path: Path, capsys) -> None:
    assert run(["--project", str(tmp_path), "check"]) == Exit.USAGE
    assert "CLI104" in capsys.readouterr().err


def test_many_findings_are_cut_on_the_screen_and_whole_in_json(tmp_path: Path, capsys) -> None:
    folder = tmp_path / "inventory"
    folder.mkdir()
    sites = "".join(f"  - {{name: S{i}, time_zone: UTC, network: n}}\n" for i in range(250))
    (folder / "a.yaml").write_text(
        f"fleet: {{name: a, domain: a.example}}\nsites:\n{sites}", encoding="utf-8"
    )
    assert run(["--project", str(tmp_path), "check"]) == Exit.USAGE
    out = capsys.readouterr().out
    assert out.count("error INV124") == 200
    assert "... and 50 more; `tankfleet check --json` lists all." in out
    assert run(["--project", str(tmp_path), "check", "--json"]) == Exit.USAGE
    assert capsys.readouterr().out.count('"INV124"') == 250


def test_all_errors_of_all_files_come_in_one_run_sorted_by_place(tmp_path: Path) -> None:
    (tmp_path / "b.yaml").write_text(
        "sites:\n  - {name: B_1, time_zone: UTC, network: n}\n", encoding="utf-8"
    )
    (tmp_path / "a.yaml").write_text("fleet: {name: a, domian: a.example}\nnodes: {}\n", encoding="utf-8")
    (tmp_path / "c.yaml").write_text("tanks:\n\t- x\n", encoding="utf-8")
    _, findings = read_inventory(tmp_path, tmp_path)
    assert [(str(f.place), f.code.code) for f in findings] == [
        ("a.yaml:1:18", "INV120"),
        ("a.yaml:2:1", "INV122"),
        ("b.yaml:2:12", "INV124"),
        ("c.yaml:2:1", "INV105"),
    ]


def test_other_commands_refuse_an_inventory_with_errors_and_list_them(monkeypatch, capsys) -> None:
    monkeypatch.setenv("TANKFLEET_INVENTORY", ".")
    with pytest.raises(InventoryError) as caught:
        load_inventory(GOLDEN / "unit-missing")
    assert caught.value.code.code == "INV100"
    assert len(caught.value.findings) == 1
    assert run(["--project", str(GOLDEN / "unit-missing"), "show", "tank", "header"]) == Exit.USAGE
    printed = capsys.readouterr()
    assert printed.out == ""
    assert "INV130" in printed.err
    assert "INV100" in printed.err


def test_paths_are_shown_from_the_project_on(tmp_path: Path) -> None:
    (tmp_path / "farm" / "inventory" / "deep").mkdir(parents=True)
    (tmp_path / "farm" / "inventory" / "deep" / "a\x1b[31m.yaml").write_text("[]", encoding="utf-8")
    _, findings = read_inventory(tmp_path / "farm" / "inventory", tmp_path / "farm")
    assert findings[0].place is not None
    assert findings[0].place.path == "inventory/deep/a\ufffd[31m.yaml"


# ------------------------------------------------------------------ one mistake hides no other, and makes no other
FARM = (Path(__file__).resolve().parent / "farm.yaml").read_text(encoding="utf-8")


def found(text: str) -> list[str]:
    return [finding.code.code for finding in read_texts([("farm.yaml", text.encode())])[1]]


def test_a_part_with_an_error_still_resolves_for_others() -> None:
    text = FARM.replace("network: yard-wifi", "network: Yard Wifi").replace(
        "diameter: 2.4 m", "diameter: 2.4"
    )
    assert found(text) == ["INV124", "INV130"]


def test_parts_of_a_file_that_cannot_be_read_are_not_said_to_be_missing() -> None:
    tanks, _, nodes = FARM.partition("nodes:\n")
    findings = read_texts(
        [("tanks.yaml", f"{tanks}\n  @\n".encode()), ("nodes.yaml", f"nodes:\n{nodes}".encode())]
    )[1]
    assert [finding.code.code for finding in findings] == ["INV104"]


def test_mistakes_of_many_kinds_in_one_file_are_all_found() -> None:
    text = (
        FARM.replace("reserve: 0.3 m", "reserve: 0.3")
        .replace("IO33", "IO99")
        .replace("Europe/Lisbon", "Europe/Lisbn")
    )
    text = text.replace("does: drain", "does: drian")
    assert sorted(found(text)) == ["INV123", "INV130", "INV150", "INV168"]


# ------------------------------------------------------------------ edges of the rules
@pytest.mark.parametrize(
    ("old", "new", "codes"),
    [
        ("name: full, height: 1.9 m", "name: full, height: 2.1 m", ["INV510"]),  # at the overflow
        ("overflow: 2.1 m", "overflow: 2.2 m", []),  # at the top
        ("overflow: 2.1 m", "overflow: 2201 mm", ["INV157"]),
        ("name: empty, height: 0.4 m", "name: empty, height: 0 m", ["INV519"]),  # on the floor
        ("name: empty, height: 0.4 m", "name: empty, height: 10 mm", []),
        ("name: half, height: 1.1 m", "name: half, height: 401 mm", ["INV513"]),
        ("name: half, height: 1.1 m", "name: half, height: 400.4 mm", ["INV155"]),  # one millimetre for both
        ("reserve: 0.3 m", "reserve: 1.899 m", ["INV530", "INV523", "INV540"]),
        ("reserve: 0.3 m", "reserve: 1.9 m", ["INV159"]),
        ("on_at: half", "on_at: half, off_at: full", []),
        ("on_at: half", "on_at: half, off_at: half", ["INV161"]),
        ("soak: 1 min", "soak: 239 s", ["INV172"]),
        ("soak: 1 min", "soak: 216 s", ["INV172"]),  # 9 s to come back
        ("soak: 1 min", "soak: 215 s", []),  # 240 - 215 - 15 = 10 s, the restart of a d1-mini
        ("soak: 1 min", "soak: 4 min", ["INV149"]),
        ("trial: 4 min", "trial: 65 s", ["INV172"]),
        ("trial: 4 min", "trial: 85 s", []),
        ("length: 2 h", "length: 4 min", []),
        ("length: 2 h", "length: 239 s", ["INV152"]),
        ("length: 2 h", "length: 7 d", []),
        ("FREQ=WEEKLY;BYDAY=MO", "'FREQ=MONTHLY;BYDAY=1FR,-1FR;BYMONTH=1,2'", []),
        ("FREQ=WEEKLY;BYDAY=MO", "freq=weekly", ["INV151"]),
        ("FREQ=WEEKLY;BYDAY=MO", "FREQ=WEEKLY;BYDAY=MO;BYDAY=TU", ["INV151"]),
        ("FREQ=WEEKLY;BYDAY=MO", "FREQ=WEEKLY;BYEASTER=1", ["INV151"]),
        ("Europe/Lisbon", "Etc/UTC", []),
        ("Europe/Lisbon", "Europe", ["INV150"]),
        ("Europe/Lisbon", "../etc/localtime", ["INV150"]),
        ("pin: D1", "pin: GPIO5", []),
        ("pin: D1", "pin: d1", []),
        ('mac: "10:20:30:40:50:1a"', "mac: 10:20:30:40:50:10", []),  # base 60 in YAML 1.1
        ("    overflow: 2.1 m\n", "", []),
        ("height: 2.2 m}", "height: 2.2 m, bottom: ellipsoidal}", []),
        ("height: 2.2 m}", "height: 2.2 m, bottom: cone, bottom_depth: 0.5 m}", []),
    ],
)
def test_edges(old: str, new: str, codes: list[str]) -> None:
    assert old in FARM
    assert found(FARM.replace(old, new, 1)) == codes


def test_a_supply_group_of_a_tank_and_a_sump_protects_nothing() -> None:
    text = FARM.replace("    duty: livestock\n", "    duty: livestock\n    supply_group: yard\n")
    assert found(text.replace("    duty: sump\n", "    duty: sump\n    supply_group: yard\n")) == ["INV533"]
    assert found(text.replace("    duty: sump\n", "    duty: sump\n    supply_group: yrad\n")) == [
        "INV148",
        "INV148",
    ]


def test_look_ups_go_by_name_and_parts_cannot_be_changed() -> None:
    inventory, _ = read_texts([("farm.yaml", FARM.encode())])
    assert inventory is not None
    node = inventory.node("sump-node")
    assert inventory.site_of(node) is inventory.site("yard")
    assert inventory.tank("sump").pump is not None
    assert [tank.name for tank in inventory.tanks] == ["header", "sump"]
    for look_up in (inventory.site, inventory.tank, inventory.node):
        with pytest.raises(KeyError):
            look_up("nowhere")
    with pytest.raises(ValueError, match="frozen"):
        node.name = "other"


def test_loading_imports_neither_pint_nor_the_slow_mathematics(tmp_path: Path) -> None:
    (tmp_path / "farm.yaml").write_text(FARM, encoding="utf-8")
    code = (
        "import sys; from pathlib import Path; from fleet.check.load import load_inventory;"
        f"load_inventory(Path({str(tmp_path)!r}));"
        "bad = {'pint', 'fluids', 'scipy', 'numpy', 'ruamel', 'rich', 'typer'} & set(sys.modules);"
        "assert not bad, bad"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


@pytest.mark.parametrize(
    "written",
    [
        "10:20:30:40:50:1A",
        "10-20-30-40-50-1a",
        "10-20-30-40-50-1A",
        "1020.3040.501a",
        "10203040501a",
        "10.20.30.40.50.1A",
    ],
)
def test_a_mac_as_labels_and_routers_write_it_is_answered_with_the_right_text(written: str) -> None:
    assert _fix_of_mac(written) == "Write `10:20:30:40:50:1a`."


def test_a_mac_of_digits_alone_is_no_number() -> None:
    assert _fix_of_mac("102030405060") == "Write `10:20:30:40:50:60`."


def _fix_of_mac(written: str) -> str:
    """How the first node's MAC is to be put right, when it is written like this."""
    farm = Path(__file__).with_name("farm.yaml").read_text(encoding="utf-8")
    text = re.sub(r"mac: \S+", f"mac: {written}", farm, count=1)
    assert text != farm
    _, findings = read_texts([("farm.yaml", text.encode())])
    return next(f.fix for f in findings if f.code.code == "INV134")
