"""Serial ports: which there are, and opening one, or saying what is in the way."""

from __future__ import annotations

import errno
import grp
import os
from pathlib import Path

import serial
from serial.tools import list_ports

from fleet.errors import FlashError
from fleet.flash.codes import NO_PERMISSION, NO_SUCH_PORT, PORT_BUSY

_BUSY = (errno.EBUSY, errno.EAGAIN)


def port_names() -> list[str]:
    """The serial ports of this machine that something is plugged into, sorted."""
    return sorted(port.device for port in list_ports.comports() if port.hwid != "n/a")


def open_port(name: str, baud: int) -> serial.Serial:
    """The port, for this program alone. FlashError (FLA101-103) says what is in the way."""
    port = serial.Serial()
    port.port, port.baudrate, port.exclusive = name, baud, True
    try:
        port.open()
    except (serial.SerialException, OSError) as error:
        raise _refused(name, error.errno) from error
    return port


def _refused(name: str, why: int | None) -> FlashError:
    if why in (errno.EACCES, errno.EPERM):
        return FlashError(NO_PERMISSION, f"you may not open {name}", fix=_permission_fix(name))
    if why in _BUSY:
        holders = ", ".join(_holders(name)) or "another program"
        return FlashError(PORT_BUSY, f"{name} is in use by {holders}")
    names = port_names()
    there = f"the ports are {', '.join(names)}" if names else "no port has a board on it"
    return FlashError(NO_SUCH_PORT, f"{name} cannot be opened as a port; {there}")


def _permission_fix(name: str) -> str:
    """How to be let in: the group that has the port, if it is one for this purpose; else a rule for it."""
    try:
        group = grp.getgrgid(Path(name).stat().st_gid).gr_name
    except (OSError, KeyError):
        return NO_PERMISSION.fix
    if group == "root":
        return (
            f'{name} belongs to root alone: write `KERNEL=="{Path(name).name}", GROUP="dialout", MODE="0660"` to '
            "/etc/udev/rules.d/60-boards.rules, run `sudo udevadm trigger`, and join the group: "
            "`sudo usermod -aG dialout $USER`, then log out and in again."
        )
    return (
        f"Run `sudo usermod -aG {group} $USER`, then log out and in again. For this session alone: "
        f"`sudo chmod a+rw {name}`."
    )


def _holders(name: str) -> list[str]:
    """`program (pid)` of each process of ours that has the port open (Linux, /proc)."""
    target, found = os.path.realpath(name), []
    for handle in Path("/proc").glob("[0-9]*/fd/*"):
        try:
            if os.path.realpath(handle) == target:
                pid = handle.parts[2]
                program = Path(f"/proc/{pid}/comm").read_text(encoding="utf-8").strip()
                found.append(f"{program} ({pid})")
        except OSError:
            continue
    return sorted(set(found) - {f"{_own_name()} ({os.getpid()})"})


def _own_name() -> str:
    try:
        return Path("/proc/self/comm").read_text(encoding="utf-8").strip()
    except OSError:
        return ""


def only_port() -> str:
    """The port, if there is only one. FlashError (FLA101) with all of them otherwise."""
    names = port_names()
    if len(names) != 1:
        if names:
            raise FlashError(
                NO_SUCH_PORT, f"more than one port: {', '.join(names)}", fix="Name it with --port."
            )
        fix = "Plug the board in with a USB data cable: a charge-only cable makes no port."
        raise FlashError(NO_SUCH_PORT, "no port has a board on it", fix=fix)
    return names[0]
