"""Chances and bounds against published and independently computed figures.

Sources: hypergeometric figures computed with scipy.stats.hypergeom; one-sided bounds 1 - 0.05^(1/n) and
the rule of three (published cases 1500 -> 1/500, 300 -> 1/100, "Rule of three (statistics)", Hanley and
Lippman-Hand, JAMA 1983, title from memory); Clopper and Pearson's two-sided 95 % interval of 1/20 and 0/20
computed with scipy.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import betaincinv
from scipy.stats import binomtest, hypergeom

from fleet.push.detection import bad_count, chance_found, pilot_needed, share_bound


@pytest.mark.parametrize(
    ("fleet", "bad", "pilot", "chance"),
    [
        (20, 2, 4, 0.368421),
        (50, 5, 5, 0.423361),
        (50, 5, 10, 0.689437),
        (100, 10, 10, 0.669524),
        (500, 25, 50, 0.933001),
        (1000, 50, 58, 0.953374),
    ],
)
def test_chance_found_in_a_finite_fleet(fleet: int, bad: int, pilot: int, chance: float) -> None:
    assert chance_found(fleet, bad, pilot) == pytest.approx(chance, abs=5e-7)


@pytest.mark.parametrize(
    ("fleet", "bad", "needed"),
    [(20, 1, 19), (20, 2, 16), (50, 5, 22), (100, 5, 45), (100, 10, 25), (500, 25, 56), (1000, 50, 57)],
)
def test_smallest_pilot_for_95_percent(fleet: int, bad: int, needed: int) -> None:
    assert pilot_needed(fleet, bad) == needed


def test_chance_found_against_scipy_throughout() -> None:
    for fleet in range(1, 22):
        for bad in range(1, fleet + 1):
            for pilot in range(fleet + 1):
                expected = 1.0 - hypergeom.pmf(0, fleet, bad, pilot)
                assert chance_found(fleet, bad, pilot) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize(
    ("of", "bound"),
    [
        (5, 0.4507),
        (10, 0.2589),
        (20, 0.1391),
        (29, 0.0981),
        (30, 0.0950),
        (59, 0.0495),
        (100, 0.0295),
        (299, 0.00997),
        (1500, 0.001995),
    ],
)
def test_bound_when_none_failed(of: int, bound: float) -> None:
    assert share_bound(0, of) == pytest.approx(bound, rel=2e-3)


def test_bound_is_near_the_rule_of_three() -> None:
    for of in (100, 300, 1500):
        assert share_bound(0, of) == pytest.approx(3 / of, rel=0.02)


def test_bound_is_clopper_and_pearsons() -> None:
    assert share_bound(1, 20, 0.975) == pytest.approx(0.248733, abs=5e-7)
    assert share_bound(0, 20, 0.975) == pytest.approx(0.168433, abs=5e-7)
    for of in (1, 7, 33):
        for failed in range(of):
            interval = binomtest(failed, of, alternative="less").proportion_ci(0.95, method="exact")
            assert share_bound(failed, of) == pytest.approx(interval.high, rel=1e-9)
    assert share_bound(3, 3) == 1.0


@pytest.mark.parametrize("of", [1, 2, 3, 5, 10, 29, 100, 1_000, 10_000])
@pytest.mark.parametrize("confidence", [0.05, 0.5, 0.95, 0.999999])
def test_bound_is_the_inverse_of_the_beta_function(of: int, confidence: float) -> None:
    """Clopper and Pearson's bound is a quantile of a beta distribution; scipy inverts that function by its own way."""
    for failed in sorted({0, 1, 2, of // 10, of // 2, of - 2, of - 1} & set(range(of))):
        exact = betaincinv(failed + 1, of - failed, confidence)
        assert share_bound(failed, of, confidence) == pytest.approx(exact, rel=1e-9), failed


@pytest.mark.parametrize("failed", [0, 1, 30, 500_000])
def test_bound_of_a_million(failed: int) -> None:
    """Binomial coefficients of 300,000 digits, which no float holds."""
    exact = betaincinv(failed + 1, 1_000_000 - failed, 0.95)
    assert share_bound(failed, 1_000_000) == pytest.approx(exact, rel=1e-9)


@given(st.integers(1, 3_000), st.floats(0, 1), st.floats(1e-6, 1 - 1e-9))
def test_bound_of_any_count(of: int, share: float, confidence: float) -> None:
    failed = min(int(share * of), of - 1)
    exact = betaincinv(failed + 1, of - failed, confidence)
    assert share_bound(failed, of, confidence) == pytest.approx(exact, rel=1e-9)


def test_a_share_hits_at_least_one_node() -> None:
    assert [bad_count(fleet, 0.10) for fleet in (1, 9, 10, 11, 20, 100)] == [1, 1, 1, 2, 2, 10]
