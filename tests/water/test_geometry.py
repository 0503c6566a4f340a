"""Volumes against published figures, against fluids as an independent party, and by their properties."""

from __future__ import annotations

import subprocess
import sys
from math import pi

import pytest
from fluids.geometry import TANK
from hypothesis import given
from hypothesis import strategies as st

from fleet.model.tank import Shape
from fleet.water.geometry import area_m2, bottom_depth_m, depth_m, segment_share, top_m, total_l, volume_l
from tests.water.shapes import shape

GALLON_L = 3.785411784  # 231 cubic inches (NIST Handbook 44, appendix C)


# ------------------------------------------------------------------ published figures
def test_machinery_s_handbook_cylinder() -> None:
    """Machinery's Handbook 31, page 74: 20 ft by 6 ft; 4230 gal, half 2115, 1000 gal at 20.61 in."""
    tank = shape("horizontal-cylinder", diameter="6 ft", length="20 ft")
    assert round(total_l(tank) / GALLON_L) == 4230
    assert round(volume_l(tank, 36 * 0.0254) / GALLON_L) == 2115
    assert round(depth_m(tank, 1000 * GALLON_L) / 0.0254, 2) == 20.61
    assert round(pi * segment_share(0.5724 / 2), 4) == 0.7424  # segment area of the unit circle, same page


SEGMENT = {
    0.01: 0.001693, 0.02: 0.004773, 0.05: 0.018693, 0.10: 0.052044, 0.15: 0.094060,
    0.20: 0.142378, 0.25: 0.195501, 0.30: 0.252316, 0.35: 0.311919, 0.40: 0.373530,
    0.45: 0.436444, 0.50: 0.500000, 0.60: 0.626470, 0.70: 0.747684, 0.75: 0.804499,
    0.80: 0.857622, 0.90: 0.947956, 0.95: 0.981307, 0.99: 0.998307,
}  # fmt: skip


def test_partially_filled_cylinder_table() -> None:
    """The table of partially filled horizontal cylinders, as in Perry's, recomputed with fluids 1.3.1."""
    for x, share in SEGMENT.items():
        assert segment_share(x) == pytest.approx(share, abs=6e-7)


@pytest.mark.parametrize(
    ("bottom", "at_24_in_gal", "at_60_in_gal"),
    [
        ("cone", 250.6746, 2251.1755),
        ("ellipsoidal", 783.3582, 2902.8316),
        ("dished", 904.0688, 3036.7614),
    ],
)
def test_vertical_bottoms_of_the_jones_problem_set(
    bottom: str, at_24_in_gal: float, at_60_in_gal: float
) -> None:
    """D. Jones, Calculating Tank Volume.

    D = 132 in, a = 33 in, recomputed with fluids 1.3.1 (dished: f = 1, k = 0.06).
    """
    depth = {} if bottom == "dished" else {"bottom_depth": "33 in"}
    tank = shape("vertical-cylinder", diameter="132 in", height="100 in", bottom=bottom, **depth)
    assert volume_l(tank, 24 * 0.0254) / GALLON_L == pytest.approx(at_24_in_gal, abs=6e-5)
    assert volume_l(tank, 60 * 0.0254) / GALLON_L == pytest.approx(at_60_in_gal, abs=6e-5)


@pytest.mark.parametrize(
    ("h_in", "gal"), [(36, 2028.6267), (84, 5939.8979), (54, 3534.9973), (108, 7069.9947)]
)
def test_dished_heads_of_the_jones_problem_set(h_in: int, gal: float) -> None:
    """D = 108 in, L = 156 in, torispherical f = 1, k = 0.06, recomputed with fluids 1.3.1."""
    tank = shape("horizontal-cylinder", diameter="108 in", length="156 in", ends="dished")
    assert volume_l(tank, h_in * 0.0254) / GALLON_L == pytest.approx(gal, abs=6e-5)


@pytest.mark.parametrize(
    ("ends", "gal"),
    [
        ("conical", {36: 2041.1924, 84: 6180.5408, 54: 3648.4907, 108: 7296.9813}),
        ("ellipsoidal", {36: 2380.9565, 84: 7103.4452, 54: 4203.6958, 108: 8407.3915}),
    ],
)
def test_ends_of_a_given_depth_of_the_jones_problem_set(ends: str, gal: dict[int, float]) -> None:
    """D. Jones, Calculating Tank Volume: D = 108 in, L = 156 in, a = 42 in, recomputed with fluids 1.3.1 (that these
    are the paper's printed results is from memory).
    """
    tank = shape("horizontal-cylinder", diameter="108 in", length="156 in", ends=ends, ends_depth="42 in")
    for h_in, volume_gal in gal.items():
        assert volume_l(tank, h_in * 0.0254) / GALLON_L == pytest.approx(volume_gal, abs=6e-5)


def test_spherical_bottom_of_the_closed_form() -> None:
    """A half sphere under a cylinder: V = pi h2 (3 r - h) / 3 (solid geometry)."""
    tank = shape("vertical-cylinder", diameter="2 m", height="1 m", bottom="hemispherical")
    assert volume_l(tank, 0.7) / 1000 == pytest.approx(pi * 0.49 * (3 - 0.7) / 3)


H_CYL = {"diameter": "1 m", "length": "2 m"}
V_CYL = {"diameter": "1.2 m", "height": "1.5 m"}
FIGURES = [
    ("horizontal-cylinder", H_CYL, 1.570796,
     {0.1: 0.081751, 0.25: 0.307092, 0.5: 0.785398, 0.75: 1.263704, 0.9: 1.489046}),
    ("horizontal-cylinder", H_CYL | {"ends": "ellipsoidal"}, 1.832596,
     {0.1: 0.089081, 0.25: 0.347999, 0.5: 0.916298, 0.75: 1.484597, 0.9: 1.743515}),
    ("horizontal-cylinder", H_CYL | {"ends": "hemispherical"}, 2.094395,
     {0.1: 0.096411, 0.25: 0.388905, 0.5: 1.047198, 0.75: 1.705490, 0.9: 1.997984}),
    ("horizontal-cylinder", H_CYL | {"ends": "dished"}, 1.732794,
     {0.1: 0.086098, 0.25: 0.331379, 0.5: 0.866397, 0.75: 1.401415, 0.9: 1.646696}),
    ("vertical-cylinder", V_CYL, 1.696460, {0.1: 0.113097, 0.5: 0.565487, 1.0: 1.130973}),
    ("vertical-cylinder", V_CYL | {"bottom": "cone", "bottom_depth": "0.4 m"}, 1.847256,
     {0.1: 0.002356, 0.2: 0.018850, 0.4: 0.150796, 1.0: 0.829380}),
    ("vertical-cylinder", V_CYL | {"bottom": "ellipsoidal", "bottom_depth": "0.3 m"}, 1.922655,
     {0.1: 0.033510, 0.3: 0.226195, 1.0: 1.017876}),
    ("sphere", {"diameter": "2 m"}, 4.188790, {0.25: 0.179987, 0.5: 0.654498, 1.0: 2.094395, 1.5: 3.534292}),
    ("frustum", {"bottom_diameter": "0.8 m", "top_diameter": "1 m", "height": "1 m"}, 0.638791,
     {0.25: 0.133681, 0.5: 0.284052, 0.75: 0.452095}),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "keys", "total_m3", "at_m3"), FIGURES)
def test_simple_shapes(kind: str, keys: dict[str, str], total_m3: float, at_m3: dict[float, float]) -> None:
    """Figures of fluids 1.3.1, and closed forms for the frustum (it has none)."""
    tank = shape(kind, **keys)
    assert total_l(tank) / 1000 == pytest.approx(total_m3, abs=6e-7)
    for depth, volume_m3 in at_m3.items():
        assert volume_l(tank, depth) / 1000 == pytest.approx(volume_m3, abs=6e-7)


@pytest.mark.parametrize(
    ("diameter", "litres", "millimetres"),
    [("1.2 m", 37.5, 33.16), ("2.0 m", 150, 47.75), ("0.8 m", 7.5, 14.92)],
)
def test_control_volumes_as_heights(diameter: str, litres: float, millimetres: float) -> None:
    """V = t q / 4 (US Army EI 11C201) for 30 L/min 12/h, 60 L/min 6/h, 10 L/min 20/h, as a height in an
    upright tank.
    """
    tank = shape("vertical-cylinder", diameter=diameter, height="1 m")
    assert round(1000 * depth_m(tank, litres), 2) == millimetres


def test_one_metre_of_diameter_holds_7_854_litres_a_centimetre() -> None:
    tank = shape("vertical-cylinder", diameter="1 m", height="1 m")
    assert round(volume_l(tank, 0.01), 3) == 7.854


@pytest.mark.parametrize(
    ("x", "share"), [(0.1, 0.028), (0.25, 0.15625), (0.5, 0.5), (0.75, 0.84375), (0.9, 0.972)]
)
def test_sphere_shares(x: float, share: float) -> None:
    """3x2 - 2x3, solid geometry."""
    tank = shape("sphere", diameter="3 m")
    assert volume_l(tank, 3 * x) / total_l(tank) == pytest.approx(share)


def test_heads() -> None:
    """ASME flanged and dished: depth 0.169338 D, volume 0.080999 D3 (computed with fluids 1.3.1)."""
    tank = shape("vertical-cylinder", diameter="1 m", height="1 m", bottom="dished")
    assert bottom_depth_m(tank) == pytest.approx(0.169338, abs=5e-7)
    assert volume_l(tank, bottom_depth_m(tank)) / 1000 == pytest.approx(0.080999, abs=5e-7)
    half = shape("vertical-cylinder", diameter="1 m", height="1 m", bottom="hemispherical")
    assert volume_l(half, 0.5) / 1000 == pytest.approx(0.261799, abs=5e-7)
    assert top_m(half) == 1.5
    two_to_one = shape("horizontal-cylinder", diameter="1 m", length="1 m", ends="ellipsoidal")
    flat = shape("horizontal-cylinder", diameter="1 m", length="1 m")
    assert (total_l(two_to_one) - total_l(flat)) / 2000 == pytest.approx(0.130900, abs=5e-7)  # pi D3 / 24


def test_bottoms_and_heads_grow_with_the_tank() -> None:
    """Flanged and dished 0.169338 D; an ellipsoid whose depth is not given is a 2:1 one, D / 4."""
    keys = {"diameter": "3 m", "height": "1 m"}
    dished, two_to_one = (
        shape("vertical-cylinder", bottom=form, **keys) for form in ("dished", "ellipsoidal")
    )
    assert bottom_depth_m(dished) == pytest.approx(3 * 0.169338, abs=2e-6)
    assert bottom_depth_m(two_to_one) == pytest.approx(0.75)
    assert top_m(dished) == pytest.approx(1 + 3 * 0.169338, abs=2e-6)
    assert volume_l(two_to_one, 0.75) / 1000 == pytest.approx(pi * 27 / 24)  # pi D3 / 24, solid geometry


def test_frustum_of_any_height() -> None:
    """V = pi h / 3 (r1^2 + r1 r2 + r2^2) (solid geometry): r from 0.5 m to 1 m over 3 m; 0.75 m at half height."""
    trough = shape("frustum", bottom_diameter="1 m", top_diameter="2 m", height="3 m")
    assert total_l(trough) / 1000 == pytest.approx(pi * 1.75)
    assert volume_l(trough, 1.5) / 1000 == pytest.approx(pi / 2 * (0.25 + 0.375 + 0.5625))


def test_lying_cones_are_empty_at_the_bottom_and_full_at_the_top() -> None:
    """Two cones of pi r2 a / 3 each (solid geometry) besides the cylinder."""
    keys = {"diameter": "2 m", "length": "3 m"}
    coned = shape("horizontal-cylinder", ends="conical", ends_depth="0.6 m", **keys)
    flat = shape("horizontal-cylinder", **keys)
    assert volume_l(coned, 0.0) == 0.0
    assert (
        volume_l(
            shape("horizontal-cylinder", diameter="1 m", length="1 m", ends="conical", ends_depth="1 m"),
            1e-12,
        )
        >= 0
    )
    assert total_l(coned) - total_l(flat) == pytest.approx(1000 * 2 * pi * 0.6 / 3)


@pytest.mark.parametrize(("x", "share"), [(0.1, 0.001), (0.5, 0.125), (0.9, 0.729)])
def test_inverted_cone_shares(x: float, share: float) -> None:
    """x3, solid geometry."""
    tank = shape("vertical-cylinder", diameter="2 m", height="1 m", bottom="cone", bottom_depth="0.8 m")
    assert volume_l(tank, 0.8 * x) / volume_l(tank, 0.8) == pytest.approx(share)


# ------------------------------------------------------------------ fluids as an independent party
MM = 1000.0
"""fluids gets millimetres: it integrates dished ends to a fixed error in the cube of the unit of length."""


def fluids_m3(tank: Shape, depth: float) -> float:
    """The same shape in fluids."""
    if tank.kind == "horizontal-cylinder":
        out = {
            "ellipsoidal": tank.diameter_m / 4,
            "hemispherical": tank.diameter_m / 2,
            "conical": tank.ends_depth_m,
        }
        ends = _in_fluids(tank.ends, "A", out.get(tank.ends)) | _in_fluids(tank.ends, "B", out.get(tank.ends))
        it = TANK(D=MM * tank.diameter_m, L=MM * tank.length_m, horizontal=True, **ends)
    else:
        bottom = _in_fluids(tank.bottom, "A", bottom_depth_m(tank))
        it = TANK(D=MM * tank.diameter_m, L=MM * tank.height_m, horizontal=False, **bottom)
    return it.V_from_h(MM * depth) / MM**3


def _in_fluids(form: str, side: str, stands_out_m: float | None) -> dict[str, str | float]:
    names = {
        "cone": "conical",
        "conical": "conical",
        "ellipsoidal": "ellipsoidal",
        "hemispherical": "spherical",
    }
    if form == "flat":
        return {}
    if form == "dished":
        return {f"side{side}": "torispherical", f"side{side}_f": 1.0, f"side{side}_k": 0.06}
    return {f"side{side}": names[form], f"side{side}_a": MM * stands_out_m}


metres = st.floats(0.2, 8.0, allow_nan=False).map(lambda x: round(x, 3))


@st.composite
def cylinders(draw: st.DrawFn) -> Shape:
    diameter, other = f"{draw(metres)} m", f"{draw(metres)} m"
    if draw(st.booleans()):
        ends = draw(st.sampled_from(["flat", "ellipsoidal", "hemispherical", "conical", "dished"]))
        stand_out = {"ends_depth": f"{draw(metres)} m"} if ends == "conical" else {}
        return shape("horizontal-cylinder", diameter=diameter, length=other, ends=ends, **stand_out)
    bottom = draw(st.sampled_from(["flat", "cone", "ellipsoidal", "hemispherical", "dished"]))
    depth = {"bottom_depth": f"{draw(metres)} m"} if bottom in ("cone", "ellipsoidal") else {}
    return shape("vertical-cylinder", diameter=diameter, height=other, bottom=bottom, **depth)


@st.composite
def shapes(draw: st.DrawFn) -> Shape:
    a, b, c = (f"{draw(metres)} m" for _ in range(3))
    kind = draw(st.sampled_from(["cylinder", "box", "frustum", "sphere", "strapped"]))
    if kind == "cylinder":
        return draw(cylinders())
    if kind == "box":
        return shape("box", length=a, width=b, height=c)
    if kind == "frustum":
        return shape("frustum", bottom_diameter=a, top_diameter=b, height=c)
    if kind == "sphere":
        return shape("sphere", diameter=a)
    steps = draw(st.lists(st.tuples(st.integers(1, 500), st.integers(1, 5000)), min_size=2, max_size=12))
    depth, volume, table = 0, 0, []
    for mm, litres in steps:
        depth, volume = depth + mm, volume + litres
        table.append({"depth": f"{depth} mm", "volume": f"{volume} L"})
    return shape("strapped", table=table)


shares = st.floats(0.0, 1.0, allow_nan=False)


@given(cylinders(), st.floats(2e-3, 1.0))
def test_volumes_agree_with_fluids(tank: Shape, share: float) -> None:
    """From 2 in a thousand of the depth on: of a film fluids gives what an arc cosine near 1 rounds to."""
    depth = share * top_m(tank)
    assert volume_l(tank, depth) / 1000 == pytest.approx(fluids_m3(tank, depth), rel=1e-9)


@pytest.mark.parametrize("x", [1e-15, 1e-12, 1e-9, 1e-6])
def test_a_film_in_a_lying_tank_keeps_its_digits(x: float) -> None:
    """Two thirds of chord times depth, for an arc is a parabola there: 16 / (3 pi) x1.5 of the circle; in a cone
    12 / pi times 16 / 15 x2.5."""
    flat = shape("horizontal-cylinder", diameter="1 m", length="1 m")
    coned = shape("horizontal-cylinder", diameter="1 m", length="1 m", ends="conical", ends_depth="1 m")
    cylinder, cones = 4 / 3 * x**1.5, 2 * 16 / 15 * x**2.5
    assert segment_share(x) == pytest.approx(16 / (3 * pi) * x**1.5, rel=1e-12 + x)
    assert volume_l(flat, x) / 1000 == pytest.approx(cylinder, rel=1e-12 + x)
    assert (volume_l(coned, x) - volume_l(flat, x)) / 1000 == pytest.approx(cones, rel=4 * x + 1e-15 / x)


@pytest.mark.parametrize("ends", ["flat", "conical", "dished"])
@pytest.mark.parametrize("x", [1e-3, 0.0155, 0.0158, 0.02, 0.031915, 0.1, 0.5])
def test_pieces_of_a_formula_meet(ends: str, x: float) -> None:
    """Where one way of calculating ends and the next begins there is no step."""
    depth = {"ends_depth": "0.5 m"} if ends == "conical" else {}
    tank = shape("horizontal-cylinder", diameter="1 m", length="10 mm", ends=ends, **depth)
    below, above = volume_l(tank, x * (1 - 1e-12)), volume_l(tank, x * (1 + 1e-12))
    assert below <= above == pytest.approx(below, rel=1e-10)


# ------------------------------------------------------------------ properties
@given(shapes(), shares, shares)
def test_more_depth_is_more_water(tank: Shape, one: float, other: float) -> None:
    low, high = sorted((one * top_m(tank), other * top_m(tank)))
    assert volume_l(tank, low) <= volume_l(tank, high) * (1 + 1e-9) + 1e-9
    assert 0.0 <= volume_l(tank, low) <= total_l(tank) * (1 + 1e-12)


@given(shapes(), shares)
def test_depth_is_the_inverse_of_volume(tank: Shape, share: float) -> None:
    volume = share * total_l(tank)
    assert volume_l(tank, depth_m(tank, volume)) == pytest.approx(volume, rel=1e-6, abs=1e-6 * total_l(tank))


@given(shapes())
def test_beyond_the_ends(tank: Shape) -> None:
    assert volume_l(tank, -1.0) == pytest.approx(0.0, abs=1e-9)
    assert volume_l(tank, top_m(tank) + 5) == total_l(tank)
    assert depth_m(tank, -5.0) == 0.0
    assert depth_m(tank, total_l(tank) * 2) == top_m(tank)


@given(metres, metres, st.sampled_from(["flat", "ellipsoidal", "hemispherical", "dished", "conical"]), shares)
def test_lying_cylinders_are_symmetric(diameter: float, length: float, ends: str, share: float) -> None:
    tank = shape("horizontal-cylinder", diameter=f"{diameter} m", length=f"{length} m", ends=ends)
    depth = share * diameter
    both = volume_l(tank, depth) + volume_l(tank, diameter - depth)
    assert both == pytest.approx(total_l(tank), rel=1e-6)


@given(shapes(), st.floats(0.05, 0.95))
def test_surface_is_the_slope_of_the_volume(tank: Shape, share: float) -> None:
    depth = share * top_m(tank)
    step = 0.02 * top_m(tank)
    slope = (volume_l(tank, depth + step) - volume_l(tank, depth - step)) / (2 * step) / 1000
    if tank.kind in ("box", "sphere", "horizontal-cylinder") and 0.1 < share < 0.9:
        assert area_m2(tank, depth) == pytest.approx(slope, rel=0.02)
    else:
        assert area_m2(tank, depth) > 0


def test_frustum_of_equal_diameters_is_a_cylinder() -> None:
    trough = shape("frustum", bottom_diameter="2 m", top_diameter="2 m", height="0.6 m")
    assert total_l(trough) == pytest.approx(1000 * pi * 0.6)


def test_strapping_table_is_read_in_straight_lines() -> None:
    table = [{"depth": "200 mm", "volume": "300 L"}, {"depth": "1 m", "volume": "2300 L"}]
    tank = shape("strapped", table=table)
    assert volume_l(tank, 0.1) == pytest.approx(150)
    assert volume_l(tank, 0.6) == pytest.approx(1300)
    assert volume_l(tank, 2.0) == 2300
    from_zero = shape("strapped", table=[{"depth": "0 m", "volume": "0 L"}, *table])
    assert volume_l(from_zero, 0.1) == pytest.approx(150)
    assert depth_m(from_zero, 1300) == pytest.approx(0.6)


def test_dished_ends_load_no_other_package() -> None:
    """The check of a whole fleet must not pay a second for the shape of a tank, nor a small machine 216 MB."""
    script = (
        "import sys; from tests.water.shapes import shape; from fleet.water.geometry import total_l;"
        "total_l(shape('horizontal-cylinder', diameter='2 m', length='2 m', ends='dished'));"
        "bad = {'fluids', 'numpy', 'scipy'} & set(sys.modules); assert not bad, bad"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
