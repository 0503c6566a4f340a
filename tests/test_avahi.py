"""Nodes announce themselves so that an independent party finds them: avahi, as a Linux machine on the farm would."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from fleet.find.scope import read_bench_id
from fleet.workspace import BENCH_ID
from tests.firmware.firmware_build import ROOT, compile_program
from tests.real_fleet import build, real_project, tankfleet

HOST = "templates/firmware/ports/host"
UNSHARE = ["unshare", "--net", "--mount", "--pid", "--fork", "--kill-child", "--mount-proc"]
PROGRAMS = ("unshare", "ip", "dbus-daemon", "avahi-daemon", "avahi-browse", "avahi-resolve")
TIMEOUT_S = 200

pytestmark = pytest.mark.slow


def _why_not() -> str:
    """What is missing here for namespaces of our own with avahi in them; empty when nothing is."""
    missing = [name for name in PROGRAMS if shutil.which(name) is None]
    if missing:
        return f"not installed: {', '.join(missing)} (packages avahi-daemon, avahi-utils, dbus, iproute2)"
    if os.geteuid() != 0:
        return "needs root for a network namespace of its own"
    tried = subprocess.run([*UNSHARE, "true"], capture_output=True, text=True, check=False)
    return "" if tried.returncode == 0 else f"no namespaces here: {tried.stderr.strip()}"


def _watch(script: str, *words: str) -> dict[str, Any]:
    """What the script prints in namespaces of its own."""
    if reason := _why_not():
        pytest.skip(reason)
    command = [*UNSHARE, sys.executable, str(ROOT / "tests" / script), *words]
    done = subprocess.run(
        command, capture_output=True, text=True, timeout=TIMEOUT_S, check=False, env=environment()
    )
    assert done.returncode == 0, done.stderr
    assert "ERROR" not in done.stderr, done.stderr
    report: dict[str, Any] = json.loads(done.stdout)
    return report


def environment() -> dict[str, str]:
    """This process's environment, with the checkout on Python's path."""
    return {**os.environ, "PYTHONPATH": str(ROOT)}


def test_avahi_sees_the_nodes_of_two_benches(tmp_path, tmp_path_factory) -> None:
    """The real firmware, announced from two benches with the same node names, as an independent party sees it
    (RFC 6762, RFC 6763): every node of each, none under a name that another has too."""
    nodes = ("kestrel-01", "kestrel-03", "kestrel-04")
    projects = [_built(tmp_path / name, tmp_path_factory, nodes) for name in ("one", "two")]
    found = _watch("avahi_bench_watch.py", *(f"--project={project}" for project in projects), *nodes)["found"]
    assert len(found) == len(projects) * len(nodes)
    subnets = set()
    for project in projects:
        shelf = json.loads(tankfleet(project, "shelf", "--json").stdout)
        images = {entry["node"]: entry["image"] for entry in shelf["entries"]}
        bench = read_bench_id(project / ".tankfleet" / "bench" / BENCH_ID)
        for node in nodes:
            seen = found[f"{node}-bench-{bench}"]
            assert (seen["id"], seen["bench"]) == (node, bench)
            assert seen["host"] == f"{node}-bench-{bench}.local"
            assert seen["port"] == "8080"
            assert images[node].startswith(seen["img"])
            assert (seen["release"], seen["phase"]) == ("1.0.0", "kept")
            subnets.add((bench, seen["address"].split(".")[1]))
    assert len({number for _, number in subnets}) == len(subnets) == len(projects)


def _built(folder: Path, tmp_path_factory: pytest.TempPathFactory, nodes: tuple[str, ...]) -> Path:
    """A project with images of these nodes, and keys of its own."""
    folder.mkdir()
    project = real_project(folder, tmp_path_factory.getbasetemp() / "shared-build")
    build(project, *nodes)
    return project


def test_avahi_sees_the_nodes() -> None:
    sources = ["tests/firmware/announce_program.cpp"]
    sources += [f"{HOST}/{name}.cpp" for name in ("announce", "mdns_name", "mdns_read", "mdns_write")]
    program = compile_program(sources)
    report = _watch("avahi_watch.py", str(program))
    keys = {"release": "1.4.0", "img": "0123456789abcdef", "board": "esp32-devkit", "port": "8080"}
    assert report["found"] == {
        name: {**keys, "id": name, "phase": "on-trial", "host": f"{name}.local", "address": f"127.9.0.{i}"}
        for i, name in enumerate(("upper-barn", "lower-barn", "sump"), 1)
    }
    assert "_tanknode._tcp" in report["types"]
    assert report["address"] == ["sump.local", "127.9.0.3"]
    assert report["changed"]["upper-barn"]["phase"] == "kept"  # the new TXT takes the place of the old one
    assert report["status"] == 0
    assert sorted(report["gone"]) == ["sump", "upper-barn"]  # gone at the goodbye, not 75 minutes later
