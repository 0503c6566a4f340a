"""The version of the tool, alone so that `tankfleet --version` reads nothing else."""

__version__ = "0.1.0"
