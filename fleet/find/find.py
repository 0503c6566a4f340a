"""Finding the nodes of a fleet: listen, confirm, compare with the inventory, remember where they were."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

from fleet.find.browse import browsing
from fleet.find.confirm import Confirmer
from fleet.find.match import Match, match
from fleet.find.scope import scope_of
from fleet.find.search import Search, Tell
from fleet.find.seen import Seen, read_seen, write_seen
from fleet.limits import FIND_TIMEOUT_S
from fleet.link.client import open_session
from fleet.model.inventory import Inventory
from fleet.workspace import Workspace


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
    until `timeout_s`. UsageError if it cannot listen there. On loopback while the project's bench is up, nodes of
    that bench are found, else real ones; others are not listed at all. Writes the list of last known addresses.
    """
    known = [node.name for node in inventory.nodes]
    expected = list(nodes) if nodes is not None else known
    scope = scope_of(interface, workspace)
    last_seen = read_seen(scope.seen_path)
    ask_too = last_seen if scope.asks_last_known else {}
    async with browsing(interface, scope.bench, expected) as browser, open_session() as session:
        confirmer = Confirmer(session, node_key_of, known, entropy)
        search = Search(
            browser, confirmer, expected, ask_too, only=nodes is not None, timeout_s=timeout_s, tell=tell
        )
        confirmations = await search.run()
        matches = match(expected, known, confirmations, last_seen, passed_over=browser.passed_over)
    _remember(scope.seen_path, last_seen, matches, now())
    return matches


def _remember(seen_path: Path, last_seen: dict[str, Seen], matches: Iterable[Match], when: datetime) -> None:
    seen_at = when.astimezone(UTC).isoformat(timespec="seconds")
    found = {
        m.node: Seen(m.address, m.port, m.state.mac, seen_at)
        for m in matches
        if m.reachable and m.address is not None and m.port is not None and m.state is not None
    }
    if found:
        with suppress(OSError):  # it only ever helps: a full disk must not take away what was found
            write_seen(seen_path, last_seen | found)
