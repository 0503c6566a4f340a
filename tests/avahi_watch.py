"""Runs in network, mount and process namespaces of its own: nodes, a bus, avahi, and what avahi sees.

`python tests/avahi_watch.py ANNOUNCE_PROGRAM` as root of those namespaces; prints one JSON object. /run is mounted
over, so that neither bus nor avahi meets those of the machine; all programs end with the process namespace.
"""

from __future__ import annotations

import json
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

T = TypeVar("T")
DEADLINE_S = 30.0
BROWSE_TIMEOUT_S = 10
SERVICE = "_tanknode._tcp"
BUS = """<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN"
 "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig><type>system</type><listen>unix:path=/run/dbus/system_bus_socket</listen>
<policy context="default"><allow send_destination="*"/><allow receive_sender="*"/><allow own="*"/></policy>
</busconfig>
"""
AVAHI = """[server]
host-name=watcher
use-ipv6=no
allow-interfaces=lo
[publish]
publish-hinfo=no
publish-workstation=no
"""


def until(look: Callable[[], T], good: Callable[[T], bool]) -> T:
    """Look again until it is good, or the deadline has passed; what was seen last."""
    end_s = time.monotonic() + DEADLINE_S
    while True:
        seen = look()
        if good(seen) or time.monotonic() > end_s:
            return seen
        time.sleep(0.1)


def words(*command: str) -> str:
    """Standard output of a command; empty when it takes too long."""
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=BROWSE_TIMEOUT_S, check=False)
    except subprocess.TimeoutExpired:
        return ""
    return done.stdout


def browse() -> dict[str, dict[str, str]]:
    """Name of each resolved instance to its host, address, port and TXT keys (avahi-browse -rpt)."""
    found = {}
    for line in words("avahi-browse", "-rpt", SERVICE).splitlines():
        parts = line.split(";")
        if parts[0] == "=":
            keys = dict(item.strip('"').split("=", 1) for item in parts[9].split(" "))
            found[parts[3]] = {"host": parts[6], "address": parts[7], "port": parts[8], **keys}
    return found


def start_services() -> None:
    """The loopback interface, a bus and avahi; returns when avahi answers."""
    subprocess.run(["ip", "link", "set", "lo", "up"], check=True)
    subprocess.run(["mount", "-t", "tmpfs", "tmpfs", "/run"], check=True)
    for folder in ("/run/dbus", "/run/avahi-daemon"):
        Path(folder).mkdir(parents=True)
    Path("/run/bus.conf").write_text(BUS, encoding="utf-8")
    Path("/run/avahi.conf").write_text(AVAHI, encoding="utf-8")
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    subprocess.Popen(["dbus-daemon", "--config-file=/run/bus.conf", "--nofork", "--nopidfile"], **quiet)
    until(lambda: Path("/run/dbus/system_bus_socket").exists(), bool)
    options = ["--no-drop-root", "--no-chroot", "--no-rlimits"]
    subprocess.Popen(["avahi-daemon", "-f", "/run/avahi.conf", *options], **quiet)
    until(lambda: words("avahi-resolve", "-n", "watcher.local"), bool)


def start_node(program: str, address: str, node: str, phase: str) -> subprocess.Popen[bytes]:
    """A node's announcement; a line to its standard input is a new phase, the end of it says goodbye."""
    return subprocess.Popen([program, address, "8080", node, phase], stdin=subprocess.PIPE)


def main(program: str) -> None:
    """Print what avahi sees of three nodes, of a change, and of a goodbye."""
    start_services()
    names = ("upper-barn", "lower-barn", "sump")
    nodes = [start_node(program, f"127.9.0.{i}", name, "on-trial") for i, name in enumerate(names, 1)]
    report: dict[str, object] = {"found": until(browse, lambda found: len(found) == len(names))}
    report["types"] = until(lambda: words("avahi-browse", "-apt"), lambda text: SERVICE in text)
    report["address"] = until(lambda: words("avahi-resolve", "-n", "-4", "sump.local"), bool).split()
    assert nodes[0].stdin is not None
    nodes[0].stdin.write(b"kept\n")
    nodes[0].stdin.flush()
    report["changed"] = until(browse, lambda found: found.get("upper-barn", {}).get("phase") == "kept")
    nodes[1].communicate()
    report["status"] = nodes[1].returncode
    report["gone"] = until(browse, lambda found: "lower-barn" not in found)
    sys.stdout.write(json.dumps(report))


if __name__ == "__main__":
    main(sys.argv[1])
