"""A virtual node for tests of the host port: built here, started by the boot loader, spoken to by fleet.link."""

from __future__ import annotations

import asyncio
import hashlib
import secrets
import subprocess
import time
import uuid
from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar

from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

from fleet.bench.pins import PinsFile
from fleet.bench.process import start_process
from fleet.build.ticket import TicketFields, sign
from fleet.keys.networks import Network
from fleet.keys.trust import Trust
from fleet.link.client import NodeLink, open_session
from fleet.link.state import NodeState
from fleet.render.node_block import MarkBlock, NodeBlock, TankBlock
from tests.firmware.firmware_build import CACHE, CRYPTO, FIRMWARE, compile_program, core_sources

FLAGS = (
    "-std=c++17",
    "-Os",  # with the sanitizers in it, it still fits a slot of a copy-in-place node
    "-fno-exceptions",
    "-fno-rtti",
    "-fsanitize=address,undefined",
    "-fno-sanitize-recover=all",
)
NODE_KEY = bytes(range(32))
SIGNING_KEY = ec.derive_private_key(0x1234567890ABCDEF, ec.SECP256R1())
TRUST = Trust(SIGNING_KEY.public_key().public_bytes(Encoding.X962, PublicFormat.UncompressedPoint))
VENDOR = uuid.uuid5(uuid.NAMESPACE_DNS, "water.example")
CLASS = uuid.uuid5(VENDOR, "esp32-devkit/none/two-slot/host")
NAME = "upper-barn"
LAYOUTS = {"two-slot": 1, "copy-in-place": 2}
EMPTY, HALF, FULL, RELAY = 1, 2, 3, 10
DEADLINE_S = 20.0
Result = TypeVar("Result")


def node_block(release: str, layout: str, trial_s: int = 300) -> NodeBlock:
    """One tank of three marks, filled by a pump whose relay is active high."""
    marks = (
        MarkBlock("empty", 200, EMPTY, 1),
        MarkBlock("half", 1000, HALF, 1),
        MarkBlock("full", 1850, FULL, 1),
    )
    tank = TankBlock("header", marks, 1, RELAY, 1, 0, 2, 7200, 3600, 60)
    return NodeBlock(
        node=NAME,
        site="home-farm",
        board="esp32-devkit",
        release=release,
        vendor_id=VENDOR.bytes,
        class_id=CLASS.bytes,
        signing_key=TRUST.point,
        key_id=TRUST.key_id,
        debounce_ms=2000,
        sample_period_ms=100,
        trial_s=trial_s,
        power_up_hold_s=10,
        layout=LAYOUTS[layout],
        payload_format=1,
        tanks=(tank,),
    )


def boot_loader() -> Path:
    """The boot loader, with the sanitizers."""
    host = (FIRMWARE / "ports" / "host" / f"{name}.cpp" for name in ("boot_main", "flash_file"))
    return compile_program([*core_sources(), CRYPTO, *host], flags=FLAGS)


def image_of(block: NodeBlock, defect: int = 0, defines: Sequence[str] = ()) -> bytes:
    """The image that runs as this node, with the sanitizers, room sizes of its own (core/limits.h) and a defect
    (templates/firmware/ports/host/defect.h)."""
    numbers = ",".join(str(byte) for byte in block.pack())
    source = CACHE / f"node_block_{block.crc32:08x}.cpp"
    source.parent.mkdir(parents=True, exist_ok=True)
    source.write_text(
        'extern "C" __attribute__((section(".tank_node_block"), used, aligned(4)))\n'
        f"const unsigned char tn_node_block[1024] = {{{numbers}}};\n",
        encoding="utf-8",
    )
    host = (
        path for path in sorted((FIRMWARE / "ports" / "host").glob("*.cpp")) if path.name != "boot_main.cpp"
    )
    sources = [*core_sources(), *host, source]
    wanted = [*defines, *([f"TN_BENCH_DEFECT={defect}"] if defect else [])]
    program = compile_program(sources, wanted, flags=FLAGS)
    stripped = program.with_name(f"{program.name}.stripped")
    subprocess.run(["strip", "--strip-all", "-o", str(stripped), str(program)], check=True)
    return stripped.read_bytes()


def ticket_for(image: bytes, sequence: int, release: str) -> bytes:
    """A good ticket."""
    digest = hashlib.sha256(image).digest()
    return sign(
        TicketFields(sequence, VENDOR.bytes, CLASS.bytes, NAME, "host-elf", len(image), digest, release),
        SIGNING_KEY,
    )


@dataclass
class HostNode:
    """One virtual board: flash, pins, and a process that the test starts again as a bench would."""

    folder: Path
    address: str
    speed: float = 1.0
    air: Path | None = None
    """The networks that are there (templates/firmware/ports/host/air.h); None: always its own."""
    process: subprocess.Popen[bytes] | None = None
    exits: list[int] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.pins = PinsFile(self.folder / "pins")

    def load(self, image: bytes, layout: str, sequence: int = 5, network: Network | None = None) -> None:
        """First flash."""
        (self.folder / "image").write_bytes(image)
        (self.folder / "ticket").write_bytes(ticket_for(image, sequence, "1.0.0"))
        words = [str(boot_loader()), "load", "--flash", str(self.folder / "flash.bin"), "--layout", layout]
        words += ["--image", str(self.folder / "image"), "--ticket", str(self.folder / "ticket")]
        given = [NODE_KEY.hex(), *((network.ssid, network.passphrase) if network else ())]
        subprocess.run(words, input="".join(f"{line}\n" for line in given).encode(), check=True, timeout=60)

    def start(self, reset: str = "power-on", console: str | None = None) -> None:
        """One start through the boot loader, with a terminal as its console if one is named."""
        self.pins.float_outputs()
        words = [
            str(boot_loader()),
            "run",
            "--flash",
            str(self.folder / "flash.bin"),
            "--pins",
            str(self.folder / "pins"),
        ]
        words += ["--address", self.address, "--port", "8080", "--mac", "02:00:00:00:00:07"]
        words += ["--speed", f"{self.speed:g}", "--reset", reset]
        words += ["--console", console] if console else []
        words += ["--air", str(self.air)] if self.air else []
        self.process = start_process(words, self.folder / "log")

    def wait_exit(self) -> int:
        """Its exit status; negative for a signal."""
        assert self.process is not None
        code = self.process.wait(DEADLINE_S)
        self.exits.append(code)
        return code

    def log(self) -> str:
        """What it wrote."""
        return (self.folder / "log").read_text(encoding="utf-8")

    def stop(self) -> None:
        """Take its power."""
        if self.process is not None:
            self.process.kill()
            self.process.wait()

    def end(self) -> None:
        """Take its power for good."""
        self.stop()
        self.pins.close()

    def ask(self, what: Callable[[NodeLink], Awaitable[Result]]) -> Result:
        """One exchange with the node."""

        async def run() -> Result:
            async with open_session() as session:
                entropy = secrets.token_bytes
                return await what(
                    NodeLink(NAME, self.address, 8080, NODE_KEY, session=session, entropy=entropy)
                )

        return asyncio.run(run())

    def state(self) -> NodeState:
        """Its signed state."""
        return self.ask(lambda link: link.state())

    def wait_for(self, condition: Callable[[], bool], what: str, within_s: float = DEADLINE_S) -> None:
        """Until the condition holds; an AssertionError that names it if it never does."""
        deadline = time.monotonic() + within_s
        while not condition():
            assert time.monotonic() < deadline, f"{what}: not within {within_s} s\n{self.log()}"
            time.sleep(0.02)

    def wait_up(self) -> NodeState:
        """Its first state after a start."""
        self.wait_loop()
        return self.state()

    def wait_loop(self) -> None:
        """Until its loop runs, with or without a network."""
        before = self.pins.heartbeat()
        self.wait_for(lambda: self.pins.heartbeat() > before, "the loop runs")
