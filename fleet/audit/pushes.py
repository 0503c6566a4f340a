"""What the journal of pushes tells an audit: a thin adapter."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING

from fleet.audit.facts import JournalFacts, LastPush
from fleet.limits import AUDITED_PUSHES
from fleet.push.history import given_up_images
from fleet.push.journal import Journal
from fleet.push.state import NodeStatus

if TYPE_CHECKING:
    from pathlib import Path

    from fleet.push.journal import PushRecord
    from fleet.push.outcome import NodeOutcome

_UNTOUCHED = frozenset({NodeStatus.QUEUED, NodeStatus.HELD_OFF, NodeStatus.LEFT_OUT})


def journal_facts(path: Path) -> JournalFacts:
    """The facts in the journal at that path; none if nothing was ever pushed. PushError if it cannot be read.

    The newest push that touched a node is its last one.
    """
    with Journal.reading(path) as journal:
        if journal is None:
            return JournalFacts()
        last: dict[str, LastPush] = {}
        for record in reversed(journal.pushes()[-AUDITED_PUSHES:]):
            for outcome in journal.outcomes(record.id):
                if outcome.stands not in _UNTOUCHED:
                    last.setdefault(outcome.node, _last(record, outcome))
        given_up = given_up_images(journal)
        unfinished = journal.unfinished()
        nodes = (
            frozenset(node.node for _, node in journal.plan(unfinished).nodes())
            if unfinished
            else frozenset()
        )
    return JournalFacts(last, given_up, unfinished, nodes)


def _last(record: PushRecord, outcome: NodeOutcome) -> LastPush:
    at_s = record.began_at_s if record.ended_at_s is None else record.ended_at_s
    return LastPush(
        push=record.id,
        release=outcome.to_release,
        image=outcome.to_image,
        stands=outcome.stands.value,
        reason=outcome.reason,
        at=datetime.fromtimestamp(at_s, UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
    )
