"""A site's windows: whether it may be updated at a moment, and when next.

A window recurs by RFC 5545 in the site's own time: its start is a local time, its length is counted in real
seconds. A start that a change to summer time skips happens as much later as the clock jumped (RFC 5545
3.3.5: read with the offset before the gap); of a start that happens twice, the first counts.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from heapq import heappop, heappush
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from fleet.calendar.recurrence import openings
from fleet.limits import WINDOW_AHEAD_DAYS

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.model.site import Site, Window

_SLACK = timedelta(days=2)
"""Local and universal time differ by less, and no change of the clock skips more."""


def open_until(site: Site, at: datetime) -> datetime | None:
    """Until when (UTC) the site may be updated, if it may be at `at` (aware); None if no window is open then.

    A site without windows may be updated at any hour: `datetime.max`.
    """
    if not site.windows:
        return datetime.max.replace(tzinfo=UTC)
    ends = [
        start + timedelta(seconds=window.length_s)
        for window in site.windows
        for start in _starts(
            site, window, at - timedelta(seconds=window.length_s) - _SLACK, at + timedelta(seconds=1)
        )
        if start <= at < start + timedelta(seconds=window.length_s)
    ]
    return max(ends, default=None)


def next_opening(site: Site, at: datetime) -> datetime | None:
    """When (UTC) the next window after `at` (aware) opens, within WINDOW_AHEAD_DAYS; None if none does."""
    firsts = [window_opening(site, window, at) for window in site.windows]
    return min((first for first in firsts if first is not None), default=None)


def window_opening(site: Site, window: Window, at: datetime) -> datetime | None:
    """When (UTC) that window opens next after `at` (aware), within WINDOW_AHEAD_DAYS; None if it does not."""
    return next(_starts(site, window, at, at + timedelta(days=WINDOW_AHEAD_DAYS)), None)


def _starts(site: Site, window: Window, after: datetime, before: datetime) -> Iterator[datetime]:
    """The starts in UTC, in order and each once, later than `after` and earlier than `before`.

    Starts that a change of the clock skips come later than some that it does not, or at the same moment: a start
    waits until no other can come before it.
    """
    zone = ZoneInfo(site.time_zone)
    first = _local(window.first, zone)
    waiting: list[datetime] = []
    given = after
    for start in openings(window.rule, first, _naive(after, zone) - _SLACK, _naive(before, zone) + _SLACK):
        utc = start.replace(tzinfo=zone, fold=0).astimezone(UTC)
        while waiting and waiting[0] + _SLACK < utc:
            if (soonest := heappop(waiting)) > given:
                given = soonest
                yield given
        if after < utc < before:
            heappush(waiting, utc)
    while waiting:
        if (soonest := heappop(waiting)) > given:
            given = soonest
            yield given


def _local(first: datetime, zone: ZoneInfo) -> datetime:
    return first if first.tzinfo is None else _naive(first, zone)


def _naive(at: datetime, zone: ZoneInfo) -> datetime:
    return at.astimezone(zone).replace(tzinfo=None)
