"""Where in the inventory's files that stands which makes a plan stale. Reads the files."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from fleet.check.load import survey_of
from fleet.push.basis import Change, ChangeKind, PartKind

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleet.finding import Place
    from fleet.inventory.parsed import Parsed
    from fleet.workspace import Workspace


def placed(changes: Sequence[Change], workspace: Workspace) -> tuple[Change, ...]:
    """These changes with their places. The files are read anew, and only if something changed."""
    if not changes:
        return ()
    survey = survey_of(workspace.inventory_dir, workspace.root)
    return tuple(replace(change, place=_place(change, survey)) for change in changes)


def _place(change: Change, survey: Parsed) -> Place | None:
    if change.how is ChangeKind.GONE:
        return None
    if change.kind is PartKind.SUPPLY_GROUP:
        return survey.place(PartKind.TANK, change.key, "supply_group")
    return survey.place(change.kind, change.name, change.key)
