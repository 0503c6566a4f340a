"""Recurrence rules of windows: RFC 5545 section 3.3.10, from days on upwards, and such that the window opens at all.

Whoever asks later when the window opens next must not search for a day that never comes.
"""

from __future__ import annotations

import re
from datetime import date, datetime, timedelta
from functools import lru_cache
from typing import TYPE_CHECKING, Final

from fleet.inventory.refusal import shown

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

_DAYS: Final = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")
# Highest figure of each part; those with True may be counted from the end. BYHOUR and BYMINUTE may be 0.
_RANGES: Final[dict[str, tuple[int, int, bool]]] = {
    "COUNT": (1, 9_999, False),
    "INTERVAL": (1, 999, False),
    "BYHOUR": (0, 23, False),
    "BYMINUTE": (0, 59, False),
    "BYMONTH": (1, 12, False),
    "BYMONTHDAY": (1, 31, True),
    "BYYEARDAY": (1, 366, True),
    "BYWEEKNO": (1, 53, True),
    "BYSETPOS": (1, 366, True),
}
_SINGLE: Final = ("COUNT", "INTERVAL")
_ONLY_WITH: Final = {
    "BYWEEKNO": ("YEARLY",),
    "BYYEARDAY": ("YEARLY",),
    "BYMONTHDAY": ("DAILY", "MONTHLY", "YEARLY"),
}
_FREQUENCIES: Final = ("DAILY", "WEEKLY", "MONTHLY", "YEARLY")
_FIRST_YEAR: Final = 2000
_CALENDAR_YEARS: Final = 28
"""From the first year on: every date falls on every day of the week."""


@lru_cache(maxsize=10_000)
def rule_problem(rule: str) -> str:
    """What is wrong with a recurrence rule; empty when it can be used."""
    if not re.fullmatch(r"[A-Z]+=[0-9A-Z,+-]+(;[A-Z]+=[0-9A-Z,+-]+)*", rule):
        return f"`{shown(rule)}` is not a recurrence rule, `FREQ=...` with parts after semicolons"
    pairs = [part.partition("=") for part in rule.split(";")]
    parts = {key: value for key, _, value in pairs}
    if len(parts) < len(pairs):
        return "a part of the rule is given twice"
    if parts.get("FREQ") not in _FREQUENCIES:
        return f"FREQ must be one of {', '.join(_FREQUENCIES)}: a window opens on days"
    for problem in (_part_problem(key, value, parts) for key, value in parts.items()):
        if problem:
            return problem
    if "UNTIL" in parts and "COUNT" in parts:
        return "UNTIL and COUNT exclude each other"
    return _dateutil_problem(rule) or ("" if _opens(parts) else "no day of any year fits this rule")


def _part_problem(key: str, value: str, parts: dict[str, str]) -> str:
    if key in _ONLY_WITH and parts["FREQ"] not in _ONLY_WITH[key]:
        return f"{key} goes with FREQ={' or '.join(_ONLY_WITH[key])} only"
    if key in _RANGES:
        low, high, signed = _RANGES[key]
        for text in value.split(","):
            number = int(text) if re.fullmatch(r"[+-]?[0-9]{1,4}", text) else None
            if number is None or not low <= (abs(number) if signed else number) <= high:
                return (
                    f"{key}={shown(value)} is outside of {low} to {high}{', or the same below zero' * signed}"
                )
        return f"{key} is one number" if key in _SINGLE and "," in value else ""
    if key == "BYDAY":
        ordinal = "([+-]?[1-9][0-9]?)?" if parts["FREQ"] in ("MONTHLY", "YEARLY") else ""
        return (
            ""
            if _each(value, rf"{ordinal}({'|'.join(_DAYS)})")
            else f"BYDAY={shown(value)} is no list of days"
        )
    if key == "UNTIL":
        fits = re.fullmatch(r"[0-9]{8}(T[0-9]{6})?", value)
        return "" if fits else "UNTIL is a day or a local time, as in `20271231` or `20271231T180000`"
    if key == "WKST":
        return "" if value in _DAYS else f"WKST={shown(value)} is no day"
    return "" if key == "FREQ" else f"there is no part {shown(key)} in a recurrence rule of days"


def _each(value: str, pattern: str) -> bool:
    return all(re.fullmatch(pattern, text) for text in value.split(","))


def _dateutil_problem(rule: str) -> str:
    from dateutil.rrule import rrulestr

    try:
        rrulestr(rule, dtstart=datetime(_FIRST_YEAR, 1, 1))
    except (ValueError, TypeError, IndexError, OverflowError):
        return f"`{shown(rule)}` has a part that cannot be"
    return ""


def _opens(parts: dict[str, str]) -> bool:
    """Whether any day of the calendar passes every part that a day can fail (positions in a month aside)."""
    tests = list(_day_tests(parts))
    first = date(_FIRST_YEAR, 1, 1)
    days = (first + timedelta(days=number) for number in range(366 * _CALENDAR_YEARS)) if tests else ()
    return not tests or any(all(test(day) for test in tests) for day in days)


def _day_tests(parts: dict[str, str]) -> Iterator[Callable[[date], bool]]:
    if "BYMONTH" in parts:
        months = {int(text) for text in parts["BYMONTH"].split(",")}
        yield lambda day: day.month in months
    if "BYMONTHDAY" in parts:
        month_days = {int(text) for text in parts["BYMONTHDAY"].split(",")}
        yield lambda day: day.day in month_days or _from_end_of_month(day) in month_days
    if "BYYEARDAY" in parts:
        year_days = {int(text) for text in parts["BYYEARDAY"].split(",")}
        yield lambda day: day.timetuple().tm_yday in year_days or _from_end_of_year(day) in year_days
    if "BYWEEKNO" in parts:
        yield _days_of_weeks(parts["BYWEEKNO"], parts.get("WKST", "MO")).__contains__
    if "BYDAY" in parts:
        weekdays = {_DAYS.index(text[-2:]) for text in parts["BYDAY"].split(",")}
        yield lambda day: day.weekday() in weekdays


def _days_of_weeks(weeks: str, first_day: str) -> frozenset[date]:
    """The days of those weeks in the years of the calendar, as whoever asks later counts them."""
    from dateutil.rrule import rrulestr

    until = date(_FIRST_YEAR + _CALENDAR_YEARS - 1, 12, 31)
    rule = f"FREQ=YEARLY;BYWEEKNO={weeks};WKST={first_day};UNTIL={until:%Y%m%d}"
    return frozenset(day.date() for day in rrulestr(rule, dtstart=datetime(_FIRST_YEAR, 1, 1)))


def _from_end_of_month(day: date) -> int:
    next_month = (day.replace(day=28) + timedelta(days=4)).replace(day=1)
    return (day - next_month).days


def _from_end_of_year(day: date) -> int:
    return (day - date(day.year + 1, 1, 1)).days
