"""Claiming a board for a node: its MAC goes into the inventory file that has the node, and nothing else changes.

ruamel.yaml finds the place; the text around it is kept byte for byte. What comes out is read again before it may be
written: the inventory must be the same but for this one MAC.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from ruamel.yaml import YAML
from ruamel.yaml.error import YAMLError

from fleet.errors import UsageError
from fleet.inventory.codes import CANNOT_CLAIM
from fleet.inventory.folder import inventory_files, read_bytes

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from fleet.finding import Finding
    from fleet.model.inventory import Inventory

    Read = Callable[[Sequence[tuple[str, bytes | None]]], tuple[Inventory | None, list[Finding]]]
    """What makes an inventory of files, by their shown paths and bytes: with all rules, so passed in from above."""

_BOM = "\ufeff"


@dataclass(frozen=True, slots=True)
class Claim:
    """One file with the MAC in it. `before` is what was read, `after` what is to be written; `line` from 1."""

    path: Path
    before: bytes
    after: bytes
    line: int
    node: str
    mac: str

    def changed_meanwhile(self) -> UsageError:
        """The error for a file that is not what it was when it was read."""
        return _by_hand(self.node, self.mac, f"{self.path} was changed in the meantime")

    def not_written(self, error: OSError) -> UsageError:
        """The error for a disk that did not take the file, once the board is loaded."""
        return UsageError(
            CANNOT_CLAIM,
            f"{self.path} cannot be written ({error.strerror or error}): the board is loaded, but the "
            f"inventory does not have the MAC of {self.node} yet",
            fix=f"Make room for the file, then run the command again; or add the line `mac: {self.mac}` to the node "
            f"{self.node} by hand.",
        )


def claim(folder: Path, node: str, mac: str, read: Read) -> Claim:
    """The changed file for a node of the inventory in `folder` that has no MAC yet. Writes nothing.

    UsageError (INV) with the line to add by hand, if the file is written in a way that cannot be edited safely.
    """
    paths, _ = inventory_files(folder)
    texts = [(path, read_bytes(path, str(path))[0]) for path in paths]
    before, _ = read([(str(path), data) for path, data in texts])
    for path, data in texts:
        edited = _edited(data, node, mac)
        if edited is None:
            continue
        changed, line = edited
        after, _ = read([(str(p), changed if p == path else d) for p, d in texts])
        if before is None or after != _with_mac(before, node, mac):
            raise _by_hand(node, mac, str(path))
        return Claim(path.resolve(), data, changed, line, node, mac)
    raise _by_hand(node, mac, str(folder))


def _with_mac(inventory: Inventory, node: str, mac: str) -> Inventory:
    nodes = tuple(n.model_copy(update={"mac": mac}) if n.name == node else n for n in inventory.nodes)
    return inventory.model_copy(update={"nodes": nodes})


def _by_hand(node: str, mac: str, where: str) -> UsageError:
    return UsageError(
        CANNOT_CLAIM,
        f"{where}: the MAC of {node} cannot be added without changing anything else",
        fix=f"Add the line `mac: {mac}` to the node {node} by hand, then run the command again.",
    )


def _edited(data: bytes, node: str, mac: str) -> tuple[bytes, int] | None:
    """The file with the MAC in it and the line it is in; None if the node is not in it or cannot be edited."""
    try:
        decoded = data.decode("utf-8")
        text = decoded.removeprefix(_BOM)
        tree = YAML().compose(text)
    except (UnicodeDecodeError, YAMLError):
        return None
    entry = next((n for n in _items(_value(tree, "nodes")) if _text(_value(n, "name")) == node), None)
    if entry is None:
        return None
    at, added = _insertion(text, entry, mac)
    changed = text[:at] + added + text[at:]
    where = at + len(added) - len(added.lstrip())
    bom = _BOM if decoded.startswith(_BOM) else ""
    return (bom + changed).encode(), changed.count("\n", 0, where) + 1


def _insertion(text: str, entry: Any, mac: str) -> tuple[int, str]:
    """Where in the text what is added: behind the board, on a line of its own in a block."""
    board = _value(entry, "board")
    end = int(board.end_mark.index)
    if entry.flow_style:
        return end, f", mac: {mac}"
    line_end = text.find("\n", end)
    if line_end < 0:
        return len(text), f"\n{' ' * _key(entry, 'board').start_mark.column}mac: {mac}"
    ending = "\r\n" if text[:line_end].endswith("\r") else "\n"
    return line_end + 1, f"{' ' * _key(entry, 'board').start_mark.column}mac: {mac}{ending}"


def _pairs(mapping: Any) -> list[tuple[Any, Any]]:
    return list(mapping.value) if type(mapping).__name__ == "MappingNode" else []


def _items(sequence: Any) -> list[Any]:
    return list(sequence.value) if type(sequence).__name__ == "SequenceNode" else []


def _text(scalar: Any) -> str | None:
    return str(scalar.value) if type(scalar).__name__ == "ScalarNode" else None


def _key(mapping: Any, name: str) -> Any:
    return next((key for key, _ in _pairs(mapping) if _text(key) == name), None)


def _value(mapping: Any, name: str) -> Any:
    return next((value for key, value in _pairs(mapping) if _text(key) == name), None)
