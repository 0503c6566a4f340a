"""Values that are not quantities: names, pins, MACs, dates, local times, numbers, lines of text.

Nothing is converted silently: `true` is no number, `5` is no text, `1e3` is no whole number.
"""

from __future__ import annotations

import re
from datetime import date, datetime
from typing import Annotated, Any, Final, TypeVar

from pydantic import BeforeValidator, Field, Strict, WithJsonSchema

from fleet.limits import (
    EARLIEST_YEAR,
    LABEL_CHARS,
    LARGEST_GPIO,
    LATEST_YEAR,
    MARK_NAME_CHARS,
    PIN_NAME_CHARS,
    REASON_CHARS,
    RELEASE_CHARS,
    WIRE_COLOR_CHARS,
)
from fleet.model.codes import BAD_DATE, BAD_MAC, OUT_OF_RANGE
from fleet.model.rejected import ValueRejected, shown

NAME_PATTERN: Final = r"^[a-z0-9]([a-z0-9-]*[a-z0-9])?$"
PIN_PATTERN: Final = r"^[A-Za-z0-9_]+$"
MAC_PATTERN: Final = r"^[0-9a-f]{2}(:[0-9a-f]{2}){5}$"
RELEASE_PATTERN: Final = r"^[0-9A-Za-z.+_-]+$"
DOMAIN_PATTERN: Final = r"^[a-z0-9]([a-z0-9-]*[a-z0-9])?(\.[a-z0-9]([a-z0-9-]*[a-z0-9])?)+$"
LINE_PATTERN: Final = r"^[^\t\n]*$"
REASON_PATTERN: Final = r"^[^\t\n]*[^\s][^\t\n]*$"
DATE_PATTERN: Final = r"^[0-9]{4}-[0-9]{2}-[0-9]{2}$"
TIME_PATTERN: Final = r"^[0-9]{4}-[0-9]{2}-[0-9]{2}[ T][0-9]{2}:[0-9]{2}(:[0-9]{2})?$"

DayT = TypeVar("DayT", bound=date)
_MAC: Final = re.compile(MAC_PATTERN)
_DATE: Final = re.compile(DATE_PATTERN)
_TIME: Final = re.compile(TIME_PATTERN)


def _read_pin(value: Any) -> Any:
    """Some boards print bare numbers: `4` is that name, with quotes or without."""
    return str(value) if type(value) is int and 0 <= value <= LARGEST_GPIO else value


def _read_mac(value: Any) -> Any:
    return _read_address(value, "a MAC", "board")


def _read_bssid(value: Any) -> Any:
    return _read_address(value, "a BSSID", "access point")


def _read_address(value: Any, noun: str, whose: str) -> Any:
    """IEEE 802: 48 bits; a station's own address is never a group address (lowest bit of the first byte)."""
    if type(value) is int:  # twelve decimal digits without separators, which YAML has made a number
        value = str(value)
    if not isinstance(value, str):
        return value
    digits = re.sub(r"[:.-]", "", value).lower()
    if not _MAC.fullmatch(value):
        fix = ""
        if re.fullmatch(r"[0-9a-f]{12}", digits):
            fix = f"Write `{':'.join(digits[i : i + 2] for i in range(0, 12, 2))}`."
        raise ValueRejected(BAD_MAC, f"`{shown(value)}` is not written as {noun}", fix)
    if int(digits[:2], 16) & 1 or digits == "000000000000":
        raise ValueRejected(BAD_MAC, f"`{value}` is a group address or empty, not the address of one {whose}")
    return value


def _near(day: DayT, value: str) -> DayT:
    """A day in the years of such boards: recurrences are counted from it, and must not be from far away."""
    if not EARLIEST_YEAR <= day.year <= LATEST_YEAR:
        raise ValueRejected(OUT_OF_RANGE, f"{value} is not from {EARLIEST_YEAR} to {LATEST_YEAR}")
    return day


def _read_date(value: Any) -> date:
    if isinstance(value, date) and not isinstance(value, datetime):
        return value
    fix = "Write it as in `2025-03-14`."
    if not isinstance(value, str) or not _DATE.fullmatch(value):
        raise ValueRejected(BAD_DATE, f"`{shown(value)}` is not a date", fix)
    try:
        day = date.fromisoformat(value)
    except ValueError:
        raise ValueRejected(BAD_DATE, f"there is no day {value} in the calendar", fix) from None
    return _near(day, value)


def _read_time(value: Any) -> datetime:
    if isinstance(value, datetime):
        return value
    fix = "Write it in the site's own time, as in `2025-03-14 02:30`, without a time zone."
    if not isinstance(value, str) or not _TIME.fullmatch(value):
        raise ValueRejected(BAD_DATE, f"`{shown(value)}` is not a local date and time", fix)
    try:
        time = datetime.fromisoformat(value)
    except ValueError:
        raise ValueRejected(BAD_DATE, f"there is no time {value} in the calendar", fix) from None
    return _near(time, value)


Name = Annotated[
    str,
    Field(
        min_length=1,
        max_length=LABEL_CHARS,
        pattern=NAME_PATTERN,
        description="host label of RFC 1123, lower case: letters, digits, hyphens; no hyphen at either end",
    ),
]
MarkName = Annotated[str, Field(min_length=1, max_length=MARK_NAME_CHARS, pattern=NAME_PATTERN)]
PinName = Annotated[
    str,
    Field(min_length=1, max_length=PIN_NAME_CHARS, pattern=PIN_PATTERN),
    BeforeValidator(
        _read_pin,
        json_schema_input_type=Annotated[
            str, Field(min_length=1, max_length=PIN_NAME_CHARS, pattern=PIN_PATTERN)
        ]
        | Annotated[int, Field(ge=0, le=LARGEST_GPIO)],
    ),
]
Mac = Annotated[
    str,
    Field(pattern=MAC_PATTERN, description="lower case, six pairs with colons"),
    BeforeValidator(_read_mac),
]
Bssid = Annotated[
    str,
    Field(pattern=MAC_PATTERN, description="lower case, six pairs with colons"),
    BeforeValidator(_read_bssid),
]
"""The address by which an access point goes on one of its radios and networks."""
Release = Annotated[str, Field(min_length=1, max_length=RELEASE_CHARS, pattern=RELEASE_PATTERN)]
Domain = Annotated[str, Field(max_length=200, pattern=DOMAIN_PATTERN)]
Line = Annotated[str, Field(pattern=LINE_PATTERN)]
"""Text of one line."""
WireColor = Annotated[str, Field(min_length=1, max_length=WIRE_COLOR_CHARS, pattern=LINE_PATTERN)]
"""The colour of a wire in words, such as `red` or `white/blue`."""
Reason = Annotated[str, Field(min_length=1, max_length=REASON_CHARS, pattern=REASON_PATTERN)]
"""Text of one line that says something."""
YesNo = Annotated[bool, Strict()]
WholeNumber = Annotated[int, Strict()]
Number = Annotated[float, Strict(), Field(allow_inf_nan=False)]
IsoDate = Annotated[
    date,
    BeforeValidator(_read_date),
    WithJsonSchema({"type": "string", "pattern": DATE_PATTERN, "examples": ["2025-03-14"]}),
]
"""A day, ISO 8601."""
LocalTime = Annotated[
    datetime,
    BeforeValidator(_read_time),
    WithJsonSchema({"type": "string", "pattern": TIME_PATTERN, "examples": ["2025-03-14 02:30"]}),
]
"""A date and time of a site's own clock, without a zone: the zone is the site's."""
