"""Openings of a rule, against dateutil with random rules, and windows against a scan of the clock minute by minute.

dateutil is another party's reading of RFC 5545. Three of its own ways are kept out of the comparison: it takes the week
of the first day as begun on that day when BYSETPOS counts in it (the RFC: the whole week), it asks for both of
`BYDAY=MO,1TU` (the RFC: either), and weeks from the end that lie over the turn of the year are not all found.
"""

from __future__ import annotations

import random
import time
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from dateutil.rrule import rrulestr

from fleet.calendar.recurrence import openings
from fleet.calendar.windows import next_opening, open_until
from fleet.check.recurrence import opens, rule_problem
from fleet.model.site import Site, Window

RULES = 250
FIRSTS = 40
WEEKDAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")


def some(chance: random.Random, low: int, high: int, most: int = 3, signed: bool = False) -> str:
    sign = -1 if signed and chance.random() < 0.3 else 1
    numbers = {sign * chance.randint(low, high) for _ in range(chance.randint(1, most))}
    return ",".join(map(str, sorted(numbers)))


def days(chance: random.Random, frequency: str) -> str:
    chosen = chance.sample(WEEKDAYS, chance.randint(1, 4))
    if frequency in ("MONTHLY", "YEARLY") and chance.random() < 0.5:
        return ",".join(f"{chance.choice([1, 2, 4, 5, -1, -2])}{day}" for day in chosen)
    return ",".join(chosen)


def random_rule(chance: random.Random) -> tuple[str, datetime]:
    frequency = chance.choice(["DAILY", "WEEKLY", "MONTHLY", "YEARLY"])
    first = datetime(2019, 1, 1, 10, 30) + timedelta(days=chance.randrange(2_500))
    parts = {"FREQ": frequency}

    def maybe(key: str, value: str, share: float) -> None:
        if chance.random() < share:
            parts[key] = value

    maybe("INTERVAL", str(chance.randint(1, 9)), 0.5)
    maybe("BYMONTH", some(chance, 1, 12), 0.3)
    maybe("BYDAY", days(chance, frequency), 0.5)
    maybe("BYHOUR", some(chance, 0, 23), 0.2)
    maybe("BYMINUTE", some(chance, 0, 59), 0.2)
    if frequency != "WEEKLY":
        maybe("BYMONTHDAY", some(chance, 1, 31, 4, signed=True), 0.3)
        maybe("BYSETPOS", some(chance, 1, 4, signed=True), 0.2)
    else:
        maybe("WKST", chance.choice(WEEKDAYS), 0.4)
    if frequency == "YEARLY":
        maybe("BYYEARDAY", some(chance, 1, 366, 6, signed=True), 0.2)
        maybe("BYWEEKNO", some(chance, 1, 53), 0.2)
    ends = chance.random()
    if ends < 0.2:
        parts["COUNT"] = str(chance.randint(1, 30))
    elif ends < 0.4:
        parts["UNTIL"] = f"{first + timedelta(days=chance.randrange(1_500)):%Y%m%dT%H%M%S}"
    return ";".join(f"{key}={value}" for key, value in parts.items()), first


def test_openings_are_those_of_dateutil() -> None:
    """From the first day on, and from a later day on, for ten years. Whether a rule opens is asked of us first: one
    that does not would keep dateutil for ten seconds, so for those it is asked with the end of the search in the
    rule."""
    chance, compared = random.Random(8), 0
    for number in range(RULES):
        rule, first = random_rule(chance)
        if rule_problem(rule) or not opens(rule, first):
            continue
        compared += 1
        theirs, horizon = rrulestr(rule, dtstart=first), first + timedelta(days=3_650)
        late = first + timedelta(days=chance.randrange(3_000), hours=chance.randrange(24))
        for after in (first, late):
            ours = list(zip(openings(rule, first, after, horizon), range(FIRSTS), strict=False))
            wanted = [at for at, _ in zip(theirs.xafter(after, inc=True), range(FIRSTS), strict=False)]
            wanted = [at for at in wanted if at < horizon]
            assert [at for at, _ in ours] == wanted, f"rule {number}: {rule} from {first}, after {after}"
    assert compared > RULES / 2


def test_a_rule_said_to_open_on_no_day_has_none_by_the_calendar() -> None:
    """Each day of 60 years, asked of dateutil by a rule of one year at a time (which ends its search)."""
    chance, never = random.Random(9), 0
    while never < 5:
        rule, first = random_rule(chance)
        if "COUNT" in rule or "UNTIL" in rule or "YEARLY" not in rule or not rule_problem(rule):
            continue
        never += 1
        cut = rrulestr(f"{rule};UNTIL={first.year + 60}0101", dtstart=first)
        assert next(iter(cut), None) is None, rule


@pytest.mark.parametrize(
    "rule",
    [
        "FREQ=MONTHLY;BYDAY=6SU",
        "FREQ=MONTHLY;BYDAY=-6MO",
        "FREQ=DAILY;BYSETPOS=2",
        "FREQ=MONTHLY;BYDAY=SU;BYSETPOS=6",
        "FREQ=WEEKLY;BYDAY=TU,TH;BYSETPOS=3",
        "FREQ=YEARLY;BYDAY=54MO",
        "FREQ=YEARLY;BYMONTH=2;BYDAY=6SU",
    ],
)
def test_a_rule_for_a_day_that_no_period_has_never_opens(rule: str) -> None:
    """A month has at most five of a weekday (31 days), a year at most 53; a day has one opening."""
    assert rule_problem(rule) == "no day of any year fits this rule"


@pytest.mark.parametrize(
    ("rule", "first"),
    [
        ("FREQ=MONTHLY;INTERVAL=12;BYMONTH=6", "2025-03-03T10:00"),
        ("FREQ=MONTHLY;INTERVAL=2;BYMONTH=2,4,6", "2025-03-03T10:00"),
        ("FREQ=YEARLY;INTERVAL=4;BYMONTH=2;BYMONTHDAY=29", "2025-03-03T10:00"),
        ("FREQ=MONTHLY;INTERVAL=12", "2025-02-28T10:00;UNTIL"),
        ("FREQ=YEARLY;INTERVAL=4;BYYEARDAY=366", "2026-03-03T10:00"),
        ("FREQ=WEEKLY;UNTIL=20250101", "2025-03-03T10:00"),
    ],
)
def test_an_interval_that_misses_never_opens(rule: str, first: str) -> None:
    """By hand: every 12th month from March is a March; every fourth year from 2025 is no leap year; an UNTIL before the
    first is over at once."""
    if first.endswith(";UNTIL"):  # the control: every 12th month from February is a February
        assert opens(rule, datetime.fromisoformat(first.removesuffix(";UNTIL")))
    else:
        assert not rule_problem(rule)
        assert not opens(rule, datetime.fromisoformat(first))


def test_rare_days_are_found() -> None:
    """29 February 2096 is the last before 2104 (Gregorian rule); it falls on a Monday in 2044 and 2072 (dateutil)."""
    leap = list(
        openings(
            "FREQ=DAILY;BYMONTH=2;BYMONTHDAY=29",
            datetime(2095, 1, 1, 9),
            datetime(2095, 1, 1),
            datetime(2105, 1, 1),
        )
    )
    assert [at.year for at in leap] == [2096, 2104]
    rule = "FREQ=DAILY;BYMONTH=2;BYMONTHDAY=29;BYDAY=MO"
    theirs = rrulestr(f"{rule};UNTIL=20800101", dtstart=datetime(2025, 1, 1, 9))
    assert list(openings(rule, datetime(2025, 1, 1, 9), datetime(2025, 1, 1), datetime(2080, 1, 1))) == list(
        theirs
    )


def test_either_of_two_kinds_of_days() -> None:
    """RFC 5545: BYDAY is a list, of which each adds its days. The same by two rules of dateutil."""
    first, horizon = datetime(2025, 1, 1, 9), datetime(2026, 1, 1)
    both = {*rrulestr("FREQ=MONTHLY;BYDAY=WE;UNTIL=20260101", dtstart=first)}
    both |= {*rrulestr("FREQ=MONTHLY;BYDAY=1TU;UNTIL=20260101", dtstart=first)}
    assert list(openings("FREQ=MONTHLY;BYDAY=WE,1TU", first, first, horizon)) == sorted(both)


def test_positions_count_in_the_whole_week() -> None:
    """RFC 5545: the set is that of the whole interval. From a Wednesday on, the first of MO, WE, FR is a Monday."""
    first = datetime(2025, 1, 1, 9)
    found = openings("FREQ=WEEKLY;BYDAY=MO,WE,FR;BYSETPOS=1", first, first, datetime(2025, 1, 21))
    assert [at.day for at in found] == [6, 13, 20]


def test_no_search_takes_long() -> None:
    """What took 7 to 12 s. Processor time, with room for a busy machine; it takes well under 0.1 s."""
    zone = Site.model_validate({"name": "s", "time_zone": "Europe/London", "network": "n"})
    for rule in ("FREQ=DAILY;BYSETPOS=2", "FREQ=DAILY;BYSETPOS=2;COUNT=3", "FREQ=MONTHLY;BYDAY=6SU"):
        window = Window.model_validate({"rule": rule, "first": datetime(2001, 3, 3, 10), "length": "1 h"})
        site = zone.model_copy(update={"windows": (window,)})
        start = time.process_time()
        assert next_opening(site, datetime(2026, 11, 30, tzinfo=UTC)) is None
        assert open_until(site, datetime(2026, 11, 30, tzinfo=UTC)) is None
        assert time.process_time() - start < 2.0, rule


# Local midnight is skipped in Gaza on 27 March 2010 (the clock goes from 00:01 to 01:01), a whole day in Apia on
# 30 December 2011, 02:00 to 03:00 in Berlin on 28 March 2027; an hour comes twice there on 31 October 2027
# (IANA time zone database).
CHANGES = [
    ("Asia/Gaza", "2010-03-25T00:00", 4),
    ("Pacific/Apia", "2011-12-28T00:00", 5),
    ("Europe/Berlin", "2027-03-27T00:00", 3),
    ("Europe/Berlin", "2027-10-30T00:00", 3),
    ("Australia/Lord_Howe", "2026-10-03T00:00", 3),
]


def scanned(
    zone: ZoneInfo, begin: datetime, length: timedelta, hours: set[int], minutes: set[int]
) -> list[datetime]:
    """Starts by a scan of universal time: when the wall clock first shows a wanted time; and, for wanted times that it
    never shows, when a clock left at the offset before the jump would have shown them."""
    starts: dict[datetime, datetime] = {}
    utc, before = begin.astimezone(UTC), begin.utcoffset()
    assert before is not None
    stop = utc + length
    while utc < stop:
        offset = utc.astimezone(zone).utcoffset()
        assert offset is not None
        walls = {(utc + offset).replace(tzinfo=None)}
        if offset > before:  # the clock has jumped forward: times of the gap, by the offset before it
            gap_end = utc + offset
            late = utc
            while late + before < gap_end:
                starts.setdefault((late + before).replace(tzinfo=None), late)
                late += timedelta(minutes=1)
        for wall in walls:
            starts.setdefault(wall, utc)
        before = offset
        utc += timedelta(minutes=1)
    wanted = {at for wall, at in starts.items() if wall.hour in hours and wall.minute in minutes}
    return sorted(wanted)


@pytest.mark.parametrize(("name", "begin", "days"), CHANGES)
@pytest.mark.parametrize("seed", range(4))
def test_windows_at_a_change_of_the_clock_are_in_order_and_each_once(
    name: str, begin: str, days: int, seed: int
) -> None:
    chance, zone = random.Random(f"{name}{begin}{seed}"), ZoneInfo(name)
    hours = {0, 1, 2, 3} if seed == 0 else set(chance.sample(range(24), 6))
    minutes = {0, 30} if seed == 0 else set(chance.sample(range(60), 3))
    rule = f"FREQ=DAILY;BYHOUR={','.join(map(str, sorted(hours)))};BYMINUTE={','.join(map(str, sorted(minutes)))}"
    window = {"rule": rule, "first": datetime(2009, 1, 1, 10), "length": "10 min"}
    site = Site.model_validate({"name": "s", "time_zone": name, "network": "n", "windows": [window]})
    at = datetime.fromisoformat(begin).replace(tzinfo=zone)
    wanted = scanned(zone, at, timedelta(days=days), hours, minutes)
    found, moment = [], at.astimezone(UTC) - timedelta(seconds=1)
    while (opening := next_opening(site, moment)) is not None and opening < at.astimezone(UTC) + timedelta(
        days=days
    ):
        assert opening > moment
        found.append(opening)
        moment = opening
    assert found == wanted
