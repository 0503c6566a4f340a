"""Formats of the files that commands write: what a name's suffix tells must be what is in it."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING, Final

from fleet.cli.codes import BAD_USAGE
from fleet.errors import UsageError

if TYPE_CHECKING:
    from pathlib import Path


class Format(StrEnum):
    """What a file is written as."""

    HTML = "HTML"
    PDF = "PDF"
    JSON = "JSON"
    SARIF = "SARIF"
    CSV = "CSV"
    YAML = "YAML"
    IMAGE = "an image"


_OF_SUFFIX: Final = {
    ".html": Format.HTML,
    ".htm": Format.HTML,
    ".pdf": Format.PDF,
    ".json": Format.JSON,
    ".jsonl": Format.JSON,
    ".sarif": Format.SARIF,
    ".csv": Format.CSV,
    ".yaml": Format.YAML,
    ".yml": Format.YAML,
    ".svg": Format.IMAGE,
    ".png": Format.IMAGE,
}


def told_by(path: Path) -> Format | None:
    """The format that the suffix tells, in any case; None if it tells none."""
    return _OF_SUFFIX.get(path.suffix.casefold())


def must_suit(path: Path, flag: str, *formats: Format) -> None:
    """UsageError if the suffix of the file that `flag` names tells none of the formats that it may be written as."""
    told = told_by(path)
    if told is None or told in formats:
        return
    suffixes = " or ".join(suffix for suffix, format_ in _OF_SUFFIX.items() if format_ in formats)
    raise UsageError(
        BAD_USAGE,
        f"{flag} {path}: the name says {told}, and it would be {' or '.join(formats)}",
        fix=f"Name a file that ends in {suffixes}.",
    )
