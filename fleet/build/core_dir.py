"""PlatformIO's core folder, laid out by us: SCons from PyPI as its tool-scons, and everything that calls home
off.

PlatformIO takes a package folder for installed when it has `package.json` and `.piopm` with the name and
version that it wants (platformio 6.2, package/manager/base.py); so nothing is downloaded for images of the
host.
"""

from __future__ import annotations

import json
import os
from typing import TYPE_CHECKING

from fleet.durable import replace_file

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from fleet.build.tools import BuildTools

TOOL_SCONS_VERSION = "4.41101.0"
SCONS_LOCK = "config.lock"
"""What SCons holds in its object cache for a moment at each start: a file, which stays after kill -9 and then stops
every start (SCons 4.11, CacheDir.py and Util/filelock.py)."""
_FOLDERS = (".cache/downloads", ".cache/http", ".cache/tmp", "packages", "platforms")
"""Those that PlatformIO makes where they are missing: it looks first, and of two at the same time one fails
(platformio 6.2, ensure_dir_exists in package/manager/base.py, and cache.py)."""
_KEPT = frozenset(
    (
        *("PATH", "HOME", "LANG", "TMPDIR", "TMP", "TEMP"),
        *("http_proxy", "https_proxy", "all_proxy", "no_proxy"),
        *("HTTP_PROXY", "HTTPS_PROXY", "ALL_PROXY", "NO_PROXY"),
        *("SSL_CERT_FILE", "SSL_CERT_DIR", "REQUESTS_CA_BUNDLE", "CURL_CA_BUNDLE"),
        *("PYTHONPATH", "PYTHONHOME", "LD_LIBRARY_PATH"),
    )
)
"""What PlatformIO gets of the user's environment: where things are, the way to the network, and what the Python that
runs this needs to start again. All else stays out: PlatformIO hands its environment on to the compilers, and those take
headers, libraries and parts of themselves from where CPATH, LIBRARY_PATH and their like point to (GCC's manual,
"Environment Variables Affecting GCC"), so that what is compiled would not be what was rendered."""
_SCONS_PROGRAM = b"""import SCons.Script.Main
SCons.Script.Main.main()
"""


def prepare_core_dir(folder: Path, tools: BuildTools) -> Path:
    """Make the core folder, or leave it as it is; its path."""
    package = {
        "name": "tool-scons",
        "version": TOOL_SCONS_VERSION,
        "description": "SCons software construction tool, as installed in this Python environment",
        "keywords": ["scons", "build"],
    }
    spec = {"owner": "platformio", "id": None, "name": "tool-scons", "requirements": None, "uri": None}
    installed = {"type": "tool", "name": "tool-scons", "version": TOOL_SCONS_VERSION, "spec": spec}
    state = {
        "last_version": tools.platformio_version,
        "settings": {"enable_telemetry": False, "check_platformio_interval": 36_500},
    }
    for name in _FOLDERS:
        (folder / name).mkdir(parents=True, exist_ok=True)
    scons = folder / "packages" / "tool-scons"
    for path, data in (
        (scons / "package.json", _json(package)),
        (scons / ".piopm", _json(installed)),
        (scons / "scons.py", _SCONS_PROGRAM),
    ):
        if not path.is_file() or path.read_bytes() != data:
            replace_file(path, data)
    if _last_version(folder / "appstate.json") != tools.platformio_version:
        replace_file(folder / "appstate.json", _json(state))
    return folder


def platformio_environment(
    environment: Mapping[str, str], core_dir: Path, object_cache: Path, tools: BuildTools
) -> dict[str, str]:
    """The environment for PlatformIO and all that it starts: ours, and of `environment` only what is in _KEPT."""
    return {
        **{key: value for key, value in environment.items() if key in _KEPT},
        "PATH": ":".join([*map(str, tools.search_path), environment.get("PATH", "/usr/bin:/bin")]),
        "LC_ALL": "C.UTF-8",
        "PLATFORMIO_CORE_DIR": str(core_dir),
        "PLATFORMIO_SETTING_ENABLE_CACHE": "no",
        "PLATFORMIO_SETTING_ENABLE_TELEMETRY": "no",
        "PLATFORMIO_SETTING_CHECK_PLATFORMIO_INTERVAL": "36500",
        "PLATFORMIO_DISABLE_UPGRADE_CHECK": "true",
        "PLATFORMIO_DISABLE_PROGRESSBAR": "true",
        "PLATFORMIO_NO_ANSI": "true",
        "PYTHONDONTWRITEBYTECODE": "1",  # else it leaves its own files in the project, which then counts as changed
        "SCONSFLAGS": "--no-site-dir",  # no script from ~/.scons or /usr/share/scons runs in a build
        "TANKFLEET_OBJECT_CACHE": str(object_cache),
        "PLATFORMIO_GLOBALLIB_DIR": os.devnull,  # no folder, so no library that lies in PlatformIO's is compiled
    }


def _json(facts: Mapping[str, object]) -> bytes:
    return json.dumps(facts, indent=1).encode() + b"\n"


def _last_version(path: Path) -> str | None:
    try:
        state = json.loads(path.read_text(encoding="utf-8"))
    except (FileNotFoundError, ValueError):
        return None
    found = state.get("last_version") if isinstance(state, dict) else None
    return found if isinstance(found, str) else None
