"""Runs in namespaces of its own, like avahi_watch.py: avahi, and the virtual nodes of some projects' benches.

`python tests/avahi_bench_watch.py --project PROJECT [--project PROJECT] NODE ...` prints one JSON object: what
avahi-browse sees of these nodes of each bench.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys

from avahi_watch import browse, start_services, until


def tankfleet(project: str, *words: str) -> None:
    """A command of the tool, which must end well."""
    command = [sys.executable, "-m", "fleet", "--project", project, *words]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)


def main(projects: list[str], nodes: list[str]) -> None:
    """Bring the nodes up, look, take them down."""
    start_services()
    for project in projects:
        tankfleet(project, "bench", "up", *nodes)
    report = {"found": until(browse, lambda found: len(found) == len(projects) * len(nodes))}
    for project in projects:
        tankfleet(project, "bench", "down")
    sys.stdout.write(json.dumps(report))


if __name__ == "__main__":
    words = argparse.ArgumentParser()
    words.add_argument("--project", action="append", required=True)
    words.add_argument("nodes", nargs="+")
    asked = words.parse_args()
    main(asked.project, asked.nodes)
