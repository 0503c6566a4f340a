"""The command `keys`: what may be made and set, and what is refused before it locks somebody out."""

from __future__ import annotations

import io

import pytest

from fleet.codes import Exit
from fleet.keys.folder import KeyFolder
from fleet.keys.networks import Network
from tests.cli.commands import farm

__all__ = ["farm"]

GOOD = Network("Farm", "correct horse battery")
SET = ("keys", "set-network", "n", "--ssid", "Farm")


@pytest.mark.parametrize(
    "given", ["", "\n", "\r\n"], ids=["nothing", "an empty line", "an empty line of Windows"]
)
def test_no_passphrase_is_no_open_network(given, farm, capsys, monkeypatch) -> None:
    """A script whose input went astray must not open the fleet to everybody."""
    keys = KeyFolder.open(farm.workspace.keys_dir)
    keys.set_network("n", GOOD)
    monkeypatch.setattr("sys.stdin", io.StringIO(given))
    assert farm.run(*SET) == Exit.USAGE
    err = capsys.readouterr().err
    assert "KEY106" in err
    assert "--open" in err
    assert keys.network("n") == GOOD


def test_an_open_network_is_said(farm, monkeypatch) -> None:
    def nobody_is_asked() -> str:
        raise AssertionError

    monkeypatch.setattr("sys.stdin.readline", nobody_is_asked, raising=False)
    assert farm.run(*SET, "--open") == Exit.OK
    assert KeyFolder.open(farm.workspace.keys_dir).network("n") == Network("Farm", "")


@pytest.mark.parametrize(
    ("typed", "accepted"),
    [
        ("1234567", False),
        ("12345678", True),
        ("~" * 63, True),
        ("z" * 64, False),
        ("0123456789abcdef" * 4, True),
        ("a" * 65, False),
        ("pässword12", False),
        ("bell\x07bell", False),
    ],
)
def test_passphrases_are_those_of_802_11(typed, accepted, farm, capsys, monkeypatch) -> None:
    """IEEE 802.11-2020, annex J.4.1 (clause from memory): 8 to 63 characters of 32 to 126, or 64 hex digits."""
    keys = KeyFolder.open(farm.workspace.keys_dir)
    keys.set_network("n", GOOD)
    monkeypatch.setattr("sys.stdin", io.StringIO(f"{typed}\n"))
    assert farm.run(*SET) == (Exit.OK if accepted else Exit.USAGE)
    said = capsys.readouterr()
    assert typed not in said.out + said.err
    assert keys.network("n").passphrase == (typed if accepted else GOOD.passphrase)


def test_a_passphrase_that_is_no_text_is_refused(farm, capsys, monkeypatch) -> None:
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(b"caf\xe9 con leche\n"), encoding="utf-8"))
    assert farm.run(*SET) == Exit.USAGE
    assert "KEY106" in capsys.readouterr().err


def test_a_network_name_that_is_no_text_is_refused(farm, capsys, monkeypatch) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("correct horse battery\n"))
    assert farm.run(*SET[:-1], "caf\udce9") == Exit.USAGE
    assert "KEY106" in capsys.readouterr().err


def test_credentials_stay_when_the_new_ones_do_not_read_back(farm, monkeypatch) -> None:
    from fleet.errors import KeyFolderError
    from fleet.keys import folder as module

    keys = KeyFolder.open(farm.workspace.keys_dir)
    keys.set_network("n", GOOD)
    written = module.replace_private

    def on_a_bad_disk(path, data, check) -> None:
        written(path, data.replace(b"Other", b"Othes"), check)

    monkeypatch.setattr(module, "replace_private", on_a_bad_disk)
    with pytest.raises(KeyFolderError, match="does not read back as written"):
        keys.set_network("n", Network("Other", "correct horse battery"))
    assert keys.network("n") == GOOD
    assert [path.name for path in keys.path.iterdir() if path.name.startswith(".")] == []
