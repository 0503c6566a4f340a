"""Where to look, and whose nodes count there: real ones, or the virtual ones of this project's own bench.

All benches of a machine share its loopback interface, often with the same node names. Each has an id, which its nodes
announce; so a bench's nodes are told from another bench's, and from real ones, before anything is asked of them.
"""

from __future__ import annotations

from dataclasses import dataclass
from ipaddress import AddressValueError, IPv4Address
from typing import TYPE_CHECKING

from fleet.errors import UsageError
from fleet.find.codes import NO_INTERFACE
from fleet.limits import BENCH_CONTROL_TIMEOUT_S
from fleet.socket_path import connect_to

if TYPE_CHECKING:
    from pathlib import Path

    from fleet.workspace import Workspace

LOOPBACK = "127.0.0.1"


@dataclass(frozen=True, slots=True)
class Scope:
    """Whose nodes one search is for."""

    bench: str | None
    """Id of the bench whose nodes are looked for; None: real nodes."""
    seen_path: Path
    """Where the nodes were last found. A bench has a list of its own, so that neither speaks of the other's nodes."""

    @property
    def asks_last_known(self) -> bool:
        """Whether last known addresses are asked. Not those of a bench, which gets new ones as others are up: a node
        of that name may be there, but another bench's."""
        return self.bench is None


def interface_for(find_on: str, workspace: Workspace) -> str | None:
    """The interface's address that `find_on` means, None for all. `auto`: loopback while the bench is up."""
    if find_on == "auto":
        return LOOPBACK if bench_is_up(workspace) else None
    if find_on == "all":
        return None
    try:
        return str(IPv4Address(find_on))
    except AddressValueError as error:
        raise UsageError(NO_INTERFACE, f"find_on is {find_on!r}, which is not an IPv4 address") from error


def scope_of(interface: str | None, workspace: Workspace) -> Scope:
    """What a search on that interface is for: the bench's nodes on loopback while it is up, else real ones."""
    on_loopback = interface is not None and IPv4Address(interface).is_loopback
    bench = read_bench_id(workspace.bench_id_path) if on_loopback and bench_is_up(workspace) else None
    return Scope(bench, workspace.seen_path if bench is None else workspace.bench_seen_path)


def bench_is_up(workspace: Workspace) -> bool:
    """Whether this project's bench answers. A socket left behind by one that was killed does not count."""
    try:
        connect_to(workspace.bench_socket_path, BENCH_CONTROL_TIMEOUT_S).close()
    except OSError:
        return False
    return True


def read_bench_id(path: Path) -> str | None:
    """The id of a bench, the first word of its file; None if it has none yet."""
    try:
        return next(iter(path.read_text(encoding="ascii").split()), None)
    except (OSError, ValueError):
        return None
