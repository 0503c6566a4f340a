"""The key folder: the signing key, the fleet key, and the credentials of the networks."""

from __future__ import annotations

import re
import secrets
import shutil
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING

from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    PublicFormat,
    load_pem_private_key,
)

from fleet.durable import beside_of, left_behind, make_folder, sync_folder
from fleet.errors import KeyFolderError
from fleet.keys.codes import (
    BAD_NETWORKS_FILE,
    DAMAGED_KEY,
    KEYS_EXIST,
    NO_KEYS,
    NO_NETWORK,
    OPEN_TO_OTHERS,
)
from fleet.keys.derive import KEY_BYTES, fleet_key_fingerprint, node_key
from fleet.keys.networks import Network, networks_text, parse_networks
from fleet.keys.private_file import (
    PRIVATE_FOLDER,
    create_private,
    read_private,
    refuse_open,
    replace_private,
)
from fleet.keys.trust import Trust
from fleet.limits import KEY_FILE_BYTES

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

SIGNING_KEY_FILE = "signing-key.pem"
FLEET_KEY_FILE = "fleet-key.hex"
NETWORKS_FILE = "networks.toml"
_FLEET_KEY = re.compile(rb"[0-9a-f]{64}\n?")


@dataclass(frozen=True, slots=True)
class KeyFolder:
    """A folder (0700) with the fleet's secrets (0600). Every reading checks owner and mode: KeyFolderError if
    others could read them."""

    path: Path

    @classmethod
    def create(cls, path: Path, *, random_bytes: Callable[[int], bytes] = secrets.token_bytes) -> KeyFolder:
        """Make both keys: wholly or not at all, and never over keys that are there."""
        if path.is_dir() and any(path.iterdir()):
            raise KeyFolderError(KEYS_EXIST, f"{path} is not empty")
        make_folder(path.parent)
        cls(path).sweep()
        beside = beside_of(path)
        beside.mkdir(PRIVATE_FOLDER)
        try:
            beside.chmod(PRIVATE_FOLDER)
            signing_key = ec.generate_private_key(ec.SECP256R1())
            pem = signing_key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
            create_private(beside / SIGNING_KEY_FILE, pem)
            create_private(beside / FLEET_KEY_FILE, random_bytes(KEY_BYTES).hex().encode() + b"\n")
            sync_folder(beside)
            beside.rename(path)
            sync_folder(path.parent)
        except BaseException:
            shutil.rmtree(beside, ignore_errors=True)
            raise
        return cls(path)

    @classmethod
    def open(cls, path: Path) -> KeyFolder:
        """The folder, once it and both keys have been found sound."""
        folder = cls(path)
        folder.sweep()
        folder.signing_key()
        folder.fleet_key()
        return folder

    def sweep(self) -> None:
        """Remove what processes that were killed left half written: it may hold passphrases and keys."""
        names = (SIGNING_KEY_FILE, FLEET_KEY_FILE, NETWORKS_FILE)
        with suppress(
            OSError
        ):  # not ours to change: what is wrong with the folder is said by whoever reads it
            for left in [
                *left_behind(self.path),
                *(one for name in names for one in left_behind(self.path / name)),
            ]:
                if left.is_dir() and not left.is_symlink():
                    shutil.rmtree(left)
                else:
                    left.unlink()

    def signing_key(self) -> ec.EllipticCurvePrivateKey:
        """The private key (P-256) that signs tickets."""
        path = self.path / SIGNING_KEY_FILE
        try:
            key = load_pem_private_key(self._read(SIGNING_KEY_FILE), password=None)
        except (ValueError, TypeError):
            raise KeyFolderError(
                DAMAGED_KEY, f"{path} is not an unencrypted private key in PEM form"
            ) from None
        if not isinstance(key, ec.EllipticCurvePrivateKey) or not isinstance(key.curve, ec.SECP256R1):
            raise KeyFolderError(DAMAGED_KEY, f"{path} is not a key on the curve P-256")
        return key

    def fleet_key(self) -> bytes:
        """The 32 bytes that node keys are derived from."""
        text = self._read(FLEET_KEY_FILE)
        if not _FLEET_KEY.fullmatch(text):
            raise KeyFolderError(DAMAGED_KEY, f"{self.path / FLEET_KEY_FILE} does not hold 64 hex digits")
        return bytes.fromhex(text.decode())

    def trust(self) -> Trust:
        """The public part of the signing key."""
        public = self.signing_key().public_key()
        return Trust(public.public_bytes(Encoding.X962, PublicFormat.UncompressedPoint))

    def public_point(self) -> bytes:
        """The public point, uncompressed, 65 bytes."""
        return self.trust().point

    def key_id(self) -> bytes:
        """8 bytes that name the signing key in tickets."""
        return self.trust().key_id

    def node_key(self, node: str) -> bytes:
        """The 32 bytes shared with the node of that name."""
        return node_key(self.fleet_key(), node)

    def fleet_key_fingerprint(self) -> str:
        """16 hex digits that tell this fleet key from another."""
        return fleet_key_fingerprint(self.fleet_key()).hex()

    def networks(self) -> dict[str, Network]:
        """Credentials by network name; empty when none were ever set."""
        self._check_folder()
        path = self.path / NETWORKS_FILE
        if not path.exists():
            return {}
        return parse_networks(self._read(NETWORKS_FILE).decode("utf-8", "replace"), str(path))

    def network(self, name: str) -> Network:
        """The credentials of one network; KeyFolderError if they were never set."""
        found = self.networks().get(name)
        if found is None:
            raise KeyFolderError(NO_NETWORK, f"{self.path} has no credentials for the network {name!r}")
        return found

    def set_network(self, name: str, network: Network) -> None:
        """Set or replace the credentials of one network.

        What is there now stays until the new file is written beside it and reads as it should: KeyFolderError if not.
        """
        networks = {**self.networks(), name: network}

        def reads_back(beside: Path) -> None:
            if parse_networks(self._read(beside.name).decode("utf-8", "replace"), str(beside)) != networks:
                raise KeyFolderError(BAD_NETWORKS_FILE, f"{beside} does not read back as written")

        replace_private(self.path / NETWORKS_FILE, networks_text(networks).encode(), reads_back)

    def _check_folder(self) -> None:
        try:
            status = self.path.stat()
        except FileNotFoundError as error:
            raise KeyFolderError(NO_KEYS, f"{self.path} does not exist") from error
        except PermissionError as error:
            raise KeyFolderError(OPEN_TO_OTHERS, f"{self.path} cannot be reached: it is not yours") from error
        refuse_open(self.path, status)

    def _read(self, name: str) -> bytes:
        self._check_folder()
        return read_private(self.path / name, KEY_FILE_BYTES)
