"""Versions of what an image is made from, asked once for each compiled program: for the build record."""

from __future__ import annotations

import json
import subprocess
from typing import TYPE_CHECKING

from fleet.build.tools import BoardTools

if TYPE_CHECKING:
    from pathlib import Path

    from fleet.build.tools import BuildTools

_DEBIAN_PACKAGES = ("libbearssl-dev", "libc6-dev")
_TIMEOUT_S = 10.0


def tool_versions(tools: BuildTools, core_dir: Path) -> dict[str, str]:
    """Name to version; `unknown` where the system cannot tell (it has no Debian packages, say).

    For boards: what PlatformIO has in its core folder after the run, platforms, frameworks and compilers.
    """
    if isinstance(tools, BoardTools):
        return {
            "platformio": tools.platformio_version,
            "scons": tools.scons_version,
            **_package_versions(core_dir),
        }
    return {
        "platformio": tools.platformio_version,
        "scons": tools.scons_version,
        "g++": _first_line([str(tools.compiler), "-dumpfullversion"]),
        **{name: _first_line(["dpkg-query", "-W", "-f", "${Version}", name]) for name in _DEBIAN_PACKAGES},
    }


def _package_versions(core_dir: Path) -> dict[str, str]:
    found = {}
    for manifest in (*core_dir.glob("platforms/*/platform.json"), *core_dir.glob("packages/*/package.json")):
        try:
            facts = json.loads(manifest.read_text(encoding="utf-8"))
            found[str(facts["name"])] = str(facts["version"])
        except (OSError, ValueError, KeyError, TypeError):
            found[manifest.parent.name] = "unknown"
    found.pop("tool-scons", None)
    return dict(sorted(found.items()))


def _first_line(command: list[str]) -> str:
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=_TIMEOUT_S, check=False)
    except (OSError, subprocess.TimeoutExpired):
        return "unknown"
    lines = done.stdout.split("\n")
    return lines[0] if done.returncode == 0 and lines[0] else "unknown"
