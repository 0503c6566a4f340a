"""All codes of all areas, gathered."""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fleet.codes import Code

AREAS = (
    "audit",
    "bench",
    "boards",
    "build",
    "check",
    "cli",
    "find",
    "flash",
    "inventory",
    "keys",
    "link",
    "model",
    "push",
    "render",
    "sheet",
)


def all_codes() -> dict[str, Code]:
    """Every code by its name, in order. ValueError if two areas use one name."""
    gathered: dict[str, Code] = {}
    for area in AREAS:
        for code in importlib.import_module(f"fleet.{area}.codes").CODES:
            if code.code in gathered:
                raise ValueError(f"{code.code} is defined twice")
            gathered[code.code] = code
    return dict(sorted(gathered.items()))


def how_to_rule(code: Code) -> tuple[str, ...]:
    """What a file of the inventory says to accept that finding; nothing for codes that cannot be ruled on."""
    if not code.ruled:
        return ()
    return (
        "rulings:",
        f"  - code: {code.code}",
        "    about: SUBJECT       # as `check` names it, such as `node roof pin D5`; left out: everywhere",
        "    as: accepted         # or note, warning, error",
        "    reason: WHY",
        "    date: YYYY-MM-DD       # the day of the decision",
        "    expires: YYYY-MM-DD    # the last day that it holds; left out: for good",
    )
