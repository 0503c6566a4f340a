"""Finding the nodes of a fleet: listen, confirm, compare with the inventory, remember where they were."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from datetime import UTC, datetime
from ipaddress import AddressValueError, IPv4Address

from fleet.errors import UsageError
from fleet.find.browse import browsing
from fleet.find.codes import NO_INTERFACE
from fleet.find.confirm import Confirmer
from fleet.find.match import Match, match
from fleet.find.search import Search, Tell
from fleet.find.seen import Seen, read_seen, write_seen
from fleet.inventory.model import Inventory
from fleet.limits import FIND_TIMEOUT_S
from fleet.link.client import open_session
from fleet.workspace import Workspace


def interface_for(find_on: str, workspace: Workspace) -> str | None:
    """The interface's address that `find_on` means, None for all. `auto`: loopback while the bench is up."""
    if find_on == "auto":
        return "127.0.0.1" if (workspace.bench_dir / "control.sock").exists() else None
    if find_on == "all":
        return None
    try:
        return str(IPv4Address(find_on))
    except AddressValueError as error:
        raise UsageError(NO_INTERFACE, f"find_on is {find_on!r}, which is no IPv4 address") from error


async def find(
    inventory: Inventory,
    node_key_of: Callable[[str], bytes],
    workspace: Workspace,
    *,
    interface: str | None,
    timeout_s: float = FIND_TIMEOUT_S,
    nodes: Sequence[str] | None = None,
    tell: Tell = lambda awaited, left_s: None,
    entropy: Callable[[int], bytes] = secrets.token_bytes,
    now: Callable[[], datetime] = lambda: datetime.now(UTC),
) -> list[Match]:
    """What became of each node of the inventory, or of `nodes` alone; then impostors, then unknown nodes.

    `node_key_of` is a key folder's `node_key`. Returns as soon as all are confirmed; waits for missing ones
    until `timeout_s`. UsageError if it cannot listen there. Writes the list of last known addresses.
    """
    known = [node.name for node in inventory.nodes]
    expected = list(nodes) if nodes is not None else known
    last_seen = read_seen(workspace.seen_path)
    async with browsing(interface) as browser, open_session() as session:
        confirmer = Confirmer(session, node_key_of, known, entropy)
        search = Search(
            browser, confirmer, expected, last_seen, only=nodes is not None, timeout_s=timeout_s, tell=tell
        )
        matches = match(expected, known, await search.run(), last_seen)
    _remember(workspace, last_seen, matches, now())
    return matches


def _remember(
    workspace: Workspace, last_seen: dict[str, Seen], matches: Iterable[Match], when: datetime
) -> None:
    seen_at = when.astimezone(UTC).isoformat(timespec="seconds")
    found = {
        m.node: Seen(m.address, m.port, m.state.mac, seen_at)
        for m in matches
        if m.reachable and m.address is not None and m.port is not None and m.state is not None
    }
    if found:
        with suppress(OSError):  # it only ever helps: a full disk must not take away what was found
            write_seen(workspace.seen_path, last_seen | found)
