"""`show`: every part of the demo inventory is shown and fits; its JSON agrees with the shipped schema."""

from __future__ import annotations

import json
import re
from math import acosh, pi
from pathlib import Path

import jsonschema
import pytest

from fleet.boards.board import board_ids, load_board
from fleet.boards.uses import Answer
from fleet.check.load import load_inventory
from fleet.cli.app import run
from fleet.cli.section import ROWS, Line, draw
from fleet.cli.show_board import drawing, good_for
from fleet.codes import Exit
from fleet.facts.electrodes import about_electrodes
from fleet.facts.node import about_board, about_node
from fleet.facts.tank import about_tank
from fleet.model.tank import Water
from fleet.water.quantities import Units, counted, duration
from tests.water.shapes import shape

ROOT = Path(__file__).resolve().parent.parent.parent
INVENTORY = load_inventory(ROOT / "inventory")
TANKS = [tank.name for tank in INVENTORY.tanks]
NODES = [node.name for node in INVENTORY.nodes]
SITES = [site.name for site in INVENTORY.sites]


def shown(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    """What `show` prints."""
    assert run(["--project", str(ROOT), "show", *words]) == Exit.OK
    printed = capsys.readouterr()
    assert printed.err == ""
    return printed.out


def checked(text: str) -> dict:
    """The document, held to the schema that it names."""
    document = json.loads(text)
    kind = document["schema"].split("/")[1]
    schema = json.loads((ROOT / "fleet" / "schemas" / f"{kind}.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator(schema).validate(document)
    return document


@pytest.mark.parametrize(
    ("kind", "names"), [("tank", TANKS), ("node", NODES), ("site", SITES), ("board", list(board_ids()))]
)
def test_each_part_as_text_and_as_json(
    kind: str, names: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    for name in names:
        text = shown(capsys, kind, name)
        assert text.startswith(f"{name}: ")
        facts = checked(shown(capsys, kind, name, "--json"))[kind]
        assert facts.get("name", facts.get("id")) == name
        assert "inf" not in json.dumps(facts).split()


def test_a_tank_s_figures(capsys: pytest.CaptureFixture[str]) -> None:
    """A cylinder of 3 m: 7,068.6 L per metre (pi D2 / 4); reserve at 0.3 m; 16 L/min drawn at most."""
    tank = checked(shown(capsys, "tank", "header-east", "--json"))["tank"]
    per_metre = 7068.583
    assert [mark["name"] for mark in tank["marks"]] == ["empty", "half", "full"]
    for mark, metres in zip(tank["marks"], (0.4, 1.2, 2.7), strict=True):
        assert mark["volume_l"] == pytest.approx(per_metre * metres, rel=1e-6)
        assert mark["above_l"] == pytest.approx(per_metre * (2.85 - metres), rel=1e-6)
        assert mark["share"] == pytest.approx(metres / 2.85)
    spare = [level["spare_s"] for level in tank["levels"]]
    # Its pump of 1.1 kW rests 76 s (NEMA MG 10 table 2-3, 1.5 hp, 2 poles) and runs up for 10 s, a sample ends the
    # rest, and twice its probes take 4.2 s to be believed.
    late_s = 76 + 10 + 0.1 + 2 * 4.2
    down = [per_metre * (m - 0.3) / 16 * 60 - late_s for m in (0.4, 1.2, 2.7)]
    assert spare == pytest.approx([0, *down], rel=1e-6)
    assert tank["pump"]["quiet_s"] == pytest.approx(per_metre * 2.3 / 45 * 60, rel=1e-6)
    assert tank["pump"]["worst_s"] == pytest.approx(per_metre * 2.3 / (45 - 16) * 60, rel=1e-6)
    assert tank["stand_ins"] == ["header-west"]
    text = shown(capsys, "tank", "header-east")
    for figure in (
        "19,085 L",
        "1,060 L",
        "95 %",
        "6 h 36 min",
        "IO18 (GPIO18)",
        "; less 1 min 34 s until its probes",
    ):
        assert figure in text


def test_us_units_say_the_same(capsys: pytest.CaptureFixture[str]) -> None:
    """drip-south is measured in feet and gallons; its strapping table has 1,950 gal at 1 ft."""
    text = shown(capsys, "tank", "drip-south", "--us-units")
    row = next(line for line in text.splitlines() if line.startswith("empty "))
    assert "1.00 ft" in row
    assert "1,950 gal" in row


@pytest.mark.parametrize("name", TANKS)
def test_us_units_reach_every_line(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    text = shown(capsys, "tank", name, "--us-units")
    assert not re.search(r"\d (L|m|mm|L/min|kW)\b", text)


@pytest.mark.parametrize("name", TANKS)
def test_the_section_fits_and_shows_every_mark(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    tank = INVENTORY.tank(name)
    text = shown(capsys, "tank", name)
    drawing = text[text.index("  .") : text.index("mark ")]
    assert all(len(line) <= 80 for line in drawing.splitlines())
    heights = [f"{mark.height_m:.2f} m" for mark in reversed(tank.marks)]
    places = [drawing.index(f"{height} ") for height in heights]
    assert places == sorted(places)


def test_section_keeps_close_marks_apart() -> None:
    lines = [Line(h, f"{h} m", f"m{i}") for i, h in enumerate((1.99, 1.98, 1.97, 0.02, 0.01))]
    drawn = draw(shape("box", length="1 m", width="1 m", height="2 m"), lines)
    assert len(drawn) == ROWS + 2
    rows = [next(i for i, row in enumerate(drawn) if line.label in row.split("|")[0]) for line in lines]
    assert rows == [1, 2, 3, ROWS - 1, ROWS]


def test_cautions_defer_and_apply(capsys: pytest.CaptureFixture[str]) -> None:
    """What the standards named in fleet/water/cautions.py ask for, where it applies."""
    for name in TANKS:
        assert "local code and a licensed person decide" in shown(capsys, "tank", name)
    matters = {name: {c.matter for c in about_tank(INVENTORY, name).cautions} for name in TANKS}
    assert "fire reserve" in matters["fire-yard"]
    assert "drinking water" in matters["cabin-tern"]
    assert "backflow" in matters["staff-house"]
    assert "mains near water" not in matters["trough-brook"], "its pump runs on DC"
    assert "pump relay" not in matters["trough-ridge"], "it has none"
    refill = next(c.text for c in about_tank(INVENTORY, "lodge-fire").cautions if c.matter == "fire reserve")
    assert "7.7 h, within the 8 h" in refill  # 46,000 L at 100 L/min; NFPA 22 4.2.1.4


def test_a_node_s_pins(capsys: pytest.CaptureFixture[str]) -> None:
    text = shown(capsys, "node", "larkwood-07")
    assert "pump relay, on at LOW" in text
    outside = about_node(INVENTORY, "kestrel-07")
    assert {use.pull_up for use in outside.pins if use.for_what == "probe"} == {"external"}
    answers = {(name, use.pin): use.answer for name in NODES for use in about_node(INVENTORY, name).pins}
    assert {pin for pin, answer in answers.items() if answer != Answer.ALLOWED} == {("larkwood-04", "D7")}


def test_a_node_s_electrodes(capsys: pytest.CaptureFixture[str]) -> None:
    """A cell constant of acosh(20 / 6) / (4 cm x pi), and rain through the resistor that its cistern has."""
    text = shown(capsys, "node", "kestrel-05")
    assert "electrodes of barn-cistern: rods, cell constant 0.149 /cm" in text
    assert "pass: a resistor of 390 kohm" in text
    assert "2.5 times that for the highest of 4 wet probes" in " ".join(text.split())
    facts = about_node(INVENTORY, "kestrel-05").electrodes[0]
    assert (facts.wet, facts.dry) == ("pass", "pass")
    assert facts.cell_constant_per_cm == pytest.approx(acosh(20 / 6) / (4 * pi))
    assert facts.least_us_per_cm == pytest.approx(20)
    # Cold rain of 20 uS/cm has 1e4 / (20 x 0.6) ohm m; three times that with film, and 2.5 times that with four on one
    # common electrode (tests/water/test_shared_electrode.py), against 390 kohm less 5 % / 3.
    assert facts.surely_wet_from_m == pytest.approx(2.5 * 3 * 1e4 / 12 * acosh(20 / 6) / pi / (370.5e3 / 3))
    assert (facts.probes_on_at_once, facts.shared) == (4, 2.5)
    assert about_node(INVENTORY, "kestrel-01").electrodes[0].shared == 1
    assert about_node(INVENTORY, "kestrel-01").electrodes[0].pull_up is not None
    assert about_node(INVENTORY, "kestrel-03").electrodes == ()
    assert "  to fit nothing" in text
    assert (facts.needs_resistor, facts.resistor_to_fit_ohm) == (False, None)


def test_a_resistor_to_fit_is_named_where_one_must_be_fitted() -> None:
    """The cistern's rain through the chip's own 45 kohm: cold and coated it is not surely read; with mains it is. The
    chip's pull-up does not lift 200 m of cable within a millisecond either; a resistor of 1 kohm lets 3 mA through."""
    tank, node = INVENTORY.tank("barn-cistern"), INVENTORY.node("kestrel-05")
    board, served = load_board(node.board), node.serves[0]
    inside = served.model_copy(
        update={"pull_up": "internal", "pull_up_resistor_ohm": None, "cable_length_m": None}
    )
    mains = tank.model_copy(
        update={"water": Water.model_validate({"kind": "mains", "conductivity": "200 uS/cm"})}
    )
    small = served.model_copy(update={"pull_up_resistor_ohm": 1000.0})
    open_value = served.model_copy(update={"pull_up_resistor_ohm": None})
    needs = []
    for of, wired in (
        (tank, inside), (mains, inside), (mains, inside.model_copy(update={"cable_length_m": 200.0})), (mains, small),
        (mains, open_value),
    ):  # fmt: skip
        facts = about_electrodes(of, wired, board)
        assert facts is not None
        assert facts.needs_resistor or facts.resistor_to_fit_ohm is None
        needs.append(facts.needs_resistor)
    assert needs == [True, False, True, True, True]


def test_lists(capsys: pytest.CaptureFixture[str]) -> None:
    everything = checked(shown(capsys, "--json"))
    assert [tank["name"] for tank in everything["tanks"]] == TANKS
    text = shown(capsys)
    for name in (*TANKS, *NODES, *SITES):
        assert name in text
    assert set(checked(shown(capsys, "nodes", "--json"))) == {"schema", "nodes"}
    assert shown(capsys, "boards").count("\n") == len(board_ids()) + 1
    row = next(line for line in shown(capsys, "tanks", "--us-units").splitlines() if "lodge-fire" in line)
    assert "12,152 gal" in row  # 46,000 L


@pytest.mark.parametrize("board_id", board_ids())
def test_a_board_is_drawn_with_each_pin_once(board_id: str) -> None:
    facts = about_board(None, board_id)
    lines = list(drawing(facts))
    assert len({line.rindex("|") for line in lines[1:-1]}) == 1, "the right edge is straight"
    rows = [line for line in lines if "--| " in line or " |--" in line]
    named = [name for line in rows for name in line.split("|")[1].split()]
    known = {pin.pin for pin in facts.pins}
    assert sorted(name for name in named if name in known) == sorted(known)
    drawn = [name for line in lines[2:-1] for name in line.split("|")[1].split()]
    assert sorted(drawn) == sorted((*facts.rows[0], *facts.rows[1])), "ground and supply too"
    letters = {pin.pin: good_for(pin) for pin in facts.pins}
    for line in rows:
        before, names, after = line.split("|")
        first, last = names.split()[0], names.split()[-1]
        assert letters.get(first, " ") in before
        assert letters.get(last, "") in after


def test_what_the_letters_of_a_drawing_say() -> None:
    """esp8266/Arduino doc/boards.rst and the measured table of levels at boot: D1 is free, D3 HIGH at reset."""
    letters = {pin.pin: good_for(pin) for pin in about_board(None, "d1-mini").pins}
    assert letters["D1"] == "PXHLF.S"
    assert letters["D3"] == "......s"
    assert letters["D0"] == ".X.lf.S"
    assert letters["D7"] == "PXhLF.S"


def test_a_board_says_what_its_pins_are_at_reset_and_what_hangs_on_them(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """esp32-table-io-mux.inc: MTCK (GPIO13) wpd, MTMS (GPIO14) wpu, GPIO25 nothing; bridge at U0RXD: its guide."""
    text = shown(capsys, "board", "esp32-devkit")
    rows = {line.split()[0]: line for line in text.splitlines() if re.match(r"IO\d+ +\S", line)}
    assert "pulled down" in rows["IO13"]
    assert "pulled up" in rows["IO14"]
    assert "floats" in rows["IO25"]
    assert "is driven HIGH by the USB bridge through 470 ohm" in " ".join(text.split())
    assert "pulls GPIO0 LOW" in text
    pins = {
        pin["pin"]: pin for pin in checked(shown(capsys, "board", "esp32-devkit", "--json"))["board"]["pins"]
    }
    assert pins["IO13"]["reset"]["pull"] == "down"
    assert pins["IO3"]["loads"][0] | {"what": "", "source": ""} == {
        "kind": "driver", "what": "", "to": "high", "ohm": 470.0, "drop_v": None, "some": False, "source": "",
    }  # fmt: skip


@pytest.mark.parametrize(("pin", "wet"), [("D5", "pass"), ("RX", "fail")])
def test_a_probe_that_the_board_drives_does_not_pass(pin: str, wet: str) -> None:
    """Bore water of 480 uS/cm between these rods has 0.17 to 0.52 kohm, as it is worked for `WORKED` in
    tests/water/test_electrodes.py, 20 % and 5 to 35 degrees either way: more than 470 ohm to
    3.3 V leave, 157 ohm."""
    served = (
        INVENTORY.node("kestrel-01").serves[0].model_copy(update={"probes": {"full": "D1", "empty": pin}})
    )
    facts = about_electrodes(INVENTORY.tank("header-east"), served, load_board("nodemcu-v2"))
    assert facts is not None
    assert facts.wet == wet
    assert ("470 ohm to HIGH" in (facts.pull_up or "")) is (pin == "RX")


def test_boards_need_no_inventory(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["--project", str(tmp_path), "show", "board", "d1-mini"]) == Exit.OK
    assert "inventory" not in capsys.readouterr().out, "nothing is said of what was not looked at"
    assert run(["--project", str(tmp_path), "show", "boards", "--json"]) == Exit.OK
    checked(capsys.readouterr().out)
    assert run(["--project", str(tmp_path), "show", "tanks"]) == Exit.USAGE


def test_boards_are_shown_while_the_inventory_has_errors(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """`check` sends people with a wrong pin to `show board`."""
    (tmp_path / "inventory").mkdir()
    (tmp_path / "inventory" / "fleet.yaml").write_text("fleet: {name: x}\n")
    assert run(["--project", str(tmp_path), "show", "board", "d1-mini"]) == Exit.OK
    printed = capsys.readouterr()
    assert printed.out.startswith("d1-mini: ")
    assert "tankfleet check" in printed.err
    assert run(["--project", str(tmp_path), "show", "boards"]) == Exit.OK
    assert "spares" not in capsys.readouterr().out, "nothing was counted"
    assert run(["--project", str(tmp_path), "show", "nodes"]) == Exit.USAGE


@pytest.mark.parametrize(
    ("words", "lists"),
    [
        (("show", "board", "x"), "show board"),
        (("show", "tank", "x"), "show tank"),
        (("sheet", "node", "x"), "show node"),
        (("explain", "x"), "explain"),
        (("schema", "x"), "schema"),
    ],
)
def test_an_unknown_name_says_what_lists_the_known_ones(
    words: tuple[str, ...], lists: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["--project", str(ROOT), *words]) == Exit.USAGE
    assert f"Run `tankfleet {lists}` to list the names." in capsys.readouterr().err
    assert run(["--project", str(ROOT), *lists.split()]) == Exit.OK
    assert len(capsys.readouterr().out.splitlines()) > 3


@pytest.mark.parametrize(
    ("words", "suggestion"),
    [(("tank", "headr-east"), "header-east"), (("bord",), "board"), (("board", "nodemcu-v3"), "nodemcu-v2")],
)
def test_misspelt_names_get_one_suggestion(
    words: tuple[str, ...], suggestion: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["--project", str(ROOT), "show", *words]) == Exit.USAGE
    printed = capsys.readouterr()
    assert f"Did you mean '{suggestion}'?" in printed.err
    assert printed.out == ""


def test_durations_and_volumes_as_text() -> None:
    words = [duration(s) for s in (45, 250, 720, 23_880, 276_480, None)]
    assert words == ["45 s", "4 min 10 s", "12 min", "6 h 38 min", "3.2 d", "without end"]
    # What a slip of a unit can make of a time stays short: 2^32 s are 136 years.
    words = [duration(s) for s in (0.0, 0.5, 89.6, 599.7, 1e8, 2.0**32, 1e15, float("inf"))]
    assert words == [
        "0 s",
        "0.5 s",
        "90 s",
        "10 min",
        "3 years",
        "136 years",
        "over 1000 years",
        "over 1000 years",
    ]
    assert [counted(n, "wave") for n in (0, 1, 2)] == ["0 waves", "1 wave", "2 waves"]
    assert [counted(n, "class", "classes") for n in (1, 2)] == ["1 class", "2 classes"]
    assert Units().volume(37.5) == "37.5 L"
    assert Units(True).volume(3.785411784 * 1100) == "1,100 gal"
    assert Units(True).length(2.4384) == "8.00 ft"


def test_depth_against_volume(capsys: pytest.CaptureFixture[str]) -> None:
    """A cylinder of 3 m: 7,068.6 L per metre (pi D2 / 4), overflow at 2.85 m."""
    facts = checked(
        shown(capsys, "tank", "header-east", "--table", "50 cm", "--depth-of", "7068.583 L", "--json")
    )
    by_depth = {row["depth_m"]: row for row in facts["table"]}
    assert by_depth[1.0]["volume_l"] == pytest.approx(7068.583, rel=1e-6)
    assert by_depth[1.0]["ullage_l"] == pytest.approx(7068.583 * 1.85, rel=1e-6)
    assert by_depth[2.7]["at"] == "full"
    assert by_depth[2.85]["share"] == 1.0
    assert facts["holds"]["depth_m"] == pytest.approx(1.0)
    text = shown(capsys, "tank", "header-east", "--table", "1 ft", "--us-units")
    assert next(line for line in text.splitlines() if line.startswith("1.00 ft")).split()[2:4] == [
        "569",
        "gal",
    ]
    assert "1.000 m of depth" in shown(capsys, "tank", "header-east", "--depth-of", "7068.583L")
    told = "21206 L"  # 3 m of it are 21,205.75 L: what is told in whole litres can be asked for
    assert "3.000 m of depth" in shown(capsys, "tank", "header-east", "--depth-of", told)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("tank", "header-east", "--table", "10"), "no unit"),
        (("tank", "header-east", "--table", "0.1 mm"), "rows"),
        (("tank", "header-east", "--depth-of", "90 m3"), "never holds"),
        (("tank", "header-east", "--depth-of", "1 m"), "volume"),
        (("tank", "--table", "10 cm"), "one tank"),
        (("node", "kestrel-01", "--depth-of", "1 L"), "one tank"),
    ],
)
def test_depths_that_cannot_be(words: tuple[str, ...], told: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["--project", str(ROOT), "show", *words]) == Exit.USAGE
    assert told in capsys.readouterr().err


def test_where_each_figure_of_a_pump_comes_from(capsys: pytest.CaptureFixture[str]) -> None:
    """bore-tank's rest is set by hand, with its reason; the motor's table says 83 s (NEMA MG 10, 5 hp, 2 poles)."""
    text = shown(capsys, "tank", "bore-tank")
    for piece in (
        "inventory: the bore recovers slowly",
        "calculated: 83 s",
        "its motor may 8.1",
        "NEMA MG 10",
    ):
        assert piece in text
    need = checked(shown(capsys, "tank", "bore-tank", "--json"))["tank"]["need"]
    assert sum(step["seconds"] for step in need["steps"]) == pytest.approx(need["worst_outage_s"])
    assert need["needed_s"] == pytest.approx(need["margin"] * need["worst_outage_s"])
    assert "the fire reserve is not certain" in shown(capsys, "tank", "fire-yard")


def test_a_site_s_network_and_access_points(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What the file lists, with the nodes that are meant for each; names that only nodes give stand behind."""
    sound = (ROOT / "tests" / "inventory" / "sound" / "two-access-points.yaml").read_text(encoding="utf-8")
    text = sound.replace(
        "network: farm-wifi\n    access", "network: farm-wifi\n    network_traits: [hidden]\n    access"
    )
    assert "[hidden]" in text
    (tmp_path / "inventory").mkdir()
    (tmp_path / "inventory" / "all.yaml").write_text(text, encoding="utf-8")
    assert run(["--project", str(tmp_path), "show", "site", "farm"]) == Exit.OK
    printed = capsys.readouterr().out
    assert re.search(r"^  network +farm-wifi \(hidden\)$", printed, re.M)
    assert re.search(r"^barn +02:11:22:33:44:51 +loft-node$", printed, re.M)
    assert re.search(r"^house +02:11:22:33:44:61, 02:11:22:33:44:62 +-$", printed, re.M)
    assert run(["--project", str(tmp_path), "show", "site", "farm", "--json"]) == Exit.OK
    site = checked(capsys.readouterr().out)["site"]
    assert site["network_traits"] == ["hidden"]
    assert site["access_points"] == [
        {"name": "barn", "bssids": ["02:11:22:33:44:51"], "nodes": ["loft-node"]},
        {"name": "house", "bssids": ["02:11:22:33:44:61", "02:11:22:33:44:62"], "nodes": []},
    ]
    named = checked(shown(capsys, "site", "kestrel-hill", "--json"))["site"]["access_points"]
    assert {one["name"] for one in named} == {"kestrel-ap-top", "kestrel-ap-field", "kestrel-ap-yard"}
    assert {bssid for one in named for bssid in one["bssids"]} == set()


def test_show_node_says_where_its_button_is_and_what_holding_it_does(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The boot button of an ESP32 devkit is on GPIO0 (its schematic)."""
    assert run(["show", "node", "kestrel-01"]) == 0
    assert "button        IO0 (GPIO0): held for 5 s it clears faults that stay" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("metres", "us", "told"),
    [
        (0.064, False, "up to 64 mm"),
        (0.0009, False, "under 1 mm"),
        (0.001, False, "up to 1 mm"),
        (0.0635, True, "up to 2.5 in"),  # 63.5 mm / 25.4 mm
        (0.0025, True, "under 0.1 in"),
        (0.0, False, "under 1 mm"),
    ],
)
def test_how_far_at_most_is_said_once(metres: float, us: bool, told: str) -> None:
    assert Units(us=us).small_length_at_most(metres) == told
