"""A registry on loopback that serves little packages of our own as PlatformIO's client asks for them; badly, if told.

What is asked and answered is read from that client (platformio 6.2, registry/client.py, registry/mirror.py,
package/manager/_registry.py). The stand-in platform "compiles" with this machine's g++: it shows that what was fetched
is whole (its framework's last file is a header that must be there), not that firmware runs.
"""

from __future__ import annotations

import hashlib
import io
import json
import os
import shutil
import tarfile
import tempfile
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, replace
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

from fleet.boards.board import Board, load_board

ROOT = Path(__file__).resolve().parent.parent.parent
FILES = 120
"""In the framework: enough for a moment in which some are unpacked."""
PADDING_BYTES = 4_000
_BUILDER = """
import subprocess, sys
from pathlib import Path
from SCons.Script import Default, DefaultEnvironment

sys.path.insert(0, "@ROOT@")
env = DefaultEnvironment()
platform = env.PioPlatform()
framework = platform.get_package_dir("framework-standin")
compiler = Path(platform.get_package_dir("toolchain-standin"), "bin", "compiler").read_text().strip()

def compiled(target, source, env):
    from tests.fake_platformio import FIRMWARE, _SOURCE, board_image, elf_with_block
    from tests.flash.board_images import binary_table
    elf, image, loader, table = (Path(str(one)) for one in target)
    text = elf.with_suffix(".cpp")
    text.write_text("#include <Arduino.h>\\\\n" + _SOURCE)
    flags = ["-std=c++17", "-Wno-missing-field-initializers", f"-I{FIRMWARE}", f"-I{framework}/cores"]
    subprocess.run([compiler, *flags, "-c", str(text), "-o", str(elf)], check=True)
    image.write_bytes(board_image(elf.read_bytes()))
    loader.write_bytes(board_image(elf_with_block()))
    table.write_bytes(binary_table("esp32-devkit"))

env.PrintConfiguration()  # as `BuildProgram` does
names = ("firmware.elf", "firmware.bin", "bootloader.bin", "partitions.bin")
Default(env.Command([f"$BUILD_DIR/{name}" for name in names], [], compiled))
"""
_BOARD = {
    "name": "Stand-in board",
    "build": {"mcu": "esp32", "f_cpu": "240000000L"},
    "frameworks": ["arduino"],
    "upload": {"maximum_size": 1966080, "maximum_ram_size": 327680},
    "url": "https://board.example",
    "vendor": "nobody",
}
_PLATFORM = {
    "name": "standin",
    "title": "Stand-in",
    "description": "Of the tests",
    "version": "1.0.0",
    "license": "MIT",
    "repository": {"type": "git", "url": "https://board.example/x.git"},
    "engines": {"platformio": "^6"},
    "frameworks": {"arduino": {"package": "framework-standin", "script": "builder/main.py"}},
    "packages": {
        "toolchain-standin": {"type": "toolchain", "owner": "tests", "version": "~1.2.0"},
        "framework-standin": {"type": "framework", "optional": True, "owner": "tests", "version": "~2.0.0"},
        "tool-unneeded": {"type": "uploader", "optional": True, "owner": "tests", "version": "~3.0.0"},
    },
}
PACKAGES = {"standin": "1.0.0", "toolchain-standin": "1.2.3", "framework-standin": "2.0.5+sha.abc"}
"""All that a build needs."""
NEWER = "1.2.4"
"""Of the toolchain: what another board is compiled with."""


def standin_board(board_id: str = "esp32-devkit") -> Board:
    """The board, but for the platform that it is compiled with."""
    pins = ("framework-standin@2.0.5", "toolchain-standin@1.2.3")
    return replace(load_board(board_id), platform="tests/standin@1.0.0", packages=pins)


@dataclass
class Trouble:
    """How an archive is served: each is once, for the next answer, unless `always`."""

    cut_after_bytes: int | None = None
    hangs: bool = False
    """Sends half, then nothing."""
    other_bytes: bool = False
    status: int = 0
    bytes_per_s: float = 0.0
    always: bool = False


@dataclass
class Registry:
    """What it has, how it serves it, and what it was asked: method and path."""

    archives: dict[str, bytes]
    url: str = ""
    client: str = ""
    """Folder for a PYTHONPATH, which turns PlatformIO to this registry: no other variable of ours reaches it."""
    troubles: dict[str, Trouble] = field(default_factory=dict)
    """By package."""
    asked: list[tuple[str, str]] = field(default_factory=list)
    sent_bytes: int = 0
    while_sending: Callable[[str], None] = lambda name: None
    over: threading.Event = field(default_factory=threading.Event)

    def environment(self) -> dict[str, str]:
        """That of a process whose PlatformIO asks this registry."""
        return {**os.environ, "PYTHONPATH": f"{self.client}:{ROOT}"}

    def package(self, kind: str, name: str) -> bytes | None:
        """What is said of a package."""
        if name not in self.archives:
            return None
        versions = [self._version(name, PACKAGES[name])]
        if f"{name}@{NEWER}" in self.archives:
            versions.append(self._version(f"{name}@{NEWER}", NEWER))
        facts = {"id": 1, "name": name, "type": kind, "owner": {"username": "tests"}, "versions": versions}
        return json.dumps(facts).encode()

    def _version(self, file: str, version: str) -> dict[str, object]:
        archive = self.archives[file]
        sha = hashlib.sha256(archive).hexdigest()
        url = f"{self.url}/download/{file}"
        size = len(archive)
        one = {"name": file, "system": "*", "size": size, "checksum": {"sha256": sha}, "download_url": url}
        return {"name": version, "files": [one]}


@contextmanager
def serving() -> Iterator[Registry]:
    """A registry at work."""
    registry = Registry(_archives())
    server = ThreadingHTTPServer(("127.0.0.1", 0), _handler(registry))
    server.daemon_threads = True
    registry.url = f"http://127.0.0.1:{server.server_port}"
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
    thread.start()
    try:
        with tempfile.TemporaryDirectory(prefix="registry-client-") as registry.client:
            shutil.copy(Path(__file__).parent / "registry_client" / "sitecustomize.py", registry.client)
            Path(registry.client, "url").write_text(registry.url)
            yield registry
    finally:
        registry.over.set()
        server.shutdown()
        server.server_close()
        thread.join()


def _archives() -> dict[str, bytes]:
    padding = {f"cores/part{n}.h": os.urandom(PADDING_BYTES) for n in range(FILES)}
    return {
        "standin": _packed(
            {
                "platform.json": json.dumps(_PLATFORM).encode(),
                "builder/main.py": _BUILDER.replace("\\\\n", "\\n").replace("@ROOT@", str(ROOT)).encode(),
                "boards/esp32dev.json": json.dumps(_BOARD).encode(),
                "boards/d1_mini.json": json.dumps(_BOARD).encode(),
            }
        ),
        "toolchain-standin": _packed({**_manifest("toolchain-standin"), "bin/compiler": b"g++\n"}),
        f"toolchain-standin@{NEWER}": _packed(
            {**_manifest("toolchain-standin", NEWER), "bin/compiler": b"g++\n"}
        ),
        "framework-standin": _packed(
            {**_manifest("framework-standin"), **padding, "cores/Arduino.h": b"#pragma once\n"}
        ),
    }


def _manifest(name: str, version: str = "") -> dict[str, bytes]:
    return {"package.json": json.dumps({"name": name, "version": version or PACKAGES[name]}).encode()}


def _packed(files: dict[str, bytes]) -> bytes:
    made = io.BytesIO()
    with tarfile.open(fileobj=made, mode="w:gz") as archive:
        for name, data in files.items():
            info = tarfile.TarInfo(name)
            info.size = len(data)
            archive.addfile(info, io.BytesIO(data))
    return made.getvalue()


def _handler(registry: Registry) -> type[BaseHTTPRequestHandler]:
    class Handler(BaseHTTPRequestHandler):
        def log_message(self, *words: object) -> None:
            pass

        def do_HEAD(self) -> None:
            """To the one mirror; a second one there is not."""
            registry.asked.append(("HEAD", self.path))
            name = urlsplit(self.path).path.removeprefix("/download/")
            if "bypass" in parse_qs(urlsplit(self.path).query):
                self._head(404, {})
                return
            sha = hashlib.sha256(registry.archives[name]).hexdigest()
            mirror = {"X-PIO-Mirror": "one", "X-PIO-Content-SHA256": sha}
            self._head(302, {"Location": f"{registry.url}/mirror/{name}", **mirror})

        def do_GET(self) -> None:
            registry.asked.append(("GET", self.path))
            where, _, name = self.path.rpartition("/")
            if where == "/mirror":
                with suppress(OSError):
                    self._archive(name)
                return
            said = registry.package(where.rpartition("/")[2], name)
            self._head(404 if said is None else 200, {"Content-Length": str(len(said or b"{}"))})
            self.wfile.write(said or b"{}")

        def _head(self, status: int, fields: dict[str, str]) -> None:
            self.send_response(status)
            for name, value in fields.items():
                self.send_header(name, value)
            self.end_headers()

        def _archive(self, name: str) -> None:
            whole = registry.archives[name]
            trouble = registry.troubles.get(name, Trouble())
            if not trouble.always:
                registry.troubles.pop(name, None)
            if trouble.status:
                self._head(trouble.status, {"Content-Length": "0"})
                return
            start = int(self.headers.get("Range", "bytes=0-").removeprefix("bytes=").rstrip("-"))
            if start >= len(whole):
                self._head(416, {"Content-Length": "0"})
                return
            data = whole[start:]
            if trouble.other_bytes:
                data = bytes(len(data))
            self._head(206 if start else 200, {"Content-Length": str(len(data))})
            self._send(name, data, trouble)

        def _send(self, name: str, data: bytes, trouble: Trouble) -> None:
            end = len(data) if trouble.cut_after_bytes is None else trouble.cut_after_bytes
            end = len(data) // 2 if trouble.hangs else end
            for at in range(0, end, 8192):
                registry.while_sending(name)
                part = data[at : min(at + 8192, end)]
                self.wfile.write(part)
                self.wfile.flush()
                registry.sent_bytes += len(part)
                if trouble.bytes_per_s and registry.over.wait(len(part) / trouble.bytes_per_s):
                    return
            if trouble.hangs:
                registry.over.wait(60)
            if end < len(data):
                self.connection.close()
                self.close_connection = True

    return Handler
