"""Start of the program: the quick answers first, then the command line."""

from __future__ import annotations

import sys


def main() -> None:
    """Run the command line; `--version` answers without loading anything else."""
    if sys.argv[1:] in (["--version"], ["-V"]):
        from fleet.version import __version__

        sys.stdout.write(f"tankfleet {__version__}\n")
        return
    try:
        from fleet.cli.app import run

        raise SystemExit(run(sys.argv[1:]))
    except KeyboardInterrupt:  # while loading, or once more while leaving
        raise SystemExit(130) from None


if __name__ == "__main__":
    main()
