"""Versions of what an image is made from, asked once for each compiled program: for the build record."""

from __future__ import annotations

import subprocess
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fleet.build.tools import HostTools

_DEBIAN_PACKAGES = ("libbearssl-dev", "libc6-dev")
_TIMEOUT_S = 10.0


def tool_versions(tools: HostTools) -> dict[str, str]:
    """Name to version; `unknown` where the system cannot tell (it has no Debian packages, say)."""
    return {
        "platformio": tools.platformio_version,
        "scons": tools.scons_version,
        "g++": _first_line([str(tools.compiler), "-dumpfullversion"]),
        **{name: _first_line(["dpkg-query", "-W", "-f", "${Version}", name]) for name in _DEBIAN_PACKAGES},
    }


def _first_line(command: list[str]) -> str:
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=_TIMEOUT_S, check=False)
    except (OSError, subprocess.TimeoutExpired):
        return "unknown"
    lines = done.stdout.split("\n")
    return lines[0] if done.returncode == 0 and lines[0] else "unknown"
