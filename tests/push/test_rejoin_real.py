"""A changed passphrase on three virtual nodes with real firmware and the networks of a file in the air (`--air`); the
tool as a person runs it.

Two are in reach of the new network, the third one is not: it comes back to the old one by itself.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from fleet.bench.paths import BenchPaths, NodePaths
from fleet.bench.pins import PinsFile
from fleet.bench.process import start_process
from fleet.boards.board import load_board
from fleet.build.shelf import Shelf
from fleet.check.load import load_inventory
from fleet.codes import Exit
from fleet.keys.folder import KeyFolder
from tests.real_fleet import ROOT, build, real_project, tankfleet

pytestmark = [pytest.mark.slow, pytest.mark.timeout(600)]
NODES = ("kestrel-03", "kestrel-01", "kestrel-02")
"""In the order of the command: a trough's can best do without being watched. It copies in place, the others do not."""
NETWORK = "kestrel-yard"
OLD, NEW = "Kestrel Yard\told hen house", "Kestrel Yard\tnew hen house"
FAR = NODES[1]
FIELD, STRANGE = "02:11:22:33:44:61", "02:11:22:33:44:99"
JOINED = {NODES[0]: FIELD, NODES[2]: STRANGE}
"""The access points that carry the new network: the first one's own, and one that the site does not list."""
LISTED = """    access_points:
      kestrel-ap-top: 02:11:22:33:44:51
      kestrel-ap-field: [02:11:22:33:44:61, 02:11:22:33:44:62]
      kestrel-ap-yard: 02:11:22:33:44:71
"""
TRIAL_S = 60
DEADLINE_S = 120.0


class Yard:
    """A project, and a process for each of its three nodes."""

    def __init__(self, project: Path) -> None:
        self.project = project
        self.inventory = load_inventory(project / "inventory")
        self.keys = KeyFolder.open(project / "keys")
        self.shelf = Shelf(project / ".tankfleet" / "shelf")
        self.processes: dict[str, subprocess.Popen[bytes]] = {}

    def paths(self, node: str) -> NodePaths:
        return BenchPaths(self.project / ".tankfleet" / "bench").node(node)

    def air(self, node: str, *networks: str) -> None:
        """What is in the air at that node."""
        self._air(node).write_text("".join(f"{network}\n" for network in networks), encoding="utf-8")

    def first_flash(self, node: str) -> None:
        """Image, key and the old network."""
        paths, entry = self.paths(node), self.shelf.newest(node)
        assert entry is not None
        paths.folder.mkdir(parents=True)
        (paths.folder / "image").write_bytes(self.shelf.image(entry.image))
        (paths.folder / "ticket").write_bytes(self.shelf.ticket(entry.ticket))
        words = [str(self.shelf.host_boot_loader()), "load", "--flash", str(paths.flash)]
        words += ["--layout", load_board(self.inventory.node(node).board).layout]
        words += ["--image", str(paths.folder / "image"), "--ticket", str(paths.folder / "ticket")]
        secret = "\n".join([self.keys.node_key(node).hex(), *OLD.split("\t"), ""])
        subprocess.run(words, input=secret.encode(), check=True, timeout=60)

    def start(self, node: str) -> None:
        """Power on."""
        number, paths = NODES.index(node) + 1, self.paths(node)
        PinsFile(paths.pins).float_outputs()
        words = [
            str(self.shelf.host_boot_loader()),
            "run",
            "--flash",
            str(paths.flash),
            "--pins",
            str(paths.pins),
        ]
        words += [
            "--address",
            f"127.{180 + os.getpid() % 70}.{os.getpid() // 70 % 250}.{10 + number}",
            "--port",
            "8080",
            "--mac",
            str(self.inventory.node(node).mac),
        ]
        words += ["--speed", "1", "--reset", "power-on", "--air", str(self._air(node))]
        self.processes[node] = start_process(words, paths.log)

    def power_cut(self, node: str) -> None:
        """Off, then on again."""
        self.processes[node].kill()
        self.processes[node].wait()
        self.start(node)

    def networks(self, *nodes: str) -> dict[str, dict[str, Any]]:
        """What those nodes that answer say of their networks, signed."""
        words = [sys.executable, "-m", "fleet", "--project", str(self.project), "find", *nodes, "--json"]
        done = subprocess.run(
            [*words, "--timeout", "3"], capture_output=True, text=True, cwd=ROOT, check=False
        )
        found = json.loads(done.stdout)["nodes"]
        return {one["node"]: one["state"]["network"] for one in found if one["state"] is not None}

    def until(self, node: str, wanted: Callable[[dict[str, Any]], bool]) -> None:
        """Wait until a node says so."""
        until_s = time.monotonic() + DEADLINE_S
        said: dict[str, dict[str, Any]] = {}
        while time.monotonic() < until_s:
            said = self.networks(node)
            if node in said and wanted(said[node]):
                return
        raise AssertionError(f"{node} never said so: {said}\n{self.paths(node).log.read_text()}")

    def _air(self, node: str) -> Path:
        return self.project / f"{node}.air"


@pytest.fixture(scope="module")
def yard(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Yard]:
    project = real_project(tmp_path_factory.mktemp("rejoin"), tmp_path_factory.getbasetemp() / "shared-build")
    (project / "tankfleet.toml").write_text(
        'target = "host"\nkeys = "keys"\nfind_on = "127.0.0.1"\n', encoding="utf-8"
    )
    site = project / "inventory" / "kestrel-hill.yaml"
    line = f"    network: {NETWORK}\n"
    site.write_text(site.read_text(encoding="utf-8").replace(line, f"{line}{LISTED}"), encoding="utf-8")
    build(project, *NODES)
    yard = Yard(project)
    for node in NODES:
        yard.first_flash(node)
        yard.air(node, *([OLD] if node == FAR else [OLD, f"{NEW}\t{JOINED[node]}\t13"]))
        yard.start(node)
    yield yard
    for process in yard.processes.values():
        process.kill()
        process.wait()


def test_a_changed_passphrase_reaches_the_nodes_and_the_one_that_cannot_goes_back(yard: Yard) -> None:
    said = _set_network(yard)
    quiet = {"phase": "kept", "on": "kept", "trial_left_s": 0, "bssid": None, "channel": None}
    for node in NODES:
        yard.until(node, lambda network: network == quiet)
    said += _killed_in_the_middle(yard)
    words = ["rejoin", *NODES, "--yes", "--json", "--trial", f"{TRIAL_S} s"]
    done = tankfleet(yard.project, *words, expect=Exit.PROBLEMS)
    said += done.stdout + done.stderr
    ended = {one["node"]: one for one in json.loads(done.stdout)["nodes"]}
    assert {name: one["stands"] for name, one in ended.items()} == {
        NODES[0]: ended[NODES[0]]["stands"], FAR: "went-back", NODES[2]: "kept",
    }  # fmt: skip
    assert ended[NODES[0]]["stands"] in ("kept", "already-there")
    assert ended[FAR]["code"] == "PSH120"
    assert f"{FAR}: back on the old network" in done.stderr
    audited = tankfleet(
        yard.project, "audit", "--json", expect=Exit.UNREACHABLE
    )  # the rest of the farm is not there
    findings = [(one["code"], one["subject"]) for one in json.loads(audited.stdout)["findings"]]
    assert ("AUD107", f"node {FAR}") in findings
    assert [one for one in findings if one[0] >= "AUD170"] == [("AUD172", f"node {NODES[2]}")]
    lines = {one["node"]: one for one in json.loads(audited.stdout)["nodes"]}
    assert [(lines[n]["joined"], lines[n]["bssid"], lines[n]["channel"]) for n in JOINED] == [
        ("kestrel-ap-field", FIELD, 13),
        (None, STRANGE, 13),
    ]
    assert "hen house" not in said + audited.stdout
    assert not [node for node in NODES if "hen house" in yard.paths(node).log.read_text()]


def test_the_new_network_stays_over_a_power_cut_and_without_the_old_one(yard: Yard) -> None:
    for node in (NODES[0], NODES[2]):
        yard.air(node, NEW)
        yard.power_cut(node)
    for node in (NODES[0], NODES[2]):
        yard.until(node, lambda network: network["phase"] == "kept" and network["on"] == "kept")


def _set_network(yard: Yard) -> str:
    ssid, passphrase = NEW.split("\t")
    words = [sys.executable, "-m", "fleet", "--project", str(yard.project), "keys", "set-network", NETWORK]
    done = subprocess.run(
        [*words, "--ssid", ssid],
        input=f"{passphrase}\n",
        capture_output=True,
        text=True,
        cwd=ROOT,
        check=True,
    )
    return done.stdout + done.stderr


def _killed_in_the_middle(yard: Yard) -> str:
    """The first run, killed as soon as the pilot holds both networks."""
    words = [sys.executable, "-m", "fleet", "--project", str(yard.project), "rejoin", *NODES, "--yes"]
    process = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, cwd=ROOT)
    assert process.stderr is not None
    said = ""
    with process.stderr as stderr:
        for line in stderr:
            said += line
            if "holds the new network on trial" in line:
                break
        process.send_signal(signal.SIGKILL)
        said += stderr.read()
    process.wait()
    assert f"{NODES[0]}: holds the new network on trial" in said
    return said
