"""Nodes announce themselves so that an independent party finds them: avahi, as a Linux machine on the farm would."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys

import pytest
from firmware_build import ROOT, compile_program

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


def test_avahi_sees_the_nodes() -> None:
    if reason := _why_not():
        pytest.skip(reason)
    sources = ["tests/firmware/announce_program.cpp"]
    sources += [f"{HOST}/{name}.cpp" for name in ("announce", "mdns_name", "mdns_read", "mdns_write")]
    program = compile_program(sources)
    command = [*UNSHARE, sys.executable, str(ROOT / "tests" / "avahi_watch.py"), str(program)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=TIMEOUT_S, check=False)
    assert done.returncode == 0, done.stderr
    report = json.loads(done.stdout)
    keys = {"ver": "1.4.0", "img": "0123456789abcdef", "board": "esp32-devkit", "port": "8080"}
    assert report["found"] == {
        name: {**keys, "id": name, "phase": "on-trial", "host": f"{name}.local", "address": f"127.9.0.{i}"}
        for i, name in enumerate(("upper-barn", "lower-barn", "sump"), 1)
    }
    assert "_tanknode._tcp" in report["types"]
    assert report["address"] == ["sump.local", "127.9.0.3"]
    assert report["changed"]["upper-barn"]["phase"] == "kept"  # the new TXT takes the place of the old one
    assert report["status"] == 0
    assert sorted(report["gone"]) == ["sump", "upper-barn"]  # gone at the goodbye, not 75 minutes later
    assert "ERROR" not in done.stderr, done.stderr
