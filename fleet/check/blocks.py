"""The blocks of which there is one in all files together: the fleet, and the policy for pushes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fleet.check.codes import NO_FLEET, POLICY_CLASH, SECOND_BLOCK, TOO_LONG_FOR_NODE
from fleet.finding import Finding
from fleet.limits import NODE_BLOCK_U16
from fleet.water.quantities import duration

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from fleet.inventory.parsed import Parsed, ParsedPart


def one_fleet(survey: Parsed) -> Iterator[Finding]:
    """Exactly one `fleet`, at most one `policy`."""
    if not survey.fleets and survey.whole and not survey.unread.get("fleet"):
        yield Finding(NO_FLEET, "no file has a `fleet` block", survey.first_place)
    yield from _second(survey.fleets, "fleet")
    yield from _second(survey.policies, "policy")


def _second(entries: Sequence[ParsedPart[Any]], key: str) -> Iterator[Finding]:
    for entry in entries[1:]:
        first = entries[0].key()
        what = f"`{key}` is given twice; the first is at {first}"
        yield Finding(SECOND_BLOCK, what, entry.key())


def policy_fits(survey: Parsed) -> Iterator[Finding]:
    """The figures of the policy against each other, and against what a node can hold."""
    for entry in survey.policies:
        policy = entry.part
        if policy.soak_s >= policy.trial_s:
            what = (
                f"nodes are watched for {duration(policy.soak_s)}, but they fall back on their own after "
                f"{duration(policy.trial_s)}"
            )
            at = entry.value("soak") if "soak_s" in policy.model_fields_set else entry.value("trial")
            yield Finding(POLICY_CLASH, what, at)
        if policy.trial_s > NODE_BLOCK_U16:
            what = f"a trial of {policy.trial_s:g} s is longer than {NODE_BLOCK_U16} s"
            yield Finding(TOO_LONG_FOR_NODE, what, entry.value("trial"))
        if policy.first_wave > policy.largest_wave:
            what = (
                f"the first wave has {policy.first_wave} nodes, but no wave may have more than "
                f"{policy.largest_wave}"
            )
            key = "first_wave" if "first_wave" in policy.model_fields_set else "largest_wave"
            yield Finding(POLICY_CLASH, what, entry.value(key))
