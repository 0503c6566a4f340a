"""A step of commissioning, and steps that belong together."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to do; `expect` is what must then be seen (`console`: word for word there), `write` the unit of a
    figure to write down, one for each name in `each` if there are any."""

    do: str
    expect: str = ""
    write: str = ""
    console: bool = False
    each: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Steps:
    """Steps that belong together."""

    title: str
    steps: tuple[Step, ...]
    intro: str = ""
