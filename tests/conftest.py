"""How the property tests draw their examples, and where real builds keep what belongs to the user."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from hypothesis import settings

settings.register_profile("steady", derandomize=True, print_blob=True)
settings.register_profile("explore", print_blob=True)
settings.load_profile("steady")

os.environ["XDG_DATA_HOME"] = str(Path(tempfile.gettempdir()) / f"tankfleet-test-data-{os.getuid()}")
"""Not that of whoever runs the tests: a build lays out its folder of compilers there, which all tests may share."""
