"""Rules at their edges: what is just allowed is not found, what is just not allowed is, at its place."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchmarks.inventory import write_inventory
from fleet.check.load import read_inventory, read_texts
from fleet.finding import Finding

# 1,000 L per metre; nothing is found in it.
TEXT = """fleet: {name: f, domain: f.example}
sites: [{name: s, time_zone: Europe/Lisbon, network: n}]
tanks:
  - name: t
    site: s
    duty: livestock
    shape: {kind: box, length: 1 m, width: 1 m, height: 2 m}
    marks:
      - {name: low, height: 0.5 m}
      - {name: full, height: 1.5 m}
    overflow: 1.9 m
    largest_draw: 10 L/min
    pump: {name: p, does: fill, flow: 40 L/min, power: 0.75 kW}
nodes:
  - name: n
    board: esp32-devkit
    serves: [{tank: t, probes: {low: IO16, full: IO17}, pump_relay: {pin: IO25}}]
"""


def found(*changes: tuple[str, str]) -> list[Finding]:
    text = TEXT
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new, 1)
    return list(read_texts([("a.yaml", text.encode())])[1])


def of(code: str, *changes: tuple[str, str]) -> list[Finding]:
    return [finding for finding in found(*changes) if finding.code.code == code]


def quoted(finding: Finding) -> str:
    """The line from where the finding points."""
    assert finding.place is not None
    return finding.place.quote[finding.place.col - 1 :]


def test_nothing_is_found_in_the_sound_one() -> None:
    assert found() == []


def test_a_sound_inventory_is_not_read_again_for_places(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where each key stands is a second reading of the file, a fifth of the time: only findings ask for it."""
    write_inventory(tmp_path, 500)  # so many, that every figure of the benchmark's pattern is among them
    monkeypatch.setattr(
        "fleet.inventory.source.Positions", lambda _text: pytest.fail("read again for a place")
    )
    _, findings = read_inventory(tmp_path)
    assert findings == []


TALL = ("height: 2 m", "height: 70 m")


@pytest.mark.parametrize(("height", "count"), [("65.535 m", 0), ("65.536 m", 1)])
def test_the_node_block_counts_millimetres_up_to_65_535(height: str, count: int) -> None:
    """16 bits, docs/node-interface.md."""
    said = of("INV170", TALL, ("height: 1.5 m", f"height: {height}"), ("    overflow: 1.9 m\n", ""))
    assert [(f.what, quoted(f)[:8]) for f in said] == [
        ("mark `full` is higher than 65.535 m", "65.536 m")
    ] * count


@pytest.mark.parametrize(("debounce", "count"), [("65.535 s", 0), ("65.536 s", 1)])
def test_the_node_block_counts_milliseconds_up_to_65_535(debounce: str, count: int) -> None:
    said = of("INV170", ("esp32-devkit", f"esp32-devkit\n    debounce: {debounce}"))
    assert [f.what for f in said] == ["a debounce of 65.536 s is longer than 65.535 s"] * count


@pytest.mark.parametrize(
    ("debounce", "code"), [("99.4 ms", "INV175"), ("99.6 ms", "INV516"), ("0.1 s", "INV516")]
)
def test_a_debounce_shorter_than_the_sampling_is_an_error_and_said_once(debounce: str, code: str) -> None:
    """Whole milliseconds; a look every 100 ms: docs/node-interface.md, node block."""
    changed = found(("esp32-devkit", f"esp32-devkit\n    debounce: {debounce}"))
    assert [f.code.code for f in changed if f.code.code in ("INV175", "INV516")] == [code]


@pytest.mark.parametrize(("flow", "count"), [("0.0604 L/d", 0), ("0.0603 L/d", 1)])
def test_the_node_block_counts_a_pumps_seconds_up_to_4_294_967_295(flow: str, count: int) -> None:
    """2 x 1,500 L x 86,400 s/d / 4,294,967,295 s = 0.060350 L/d."""
    said = of("INV170", ("flow: 40 L/min", f"flow: {flow}"), ("    largest_draw: 10 L/min\n", ""))
    assert [quoted(f)[: len(flow)] for f in said] == [flow] * count


def test_a_table_that_hardly_rises_is_found_and_does_not_stop_the_check() -> None:
    """A millionth of a millilitre in a metre: 60 x 2e-9 L / 1e6 L/min is 1.2e-13 s from mark to mark."""
    table = "kind: strapped, table: [{depth: 1 m, volume: 1e-9 L}, {depth: 2 m, volume: 3e-9 L}]"
    shape = ("kind: box, length: 1 m, width: 1 m, height: 2 m", table)
    said = [one.code.code for one in found(shape, ("flow: 40 L/min", "flow: 1e6 L/min"))]
    assert {"INV534", "INV536"} <= set(said)


@pytest.mark.parametrize("size", ["1e-200 m", "0.009 mm"])
def test_a_size_of_nearly_nothing_is_refused(size: str) -> None:
    """1e-200 m x 1e-200 m is 0 m2 in double precision, which would be divided by."""
    (said,) = found(("length: 1 m, width: 1 m", f"length: 1 m, width: {size}"))
    assert (said.code.code, quoted(said)[: len(size)]) == ("INV133", size)


def test_a_level_that_never_moves_is_found_and_does_not_stop_the_check() -> None:
    large = ("length: 1 m, width: 1 m", "length: 999 m, width: 999 m")
    changes = (large, ("flow: 40 L/min", "flow: 1e-7 L/min"), ("    largest_draw: 10 L/min\n", ""))
    (said,) = found(*changes)
    assert (said.code.code, quoted(said)[:11]) == ("INV170", "1e-7 L/min,")


@pytest.mark.parametrize("flow", ["1e-300 L/min", "9e-8 L/min", "0.1 mL/d"])
@pytest.mark.parametrize("key", ["largest_draw", "uncontrolled_inflow", "flow"])
def test_a_flow_of_nearly_nothing_is_refused(flow: str, key: str) -> None:
    """60 s x 1e9 L / 1e-300 L/min is beyond the numbers of double precision; 0.1 mL/d is 6.9e-8 L/min."""
    draw = ("    largest_draw: 10 L/min\n", f"    largest_draw: 10 L/min\n    {key}: {flow}\n")
    change = {
        "largest_draw": ("largest_draw: 10 L/min", f"largest_draw: {flow}"),
        "flow": ("flow: 40 L/min", f"flow: {flow}"),
    }
    (said,) = found(change.get(key, draw))
    assert (said.code.code, quoted(said)[: len(flow)]) == ("INV133", flow)


@pytest.mark.parametrize(
    ("overflow", "top_words"),
    [("    overflow: 1.9 m\n", "the overflow at 1.9 m"), ("", "the top at 2 m")],
)
def test_overshoot_is_found_at_the_mark_where_the_pump_stops(overflow: str, top_words: str) -> None:
    """40 L/min for 2 s + 0.1 s + 2 s of run-on: 2.7 L past the mark, and 1 L of room."""
    full = "1.899 m" if overflow else "1.999 m"
    changes = ("    overflow: 1.9 m\n", overflow), ("height: 1.5 m", f"height: {full}")
    (over,) = of("INV510", *changes)
    assert over.what.endswith(f"2.7 L past the mark, and there are 1.0 L to {top_words}")
    assert quoted(over).startswith(full)
    assert of("INV510", changes[0], ("height: 1.5 m", f"height: {full[:-3]}7 m")) == []  # 3 L of room


RESERVE = "    overflow: 1.9 m\n    reserve: {} m\n"


@pytest.mark.parametrize(
    ("reserve", "codes"), [("0.499", ["INV512"]), ("0.495", []), ("0.5", ["INV523"]), ("0.6", ["INV523"])]
)
def test_a_start_in_the_reserve_is_said_once(reserve: str, codes: list[str]) -> None:
    """60 L/min are drawn for 2.1 s: 2.1 L; at or below the reserve itself another rule speaks."""
    changes = (
        ("    overflow: 1.9 m\n", RESERVE.format(reserve)),
        ("largest_draw: 10 L/min", "largest_draw: 60 L/min"),
        ("flow: 40 L/min", "flow: 70 L/min"),
    )
    said = [f for f in found(*changes) if f.code.code in ("INV510", "INV511", "INV512", "INV523")]
    assert [f.code.code for f in said] == codes
    if codes == ["INV512"]:
        assert quoted(said[0]).startswith("0.5 m")
        assert "rests" not in said[0].what
        assert said[0].what.endswith("2.1 L past the mark, and there are 1.0 L to the reserve at 0.499 m")


def test_a_tank_without_a_reserve_may_be_drawn_empty() -> None:
    """10 L are left under the mark, and 35 L are drawn until the pump has started."""
    changes = ("height: 0.5 m", "height: 0.01 m"), ("10 L/min", "1000 L/min"), ("40 L/min", "1200 L/min")
    assert not {f.code.code for f in found(*changes)} & {"INV510", "INV511", "INV512"}


def apart(metres: float) -> tuple[str, str]:
    return "height: 1.5 m", f"height: {0.5 + metres:.4f} m"


@pytest.mark.parametrize(
    ("draw", "band_m", "words"),
    [
        ("20 L/min", 0.0400, ""),
        ("20 L/min", 0.0399, "worst when half of that flows the other way: T = 4 V / q"),
        ("100 L/min", 0.0399, "worst when half of that flows the other way: T = 4 V / q"),
        ("10 L/min", 0.0300, ""),
        ("10 L/min", 0.0299, "worst when 10 L/min flow the other way, the most there is"),
    ],
)
def test_as_many_starts_as_the_motor_may(draw: str, band_m: float, words: str) -> None:
    """1 hp with 2 poles: 15 an hour, one in 4 min (NEMA MG 10 table 2-3). V = t q / 4 = 4 x 40 / 4 = 40 L; with
    10 L/min drawn V = t i (q - i) / q = 4 x 10 x 30 / 40 = 30 L."""
    said = of("INV501", apart(band_m), ("10 L/min", draw))
    assert [words in finding.what for finding in said] == [True] * bool(words)


@pytest.mark.parametrize(("band_m", "count"), [(0.0400, 0), (0.0399, 1)])
def test_a_well_motor_may_run_for_a_minute(band_m: float, count: int) -> None:
    """Franklin Electric: at least a minute per start; 40 L at 40 L/min."""
    well = ("power: 0.75 kW", "power: 0.75 kW, motor: {kind: submersible}")
    assert len(of("INV503", apart(band_m), well)) == count


@pytest.mark.parametrize(("rest", "count"), [("75 s", 0), ("74 s", 1)])
def test_a_rest_as_long_as_the_motor_s_is_enough(rest: str, count: int) -> None:
    """1 hp with 2 poles: 75 s (NEMA MG 10 table 2-3)."""
    given = ("power: 0.75 kW", f"power: 0.75 kW, shortest_off: {{is: {rest}, reason: a trial}}")
    assert len(of("INV502", given)) == count


FIRE = ("duty: livestock", "duty: fire-reserve"), ("largest_draw: 10 L/min", "reserve: 0.4 m")


@pytest.mark.parametrize(("flow", "count"), [("4 L/min", 0), ("3.9 L/min", 1)])
def test_a_fire_reserve_is_refilled_within_8_hours(flow: str, count: int) -> None:
    """NFPA 22 4.2.1.4: 1,920 L at 4 L/min take 8 h."""
    assert len(of("INV520", *FIRE, ("overflow: 1.9 m", "overflow: 1.92 m"), ("40 L/min", flow))) == count


@pytest.mark.parametrize(("draw", "count"), [("0 L/min", 0), ("0.5 L/min", 1)])
def test_any_draw_from_a_fire_reserve_is_found(draw: str, count: int) -> None:
    assert len(of("INV522", FIRE[0], ("10 L/min", draw))) == count


@pytest.mark.parametrize(
    ("pump", "starts_m", "at"),
    [
        ("fill, on_at: low, off_at: low", 0.5, "low, off_at"),
        ("fill, off_at: low", 0.5, "low"),
        ("fill, on_at: full", 1.5, "full"),
        ("drain, on_at: full, off_at: full", 1.5, "full, off_at"),
        ("drain, off_at: full", 1.5, "full"),
        ("drain, on_at: low", 0.5, "low"),
    ],
)
def test_a_pump_that_stops_where_it_starts_is_found_at_the_mark_that_was_chosen(
    pump: str, starts_m: float, at: str
) -> None:
    (wrong,) = of("INV161", ("does: fill", f"does: {pump}"))
    assert quoted(wrong).startswith(at)
    assert f"starts at {starts_m:g} m" in wrong.what


BOX = "{kind: box, length: 1 m, width: 1 m, height: 2 m}"
LYING = "{{kind: horizontal-cylinder, diameter: 2 m, length: 1 m, {}}}"
UPRIGHT = "{{kind: vertical-cylinder, diameter: 1 m, height: 2 m, {}}}"


@pytest.mark.parametrize(
    ("shape", "at"),
    [
        (LYING.format("ends: conical"), "conical"),
        (LYING.format("ends: conical, ends_depth: 0.3 m"), ""),
        (LYING.format("ends: ellipsoidal"), ""),
        (LYING.format("ends: ellipsoidal, ends_depth: 0.3 m"), ""),
        (LYING.format("ends: dished, ends_depth: 0.3 m"), "0.3 m"),
        (LYING.format("ends_depth: 0.3 m"), "0.3 m"),
        (UPRIGHT.format("bottom: cone"), "cone"),
        (UPRIGHT.format("bottom: cone, bottom_depth: 0.3 m"), ""),
        (UPRIGHT.format("bottom: hemispherical, bottom_depth: 0.3 m"), "0.3 m"),
        (UPRIGHT.format("bottom: ellipsoidal"), ""),
    ],
)
def test_a_depth_is_given_where_the_form_leaves_it_open_and_nowhere_else(shape: str, at: str) -> None:
    said = of("INV153", (BOX, shape))
    assert [quoted(finding).startswith(at) for finding in said] == [True] * bool(at)


@pytest.mark.parametrize(
    ("second", "wrong"),
    [("2 m, volume: 200 L", ""), ("1 m, volume: 200 L", "1 m"), ("2 m, volume: 100 L", "100 L")],
)
def test_a_strapping_table_that_stands_still_does_not_rise(second: str, wrong: str) -> None:
    table = f"{{kind: strapped, table: [{{depth: 1 m, volume: 100 L}}, {{depth: {second}}}]}}"
    said = of("INV154", (BOX, table), ("height: 0.5 m", "height: 0.2 m"), ("height: 1.5 m", "height: 0.8 m"))
    assert [quoted(finding).startswith(wrong) for finding in said] == [True] * bool(wrong)


@pytest.mark.parametrize(("debounce", "count"), [("1 s", 0), ("0.99 s", 1)])
def test_a_debounce_of_a_second_outlasts_splashes(debounce: str, count: int) -> None:
    """Level relays: never below 1 s (common practice)."""
    assert len(of("INV516", ("esp32-devkit", f"esp32-devkit\n    debounce: {debounce}"))) == count


def test_two_periods_are_advised_against_swinging() -> None:
    """Water 1 m across and 1.5 m deep swings once in 1.13 s: f = sqrt(pi g / L tanh(pi h / L)) / 2 pi."""
    (swings,) = of("INV515", ("esp32-devkit", "esp32-devkit\n    debounce: 1.1 s"))
    assert swings.fix.startswith("Set `debounce: 2.3 s`")
    assert of("INV515", ("esp32-devkit", "esp32-devkit\n    debounce: 1.2 s")) == []


@pytest.mark.parametrize(("height", "count"), [("0.5200 m", 0), ("0.5199 m", 1)])
def test_marks_are_a_wave_apart(height: str, count: int) -> None:
    """2 % of 1 m (own allowance): 20 mm."""
    said = of("INV513", ("height: 1.5 m", f"height: {height}"))
    assert ["marks `low` and `full` are 20 mm apart" in f.what and "20 mm high" in f.what for f in said] == [
        True
    ] * count


@pytest.mark.parametrize(
    ("does", "flow", "draw", "inflow", "fastest"),
    [
        ("fill", 1000, 500, 500, "1,500"),
        ("fill", 1000, 1600, 0, "1,600"),
        ("fill", 1400, 1300, 0, ""),
        ("drain", 1000, 500, 400, "1,500"),
        ("drain", 100, 0, 1600, "1,600"),
        ("drain", 1400, 0, 1300, ""),
    ],
)
def test_a_level_passes_marks_at_what_goes_one_way(
    does: str, flow: int, draw: int, inflow: int, fastest: str
) -> None:
    """50 L between the marks in 2.1 s are 1,429 L/min; pump and inflow one way, draw the other, or pump and draw."""
    said = of(
        "INV514",
        apart(0.05),
        ("largest_draw: 10 L/min", f"largest_draw: {draw} L/min\n    uncontrolled_inflow: {inflow} L/min"),
        ("does: fill, flow: 40 L/min", f"does: {does}, flow: {flow} L/min"),
    )
    assert [finding.what.startswith(f"at {fastest} L/min") for finding in said] == [True] * bool(fastest)


@pytest.mark.parametrize(("inflow", "count"), [("7.7 L/min", 0), ("7.8 L/min", 1)])
def test_a_fire_reserve_that_is_drained_is_spared_at_the_level_between(inflow: str, count: int) -> None:
    """At the low mark the reserve is there, and 1,000 L go in from the full one to the overflow: 7,792 s at 7.7 L/min,
    7,692 s at 7.8; less 93.5 s for probes (twice 4.2 s), a rest of 75 s, a sample and 10 s of run-up. An update needs
    twice its worst outage, an hour on trial and 202 s (45 s until it begins, 512 KiB at 10 kB/s and 10 s, 128 sectors
    of 0.58 s, two starts of 10 s): 7,603 s."""
    changes = (
        FIRE[0],
        ("largest_draw: 10 L/min", f"reserve: 0.4 m\n    uncontrolled_inflow: {inflow}"),
        ("height: 1.5 m", "height: 0.9 m"),
        ("does: fill", "does: drain"),
        ("fleet:", "policy: {trial: 1 h, spare_time_margin: 2}\nfleet:"),
    )
    assert len(of("INV530", *changes)) == count


@pytest.mark.parametrize(("reserve", "count"), [("0.499", 0), ("0.5", 0), ("0.501", 1)])
def test_a_draining_pump_may_stop_at_the_reserve(reserve: str, count: int) -> None:
    changes = ("    overflow: 1.9 m\n", RESERVE.format(reserve)), ("does: fill", "does: drain")
    assert len(of("INV523", *changes)) == count


def test_a_first_wave_may_be_as_large_as_the_largest() -> None:
    for first, count in ((5, 0), (6, 1)):
        policy = f"policy: {{first_wave: {first}, largest_wave: 5}}\nfleet:"
        assert len(of("INV149", ("fleet:", policy))) == count


@pytest.mark.parametrize(
    ("debounce", "length", "count"),
    [
        ("10 s", "1 m", 0),
        ("10.1 s", "1 m", 1),
        ("65.535 s", "1 m", 1),
        ("65.536 s", "1 m", 0),
        ("60 s", "100 m", 0),
    ],
)
def test_a_debounce_beyond_those_of_level_relays(debounce: str, length: str, count: int) -> None:
    """10 s (Klemsan LLC35), unless the water swings as slowly: 100 m of 1.5 m deep water, 2 L / sqrt(g h) = 52 s. What
    the node block cannot hold is said elsewhere."""
    changes = (
        ("esp32-devkit", f"esp32-devkit\n    debounce: {debounce}"),
        ("length: 1 m", f"length: {length}"),
    )
    assert len(of("INV518", *changes)) == count


def test_the_node_s_own_debounce_lets_the_water_go_further() -> None:
    """40 L/min for 10 s + 0.1 s + 2 s of run-on: 8.1 L, and 3 L of room, which do for the default of 2 s."""
    full = ("height: 1.5 m", "height: 1.897 m")
    (over,) = of("INV510", full, ("esp32-devkit", "esp32-devkit\n    debounce: 10 s"))
    assert "it goes 8.1 L past the mark" in over.what
    assert of("INV510", full) == []


@pytest.mark.parametrize(("height", "count"), [("10 mm", 0), ("9 mm", 1)])
def test_a_probe_off_the_floor_by_a_drop_s_band_is_well(height: str, count: int) -> None:
    assert len(of("INV519", ("height: 0.5 m", f"height: {height}"))) == count


def test_a_probe_that_the_bridge_drives_has_its_figure() -> None:
    """470 ohm to 3.3 V reach a quarter of it with a third of 470 ohm to ground (voltage divider)."""
    path = Path(__file__).resolve().parent / "mistakes" / "probe-nodemcu-rx.yaml"
    _, findings = read_texts([(path.name, path.read_bytes())])
    (figure,) = findings[0].figures
    assert (figure.name, figure.unit) == ("water that reliably reads LOW, at most", "ohm")
    assert 3.3 * figure.value / (figure.value + 470) == pytest.approx(3.3 / 4)
