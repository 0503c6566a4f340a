"""Sites: the time zone exists, and each window can be read and is long enough for an update."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from fleet.finding import Finding
from fleet.inventory.codes import BAD_RULE, BAD_WINDOW, NO_SUCH_TIME_ZONE
from fleet.inventory.model import Policy
from fleet.inventory.refusal import shown
from fleet.inventory.rules.recurrence import rule_problem
from fleet.limits import WINDOW_LONGEST_S

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.inventory.model import Window
    from fleet.inventory.survey import Entry, Survey


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
    wrong = rule_problem(window.rule)
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


@cache
def time_zones() -> frozenset[str]:
    """The names of the IANA time zone database, as the package tzdata lists them."""
    return frozenset((files("tzdata") / "zones").read_text(encoding="utf-8").split())
