"""How much a pilot can show: chance of meeting a fault in a sample, and the exact bound on a share that
failed.

Sources: the hypergeometric distribution for a sample of a finite fleet; Clopper and Pearson's exact
interval (one-sided) for a binomial share. For no failure among n it gives 1 - 0.05^(1/n), whose
approximation is the rule of three.
"""

from __future__ import annotations

from math import ceil, comb, exp, fsum, log, log1p

from fleet.limits import CONFIDENCE


def bad_count(fleet: int, share: float) -> int:
    """How many of `fleet` nodes a fault of that share hits: at least one."""
    return max(1, ceil(share * fleet - 1e-9))


def chance_found(fleet: int, bad: int, pilot: int) -> float:
    """Probability that at least one of `bad` faulty nodes is among `pilot` nodes drawn from `fleet`."""
    if pilot >= fleet:
        return 1.0
    return 1.0 - comb(fleet - bad, pilot) / comb(fleet, pilot)


def pilot_needed(fleet: int, bad: int, confidence: float = CONFIDENCE) -> int:
    """The smallest pilot that meets a faulty node with that probability."""
    low, high = 1, fleet
    while low < high:
        middle = (low + high) // 2
        if chance_found(fleet, bad, middle) >= confidence:
            high = middle
        else:
            low = middle + 1
    return low


def share_bound(failed: int, of: int, confidence: float = CONFIDENCE) -> float:
    """The share of failures is not above this, with that confidence, when `failed` of `of` were seen to
    fail.

    It is the share at which so few failures, or fewer, have a chance of 1 - `confidence`; found by bisection, for
    that chance falls as the share grows.
    """
    if failed >= of:
        return 1.0
    ways = fsum(log((of - k) / (k + 1)) for k in range(min(failed, of - failed)))
    low, high = 0.0, 1.0
    while low < (middle := (low + high) / 2) < high:
        if _chance_of_so_few(failed, of, ways, middle) > 1 - confidence:
            low = middle
        else:
            high = middle
    return middle


def _chance_of_so_few(failed: int, of: int, ways: float, share: float) -> float:
    """Probability of `failed` failures or fewer among `of`, if each fails with that probability.

    From the term of `failed` (`ways` is the logarithm of its binomial coefficient) downwards, each from the one before,
    as far as they count: so nothing is too large or too small for a float, however many nodes there are.
    """
    odds = (1 - share) / share
    total, term = 0.0, 1.0
    for number in range(failed, -1, -1):
        total += term
        step = odds * number / (of - number + 1)
        if step < 1 and term * step < total * (1 - step) * _NO_SHARE:
            break  # the terms that are left shrink faster still
        term *= step
    return exp(ways + failed * log(share) + (of - failed) * log1p(-share) + log(total))


_NO_SHARE = 1e-17
