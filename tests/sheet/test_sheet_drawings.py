"""The drawings: everything is on them, at its height, and no words lie on other words."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.boards.board import board_ids, load_board
from fleet.check.load import load_inventory
from fleet.model.inventory import Inventory
from fleet.resources import demo_inventory_dir
from fleet.sheet.board_svg import DrawnBoard, UsedPin, draw_board
from fleet.sheet.svg import shortened, spread
from fleet.sheet.tank_part import TankPart, tank_part
from fleet.sheet.tank_svg import Level, draw_tank, scale_of
from fleet.sheet.wiring import drawn_board, drawn_color, wires_of
from fleet.water.quantities import Units
from tests.sheet.drawn import SVG, boxes, outside, overlapping, parsed
from tests.sheet.hostile import CLOSE_MARKS, LONG, hostile_inventory
from tests.water.shapes import shape

HOSTILE = hostile_inventory()
DEMO = load_inventory(demo_inventory_dir(), demo_inventory_dir().parent)
EVERY_TANK = [
    pytest.param(inventory, tank.name, us, id=f"{tank.name[:20]}-{'us' if us else 'metric'}")
    for inventory in (HOSTILE, DEMO)
    for tank in inventory.tanks
    for us in (False, True)
]


def _part(inventory: Inventory, tank: str, us: bool = False) -> TankPart:
    wires = [
        wire
        for node in inventory.nodes
        for wire in wires_of(inventory, node, [served.tank for served in node.serves], Units())
    ]
    return tank_part(inventory, tank, wires, Units(us))


def _drawn(part: TankPart) -> str:
    return draw_tank("t", part.shape, part.levels, part.pump, part.common_wire)


@pytest.mark.parametrize(("inventory", "name", "us"), EVERY_TANK)
def test_a_tank_shows_every_mark_and_no_words_overlap(inventory, name, us) -> None:
    part = _part(inventory, name, us)
    svg = _drawn(part)
    words = " ".join(box.words for box in boxes(svg))
    for mark in part.facts.marks:
        assert mark.name in words
        assert Units(us).tape(mark.height_m) in words
        assert Units(us).volume(mark.volume_l) in words
    if part.facts.pump:
        assert Units(us).flow(part.facts.pump.flow_l_per_min) in words
    for what, there in (("overflow", part.facts.overflow_given), ("reserve", part.facts.reserve)):
        assert (what in words) == bool(there)
    assert overlapping(svg) == []
    assert outside(svg) == []


def test_marks_stand_at_their_heights_on_the_paper() -> None:
    """A mark at a third of the height is a third of the way up, in any tank."""
    part = _part(HOSTILE, LONG)
    root, scale = parsed(_drawn(part)), scale_of(part.shape)
    bottom, top = scale.y(0.0), scale.y(0.3)
    tips = {round(float(c.attrib["cy"]), 1) for c in root.iter(f"{SVG}circle") if c.attrib["r"] == "3.4"}
    for mark in part.facts.marks:
        assert round(bottom - (bottom - top) * mark.height_m / 0.3, 1) in tips
    assert len(tips) == len(CLOSE_MARKS) + 1, "and the common electrode ends below them"
    assert max(tips) > scale.y(0.18)


def test_a_ball_is_round_and_says_so() -> None:
    scale = scale_of(shape("sphere", diameter="2 m"))
    assert scale.true
    assert scale.half(1.0) == pytest.approx(scale.y_per_m)
    assert "heights and widths to scale" in _drawn(_part(HOSTILE, "ball"))
    assert "widths not" in _drawn(_part(HOSTILE, "reservoir"))


def test_probes_and_water_stay_inside_of_the_walls() -> None:
    for tank in (*HOSTILE.tanks, *DEMO.tanks):
        scale = scale_of(tank.shape)
        left = min(x for x, _ in scale.walls(0.0, max(m.height_m for m in tank.marks)))
        right = max(x for x, _ in scale.walls(0.0, max(m.height_m for m in tank.marks)))
        assert 184 < left < right < 496, "between the words"
        assert right - left <= 244.01


def test_wires_are_drawn_in_their_colours_with_dark_edges() -> None:
    root = parsed(_drawn(_part(HOSTILE, LONG)))
    strokes = [line.attrib["stroke"] for line in root.iter(f"{SVG}polyline")]
    for words in ("black", "red", "white/blue", "Yellow", "<i>green</i>"):
        color = drawn_color(words)
        assert (color in strokes) == (color is not None), words
    assert drawn_color("<i>green</i>") is None
    assert drawn_color("white/blue") == drawn_color("white")
    assert drawn_color("mauve") is None


@pytest.mark.parametrize("board_id", board_ids())
@pytest.mark.parametrize("tanks", [1, 4])
def test_a_board_shows_every_pin_once_and_no_words_overlap(board_id, tanks) -> None:
    """With a wire at every pin: more than any node can use."""
    board = load_board(board_id)
    used = tuple(
        UsedPin(pin.name, "probe highestmark · white/orange", LONG if tanks > 1 else "", "#f00")
        for pin in board.pins
    )
    svg = draw_board(DrawnBoard(board.title, *board.rows, used))
    words = [box.words for box in boxes(svg)]
    for pin in board.pins:
        assert words.count(pin.name) == 1
    assert sum("highestmark · white/orange" in each for each in words) == len(board.pins)
    assert overlapping(svg) == []
    assert outside(svg) == []


def test_a_board_marks_the_used_pins_alone() -> None:
    node = HOSTILE.node("edge")
    board = load_board(node.board)
    wires = wires_of(HOSTILE, node, [served.tank for served in node.serves], Units())
    svg = draw_board(drawn_board(board, wires))
    filled = [c for c in parsed(svg).iter(f"{SVG}circle") if c.attrib["fill"] != "#fff"]
    used = {wire.pin for wire in wires}
    assert len(filled) == len(used) == 14, (
        "13 probes and relays, and one ground pin for all common electrodes"
    )
    texts = list(parsed(svg).iter(f"{SVG}text"))
    for text in texts:
        if text.text in {pin.name for pin in board.pins}:
            assert (text.attrib.get("font-weight") == "bold") == (text.text in used)
    grounds = [text for text in texts if text.text == board.ground]
    assert [text.attrib.get("font-weight") for text in grounds].count("bold") == 1
    assert any(text.text == "4 common electrodes" for text in texts)


SHAPES = (
    {"kind": "sphere", "diameter": "1 m"},
    {"kind": "box", "length": "20 m", "width": "3 m", "height": "1 m"},
    {"kind": "frustum", "bottom_diameter": "0.1 m", "top_diameter": "0.5 m", "height": "1 m"},
    {
        "kind": "vertical-cylinder",
        "diameter": "0.2 m",
        "height": "0.9 m",
        "bottom": "cone",
        "bottom_depth": "0.1 m",
    },
)


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from(SHAPES), st.lists(st.integers(10, 980), min_size=6, max_size=6, unique=True).map(sorted)
)
def test_wherever_marks_reserve_and_overflow_are_no_words_overlap(of, heights_mm) -> None:
    reserve, *marks, overflow = (f"{height} mm" for height in heights_mm)
    inventory = Inventory.model_validate(
        {
            "fleet": {"name": "f", "domain": "f.example"},
            "policy": {},
            "tanks": [
                {
                    "name": "t",
                    "site": "s",
                    "duty": "potable",
                    "shape": of,
                    "marks": [{"name": f"mark-{i}", "height": height} for i, height in enumerate(marks)],
                    "reserve": reserve,
                    "overflow": overflow,
                    "pump": {"name": "p", "does": "fill", "flow": "1 L/min"},
                }
            ],
            "sites": [],
            "nodes": [],
        }
    )
    svg = _drawn(_part(inventory, "t"))
    assert overlapping(svg) == []
    assert outside(svg) == []


@given(
    st.lists(st.floats(0, 250, allow_nan=False), max_size=9).map(sorted),
    st.floats(1, 30, allow_nan=False),
)
def test_labels_are_apart_in_order_within_bounds(wanted, gap) -> None:
    places = spread(wanted, gap, 0.0, 250.0)
    assert len(places) == len(wanted)
    assert all(-1e-6 <= place <= 250 + 1e-6 for place in places)
    for one, other in pairwise(places):
        assert other - one >= gap - 1e-6
    if all(other - one >= gap for one, other in pairwise(wanted)):
        assert places == pytest.approx(wanted), "nothing moves that need not"


def test_labels_that_cannot_fit_are_refused() -> None:
    with pytest.raises(ValueError, match="do not fit"):
        spread([0.0, 1.0, 2.0], 10.0, 0.0, 15.0)


@given(st.text(max_size=80), st.integers(3, 40))
def test_shortened_words_fit_and_keep_both_ends(words, most) -> None:
    short = shortened(words, most)
    assert len(short) <= most
    if len(words) > most:
        assert short[0] == words[0]
        assert short[-1] == words[-1]
    else:
        assert short == words


def test_rods_end_below_their_marks_by_what_is_wetted_there() -> None:
    """A rod conducts from its tip on, and a mark counts as reached when `wetted` of it is under water."""
    places = [("1 low", 1.0, 0.9), ("2 full", 2.0, 1.9)]
    levels = [Level(at, (name, ""), ("", ""), "mark", None, tip) for name, at, tip in places]
    box = shape("box", length="2 m", width="2 m", height="2.5 m")
    scale, root = scale_of(box), parsed(draw_tank("t", box, levels[::-1], None, None))
    tips = {round(float(c.attrib["cy"]), 1) for c in root.iter(f"{SVG}circle") if c.attrib["r"] == "3.4"}
    assert tips == {round(scale.y(height), 1) for height in (0.9, 1.9, 0.9 * 0.6)}
