"""Sites: the time zone exists, and each window can be read and is long enough for an update."""

from __future__ import annotations

import re
from datetime import datetime
from functools import cache, lru_cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Final

from fleet.finding import Finding
from fleet.inventory.codes import BAD_RULE, BAD_WINDOW, NO_SUCH_TIME_ZONE
from fleet.inventory.model import Policy
from fleet.inventory.refusal import shown
from fleet.limits import WINDOW_LONGEST_S

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.inventory.model import Window
    from fleet.inventory.survey import Entry, Survey

# RFC 5545 section 3.3.10, less what is finer than a day: a window opens on days.
_PART: Final = (
    r"(?:UNTIL|COUNT|INTERVAL|BYHOUR|BYMINUTE|BYDAY|BYMONTHDAY|BYYEARDAY|BYWEEKNO|BYMONTH|BYSETPOS|WKST)"
)
_RULE: Final = re.compile(rf"FREQ=(?:DAILY|WEEKLY|MONTHLY|YEARLY)(?:;{_PART}=[0-9A-Z,+-]+)*")


def sites_fit(survey: Survey) -> Iterator[Finding]:
    """Time zones and windows of all sites."""
    policy = survey.policies[0].part if survey.policies else Policy()
    for site in survey.sites:
        subject = f"site {site.part.name}"
        if site.part.time_zone not in time_zones():
            hint = survey.suggester.hint(site.part.time_zone, time_zones())
            what = f"there is no time zone `{shown(site.part.time_zone)}`.{hint}"
            yield Finding(NO_SUCH_TIME_ZONE, what, site.value("time_zone"), subject=subject)
        for index, window in enumerate(site.part.windows):
            yield from _window(site, index, window, policy, subject)


def _window(site: Entry[Any], index: int, window: Window, policy: Policy, subject: str) -> Iterator[Finding]:
    at = ("windows", index)
    wrong = _rule_problem(window.rule)
    if wrong:
        yield Finding(BAD_RULE, wrong, site.value(*at, "rule"), subject=subject)
    if window.length_s > WINDOW_LONGEST_S:
        what = f"a window of {window.length_s / 3600:g} h is longer than {WINDOW_LONGEST_S / 3600:g} h"
        yield Finding(BAD_WINDOW, what, site.value(*at, "length"), subject=subject)
    elif window.length_s < policy.trial_s:
        what = (
            f"a window of {window.length_s:g} s is shorter than a trial ({policy.trial_s:g} s): "
            "no update ever fits in"
        )
        yield Finding(BAD_WINDOW, what, site.value(*at, "length"), subject=subject)


@lru_cache(maxsize=10_000)
def _rule_problem(rule: str) -> str:
    """What is wrong with a recurrence rule; empty when it can be read."""
    from dateutil.rrule import rrulestr

    keys = re.findall(r"([A-Z]+)=", rule)
    if not _RULE.fullmatch(rule):
        return f"`{shown(rule)}` is not a recurrence rule of days, weeks, months or years"
    if len(keys) != len(set(keys)):
        return "a part of the rule is given twice"
    try:
        rrulestr(rule, dtstart=datetime(2025, 1, 1))
    except (ValueError, TypeError, IndexError, OverflowError):
        return f"`{shown(rule)}` has a part that cannot be"
    return ""


@cache
def time_zones() -> frozenset[str]:
    """The names of the IANA time zone database, as the package tzdata lists them."""
    return frozenset((files("tzdata") / "zones").read_text(encoding="utf-8").split())
