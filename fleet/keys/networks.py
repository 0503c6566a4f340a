"""WiFi credentials by network name: what they may be, and how their file is read and written."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass, field

import tomli_w

from fleet.errors import KeyFolderError
from fleet.keys.codes import BAD_NETWORK, BAD_NETWORKS_FILE, NOT_FOR_A_BOARD

_SSID_BYTES = 32
_PASSPHRASE = re.compile(r"[ -~]{8,63}|[0-9A-Fa-f]{64}|")
_PRINTABLE_ASCII = re.compile(r"[ -~]*")
_KEY_DIGITS = 64
_BOARD_PASSPHRASE_CHARS = 63
"""Of 64 bytes on a board, the last one is the end of the text."""
_NETWORK_KEYS = {"ssid", "passphrase"}


@dataclass(frozen=True, slots=True)
class Network:
    """The credentials of one network; the passphrase is empty for an open one, and is never shown."""

    ssid: str
    passphrase: str = field(repr=False)

    def __post_init__(self) -> None:
        if (
            not self.ssid.isprintable()
        ):  # half a surrogate, of an argument that is not UTF-8, is not printable either
            raise KeyFolderError(BAD_NETWORK, "the network name holds a character that cannot be printed")
        if not 1 <= len(self.ssid.encode()) <= _SSID_BYTES:
            raise KeyFolderError(BAD_NETWORK, f"the network name has {len(self.ssid.encode())} bytes")
        if not _PASSPHRASE.fullmatch(self.passphrase):
            raise KeyFolderError(BAD_NETWORK, _fault_of(self.passphrase))

    @property
    def is_open(self) -> bool:
        """Whether it wants no passphrase."""
        return not self.passphrase

    def for_board(self) -> tuple[bytes, bytes]:
        """Name (up to 32 bytes) and passphrase (up to 63) as a board holds them. KeyFolderError (KEY108) if they do
        not fit."""
        if len(self.passphrase) > _BOARD_PASSPHRASE_CHARS:
            raise KeyFolderError(NOT_FOR_A_BOARD, f"the passphrase has {len(self.passphrase)} characters")
        return self.ssid.encode(), self.passphrase.encode()


def parse_networks(text: str, where: str) -> dict[str, Network]:
    """Networks by name. KeyFolderError names `where` and what is wrong, never a value."""
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise KeyFolderError(BAD_NETWORKS_FILE, f"{where}: {_without_values(str(error))}") from None
    networks = {}
    for name, table in tables.items():
        if not isinstance(table, dict) or set(table) != _NETWORK_KEYS:
            raise KeyFolderError(
                BAD_NETWORKS_FILE, f"{where}: network {name!r} must have exactly ssid and passphrase"
            )
        if not all(isinstance(value, str) for value in table.values()):
            raise KeyFolderError(
                BAD_NETWORKS_FILE, f"{where}: network {name!r}: ssid and passphrase must be text"
            )
        networks[name] = Network(table["ssid"], table["passphrase"])
    return networks


def networks_text(networks: dict[str, Network]) -> str:
    """The file's text, in the order of names."""
    return tomli_w.dumps(
        {
            name: {"ssid": networks[name].ssid, "passphrase": networks[name].passphrase}
            for name in sorted(networks)
        }
    )


def _fault_of(passphrase: str) -> str:
    """What is wrong with it, without showing any of it."""
    count = len(passphrase)
    if not _PRINTABLE_ASCII.fullmatch(passphrase):
        return f"the passphrase, of {count} characters, holds one that is not printable ASCII"
    if count == _KEY_DIGITS:
        return f"the passphrase has {count} characters, and so many must all be hex digits"
    return f"the passphrase has {count} characters"


def _without_values(message: str) -> str:
    """A TOML error's place alone: its words may quote a passphrase."""
    place = re.search(r"\(at .*\)$", message)
    return f"not TOML {place.group()}" if place else "not TOML"
