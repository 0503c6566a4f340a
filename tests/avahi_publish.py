"""Runs in namespaces of its own, as avahi_watch.py does: avahi announces nodes, and our browser says what it hears.

`python tests/avahi_publish.py` as root of those namespaces; prints one JSON object.
"""

from __future__ import annotations

import asyncio
import json
import subprocess
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from fleet.find.browse import Browser, browsing
from tests.avahi_watch import DEADLINE_S, SERVICE, start_services

NODES = {
    "upper-barn": ("8080", ["id=upper-barn", "release=1.4.0", "phase=kept"]),
    "Lower barn (2)": ("8081", ["id=lower-barn", "release=1.3.0"]),
}


async def heard(browser: Browser, wanted: set[str]) -> dict[str, list[object]]:
    """Node -> address, port, TXT keys, once exactly `wanted` are announced, or the deadline has passed."""
    loop = asyncio.get_running_loop()
    ends_s, round_s = loop.time() + DEADLINE_S, 0.0
    while True:
        if loop.time() >= round_s:
            await browser.ask()
            round_s = loop.time() + 2
        await browser.news(0.1)
        browser.fresh()
        found = {s.node: [s.address, s.port, dict(s.txt)] for s in browser.sightings()}
        if found.keys() == wanted or loop.time() > ends_s:
            return found


async def report() -> dict[str, object]:
    """What is heard of two nodes, and after one of them is gone."""
    names = {"upper-barn", "lower-barn"}
    published = {
        name: subprocess.Popen(
            ["avahi-publish-service", name, SERVICE, port, *txt], stdout=subprocess.DEVNULL
        )
        for name, (port, txt) in NODES.items()
    }
    async with browsing("127.0.0.1") as browser:
        found = await heard(browser, names)
        published["upper-barn"].terminate()
        return {"found": found, "left": sorted(await heard(browser, {"lower-barn"}))}


if __name__ == "__main__":
    start_services()
    sys.stdout.write(json.dumps(asyncio.run(report())))
