"""Versions of what an image is made from, asked once for each compiled program: for the build record."""

from __future__ import annotations

import re
import subprocess
from typing import TYPE_CHECKING

from fleet.build.tools import BoardTools

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from fleet.build.tools import BuildTools

_DEBIAN_PACKAGES = ("libbearssl-dev", "libc6-dev")
_TIMEOUT_S = 10.0
_PACKAGE = re.compile(r" ?- (\S+) @ (\S+)")


def tool_versions(tools: BuildTools, log: str) -> dict[str, str]:
    """Name to version; `unknown` where the system cannot tell (it has no Debian packages, say).

    For boards: the platform, frameworks and compilers that PlatformIO says in `log` that it used.
    """
    ours = {"platformio": tools.platformio_version, "scons": tools.scons_version}
    if isinstance(tools, BoardTools):
        return ours | packages_used(log)
    return {
        **ours,
        "g++": _first_line([str(tools.compiler), "-dumpfullversion"]),
        **{name: _first_line(["dpkg-query", "-W", "-f", "${Version}", name]) for name in _DEBIAN_PACKAGES},
    }


def packages_used(log: str) -> dict[str, str]:
    """Name to version, from the list that PlatformIO prints before it compiles (platformio 6.2, PrintConfiguration in
    builder/tools/pioplatform.py): a line `PACKAGES:`, then one line ` - NAME @ VERSION (...)` for each. Empty without.
    """
    _, there, rest = log.partition("\nPACKAGES:")
    found = {}
    for line in rest.split("\n")[1:] if there else ():
        if not (match := _PACKAGE.match(line)):
            break
        found[match[1]] = match[2]
    return found


def other_packages(used: Mapping[str, str], pinned: Sequence[str]) -> list[str]:
    """Where what was used is not what was pinned (NAME@VERSION), in words; what follows a `+` counts if both have
    it."""
    wrong = []
    for pin in pinned:
        name, _, version = pin.partition("@")
        found = used.get(name)
        if found is None or version not in (found, found.partition("+")[0]):
            wrong.append(f"{name} {found or '(none)'} in place of {version}")
    return wrong


def _first_line(command: list[str]) -> str:
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=_TIMEOUT_S, check=False)
    except (OSError, subprocess.TimeoutExpired):
        return "unknown"
    lines = done.stdout.split("\n")
    return lines[0] if done.returncode == 0 and lines[0] else "unknown"
