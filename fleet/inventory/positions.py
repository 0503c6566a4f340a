"""Where each key and value of a YAML text stands. Only made for files that have something to report."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from typing import Any, Final, cast

from yaml import CSafeLoader, YAMLError
from yaml.events import (
    AliasEvent,
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


@dataclass(frozen=True, slots=True)
class Position:
    """Where a key (in a list: an item) stands, and its text, if it is a text and not empty."""

    key: Stretch
    text: Stretch | None


class Positions:
    """All spots of one text, by path. Of a key given twice, the last; `firsts` has the lines of the first."""

    def __init__(self, text: str) -> None:
        self.firsts: dict[Path, int] = {}
        self._top: dict[Any, _Found] = {}
        with suppress(YAMLError):  # reported when the tree was built; what stands before it is known
            self._record(CSafeLoader(text).get_event)

    def nearest(self, path: Path) -> tuple[Path, Position] | None:
        """The spot at a path, or at the nearest path above that has one, with that path."""
        inside, found, depth = self._top, None, 0
        for step in path:
            if step not in inside:
                break
            found = inside[step]
            inside, depth = found[2] or {}, depth + 1
        return (path[:depth], Position(found[0], found[1])) if found is not None else None

    def _record(self, next_event: Any) -> None:
        """Frames are what is around `inside`: its keys, what waits for the next value there, and where we are."""
        frames: list[tuple[dict[Any, _Found], Any, Any]] = []
        inside: dict[Any, _Found] = {}
        waiting: Any = _TOP
        count = 0
        while count <= YAML_NODES and len(frames) <= YAML_DEPTH:
            event = next_event()
            kind = event.__class__
            if kind is MappingEndEvent or kind is SequenceEndEvent:
                inside, waiting, _ = frames.pop()
            elif kind is StreamEndEvent:
                return
            elif kind in _VALUES:
                count += 1
                if waiting is None:
                    if kind is not ScalarEvent:
                        return
                    waiting = (event.value, _stretch(event, True))
                    continue
                child: dict[Any, _Found] | None = None if kind is ScalarEvent or kind is AliasEvent else {}
                at = None
                if waiting is _TOP:
                    self._top = {} if child is None else child
                    waiting = _DONE
                elif waiting is _DONE:
                    return
                else:
                    at = self._add(frames, inside, waiting, event, child)
                    waiting = waiting + 1 if waiting.__class__ is int else None
                if child is not None:
                    frames.append((inside, waiting, at))
                    inside, waiting = child, None if kind is MappingStartEvent else 0

    def _add(self, frames: Any, inside: Any, waiting: Any, event: Any, child: Any) -> str | int:
        is_text = event.__class__ is ScalarEvent
        value = _stretch(event, is_text)
        text = value if is_text and event.end_mark.index > event.start_mark.index else None
        if waiting.__class__ is int:
            inside[waiting] = (value, text, child)
            return waiting
        key, stretch = waiting
        if key in inside:
            path = (*(at for _, _, at in frames[1:]), key)
            self.firsts.setdefault(path, inside[key][0][0])
        inside[key] = (stretch, text, child)
        return cast("str", key)


_Found = tuple[Stretch, Stretch | None, "dict[Any, _Found] | None"]
"""Where the key (in a list: the item) stands, where its text stands, and what is in it."""
_TOP: Final = object()
_DONE: Final = object()
_VALUES: Final = (ScalarEvent, MappingStartEvent, SequenceStartEvent, AliasEvent)


def _stretch(event: Any, is_text: bool) -> Stretch:
    start, end = event.start_mark, event.end_mark
    line = start.line
    return line + 1, start.column + 1, end.column + 1 if is_text and end.line == line else None
