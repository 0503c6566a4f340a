"""How the property tests draw their examples, where real builds keep what belongs to the user, and that no bench
outlives its test run."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

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
