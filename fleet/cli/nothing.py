"""When there is nothing to do: what the commands of a push say then, and as JSON. Exit status 0, nothing is written."""

from __future__ import annotations

import time
from enum import StrEnum
from typing import TYPE_CHECKING, Final

from fleet.codes import Exit

if TYPE_CHECKING:
    from fleet.cli.common import Session
    from fleet.push.state import PushState


class Nothing(StrEnum):
    """Why there is nothing to do; the words of `nothing` in JSON (fleet/schemas/push.json)."""

    EMPTY_PLAN = "empty-plan"
    NONE_TO_RESUME = "none-to-resume"
    NONE_UNDER_WAY = "none-under-way"
    NEVER_PUSHED = "never-pushed"
    NONE_TO_BRING_BACK = "none-to-bring-back"


_SAID: Final = {
    Nothing.EMPTY_PLAN: "Nothing to push: the plan updates no node. The journal is unchanged.",
    Nothing.NONE_TO_RESUME: "Nothing to resume: no push is under way.",
    Nothing.NONE_UNDER_WAY: "Nothing to do: no push is under way.",
    Nothing.NEVER_PUSHED: "Nothing to roll back: no push was ever made.",
    Nothing.NONE_TO_BRING_BACK: "Nothing to roll back: none of them runs the image of push {push}.",
}
_NEXT: Final = {Nothing.EMPTY_PLAN: "tankfleet audit", Nothing.NONE_TO_BRING_BACK: "tankfleet audit"}


def say_nothing(
    this: Session, nothing: Nothing, *, push: str | None = None, dry_run: str = "", json: bool = False
) -> Exit:
    """Say so; with `json` as one document. `push`: the one that was looked at; `dry_run`: the command that is tried."""
    if json and dry_run:
        this.output.emit_json("dry-run", {"push": push, "command": dry_run, "nodes": []})
    elif json:
        from fleet.push.reporters.lines import write_nothing

        this.output.json(write_nothing(time.time(), push, nothing))
    this.output.note(_SAID[nothing].format(push=push))
    this.output.next_step(_NEXT.get(nothing, "tankfleet plan"))
    return Exit.OK


def say_done_before(this: Session, state: PushState, *, json: bool) -> Exit:
    """A plan that was pushed to its end already: what is still open of it, and its exit status, as then."""
    from fleet.cli.push_summary import others_of
    from fleet.push.outcome import code_of, counts, exit_of
    from fleet.push.reporters.lines import LinesReporter
    from fleet.push.reporters.words import plain

    code = code_of(state)
    if json:
        LinesReporter(this.output.json, state.plan.id).ended(state)
    if code is None:
        this.output.note(f"Nothing to do: plan {state.plan.id} was already pushed and is finished.")
        this.output.next_step("tankfleet audit", "tankfleet plan")
        return Exit.OK
    if not json:
        others_of(this.output, state)
    counted = ", ".join(f"{count} {plain(stands)}" for stands, count in counts(state).items())
    this.output.note(
        f"Nothing was sent: plan {state.plan.id} was already pushed and has ended: {counted}. A plan is "
        f"pushed once. For the nodes that remain, make a new one. {code.code}: {code.title}."
    )
    this.output.next_step("tankfleet plan", f"tankfleet explain {code.code}")
    return exit_of(state)
