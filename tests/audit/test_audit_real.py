"""The audit of real firmware on the bench: a broken wire, a node off the network, another board, a change."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from fleet.codes import Exit
from tests.bench.scenery import eventually, processes_of
from tests.real_fleet import ROOT, build, real_project, tankfleet

pytestmark = [pytest.mark.slow, pytest.mark.timeout(600)]
NODES = ("kestrel-01", "kestrel-03", "kestrel-04")
SCHEMA = json.loads((ROOT / "fleet" / "schemas" / "audit.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def project(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Three nodes on the bench, on the image that was built for them."""
    project = real_project(tmp_path_factory.mktemp("audit"), tmp_path_factory.getbasetemp() / "shared-build")
    build(project, *NODES)
    tankfleet(project, "bench", "up", *NODES, "--speed", "1")
    yield project
    tankfleet(project, "bench", "down")
    assert processes_of(project) == {}


def audited(project: Path, expect: int) -> dict[str, Any]:
    """The audit as JSON."""
    done = tankfleet(project, "audit", "--json", "--timeout", "4", expect=expect)
    document: dict[str, Any] = json.loads(done.stdout)
    jsonschema.Draft202012Validator(SCHEMA).validate(document)
    return document


def about(document: dict[str, Any], node: str) -> list[str]:
    """Codes about one of the three."""
    return next(line["findings"] for line in document["nodes"] if line["node"] == node)


def edit(path: Path, change: Callable[[str], str]) -> None:
    """Change a file of the inventory."""
    before = path.read_text(encoding="utf-8")
    assert change(before) != before
    path.write_text(change(before), encoding="utf-8")


def test_from_well_to_hurt(project: Path) -> None:
    well = audited(project, Exit.UNREACHABLE)
    assert {node: about(well, node) for node in NODES} == {node: [] for node in NODES}
    assert len(well["unreachable"]) == len(well["nodes"]) - len(NODES), "only three are up"

    tankfleet(project, "bench", "level", "header-east", "60 %")
    tankfleet(project, "bench", "hurt", "kestrel-01", "lost-probe")
    tankfleet(project, "bench", "hurt", "kestrel-03", "unreachable")
    farm = project / "inventory" / "kestrel-hill.yaml"
    edit(farm, lambda text: text.replace("00:00:5e:00:53:04", "00:00:5e:00:53:99"))
    edit(farm, lambda text: text.replace("debounce: 3 s\n", "debounce: 4 s\n"))  # of kestrel-04

    def hurt() -> dict[str, Any] | None:
        seen = audited(project, Exit.PROBLEMS)
        return seen if "AUD131" in about(seen, "kestrel-01") else None

    seen = eventually("the broken wire shows", hurt, within_s=60.0)
    assert about(seen, "kestrel-01") == ["AUD131"]
    assert about(seen, "kestrel-03") == ["AUD101"]
    assert about(seen, "kestrel-04") == ["AUD121", "AUD117", "AUD118"]
    contradiction = next(f["what"] for f in seen["findings"] if f["code"] == "AUD131")
    assert "tank header-east: its marks contradict" in contradiction
    assert "empty dry, half wet" in contradiction
