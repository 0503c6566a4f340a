"""`plan`, `push`, `resume`, `hold`, `go-on`, `stop`, `roll-back` against stand-ins over real HTTP and
multicast DNS."""

from __future__ import annotations

import io
import json
import secrets
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import jsonschema
import pytest

import fleet
from fleet.check.load import load_inventory
from fleet.cli.app import run
from fleet.codes import Exit
from fleet.push.events import Requested, RequestKind
from fleet.push.journal import Journal
from fleet.push.lock import runner_lock
from fleet.push.plan import read_plan, write_plan
from tests.push.yard import lay_out, shelve
from tests.push.yard_process import YardProcess, stand_ins

SCHEMAS = Path(fleet.__file__).parent / "schemas"


class Project:
    """A project folder with a shelf, and its stand-ins."""

    def __init__(self, folder: Path) -> None:
        word = secrets.token_hex(2)
        self.folder = folder
        self.names = [f"{short}-{word}" for short in ("a", "b", "c")]
        self.field = lay_out(folder, self.names)
        self.yard: YardProcess

    def run(self, *words: str) -> int:
        return run(["--project", str(self.folder), *words])

    def plan(self, *words: str) -> str:
        """A plan file in the folder."""
        path = str(self.folder / "the.plan")
        assert self.run("plan", "--any-hour", "--out", path, *words) == Exit.OK
        return path

    def journal(self) -> Journal:
        return Journal.open(self.field.workspace.journal_path)


@pytest.fixture
def project(tmp_path, monkeypatch) -> Iterator[Project]:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    project = Project(tmp_path / "project")
    with stand_ins(project.folder) as project.yard:
        yield project


@pytest.fixture
def quiet(tmp_path, monkeypatch) -> Project:
    """A project whose nodes are all away."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    return Project(tmp_path / "project")


@pytest.mark.slow
def test_plan_push_roll_back(project, capsys) -> None:
    path = project.plan()
    printed = capsys.readouterr()
    a, b, c = project.names
    assert printed.out.splitlines()[0].split()[:3] == ["wave", "node", "site"]
    assert [line.split()[0] for line in printed.out.splitlines()[1:]] == ["1", "2", "2"]
    assert "1.0.0 -> 1.1.0" in printed.out
    assert "pilot: a fault that hits 10% of 3 nodes (1)" in printed.err
    assert f"next: tankfleet push {path}" in printed.err

    assert project.run("push", path, "--dry-run") == Exit.OK
    assert "nothing was sent to any node" in capsys.readouterr().err
    assert all(node["puts"] == 0 for node in project.yard.report().values())

    assert project.run("push", path, "--fleet", "yard") == Exit.OK
    printed = capsys.readouterr()
    assert "done: 3 kept" in printed.err
    assert f"{a}: kept 1.1.0" in printed.err
    assert "FAILED" not in printed.err + printed.out
    assert {n["release"] for n in project.yard.report().values()} == {"1.1.0"}

    assert project.run("push", path) == Exit.OK
    assert "Nothing to do" in capsys.readouterr().err
    assert all(node["puts"] == 1 for node in project.yard.report().values())

    assert project.run("roll-back", b) == Exit.OK
    printed = capsys.readouterr()
    assert "1 put back" in printed.err
    assert project.yard.report()[b]["release"] == "1.0.0"
    assert project.run("roll-back", b) == Exit.OK
    assert "Nothing to roll back" in capsys.readouterr().err
    assert project.run("roll-back") == Exit.USAGE, "two nodes need a word"
    assert "Add --yes" in capsys.readouterr().err
    assert project.run("roll-back", "--yes") == Exit.OK
    assert {n["release"] for n in project.yard.report().values()} == {"1.0.0"}

    capsys.readouterr()
    assert project.run("plan", "--any-hour") == Exit.OK
    printed = capsys.readouterr()
    assert "Nothing to push: 3 nodes: was put back" in printed.err
    again = project.plan("--retry-failed", c)
    assert read_plan(Path(again).read_text()).planned(c).sequence > 100, "a ticket above the node's floor"
    assert project.run("push", again) == Exit.OK
    assert project.yard.report()[c]["release"] == "1.1.0"


@pytest.mark.slow
def test_a_bad_update_is_halted(project, capsys) -> None:
    project.yard.tell("inverted", "1.1.0")
    path = project.plan()
    capsys.readouterr()
    assert project.run("push", path, "--fleet", "yard", "--json") == Exit.PROBLEMS
    printed = capsys.readouterr()
    lines = [json.loads(line) for line in printed.out.splitlines()]
    validator = jsonschema.Draft202012Validator(json.loads((SCHEMAS / "push.json").read_text()))
    for line in lines:
        validator.validate(line)
    assert lines[-1]["phase"] == "halted"
    assert lines[-1]["counts"] == {"put-back": 1, "left-out": 2}
    assert "PSH105" in printed.err
    assert "FAILED: marks not contradictory" in printed.err
    assert {n["release"] for n in project.yard.report().values()} == {"1.0.0"}

    assert project.run("plan", "--any-hour", "--json") == Exit.OK
    made = json.loads(capsys.readouterr().out)
    jsonschema.Draft202012Validator(json.loads((SCHEMAS / "plan.json").read_text())).validate(made)
    assert sorted(out["reason"] for out in made["left_out"]) == ["given-up", "given-up", "was-put-back"]
    assert project.run("push", path) == Exit.PROBLEMS
    assert "PSH103" in capsys.readouterr().err


@pytest.mark.slow
def test_a_stale_plan_is_refused_naming_what_changed(project, capsys) -> None:
    path = project.plan()
    a, b, _ = project.names
    shelve(project.field, b, "1.2.0", 200)
    capsys.readouterr()
    assert project.run("push", path, "--fleet", "yard") == Exit.USAGE
    printed = capsys.readouterr()
    assert "PLN102" in printed.err
    assert f"is stale: {b}: the shelf has a newer image" in printed.err
    assert project.run("push", path, "--dry-run") == Exit.USAGE
    path = project.plan(a)
    inventory = project.folder / "inventory" / "all.yaml"
    inventory.write_text(inventory.read_text().replace("30 L/min", "31 L/min", 1))
    assert project.run("push", path) == Exit.USAGE
    lines = inventory.read_text().split("\n")
    line = next(n for n, text in enumerate(lines, 1) if "31 L/min" in text)
    told = f"is stale: tank tank-{a}: its `largest_draw` in inventory/all.yaml:{line} and 1 more"
    assert told in capsys.readouterr().err
    assert all(node["puts"] == 0 for node in project.yard.report().values())


@pytest.mark.slow
def test_dangerous_scope_needs_the_typed_name(project, capsys) -> None:
    path = project.plan()
    capsys.readouterr()
    assert project.run("push", path, "--yes") == Exit.USAGE
    assert "Add --fleet yard to the command." in capsys.readouterr().err
    assert project.run("push", path, "--fleet", "yrad") == Exit.USAGE
    assert "'yrad' is not 'yard'" in capsys.readouterr().err
    part = project.plan(*project.names[:2])
    assert project.run("push", part) == Exit.USAGE
    assert "Add --yes to the command." in capsys.readouterr().err
    assert all(node["puts"] == 0 for node in project.yard.report().values())


@pytest.mark.parametrize("word", ["resume", "hold", "go-on", "stop", "roll-back"])
def test_nothing_to_do_says_so(quiet, capsys, word) -> None:
    assert quiet.run(word) == Exit.OK
    printed = capsys.readouterr()
    assert "Nothing to" in printed.err
    assert "next: tankfleet plan" in printed.err
    assert printed.out == ""


def test_missing_nodes_leave_nothing_to_push(quiet, capsys) -> None:
    assert quiet.run("plan", "--timeout", "0.2") == Exit.UNREACHABLE
    printed = capsys.readouterr()
    assert printed.out.count("missing  never found before") == 3
    assert "Nothing to push: 3 nodes: missing. No plan was written." in printed.err


def test_misspelt_names_and_files(quiet, capsys) -> None:
    assert quiet.run("plan", "site-00") == Exit.USAGE
    assert "Did you mean 'site-0'?" in capsys.readouterr().err
    assert quiet.run("push", "no.plan") == Exit.USAGE
    assert "PLN101: there is no plan no.plan" in capsys.readouterr().err
    assert quiet.run("plan", "--soak", "6 parsecs") == Exit.USAGE
    assert "--soak" in capsys.readouterr().err
    assert quiet.run("roll-back", "--push", "0" * 12) == Exit.PROBLEMS
    assert "PSH106" in capsys.readouterr().err


def test_one_push_at_a_time(quiet, capsys, tmp_path) -> None:
    from tests.push.plans import plan_of, planned

    plan, other = plan_of([planned("a")]), plan_of([planned("b")])
    journal = quiet.journal()
    journal.begin(plan, 1_772_352_000.0)
    journal.close()
    path = tmp_path / "other.plan"
    path.write_text(write_plan(other))
    assert quiet.run("push", str(path)) == Exit.PROBLEMS
    printed = capsys.readouterr()
    assert f"push {plan.id} was interrupted, phase running" in printed.err
    assert "PSH101" in printed.err
    assert "tankfleet resume" in printed.err
    assert quiet.run("hold") == Exit.OK
    assert "when the push is resumed" in capsys.readouterr().err
    journal = quiet.journal()
    assert [r.event.word for r in journal.open_requests(plan.id)] == [RequestKind.HOLD]
    journal.close()


def test_a_runner_elsewhere_locks_the_journal(quiet, capsys, tmp_path) -> None:
    with runner_lock(quiet.field.workspace.journal_path, 4711):
        assert quiet.run("resume") == Exit.LOCKED
    printed = capsys.readouterr()
    assert "PSH104: process 4711 is working with the nodes" in printed.err
    assert "tankfleet stop" not in printed.out


def test_words_to_a_runner_wait_for_its_answer(quiet, capsys, monkeypatch) -> None:
    """The runner here takes nothing in: the command says so, and the request stays."""
    from tests.push.plans import plan_of, planned

    monkeypatch.setattr("fleet.cli.push_control.REQUEST_TAKEN_S", 0.05)
    plan = plan_of([planned("a")])
    journal = quiet.journal()
    journal.begin(plan, 1_772_352_000.0)
    with runner_lock(quiet.field.workspace.journal_path, 4711):
        assert quiet.run("stop") == Exit.OK
    assert "process 4711 runs the push and has not answered yet" in capsys.readouterr().err
    (request,) = journal.open_requests(plan.id)
    assert isinstance(request.event, Requested)
    assert request.event.word is RequestKind.STOP
    journal.close()


def _documents(text: str, schema: str) -> list[dict[str, object]]:
    """The documents printed, each held to its schema."""
    rules = json.loads((SCHEMAS / f"{schema}.json").read_text(encoding="utf-8"))
    lines = text.splitlines() if schema == "push" else [text]
    made = [json.loads(line) for line in lines if line]
    for document in made:
        jsonschema.Draft202012Validator(rules).validate(document)
    return made


@pytest.mark.parametrize(
    ("word", "nothing"),
    [("resume", "none-to-resume"), ("stop", "none-under-way"), ("roll-back", "never-pushed")],
)
def test_nothing_to_do_is_a_document_too(quiet, capsys, word, nothing) -> None:
    assert quiet.run(word, "--json") == Exit.OK
    (document,) = _documents(capsys.readouterr().out, "push")
    assert (document["kind"], document["nothing"], document["push"]) == ("nothing", nothing, None)
    assert quiet.run(word, "--dry-run", "--json") == Exit.OK
    (document,) = _documents(capsys.readouterr().out, "dry-run")
    assert (document["push"], document["command"], document["nodes"]) == (None, word, [])


def test_an_empty_plan_is_an_end_of_its_own(quiet, capsys, monkeypatch) -> None:
    """An older plan in the file gives way to it; it leaves no push behind, whatever is done with it."""
    from tests.push.plans import plan_of, planned

    path = quiet.folder / "tonight.plan"
    path.write_text(write_plan(plan_of([planned("a")])))
    assert quiet.run("plan", "--timeout", "0.2", "--out", str(path)) == Exit.UNREACHABLE
    assert "updates no node" in capsys.readouterr().err
    assert read_plan(path.read_text()).waves == ()
    for words in ([str(path)], [str(path), "--dry-run"], ["-", "--yes"]):
        monkeypatch.setattr("sys.stdin", io.StringIO(path.read_text()))
        assert quiet.run("push", *words) == Exit.OK
        assert "Nothing to push" in capsys.readouterr().err
        monkeypatch.setattr("sys.stdin", io.StringIO(path.read_text()))
        assert quiet.run("push", *words, "--json") == Exit.OK
        (document,) = _documents(capsys.readouterr().out, "push")
        assert (document["kind"], document["nothing"]) == ("nothing", "empty-plan")
    assert not quiet.field.workspace.journal_path.exists()
    assert quiet.run("plan", "--timeout", "0.2", "--out", "-") == Exit.UNREACHABLE
    printed = capsys.readouterr()
    assert read_plan(printed.out).waves == ()
    assert "No plan was written" not in printed.err
    assert quiet.run("roll-back") == Exit.OK
    assert "no push was ever made" in capsys.readouterr().err


def test_a_push_of_nothing_of_an_older_version_stands_in_nobodys_way(quiet, capsys) -> None:
    """Older versions began a push for a plan that updates no node, and never ended it."""
    from tests.push.plans import plan_of, planned
    from tests.push.stage import Stage, begun, push

    name = quiet.names[0]
    stage = Stage(plan_of([planned(name)]))
    with begun(stage, quiet.field.workspace.journal_path.parent) as journal:
        push(stage, journal)
        journal.begin(plan_of(), time.time())
    assert quiet.run("roll-back", "--dry-run", "--json") == Exit.OK
    (document,) = _documents(capsys.readouterr().out, "dry-run")
    assert (document["push"], [node["node"] for node in document["nodes"]]) == (stage.plan.id, [name])
    assert quiet.run("resume") == Exit.OK
    assert "Nothing to resume" in capsys.readouterr().err
    path = quiet.folder / "next.plan"
    path.write_text(write_plan(plan_of([planned("b")])))
    quiet.run("push", str(path), "--yes")
    err = capsys.readouterr().err
    assert "PSH101" not in err, "nothing is unfinished"
    assert "PLN104" in err, "it goes on to what is wrong with this plan: its fleet"


def test_pushed_again_a_plan_says_what_is_still_open(quiet, capsys) -> None:
    """Exit status as in docs/pushing.md: 1, not all planned nodes were updated."""
    from tests.push.plans import plan_of, planned
    from tests.push.sim_node import Behaviour
    from tests.push.stage import Stage, begun, push

    made = {name: plan_of([planned(name), planned(f"{name}2")]) for name in ("held", "good")}
    for name, plan in made.items():
        stage = Stage(plan, {"held": Behaviour(spare_short_until_s=1e9)})
        journal = begun(stage, quiet.field.workspace.journal_path.parent)
        push(stage, journal)
        journal.close()
        (quiet.folder / f"{name}.plan").write_text(write_plan(plan))
    assert quiet.run("push", str(quiet.folder / "held.plan")) == Exit.PROBLEMS
    printed = capsys.readouterr()
    assert "held off 6 times: spare time 1 min 40 s, needed 10 min" in printed.out
    assert printed.out.splitlines()[1].split()[0] == "held"
    for told in ("1 kept, 1 left out", "a new one", "PSH111", "tankfleet plan"):
        assert told in printed.err
    assert "Nothing to do" not in printed.err
    assert quiet.run("push", str(quiet.folder / "held.plan"), "--json") == Exit.PROBLEMS
    (document,) = _documents(capsys.readouterr().out, "push")
    assert (document["kind"], document["code"]) == ("end", "PSH111")
    assert quiet.run("push", str(quiet.folder / "good.plan")) == Exit.OK
    assert "Nothing to do" in capsys.readouterr().err
    assert quiet.run("push", str(quiet.folder / "good.plan"), "--json") == Exit.OK
    (document,) = _documents(capsys.readouterr().out, "push")
    assert (document["kind"], document["code"]) == ("end", None)


@pytest.mark.slow
def test_images_of_an_older_inventory_stay_out_and_are_not_pushed(project, capsys) -> None:
    path = project.plan(project.names[0])
    file = project.folder / "inventory" / "all.yaml"
    text = file.read_text()
    file.write_text(text.replace("low: IO32", "low: IO27"))
    capsys.readouterr()
    assert project.run("push", path) == Exit.USAGE
    printed = capsys.readouterr()
    assert f"{project.names[0]}: the image was built from an older inventory" in printed.err
    assert "tankfleet build" in printed.err

    assert project.run("plan", "--any-hour") == Exit.OK
    printed = capsys.readouterr()
    assert printed.out.count("older inventory") >= 3
    assert "Nothing to push: 3 nodes: older inventory. No plan was written." in printed.err
    assert "next: tankfleet build\n" in printed.err

    path = project.plan("--as-built", project.names[0])
    printed = capsys.readouterr()
    assert "as built, from an older inventory" in printed.out
    assert "planned as you asked (--as-built)" in printed.out
    assert project.run("push", path, "--dry-run") == Exit.OK
    assert "send as built, from an older inventory, soak, keep" in capsys.readouterr().out
    assert project.run("push", path) == Exit.OK
    file.write_text(text.replace("low: IO32", "low: IO26"))
    assert project.run("roll-back", "--yes") == Exit.OK, "there the old image is meant"
    assert project.yard.report()[project.names[0]]["release"] == "1.0.0"

    now = replace(project.field, inventory=load_inventory(file.parent))
    shelve(now, project.names[0], "1.2.0", 1_900_000_000)
    path = project.plan(project.names[0])
    assert project.run("push", path) == Exit.OK
    assert project.yard.report()[project.names[0]]["release"] == "1.2.0"


def _files(folder: Path) -> dict[str, bytes]:
    """All but the journal's own side files, which SQLite takes away when it is closed."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.mark.slow
def test_a_night_of_cron(project, capsys, monkeypatch) -> None:
    """Each hour the same two lines, `plan --out` and `push`: once there is work for them, and then the exit status is
    that of docs/pushing.md ("For scripts"), and no file and no row of the journal is left for nothing."""
    inventory = project.folder / "inventory" / "all.yaml"
    window = "windows: [{rule: FREQ=DAILY, first: 2026-03-02 01:00, length: 3 h}]"
    text = inventory.read_text(encoding="utf-8")
    inventory.write_text(text.replace("network: n}", f"network: n, {window}}}"), encoding="utf-8")
    path = project.folder / "night.plan"
    real, midnight = time.time, datetime(2026, 3, 5, tzinfo=ZoneInfo("Europe/Lisbon")).timestamp()
    told: dict[int, tuple[int, int, int]] = {}
    held: dict[int, dict[str, bytes]] = {}
    for hour in (-2, -1, 0, 1, 2, 3, 4):
        offset_s = midnight + 3600 * hour + 60 - real()
        monkeypatch.setattr(time, "time", lambda offset_s=offset_s: real() + offset_s)
        planned = project.run("plan", "--out", str(path))
        pushed = project.run("push", str(path), "--yes")
        pushes = 0
        if project.field.workspace.journal_path.exists():
            journal = project.journal()
            pushes = len(journal.pushes())
            journal.close()
        told[hour] = (planned, pushed, pushes)
        held[hour] = _files(project.folder)
        del held[hour]["night.plan"]
    capsys.readouterr()
    idle, done = (Exit.OK, Exit.OK, 0), (Exit.OK, Exit.OK, 1)
    assert told == {-2: idle, -1: idle, 0: idle, 1: done, 2: done, 3: done, 4: done}
    assert all(node["puts"] == 1 for node in project.yard.report().values())
    assert held[0].keys() == held[-2].keys()
    moved = {name for name in held[4] if held[4][name] != held[2].get(name)} | held[2].keys() - held[4].keys()
    assert moved <= {".tankfleet/seen.json", "report.json"}, (
        "where nodes were seen last, and the stand-ins' own"
    )

    project.yard.tell("silent", "true")
    assert project.run("plan", "--out", str(path), "--timeout", "0.5") == Exit.UNREACHABLE
    assert project.run("push", str(path), "--yes") == Exit.OK
    assert "Nothing to push" in capsys.readouterr().err
