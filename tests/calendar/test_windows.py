"""Windows of a site, against published examples and a scan minute by minute.

Sources: RFC 5545 3.8.5.3 (recurrence examples) and 3.3.5 (local times that a change of offset skips or
repeats). Dates of the changes: the IANA time zone database (Europe/London springs forward on 29 March 2026 at
01:00 UTC and back on 25 October 2026 at 01:00 UTC).
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from fleet.calendar.windows import next_opening, open_until
from fleet.model.site import Site


def site(rule: str, first: str, length: str, zone: str = "Europe/London") -> Site:
    window = {"rule": rule, "first": datetime.fromisoformat(first), "length": length}
    return Site.model_validate({"name": "s", "time_zone": zone, "network": "n", "windows": [window]})


def utc(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


def test_a_site_without_windows_is_always_open() -> None:
    bare = Site.model_validate({"name": "s", "time_zone": "Europe/London", "network": "n"})
    assert open_until(bare, utc("2026-01-01T00:00:00")) == datetime.max.replace(tzinfo=UTC)
    assert next_opening(bare, utc("2026-01-01T00:00:00")) is None


def test_weekly_on_tuesday_and_thursday_as_in_rfc_5545() -> None:
    """RFC 5545: DTSTART;TZID=America/New_York:19970902T090000, weekly on Tuesday and Thursday for five weeks:
    September 2, 4, 9, 11, 16, 18, 23, 25, 30; October 2."""
    yard = site("FREQ=WEEKLY;COUNT=10;WKST=SU;BYDAY=TU,TH", "1997-09-02T09:00", "1 h", "America/New_York")
    at, starts = utc("1997-08-01T00:00:00"), []
    while (opening := next_opening(yard, at)) is not None:
        starts.append(opening.astimezone(ZoneInfo("America/New_York")))
        at = opening
    assert [(s.month, s.day, s.hour) for s in starts] == [
        *((9, day, 9) for day in (2, 4, 9, 11, 16, 18, 23, 25, 30)),
        (10, 2, 9),
    ]


def test_edges_of_a_window() -> None:
    yard = site("FREQ=DAILY", "2026-01-01T22:30", "150 min")
    assert open_until(yard, utc("2026-01-05T22:29:59")) is None
    assert open_until(yard, utc("2026-01-05T22:30:00")) == utc("2026-01-06T01:00:00")
    assert open_until(yard, utc("2026-01-06T00:59:59")) == utc("2026-01-06T01:00:00")
    assert open_until(yard, utc("2026-01-06T01:00:00")) is None
    assert next_opening(yard, utc("2026-01-05T22:30:00")) == utc("2026-01-06T22:30:00")


def test_nothing_before_the_first() -> None:
    yard = site("FREQ=DAILY", "2026-01-10T10:00", "1 h")
    assert open_until(yard, utc("2026-01-09T10:30:00")) is None
    assert open_until(yard, utc("2026-01-10T10:30:00")) is not None


def test_a_start_that_summer_time_skips_comes_later() -> None:
    """01:30 does not exist on 29 March 2026 in London: read with the offset before, it is 01:30 UTC, 02:30
    BST."""
    yard = site("FREQ=DAILY", "2026-03-01T01:30", "30 min")
    assert next_opening(yard, utc("2026-03-28T12:00:00")) == utc("2026-03-29T01:30:00")


def test_a_start_that_happens_twice_counts_once_the_first_time() -> None:
    """01:30 happens twice on 25 October 2026 in London: at 00:30 UTC (BST) and at 01:30 UTC (GMT)."""
    yard = site("FREQ=DAILY", "2026-10-01T01:30", "30 min")
    assert next_opening(yard, utc("2026-10-24T12:00:00")) == utc("2026-10-25T00:30:00")
    assert next_opening(yard, utc("2026-10-25T00:30:00")) == utc("2026-10-26T01:30:00")
    assert open_until(yard, utc("2026-10-25T01:35:00")) is None


def test_against_a_scan_of_the_wall_clock() -> None:
    """Away from the changes of offset, a window is open just when the wall clock says so."""
    yard = site("FREQ=WEEKLY;BYDAY=MO,WE", "2026-02-02T21:00", "5 h", "Australia/Perth")
    zone = ZoneInfo("Australia/Perth")
    at = utc("2026-02-09T00:00:00")
    for _ in range(7 * 24 * 4):
        local = at.astimezone(zone)
        evening = local.weekday() in (0, 2) and local.hour >= 21
        night = local.weekday() in (1, 3) and local.hour < 2
        assert (open_until(yard, at) is not None) == (evening or night), local
        at += timedelta(minutes=15)
