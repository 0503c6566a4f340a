"""A site's windows: whether it may be updated at a moment, and when next.

A window recurs by RFC 5545 in the site's own time: its start is a local time, its length is counted in real
seconds. A start that a change to summer time skips happens as much later as the clock jumped (RFC 5545
3.3.5: read with the offset before the gap); of a start that happens twice, the first counts.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from functools import lru_cache
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

if TYPE_CHECKING:
    from collections.abc import Iterator

    from dateutil.rrule import rrule

    from fleet.inventory.model import Site, Window

_LOOK_AHEAD_DAYS = 400
_SLACK = timedelta(days=1)
"""Local and universal time differ by less."""


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
    """When (UTC) the next window after `at` (aware) opens, within 400 days; None if none does."""
    horizon = at + timedelta(days=_LOOK_AHEAD_DAYS)
    firsts = [next(_starts(site, window, at, horizon), None) for window in site.windows]
    return min((first for first in firsts if first is not None), default=None)


def _starts(site: Site, window: Window, after: datetime, before: datetime) -> Iterator[datetime]:
    """The starts in UTC, in order, later than `after` and earlier than `before`."""
    zone = ZoneInfo(site.time_zone)
    rule = _rule(window.rule, _local(window.first, zone))
    local = after.astimezone(zone).replace(tzinfo=None) - _SLACK
    for start in rule.xafter(local, inc=True):
        utc = start.replace(tzinfo=zone, fold=0).astimezone(UTC)
        if utc >= before:
            return
        if utc > after:
            yield utc


def _local(first: datetime, zone: ZoneInfo) -> datetime:
    return first if first.tzinfo is None else first.astimezone(zone).replace(tzinfo=None)


@lru_cache(maxsize=1_000)
def _rule(rule: str, first: datetime) -> rrule:
    from dateutil.rrule import rrulestr

    return rrulestr(rule, dtstart=first)  # type: ignore[return-value]
