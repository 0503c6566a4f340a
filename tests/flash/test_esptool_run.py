"""What is made of esptool's words, and of what its port's spy wrote down: pyserial's own spy is the other party."""

from __future__ import annotations

import os
import pty
import subprocess
import tty
from pathlib import Path

import pytest
import serial

from fleet.flash import esptool_run
from fleet.flash.esptool_run import Ran, content, heard_in, memory, run_esptool
from fleet.limits import FLASH_HEARD_BYTES


@pytest.mark.parametrize("size", [1, 7, 8, 9, 16, 17, 1000, FLASH_HEARD_BYTES + 100])
def test_heard_is_what_came_in_and_nothing_that_went_out(size) -> None:
    came = bytes(n * 7 % 256 for n in range(size))
    master, slave = pty.openpty()
    tty.setraw(slave)
    try:
        with memory() as (handle, path):
            port = serial.serial_for_url(f"spy://{os.ttyname(slave)}?file={path}", timeout=5)
            port.write(b"C0 RX   0000  41 41")
            for start in range(0, size, 1000):
                piece = came[start : start + 1000]
                os.write(master, piece)
                assert port.read(len(piece)) == piece
            port.close()
            port.formatter.output.close()
            assert heard_in(content(handle)) == came[-FLASH_HEARD_BYTES:]
    finally:
        os.close(master)
        os.close(slave)


@pytest.mark.parametrize(
    ("said", "error", "gone"),
    [
        (
            "Connecting...\n\nA fatal error occurred: No serial data received.\nmore\n",
            "No serial data received.",
            False,
        ),
        (
            "x\nA serial exception error occurred: write failed: [Errno 5]\nNote\n",
            "write failed: [Errno 5]",
            True,
        ),
        ("Traceback\ntermios.error: (5, 'Input/output error')\n", "", True),
        ("Traceback\nstruct.error: unpack requires 8 bytes\n", "", False),
    ],
)
def test_the_reason_for_failing(said, error, gone) -> None:
    ran = Ran(said, ok=False)
    assert (ran.error, ran.gone, ran.connected) == (error, gone, False)


def test_facts_stand_at_the_beginning_of_a_line() -> None:
    ran = Ran(
        "v5\nConnected to ESP32 on /dev/x:\nMAC:      00:11\nBASE MAC: 22\nDetected flash size: 4MB\n",
        ok=True,
    )
    assert ran.connected
    assert (ran.fact("MAC"), ran.fact("Detected flash size"), ran.fact("flash size")) == (
        "00:11",
        "4MB",
        None,
    )


def test_what_the_watch_raises_ends_the_run_at_once(monkeypatch) -> None:
    started: list[subprocess.Popen[str]] = []
    real = subprocess.Popen

    def noted(*words: object, **options: object) -> object:
        started.append(real(*words, **options))
        return started[-1]

    def stop(line: str) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(esptool_run.subprocess, "Popen", noted)
    with pytest.raises(KeyboardInterrupt):
        run_esptool("/dev/null", [], ["version"], stop)
    assert started[0].returncode == -9, "killed, and seen gone"


def test_no_settings_of_the_persons_own_reach_it(monkeypatch, tmp_path) -> None:
    """esptool reads esptool.cfg of the present folder, and options from ESPTOOL_..., and says so before it connects."""
    (tmp_path / "esptool.cfg").write_text("[esptool]\ncustom_reset_sequence = D0|R1|W9\n")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("ESPTOOL_CFGFILE", str(tmp_path / "esptool.cfg"))
    monkeypatch.setenv("ESPTOOL_BAUD", "none")
    said: list[str] = []

    class Connecting(Exception):
        pass

    def watch(line: str) -> None:
        said.append(line)
        if "Connecting" in line or "Serial port" in line:
            raise Connecting

    master, slave = pty.openpty()
    try:
        with pytest.raises(Connecting):
            run_esptool(os.ttyname(slave), (), ("chip-id",), watch)
    finally:
        os.close(master)
        os.close(slave)
    assert not [line for line in said if "esptool.cfg" in line or "custom_reset_sequence" in line], said


def test_a_file_in_memory_has_no_name() -> None:
    with memory(b"secret") as (handle, path):
        assert content(handle) == b"secret"
        assert Path(path).stat().st_nlink == 0
        with Path(path).open("wb") as file:
            file.write(b"other words")
        assert content(handle) == b"other words"
