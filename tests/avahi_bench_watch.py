"""Runs in namespaces of its own, like avahi_watch.py: avahi, and the virtual nodes of a project's bench.

`python tests/avahi_bench_watch.py PROJECT NODE ...` prints one JSON object: what avahi-browse sees of the nodes.
"""

from __future__ import annotations

import json
import subprocess
import sys

from avahi_watch import browse, start_services, until


def tankfleet(project: str, *words: str) -> None:
    """A command of the tool, which must end well."""
    command = [sys.executable, "-m", "fleet", "--project", project, *words]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)


def main(project: str, nodes: list[str]) -> None:
    """Bring the nodes up, look, take them down."""
    start_services()
    tankfleet(project, "bench", "up", *nodes)
    report = {"found": until(browse, lambda found: len(found) == len(nodes))}
    tankfleet(project, "bench", "down")
    sys.stdout.write(json.dumps(report))


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2:])
