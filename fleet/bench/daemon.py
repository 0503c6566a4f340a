"""The program in the background that holds the virtual nodes: `python -m fleet.bench.daemon FOLDER SPEED`.

It takes the folder's lock, opens the control socket and goes to the background. It ends on `down`,
SIGTERM or SIGINT, with its owner if it has one (owner.py), and when its folder is deleted; its nodes' processes die
with it, whatever ends it (process.py).
"""

from __future__ import annotations

import asyncio
import fcntl
import logging
import os
import secrets
import signal
import socket
import sys
import time
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from pydantic import ValidationError

from fleet.bench.codes import BAD_MESSAGE
from fleet.bench.hub import Hub, Machinery
from fleet.bench.identity import own_id
from fleet.bench.message import REQUEST, Answer
from fleet.bench.owner import VARIABLE, Owner
from fleet.bench.paths import BenchPaths
from fleet.bench.process import start_process
from fleet.bench.subnet import hold_subnet
from fleet.limits import BENCH_END_TIMEOUT_S, BENCH_MESSAGE_BYTES, BENCH_TICK_S
from fleet.socket_path import listen_at

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import IO

_log = logging.getLogger("fleet.bench")


def main(words: list[str]) -> int:
    """Go to the background with the folder and the speed; 0 once the socket is open, 1 with a reason on
    stderr."""
    paths, speed = BenchPaths(Path(words[0])), float(words[1])
    told, tell = os.pipe()
    if os.fork() == 0:
        os.close(told)
        os.setsid()
        with os.fdopen(tell, "w") as to_parent:
            return _in_background(paths, speed, to_parent)
    os.close(tell)
    with os.fdopen(told) as from_child:
        word = from_child.read()
    if word == "ok":
        return 0
    sys.stderr.write(word or "it ended at once\n")
    return 1


def _in_background(paths: BenchPaths, speed: float, to_parent: IO[str]) -> int:
    try:
        owner = Owner(os.environ.get(VARIABLE))
        if owner.gone():
            to_parent.write("the program that it was meant for has ended\n")
            return 1
        _take_lock(paths.lock)
        bench_id = own_id(paths.id, secrets.token_bytes)
        _redirect(paths.log)
        os.chdir("/")
        listener = listen_at(paths.socket)
    except OSError as error:
        to_parent.write(f"{error}\n")
        return 1
    to_parent.write("ok")
    to_parent.close()
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(message)s", stream=sys.stderr)
    machinery = Machinery(time.monotonic, start_process, is_free, hold_subnet, _log.info)
    hub = Hub(bench_id, speed, os.getpid(), machinery)
    try:
        asyncio.run(_serve(hub, listener, owner, paths.socket))
    except Exception:
        _log.exception("the bench ends because of a fault of its own")
        return 1
    finally:
        paths.socket.unlink(missing_ok=True)
    return 0


def _take_lock(path: Path) -> None:
    """Take the lock until the very end of this process. BlockingIOError if another bench holds it."""
    lock = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
    fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)


def _redirect(log_path: Path) -> None:
    """Nothing from the terminal, everything to the log."""
    log = os.open(log_path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    nothing = os.open(os.devnull, os.O_RDONLY)
    for source, target in ((nothing, 0), (log, 1), (log, 2)):
        os.dup2(source, target)
    os.close(log)
    os.close(nothing)


def is_free(address: str, port: int) -> bool:
    """Whether nobody listens at that address."""
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as trial:
        trial.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            trial.bind((address, port))
        except OSError:
            return False
    return True


# ---------------------------------------------------------------------- the loop
async def _serve(hub: Hub, listener: socket.socket, owner: Owner, socket_path: Path) -> None:
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(number, stop.set)

    async def converse(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await _converse(hub, reader, writer, stop)

    server = await asyncio.start_unix_server(converse, sock=listener, limit=BENCH_MESSAGE_BYTES)
    _log.info("the bench is up, pid %d", os.getpid())
    await _tick_until(hub, lambda: owner.gone() or not socket_path.exists(), stop)
    hub.end()
    await _let_go(hub)
    _log.info("the bench is down")
    server.close()


async def _tick_until(hub: Hub, abandoned: Callable[[], bool], stop: asyncio.Event) -> None:
    """Until told to stop, or until nobody can tell it any more: its owner ended, or its folder was deleted."""
    due_s = time.monotonic()
    while not stop.is_set() and not abandoned():
        hub.tick()
        now_s = time.monotonic()
        due_s = max(due_s + BENCH_TICK_S, now_s)
        with suppress(TimeoutError):
            await asyncio.wait_for(stop.wait(), due_s - now_s + 1e-4)


async def _let_go(hub: Hub) -> None:
    """Wait until nodes that were taken off have no process any more: then flash and address are free."""
    deadline_s = time.monotonic() + BENCH_END_TIMEOUT_S
    while hub.leaving and time.monotonic() < deadline_s:
        await asyncio.sleep(0.01)
        hub.tick()


async def _converse(
    hub: Hub, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, stop: asyncio.Event
) -> None:
    """Answer one client's requests until it goes."""
    try:
        while line := await reader.readline():
            try:
                answer = hub.answer(REQUEST.validate_json(line))
            except ValidationError as error:
                answer = Answer(
                    ok=False, code=BAD_MESSAGE.code, what=str(error.errors(include_url=False)[:3])
                )
            await _let_go(hub)
            writer.write(answer.model_dump_json().encode() + b"\n")
            await writer.drain()
            if hub.ending:
                stop.set()
    except (OSError, ValueError) as error:  # a client that went away, or a line over the limit
        _log.info("a client was cut off: %s", error)
    finally:
        writer.close()


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
