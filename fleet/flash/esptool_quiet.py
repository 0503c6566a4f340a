"""esptool, imported and used so that it says nothing: data goes to standard output in this program, and esptool speaks
there of everything. What fails it raises as well."""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from esp_pylib.logger import EspLog, EspLogBase

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    Progress = Callable[[int, int], None]


class _Quiet(EspLogBase):
    """esptool's logger that says nothing and passes the progress of writing on."""

    def __init__(self, progress: Progress | None) -> None:
        self._progress = progress

    def print(self, *args: Any, **kwargs: Any) -> None:
        """Nothing."""

    def err(self, *args: Any, suggestion: str | None = None) -> None:
        """Nothing."""

    def warn(self, *args: Any, suggestion: str | None = None) -> None:
        """Nothing."""

    def note(self, *args: Any) -> None:
        """Nothing."""

    def hint(self, *args: Any) -> None:
        """Nothing."""

    def debug(self, *args: Any) -> None:
        """Nothing."""

    def set_verbosity(self, mode: int | str) -> None:
        """Always silent."""

    def progress_bar(
        self, cur_iter: int, total_iters: int, prefix: str = "", suffix: str = "", bar_length: int = 30
    ) -> None:
        """Bytes sent, and bytes to be sent."""
        if self._progress is not None:
            self._progress(cur_iter, total_iters)


@contextmanager
def quiet(progress: Progress | None = None) -> Iterator[None]:
    """esptool says nothing meanwhile; `progress(sent, total)` is called as it writes."""
    former = EspLog.instance
    EspLog.instance = _Quiet(progress)
    try:
        yield
    finally:
        EspLog.instance = former


with quiet():  # some of its warnings are bound to the logger that is there when it is first imported
    from esptool import cmds
    from esptool.targets import CHIP_DEFS
    from esptool.util import flash_size_bytes

__all__ = ["CHIP_DEFS", "cmds", "flash_size_bytes", "quiet"]
