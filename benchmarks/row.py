"""One line of the table of figures."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Row:
    """`what` was measured, the `figure` that came out, the `target`, and whether it was met."""

    what: str
    figure: str
    target: str
    ok: bool
    note: str = ""
