"""Load an inventory folder: all files, all findings, in one run."""

from __future__ import annotations

import gc
import os
from contextlib import contextmanager
from typing import TYPE_CHECKING

from fleet.check.codes import INVENTORY_CODES as CODES
from fleet.check.rules import RULES
from fleet.check.rulings import apply_rulings
from fleet.errors import InventoryError
from fleet.finding import Finding, Place
from fleet.inventory.codes import HAS_ERRORS, TOO_LARGE
from fleet.inventory.folder import inventory_files, read_bytes
from fleet.inventory.parsed import Parsed
from fleet.inventory.parts import add_file
from fleet.inventory.source import decode
from fleet.inventory.yaml_reader import read_yaml
from fleet.limits import INVENTORY_BYTES
from fleet.model.inventory import Inventory
from fleet.model.policy import Policy
from fleet.water.quantities import counted

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import date
    from pathlib import Path

_CODES = {code.code: code for code in CODES}


def load_inventory(folder: Path, root: Path | None = None, today: date | None = None) -> Inventory:
    """The inventory in `folder`. InventoryError, with all findings of all files, if any is an error.

    Places name each file from `root` on, by default the folder that `folder` is in. Rulings whose last day is
    before `today` do not hold; without it, all do.
    """
    return load_checked(folder, root, today)[0]


def load_checked(
    folder: Path, root: Path | None = None, today: date | None = None
) -> tuple[Inventory, list[Finding]]:
    """As `load_inventory`, with the findings that do not stop it: warnings, notes, and what was accepted."""
    inventory, findings = read_inventory(folder, root, today)
    if inventory is None:
        errors = [finding for finding in findings if finding.stops]
        files = {finding.place.path for finding in errors if finding.place is not None}
        what = f"the inventory has {counted(len(errors), 'error')} in {counted(len(files), 'file')}"
        raise InventoryError(HAS_ERRORS, what, [finding for finding in findings if not finding.accepted])
    return inventory, findings


def read_inventory(
    folder: Path, root: Path | None = None, today: date | None = None
) -> tuple[Inventory | None, list[Finding]]:
    """The inventory in `folder`, and all findings, sorted by place; None if any of them is an error.

    Findings that a ruling accepts are among them, and are no errors.
    """
    paths, findings = inventory_files(folder)
    if findings:
        return None, findings
    root = (root or folder.parent).absolute()
    files = []
    total_bytes = 0
    for path in paths:
        shown = _shown(path.absolute(), root)
        data, unreadable = read_bytes(path, shown)
        findings += unreadable
        files.append((shown, None if unreadable else data))
        total_bytes += len(data)
        if total_bytes > INVENTORY_BYTES:
            what = f"the files up to this one have more than {INVENTORY_BYTES} bytes together"
            return None, [*findings, Finding(TOO_LARGE, what, Place(shown))]
    inventory, more = read_texts(files, today)
    more = sorted(findings + more, key=lambda finding: finding.sort_key())
    return (None if findings else inventory), more


def _shown(path: Path, root: Path) -> str:
    """The path from `root` on where it lies below; what cannot be shown of it is replaced."""
    below = path.relative_to(root) if path.is_relative_to(root) else path
    text = os.fsencode(below).decode("utf-8", "replace")
    return "".join(c if c.isprintable() else "\ufffd" for c in text)


def read_texts(
    files: Sequence[tuple[str, bytes | None]], today: date | None = None
) -> tuple[Inventory | None, list[Finding]]:
    """As `read_inventory`, from files' shown paths and bytes; None for bytes that could not be read."""
    with _no_collection():
        return _read(files, today)


@contextmanager
def _no_collection() -> Iterator[None]:
    """No search for garbage cycles meanwhile: there are none, and looking at all parts anew and anew takes time
    that grows faster than the inventory."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def _read(
    files: Sequence[tuple[str, bytes | None]], today: date | None
) -> tuple[Inventory | None, list[Finding]]:
    survey = Parsed(Place(files[0][0]), today=today)
    findings: list[Finding] = []
    for shown, data in files:
        findings += _add(survey, shown, data)
    for rule in RULES:
        findings += rule(survey)
    findings = apply_rulings(survey, findings, today, _CODES)
    findings.sort(key=lambda finding: finding.sort_key())
    if any(finding.stops for finding in findings):
        return None, findings
    return _inventory(survey), findings


def _add(survey: Parsed, shown: str, data: bytes | None) -> list[Finding]:
    """Put one file into the survey; what is wrong in it is returned. None: its bytes could not be read."""
    source, findings = decode(shown, data) if data is not None else (None, [])
    if source is None:
        survey.whole = False
        return findings
    tree = read_yaml(source)
    return [*findings, *tree.findings, *add_file(survey, source, tree)]


def survey_of(folder: Path, root: Path) -> Parsed:
    """The parts of the inventory in `folder` with their places, whatever is wrong with it: to say where one stands."""
    survey = Parsed(Place(""))
    for path in inventory_files(folder)[0]:
        shown = _shown(path.absolute(), root.absolute())
        data, unreadable = read_bytes(path, shown)
        _add(survey, shown, None if unreadable else data)
    return survey


def _inventory(survey: Parsed) -> Inventory:
    return Inventory(
        fleet=survey.fleets[0].part,
        policy=survey.policies[0].part if survey.policies else Policy(),
        sites=tuple(sorted((entry.part for entry in survey.sites), key=lambda part: part.name)),
        tanks=tuple(sorted((entry.part for entry in survey.tanks), key=lambda part: part.name)),
        nodes=tuple(sorted((entry.part for entry in survey.nodes), key=lambda part: part.name)),
        rulings=tuple(entry.part for entry in survey.rulings),
    )
