"""Recurrence rules of windows: RFC 5545 section 3.3.10, from days on upwards, and such that the window opens at all.

Whoever asks later when the window opens next must not search for a day that never comes.
"""

from __future__ import annotations

import re
from datetime import datetime
from functools import lru_cache
from typing import Final

from fleet.calendar.recurrence import DAYS, openings, read_until
from fleet.model.rejected import shown

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
_FROM_THE_FIRST: Final = ("INTERVAL", "COUNT", "UNTIL")
"""Parts that leave days out by the day that they are counted from."""
_FIRST_YEAR: Final = 2000


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
    return "" if _opens(parts) else "no day of any year fits this rule"


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
            if _each(value, rf"{ordinal}({'|'.join(DAYS)})")
            else f"BYDAY={shown(value)} is no list of days"
        )
    if key == "UNTIL":
        return _until_problem(value)
    if key == "WKST":
        return "" if value in DAYS else f"WKST={shown(value)} is no day"
    return "" if key == "FREQ" else f"there is no part {shown(key)} in a recurrence rule of days"


def _each(value: str, pattern: str) -> bool:
    return all(re.fullmatch(pattern, text) for text in value.split(","))


def _until_problem(value: str) -> str:
    if not re.fullmatch(r"[0-9]{8}(T[0-9]{6})?", value):
        return "UNTIL is a day or a local time, as in `20271231` or `20271231T180000`"
    try:
        read_until(value)
    except ValueError:
        return f"`UNTIL={value}` has a part that cannot be"
    return ""


def _opens(parts: dict[str, str]) -> bool:
    """Whether the rule opens at all, whatever the day that it is counted from."""
    always = ";".join(f"{key}={value}" for key, value in parts.items() if key not in _FROM_THE_FIRST)
    return opens(always, datetime(_FIRST_YEAR, 1, 1))


@lru_cache(maxsize=10_000)
def opens(rule: str, first: datetime) -> bool:
    """Whether a rule with nothing else against it ever opens, counted from its window's first day."""
    return next(openings(rule, first, first, datetime.max), None) is not None
