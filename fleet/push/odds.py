"""How much a pilot can show: chance of meeting a fault in a sample, and the exact bound on a share that
failed.

Sources: the hypergeometric distribution for a sample of a finite fleet; Clopper and Pearson's exact
interval (one-sided) for a binomial share. For no failure among n it gives 1 - 0.05^(1/n), whose
approximation is the rule of three.
"""

from __future__ import annotations

from math import ceil, comb

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
    fail."""
    if failed >= of:
        return 1.0
    from scipy.special import betaincinv

    return float(betaincinv(failed + 1, of - failed, confidence))
