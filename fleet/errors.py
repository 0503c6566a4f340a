"""Every error that a user can meet.

    TankfleetError
    ├── UsageError            the command line asks for what is not there            exit 2
    ├── InventoryError        findings of severity error in the inventory            exit 2
    ├── KeyFolderError        keys missing, unreadable, or readable by others        exit 2
    ├── RenderError           a template or its data is wrong                        exit 2
    ├── BuildError            the compiler or PlatformIO failed                      exit 1
    ├── ShelfError            an image, ticket or record is missing or damaged       exit 1
    ├── FlashError            a board on its port cannot be written                  exit 1
    ├── LinkError             a node did not answer as agreed                        exit 3
    │   ├── NodeUnreachable   no connection, or it ended early
    │   ├── NodeRefused       the node said no, with its code
    │   └── NodeImpostor      the answer is not signed by that node
    ├── PlanError             a plan is damaged or stale                             exit 2
    ├── PushError             a push cannot start or go on                           exit 1
    ├── LockedError           another run holds the lock                             exit 4
    ├── BenchError            virtual nodes cannot be started or reached             exit 1
    │   └── BenchRefused      the bench was asked for what it cannot do              exit 2
    └── SheetError            a sheet cannot be made into a PDF                      exit 1

Each carries a `Code` (stable, explained offline), what happened, and how to put it right.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from fleet.codes import Code, Exit

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleet.finding import Finding, Place


class TankfleetError(Exception):
    """Base of all errors that are shown to the user without a traceback."""

    exit_code: ClassVar[Exit] = Exit.PROBLEMS

    def __init__(self, code: Code, what: str, *, fix: str = "", place: Place | None = None) -> None:
        super().__init__(f"{code.code}: {what}")
        self.code = code
        self.what = what
        self.why = code.why
        self.fix = fix or code.fix
        self.place = place


class UsageError(TankfleetError):
    """The command line asks for what is not there."""

    exit_code = Exit.USAGE


class InventoryError(TankfleetError):
    """The inventory has findings of severity error; `findings` holds all of them, sorted."""

    exit_code = Exit.USAGE

    def __init__(self, code: Code, what: str, findings: Sequence[Finding]) -> None:
        super().__init__(code, what)
        self.findings = tuple(findings)


class KeyFolderError(TankfleetError):
    """Keys are missing, unreadable, or readable by others."""

    exit_code = Exit.USAGE


class RenderError(TankfleetError):
    """A template, or the data for it, is wrong."""

    exit_code = Exit.USAGE


class BuildError(TankfleetError):
    """The compiler or PlatformIO failed; `log_path` has the whole log, `tail` its last lines."""

    def __init__(self, code: Code, what: str, *, fix: str = "", log_path: str = "", tail: str = "") -> None:
        super().__init__(code, what, fix=fix)
        self.log_path = log_path
        self.tail = tail


class ShelfError(TankfleetError):
    """An image, ticket or record is missing or damaged."""


class FlashError(TankfleetError):
    """A board on its port cannot be written."""


class LinkError(TankfleetError):
    """A node did not answer as agreed. `where` names node, place and request, `said` what came of it; `what` is both.

    Whoever shows node and place beside it takes `said` alone: nobody cuts a sentence.
    """

    exit_code = Exit.UNREACHABLE

    def __init__(self, code: Code, said: str, *, node: str, where: str = "", fix: str = "") -> None:
        super().__init__(code, f"{where}: {said}" if where else said, fix=fix)
        self.node = node
        self.where = where
        self.said = said


class NodeUnreachable(LinkError, ConnectionError):
    """No connection to the node, or it ended early."""


class NodeRefused(LinkError):
    """The node said no: `refusal` is its code (docs/node-interface.md 2), `status` the HTTP status."""

    def __init__(
        self, code: Code, said: str, *, node: str, refusal: str, status: int, where: str = ""
    ) -> None:
        super().__init__(code, said, node=node, where=where)
        self.refusal = refusal
        self.status = status


class NodeImpostor(LinkError):
    """The answer is not signed by that node."""


class PlanError(TankfleetError):
    """A plan is damaged or stale; `changed` names what changed since it was made."""

    exit_code = Exit.USAGE

    def __init__(self, code: Code, what: str, *, fix: str = "", changed: Sequence[str] = ()) -> None:
        super().__init__(code, what, fix=fix)
        self.changed = tuple(changed)


class PushError(TankfleetError):
    """A push cannot start or go on."""


class LockedError(TankfleetError, BlockingIOError):
    """Another run of the tool holds the lock."""

    exit_code = Exit.LOCKED


class BenchError(TankfleetError):
    """Virtual nodes cannot be started or reached."""


class BenchRefused(BenchError):
    """The bench was asked for what it cannot do, and nothing was done."""

    exit_code = Exit.USAGE


class SheetError(TankfleetError):
    """A sheet cannot be made into a PDF."""
