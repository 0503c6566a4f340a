"""What is said while nodes are awaited, so that nothing is silent for long."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.water.quantities import counted, duration

if TYPE_CHECKING:
    from collections.abc import Callable

    from fleet.cli.output import Output

_NAMES_SHOWN = 3


def tell_waiting(output: Output) -> Callable[[tuple[str, ...], float], None]:
    """Says which nodes a search still awaits; hand it to `fleet.find.find.find` as `tell`."""

    def tell(awaited: tuple[str, ...], left_s: float) -> None:
        if not awaited:
            output.progress("found all; waiting for the last answers")
            return
        names = ", ".join(awaited[:_NAMES_SHOWN]) + (" ..." if len(awaited) > _NAMES_SHOWN else "")
        output.progress(f"waiting for {counted(len(awaited), 'node')} ({names}), {duration(left_s)} left")

    return tell
