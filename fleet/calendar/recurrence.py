"""Days on which a recurrence rule opens, by RFC 5545 3.3.10, from days on upwards; in local time.

Every search ends: it looks at WINDOW_PERIODS periods in a row without an opening and at WINDOW_SPAN_YEARS from the
first day, and no further. A search from a later day on does not count its way through all the days before it.
"""

from __future__ import annotations

from calendar import monthrange
from dataclasses import dataclass
from datetime import MAXYEAR, date, datetime, time, timedelta
from functools import lru_cache
from itertools import count, product
from typing import TYPE_CHECKING, Final

from fleet.limits import WINDOW_PERIODS, WINDOW_SPAN_YEARS

if TYPE_CHECKING:
    from collections.abc import Iterator

DAYS: Final = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")
_DAY: Final = timedelta(days=1)
_WEEK_DAYS: Final = 7


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule's parts, with what `first` stands for where the rule leaves it open. Empty: any."""

    frequency: str
    interval: int
    count: int | None
    until: datetime | None
    months: frozenset[int]
    month_days: frozenset[int]
    year_days: frozenset[int]
    weeks: frozenset[int]
    weekdays: frozenset[int]
    nth_weekdays: frozenset[tuple[int, int]]
    """Which of them in its month or year, and the day of the week."""
    times: tuple[time, ...]
    positions: frozenset[int]
    week_start: int


def read_until(text: str) -> datetime:
    """The last moment of a rule, `20271231` or `20271231T180000`; ValueError if there is no such moment."""
    return datetime.strptime(text, "%Y%m%dT%H%M%S" if "T" in text else "%Y%m%d")


@lru_cache(maxsize=1_000)
def read_rule(rule: str, first: datetime) -> Rule:
    """The parts of a rule that can be used (`rule_problem` has nothing against it)."""
    parts = {key: value for key, _, value in (part.partition("=") for part in rule.split(";"))}
    frequency = parts["FREQ"]
    days = [(int(text[:-2] or 0), DAYS.index(text[-2:])) for text in _texts(parts, "BYDAY")]
    months, month_days = _numbers(parts, "BYMONTH"), _numbers(parts, "BYMONTHDAY")
    weekdays = frozenset(day for nth, day in days if nth == 0)
    if not any(key in parts for key in ("BYDAY", "BYMONTHDAY", "BYYEARDAY", "BYWEEKNO")):
        if frequency == "WEEKLY":
            weekdays = frozenset({first.weekday()})
        elif frequency in ("MONTHLY", "YEARLY"):
            month_days = frozenset({first.day})
            months = months or (frozenset({first.month}) if frequency == "YEARLY" else months)
    hours, minutes = _numbers(parts, "BYHOUR") or {first.hour}, _numbers(parts, "BYMINUTE") or {first.minute}
    return Rule(
        frequency=frequency,
        interval=int(parts.get("INTERVAL", 1)),
        count=int(parts["COUNT"]) if "COUNT" in parts else None,
        until=read_until(parts["UNTIL"]) if "UNTIL" in parts else None,
        months=months,
        month_days=month_days,
        year_days=_numbers(parts, "BYYEARDAY"),
        weeks=_numbers(parts, "BYWEEKNO"),
        weekdays=weekdays,
        nth_weekdays=frozenset((nth, day) for nth, day in days if nth != 0),
        times=tuple(time(h, m, first.second) for h, m in product(sorted(hours), sorted(minutes))),
        positions=_numbers(parts, "BYSETPOS"),
        week_start=DAYS.index(parts.get("WKST", "MO")),
    )


def _texts(parts: dict[str, str], key: str) -> list[str]:
    return parts[key].split(",") if key in parts else []


def _numbers(parts: dict[str, str], key: str) -> frozenset[int]:
    return frozenset(int(text) for text in _texts(parts, key))


def openings(rule: str, first: datetime, after: datetime, before: datetime) -> Iterator[datetime]:
    """The local times, in order, from `after` on and earlier than `before`, at which the rule opens."""
    until = _last(rule, first)
    if until is None:
        return
    for opening in _openings(read_rule(rule, first), first, max(after, first), before):
        if opening >= before or opening > until:
            return
        yield opening


@lru_cache(maxsize=1_000)
def _last(rule: str, first: datetime) -> datetime | None:
    """The last moment at which it may open: of a rule with a COUNT its last opening, None if it has none."""
    parts = read_rule(rule, first)
    if parts.count is None:
        return parts.until or datetime.max
    last = None
    for number, last in enumerate(_openings(parts, first, first, datetime.max), start=1):  # noqa: B007
        if number == parts.count:
            break
    return last


def _openings(rule: Rule, first: datetime, after: datetime, before: datetime) -> Iterator[datetime]:
    """As `openings`, whatever its COUNT or UNTIL."""
    end = min(before.date(), date(min(first.year + WINDOW_SPAN_YEARS, MAXYEAR - 1), 12, 31))
    origin = _period_number(rule, first.date())
    begin = max(0, (_period_number(rule, after.date()) - origin) // rule.interval)
    empty = 0
    for step in count(begin):
        start = _period_start(rule, origin + step * rule.interval)
        if start > end or empty > WINDOW_PERIODS:
            return
        empty += 1
        for opening in _of_period(rule, start):
            if opening >= after:
                empty = 0
                yield opening


def _period_number(rule: Rule, day: date) -> int:
    """Days, weeks, months or years counted through, so that the next period has the next number."""
    if rule.frequency == "YEARLY":
        return day.year
    if rule.frequency == "MONTHLY":
        return day.year * 12 + day.month - 1
    if rule.frequency == "WEEKLY":
        return (day.toordinal() - 1 - rule.week_start) // _WEEK_DAYS
    return day.toordinal()


def _period_start(rule: Rule, number: int) -> date:
    if rule.frequency == "YEARLY":
        return date(number, 1, 1)
    if rule.frequency == "MONTHLY":
        return date(number // 12, number % 12 + 1, 1)
    if rule.frequency == "WEEKLY":
        return date.fromordinal(number * _WEEK_DAYS + 1 + rule.week_start)
    return date.fromordinal(number)


def _of_period(rule: Rule, start: date) -> list[datetime]:
    """The openings of the period that begins on that day, in order; BYSETPOS chooses among them."""
    days = [day for day in _days_of_period(rule, start) if _fits(rule, day)]
    found = [datetime.combine(day, at) for day in days for at in rule.times]
    if not rule.positions:
        return found
    chosen = {place - 1 if place > 0 else len(found) + place for place in rule.positions}
    return [found[place] for place in sorted(chosen) if 0 <= place < len(found)]


def _days_of_period(rule: Rule, start: date) -> Iterator[date]:
    if rule.frequency == "DAILY":
        yield start
    elif rule.frequency == "WEEKLY":
        yield from (start + number * _DAY for number in range(_WEEK_DAYS))
    elif rule.frequency == "MONTHLY":
        yield from _days_of_month(rule, start.year, start.month)
    else:
        for month in range(1, 13):
            yield from _days_of_month(rule, start.year, month)


def _days_of_month(rule: Rule, year: int, month: int) -> Iterator[date]:
    if not rule.months or month in rule.months:
        yield from (date(year, month, day) for day in range(1, monthrange(year, month)[1] + 1))


def _fits(rule: Rule, day: date) -> bool:
    """Whether the day passes every part of the rule that a day can fail."""
    if rule.months and day.month not in rule.months:
        return False
    if rule.month_days and not {day.day, day.day - _month_length(day) - 1} & rule.month_days:
        return False
    if rule.year_days and not {_in_year(day), _in_year(day) - _year_length(day) - 1} & rule.year_days:
        return False
    if rule.weeks and not _week_numbers(day, rule.week_start) & rule.weeks:
        return False
    if not rule.weekdays and not rule.nth_weekdays:
        return True
    return day.weekday() in rule.weekdays or any(_is_nth(rule, day, nth) for nth in rule.nth_weekdays)


def _in_year(day: date) -> int:
    return day.timetuple().tm_yday


def _month_length(day: date) -> int:
    return monthrange(day.year, day.month)[1]


def _year_length(day: date) -> int:
    return _in_year(date(day.year, 12, 31))


def _week_numbers(day: date, week_start: int) -> set[int]:
    """The number of the day's week in its year, from the front and from the end: the first week has four days of the
    year."""
    fourth = day + (3 - (day.weekday() - week_start) % _WEEK_DAYS) * _DAY
    number = (_in_year(fourth) - 1) // _WEEK_DAYS + 1
    weeks_after = (_year_length(fourth) - _in_year(fourth)) // _WEEK_DAYS
    return {number, -1 - weeks_after}


def _is_nth(rule: Rule, day: date, which: tuple[int, int]) -> bool:
    """Whether the day is, say, the second Tuesday, or the last, of its month; without months, of its year."""
    nth, weekday = which
    if day.weekday() != weekday:
        return False
    if rule.frequency == "MONTHLY" or rule.months:
        at, length = day.day, _month_length(day)
    else:
        at, length = _in_year(day), _year_length(day)
    return nth in ((at - 1) // _WEEK_DAYS + 1, -((length - at) // _WEEK_DAYS) - 1)
