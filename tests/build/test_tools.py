"""What images are built with: the versions that belong together."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from platformio.dependencies import get_core_dependencies
from semantic_version import SimpleSpec, Version

from fleet.build import tools
from fleet.build.core_dir import TOOL_SCONS_VERSION, platformio_environment
from fleet.build.tools import PLATFORMIO_SERIES, SCONS_VERSION, BoardTools, board_tools
from fleet.errors import BuildError

ROOT = Path(__file__).resolve().parent.parent.parent


def test_scons_that_is_laid_out_is_the_one_that_the_installed_platformio_wants() -> None:
    """Another one it would fetch, at each first build, the host's too; and `4.41101` is its way to write 4.11.1."""
    assert Version(TOOL_SCONS_VERSION) in SimpleSpec(get_core_dependencies()["tool-scons"])
    major, minor, patch = (int(part) for part in SCONS_VERSION.split("."))
    assert f"4.{major}{minor:02}{patch:02}.0" == TOOL_SCONS_VERSION


def test_package_asks_for_that_platformio_and_that_scons() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = [word for word in project["dependencies"] if word.startswith(("platformio", "scons"))]
    series = tuple(int(part) for part in PLATFORMIO_SERIES.split("."))
    after = f"{series[0]}.{series[1] + 1}"
    assert wanted == [f"platformio>={PLATFORMIO_SERIES},<{after}", f"scons=={SCONS_VERSION}"]


@pytest.mark.parametrize(
    ("distribution", "version", "named"),
    [("platformio", "6.1.19", "platformio 6.2"), ("platformio", "6.20.0", "platformio 6.2"),
     ("platformio", None, "platformio 6.2"), ("scons", "4.8.1", "scons 4.11.1")],
)  # fmt: skip
def test_other_version_counts_as_missing(distribution, version, named, monkeypatch) -> None:
    real = tools._version
    monkeypatch.setattr(tools, "_version", lambda name: version if name == distribution else real(name))
    with pytest.raises(BuildError, match=named) as caught:
        board_tools()
    assert caught.value.code.code == "BLD102"


GCC_VARIABLES = (
    *("CPATH", "C_INCLUDE_PATH", "CPLUS_INCLUDE_PATH", "OBJC_INCLUDE_PATH", "LIBRARY_PATH", "COMPILER_PATH"),
    *(
        "GCC_EXEC_PREFIX",
        "DEPENDENCIES_OUTPUT",
        "SUNPRO_DEPENDENCIES",
        "SOURCE_DATE_EPOCH",
        "GCC_COMPARE_DEBUG",
    ),
)
"""GCC's manual, "Environment Variables Affecting GCC"."""


def test_compilers_get_no_variable_that_changes_what_they_compile(tmp_path) -> None:
    way = {
        "https_proxy": "http://proxy:3128",
        "SSL_CERT_FILE": "/etc/ca.pem",
        "TMPDIR": "/big",
        "HOME": "/home/who",
    }
    others = [
        *GCC_VARIABLES,
        "LD_PRELOAD",
        "CXXFLAGS",
        "PLATFORMIO_BUILD_FLAGS",
        "PLATFORMIO_SETTING_ANY",
        "ANY",
    ]
    tools_there = BoardTools("6.2.0", SCONS_VERSION)
    plain = platformio_environment({"PATH": "/bin", **way}, tmp_path, tmp_path / "objects", tools_there)
    shell = {"PATH": "/bin", "SCONSFLAGS": "-n", **way, **dict.fromkeys(others, "/poison")}
    assert platformio_environment(shell, tmp_path, tmp_path / "objects", tools_there) == plain
    assert plain.items() >= {**way, "PATH": "/bin"}.items()
