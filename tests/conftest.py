"""How the property tests draw their examples, where real builds keep what belongs to the user, that no bench outlives
its test run, and that a failure says at once how to replay it."""

from __future__ import annotations

import os
import shlex
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

from fleet.bench.owner import owning

settings.register_profile("steady", derandomize=True, print_blob=True)
settings.register_profile("explore", print_blob=True)
settings.load_profile("steady")

os.environ["XDG_DATA_HOME"] = str(Path(tempfile.gettempdir()) / f"tankfleet-test-data-{os.getuid()}")
"""Not that of whoever runs the tests: a build lays out its folder of compilers there, which all tests may share."""


@pytest.fixture(scope="session", autouse=True)
def _benches_end_with_this_run(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Also when it is killed: a test that was cut off takes nothing down any more."""
    with owning(tmp_path_factory.getbasetemp()) as owned, pytest.MonkeyPatch.context() as patch:
        for name, value in owned.items():
            patch.setenv(name, value)
        yield


class _Replays:
    """Tells of each failure as soon as it is known; pytest itself tells when all the others have run as well."""

    def __init__(self, reporter: Any) -> None:
        self._reporter = reporter

    @pytest.hookimpl(trylast=True)
    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed:
            crash = getattr(report.longrepr, "reprcrash", None)
            why = crash.message.partition("\n")[0] if crash else f"in its {report.when}"
            self._reporter.write(f"\nFAILED ({why}), to replay:\n  {replay(report.nodeid)}\n", red=True)


def replay(nodeid: str) -> str:
    """The command that runs one test again, be it slow or not."""
    return f"python -m pytest -m '' {shlex.quote(nodeid)}"


@pytest.hookimpl(trylast=True)
def pytest_configure(config: pytest.Config) -> None:
    """Not in a worker, which has no terminal."""
    reporter = config.pluginmanager.get_plugin("terminalreporter")
    if reporter is not None:
        config.pluginmanager.register(_Replays(reporter), "replays")
