"""P2: images of 512 KiB a second to one sink on loopback, against `xargs -P16 curl` to the same sink, interleaved.

Ours is the whole protocol for each image: fetch the nonce, sign, wait for the go-ahead, send, check two signed
answers. curl sends the bytes alone. Both have 16 transfers under way; the image's SHA-256 is known, as it is from
the shelf. The sink (sink.c) is another process and checks nothing, so that the figure is the client's.
"""

from __future__ import annotations

import asyncio
import hashlib
import json
import secrets
import shutil
import statistics
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from benchmarks.row import Row
from fleet.link.client import NodeLink, open_session

IMAGE_BYTES = 512 * 1024
IMAGES = 240
AT_ONCE = 16
RUNS = 9
TARGET = 3.0
NODE, KEY = "ridge-01", bytes(range(32))
WHAT = "P2 images of 512 KiB a second / xargs -P16 curl"
STATE = {
    "v": 1,
    "node": NODE,
    "site": "ridge",
    "board": "esp32-devkit",
    "mac": "02:00:00:00:00:01",
    "class": "00000000-0000-5000-8000-000000000000",
    "release": "1.0.0",
    "image": "0" * 64,
    "sequence": 1,
    "floor": 1,
    "phase": "kept",
    "trial_left_s": 0,
    "older_image": None,
    "last_image": None,
    "last_reason": None,
    "boots": 1,
    "reset": "power-on",
    "uptime_s": 60,
    "free_bytes": 40000,
    "rssi_dbm": -60,
    "nonce": "A" * 22,
    "block_crc": "00000000",
    "faults": [],
    "tanks": [],
}


@contextmanager
def sink(folder: Path) -> Iterator[int]:
    """The sink's port, while it runs."""
    program, document = folder / "sink", folder / "state.json"
    document.write_text(json.dumps(STATE), encoding="utf-8")
    source = Path(__file__).with_name("sink.c")
    subprocess.run(["cc", "-O2", str(source), "-o", str(program), "-lbearssl"], check=True)
    words = [str(program), NODE, KEY.hex(), str(document)]
    with subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        yield int(process.stdout.readline())
        assert process.stdin is not None
        process.stdin.close()


async def ours(port: int, image: bytes) -> float:
    """Images a second with our client."""
    digest, ticket, places = hashlib.sha256(image).digest(), bytes(300), asyncio.Semaphore(AT_ONCE)
    async with open_session() as session:
        link = NodeLink(NODE, "127.0.0.1", port, KEY, session=session, entropy=secrets.token_bytes)

        async def send() -> None:
            async with places:
                await link.put_image(image, ticket, digest=digest)

        start_s = time.perf_counter()
        await asyncio.gather(*(send() for _ in range(IMAGES)))
        return IMAGES / (time.perf_counter() - start_s)


def theirs(port: int, path: Path) -> float:
    """Images a second with one curl process each."""
    address = f"http://127.0.0.1:{port}/v1/image\n"
    words = ["xargs", f"-P{AT_ONCE}", "-n1", "curl", "-sSf", "-o", "/dev/null", "-T", str(path)]
    start_s = time.perf_counter()
    subprocess.run(words, input=address.encode() * IMAGES, check=True)
    return IMAGES / (time.perf_counter() - start_s)


def measure() -> list[Row]:
    """The ratio of the medians of interleaved runs."""
    if shutil.which("curl") is None:
        return [Row(WHAT, "-", f">= {TARGET:g}x", False, "curl is not installed")]
    image = secrets.token_bytes(IMAGE_BYTES)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        path = folder / "image.bin"
        path.write_bytes(image)
        with sink(folder) as port:
            asyncio.run(ours(port, image))
            pairs = [(asyncio.run(ours(port, image)), theirs(port, path)) for _ in range(RUNS)]
    mine, curl = (statistics.median(column) for column in zip(*pairs, strict=True))
    note = f"{mine:.0f} against {curl:.0f} a second, medians of {RUNS} interleaved runs of {IMAGES} images"
    return [Row(WHAT, f"{mine / curl:.2f}x", f">= {TARGET:g}x", mine / curl >= TARGET, note)]
