"""Where each key and value of a YAML text stands. Only made for files that have something to report."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from typing import Any, Final

from yaml import CSafeLoader, YAMLError
from yaml.events import (
    MappingEndEvent,
    MappingStartEvent,
    ScalarEvent,
    SequenceEndEvent,
    SequenceStartEvent,
    StreamEndEvent,
)

from fleet.limits import YAML_DEPTH, YAML_NODES

Path = tuple[str | int, ...]
"""Keys and indexes (from 0) from the top of a file to a value."""
Stretch = tuple[int, int, int | None]
"""A line, a column (both from 1) and the end column, exclusive; None is the end of the line."""

_STARTS: Final = (MappingStartEvent, SequenceStartEvent)
_ENDS: Final = (MappingEndEvent, SequenceEndEvent)


@dataclass(frozen=True, slots=True)
class Spot:
    """Where a key (in a list: an item) stands, and its text, if it is a text and not empty."""

    key: Stretch
    text: Stretch | None


@dataclass(slots=True)
class _Frame:
    path: Path
    is_mapping: bool
    key: Any = None
    count: int = 0


class Spots:
    """All spots of one text, by path. Of a key given twice, the last; `firsts` has the first."""

    def __init__(self, text: str) -> None:
        self.firsts: dict[Path, Spot] = {}
        self._spots: dict[Path, Spot] = {}
        with suppress(YAMLError):  # reported when the tree was built; what stands before it is known
            self._record(CSafeLoader(text))

    def nearest(self, path: Path) -> tuple[Path, Spot] | None:
        """The spot at a path, or at the nearest path above that has one, with that path."""
        while path:
            spot = self._spots.get(path)
            if spot is not None:
                return path, spot
            path = path[:-1]
        return None

    def _record(self, parser: Any) -> None:
        frames: list[_Frame] = []
        while len(self._spots) <= YAML_NODES and len(frames) <= YAML_DEPTH:
            event = parser.get_event()
            if isinstance(event, _ENDS):
                frames.pop()
                continue
            if isinstance(event, StreamEndEvent) or not hasattr(event, "anchor"):
                if isinstance(event, StreamEndEvent):
                    return
                continue
            top = frames[-1] if frames else None
            if top is not None and top.is_mapping and top.key is None:
                if not isinstance(event, ScalarEvent):
                    return
                top.key = event
                continue
            path = self._add(top, event) if top is not None else ()
            if isinstance(event, _STARTS):
                frames.append(_Frame(path, isinstance(event, MappingStartEvent)))

    def _add(self, top: _Frame, event: Any) -> Path:
        path = (*top.path, top.key.value if top.is_mapping else top.count)
        is_text = isinstance(event, ScalarEvent)
        key = _stretch(top.key if top.is_mapping else event, open_end=not (top.is_mapping or is_text))
        text = _stretch(event) if is_text and event.end_mark.index > event.start_mark.index else None
        if path in self._spots:
            self.firsts.setdefault(path, self._spots[path])
        self._spots[path] = Spot(key, text)
        top.key = None
        top.count += 1
        return path


def _stretch(event: Any, *, open_end: bool = False) -> Stretch:
    start, end = event.start_mark, event.end_mark
    end_col = None if open_end or end.line != start.line else end.column + 1
    return start.line + 1, start.column + 1, end_col
