"""From the text of one YAML file to plain mappings, lists and values, with findings about the YAML itself.

The events of PyYAML's C parser are read one at a time, so that no file takes more memory than
`fleet/limits.py` allows, however it is made. Only what an inventory needs is read: no anchors and aliases,
no tags, no merge keys, no directives, one document, keys that are text, no key twice.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, NoReturn

from yaml import CSafeLoader, YAMLError
from yaml.events import (
    AliasEvent,
    DocumentStartEvent,
    MappingEndEvent,
    MappingStartEvent,
    ScalarEvent,
    SequenceEndEvent,
    SequenceStartEvent,
    StreamEndEvent,
)

from fleet.finding import Finding
from fleet.inventory.codes import (
    HIDDEN_CHARACTER,
    NOT_A_MAPPING,
    SEVERAL_DOCUMENTS,
    TOO_LARGE,
    TWICE,
    UNUSED_YAML,
)
from fleet.inventory.hidden import hidden_in
from fleet.inventory.scalars import plain
from fleet.inventory.source import Source, too_many
from fleet.inventory.yaml_words import syntax_finding
from fleet.limits import FINDINGS_PER_FILE, YAML_DEPTH, YAML_KEYS, YAML_NODES, YAML_SCALAR_CHARS
from fleet.model.rejected import shown

if TYPE_CHECKING:
    from fleet.codes import Code
    from fleet.finding import Place
    from fleet.inventory.positions import Path


@dataclass(slots=True)
class YamlTree:
    """What a file holds: `top` by key. `whole` says whether all of it was read."""

    top: dict[str, Any] = field(default_factory=dict)
    whole: bool = True
    findings: list[Finding] = field(default_factory=list)
    reported: set[Path] = field(default_factory=set)
    """Values that a finding already speaks of."""
    lost: set[Path] = field(default_factory=set)
    """Those of them that are not here: what stands for them says nothing about the part that they belong to."""


class _Stop(Exception):
    """The rest of the file is not read."""


def read_yaml(source: Source) -> YamlTree:
    """The tree of one file. Never raises: what cannot be read is a finding."""
    builder = _Builder(source)
    try:
        builder.build()
    except _Stop:
        builder.cut_off()
    except YAMLError as error:
        builder.cut_off()
        builder.tree.findings.append(syntax_finding(source, error))
    return builder.tree


class _Builder:
    def __init__(self, source: Source) -> None:
        self.source = source
        self.tree = YamlTree()
        self.documents = 0
        self.frames: list[tuple[Any, Any]] = []
        """The containers around `here`, each with its key that `here` (or the next one inside) stands at."""
        self.here: Any = None
        self.key: str | None = None

    def build(self) -> None:
        """Read all events. Raises _Stop or YAMLError."""
        next_event = CSafeLoader(self.source.text).get_event
        nodes = 0
        while True:
            event = next_event()
            kind = event.__class__
            if kind is ScalarEvent:
                nodes += 1
                self._scalar(event)
            elif kind is MappingStartEvent or kind is SequenceStartEvent:
                nodes += 1
                self._open(event, {} if kind is MappingStartEvent else [])
            elif kind is MappingEndEvent or kind is SequenceEndEvent:
                self.here, self.key = self.frames.pop()[0], None
            elif kind is AliasEvent:
                nodes += 1
                self._alias(event)
            elif kind is DocumentStartEvent:
                self._document(event)
            elif kind is StreamEndEvent:
                return
            if nodes > YAML_NODES:
                self._stop(TOO_LARGE, f"the file has more than {YAML_NODES} values", event)

    def cut_off(self) -> None:
        """Leave out the part in which the file could not be read on: it would seem to lack keys."""
        # What stays in the tree is complete, each part of it: a half-read tank would be checked like a whole one, and
        # be said to lack what stands further on. Parts that were read before stay, so that one mistake does not hide
        # the findings on the rest; that others may miss what is left out here is what `whole` is for.
        self.tree.whole = False
        if self.frames:
            key, *rest = self._path()
            part = self.tree.top.get(str(key))
            if isinstance(part, list) and rest:
                between = self.here is part  # two items: what ended the last one may be the mistake
                del part[max(0, int(rest[0]) - between) :]
            else:
                self.tree.top.pop(str(key), None)

    # ---------------------------------------------------------------- events
    def _scalar(self, event: Any) -> None:
        text = event.value
        if event.tag is not None or event.anchor is not None:
            self._property(event)
        if len(text) > YAML_SCALAR_CHARS:
            what = f"a text has {len(text)} characters; at most {YAML_SCALAR_CHARS} are read"
            self._stop(TOO_LARGE, what, event, fix="Shorten the text.")
        if self.key is None and self.here.__class__ is dict:
            self._key(event, text)
        else:
            self._put(event, plain(text) if event.implicit[0] else self._quoted(event, text))
            self.key = None

    def _open(self, event: Any, container: Any) -> None:
        if event.tag is not None or event.anchor is not None:
            self._property(event)
        if len(self.frames) >= YAML_DEPTH:
            what = f"the text is nested more than {YAML_DEPTH} deep"
            self._stop(TOO_LARGE, what, event, fix="Remove the brackets or the indentation.")
        self._put(event, container)
        self.frames.append((self.here, self.key))
        self.here, self.key = container, None

    def _put(self, event: Any, value: Any) -> None:
        here = self.here
        if here.__class__ is list:
            here.append(value)
        elif here is not None:
            if self.key is None:
                self._stop(NOT_A_MAPPING, "a key must be text, not a list or a mapping", event)
            here[self.key] = value
        elif value.__class__ is dict:
            self.tree.top = value
        elif value is not None:
            what = "the file must hold keys such as `sites:`, `tanks:` or `nodes:`"
            self._stop(NOT_A_MAPPING, what, event)

    def _key(self, event: Any, text: str) -> None:
        here = self.here
        if text == "<<" and event.implicit[0]:
            self._stop(UNUSED_YAML, "a merge key `<<` is not supported", event)
        self.key = text
        if not event.implicit[0]:
            self._quoted(event, text)
        if text in here:
            first = self.source.spots.firsts.get(self._path())
            at = f"; it was given before, in line {first}" if first else ""
            self._report(TWICE, f"the key `{shown(text)}` is given twice{at}", event)
        elif len(here) >= YAML_KEYS:
            self._stop(TOO_LARGE, f"a mapping has more than {YAML_KEYS} keys", event)

    def _quoted(self, event: Any, text: str) -> str:
        hidden = hidden_in(text)
        if hidden:
            first = next(char for char in text if char in hidden)
            what = f"the text would hold the character U+{ord(first):04X}, which editors do not show"
            self._report(HIDDEN_CHARACTER, what, event)
            self.tree.lost.add(self._path())
        return text

    def _document(self, event: Any) -> None:
        self.documents += 1
        if event.version is not None or event.tags:
            self._stop(UNUSED_YAML, "a directive (`%` at the start of a line) is not supported", event)
        if self.documents > 1:
            self._stop(SEVERAL_DOCUMENTS, "a second document begins here", event)

    def _property(self, event: Any) -> None:
        if event.anchor is not None:
            self._report(UNUSED_YAML, f"an anchor `&{shown(event.anchor)}` is not supported", event)
        if event.tag is not None:
            self._report(UNUSED_YAML, f"a tag `{shown(event.tag)}` is not supported", event)

    def _alias(self, event: Any) -> None:
        self._report(UNUSED_YAML, f"an alias `*{shown(event.anchor)}` is not supported", event)
        self.tree.lost.add(self._path())
        self._put(event, None)
        self.key = None

    # ---------------------------------------------------------------- findings
    def _path(self) -> Path:
        around = [
            key if container.__class__ is dict else len(container) - 1
            for container, key in self.frames
            if container is not None
        ]
        return (*around, self.key if self.here.__class__ is dict else len(self.here or ()))  # type: ignore[arg-type]

    def _place(self, event: Any) -> Place:
        start, end = event.start_mark, event.end_mark
        end_col = end.column + 1 if end.line == start.line else None
        return self.source.place(start.line + 1, start.column + 1, end_col)

    def _report(self, code: Code, what: str, event: Any, fix: str = "") -> None:
        self.tree.findings.append(Finding(code, what, self._place(event), fix_here=fix))
        if self.here is not None:
            self.tree.reported.add(self._path())
        if len(self.tree.findings) >= FINDINGS_PER_FILE:
            self.tree.findings.append(too_many(self._place(event)))
            raise _Stop

    def _stop(self, code: Code, what: str, event: Any, fix: str = "") -> NoReturn:
        self._report(code, what, event, fix)
        raise _Stop
