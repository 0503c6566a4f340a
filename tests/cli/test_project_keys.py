"""Whose keys they are: a key folder belongs to a project, by its id, and new keys never lock anybody out."""

from __future__ import annotations

import json
import os
import re
import shutil
from pathlib import Path

import pytest

from fleet.cli.app import run
from fleet.codes import Exit
from fleet.errors import UsageError
from fleet.find.codes import NO_INTERFACE
from fleet.find.match import Match, Status
from fleet.keys.folder import KeyFolder
from fleet.keys.project_id import PROJECT_ID_FILE, make_project_id, read_project_id
from fleet.keys.whereabouts import BOUND_FILE, adopt
from tests.cli.commands import farm

__all__ = ["farm"]

ID = "0123456789abcdef"


@pytest.fixture(autouse=True)
def config(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The user's own folder, and no long wait for nodes that are not there."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.delenv("TANKFLEET_KEYS", raising=False)
    monkeypatch.setattr("fleet.push.other_keys.find", _nobody)
    return tmp_path / "config" / "tankfleet"


async def _nobody(*args: object, **kwargs: object) -> list[object]:
    return []


def _project(folder: Path, *, fleet: str = "", with_id: bool = True) -> Path:
    """A new project; one of the older way has no id."""
    assert run(["new", str(folder)]) == Exit.OK
    if not with_id:
        (folder / PROJECT_ID_FILE).unlink()
    if fleet:
        path = folder / "inventory" / "fleet.yaml"
        text = path.read_text(encoding="utf-8")
        path.write_text(text.replace(f"name: {folder.name}", f"name: {fleet}"), encoding="utf-8")
    return folder


def _shown(capsys: pytest.CaptureFixture[str], folder: Path) -> tuple[str, str]:
    """The key folder that a project uses, and what is said beside."""
    capsys.readouterr()
    assert run(["--project", str(folder), "keys", "show", "--json"]) == Exit.OK
    said = capsys.readouterr()
    return json.loads(said.out)["folder"], said.err


def _refused(capsys: pytest.CaptureFixture[str], folder: Path, *words: str) -> str:
    capsys.readouterr()
    assert run(["--project", str(folder), *(words or ("keys", "show"))]) == Exit.USAGE
    return capsys.readouterr().err


# ------------------------------------------------------------------ whose keys
def test_two_projects_with_one_name_have_keys_of_their_own(tmp_path, capsys) -> None:
    one, other = (_project(tmp_path / name, fleet="elm-farm") for name in ("one", "other"))
    for project in (one, other):
        assert run(["--project", str(project), "keys", "create"]) == Exit.OK
    assert _shown(capsys, one)[0] != _shown(capsys, other)[0]
    assert "KEY101" not in capsys.readouterr().err


def test_a_renamed_fleet_keeps_its_keys(tmp_path, capsys) -> None:
    project = _project(tmp_path / "farm")
    assert run(["--project", str(project), "keys", "create"]) == Exit.OK
    before = _shown(capsys, project)
    path = project / "inventory" / "fleet.yaml"
    path.write_text(path.read_text(encoding="utf-8").replace("name: farm", "name: ranch"), encoding="utf-8")
    assert _shown(capsys, project) == before


def test_on_another_machine_the_copied_key_folder_is_all_that_is_needed(
    tmp_path, config, capsys, monkeypatch
) -> None:
    project = _project(tmp_path / "farm")
    assert run(["--project", str(project), "keys", "create"]) == Exit.OK
    shutil.copytree(project, tmp_path / "there" / "farm")
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "there" / "config"))
    assert "copy its key folder" in _refused(capsys, tmp_path / "there" / "farm")
    shutil.copytree(config / "keys", tmp_path / "there" / "config" / "tankfleet" / "keys")
    assert _shown(capsys, tmp_path / "there" / "farm")[0].endswith(str(read_project_id(project)))


def test_keys_by_the_fleet_s_name_are_adopted_once_and_that_is_said(tmp_path, config, capsys) -> None:
    project = _project(tmp_path / "farm", with_id=False)
    old = KeyFolder.create(config / "keys" / "farm")
    folder, said = _shown(capsys, project)
    project_id = read_project_id(project)
    assert folder == str(old.path)
    assert said.count("now bound to this project") == 1
    assert f"({project_id})" in said
    assert PROJECT_ID_FILE in said
    assert _shown(capsys, project) == (folder, "")
    assert (old.path / BOUND_FILE).stat().st_mode & 0o777 == 0o600
    path = project / "inventory" / "fleet.yaml"
    path.write_text(path.read_text(encoding="utf-8").replace("name: farm", "name: ranch"), encoding="utf-8")
    assert _shown(capsys, project) == (folder, "")


def test_adopted_keys_are_not_given_to_a_second_project_of_that_name(tmp_path, config, capsys) -> None:
    KeyFolder.create(config / "keys" / "elm")
    first, second, third = (
        _project(tmp_path / name, fleet="elm", with_id=with_id)
        for name, with_id in (("a", False), ("b", False), ("c", True))
    )
    _shown(capsys, first)
    for project in (second, third):
        err = _refused(capsys, project)
        assert "KEY110" in err
        assert str(read_project_id(first)) in err
    assert run(["--project", str(second), "keys", "create"]) == Exit.OK
    assert _shown(capsys, second)[0] == str(config / "keys" / str(read_project_id(second)))


def test_keys_that_the_wrong_project_took_for_the_name_are_had_back_as_is_advised(
    tmp_path, config, capsys
) -> None:
    """Of two projects of the older way the first takes them, and says on what that rests."""
    old = KeyFolder.create(config / "keys" / "elm")
    wrong, right = (_project(tmp_path / name, fleet="elm", with_id=False) for name in ("a", "b"))
    said = " ".join(_shown(capsys, wrong)[1].split())
    assert said.count("Only the fleet's name showed") == 1
    bound = f"delete {old.path / BOUND_FILE}"
    assert bound in said
    assert bound in " ".join(_refused(capsys, right).split())
    (old.path / BOUND_FILE).unlink()
    assert _shown(capsys, right)[0] == str(old.path)
    assert "KEY110" in _refused(capsys, wrong)


def test_a_new_project_does_not_take_keys_that_only_have_its_name(tmp_path, config, capsys) -> None:
    KeyFolder.create(config / "keys" / "farm")
    project = _project(tmp_path / "farm")
    assert "KEY110" in _refused(capsys, project)
    assert not (config / "keys" / "farm" / BOUND_FILE).exists()
    assert not (config / "keys" / str(read_project_id(project))).exists()
    assert run(["--project", str(project), "keys", "create"]) == Exit.OK
    assert _shown(capsys, project)[0] == str(config / "keys" / str(read_project_id(project)))


def test_what_is_advised_makes_keys_by_the_name_the_project_s_own(tmp_path, config, capsys) -> None:
    old = KeyFolder.create(config / "keys" / "farm")
    project = _project(tmp_path / "farm")
    fingerprint = old.fleet_key_fingerprint()
    fix = re.search(r"`mv (\S+) (\S+)`", _refused(capsys, project))
    assert fix is not None
    Path(fix[1]).rename(fix[2])
    folder, said = _shown(capsys, project)
    assert KeyFolder.open(Path(folder)).fleet_key_fingerprint() == fingerprint
    assert said == ""


def test_keys_that_signed_what_is_on_the_shelf_are_adopted_whoever_made_the_id(farm, config, capsys) -> None:
    """The other machine, after the project with its id was fetched there: its own keys are still by the name."""
    (farm.folder / "tankfleet.toml").unlink()
    (config / "keys").mkdir(parents=True)
    shutil.copytree(farm.folder / "keys", config / "keys" / "yard")
    (farm.folder / PROJECT_ID_FILE).write_text(f"{ID}\n", encoding="utf-8")
    folder, said = _shown(capsys, farm.folder)
    assert folder == str(config / "keys" / "yard")
    assert f"now bound to this project ({ID})" in said


def test_keys_that_did_not_sign_what_is_on_the_shelf_are_not(farm, config, capsys) -> None:
    (farm.folder / "tankfleet.toml").unlink()
    KeyFolder.create(config / "keys" / "yard")
    assert "KEY110" in _refused(capsys, farm.folder)
    assert "KEY109" in _refused(capsys, farm.folder, "keys", "create")
    assert read_project_id(farm.folder) is None


def test_a_project_that_lost_its_id_is_told_where_its_keys_are(farm, config, capsys) -> None:
    """`tankfleet.id` was deleted before it was committed: no other machine has the keys, this one has."""
    (farm.folder / "tankfleet.toml").unlink()
    folder = config / "keys" / ID
    folder.parent.mkdir(parents=True)
    shutil.copytree(farm.folder / "keys", folder)
    KeyFolder.create(config / "keys" / "of-another")
    for words, code in ((("keys", "show"), "KEY101"), (("keys", "create"), "KEY109")):
        err = _refused(capsys, farm.folder, *words)
        assert code in err
        assert f"on this machine, in {folder}" in err.replace("\n", " ")
    (farm.folder / "tankfleet.toml").write_text(f'keys = "{folder}"\n', encoding="utf-8")
    assert _shown(capsys, farm.folder)[0] == str(folder)


def test_a_project_that_cannot_be_written_still_has_its_keys(tmp_path, config, capsys, monkeypatch) -> None:
    def full(*_: object) -> str:
        raise OSError(28, "No space left on device")

    project = _project(tmp_path / "farm", with_id=False)
    old = KeyFolder.create(config / "keys" / "farm")
    monkeypatch.setattr("fleet.keys.whereabouts.make_project_id", full)
    folder, said = _shown(capsys, project)
    assert folder == str(old.path)
    assert "No space left" in said


def test_the_id_is_on_the_disk_before_the_keys_are_bound_to_it(tmp_path, config, monkeypatch) -> None:
    """A power cut loses what was not synced. Keys that are bound to an id which was lost would be nobody's."""
    order: list[str] = []
    fsync = os.fsync

    def noted(handle: int) -> None:
        order.append(Path(f"/proc/self/fd/{handle}").readlink().name)
        fsync(handle)

    project = _project(tmp_path / "farm", with_id=False)
    old = KeyFolder.create(config / "keys" / "farm")
    monkeypatch.setattr(os, "fsync", noted)
    adopt(old.path, project)
    of_id = next(i for i, name in enumerate(order) if PROJECT_ID_FILE in name)
    of_project = order.index(project.name, of_id)
    assert of_project < next(i for i, name in enumerate(order) if BOUND_FILE in name)
    assert (project / PROJECT_ID_FILE).stat().st_mode & 0o777 == 0o644
    assert not list(project.glob(".*.new*"))


def test_of_two_that_make_the_id_at_once_the_first_is_right(tmp_path) -> None:
    def second(count: int) -> bytes:
        (tmp_path / PROJECT_ID_FILE).write_text(f"{ID}\n", encoding="utf-8")
        return bytes(count)

    assert make_project_id(tmp_path, second) == ID
    assert read_project_id(tmp_path) == ID


@pytest.mark.parametrize("text", ["", "../../etc\n", "0123456789ABCDEF\n", f"{ID}\n{ID}\n", "é" * 5_000])
def test_an_id_that_is_none_is_refused_and_nothing_is_guessed(text, tmp_path, capsys) -> None:
    project = _project(tmp_path / "farm")
    (project / PROJECT_ID_FILE).write_text(text, encoding="utf-8")
    assert "KEY111" in _refused(capsys, project)


def test_settings_show_the_id_and_the_key_folder(tmp_path, config, capsys) -> None:
    project = _project(tmp_path / "farm")
    capsys.readouterr()
    assert run(["--project", str(project), "settings", "--json"]) == Exit.OK
    told = json.loads(capsys.readouterr().out)
    assert told["project_id"] == read_project_id(project)
    assert told["key_folder"] == str(config / "keys" / told["project_id"])
    assert run(["--project", str(project), "settings"]) == Exit.OK
    assert told["project_id"] in capsys.readouterr().out


# ------------------------------------------------------------------ whose shelf and journal
def _sharing(folder: Path, state: Path) -> Path:
    project = _project(folder)
    with (project / "tankfleet.toml").open("a", encoding="utf-8") as file:
        file.write(f'state = "{state}"\n')
    return project


def test_two_projects_never_share_a_state_folder(tmp_path, capsys) -> None:
    """Whichever comes second, and whatever it does, is refused; nothing in the folder changes."""
    one, other = (_sharing(tmp_path / name, tmp_path / "state") for name in ("one", "other"))
    assert run(["--project", str(one), "keys", "create"]) == Exit.OK
    (tmp_path / "state" / "shelf").mkdir()
    before = sorted((path, path.stat().st_mtime_ns) for path in (tmp_path / "state").rglob("*"))
    for words in (("keys", "create"), ("shelf",), ("build",), ("find",), ("plan",)):
        err = _refused(capsys, other, *words)
        assert "KEY113" in err, words
        assert str(read_project_id(one)) in err
    assert sorted((path, path.stat().st_mtime_ns) for path in (tmp_path / "state").rglob("*")) == before
    assert run(["--project", str(one), "shelf"]) == Exit.OK


def test_an_empty_state_folder_is_taken_and_a_used_one_is_said(tmp_path, capsys) -> None:
    for name, used in (("fresh", False), ("empty", False), ("used", True)):
        state = tmp_path / f"state-of-{name}"
        if name != "fresh":
            state.mkdir()
        if used:
            (state / "shelf").mkdir()
        project = _sharing(tmp_path / name, state)
        for said in (int(used), 0):
            capsys.readouterr()
            assert run(["--project", str(project), "shelf"]) == Exit.OK
            assert capsys.readouterr().err.count("now bound to this project") == said, name
        assert str(read_project_id(project)) in (state / BOUND_FILE).read_text(encoding="utf-8")


def test_another_project_s_own_folder_is_not_taken_though_it_is_not_bound_yet(tmp_path, capsys) -> None:
    one = _project(tmp_path / "one")
    (one / ".tankfleet" / "shelf").mkdir(parents=True)
    other = _sharing(tmp_path / "other", one / ".tankfleet")
    assert str(read_project_id(one)) in _refused(capsys, other, "shelf")
    (one / PROJECT_ID_FILE).unlink()
    assert "KEY113" in _refused(capsys, other, "shelf")
    assert not (one / ".tankfleet" / BOUND_FILE).exists()


def test_a_clone_of_the_project_may_use_its_state_folder(tmp_path, capsys) -> None:
    """The id is committed: it is the same project."""
    one = _sharing(tmp_path / "one", tmp_path / "state")
    assert run(["--project", str(one), "shelf"]) == Exit.OK
    shutil.copytree(one, tmp_path / "clone")
    assert run(["--project", str(tmp_path / "clone"), "shelf"]) == Exit.OK


def test_a_project_that_lost_its_id_is_told_how_to_get_at_its_state(tmp_path, capsys) -> None:
    project = _project(tmp_path / "farm")
    (project / ".tankfleet").mkdir()
    assert run(["--project", str(project), "shelf"]) == Exit.OK
    text = (project / PROJECT_ID_FILE).read_text(encoding="utf-8")
    (project / PROJECT_ID_FILE).unlink()
    err = _refused(capsys, project, "shelf")
    assert "KEY113" in err
    assert f"git checkout {PROJECT_ID_FILE}" in err
    (project / PROJECT_ID_FILE).write_text(text, encoding="utf-8")
    assert run(["--project", str(project), "shelf"]) == Exit.OK


def test_what_is_advised_takes_a_state_folder_that_is_surely_the_project_s(tmp_path, capsys) -> None:
    one, other = (_sharing(tmp_path / name, tmp_path / "state") for name in ("one", "other"))
    assert run(["--project", str(one), "shelf"]) == Exit.OK
    (bound,) = re.findall(r"delete (\S+)", _refused(capsys, other, "shelf"))
    Path(bound).unlink()
    assert run(["--project", str(other), "shelf"]) == Exit.OK
    assert "KEY113" in _refused(capsys, one, "shelf")


def test_a_state_folder_that_cannot_be_written_is_still_read(tmp_path, capsys, monkeypatch) -> None:
    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    project = _sharing(tmp_path / "farm", tmp_path / "state")
    monkeypatch.setattr("fleet.keys.state_owner.create_durably", full)
    capsys.readouterr()
    assert run(["--project", str(project), "shelf"]) == Exit.OK
    assert "No space left" in capsys.readouterr().err


# ------------------------------------------------------------------ keys that are elsewhere
@pytest.fixture
def moved(farm) -> Path:
    """The farm on a machine that has not its keys."""
    shutil.rmtree(farm.folder / "keys")
    return farm.folder


def test_no_new_keys_beside_images_that_others_signed(moved, farm, capsys) -> None:
    err = _refused(capsys, moved, "keys", "create")
    assert "KEY109" in err
    assert "Copy the key folder" in err
    assert not (moved / "keys").exists()
    assert run(["--project", str(moved), "keys", "create", "--new-fleet"]) == Exit.OK


def test_no_new_keys_beside_pushes(moved, farm, capsys) -> None:
    shutil.rmtree(moved / ".tankfleet" / "shelf")
    farm.pushed()
    assert "the journal has 1 push to its nodes" in _refused(capsys, moved, "keys", "create")


def test_no_new_keys_while_a_node_answers_that_has_others(tmp_path, capsys, monkeypatch) -> None:
    """Nothing is kept in the project: only the node itself shows that it was loaded."""

    async def one_answers(*args: object, **kwargs: object) -> list[Match]:
        assert kwargs["timeout_s"] <= 3.0
        return [
            Match("header-node", Status.IMPOSTOR, "10.0.0.7", 80),
            Match("trough-node", Status.MISSING),
            Match("a-stranger", Status.UNKNOWN, "10.0.0.8", 80),
        ]

    project = _project(tmp_path / "farm")
    monkeypatch.setattr("fleet.push.other_keys.find", one_answers)
    err = _refused(capsys, project, "keys", "create")
    assert "KEY112" in err
    assert "header-node at 10.0.0.7:80" in err
    assert "a-stranger" not in err
    assert run(["--project", str(project), "keys", "create", "--new-fleet"]) == Exit.OK


def test_what_only_answers_by_a_node_s_name_is_not_called_a_node(tmp_path, capsys, monkeypatch) -> None:
    """Any device can announce it: how to tell is said, and that it can be gone on all the same."""

    async def one_answers(*args: object, **kwargs: object) -> list[Match]:
        return [Match("header-node", Status.CROWDED, "10.0.0.7", 80)]

    project = _project(tmp_path / "farm")
    monkeypatch.setattr("fleet.push.other_keys.find", one_answers)
    err = " ".join(_refused(capsys, project, "keys", "create").split())
    assert "error KEY112: " in err
    assert err.index("run this again") < err.index("`tankfleet keys create --new-fleet`")


def test_keys_are_made_where_no_network_can_be_looked_at(tmp_path, capsys, monkeypatch) -> None:
    async def no_network(*args: object, **kwargs: object) -> list[Match]:
        raise UsageError(NO_INTERFACE, "no multicast here")

    project = _project(tmp_path / "farm")
    monkeypatch.setattr("fleet.push.other_keys.find", no_network)
    assert run(["--project", str(project), "keys", "create"]) == Exit.OK
    assert "could not search for nodes: no multicast here" in capsys.readouterr().err


def test_advice_begins_with_the_machine_that_has_the_keys(moved, capsys) -> None:
    """Whoever obeys it first must not make every node an impostor."""
    err = _refused(capsys, moved)
    fix = next(line for line in err.splitlines() if "fix:" in line)
    assert fix.index("copy its key folder") < fix.index("tankfleet keys create")


def test_nothing_promises_another_key_to_nodes() -> None:
    from fleet.keys.codes import OPEN_TO_OTHERS

    assert "make new keys" not in OPEN_TO_OTHERS.fix
    assert "only over USB" in OPEN_TO_OTHERS.fix
