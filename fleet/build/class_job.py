"""The shelf's work for the nodes of one class: what is there already, what must be made again, what is
new."""

from __future__ import annotations

import hashlib
import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from enum import Enum
from functools import cached_property
from typing import TYPE_CHECKING

from fleet.build.codes import IMAGE_TOO_BIG
from fleet.build.entry import ShelfEntry
from fleet.build.record import build_record
from fleet.build.sequence import next_sequence, utc_text
from fleet.build.shelf import Shelved, record_bytes
from fleet.build.stamp import BoardStamp, HostStamp
from fleet.build.ticket import TicketFields, sign
from fleet.errors import BuildError
from fleet.limits import IMAGE_BYTES, SHELF_BATCH

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from cryptography.hazmat.primitives.asymmetric.ec import EllipticCurvePrivateKey

    from fleet.build.classes import BuildRequest, ClassPart, NodePart
    from fleet.build.programs import Built, Program
    from fleet.build.shelf import Shelf


class ShelfNeed(Enum):
    """What a node's place on the shelf needs."""

    NOTHING = "nothing"
    RESTORE = "restore"
    MAKE = "make"


@dataclass(frozen=True)
class ClassJob:
    """One class of one build."""

    request: BuildRequest
    part: ClassPart
    program: Program
    shelf: Shelf
    key: EllipticCurvePrivateKey
    now_s: Callable[[], int]
    _asked: dict[str, bool] = field(default_factory=dict, repr=False, compare=False)

    @cached_property
    def states(self) -> tuple[tuple[NodePart, ShelfEntry | None, ShelfNeed], ...]:
        """Each node with the newest entry of its class, and what is to be done; as it was when the build
        began."""
        with ThreadPoolExecutor(
            os.cpu_count()
        ) as pool:  # reading and hashing every image: both let others work
            return tuple(pool.map(self._state, self.part.nodes))

    @property
    def todo_count(self) -> int:
        """How many nodes need something."""
        return sum(doing is not ShelfNeed.NOTHING for _, _, doing in self.states)

    def work(self, built: Built) -> Iterator[tuple[ShelfEntry, ShelfNeed]]:
        """Do it, in batches; each entry as it now is, with what was done for it."""
        base = self._stamp(built)
        record = record_bytes(
            build_record(
                self.part.name,
                self.request.defect,
                self.program.digest,
                built.sources,
                built.versions,
                built.sizes,
                {name: self.shelf.put_object(data) for name, data in built.beside.items()},
            )
        )
        record_sha = hashlib.sha256(record).hexdigest()
        todo = [state for state in self.states if state[2] is not ShelfNeed.NOTHING]
        for start in range(0, len(todo), SHELF_BATCH):
            batch = [
                self._made(part, entry, base, record_sha) for part, entry, _ in todo[start:][:SHELF_BATCH]
            ]
            self.shelf.add_all([thing for thing, _ in batch], record)
            yield from ((thing.entry, doing) for thing, doing in batch)

    def _stamp(self, built: Built) -> HostStamp | BoardStamp:
        """The class's image as one to be stamped, checked first. BuildError: BLD104, BLD106, BLD108."""
        if self.request.target == "board":
            board = self.part.nodes[0].board
            return BoardStamp.of(board.chip, built.elf, built.image, board.slot_bytes)
        if len(built.image) > IMAGE_BYTES:
            raise BuildError(
                IMAGE_TOO_BIG, f"{self.program.title}: {len(built.image)} bytes; {IMAGE_BYTES} are allowed"
            )
        return HostStamp.of(built.image)

    def _state(self, part: NodePart) -> tuple[NodePart, ShelfEntry | None, ShelfNeed]:
        newest = self.shelf.newest(part.node.name, str(self.part.class_id))
        if newest is None or newest.inputs != part.inputs(self.program.digest):
            return part, newest, ShelfNeed.MAKE
        whole = self.shelf.can_be_sent(newest) and self._record_whole(newest.record)
        return part, newest, ShelfNeed.NOTHING if whole else ShelfNeed.RESTORE

    def _record_whole(self, record: str) -> bool:
        """Whether a build record is there, and what a first load over USB needs besides the image; asked once for each
        record."""
        if record not in self._asked:
            whole = self.shelf.is_whole(record)
            if whole and self.request.target == "board":
                whole = all(
                    self.shelf.is_whole(sha) for sha in self.shelf.record(record).get("beside", {}).values()
                )
            self._asked[record] = whole
        return self._asked[record]

    def _made(
        self, part: NodePart, newest: ShelfEntry | None, base: HostStamp | BoardStamp, record_sha: str
    ) -> tuple[Shelved, ShelfNeed]:
        """One node's image and ticket. The same image as the newest one keeps its sequence, hence its
        ticket."""
        image = base.stamped(part.block)
        sha = hashlib.sha256(image).hexdigest()
        kept = newest is not None and newest.image == sha
        now_s = self.now_s()
        sequence = newest.sequence if newest and kept else next_sequence(self.shelf, part.node.name, now_s)
        ticket = sign(self._fields(part, image, sequence), self.key)
        entry = ShelfEntry(
            node=part.node.name,
            image=sha,
            ticket=hashlib.sha256(ticket).hexdigest(),
            sequence=sequence,
            release=self.request.release_text,
            board=part.board.id,
            class_id=str(self.part.class_id),
            class_name=self.part.name,
            target=self.request.target,
            payload_format=self.part.payload_format,
            size_bytes=len(image),
            built_at=utc_text(now_s),
            defect=self.request.defect,
            block_crc=part.block_crc,
            record=record_sha,
            inputs=part.inputs(self.program.digest),
        )
        if newest and kept:
            entry = replace(entry, built_at=newest.built_at)
        return Shelved(entry, image, ticket), ShelfNeed.RESTORE if kept else ShelfNeed.MAKE

    def _fields(self, part: NodePart, image: bytes, sequence: int) -> TicketFields:
        return TicketFields(
            sequence=sequence,
            vendor_id=self.part.vendor_id.bytes,
            class_id=self.part.class_id.bytes,
            node=part.node.name,
            payload_format=self.part.payload_format,
            size_bytes=len(image),
            digest=hashlib.sha256(image).digest(),
            release=self.request.release_text,
        )
