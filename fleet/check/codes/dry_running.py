"""Codes of pumps that move nothing, INV630-649."""

from __future__ import annotations

from fleet.codes import Code, Severity

WATER_GOES_FIRST = Code(
    "INV630",
    "a pump that runs dry is stopped too late",
    "A pump that moves nothing (a dry well, a broken shaft) shows only by a level that does not recover. "
    "By then the water has passed its reserve or its overflow, or the pump has run dry for hours.",
    "Set the mark where the pump starts further from the reserve (or the overflow), or fit a pump that "
    "moves more than the largest draw. Fit dry-run protection that works without the node: a float, "
    "pressure or current switch.",
    Severity.WARNING,
    "first-rise watch = 1.5 x the time back to the mark, at the pump's flow less the largest draw, at least 10 min "
    "(own choice); water = volume / largest draw; 2 h at most (own allowance)",
)
DIES_UNSEEN = Code(
    "INV631",
    "a pump that fails between two marks is stopped late",
    "Between two marks nothing shows whether the water still rises. A pump that fails there while nothing "
    "is drawn runs dry until the no-rise watch ends, which has to allow for the longest stretch at the "
    "largest draw.",
    "Add a mark in the middle of the longest stretch, or fit a pump that moves more. Fit dry-run protection that works "
    "without the node: a float, pressure or current switch.",
    Severity.WARNING,
    "no-rise watch = 1.5 x the longest stretch between marks at the pump's flow less the largest draw (own choice); "
    "14 h at most: from the last look of one day to the first of the next (own allowance; stock and its water are "
    "inspected once a day: SI 2000/1870, schedule 1)",
)

CODES = (WATER_GOES_FIRST, DIES_UNSEEN)
