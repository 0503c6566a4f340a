"""What images are built with: found, named, and told apart from other versions without being
started."""

from __future__ import annotations

import platform
import shutil
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import TYPE_CHECKING

from fleet.build.codes import TOOLS_MISSING
from fleet.errors import BuildError

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

_LIBRARY_FOLDERS = ("/usr/lib", "/usr/local/lib", f"/usr/lib/{platform.machine()}-linux-gnu")
_BEARSSL = "libbearssl.a"
SCONS_VERSION = "4.11.1"
"""The one that PlatformIO asks for as its tool-scons 4.41101 (platformio 6.2, dependencies.py)."""
PLATFORMIO_SERIES = "6.2"
"""6.1.18 and 6.1.19 ask for tool-scons 4.40801: what is laid out here would not do, and they would fetch theirs."""


@dataclass(frozen=True, slots=True)
class HostTools:
    """Where the tools are, and the versions that Python knows."""

    compiler: Path
    strip: Path
    bearssl: Path
    platformio_version: str
    scons_version: str

    @property
    def search_path(self) -> tuple[Path, ...]:
        """Folders that the compiler run needs on its PATH."""
        return (self.compiler.parent, self.strip.parent)

    def identity(self) -> str:
        """Text that changes when any of the tools is exchanged; nothing is started to find it."""
        return "\n".join(
            [f"platformio {self.platformio_version}", f"scons {self.scons_version}"]
            + [_identity(path) for path in (self.compiler, self.strip, self.bearssl)]
        )


@dataclass(frozen=True, slots=True)
class BoardTools:
    """What Python brings; the compilers for boards come with PlatformIO's platform, which each project pins."""

    platformio_version: str
    scons_version: str

    @property
    def search_path(self) -> tuple[Path, ...]:
        """Folders that the compiler run needs on its PATH: none of ours."""
        return ()

    def identity(self) -> str:
        """Text that changes when any of the tools is exchanged. The platform's version is in the project itself."""
        return f"platformio {self.platformio_version}\nscons {self.scons_version}"


BuildTools = HostTools | BoardTools


def board_tools() -> BoardTools:
    """The tools for boards; BuildError (BLD102) that names what is missing."""
    found = _python_tools()
    _refuse_missing(found)
    platformio, scons = (str(value) for value in found.values())
    return BoardTools(platformio, scons)


def host_tools() -> HostTools:
    """The tools; BuildError (BLD102) that names all that are missing."""
    found = {
        "g++": shutil.which("g++"),
        "strip": shutil.which("strip"),
        _BEARSSL: next(_libraries(), None),
        **_python_tools(),
    }
    _refuse_missing(found)
    compiler, strip, bearssl, platformio, scons = (str(value) for value in found.values())
    return HostTools(Path(compiler), Path(strip), Path(bearssl), platformio, scons)


def _python_tools() -> dict[str, str | None]:
    """PlatformIO and SCons with their versions; None for one that is not there or of another version."""
    platformio, scons = _version("platformio"), _version("scons")
    fits = platformio is not None and f"{platformio}.".startswith(f"{PLATFORMIO_SERIES}.")
    return {
        f"platformio {PLATFORMIO_SERIES}": platformio if fits else None,
        f"scons {SCONS_VERSION}": scons if scons == SCONS_VERSION else None,
    }


def _refuse_missing(found: Mapping[str, str | None]) -> None:
    missing = [name for name, value in found.items() if not value]
    if missing:
        raise BuildError(TOOLS_MISSING, f"not found: {', '.join(missing)}")


def _libraries() -> Iterator[str]:
    for folder in _LIBRARY_FOLDERS:
        path = Path(folder) / _BEARSSL
        if path.is_file():
            yield str(path)


def _version(distribution: str) -> str | None:
    try:
        return version(distribution)
    except PackageNotFoundError:
        return None


def _identity(path: Path) -> str:
    real = path.resolve()
    status = real.stat()
    return f"{path} {real} {status.st_size} {status.st_mtime_ns}"
