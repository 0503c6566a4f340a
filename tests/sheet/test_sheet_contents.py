"""What a sheet says: wires, settings with their origins, steps with what must be read, cautions."""

from __future__ import annotations

import re
from datetime import date

import pytest

from fleet.boards.board import load_board
from fleet.check.load import load_checked, load_inventory
from fleet.facts.site import WindowFacts
from fleet.facts.tank import node_of, wired_to
from fleet.finding import Finding, Subject, SubjectKind
from fleet.resources import demo_inventory_dir
from fleet.sheet.board_svg import draw_board
from fleet.sheet.codes import BAD_REPORT_TEMPLATE
from fleet.sheet.contents import Document, contents
from fleet.sheet.expected import rising_readings
from fleet.sheet.meter import meter_steps
from fleet.sheet.settings import node_settings
from fleet.sheet.steps import may_when
from fleet.sheet.wiring import drawn_board, wires_of
from fleet.sheet.words import window_words
from fleet.water.cautions import cautions
from fleet.water.electrodes import kohm
from fleet.water.quantities import Units
from tests.inventory.test_sound import FOLDER, read
from tests.sample_fleet import sample_inventory
from tests.sheet.hostile import CLOSE_MARKS, LONG, hostile_inventory
from tests.water.shapes import tank

DAY = date(2026, 3, 14)
DEMO = load_inventory(demo_inventory_dir(), demo_inventory_dir().parent)


def _of(kind, name, inventory=DEMO) -> Document:
    return contents(inventory, kind, name, Units(), DAY)


@pytest.mark.parametrize("node", DEMO.nodes, ids=lambda node: node.name)
def test_a_node_has_every_wire_with_its_pin(node) -> None:
    (sheet,) = _of("node", node.name).sheets
    wires = {(wire.tank, wire.what): wire for wire in sheet.wires}
    for served in node.serves:
        for mark, pin in served.probes.items():
            assert wires[served.tank, f"probe {mark}"].pin == pin
        common = wires[served.tank, "common electrode"]
        assert (common.pin, common.gpio) == ("GND", None)  # core/node_block.h: wet reads LOW
        relay = wires.get((served.tank, "pump relay"))
        assert (relay.pin if relay else None) == (served.pump_relay.pin if served.pump_relay else None)
        if relay and served.pump_relay:
            off_level = "GND" if served.pump_relay.active == "high" else "3V3"
            ohm = "3.3" if node.name == "larkwood-04" else "10"  # D7, which its chip pulls up
            assert f"{ohm} kohm from it to {off_level}." in relay.detail  # common practice
    counted = sum(len(s.probes) + 1 + bool(s.pump_relay) for s in node.serves)
    assert len(sheet.wires) == counted


@pytest.mark.parametrize("name", [each.name for each in DEMO.tanks])
def test_a_tank_has_each_of_its_cautions(name) -> None:
    (sheet,) = _of("tank", name).sheets
    wired = wired_to(DEMO.tank(name), node_of(DEMO, name))
    assert [minded.caution for minded in sheet.cautions] == list(cautions(DEMO.tank(name), wired=wired))
    pump = DEMO.tank(name).pump
    assert sheet.mains == (pump is not None and pump.phase != "dc")


def test_a_caution_of_several_tanks_stands_once_and_names_them_unless_it_is_about_all() -> None:
    (sheet,) = _of("node", "edge", hostile_inventory()).sheets
    found = [minded.caution for minded in sheet.cautions]
    assert len(found) == len(set(found))
    by_matter = {minded.caution.matter: minded.tanks for minded in sheet.cautions}
    assert by_matter["fire reserve"] == ("ball",)
    assert by_matter["confined space"] == ("reservoir", "ball", "lying")


def test_colours_come_from_the_inventory() -> None:
    (sheet,) = _of("node", "edge", hostile_inventory()).sheets
    colors = {wire.what: wire.color for wire in sheet.wires if wire.tank == LONG}
    given = ("red", "white/blue", "Yellow", "<i>green</i>")
    assert colors == {
        **{f"probe {mark}": color for mark, color in zip(CLOSE_MARKS, given, strict=True)},
        "common electrode": "black",
        "pump relay": "pink/grey",
    }


def test_settings_say_where_they_came_from() -> None:
    inventory = sample_inventory()
    (sheet,) = _of(
        "node",
        "hill-1" if "hill-1" in [n.name for n in inventory.nodes] else inventory.nodes[0].name,
        inventory,
    ).sheets
    node = {setting.name: (setting.value, setting.origin) for setting in sheet.settings}
    assert node["release"] == ("1.2.0", "inventory")
    assert node["trial of a new image"] == ("5 min", "default, policy")
    assert node["network lost after"] == ("30 min", "default, site")
    header = next(part for part in sheet.tanks if part.facts.name == "header")
    pump = {setting.name: (setting.value, setting.origin) for setting in header.settings}
    assert pump["pump starts at"] == ("mark empty", "default")
    assert pump["longest run"][0] == "2 h"
    assert pump["longest run"][1].startswith("inventory")
    assert pump["shortest off"][0] == "60 s"


# docs/node-interface.md 8: fill: starts when its on mark is dry, stops when its off mark is wet; drain the other
# way round; between the two it goes on doing what it did.
MARKS = {"low": "0.2 m", "mid": "1 m", "high": "1.8 m"}
FILL = {"name": "p", "does": "fill", "flow": "10 L/min"}
DRAIN = {"name": "p", "does": "drain", "flow": "10 L/min"}
READINGS = [
    (FILL, ["on, below-low", "on, between", "on, between", "off, above-high"]),
    (
        FILL | {"on_at": "mid", "off_at": "high"},
        ["on, below-low", "on, below-low", "on, between", "off, above-high"],
    ),
    (DRAIN, ["off, below-low", "off, between", "off, between", "on, above-high"]),
    (
        DRAIN | {"on_at": "mid", "off_at": "low"},
        ["off, below-low", "off, between", "on, above-high", "on, above-high"],
    ),
]


@pytest.mark.parametrize(("pump", "expected"), READINGS)
def test_expected_readings_follow_the_rules_of_the_firmware(pump, expected) -> None:
    readings = rising_readings(tank(MARKS, pump=pump), relay=True)
    assert [reading.words for reading in readings] == [
        f"level {level}, pump relay {words}" for level, words in enumerate(expected)
    ]
    assert [reading.wet for reading in readings] == [(), ("low",), ("low", "mid"), ("low", "mid", "high")]


def test_a_node_that_only_watches_shows_levels_alone() -> None:
    readings = rising_readings(tank(MARKS), relay=False)
    assert [reading.words for reading in readings] == ["level 0", "level 1", "level 2", "level 3"]


def test_the_meter_s_limits_are_those_of_the_inputs() -> None:
    """A third and three times of the pull-up's limits (inputs at 0.25 and 0.75 of the supply: data sheets of the
    ESP32 family and the ESP8266); a resistor of 100 kohm, 5 %: 31.7 and 315 kohm. A meter sees one pair; two probes
    with resistors share their common electrode and see 1.5 times that (test_shared_electrode.py): 21.1 kohm."""
    inventory = hostile_inventory()
    node = inventory.node("edge")
    outside = node.serves[2].model_copy(update={"pull_up": "external", "pull_up_resistor_ohm": 100e3})
    unknown = node.serves[3].model_copy(update={"pull_up": "external"})
    board = load_board(node.board)
    tanks = {each.name: each for each in inventory.tanks}
    wet, dry = meter_steps(tanks["ball"], outside, board)
    assert wet.expect == "at most 21.1 kohm"
    assert dry.expect == "at least 315 kohm"
    assert meter_steps(tanks["lying"], unknown, board) == ()
    (first, *_) = meter_steps(tanks["reservoir"], node.serves[1], board)
    assert first.expect == f"at most {kohm(board.pull_up.least_ohm / 3)}"


def test_volts_are_read_where_a_resistor_outside_makes_them_steady() -> None:
    """A quarter and three quarters of 3.3 V (inputs of the ESP32 family and the ESP8266: data sheets); the chip's own
    pull-up is on for a reading only, so there is nothing to read."""

    def volts(name: str) -> list[str]:
        (sheet,) = _of("node", name).sheets
        (group,) = (group for group in sheet.steps if "Probes" in group.title)
        return [step.expect for step in group.steps if "DC volts" in step.do]

    assert volts("kestrel-05") == ["at most 0.8 V", "at least 2.5 V"]
    assert volts("kestrel-01") == []
    for name in ("kestrel-01", "kestrel-05"):
        steps = [step for group in _of("node", name).sheets[0].steps for step in group.steps]
        assert any("3V3 to GND" in step.do and step.expect == "3.0 to 3.6 V" for step in steps)


def test_every_probe_has_its_own_line_for_its_figure() -> None:
    (sheet,) = _of("node", "kestrel-05").sheets
    steps = [step for group in sheet.steps for step in group.steps if step.each]
    assert len(steps) == 5, "ohms and volts, wet and dry; and where it hangs"
    assert {step.each for step in steps} == {("empty", "half", "full", "brim")}


def test_nothing_is_said_of_a_pump_where_there_is_none() -> None:
    (sheet,) = _of("node", "kestrel-05").sheets
    assert "pump" not in " ".join(f"{step.do} {step.expect}" for group in sheet.steps for step in group.steps)


@pytest.mark.parametrize(
    ("draw", "no_rise", "warned"),
    [
        ("10 L/min", "20 min", "10 min"),
        ("10 L/min", "9 h", "10 min"),
        ("59.7 L/min", "9 h", ""),
        ("10 L/min", "9 min", "9 min"),
    ],
)
def test_the_watch_that_a_trial_in_a_bucket_meets_first_is_warned_of(draw, no_rise, warned) -> None:
    """By hand, a cylinder of 2 m at 60 L/min, from 0.2 m: half a wave of 2 % and 10 mm are 94 L; with 10 L/min and
    64 s of it they take 2.1 min, 1.5 times that is less than the least first rise, 10 min. With 59.7 L/min drawn they
    and the 64 L lost meanwhile take 8.8 h: nobody stands there for so long. A run from a lifted probe meets it, in the
    core too: tests/sheet/test_sheet_firmware.py."""
    header = sample_inventory({"no_rise": {"is": no_rise, "reason": "a slow bore"}})
    tanks = tuple(
        t.model_copy(update={"largest_draw_l_per_min": float(draw.split()[0])}) if t.name == "header" else t
        for t in header.tanks
    )
    (sheet,) = _of("tank", "header", header.model_copy(update={"tanks": tanks})).sheets
    intro = sheet.steps[0].intro
    assert (
        (f"Stay under {warned} with the relay on" in intro) if warned else ("with the relay on" not in intro)
    )


def test_rods_are_measured_from_the_top_too() -> None:
    """header-east is 3 m high: its full mark at 2.70 m is 0.30 m below the top."""
    part = _of("node", "kestrel-01").sheets[0].tanks[0]
    assert [(row.name, row.height, row.from_top) for row in part.marks] == [
        ("full", "2.70 m", "0.30 m"),
        ("half", "1.20 m", "1.80 m"),
        ("empty", "0.40 m", "2.60 m"),
        ("common electrode", "below 0.40 m", "over 2.60 m"),
    ]
    assert part.electrodes.startswith("rods 6 mm thick, 20 mm from centre to centre")
    assert "vertical cylinder, 3.00 m across, shell 3.00 m high" in part.about


def test_windows_in_words() -> None:
    assert _of("site", "kestrel-hill").cover.windows == (
        "Mon, Tue, Wed, Thu, Fri at 10:00 for 5 h, since 2025-03-03",
    )
    assert _of("site", "marram-bay").cover.windows == ("every day at 00:00 for 24 h, since 2025-07-01",)
    rare = WindowFacts("FREQ=MONTHLY;BYMONTHDAY=1", "2025-03-01 08:00", 7200)
    assert window_words(rare) == "FREQ=MONTHLY;BYMONTHDAY=1, at 08:00 for 2 h, since 2025-03-01"


def test_electrodes_and_water_that_are_given_are_allowed_for() -> None:
    """K = 0.5 /cm in water of 500 uS/cm at 25 degrees: 0.5 / 0.0005 = 1 kohm, somewhere within what is calculated."""
    water = {"conductivity": "500 uS/cm"}
    given = tank(MARKS, water=water, electrodes={"kind": "constant", "cell_constant": "0.5 /cm"})
    wet, _ = meter_steps(given, hostile_inventory().node("edge").serves[1], load_board("esp32-s2-devkit"))
    least, most = (
        float(number) * {"ohm": 1e-3, "kohm": 1.0}[unit]
        for number, unit in re.findall(r"([0-9.]+) (k?ohm)", wet.expect.partition("calculated")[2])
    )
    assert least < 1.0 < most


def test_every_probe_is_tried_wet_and_dry_and_crossed() -> None:
    for node in DEMO.nodes:
        (sheet,) = _of("node", node.name).sheets
        probing = [group for group in sheet.steps if "Probes" in group.title]
        assert len(probing) == len(node.serves)
        for group, served in zip(probing, node.serves, strict=True):
            marks = DEMO.tank(served.tank).marks
            expected = [step.expect for step in group.steps]
            for level in range(len(marks) + 1):
                assert any(each.startswith(f"level {level}") for each in expected)
            assert any("contradictory" in each for each in expected)
            assert f"tank {served.tank}:" in group.intro


def test_pump_steps_only_where_the_node_has_a_relay() -> None:
    for node in DEMO.nodes:
        (sheet,) = _of("node", node.name).sheets
        with_relay = [served for served in node.serves if served.pump_relay]
        water = [group for group in sheet.steps if "Pump and water" in group.title]
        assert len(water) == len(with_relay)
        for group in water:
            said = " ".join(f"{step.do} {step.expect}" for step in group.steps)
            for word in ("starts", "stops", "float", "Overflow", "plug out"):
                assert word in said
        numbers = [int(group.title.partition(".")[0]) for group in sheet.steps]
        assert numbers == list(range(1, len(numbers) + 1))


@pytest.mark.parametrize("name", [each.name for each in DEMO.tanks if each.pump and node_of(DEMO, each.name)])
@pytest.mark.parametrize("kind", ["node", "tank"])
def test_what_needs_a_running_pump_is_tried_before_the_mark_that_stops_it(kind, name) -> None:
    """docs/node-interface.md 8: between its marks, a pump that stopped stays off until the other one. And the probes
    are at their marks before it is on: one that lies in the dry reads an empty tank."""
    node = node_of(DEMO, name)
    assert node is not None
    sheet = _of(kind, node.name if kind == "node" else name).sheets[0]
    several = len(node.serves) > 1 and kind == "node"
    said = [
        step.do
        for group in sheet.steps
        if not several or name in group.title or group.title.startswith(("1. Before", "2. First"))
        for step in group.steps
    ]
    order = [
        "isolated and locked",
        "out of the water",
        "All out again",
        "hung in the tank",
        "Type “state”, then",
        "Pump back on",
    ]
    at = [next(number for number, do in enumerate(said) if words in do) for words in order]
    assert at == sorted(at)
    (stops,) = (number for number, do in enumerate(said) if do.startswith("It stops at mark"))
    running = [number for number, do in enumerate(said) if "while the pump runs" in do]
    assert len(running) >= 2
    assert at[-1] < min(running) <= max(running) < stops


def test_probes_are_hung_by_what_is_measured_from_the_top() -> None:
    """header-east is 3 m high, its marks at 2.70, 1.20 and 0.40 m; 50 mm of each rod are to be wet at its mark."""
    (hung,) = (s for g in _of("node", "kestrel-01").sheets[0].steps for s in g.steps if "hung" in s.do)
    rods = DEMO.tank("header-east").electrodes
    assert hung.expect == f"full 0.30 m, half 1.80 m, empty 2.60 m; tips {1000 * rods.wetted_m:.0f} mm lower"
    assert hung.each == ("empty", "half", "full")


def test_a_long_fill_is_watched_for_ten_minutes_a_short_one_timed() -> None:
    """450 L in 10 min into a cylinder of 3 m: 450 / (pi / 4 x 3 x 3 x 1000) = 64 mm; 3,000 L out of a box of 5 m2
    between 0.9 and 0.3 m take 3,000 / 150 = 20 min."""

    def said(name: str) -> str:
        return " ".join(f"{s.do} {s.expect}" for g in _of("tank", name).sheets[0].steps for s in g.steps)

    assert (
        "Level 10 min after the start, with no draw. 64 mm higher (mark empty to mark full: 6 h 1 min, 9 h"
        in said("header-east")
    )
    assert "Time from mark high to mark low (3,000 L). 20 min, 22 min against the largest inflow" in said(
        "parlour-sump"
    )


def test_the_level_after_the_stop_counts_debounce_sample_and_run_on() -> None:
    """2 s + 0.1 s + 2 s at 45 L/min, nothing helps: 3.075 L in a cylinder of 3 m (7.07 m2) are under half a
    millimetre; the parlour's sump, 5 m2, is emptied at 150 L/min: 10.25 L, 2 mm."""
    steps = [step for group in _of("tank", "parlour-sump").sheets[0].steps for step in group.steps]
    assert "up to 2 mm past the mark at 0.30 m" in [step.expect for step in steps]
    steps = [step for group in _of("tank", "header-east").sheets[0].steps for step in group.steps]
    assert "under 1 mm past the mark at 2.70 m; overflow at 2.85 m" in [step.expect for step in steps]


def test_starts_stand_beside_what_the_motor_may() -> None:
    """T = V / (q - i) + V / i (EI 11C201) with 16,258 L, 45 L/min and a draw of 16: 1,577 min = 26 h 17 min;
    NEMA MG 10 table 2-3: 1.1 kW, 2 poles, 12.9."""
    part = _of("node", "kestrel-01").sheets[0].tanks[0]
    (starts,) = (setting for setting in part.settings if setting.name == "pump starts, at most")
    assert starts.value == "one in 26 h 17 min"
    assert "16 L/min" in starts.origin
    assert "12.9" in starts.origin
    assert "NEMA" in starts.origin


def test_an_esp8266_is_without_power_once_after_usb() -> None:
    """esp8266/Arduino, Updater.cpp: no update while the last start was by UART."""

    def said(name: str) -> str:
        return " ".join(step.do for group in _of("node", name).sheets[0].steps for step in group.steps)

    assert "power off once" in said("kestrel-03")
    assert "power off once" not in said("kestrel-01")


def test_a_site_has_a_cover_and_one_sheet_for_each_node_and_for_each_tank_without_one() -> None:
    document = _of("site", "kestrel-hill")
    assert document.cover is not None
    assert [node.name for node in document.cover.nodes] == [sheet.name for sheet in document.sheets]
    inventory = DEMO.model_copy(update={"nodes": DEMO.nodes[1:]})
    less = contents(inventory, "site", "kestrel-hill", Units(), DAY)
    alone = [sheet for sheet in less.sheets if sheet.kind == "tank"]
    assert [sheet.name for sheet in alone] == ["header-east"]
    assert alone[0].board is None
    assert alone[0].wires == ()


def test_when_a_node_may_be_updated_agrees_with_the_levels() -> None:
    for each in DEMO.tanks:
        facts = _of("tank", each.name).sheets[0].tanks[0].facts
        words = may_when(facts)
        allowed = [level.may_be_updated for level in facts.levels]
        assert (words == "at any level") == all(allowed)
        if words.startswith("above mark"):
            first = [mark.name for mark in facts.marks].index(words.removeprefix("above mark ")) + 1
            assert allowed == [level >= first for level in range(len(allowed))]
        if words.startswith("below mark"):
            last = [mark.name for mark in facts.marks].index(words.removeprefix("below mark "))
            assert allowed == [level <= last for level in range(len(allowed))]


def test_a_fire_reserve_says_when_its_node_is_left_alone() -> None:
    (part,) = _of("tank", "fire-yard").sheets[0].tanks
    assert "may be updated above mark short. Otherwise the fire reserve is not certain" in part.spare_note


def test_what_a_ruling_rests_on_is_on_the_sheet_that_it_is_about() -> None:
    inventory, findings = load_checked(demo_inventory_dir(), demo_inventory_dir().parent, DAY)
    document = contents(inventory, "site", "larkwood", Units(), DAY, findings)
    known = {sheet.name: sheet.known for sheet in document.sheets if sheet.known}
    assert list(known) == ["larkwood-04"]
    (one,) = known["larkwood-04"]
    assert one.code == "INV414"
    assert one.stands.startswith("accepted on 2025-05-13: 3.3 kOhm is fitted from D7 to ground")
    alone = contents(inventory, "tank", "packhouse-sump", Units(), DAY, findings)
    assert alone.sheets[0].known == (), "it is about the node's pin"


def test_a_finding_that_stands_open_says_so() -> None:
    finding = Finding(
        BAD_REPORT_TEMPLATE, "something", subject=Subject(SubjectKind.TANK, "header-east", "mark", "full")
    )
    (sheet,) = contents(DEMO, "node", "kestrel-01", Units(), DAY, [finding]).sheets
    assert [(each.code, each.stands) for each in sheet.known] == [("SHT103", "open (error)")]
    assert contents(DEMO, "node", "kestrel-02", Units(), DAY, [finding]).sheets[0].known == ()


def _steps(kind, name, inventory=DEMO) -> str:
    return " ".join(f"{s.do} {s.expect}" for g in _of(kind, name, inventory).sheets[0].steps for s in g.steps)


def test_the_sheet_says_how_current_gets_into_the_water_of_this_node() -> None:
    """Pulses of the chip's own pull-up at kestrel-01; resistors at kestrel-05: 3.3 V over 390 kohm less 5 %
    and 4.1 kohm of rain at its best (0.149 /cm at 30 uS/cm and 10 K more) make 8.8 uA."""

    def settings(name: str) -> dict[str, str]:
        return {
            setting.name: f"{setting.value}: {setting.origin}"
            for setting in _of("node", name).sheets[0].settings
        }

    assert settings("kestrel-01")["sampling"] == "every 100 ms: firmware"
    assert settings("kestrel-01")["current at the probes"].startswith("in pulses: 1 of every 100 ms")
    always = settings("kestrel-05")["current at the probes"]
    assert always.startswith("all the time: direct current of at most 8.8 uA at each wet probe")
    for name in ("kestrel-05", "kestrel-07"):
        sheet = _of("node", name).sheets[0]
        said = " ".join(f"{s.value} {s.origin}" for s in sheet.settings)
        said += " ".join(minded.caution.text for minded in sheet.cautions)
        assert "pulse" not in said


def test_two_tanks_of_one_node_with_other_pull_ups_each_say_theirs() -> None:
    node = DEMO.node("kestrel-06")
    outside = node.serves[1].model_copy(update={"pull_up": "external", "pull_up_resistor_ohm": 100e3})
    mixed = node.model_copy(update={"serves": (node.serves[0], outside)})
    settings = {s.name: s.value for s in node_settings(DEMO, mixed)}
    assert settings["current at the probes, parlour-wash"].startswith("in pulses")
    assert settings["current at the probes, parlour-sump"].startswith("all the time")


def test_resistors_that_a_pin_feeds_are_wired_to_it_and_sense_in_pulses() -> None:
    """docs/inventory.md, pull_up_feed: from each probe's pin to that pin, not to 3.3 V. A meter shows no moments."""
    sheet = _of("node", "loft-node", read(FOLDER / "fed-resistors.yaml")).sheets[0]
    wires = sheet.wires
    details = [wire.detail for wire in wires if wire.what.startswith("probe ") and wire.what != "probe feed"]
    assert set(details) == {"resistor of 100 kohm from the pin to IO13"}
    assert [(wire.pin, wire.gpio) for wire in wires if wire.what == "probe feed"] == [("IO13", 13)]
    assert sheet.board is not None
    assert ("IO13", "probe feed") in [(used.pin, used.words) for used in sheet.board.used]
    settings = {setting.name: f"{setting.value}: {setting.origin}" for setting in sheet.settings}
    assert settings["current at the probes"].startswith(
        "in pulses: 3 of every 100 ms (3 %), all probes at once"
    )
    steps = " ".join(step.do for group in sheet.steps for step in group.steps)
    assert "DC volts from each probe" not in steps
    (probing,) = (group for group in sheet.steps if "Probes" in group.title)
    assert "the feed is on for moments only" in probing.intro
    assert "the chip's own pull-up" not in probing.intro


def test_the_highest_probe_is_wetted_with_the_common_electrode() -> None:
    """Alone in the water it joins nothing to ground: tests/water/test_shared_electrode.py."""
    said = _steps("node", "kestrel-01")
    assert "full wet with the common electrode, all others dry" in said


@pytest.mark.parametrize("kind_name", [("node", "kestrel-07"), ("tank", "fire-yard")])
def test_commissioning_leaves_a_fire_reserve_alone(kind_name) -> None:
    """NFPA 25: whoever supervises it is told; the reserve is there at all times."""
    sheet = _of(*kind_name).sheets[0]
    said = [step.do for group in sheet.steps for step in group.steps]
    told = [number for number, do in enumerate(said) if "tell whoever supervises it" in do]
    isolated = next((number for number, do in enumerate(said) if "isolated and locked" in do), 1)
    assert len(told) == 2
    assert told[0] < isolated
    assert "pump back in service" in said[told[1]]
    (water,) = (group for group in sheet.steps if "Pump and water" in group.title)
    assert "filled for the first time" in water.intro
    assert "bucket" in water.intro
    assert not any("Bring the level" in do for do in said)
    assert "supervises" not in _steps("node", "kestrel-01")


def test_each_pump_has_its_protection_against_running_dry_tried() -> None:
    for node in DEMO.nodes:
        pumps = sum(served.pump_relay is not None for served in node.serves)
        assert _steps("node", node.name).count("Dry-run protection") == pumps
    assert "below mark low (float, pressure or current switch): trip it by hand" in _steps(
        "tank", "parlour-sump"
    )
    assert "in or at its source (float" in _steps("tank", "header-east")


def test_steps_for_dc_gas_and_modules_that_are_on_at_low_stand_only_where_they_apply() -> None:
    """IEC 60947-4-1 (DC-3, DC-5); 29 CFR 1910.146 (oxygen, flammable gas)."""
    pumps = {node.name: [t.pump for s in node.serves if (t := DEMO.tank(s.tank)).pump] for node in DEMO.nodes}
    seen = set()
    for node in DEMO.nodes:
        said = _steps("node", node.name)
        dc = any(pump.phase == "dc" for pump in pumps[node.name])
        low = any(s.pump_relay and s.pump_relay.active == "low" for s in node.serves)
        foul = any(
            (t := DEMO.tank(s.tank)).duty == "sump" or (t.water and t.water.kind == "grey")
            for s in node.serves
        )
        assert ("DC-3 or DC-5" in said) == dc
        assert ("VCC beside IN" in said) == low
        assert ("hydrogen sulphide" in said) == foul
        assert ("the pump relay's contact." in said) == bool(pumps[node.name])
        seen |= {("dc", dc), ("low", low), ("foul", foul)}
    assert len(seen) == 6, "the demo has each of them, and nodes without"


def test_each_gas_has_its_own_line_in_its_own_unit() -> None:
    """Oxygen is not measured in ppm: 29 CFR 1910.146 has it and flammable gas in percent."""
    (gas,) = (
        s for g in _of("tank", "parlour-sump").sheets[0].steps for s in g.steps if "Measure gas" in s.do
    )
    assert gas.each == ("O2, %", "H2S, ppm", "explosive limit, %")
    assert gas.write == ""


def test_a_relay_s_wire_says_what_its_module_must_work_from() -> None:
    for node in DEMO.nodes:
        for wire in _of("node", node.name).sheets[0].wires:
            if wire.what == "pump relay":
                assert "3.3 V" in wire.detail


def test_a_pin_goes_by_the_name_that_the_inventory_uses() -> None:
    """esp-dev-kits esp32-devkitc/user_guide.rst, header block: the DevKitC prints VP for GPIO36, VN for GPIO39."""
    inventory = read(FOLDER / "names-printed-on-a-devkitc.yaml")
    node = inventory.node("node-a")
    wires = wires_of(inventory, node, ("loft",), Units())
    assert {(wire.pin, wire.gpio) for wire in wires if wire.gpio} == {
        ("VP", 36),
        ("VN", 39),
        ("34", 34),
        ("26", 26),
    }
    drawn = drawn_board(load_board(node.board), wires)
    names = [*drawn.left, *drawn.right]
    assert {"VP", "VN", "34", "26", "IO35"} <= set(names)
    assert not {"IO36", "IO39", "IO34", "IO26"} & set(names)
    assert draw_board(drawn).count(">VP<") == 1
