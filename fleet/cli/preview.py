"""`--dry-run` of `resume`, `stop` and `roll-back`: what would be done to which node; nothing is sent."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fleet.cli.common import Session
    from fleet.push.events import Requested, Resumed
    from fleet.push.journal import Journal

_COLUMNS = ("node", "wave", "stands", "would")


def show_foretold(
    this: Session, journal: Journal, push: str, event: Requested | Resumed, *, doing: str, json: bool
) -> None:
    """Print what `event` would do to each node of a push; `doing` is the command, as it would be typed."""
    from fleet.push.preview import preview, with_requests
    from fleet.push.reporters.words import plain

    state = with_requests(journal.state(push), [request.event for request in journal.open_requests(push)])
    told = preview(state, event)
    if json:
        facts = {"push": push, "command": doing, "nodes": [asdict(one) for one in told]}
        this.output.emit_json("dry-run", facts)
    else:
        this.output.table(_COLUMNS, [(one.node, str(one.wave), plain(one.stands), one.would) for one in told])
    this.output.note(
        f"Dry run of `tankfleet {doing}` for push {push}: nothing was sent to any node, nothing was written."
    )
    this.output.next_step(f"tankfleet {doing}")
