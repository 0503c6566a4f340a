"""Sites: the time zone exists and is a place's, and each window can be read and is long enough for an update."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from typing import TYPE_CHECKING

from fleet.calendar.recurrence import openings
from fleet.calendar.windows import window_opening
from fleet.check.codes import BAD_RULE, BAD_WINDOW, NO_SUCH_TIME_ZONE, WINDOW_TOO_FAR, ZONE_IS_NO_PLACE
from fleet.check.codes.plausible import TIME_ODD
from fleet.check.recurrence import opens, rule_problem
from fleet.check.zones import no_place, time_zones, zone_meant
from fleet.finding import Figure, Finding, Subject
from fleet.inventory.parsed import subject_of
from fleet.limits import NETWORK_LOST_RANGE_S, WINDOW_AHEAD_DAYS, WINDOW_LONGEST_S
from fleet.model.policy import Policy
from fleet.model.rejected import shown
from fleet.water.quantities import duration

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date

    from fleet.inventory.parsed import Parsed, ParsedPart
    from fleet.model.site import Site, Window


def sites_fit(survey: Parsed) -> Iterator[Finding]:
    """Time zones and windows of all sites."""
    policy = survey.policies[0].part if survey.policies else Policy()
    for site in survey.sites:
        subject = subject_of(site)
        text = site.part.time_zone
        if text not in time_zones():
            what = f"there is no time zone `{shown(text)}`.{zone_meant(survey.suggester, text)}"
            yield Finding(NO_SUCH_TIME_ZONE, what, site.value("time_zone"), subject=subject)
        elif its := no_place(text):
            yield Finding(ZONE_IS_NO_PLACE, f"`{text}` {its}", site.value("time_zone"), subject=subject)
        yield from _network_lost(site, subject)
        for index, window in enumerate(site.part.windows):
            yield from _window(site, index, window, policy, subject, survey.today)


def _window(
    site: ParsedPart[Site], index: int, window: Window, policy: Policy, subject: Subject, today: date | None
) -> Iterator[Finding]:
    at = ("windows", index)
    wrong = rule_problem(window.rule) or _never(window)
    if wrong:
        yield Finding(BAD_RULE, wrong, site.value(*at, "rule"), subject=subject)
    elif today is not None and site.part.time_zone in time_zones():
        yield from _soon(site, index, window, today, subject)
    if window.length_s > WINDOW_LONGEST_S:
        what = f"a window of {duration(window.length_s)} is longer than {duration(WINDOW_LONGEST_S)}"
        yield Finding(BAD_WINDOW, what, site.value(*at, "length"), subject=subject)
    elif window.length_s < policy.trial_s:
        what = (
            f"a window of {duration(window.length_s)} is shorter than a trial ({duration(policy.trial_s)}): "
            "no update ever fits in"
        )
        yield Finding(BAD_WINDOW, what, site.value(*at, "length"), subject=subject)


def _never(window: Window) -> str:
    if opens(window.rule, window.first):
        return ""
    return f"counted from {window.first:%Y-%m-%d %H:%M}, this rule never opens"


def _soon(
    site: ParsedPart[Site], index: int, window: Window, today: date, subject: Subject
) -> Iterator[Finding]:
    """That the window opens within the days that a plan looks ahead; one that is open on that day counts."""
    at = datetime.combine(today, time(), UTC) - timedelta(seconds=window.length_s)
    if window_opening(site.part, window, at) is not None:
        return
    later = next(openings(window.rule, window.first, at.replace(tzinfo=None), datetime.max), None)
    if later is None:
        what = f"the window is over: by its rule it no longer opens after {today}"
        figures: tuple[Figure, ...] = ()
    else:
        days = (later.date() - today).days
        ahead = f"a plan looks {WINDOW_AHEAD_DAYS} days ahead"
        what = f"the window opens next on {later:%Y-%m-%d}, in {days:,} days; {ahead}"
        figures = (Figure("opens in", days, "d"), Figure("looked ahead", WINDOW_AHEAD_DAYS, "d"))
    first_later = later is not None and window.first > at.replace(tzinfo=None)
    place = site.value("windows", index, "first" if first_later else "rule")
    yield Finding(
        WINDOW_TOO_FAR, what, place, replace(subject, part="window", which=str(index + 1)), figures=figures
    )


def _network_lost(site: ParsedPart[Site], subject: Subject) -> Iterator[Finding]:
    least_s, most_s = NETWORK_LOST_RANGE_S
    lost_s = site.part.network_lost_s
    if least_s <= lost_s <= most_s:
        return
    what = f"`network_lost` is {duration(lost_s)}; {duration(least_s)} to {duration(most_s)} is usual"
    figures = (Figure("network lost", lost_s, "s"),)
    yield Finding(TIME_ODD, what, site.value("network_lost"), subject, figures=figures)
