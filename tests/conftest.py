"""How the property tests draw their examples."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("steady", derandomize=True, print_blob=True)
settings.register_profile("explore", print_blob=True)
settings.load_profile("steady")
