"""What pydantic finds in one part, as findings in our own words at their place in the file."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any, Final

from fleet.finding import Finding, Subject
from fleet.inventory.codes import BAD_NAME, MISSING_KEY, NOT_A_CHOICE, UNKNOWN_KEY, WRONG_KIND, WRONG_LENGTH
from fleet.inventory.part_keys import keys_of, noun_of, part_at
from fleet.inventory.scalars import plain
from fleet.model.codes import OUT_OF_RANGE
from fleet.model.rejected import ValueRejected, shown
from fleet.model.values import (
    DOMAIN_PATTERN,
    LINE_PATTERN,
    NAME_PATTERN,
    PIN_PATTERN,
    REASON_PATTERN,
    RELEASE_PATTERN,
)
from fleet.water.quantities import counted

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from pydantic import ValidationError

    from fleet.codes import Code
    from fleet.inventory.positions import Path
    from fleet.inventory.source import Source
    from fleet.inventory.suggest import Suggester
    from fleet.model.part import Part

_NAME_FIX: Final = "Use lower-case letters, digits and hyphens, with no hyphen at either end."
_PATTERNS: Final[dict[str, tuple[str, str]]] = {
    NAME_PATTERN: ("a name", _NAME_FIX),
    PIN_PATTERN: ("the name of a pin", "Use the name on the board's silk screen, such as `D5`, or `GPIO14`."),
    RELEASE_PATTERN: ("a release", "Use letters, digits and `.+_-`, as in `1.4.0`."),
    DOMAIN_PATTERN: ("a domain name", "Use lower-case labels with points between, as in `water.example`."),
    REASON_PATTERN: ("a reason", "Give the reason in one line, so that others understand it in a year."),
    LINE_PATTERN: ("one line of text", "Remove the line breaks and tabs."),
}
_WANTED: Final = {
    "string_type": "a text",
    "int_type": "a whole number",
    "bool_type": "`true` or `false`",
    "float_type": "a number",
    "tuple_type": "a list",
    "model_type": "a mapping (lines of `key: value`)",
    "model_attributes_type": "a mapping (lines of `key: value`)",
    "dict_type": "a mapping (lines of `key: value`)",
}
_OF_KINDS: Final = {
    "shape": ("a shape needs", "vertical-cylinder"),
    "electrodes": ("`electrodes` need", "rods"),
}
_BOUNDS: Final = {
    "greater_than_equal": ("less than {ge}", "Give {ge} or more."),
    "less_than_equal": ("more than {le}", "Give {le} or less."),
    "finite_number": ("too large", "Check the digits."),
}


class PartFindings:
    """Findings about one part, whose class is `root` and whose mapping is `value`, found at `at`."""

    def __init__(self, source: Source, at: Path, root: type[Part], value: Any, suggester: Suggester) -> None:
        self.source = source
        self.at = at
        self.root = root
        self.value = value
        self.suggester = suggester

    def findings(self, error: ValidationError, reported: set[Path], subject: Subject) -> Iterator[Finding]:
        """One finding per mistake, but for values that a finding already speaks of."""
        details: list[Any] = list(error.errors(include_url=False))
        follow_ons = self._misspelt(details) | _emptied(details)
        for detail in details:
            loc = detail["loc"]
            if loc in follow_ons and detail["type"] in ("missing", "too_short"):
                continue
            path, on_key = self._path(loc)
            if detail["type"] == "union_tag_invalid":
                path = (*path, "kind")
            if any(path[:end] in reported for end in range(len(path) + 1)):
                continue
            code, what, fix, at_key = self._said(detail, loc)
            place = self.source.key(path) if on_key or at_key else self.source.value(path)
            yield Finding(code, what, place, subject=subject, fix_here=fix)

    def _misspelt(self, details: list[Any]) -> set[tuple[Any, ...]]:
        """Places of missing keys that are there, but misspelt: the misspelt key has a finding of its own."""
        missing = [detail["loc"] for detail in details if detail["type"] == "missing"]
        found = set()
        for loc in [detail["loc"] for detail in details if detail["type"] == "extra_forbidden"]:
            beside = [other[-1] for other in missing if other[:-1] == loc[:-1]]
            found.add((*loc[:-1], self.suggester.nearest(str(loc[-1]), beside)))
        return found

    def _path(self, loc: tuple[Any, ...]) -> tuple[Path, bool]:
        """The path in the file, and whether the mistake is in the key there."""
        path: list[Any] = list(self.at)
        value = self.value
        for step in loc:
            if (isinstance(value, dict) and step in value) or (
                isinstance(value, list) and isinstance(step, int) and step < len(value)
            ):
                value = value[step]
            elif isinstance(value, dict) and step == value.get("kind"):
                continue  # the tag by which the model chose the shape
            else:
                return tuple(path), step == "[key]"
            path.append(step)
        return tuple(path), False

    def _said(self, detail: Any, loc: tuple[Any, ...]) -> tuple[Code, str, str, bool]:
        """Code, what, fix, and whether it is said of the key."""
        kind, given, ctx = detail["type"], detail["input"], detail.get("ctx", {})
        if kind == "value_error" and isinstance(ctx.get("error"), ValueRejected):
            refusal = ctx["error"]
            return refusal.code, refusal.what, refusal.fix, False
        if kind == "missing":
            return MISSING_KEY, f"{noun_of(part_at(self.root, loc[:-1]))} needs `{loc[-1]}`", "", True
        if kind == "extra_forbidden":
            return self._unknown_key(given, loc)
        if kind.startswith("union_tag"):
            return self._one_of_kinds(kind, loc, ctx)
        if kind in ("enum", "literal_error"):
            return self._choice(given, re.findall(r"'([^']*)'", ctx["expected"]))
        if kind == "string_pattern_mismatch":
            return self._pattern(given, ctx["pattern"])
        if kind in _BOUNDS:
            what, fix = _BOUNDS[kind]
            return OUT_OF_RANGE, f"{given} is {what.format(**ctx)}", fix.format(**ctx), False
        if kind in ("string_too_short", "string_too_long", "too_short", "too_long"):
            return _length(kind, given, ctx)
        return self._kind(kind, given)

    def _unknown_key(self, given: Any, loc: tuple[Any, ...]) -> tuple[Code, str, str, bool]:
        part = part_at(self.root, loc[:-1])
        hint = self.suggester.hint(str(loc[-1]), keys_of(part))
        fix = f"Its keys are {_listed(keys_of(part))}."
        if given is None:
            fix = f"In braces a comma begins the next entry: put a text with a comma in quotes. {fix}"
        return UNKNOWN_KEY, f"{noun_of(part)} has no key `{shown(loc[-1])}`.{hint}", fix, True

    def _one_of_kinds(self, kind: str, loc: tuple[Any, ...], ctx: Any) -> tuple[Code, str, str, bool]:
        if kind == "union_tag_not_found":
            noun, example = _OF_KINDS[str(loc[-1])]
            return MISSING_KEY, f"{noun} `kind`", f"Add `kind: {example}`, or what it is.", True
        code, what, fix, _ = self._choice(ctx["tag"], re.findall(r"'([^']*)'", ctx["expected_tags"]))
        return code, what, fix, False

    def _choice(self, given: Any, choices: list[str]) -> tuple[Code, str, str, bool]:
        if not isinstance(given, str):
            code, what, _, on_key = self._kind("string_type", given)
            return code, what, f"Choose one of {_listed(choices)}.", on_key
        what = f"`{shown(given)}` is not one of the choices here.{self.suggester.hint(given, choices)}"
        return NOT_A_CHOICE, what, f"Choose one of {_listed(choices)}.", False

    def _pattern(self, given: str, pattern: str) -> tuple[Code, str, str, bool]:
        noun, fix = _PATTERNS[pattern]
        if pattern == NAME_PATTERN:
            better = re.sub(r"[^a-z0-9]+", "-", given.lower()).strip("-")
            fix = f"{fix} For example `{better}`." if better else fix
        return BAD_NAME, f"`{shown(given)}` cannot be {noun}", fix, False

    def _kind(self, kind: str, given: Any) -> tuple[Code, str, str, bool]:
        wanted = _WANTED.get(kind, "something else")
        if given is None:
            return WRONG_KIND, f"expected {wanted}, found nothing", "", False
        fix = ""
        if kind == "string_type" and not isinstance(given, (dict, list)):
            fix = "Put it in quotes to make it a text."
        elif isinstance(given, str) and not isinstance(plain(given), str):
            fix = "Remove the quotes."
        return WRONG_KIND, f"expected {wanted}, found {_described(given)}", fix, False


def _length(kind: str, given: Any, ctx: Any) -> tuple[Code, str, str, bool]:
    short = kind.endswith("short")
    bound = f"at least {ctx['min_length']}" if short else f"at most {ctx['max_length']}"
    bound = f"expected {bound}"
    fix = "Add the missing part." if short else "Shorten it."
    if kind.startswith("string"):
        return WRONG_LENGTH, f"the text has {counted(len(given), 'character')}; {bound}", fix, False
    return WRONG_LENGTH, f"found {counted(len(given), 'entry', 'entries')}; {bound}", fix, True


def _listed(words: Iterable[str]) -> str:
    return ", ".join(f"`{word}`" for word in words)


def _emptied(details: list[Any]) -> set[tuple[Any, ...]]:
    """Places of lists that only seem too short, because none of their items could be read."""
    return {detail["loc"][:end] for detail in details for end in range(len(detail["loc"]))}


def _described(given: Any) -> str:
    if isinstance(given, dict):
        return "a mapping"
    if isinstance(given, list):
        return "a list"
    if isinstance(given, bool):
        return f"`{str(given).lower()}` (yes or no)"
    if isinstance(given, (int, float)):
        return f"the number {given}"
    return f"`{shown(given)}`"
