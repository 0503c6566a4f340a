"""A finding: one thing that a check or an audit has to say, with its place."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated, Any, Final, Literal

from fleet.codes import Code, Severity

if TYPE_CHECKING:
    from datetime import date

    from pydantic import Field

    from fleet.json_values import CodeName, Day, NotEmpty, Some

RuledAs = Literal["accepted", "note", "warning", "error"]


@dataclass(frozen=True, slots=True, order=True)
class Place:
    """Where in a text. Lines and columns count from 1, columns in characters; `end_col` is exclusive."""

    path: NotEmpty
    line: Some = 1
    col: Some = 1
    end_col: Annotated[int, Field(ge=2)] = 2
    quote: str = ""
    """The whole line; empty when it is too long."""

    def __str__(self) -> str:
        return f"{self.path}:{self.line}:{self.col}"


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure that a finding rests on: `Figure("starts an hour", 31.2, "1/h")`; no unit: a pure number.

    The same figures stand in the finding's words, rounded for people; here they are for programs.
    """

    name: NotEmpty
    value: float
    unit: str = ""
    """Empty for a pure number."""


class SubjectKind(StrEnum):
    """What a finding may be about."""

    NOTHING = ""
    FLEET = "fleet"
    POLICY = "policy"
    SITE = "site"
    TANK = "tank"
    NODE = "node"
    RULING = "ruling"
    PUSH = "push"


@dataclass(frozen=True, slots=True, order=True)
class Subject:
    """What a finding is about: a thing of the fleet, and the part of it where it has several.

    As text, such as `tank header-east` or `node kestrel-01 pin IO17`, it is what a ruling names.
    """

    kind: SubjectKind = SubjectKind.NOTHING
    name: str = ""
    part: str = ""
    """Such as `pin`, `wire`, `mark` or a key; empty for the whole thing."""
    which: str = ""
    """The part's own name; empty where there is one such part."""

    def __str__(self) -> str:
        return " ".join(word for word in (self.kind.value, self.name, self.part, self.which) if word)

    @property
    def whole(self) -> Subject:
        """The thing itself, without the part."""
        return Subject(self.kind, self.name)


NO_SUBJECT: Final = Subject()
"""Of a finding that is about no single thing."""


@dataclass(frozen=True, slots=True)
class RuledLine:
    """What a person has ruled on a finding, for JSON."""

    ruled: Annotated[RuledAs, Field(alias="as")]
    reason: NotEmpty
    date: Day
    expires: Day | None
    """The last day on which it holds."""
    about: str
    """The subject that it names; empty for everywhere."""
    place: Place


@dataclass(frozen=True, slots=True)
class FindingLine:
    """A finding for JSON."""

    code: CodeName
    severity: Severity
    title: NotEmpty
    subject: str
    """Such as `tank roof-east`; may be empty."""
    what: NotEmpty
    why: NotEmpty
    fix: NotEmpty
    source: str
    """Where its figures come from; may be empty."""
    figures: tuple[Figure, ...]
    """What it rests on, as computed or measured, and the limit."""


@dataclass(frozen=True, slots=True)
class PlacedLine(FindingLine):
    """A finding for JSON, with its place in a text."""

    ruling: RuledLine | None
    """What a person has ruled on it; null if nothing."""
    place: Place | None
    """Null where it is about no file."""


@dataclass(frozen=True, slots=True)
class Ruled:
    """What a person has ruled on a finding: `word` is `accepted` or a severity, `expires` the last day it holds.

    `about` is the subject that the ruling names, empty for everywhere; `place` is that of the ruling.
    """

    word: RuledAs
    reason: str
    made_on: date
    expires: date | None
    about: str
    place: Place

    @property
    def accepted(self) -> bool:
        """Whether the finding no longer counts."""
        return self.word == "accepted"

    def __str__(self) -> str:
        until = f" until {self.expires}" if self.expires else ""
        return f"{self.word} on {self.made_on}{until}: {self.reason}"

    def facts(self) -> dict[str, Any]:
        """All of it for JSON."""
        facts = asdict(
            RuledLine(
                self.word,
                self.reason,
                self.made_on.isoformat(),
                self.expires.isoformat() if self.expires else None,
                self.about,
                self.place,
            )
        )
        return {"as": facts.pop("ruled"), **facts}


@dataclass(frozen=True, slots=True)
class Finding:
    """`what` says what is the matter here; `why` and `fix` default to those of the code.

    A code and a subject name one finding. `figures` are those that it rests on: what was computed, from what, and
    the limit.
    """

    code: Code
    what: str
    place: Place | None = None
    subject: Subject = NO_SUBJECT
    fix_here: str = ""
    severity_here: Severity | None = None
    figures: tuple[Figure, ...] = ()
    ruling: Ruled | None = None

    @property
    def severity(self) -> Severity:
        """The severity here, which policy may have changed from the code's own."""
        return self.severity_here or self.code.severity

    @property
    def accepted(self) -> bool:
        """Whether a person has accepted it: it then counts for nothing."""
        return self.ruling is not None and self.ruling.accepted

    @property
    def stops(self) -> bool:
        """Whether it keeps the inventory from being used."""
        return self.severity is Severity.ERROR and not self.accepted

    @property
    def why(self) -> str:
        """Why it matters."""
        return self.code.why

    @property
    def fix(self) -> str:
        """How to put it right."""
        return self.fix_here or self.code.fix

    def facts(self) -> dict[str, Any]:
        """All of it for JSON: the keys of `PlacedLine`."""
        return {
            **asdict(self.line()),
            "figures": [asdict(figure) for figure in self.figures],
            "ruling": self.ruling.facts() if self.ruling else None,
            "place": asdict(self.place) if self.place else None,
        }

    def line(self) -> FindingLine:
        """It without its place, for JSON."""
        return FindingLine(
            self.code.code,
            self.severity,
            self.code.title,
            str(self.subject),
            self.what,
            self.why,
            self.fix,
            self.code.source,
            self.figures,
        )

    def sort_key(self) -> tuple[str, int, int, str, str]:
        """By place, then code, then words."""
        place = self.place or Place("~")
        return (place.path, place.line, place.col, self.code.code, self.what)
