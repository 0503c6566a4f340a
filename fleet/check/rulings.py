"""Rulings: what a person has decided about findings, and what is to be said of the rulings themselves. Pure.

The one place that decides how a ruled finding counts; all commands read the inventory through it.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Annotated, Final, Literal

from fleet.check.codes.rulings import (
    CANNOT_RULE,
    ENDS_BEFORE_IT_BEGINS,
    NOT_A_FINDING,
    RULED_TWICE,
    RULES_ON_NOTHING,
    RULING_PAST,
)
from fleet.codes import Severity
from fleet.finding import Finding, Ruled, Subject, SubjectKind
from fleet.model.rejected import shown

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence
    from datetime import date

    from pydantic import Field

    from fleet.codes import Code
    from fleet.finding import RuledAs
    from fleet.inventory.parsed import Parsed, ParsedPart
    from fleet.json_values import Day, NotEmpty
    from fleet.model.policy import Ruling

    _Standing = dict[tuple[str, str], ParsedPart[Ruling]]

IN_FORCE: Final = "in force"
PAST: Final = "past its date"
UNUSED: Final = "no finding needs it"


@dataclass(frozen=True, slots=True)
class RulingLine:
    """One ruling for a report."""

    code: Annotated[str, Field(pattern=r"^INV[0-9]{3}$")]
    about: str
    """Such as `tank roof-east`; empty for everywhere."""
    ruled: Annotated[RuledAs, Field(alias="as")]
    reason: NotEmpty
    date: Day
    expires: Day | None
    """The last day on which it holds."""
    stands: Literal["in force", "past its date", "no finding needs it"]
    subjects: tuple[str, ...]
    """Of the findings that it changes, in the order of their places."""

    @property
    def name(self) -> str:
        """The code, and what it is about."""
        return f"{self.code} about {self.about}" if self.about else self.code


@dataclass(frozen=True, slots=True)
class AppliedRuling:
    """A ruling, as a report says it, and the subjects of the findings that it changes."""

    line: RulingLine
    subjects: tuple[Subject, ...]


def apply_rulings(
    survey: Parsed, findings: Sequence[Finding], today: date | None, codes: Mapping[str, Code]
) -> list[Finding]:
    """The findings as ruled, and those about the rulings themselves. Without `today` none is past its date.

    Of two rulings on one finding, the one about its subject goes before the one about everything.
    """
    if not survey.rulings:
        return list(findings)
    standing: _Standing = {}
    own: list[Finding] = []
    used: set[int] = set()
    for entry in survey.rulings:
        wrong = _wrong(survey, entry, today, codes) or _second(entry, standing, used)
        if wrong is not None:
            own.append(wrong)
    ruled = [_ruled(finding, standing, used) for finding in findings]
    if survey.whole and not any(finding.stops and not finding.code.ruled for finding in findings):
        own += _unused(survey, standing, used, findings)
    return ruled + own


def applied_rulings(
    rulings: Iterable[Ruling], findings: Iterable[Finding], today: date | None
) -> tuple[AppliedRuling, ...]:
    """What is to be reported of the rulings of an inventory, whose findings were ruled with the same `today`."""
    subjects: dict[tuple[str, str], list[Subject]] = defaultdict(list)
    for finding in findings:
        if finding.ruling is not None:
            subjects[finding.code.code, finding.ruling.about].append(finding.subject)
    applied = []
    for ruling in rulings:
        past = _past(ruling, today)
        changed = () if past else tuple(dict.fromkeys(subjects[ruling.code, ruling.about or ""]))
        line = RulingLine(
            code=ruling.code,
            about=ruling.about or "",
            ruled=ruling.ruled,
            reason=ruling.reason,
            date=ruling.date.isoformat(),
            expires=ruling.expires.isoformat() if ruling.expires else None,
            stands=PAST if past else IN_FORCE if changed else UNUSED,
            subjects=tuple(map(str, changed)),
        )
        applied.append(AppliedRuling(line, changed))
    return tuple(applied)


def _past(ruling: Ruling, today: date | None) -> bool:
    """`expires` is the last day on which it holds."""
    return today is not None and ruling.expires is not None and ruling.expires < today


def _ruled(finding: Finding, standing: _Standing, used: set[int]) -> Finding:
    code = finding.code
    entry = standing.get((code.code, str(finding.subject))) or standing.get((code.code, ""))
    if entry is None or not code.ruled:
        return finding
    used.add(id(entry))
    ruling = entry.part
    ruled = Ruled(ruling.ruled, ruling.reason, ruling.date, ruling.expires, ruling.about or "", entry.key())
    severity = finding.severity if ruled.accepted else Severity(ruling.ruled)
    return replace(finding, severity_here=severity, ruling=ruled)


# ------------------------------------------------------------------ about the rulings themselves
def _wrong(
    survey: Parsed, entry: ParsedPart[Ruling], today: date | None, codes: Mapping[str, Code]
) -> Finding | None:
    ruling = entry.part
    subject = _subject(ruling)
    if ruling.code not in codes:
        can = [code for code, known in codes.items() if known.ruled]
        hint = survey.suggester.hint(ruling.code, can)
        what = f"`{shown(ruling.code)}` is no code of a finding about the inventory.{hint}"
        return Finding(NOT_A_FINDING, what, entry.value("code"), subject)
    if not codes[ruling.code].ruled:
        what = f"{ruling.code} ({codes[ruling.code].title}) cannot be ruled on"
        return Finding(CANNOT_RULE, what, entry.value("code"), subject)
    if ruling.expires is not None and ruling.expires < ruling.date:
        what = f"it holds until {ruling.expires}, but was made on {ruling.date}"
        return Finding(ENDS_BEFORE_IT_BEGINS, what, entry.value("expires"), subject)
    if _past(ruling, today):
        what = f"it held until {ruling.expires}, which is past"
        return Finding(RULING_PAST, what, entry.value("expires"), subject)
    return None


def _second(entry: ParsedPart[Ruling], standing: _Standing, used: set[int]) -> Finding | None:
    """Let the entry stand, or say that another stands in its place already: of that one no more is said."""
    ruling = entry.part
    first = standing.setdefault((ruling.code, ruling.about or ""), entry)
    if first is entry:
        return None
    used.add(id(first))
    what = f"{_named(ruling)} was already ruled on, in {first.key()}"
    if first.part.ruled != ruling.ruled:
        what = (
            f"`{ruling.ruled}` here, but `{first.part.ruled}` in {first.key()}: both rule on {_named(ruling)}"
        )
    return Finding(RULED_TWICE, what, entry.value("as"), _subject(ruling))


def _unused(
    survey: Parsed, standing: _Standing, used: set[int], findings: Sequence[Finding]
) -> Iterator[Finding]:
    for entry in standing.values():
        if id(entry) in used:
            continue
        ruling = entry.part
        if ruling.about is None:
            what = f"there is no finding {ruling.code} that it could rule on"
            yield Finding(RULES_ON_NOTHING, what, entry.value("code"), _subject(ruling))
            continue
        of_code = sorted({f.subject for f in findings if f.code.code == ruling.code})
        same_code = [str(subject) for subject in of_code]
        things = _things(survey)
        parts = [str(subject) for subject in of_code if subject.part and str(subject.whole) == ruling.about]
        hint = ""
        if parts:
            hint = f" Name the part that it is about: `{'` or `'.join(parts)}`"
        elif ruling.about not in things:
            hint = survey.suggester.hint(ruling.about, [*same_code, *things])
        what = f"there is no finding {ruling.code} about `{shown(ruling.about)}`.{hint}"
        yield Finding(RULES_ON_NOTHING, what.removesuffix("."), entry.value("about"), _subject(ruling))


def _things(survey: Parsed) -> dict[str, None]:
    """All that a finding may be about, in the words of findings."""
    names = [
        *(f"site {name}" for name in survey.site_by_name),
        *(f"tank {name}" for name in survey.tank_by_name),
        *(f"node {name}" for name in survey.node_by_name),
    ]
    return dict.fromkeys(names)


def _subject(ruling: Ruling) -> Subject:
    return Subject(SubjectKind.RULING, f"on {_named(ruling)}")


def _named(ruling: Ruling) -> str:
    return f"{shown(ruling.code)} about {shown(ruling.about)}" if ruling.about else shown(ruling.code)
