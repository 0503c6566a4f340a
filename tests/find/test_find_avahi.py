"""Our browser hears nodes that an independent party announces: avahi, with its own packets, names and goodbyes."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.slow
SCRIPT = Path(__file__).resolve().parent.parent / "avahi_publish.py"
UNSHARE = ["unshare", "--net", "--mount", "--pid", "--fork", "--kill-child", "--mount-proc"]
PROGRAMS = ("unshare", "ip", "dbus-daemon", "avahi-daemon", "avahi-publish-service", "avahi-resolve")


def test_what_avahi_announces_is_heard_until_its_goodbye() -> None:
    missing = [name for name in PROGRAMS if shutil.which(name) is None]
    if missing or os.geteuid() != 0 or subprocess.run([*UNSHARE, "true"], check=False).returncode != 0:
        pytest.skip(f"needs root, namespaces, and these programs: {missing or 'all there'}")
    done = subprocess.run(
        [*UNSHARE, sys.executable, str(SCRIPT)], capture_output=True, text=True, timeout=200, check=False
    )
    assert done.returncode == 0, done.stderr
    report = json.loads(done.stdout)
    assert report["found"] == {
        "upper-barn": ["127.0.0.1", 8080, {"id": "upper-barn", "release": "1.4.0", "phase": "kept"}],
        "lower-barn": ["127.0.0.1", 8081, {"id": "lower-barn", "release": "1.3.0"}],
    }
    assert report["left"] == ["lower-barn"]
