"""The shelf: a content-addressed folder of images, tickets and build records, and what was built for which
node.

- `objects/ab/abcd...`: images, tickets and records, named by their SHA-256.
- `nodes/NODE/SEQUENCE.json`: one entry for each ticket; 19 digits, so that names sort as sequences do.
- `boot-loader/abcd...`: the host's boot loaders, executables, named likewise; `current` names the newest.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from fleet.build.codes import DAMAGED, NOT_ON_SHELF
from fleet.build.entry import ShelfEntry, entry_from_json
from fleet.durable import write_durably
from fleet.errors import ShelfError
from fleet.limits import SHELF_BATCH

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from pathlib import Path

_SEQUENCE_DIGITS = 19
_CURRENT = "current"
_BUILD_HOST = "Run `tankfleet build --target host`."
_HEX = frozenset("0123456789abcdef")


@dataclass(frozen=True, slots=True)
class Shelved:
    """One thing to put on the shelf."""

    entry: ShelfEntry
    image: bytes
    ticket: bytes


def record_bytes(record: Mapping[str, Any]) -> bytes:
    """A build record in its one fixed form; its SHA-256 is `ShelfEntry.record`."""
    return json.dumps(record, sort_keys=True, indent=1, ensure_ascii=True).encode() + b"\n"


class Shelf:
    """A shelf in a folder, which need not exist before the first `add`."""

    def __init__(self, path: Path) -> None:
        self.path = path

    # ---------------------------------------------------------------- writing
    def add(
        self, entry: ShelfEntry, image_bytes: bytes, ticket_bytes: bytes, record: Mapping[str, Any]
    ) -> None:
        """Put one image with its ticket and build record on the shelf, durably. The entry appears last."""
        self.add_all([Shelved(entry, image_bytes, ticket_bytes)], record_bytes(record))

    def add_all(self, things: Sequence[Shelved], record: bytes) -> None:
        """Put many on the shelf that share one build record (as of `record_bytes`), durable in batches of
        SHELF_BATCH."""
        for start in range(0, len(things), SHELF_BATCH):
            batch = things[start : start + SHELF_BATCH]
            objects: dict[str, bytes] = {}
            for thing in batch:
                for data, wanted in (
                    (thing.image, thing.entry.image),
                    (thing.ticket, thing.entry.ticket),
                    (record, thing.entry.record),
                ):
                    if hashlib.sha256(data).hexdigest() != wanted:
                        raise ValueError(f"an entry of {thing.entry.node} misnames its bytes")
                    objects[wanted] = data
            write_durably(
                [
                    (self._object(sha), data)
                    for sha, data in objects.items()
                    if not self.is_whole(sha, len(data))
                ]
            )
            write_durably([(self._entry_path(thing.entry), thing.entry.to_json()) for thing in batch])

    def put_object(self, data: bytes) -> str:
        """Put bytes on the shelf (again); returns their SHA-256."""
        sha = hashlib.sha256(data).hexdigest()
        if not self.is_whole(sha, len(data)):
            write_durably([(self._object(sha), data)])
        return sha

    def put_host_boot_loader(self, program: bytes, inputs: str) -> Path:
        """Keep the boot loader that starts host images, with the digest of its inputs; the path of the
        executable."""
        sha = hashlib.sha256(program).hexdigest()
        path = self.path / "boot-loader" / sha
        if not _is_what_its_name_says(path, sha):
            write_durably([(path, program)], mode=0o755)
        write_durably([(path.with_name(_CURRENT), f"{sha} {inputs}\n".encode())])
        return path

    # ---------------------------------------------------------------- reading
    def entries(self, node: str | None = None) -> list[ShelfEntry]:
        """All entries, of one node or of all, oldest first for each node."""
        return [self._read_entry(path) for path in self._entry_paths(node)]

    def nodes(self) -> list[str]:
        """Names of the nodes that have entries."""
        return [folder.name for folder in _listed(self.path / "nodes")]

    def newest(self, node: str, class_id: str | None = None) -> ShelfEntry | None:
        """The entry with the highest sequence; with `class_id`, among those of that class alone."""
        for path in reversed(self._entry_paths(node)):
            entry = self._read_entry(path)
            if class_id is None or entry.class_id == class_id:
                return entry
        return None

    def last_sequence(self, node: str) -> int:
        """The highest sequence number that was ever given for the node; 0 if none."""
        paths = self._entry_paths(node)
        return int(paths[-1].stem) if paths else 0

    def entry_for_image(self, node: str, image: str) -> ShelfEntry | None:
        """The newest entry of that node with that image (its SHA-256, or the first 16 hex digits or more of
        it)."""
        for entry in reversed(self.entries(node)):
            if len(image) >= 16 and entry.image.startswith(image):
                return entry
        return None

    def image(self, sha: str) -> bytes:
        """An image's bytes, checked. ShelfError if it is missing or damaged."""
        return self._read_object(sha, "image")

    def ticket(self, sha: str) -> bytes:
        """A ticket's bytes, checked. ShelfError if it is missing or damaged."""
        return self._read_object(sha, "ticket")

    def record(self, sha: str) -> dict[str, Any]:
        """A build record, checked. ShelfError if it is missing or damaged."""
        record: dict[str, Any] = json.loads(self._read_object(sha, "build record"))
        return record

    def has(self, sha: str, size_bytes: int | None = None) -> bool:
        """Whether an object is there, with that size if one is given. Its bytes are checked when it is
        read."""
        try:
            found = self._object(sha).stat().st_size
        except FileNotFoundError:
            return False
        return size_bytes is None or found == size_bytes

    def is_whole(self, sha: str, size_bytes: int | None = None) -> bool:
        """Whether an object is there and is what its name says: its size, if one is given, and all its bytes."""
        return self.has(sha, size_bytes) and _is_what_its_name_says(self._object(sha), sha)

    def can_be_sent(self, entry: ShelfEntry) -> bool:
        """Whether image and ticket of an entry are there, byte for byte."""
        return self.is_whole(entry.image, entry.size_bytes) and self.is_whole(entry.ticket)

    def host_boot_loader(self) -> Path:
        """The executable that starts host images. ShelfError if it was never built or is damaged."""
        sha, _ = self._boot_loader()
        path = self.path / "boot-loader" / sha
        if not path.is_file():
            raise ShelfError(NOT_ON_SHELF, f"{path.parent} has no boot loader", fix=_BUILD_HOST)
        _checked(path, sha)
        return path

    def has_boot_loader(self, inputs: str) -> bool:
        """Whether the boot loader made of these inputs is there."""
        sha, made_of = self._boot_loader()
        return made_of == inputs and _is_what_its_name_says(self.path / "boot-loader" / sha, sha)

    # ---------------------------------------------------------------- inside
    def _object(self, sha: str) -> Path:
        if len(sha) != 64 or not _HEX.issuperset(sha):
            raise ShelfError(NOT_ON_SHELF, f"{sha!r} is not a SHA-256 in hex digits")
        return self.path / "objects" / sha[:2] / sha

    def _boot_loader(self) -> tuple[str, str]:
        """SHA-256 of the newest boot loader and the digest of its inputs; names of nothing if there is
        none."""
        try:
            words = (self.path / "boot-loader" / _CURRENT).read_text(encoding="ascii").split()
        except (FileNotFoundError, UnicodeDecodeError):
            return "none", ""
        return (words[0], words[1]) if len(words) == 2 else ("none", "")

    def _entry_path(self, entry: ShelfEntry) -> Path:
        return self.path / "nodes" / entry.node / f"{entry.sequence:0{_SEQUENCE_DIGITS}d}.json"

    def _entry_paths(self, node: str | None) -> list[Path]:
        folders: Iterator[Path] | list[Path] = (
            [self.path / "nodes" / node] if node else iter(_listed(self.path / "nodes"))
        )
        return [
            path
            for folder in folders
            for path in _listed(folder)
            if path.suffix == ".json" and path.stem.isdigit()
        ]

    def _read_entry(self, path: Path) -> ShelfEntry:
        entry = entry_from_json(path.read_bytes(), str(path))
        if self._entry_path(entry) != path:
            raise ShelfError(
                DAMAGED,
                f"{path} holds the entry {entry.sequence} of {entry.node}",
                fix=_again(path, entry.node),
            )
        return entry

    def _read_object(self, sha: str, what: str) -> bytes:
        path = self._object(sha)
        if not path.is_file():
            raise ShelfError(NOT_ON_SHELF, f"the {what} {sha[:16]} is not on the shelf ({path})")
        return _checked(path, sha)


def _checked(path: Path, sha: str) -> bytes:
    try:
        data = path.read_bytes()
    except OSError as error:
        raise ShelfError(DAMAGED, f"{path} cannot be read: {error.strerror or error}") from error
    if hashlib.sha256(data).hexdigest() != sha:
        raise ShelfError(DAMAGED, f"{path} does not match its name")
    return data


def _is_what_its_name_says(path: Path, sha: str) -> bool:
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest() == sha
    except OSError:
        return False


def _again(path: Path, node: str) -> str:
    return f"Delete {path} and run `tankfleet build {node}`."


def _listed(folder: Path) -> list[Path]:
    """The folder's contents in the order of names; none if it does not exist."""
    try:
        return sorted(folder.iterdir())
    except (FileNotFoundError, NotADirectoryError):
        return []
