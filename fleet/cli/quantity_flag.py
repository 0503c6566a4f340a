"""Quantities on the command line: text with its unit, as in the inventory."""

from __future__ import annotations

from typing import Any

import typer


def read_quantity(kind: Any, text: str, where: str) -> float:
    """The value of `text` in the unit of `kind` (a type of fleet/model/units.py, such as
    Flow_l_per_min); a usage error that names `where` and the accepted units if it is none."""
    from pydantic import TypeAdapter, ValidationError

    from fleet.model.rejected import ValueRejected

    try:
        value: float = TypeAdapter(kind).validate_python(text)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        cause = first.get("ctx", {}).get("error")
        words = f"{cause.what}. {cause.fix}" if isinstance(cause, ValueRejected) else first["msg"]
        raise typer.BadParameter(f"{where}: {words}") from error
    return value
