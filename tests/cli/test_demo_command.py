"""The demo's story, without running the whole of it (tests/bench does)."""

from __future__ import annotations

from fleet.cli.app import run
from fleet.cli.demo import lay_out, story
from fleet.codes import Exit
from fleet.find.match import Match


def test_first_key_command_is_the_one_that_a_first_user_types(tmp_path, monkeypatch) -> None:
    """And it does in the demo's folder, looking on loopback alone: a demo concerns no node of this network."""
    asked_on = []

    async def nobody(*args: object, interface: str | None, **kwargs: object) -> list[Match]:
        asked_on.append(interface)
        return []

    monkeypatch.setattr("fleet.push.other_keys.find", nobody)
    project = tmp_path / "demo"
    lay_out(project, print)
    first = next(step.words for step in story("header-east", "kestrel-01") if step.words[0] == "keys")
    assert first == ("keys", "create")
    assert run(["--project", str(project), *first]) == Exit.OK
    assert asked_on == ["127.0.0.1"]
    assert (project / "keys" / "fleet-key.hex").is_file()
