"""Dished heads against published figures, solid geometry, fluids and scipy's own integration."""

from __future__ import annotations

from math import acos, asin, pi, sqrt

import numpy as np
import pytest
from fluids.geometry import V_horiz_torispherical, V_vertical_torispherical
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from fleet.water.dished import ASME_FLANGED_AND_DISHED, DishedHead, below_chord
from fleet.water.quadrature import integral

PROPORTIONS = [(1.0, 0.06), (1.0, 0.1), (0.8, 0.154), (0.9, 0.06), (2.0, 0.03)]


# ------------------------------------------------------------------ published figures
def test_the_usual_head() -> None:
    """0.0809 D3 (a formula of the trade, eng-tips.com thread 13725)."""
    assert ASME_FLANGED_AND_DISHED.volume == pytest.approx(0.0809, rel=2e-3)


@pytest.mark.parametrize(
    ("dish", "knuckle", "depth", "volume"), [(1.0, 0.1, 0.1935, 0.1), (0.8, 0.154, 0.255, 0.1298)]
)
def test_heads_of_the_german_standards(dish: float, knuckle: float, depth: float, volume: float) -> None:
    """DIN 28011 and 28013: depth and contents of thin heads in outside diameters (from memory, rounded there)."""
    head = DishedHead(dish, knuckle)
    assert head.depth == pytest.approx(depth, rel=3e-3)
    assert head.volume == pytest.approx(volume, rel=1.5e-2)


@pytest.mark.parametrize(("dish", "knuckle"), PROPORTIONS)
def test_whole_head(dish: float, knuckle: float) -> None:
    """The dome of a sphere of radius R and a torus of radii a and c: h = R - sqrt((a - R)2 - c2) and
    V = pi/3 (2 h R2 - (2 a2 + c2 + 2 a R)(R - h) + 3 a2 c asin((R - h) / (R - a))), as E. Weisstein gives it
    ("Torispherical Dome", MathWorld; read in copies)."""
    head, c = DishedHead(dish, knuckle), 0.5 - knuckle
    h = dish - sqrt((knuckle - dish) ** 2 - c**2)
    sphere = 2 * h * dish**2 - (2 * knuckle**2 + c**2 + 2 * knuckle * dish) * (dish - h)
    torus = 3 * knuckle**2 * c * asin((dish - h) / (dish - knuckle))
    assert head.depth == pytest.approx(h, rel=1e-12)
    assert head.volume == pytest.approx(pi / 3 * (sphere + torus), rel=1e-12)


# ------------------------------------------------------------------ solid geometry
@given(st.floats(0.01, 0.45), st.floats(0, 1))
def test_a_dish_of_half_the_diameter_is_half_a_ball(knuckle: float, level: float) -> None:
    """Whatever the knuckle: 3 x2 - 2 x3 of it lying, pi h2 (3 r - h) / 3 upright."""
    head = DishedHead(0.5, knuckle)
    assert head.lying(level) == pytest.approx(pi / 12 * level**2 * (3 - 2 * level), rel=1e-9)
    assert head.upright(level / 2) == pytest.approx(pi * (level / 2) ** 2 * (1.5 - level / 2) / 3, rel=1e-9)


@pytest.mark.parametrize(("dish", "knuckle"), PROPORTIONS)
@pytest.mark.parametrize("level", [1e-15, 1e-12, 1e-9, 1e-6])
def test_a_film_keeps_its_digits(dish: float, knuckle: float, level: float) -> None:
    """Ends of a film of depth y: knuckle and circle are parabolas there, and their product integrates to
    pi/2 sqrt(knuckle / 2) y2. A cone of height 1 holds 16/15 y2.5 (the same integral over a straight side)."""
    assert DishedHead(dish, knuckle).lying(level) == pytest.approx(
        pi / 2 * sqrt(knuckle / 2) * level**2, rel=1e-9 + 3 * level / knuckle
    )
    cone = below_chord(level, lambda _, inside: 2 * inside)
    assert cone == pytest.approx(16 / 15 * level**2.5, rel=1e-9 + 3 * level)


def test_a_film_in_an_upright_head_is_a_cap_of_the_dish() -> None:
    """pi h2 R (solid geometry), the dish's radius being that of the shell's diameter."""
    assert ASME_FLANGED_AND_DISHED.upright(1e-9) == pytest.approx(pi * 1e-18, rel=1e-9)


# ------------------------------------------------------------------ independent parties
BIG = 1000.0
"""Diameter that fluids gets: it integrates to a fixed error in the cube of the unit of length."""


@given(st.sampled_from(PROPORTIONS), st.floats(2e-3, 1))
def test_lying_head_agrees_with_fluids(proportions: tuple[float, float], level: float) -> None:
    dish, knuckle = proportions
    theirs = V_horiz_torispherical(BIG, 1.0, dish, knuckle, level * BIG, headonly=True) / BIG**3
    assert DishedHead(dish, knuckle).lying(level) == pytest.approx(theirs, rel=1e-9)


@given(st.sampled_from(PROPORTIONS), st.floats(1e-6, 1))
def test_upright_head_agrees_with_fluids(proportions: tuple[float, float], share: float) -> None:
    head = DishedHead(*proportions)
    theirs = V_vertical_torispherical(BIG, *proportions, share * head.depth * BIG) / BIG**3
    assert head.upright(share * head.depth) == pytest.approx(theirs, rel=1e-9)


@given(st.sampled_from(PROPORTIONS), st.floats(0.02, 0.5))
def test_lying_head_agrees_with_its_slices(proportions: tuple[float, float], level: float) -> None:
    """Discs across the axis, each with its segment under water, added by scipy: another way through the same body."""
    dish, knuckle = proportions
    ring, off = 0.5 - knuckle, 0.5 - level
    centre = sqrt((dish - knuckle) ** 2 - ring**2)
    joint = centre * knuckle / (dish - knuckle)

    def segment(out: float) -> float:
        inside = knuckle**2 - out**2
        r = ring + sqrt(inside) if out < joint else sqrt(dish**2 - (out + centre) ** 2)
        return r * r * acos(off / r) - off * sqrt(r * r - off * off) if r > off else 0.0

    tip = sqrt(dish**2 - off**2) - centre if off < ring * dish / (dish - knuckle) else joint
    low = quad(segment, 0, joint, epsabs=0, epsrel=1e-11, limit=200)[0]
    high = quad(segment, joint, tip, epsabs=0, epsrel=1e-11, limit=200)[0] if tip > joint else 0.0
    assert DishedHead(dish, knuckle).lying(level) == pytest.approx(low + high, rel=1e-9)


# ------------------------------------------------------------------ properties
@given(st.sampled_from(PROPORTIONS), st.floats(0, 1), st.floats(0, 1))
def test_more_depth_is_more_water(proportions: tuple[float, float], one: float, other: float) -> None:
    head, (low, high) = DishedHead(*proportions), sorted((one, other))
    assert head.lying(low) <= head.lying(high) * (1 + 1e-10)
    assert head.upright(low * head.depth) <= head.upright(high * head.depth) * (1 + 1e-14)


@given(st.sampled_from(PROPORTIONS), st.floats(0, 1))
def test_a_lying_head_is_symmetric(proportions: tuple[float, float], level: float) -> None:
    head = DishedHead(*proportions)
    assert head.lying(level) + head.lying(1 - level) == pytest.approx(head.volume, rel=1e-10)
    assert head.lying(0.5 - 1e-9) == pytest.approx(head.volume / 2, rel=1e-7)


def test_rule_of_gauss_and_legendre() -> None:
    """Exact for polynomials up to twice its points (32) less one; numpy has the same points."""
    for degree in (0, 1, 2, 31, 62, 63):
        assert integral(lambda x, n=degree: x**n, 0.0, 2.0) == pytest.approx(
            2 ** (degree + 1) / (degree + 1), 1e-13
        )
    points, weights = np.polynomial.legendre.leggauss(32)
    seen = []
    integral(lambda x: seen.append(x) or 0.0, -1.0, 1.0)
    assert sorted(seen) == pytest.approx(list(points), abs=1e-14)
    assert integral(lambda x: x**64, -1.0, 1.0) == pytest.approx(float(sum(weights * points**64)), rel=1e-12)
