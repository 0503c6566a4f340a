"""A push that was cut off is told of by every command that looks at the nodes or prepares for them: one line."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fleet.cli.output import Output
    from fleet.workspace import Workspace


def tell_cut_off(output: Output, workspace: Workspace) -> None:
    """Say so on stderr if a push was cut off and nobody runs it now; a journal that cannot be read is told of, and
    stops nobody here. Without a journal nothing is loaded."""
    path = workspace.journal_path
    if not any(path.parent.glob(f"{path.name}*")):
        return
    from fleet.errors import TankfleetError
    from fleet.push.history import unfinished_at
    from fleet.push.lock import runner_pid

    try:
        push = unfinished_at(path)
        if push is not None and runner_pid(path) is None:
            output.warn(
                f"push {push} was interrupted, and nobody watches its nodes: `tankfleet resume` continues "
                f"it, `tankfleet stop` ends it"
            )
    except (TankfleetError, OSError) as error:
        told = f"{error.code.code}: {error.what}" if isinstance(error, TankfleetError) else str(error)
        output.warn(f"cannot tell whether a push was interrupted: {told}")
