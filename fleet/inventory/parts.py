"""From the trees of files to the survey: each part is validated alone, so that one mistake hides no other."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from pydantic import ValidationError

from fleet.finding import Finding, Subject, SubjectKind
from fleet.inventory.codes import UNKNOWN_KEY, WRONG_KIND
from fleet.inventory.parsed import ParsedPart
from fleet.inventory.part_keys import keys_of
from fleet.inventory.source import Source, too_many
from fleet.inventory.wording import PartFindings
from fleet.limits import FINDINGS_PER_FILE
from fleet.model.inventory import InventoryFile
from fleet.model.node import Node
from fleet.model.policy import Fleet, Policy, Ruling
from fleet.model.rejected import shown
from fleet.model.site import Site
from fleet.model.tank import Tank

if TYPE_CHECKING:
    from fleet.inventory.parsed import Parsed
    from fleet.inventory.positions import Path
    from fleet.inventory.yaml_reader import YamlTree
    from fleet.model.part import Part

_LISTS: Final[dict[str, type[Any]]] = {"sites": Site, "tanks": Tank, "nodes": Node, "rulings": Ruling}
_BLOCKS: Final[dict[str, type[Any]]] = {"fleet": Fleet, "policy": Policy}


def add_file(survey: Parsed, source: Source, tree: YamlTree) -> list[Finding]:
    """Put the parts of one file into the survey; what is wrong with them is returned."""
    return _File(survey, source, tree).read()


class _File:
    def __init__(self, survey: Parsed, source: Source, tree: YamlTree) -> None:
        self.survey = survey
        self.source = source
        self.tree = tree
        self.findings: list[Finding] = []
        survey.whole = survey.whole and tree.whole

    def read(self) -> list[Finding]:
        for key, value in self.tree.top.items():
            if key in _BLOCKS:
                self._part(
                    (key,), _BLOCKS[key], value, {"fleet": self.survey.fleets}.get(key, self.survey.policies)
                )
            elif key in _LISTS:
                self._list(key, value)
            elif (key,) not in self.tree.reported:
                self._unknown(key)
        return self.findings

    def _list(self, key: str, value: Any) -> None:
        if not isinstance(value, list):
            self.survey.whole = False
            if (key,) not in self.tree.reported:
                stands = "the value is missing" if value is None else "this is not a list"
                what = f"{stands}; `{key}` holds a list, each item begun with `- `"
                self.findings.append(Finding(WRONG_KIND, what, self.source.value((key,))))
            return
        into = getattr(self.survey, key)
        for index, item in enumerate(value):
            self._part((key, index), _LISTS[key], item, into)
            if len(self.findings) >= FINDINGS_PER_FILE:
                self.survey.whole = False
                self.findings.append(too_many(self.source.key((key, index))))
                return

    def _part(self, at: Path, kind: type[Part], value: Any, into: list[Any]) -> None:
        try:
            part = kind.__pydantic_validator__.validate_python(value)
        except ValidationError as error:
            subject = Subject(SubjectKind(kind.__name__.lower()), self._unread(at, value))
            words = PartFindings(self.source, at, kind, value, self.survey.suggester)
            self.findings += words.findings(error, self.tree.reported, subject)
            return
        if any(path[: len(at)] == at for path in self.tree.lost):
            self._unread(at, value)
        else:
            into.append(ParsedPart(part, self.source, at))

    def _unread(self, at: Path, value: Any) -> str:
        """Remember the name of a part that cannot be used, and return it; empty if it has none."""
        if at[0] == "rulings":
            code = value.get("code") if isinstance(value, dict) else None
            return f"on {shown(code)}" if isinstance(code, str) else ""
        name = value.get("name") if isinstance(value, dict) else None
        if isinstance(name, str):
            self.survey.unread.setdefault(str(at[0]), set()).add(name)
            return shown(name)
        self.survey.whole = False
        return ""

    def _unknown(self, key: str) -> None:
        known = keys_of(InventoryFile)
        what = f"a file has no key `{shown(key)}`.{self.survey.suggester.hint(key, known)}"
        fix = f"Its keys are {', '.join(f'`{k}`' for k in known)}."
        self.findings.append(Finding(UNKNOWN_KEY, what, self.source.key((key,)), fix_here=fix))
        self.survey.whole = False
