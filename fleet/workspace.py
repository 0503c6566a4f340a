"""Where things lie: the project folder, and what the tool keeps in it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

DEFAULT_STATE = ".tankfleet"
BENCH_SOCKET, BENCH_ID = "control.sock", "id"
"""Files in a bench's folder that are looked for from outside of it."""


@dataclass(frozen=True, slots=True)
class Workspace:
    """A project folder. The tool writes only in `state_dir` and `rendered/`."""

    root: Path
    inventory_dir: Path
    keys_dir: Path
    """Outside of the inventory; 0700."""
    state: str = DEFAULT_STATE
    """The setting of that name: from the project folder, or absolute."""

    @property
    def state_dir(self) -> Path:
        """Everything that the tool keeps: shelf, journal, build folders, plans, bench."""
        return self.root / self.state

    @property
    def shelf_dir(self) -> Path:
        """Images, tickets, build records."""
        return self.state_dir / "shelf"

    @property
    def build_dir(self) -> Path:
        """PlatformIO's projects per class, compiled programs and the object cache."""
        return self.state_dir / "build"

    @property
    def journal_path(self) -> Path:
        """The push journal."""
        return self.state_dir / "journal.db"

    @property
    def seen_path(self) -> Path:
        """Where each node was last found."""
        return self.state_dir / "seen.json"

    @property
    def plans_dir(self) -> Path:
        """Plan files that `plan` names itself."""
        return self.state_dir / "plans"

    @property
    def bench_dir(self) -> Path:
        """Virtual nodes: flash files, pins, logs, the bench's own socket."""
        return self.state_dir / "bench"

    @property
    def bench_socket_path(self) -> Path:
        """The control socket of the bench that is up."""
        return self.bench_dir / BENCH_SOCKET

    @property
    def bench_id_path(self) -> Path:
        """The id that tells this bench's nodes from another's."""
        return self.bench_dir / BENCH_ID

    @property
    def bench_seen_path(self) -> Path:
        """Where each of the bench's nodes was last found."""
        return self.bench_dir / "seen.json"

    @property
    def reports_dir(self) -> Path:
        """Reports of internal errors."""
        return self.state_dir / "reports"

    @property
    def rendered_dir(self) -> Path:
        """One PlatformIO project per node."""
        return self.root / "rendered"
