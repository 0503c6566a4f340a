"""Recurrence rules, against RFC 5545 and dateutil."""

from __future__ import annotations

import time
from datetime import datetime

import pytest
from dateutil.rrule import rrulestr
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.check.recurrence import rule_problem

# RFC 5545 section 3.8.5.3, the examples of days and longer (UNTIL in local time, as the zone is the site's).
RFC_EXAMPLES = [
    "FREQ=DAILY;COUNT=10",
    "FREQ=DAILY;UNTIL=19971224T000000",
    "FREQ=DAILY;INTERVAL=2",
    "FREQ=DAILY;INTERVAL=10;COUNT=5",
    "FREQ=YEARLY;UNTIL=20000131T140000;BYMONTH=1;BYDAY=SU,MO,TU,WE,TH,FR,SA",
    "FREQ=DAILY;UNTIL=20000131T140000;BYMONTH=1",
    "FREQ=WEEKLY;COUNT=10",
    "FREQ=WEEKLY;INTERVAL=2;WKST=SU",
    "FREQ=WEEKLY;COUNT=10;WKST=SU;BYDAY=TU,TH",
    "FREQ=WEEKLY;INTERVAL=2;UNTIL=19971224T000000;WKST=SU;BYDAY=MO,WE,FR",
    "FREQ=MONTHLY;COUNT=10;BYDAY=1FR",
    "FREQ=MONTHLY;INTERVAL=2;COUNT=10;BYDAY=1SU,-1SU",
    "FREQ=MONTHLY;COUNT=6;BYDAY=-2MO",
    "FREQ=MONTHLY;BYMONTHDAY=-3",
    "FREQ=MONTHLY;COUNT=10;BYMONTHDAY=2,15",
    "FREQ=MONTHLY;COUNT=10;BYMONTHDAY=1,-1",
    "FREQ=MONTHLY;INTERVAL=18;COUNT=10;BYMONTHDAY=10,11,12,13,14,15",
    "FREQ=MONTHLY;INTERVAL=2;BYDAY=TU",
    "FREQ=YEARLY;COUNT=10;BYMONTH=6,7",
    "FREQ=YEARLY;INTERVAL=3;COUNT=10;BYYEARDAY=1,100,200",
    "FREQ=YEARLY;BYDAY=20MO",
    "FREQ=YEARLY;BYWEEKNO=20;BYDAY=MO",
    "FREQ=YEARLY;BYMONTH=3;BYDAY=TH",
    "FREQ=MONTHLY;BYDAY=FR;BYMONTHDAY=13",
    "FREQ=MONTHLY;BYDAY=SA;BYMONTHDAY=7,8,9,10,11,12,13",
    "FREQ=YEARLY;INTERVAL=4;BYMONTH=11;BYDAY=TU;BYMONTHDAY=2,3,4,5,6,7,8",
    "FREQ=MONTHLY;COUNT=3;BYDAY=TU,WE,TH;BYSETPOS=3",
    "FREQ=MONTHLY;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=-2",
    "FREQ=DAILY;BYHOUR=9,10,11,12,13,14,15,16;BYMINUTE=0,20,40",
    "FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=MO",
    "FREQ=MONTHLY;BYMONTHDAY=15,30;COUNT=5",
    "FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=29",
]


@pytest.mark.parametrize("rule", RFC_EXAMPLES)
def test_the_examples_of_the_rfc_can_be_used(rule: str) -> None:
    assert rule_problem(rule) == ""


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        ("", "is not a recurrence rule"),
        ("daily", "is not a recurrence rule"),
        ("RRULE:FREQ=DAILY", "is not a recurrence rule"),
        ("FREQ=DAILY;", "is not a recurrence rule"),
        ("FREQ=DAILY;BYHOUR=", "is not a recurrence rule"),
        ("BYDAY=MO", "FREQ must be one of"),
        ("FREQ=HOURLY", "FREQ must be one of"),
        ("FREQ=SECONDLY;COUNT=3", "FREQ must be one of"),
        ("FREQ=DAILY;COUNT=2;COUNT=3", "given twice"),
        ("FREQ=DAILY;COUNT=0", "COUNT=0 is outside of 1 to 9999"),
        ("FREQ=DAILY;INTERVAL=0", "INTERVAL=0 is outside of 1"),
        ("FREQ=DAILY;INTERVAL=2,3", "INTERVAL is one number"),
        ("FREQ=DAILY;BYHOUR=24", "BYHOUR=24 is outside of 0 to 23"),
        ("FREQ=DAILY;BYMONTH=13", "BYMONTH=13 is outside of 1 to 12"),
        ("FREQ=DAILY;BYMONTHDAY=0", "BYMONTHDAY=0 is outside of 1 to 31"),
        ("FREQ=DAILY;BYMONTHDAY=-32", "or the same below zero"),
        ("FREQ=DAILY;BYDAY=1MO", "BYDAY=1MO is no list of days"),
        ("FREQ=WEEKLY;BYDAY=XX", "BYDAY=XX is no list of days"),
        ("FREQ=WEEKLY;BYMONTHDAY=1", "BYMONTHDAY goes with FREQ=DAILY or MONTHLY or YEARLY only"),
        ("FREQ=MONTHLY;BYWEEKNO=1", "BYWEEKNO goes with FREQ=YEARLY only"),
        ("FREQ=DAILY;UNTIL=20271231T180000Z", "UNTIL is a day or a local time"),
        ("FREQ=DAILY;UNTIL=20271331", "has a part that cannot be"),
        ("FREQ=DAILY;UNTIL=20271231;COUNT=1", "exclude each other"),
        ("FREQ=WEEKLY;WKST=XX", "WKST=XX is no day"),
        ("FREQ=DAILY;BYEASTER=1", "there is no part BYEASTER"),
        ("FREQ=DAILY;BYSECOND=0", "there is no part BYSECOND"),
        ("FREQ=DAILY;BYMONTH=2;BYMONTHDAY=30", "no day of any year"),
        ("FREQ=MONTHLY;BYMONTH=4,6,9,11;BYMONTHDAY=31", "no day of any year"),
        ("FREQ=YEARLY;BYMONTH=1;BYYEARDAY=200", "no day of any year"),
        ("FREQ=YEARLY;BYWEEKNO=20;BYMONTH=12", "no day of any year"),
        ("FREQ=YEARLY;BYWEEKNO=-2;BYMONTH=1", "no day of any year"),
        ("FREQ=YEARLY;BYWEEKNO=-53,-1;BYMONTH=6", "no day of any year"),
    ],
)
def test_what_cannot_be_used(rule: str, words: str) -> None:
    assert words in rule_problem(rule)


NUMBERS = st.integers(-60, 60).map(str)
PARTS = st.one_of(
    st.tuples(st.sampled_from(["BYMONTH", "BYMONTHDAY", "BYHOUR", "INTERVAL", "COUNT", "BYMINUTE"]), NUMBERS),
    st.tuples(st.sampled_from(["BYYEARDAY", "BYWEEKNO"]), st.integers(-400, 400).map(str)),
    st.tuples(st.just("BYDAY"), st.lists(st.sampled_from(["MO", "TU", "SU"]), min_size=1).map(",".join)),
)


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(["DAILY", "WEEKLY", "MONTHLY", "YEARLY"]), st.lists(PARTS, max_size=3))
def test_a_rule_that_can_be_used_opens_and_whoever_asks_is_answered_soon(frequency: str, parts) -> None:
    rule = ";".join([f"FREQ={frequency}", *(f"{key}={value}" for key, value in parts if key != "INTERVAL")])
    if rule_problem(rule):
        return
    start = time.process_time()
    opening = rrulestr(rule, dtstart=datetime(2025, 1, 1, 10)).after(datetime(2025, 1, 1), inc=True)
    assert opening is not None
    assert time.process_time() - start < 1.0, rule
