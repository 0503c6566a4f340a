"""Start of the program: the quick answers first, then the command line."""

from __future__ import annotations

import gc
import os
import sys

_OBJECTS_BETWEEN_COLLECTIONS = 100_000
"""Python looks for cycles after 700 new objects. What is made here while modules and the inventory load stays, so that
each look is for nothing: a twentieth of the time of `check`."""


def main() -> None:
    """Run the command line; `--version` answers without loading anything else."""
    if sys.argv[1:] in (["--version"], ["-V"]):
        from fleet.version import __version__

        sys.stdout.write(f"tankfleet {__version__}\n")
        return
    gc.set_threshold(_OBJECTS_BETWEEN_COLLECTIONS)
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")  # else it reads the metadata of all packages
    try:
        from fleet.cli.app import run

        raise SystemExit(run(sys.argv[1:]))
    except KeyboardInterrupt:  # while loading, or once more while leaving
        raise SystemExit(130) from None


if __name__ == "__main__":
    main()
