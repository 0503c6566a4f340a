"""Time zones: which names there are, what a wrong one may have meant, and the places of names that are none."""

from __future__ import annotations

import re
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from fleet.inventory.suggest import Suggester

_LIKE_A_PLACE: Final = 0.75
_ABBREVIATION: Final = 4
"""Letters of names such as CEST, which stand for an hour and look like one another."""
_FURTHEST_H: Final = 14

_FIXED: Final = {
    -11: "Pacific/Pago_Pago",
    -10: "Pacific/Honolulu",
    -9: "Pacific/Gambier",
    -8: "Pacific/Pitcairn",
    -7: "America/Phoenix",
    -6: "America/Costa_Rica",
    -5: "America/Panama",
    -4: "America/Puerto_Rico",
    -3: "America/Argentina/Buenos_Aires",
    -2: "America/Noronha",
    -1: "Atlantic/Cape_Verde",
    0: "Africa/Abidjan",
    1: "Africa/Lagos",
    2: "Africa/Maputo",
    3: "Africa/Nairobi",
    4: "Asia/Dubai",
    5: "Asia/Karachi",
    6: "Asia/Thimphu",
    7: "Asia/Bangkok",
    8: "Australia/Perth",
    9: "Asia/Tokyo",
    10: "Australia/Brisbane",
    11: "Pacific/Noumea",
    12: "Pacific/Tarawa",
    13: "Pacific/Tongatapu",
    14: "Pacific/Kiritimati",
}
"""Hours ahead of UTC, and a place whose clock stays there all year."""
_CHANGING: Final = {
    "EST": "America/New_York",
    "MST": "America/Denver",
    "EST5EDT": "America/New_York",
    "CST6CDT": "America/Chicago",
    "MST7MDT": "America/Denver",
    "PST8PDT": "America/Los_Angeles",
    "WET": "Europe/Lisbon",
    "CET": "Europe/Brussels",
    "MET": "Europe/Brussels",
    "EET": "Europe/Athens",
    "GMT": "Europe/London",
}
"""Names of the database that are no place, and one of whose clock they speak."""
_STANDARD_H: Final = {"EST": -5, "MST": -7, "HST": -10}
_GREENWICH: Final = frozenset({"GMT", "GMT0", "GMT+0", "GMT-0", "Greenwich"})
_COORDINATED: Final = frozenset({"UTC", "UCT", "Universal", "Zulu"})
"""Nobody takes these for the clock of a place."""
_NO_CLOCK: Final = frozenset({"Factory"})


@cache
def time_zones() -> frozenset[str]:
    """The names of the IANA time zone database, as the package tzdata lists them."""
    return frozenset((files("tzdata") / "zones").read_text(encoding="utf-8").split())


def no_place(zone: str) -> str:
    """Of a name of the database that is no place: in words what its clock does, and whose to name instead; empty for
    one that is a place, and for UTC."""
    name = zone.removeprefix("Etc/")
    if name in _COORDINATED:
        return ""
    if name in _NO_CLOCK:
        return "is the clock of no place"
    if name in _GREENWICH:
        return _fixed(0, _CHANGING["GMT"])
    if name in _STANDARD_H:
        return _fixed(_STANDARD_H[name], _CHANGING.get(name, ""))
    if zone in _CHANGING:
        return f"changes its clock by the rules of no place; name yours, such as `{_CHANGING[zone]}`"
    offset = re.fullmatch(r"GMT([+-])([0-9]{1,2})", name) if name != zone else None
    # POSIX: in these names the sign is the other way round (tz database, file etcetera).
    return _fixed(int(offset[2]) * (-1 if offset[1] == "+" else 1)) if offset else ""


def _fixed(ahead_h: int, changing: str = "") -> str:
    where = _FIXED.get(ahead_h)
    its = f"is {_hours(ahead_h)} all year"
    if changing:
        return f"{its}; name your place, such as `{changing}`, or `{where}` where clocks do not change"
    return f"{its}; name your place, such as `{where}`" if where else f"{its}; name your place"


def _hours(ahead_h: int) -> str:
    return f"{abs(ahead_h)} h {'behind' if ahead_h < 0 else 'ahead of'} UTC" if ahead_h else "at UTC"


def zone_meant(suggester: Suggester, text: str) -> str:
    """What may have been meant by a name that is not in the database, and never a zone of another hour: a place that
    is spelt almost like it."""
    offset = re.fullmatch(r"(?:GMT|UTC|Z|Etc/GMT)?([+-])0?([0-9]{1,2})(?::?00)?", text)
    if offset and int(offset[2]) <= _FURTHEST_H:
        ahead_h = int(offset[2]) * (1 if offset[1] == "+" else -1)
        such = f": `{_FIXED[ahead_h]}` is {_hours(ahead_h)} all year" if ahead_h in _FIXED else ""
        return f" A zone is named by a place, for its clock changes{such}."
    folded = {zone.lower(): zone for zone in time_zones()}
    if text.lower() in folded and not no_place(folded[text.lower()]):
        return f" Did you mean `{folded[text.lower()]}`?"
    area, _, place = text.rpartition("/")
    places = {zone.rpartition("/")[2]: zone for zone in sorted(time_zones()) if _in_area(zone, area)}
    meant = suggester.nearest(place, places, _LIKE_A_PLACE) if len(place) > _ABBREVIATION else ""
    return f" Did you mean `{places[meant]}`?" if meant else ""


def _in_area(zone: str, area: str) -> bool:
    of_it = zone.rpartition("/")[0]
    return bool(of_it) and not no_place(zone) and (not area or of_it.lower() == area.lower())
