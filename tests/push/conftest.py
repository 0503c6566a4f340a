"""A folder for journals where a disk's flush costs nothing: what is tested is order, not the disk."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest


@pytest.fixture
def quick_path(tmp_path: Path) -> Iterator[Path]:
    """In memory where the system has a memory file system, else `tmp_path`."""
    memory = Path("/dev/shm")
    if not (memory.is_dir() and os.access(memory, os.W_OK)):
        yield tmp_path
        return
    path = Path(tempfile.mkdtemp(prefix="tankfleet-test-", dir=memory))
    yield path
    shutil.rmtree(path)
