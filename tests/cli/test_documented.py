"""What README and docs tell people to type: each command and option exists, and what it needs stands there too."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest

from fleet.keys.project_id import PROJECT_ID_FILE
from fleet.settings import USER_FILE
from tests.cli.commands import Found, commands, root

ROOT = Path(__file__).resolve().parent.parent.parent
PAGES = [
    ROOT / "README.md",
    *sorted(path for path in (ROOT / "docs").glob("*.md") if path.name != "codes.md"),
]
KNOWN = {found.words: found for found in commands()}


def typed(page: Path) -> list[list[str]]:
    """The words after `tankfleet` of every command line on the page, whether in backticks or indented."""
    text = page.read_text(encoding="utf-8")
    lines = re.findall(r"`(tankfleet [^`]+)`", text) + re.findall(r"(?m)^ {4}(tankfleet .+)$", text)
    parts = [part for line in lines for part in re.split(r"&&|[|>]", line.partition("#")[0])]
    return [shlex.split(part)[1:] for part in parts if part.split()[:1] == ["tankfleet"]]


def command_of(words: list[str]) -> tuple[Found | None, list[str]]:
    """The command, and the words that it gets; none for a group, or `tankfleet` itself."""
    for length in (2, 1):
        found = KNOWN.get(tuple(words[:length]))
        if found is not None:
            return found, words[length:]
    return None, words


@pytest.mark.parametrize("page", PAGES, ids=lambda path: path.stem)
def test_what_a_page_tells_to_type_can_be_typed(page: Path) -> None:
    groups = {words[0] for words in KNOWN if len(words) > 1}
    flags_of_all = {flag for param in root().params for flag in param.opts} | {"-h", "--help"}
    for words in typed(page):
        found, rest = command_of(words)
        if found is None:
            assert words[0] in groups or words[0] in flags_of_all, (
                f"{page.name}: tankfleet {shlex.join(words)}"
            )
            continue
        flags = [word for word in rest if word.startswith("-") and word != "-"]
        for flag in flags:
            assert found.has(flag) or flag in flags_of_all, f"{page.name}: {found.name} has no {flag}"
        needed = [option.opts[0] for option in found.options if option.required]
        if rest:  # a bare name only speaks of the command
            assert set(needed) <= set(flags), f"{page.name}: {found.name} needs {needed}"


def test_the_readme_tells_to_type_something() -> None:
    """Else the test above would look at nothing."""
    names = {command_of(words)[0].name for words in typed(PAGES[0]) if command_of(words)[0]}
    assert {"new", "check", "build", "plan", "push", "audit", "clear-fault", "keys set-network"} <= names


def test_what_a_person_looks_for_first_is_in_the_readme() -> None:
    """How to install it, the user's own settings file, and the page of each node for a monitor."""
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    for words in ("pipx install .", f"~/.config/tankfleet/{USER_FILE}", "/metrics", PROJECT_ID_FILE):
        assert words in readme


def test_names_that_are_given_once_are_told_where_keys_are() -> None:
    page = (ROOT / "docs" / "inventory.md").read_text(encoding="utf-8")
    assert "No two sites, tanks, nodes or pumps of the fleet have one name" in page
    assert "INV142" in page
