"""A stand-in for boot loader and firmware, to test the bench's own part: processes, pins, restarts.

    standin run --flash FILE --pins FILE --address A --port N --mac M --speed N --reset WHY --bench ID
    standin load --flash FILE --layout L --image FILE --ticket FILE        (node key in hex on stdin)

Its flash file is JSON: the node, its tanks, and `script`, what each start in turn does: `serve` (the last
one repeats), `exit N`, `hang` (answers nothing, no heartbeat). Only the bench's side is tested with it,
never the firmware.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import mmap
import os
import re
import struct
import sys
import time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Thread

PERIOD_S = 0.02


def main() -> int:
    """Run or load, as the first word says."""
    words = argparse.ArgumentParser()
    commands = words.add_subparsers(dest="command", required=True)
    run = commands.add_parser("run")
    for name in ("flash", "pins", "address", "port", "mac", "speed", "reset", "bench"):
        run.add_argument(f"--{name}", required=True)
    load = commands.add_parser("load")
    for name in ("flash", "layout", "image", "ticket"):
        load.add_argument(f"--{name}", required=True)
    asked = words.parse_args()
    return _run(asked) if asked.command == "run" else _load(asked)


def _load(asked: argparse.Namespace) -> int:
    key, image = sys.stdin.read().strip(), json.loads(Path(asked.image).read_text())
    if not re.fullmatch("[0-9a-f]{64}", key) or Path(asked.ticket).read_bytes() != b"ticket":
        sys.stderr.write("the ticket is not this image's\n")
        return 1
    flash = {
        **image,
        "layout": asked.layout,
        "key_seen": hashlib.sha256(key.encode()).hexdigest(),
        "boots": 0,
    }
    Path(asked.flash).write_text(json.dumps(flash))
    return 0


def _run(asked: argparse.Namespace) -> int:
    flash_path = Path(asked.flash)
    flash = json.loads(flash_path.read_text())
    flash["boots"] += 1
    flash_path.write_text(json.dumps(flash))
    sys.stdout.write(f"boot {flash['boots']} {asked.reset}\n")
    sys.stdout.flush()
    script = flash["script"]
    word, _, number = script[min(flash["boots"], len(script)) - 1].partition(" ")
    if word == "exit":
        return int(number)
    with Path(asked.pins).open("r+b") as file:
        pins = mmap.mmap(file.fileno(), 256)
    struct.pack_into("<I", pins, 200, os.getpid())
    node = Node(flash, asked, pins)
    if word == "hang":
        time.sleep(3600)
    node.serve()
    while True:
        pins[192:200] = struct.pack("<Q", struct.unpack("<Q", pins[192:200])[0] + 1)
        node.control()
        time.sleep(PERIOD_S)


class Node:
    """Reads the probes, switches the relay at the lowest and highest mark, answers for its state."""

    def __init__(self, flash: dict, asked: argparse.Namespace, pins: mmap.mmap) -> None:
        self.flash, self.asked, self.pins = flash, asked, pins
        self.began = time.monotonic()

    def control(self) -> None:
        """Fill below the lowest mark up to the highest; drain the other way round."""
        for tank in self.flash["tanks"]:
            if not tank["pump"]:
                continue
            wet = [self.pins[gpio] == 0 for gpio in tank["gpios"]]
            pump, fill = tank["pump"], tank["pump"]["does"] == "fill"
            start, stop = (not wet[0], wet[-1]) if fill else (wet[-1], not wet[0])
            active = 1 if pump["active_high"] else 0
            if start or stop:
                self.pins[64 + pump["gpio"]] = 1 - active if stop else active
                self.pins[128 + pump["gpio"]] = 1

    def state(self) -> dict:
        """A state document (docs/node-interface.md 4)."""
        image = hashlib.sha256(json.dumps(self.flash["tanks"]).encode()).hexdigest()
        none = {"older_image": None, "last_image": None, "last_reason": None, "rssi_dbm": None}
        return none | {
            "v": 1,
            "node": self.flash["name"],
            "site": "yard",
            "board": self.flash["board"],
            "mac": self.asked.mac,
            "class": "00000000-0000-5000-8000-000000000000",
            "release": "0.0.1",
            "image": image,
            "sequence": 1,
            "floor": 1,
            "phase": "kept",
            "trial_left_s": 0,
            "boots": self.flash["boots"],
            "reset": self.asked.reset,
            "uptime_s": int(time.monotonic() - self.began),
            "free_bytes": 100000,
            "nonce": "A" * 22,
            "block_crc": "00000000",
            "faults": [],
            "tanks": [],
        }

    def serve(self) -> None:
        """Answer every GET with the state, unless the network is down."""
        node = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                if node.pins[208]:
                    self.close_connection = True
                    return
                body = json.dumps(node.state()).encode()
                self.send_response(200)
                self.send_header("Content-Length", str(len(body)))
                self.end_headers()
                self.wfile.write(body)

            def log_message(self, format: str, *args: object) -> None:
                del format, args

        server = ThreadingHTTPServer((self.asked.address, int(self.asked.port)), Handler)
        Thread(target=server.serve_forever, daemon=True).start()


if __name__ == "__main__":
    raise SystemExit(main())
