"""The list of last known addresses: it only ever helps."""

from __future__ import annotations

import json

import pytest

from fleet.find import seen as seen_file
from fleet.find.seen import Seen, read_seen, write_seen

PLACES = {
    "ridge-01": Seen("10.0.0.1", 80, "02:00:00:00:00:01", "2026-03-01T06:00:00+00:00"),
    "ridge-02": Seen("127.8.0.2", 8080, "02:00:00:00:00:02", "2026-03-02T06:00:00+00:00"),
}


def test_what_is_written_is_read(tmp_path) -> None:
    path = tmp_path / "state" / "seen.json"
    assert read_seen(path) == {}
    write_seen(path, PLACES)
    assert read_seen(path) == PLACES
    assert [entry.name for entry in path.parent.iterdir()] == ["seen.json"]


def _good() -> dict:
    entry = {"address": "10.0.0.1", "port": 80, "mac": "m", "seen_at": "t"}
    return {"v": 1, "nodes": {"ridge-01": entry}}


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[]",
        "{",
        "[" * 100_000,
        json.dumps(_good() | {"v": 2}),
        json.dumps(_good() | {"nodes": []}),
        json.dumps(_good() | {"nodes": {"a": 1}}),
        json.dumps(_good()).replace("10.0.0.1", "nowhere.example"),
        json.dumps(_good()).replace("80", "70000"),
        json.dumps(_good()).replace("80", '"80"'),
        json.dumps(_good()).replace('"mac"', '"cam"'),
    ],
    ids=lambda text: text[:30],
)
def test_a_damaged_list_is_as_good_as_none(tmp_path, text) -> None:
    path = tmp_path / "seen.json"
    path.write_text(text, encoding="utf-8")
    assert read_seen(path) == {}


def test_a_huge_list_is_not_read(tmp_path, monkeypatch) -> None:
    path = tmp_path / "seen.json"
    write_seen(path, PLACES)
    monkeypatch.setattr(seen_file, "SEEN_FILE_BYTES", 10)
    assert read_seen(path) == {}


def test_a_write_that_is_cut_off_leaves_the_old_list(tmp_path, monkeypatch) -> None:
    path = tmp_path / "seen.json"
    write_seen(path, PLACES)

    def cut(*_args) -> None:
        raise OSError("disk full")

    monkeypatch.setattr("os.fsync", cut)
    with pytest.raises(OSError, match="disk full"):
        write_seen(path, {})
    assert read_seen(path) == PLACES
    assert [entry.name for entry in tmp_path.iterdir()] == ["seen.json"]
