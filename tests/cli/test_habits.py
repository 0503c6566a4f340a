"""What a command line is held to, behaviour by behaviour; the numbers are those of the tests' names.

| # | behaviour | tests here and elsewhere |
|---|---|---|
| 1 | help prints to stdout, exits 0, begins with a real example | test_01; test_frame.py |
| 2 | the bare command: at most 40 lines, grouped by task | test_02; test_frame.py |
| 3 | --version is quick, heavy imports are lazy | test_03; test_habits_bench.py test_03 (time) |
| 4 | data to stdout only, the rest to stderr only | test_04, test_05 |
| 5 | --json with a schema, and the same facts | test_05; test_find_command.py, test_push_commands.py, test_bench.py |
| 6 | exit codes, documented | test_06 |
| 7 | stable code, what, why, fix; `explain` offline | test_07; test_house.py |
| 8 | inventory errors with path:line:col, all in one run | test_08; inventory/test_inventory_golden.py |
| 9 | one "did you mean", nothing corrected silently | test_09 |
| 10 | no traceback; an internal error names a report | test_10; test_frame.py |
| 11 | a plan is a file; stale ones are refused | test_push_commands.py; push/test_plan_document.py |
| 12 | whatever changes nodes has a dry run | test_12; test_push_, _flash_, _rejoin_, _clear_fault_command(s).py |
| 13 | nothing to do exits 0 and says so; twice is once | test_13; test_push_commands.py; build/test_builder.py |
| 14 | dangerous scope asks | test_14; test_push_commands.py |
| 15 | progress in bounded lines; 200 nodes fit 24 rows | push/test_reporters.py; test_15 |
| 16 | nothing silent for more than 2 s | push/test_reporters.py; test_habits_bench.py test_16 |
| 17 | logs of parallel jobs never interleave | build/test_host_build.py; test_build_commands.py (a failed one's tail) |
| 18 | NO_COLOR, TERM=dumb, --color; nothing by color alone | test_18 |
| 19 | Ctrl-C: a word, a safe point, exit 130 | test_habits_bench.py test_19; push/test_runner.py |
| 20 | after kill -9 the next run says what was in progress | test_20; push/test_{killed,rejoin}.py; *_bench.py |
| 21 | flag > environment > project > user > default | test_21; test_frame.py |
| 22 | long forms, one name one meaning, `-` is stdin or stdout | test_22; test_habits_bench.py |
| 23 | completion | test_23 |
| 24 | tables fit 60 to 200 columns; one record a line when piped | test_24; test_layout.py; test_habits_bench.py |
| 25 | what changed and what is next; no secret anywhere | test_25; test_habits_bench.py test_25 |
"""

from __future__ import annotations

import base64
import io
import json
import os
import re
import socket
import subprocess
import sys
from collections import defaultdict
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path

import jsonschema
import pytest

from fleet.cli.app import COMMANDS, run
from fleet.cli.output import Output
from fleet.codes import Exit
from fleet.explain import all_codes
from fleet.keys.folder import KeyFolder
from fleet.settings import SETTINGS
from tests.cli.commands import (
    CHANGES_NODES,
    Farm,
    Found,
    Terminal,
    commands,
    everything,
    examples_of,
    farm,
    root,
)
from tests.fake_platformio import replace_platformio

__all__ = ["farm"]

ROOT = Path(__file__).resolve().parent.parent.parent
DEMO = ROOT / "inventory"
SCHEMAS = files("fleet") / "schemas"
ALL = everything()
RUN = commands()


def ids(found: Found) -> str:
    return found.name


@pytest.fixture
def compiled(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    return replace_platformio(monkeypatch)


@pytest.fixture
def built(farm: Farm, compiled: list[str], capsys: pytest.CaptureFixture[str]) -> Farm:
    """The farm, built for the host without PlatformIO."""
    assert farm.run("build", "--target", "host") == Exit.OK
    capsys.readouterr()
    return farm


@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Farm]:
    """A farm to look at: built, and with a push that was interrupted."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CONFIG_HOME", str(tmp_path_factory.mktemp("config")))
        replace_platformio(patch)
        farm = Farm(tmp_path_factory.mktemp("shown") / "farm")
        assert farm.run("build", "--target", "host") == Exit.OK
        farm.pushed(until="on-trial")
        yield farm


# ------------------------------------------------------------------ 1 to 3: help
@pytest.mark.parametrize("found", ALL, ids=ids)
@pytest.mark.parametrize("flag", ["-h", "--help"])
def test_01_help_begins_with_an_example_that_parses(found, flag, capsys) -> None:
    assert run([*found.words, flag]) == Exit.OK
    printed = capsys.readouterr()
    assert printed.err == ""
    lines = examples_of(printed.out)
    assert lines, printed.out.splitlines()[0]
    assert lines[0][: len(found.words)] == list(found.words)[: len(lines[0])]
    for words in lines:
        command = root()
        while hasattr(command, "list_commands"):
            command, words = command.get_command(None, words[0]), words[1:]
        command.make_context(command.name, list(words)).close()


def test_02_bare_command_is_short_and_grouped(capsys) -> None:
    assert run([]) == Exit.OK
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) <= 40
    assert max(map(len, lines)) <= 80
    tasks = list(dict.fromkeys(entry.task for entry in COMMANDS))
    assert [line for line in lines if line in tasks] == tasks


def test_03_the_frame_loads_nothing_heavy() -> None:
    """Help and completion stay quick too: what is heavy is imported below the command."""
    heavy = (
        "yaml",
        "fleet.inventory",
        "fluids",
        "scipy",
        "aiohttp",
        "zeroconf",
        "cryptography",
        "jinja2",
        "pint",
    )
    code = (
        "import sys; from fleet.cli.app import run; run([]);"
        f"bad=[m for m in sys.modules if m.startswith({heavy!r})]; assert not bad, bad"
    )
    subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=True, stdout=subprocess.DEVNULL)


def test_check_loads_only_what_it_needs(tmp_path) -> None:
    """A small machine checks often; and what stands beside the tool may not hook into its reading."""
    (tmp_path / "beside.py").write_text("import sys; sys.exit('loaded')")
    about = tmp_path / "beside-1.0.dist-info"
    about.mkdir()
    (about / "METADATA").write_text("Metadata-Version: 2.1\nName: beside\nVersion: 1.0\n")
    (about / "entry_points.txt").write_text("[pydantic]\nbeside = beside:plugin\n")
    heavy = (
        "pint",
        "aiohttp",
        "zeroconf",
        "cryptography",
        "rich",
        "jinja2",
        "ruamel",
        "esptool",
        "platformio",
        "numpy",
        "scipy",
        "fluids",
        "asyncio",
        "beside",
    )
    code = (
        f"import sys; sys.path.insert(0, {str(tmp_path)!r}); sys.argv = ['tankfleet', 'check'];"
        "from fleet.__main__ import main;\n"
        "try: main()\nexcept SystemExit as left: assert left.code == 0, left\n"
        f"bad = set({heavy!r}) & {{name.split('.')[0] for name in sys.modules}}; assert not bad, bad"
    )
    subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=True, stdout=subprocess.DEVNULL)


# ------------------------------------------------------------------ 4 and 9: what goes wrong
WRONG = [
    ("chek",),
    ("show", "tank", "tank-farm-x"),
    ("show", "noed"),
    ("show", "board", "d1-minni"),
    ("render", "farm-aa"),
    ("build", "farm-aa"),
    ("build", "--releese", "1.0.0"),
    ("shelf", "farm-aa"),
    ("find", "farm-aa"),
    ("plan", "site-11"),
    ("sheet", "nodee", "farm-a"),
    ("sheet", "node", "farm-aa"),
    ("sheet", "node", "farm-a", "--paper", "lettr"),
    ("rejoin", "farm-aa"),
    ("clear-fault", "farm-aa"),
    ("rejoin", "--site", "site-11"),
    ("roll-back", "farm-aa"),
    ("keys", "node", "farm-aa", "--out", "x.key"),
    ("keys", "set-network", "nn", "--ssid", "x"),
    ("bench", "up", "farm-aa"),
    ("bench", "lst"),
    ("explain", "CLI1O1"),
    ("schema", "inventry"),
]


@pytest.mark.parametrize("words", WRONG, ids=" ".join)
def test_04_and_09_errors_go_to_stderr_with_one_suggestion(words, farm, capsys) -> None:
    before = sorted(farm.folder.rglob("*"))
    assert farm.run(*words) == Exit.USAGE
    printed = capsys.readouterr()
    assert printed.out == ""
    assert printed.err.count("Did you mean") == 1, printed.err
    assert re.search(r"^error [A-Z]{3}\d{3}: ", printed.err)
    for part in ("  why: ", "  fix: ", "  more: tankfleet explain "):
        assert part in printed.err
    assert sorted(farm.folder.rglob("*")) == before, "nothing is corrected silently"


def test_09_a_key_and_a_board_of_the_inventory(farm, capsys) -> None:
    path = farm.folder / "inventory" / "all.yaml"
    text = path.read_text(encoding="utf-8")
    for wrong in (
        text.replace("largest_draw", "largest_drow", 1),
        text.replace("esp32-devkit", "esp32-devkitt", 1),
    ):
        path.write_text(wrong, encoding="utf-8")
        assert farm.run("check") == Exit.USAGE
        assert capsys.readouterr().out.lower().count("did you mean") == 1


# ------------------------------------------------------------------ 5: JSON
NODES = {"farm-a", "farm-b", "farm-c"}
JSON_RUNS: dict[str, tuple[tuple[str, ...], str, int]] = {
    "new": (("new", "elsewhere"), "new", Exit.OK),
    "check": (("check",), "check", Exit.OK),
    "show": (("show", "nodes"), "show-list", Exit.OK),
    "keys create": (("keys", "create"), "keys", Exit.OK),
    "keys show": (("keys", "show"), "keys", Exit.OK),
    "keys networks": (("keys", "networks"), "networks", Exit.OK),
    "render": (("render", "--target", "host"), "render", Exit.OK),
    "build": (("build", "--target", "host"), "build", Exit.OK),
    "shelf": (("shelf",), "shelf", Exit.OK),
    "find": (("find", *sorted(NODES), "--timeout", "0.1"), "find", Exit.UNREACHABLE),
    "plan": (("plan", "--timeout", "0.1"), "plan", Exit.UNREACHABLE),
    "resume": (("resume", "--dry-run"), "dry-run", Exit.OK),
    "stop": (("stop", "--dry-run"), "dry-run", Exit.OK),
    "roll-back": (("roll-back", "--dry-run"), "dry-run", Exit.OK),
    "audit": (("audit", "--offline"), "audit", Exit.OK),
    "bench list": (("bench", "list"), "bench", Exit.OK),
    "explain": (("explain",), "explain", Exit.OK),
    "settings": (("settings",), "settings", Exit.OK),
}
ELSEWHERE = {
    "push": "test_push_commands.py, push/test_reporters.py",
    "flash": "test_flash_command.py",
    "rejoin": "test_rejoin_command.py",
    "clear-fault": "test_clear_fault_command.py",
}
NO_FACTS = {
    "schema": "prints JSON documents itself",
    "sheet": "makes a document for paper of what `show` prints",
    "hold": "prints no data",
    "go-on": "prints no data",
    "keys set-network": "prints no data",
    "keys node": "writes a key to a file or a pipe",
    "bench up": "prints no data",
    "bench down": "prints no data",
    "bench hurt": "prints no data",
    "bench draw": "prints no data",
    "bench level": "prints no data",
    "demo": "runs other commands and tells a story",
}
LEFT_OUT_OF_TABLES = re.compile(r"why|fix|what|title|ticket|record|inputs|class_id|block_crc|text|\$|place")


def test_05_every_command_that_prints_facts_has_json() -> None:
    with_json = {found.name for found in RUN if found.has("--json")}
    assert with_json == set(JSON_RUNS) | set(ELSEWHERE)
    assert {found.name for found in RUN} - with_json == set(NO_FACTS)


@pytest.mark.parametrize("name", JSON_RUNS)
def test_05_json_follows_its_schema_and_has_the_facts_of_the_table(
    name, shown, capsys, monkeypatch, tmp_path
) -> None:
    built = shown
    monkeypatch.chdir(tmp_path)
    words, kind, status = JSON_RUNS[name]
    assert built.run(*words, "--json") == status
    printed = capsys.readouterr()
    document = json.loads(printed.out)
    assert document["schema"] == f"tankfleet/{kind}/1"
    jsonschema.Draft202012Validator(_schema(kind)).validate(document)
    if name == "new":
        words = ("new", "elsewhere-too")
    if name == "render":
        (built.folder / "rendered" / "farm-a" / "platformio.ini").unlink()
    if name == "bench list":
        return  # it is not up: tests/cli/test_bench.py compares the two
    assert built.run(*words) == status
    again = capsys.readouterr()
    table = again.out + (again.err if name == "render" else "")
    facts = json.dumps(document, ensure_ascii=False)
    first_words = [line.split()[0] for line in table.splitlines()[1:] if line[:1].strip()]
    if kind not in ("check", "dry-run", "plan", "new", "keys"):
        assert set(_names(document)) & NODES <= set(re.findall(r"[\w.-]+", table)), (
            "all nodes are in the table"
        )
        known = [word for word in first_words if word in facts]
        assert known, "the rows of the table are in the JSON"
    for value in _texts(document):
        if value in NODES or re.fullmatch(r"\d+\.\d+\.\d+", value):
            assert value in table or name in ("check", "new"), f"{value} is in the JSON and not in the table"


def _schema(kind: str) -> dict[str, object]:
    schema: dict[str, object] = json.loads((SCHEMAS / f"{kind}.json").read_text(encoding="utf-8"))
    return schema


def _names(document: object) -> list[str]:
    return [text for text in _texts(document) if re.fullmatch(r"[a-z0-9-]+", text)]


def _texts(document: object) -> list[str]:
    if isinstance(document, dict):
        return [
            t for key, value in document.items() if not LEFT_OUT_OF_TABLES.search(key) for t in _texts(value)
        ]
    if isinstance(document, list):
        return [text for one in document for text in _texts(one)]
    return [document] if isinstance(document, str) else []


def test_05_show_prints_what_its_json_says(capsys) -> None:
    for kind, name in (
        ("tank", "header-east"),
        ("node", "kestrel-01"),
        ("site", "larkwood"),
        ("board", "d1-mini"),
    ):
        assert run(["--project", str(ROOT), "show", kind, name, "--json"]) == Exit.OK
        document = json.loads(capsys.readouterr().out)
        jsonschema.Draft202012Validator(_schema(f"show-{kind}")).validate(document)
        assert run(["--project", str(ROOT), "show", kind, name]) == Exit.OK
        text = capsys.readouterr().out
        shown = document[kind]
        for part in ("marks", "pins", "nodes", "tanks"):
            for one in shown.get(part, []):
                label = one if isinstance(one, str) else one.get("name") or one.get("pin")
                assert label in text


def test_05_schemas_are_printed_and_used(capsys) -> None:
    assert run(["schema"]) == Exit.OK
    kinds = capsys.readouterr().out.split()
    code = "\n".join(p.read_text(encoding="utf-8") for p in (ROOT / "fleet").rglob("*.py"))
    for kind in kinds:
        assert run(["schema", kind]) == Exit.OK
        schema = json.loads(capsys.readouterr().out)
        jsonschema.Draft202012Validator.check_schema(schema)
        if kind != "inventory":
            assert schema["$id"] == f"tankfleet/{kind}/1"
            printed = re.search(rf'emit_json\(\s*"{kind}"', code)
            assert printed or kind.startswith("show-") or kind.endswith("-file"), f"nothing prints {kind}"


# ------------------------------------------------------------------ 6 and 7: exit codes, codes
def test_06_exit_codes_are_documented() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    for status in Exit:
        assert f"| {int(status)} |" in readme, status


def test_06_ok_problems_usage_unreachable(farm, capsys) -> None:
    assert farm.run("check") == Exit.OK
    assert farm.run("audit", "--timeout", "0.1") in (Exit.PROBLEMS, Exit.UNREACHABLE)
    assert farm.run("bench", "hurt", "farm-a", "kill") == Exit.PROBLEMS
    assert farm.run("find", "--timeout", "0.1") == Exit.UNREACHABLE
    assert farm.run("plan", "--soak", "long") == Exit.USAGE


def test_06_warnings_are_problems_when_strict(farm) -> None:
    file = farm.folder / "inventory" / "all.yaml"
    text = file.read_text(encoding="utf-8").replace("soak: 1 s, trial", "soak: 30 s, trial")
    text = text.replace("flow: 400 L/min", "flow: 800 L/min")
    file.write_text(text, encoding="utf-8")
    assert farm.run("check", "--strict") == Exit.OK
    file.write_text(text.replace("flow: 800 L/min", "flow: 20 L/min"))
    assert farm.run("check") == Exit.OK
    assert farm.run("check", "--strict") == Exit.PROBLEMS, "a pump of 20 L/min against 30 drawn"


def test_06_locked(farm, capsys, compiled) -> None:
    from fleet.build.lock import locked
    from fleet.push.lock import runner_lock

    with runner_lock(farm.workspace.journal_path, 4711):
        for words in (("resume",), ("resume", "--dry-run")):
            assert farm.run(*words) == Exit.LOCKED
            assert "process 4711" in capsys.readouterr().err
    farm.workspace.build_dir.mkdir(parents=True, exist_ok=True)
    with locked(farm.workspace.build_dir / "lock"):
        assert farm.run("build", "--target", "host") == Exit.LOCKED
    assert "fix: " in capsys.readouterr().err


def test_06_interrupted(farm, capsys, monkeypatch) -> None:
    def pressed(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("fleet.cli.shelf.session", pressed)
    assert run(["shelf"]) == Exit.INTERRUPTED
    printed = capsys.readouterr()
    assert "CLI108" in printed.err
    assert "run the same command again to continue" in printed.err


def test_07_explain_needs_no_network(capsys, monkeypatch) -> None:
    def no_network(*_: object, **__: object) -> None:
        raise AssertionError("a socket was opened")

    monkeypatch.setattr(socket, "socket", no_network)
    assert run(["explain", "--json"]) == Exit.OK
    listed = {one["code"]: one for one in json.loads(capsys.readouterr().out)["codes"]}
    assert set(listed) == set(all_codes())
    assert all(len(one["why"]) > 20 and len(one["fix"]) > 10 for one in listed.values())
    for code in ("CLI101", "INV120", "PSH105", "LNK101"):
        assert run(["explain", code]) == Exit.OK
        head, why, fix = capsys.readouterr().out.splitlines()
        assert head.startswith(f"{code} (")
        assert (why, fix) == (f"  why: {listed[code]['why']}", f"  fix: {listed[code]['fix']}")


def test_08_all_errors_of_all_files_in_one_run(farm, capsys) -> None:
    folder = farm.folder / "inventory"
    (folder / "b.yaml").write_text("sites:\n  - {name: b, time_zone: Europe/Lisbn, network: n}\n")
    (folder / "c.yaml").write_text("tanks:\n  - {name: c, sight: b}\n")
    assert farm.run("check") == Exit.USAGE
    out = capsys.readouterr().out
    places = re.findall(r"^inventory/(\w+)\.yaml:(\d+):(\d+): error [A-Z]{3}\d{3}: ", out, re.M)
    assert {name for name, _, _ in places} == {"b", "c"}
    numbers = [(name, int(line), int(col)) for name, line, col in places]
    assert numbers == sorted(numbers)
    assert "    2 |   - {name: b, time_zone: Europe/Lisbn, network: n}\n      |" in out
    assert re.search(r"^      \| +\^{12,14}$", out, re.M), "the spot is underlined"


def test_10_no_traceback_whatever_happens(farm, capsys, monkeypatch) -> None:
    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("out of luck")

    monkeypatch.setattr("fleet.cli.shelf.session", broken)
    assert farm.run("shelf") == Exit.INTERNAL
    err = capsys.readouterr().err
    assert "Traceback" not in err
    report = re.search(r"The report is (\S+)\.$", err, re.M)
    assert report
    assert "out of luck" in Path(report[1]).read_text(encoding="utf-8")


# ------------------------------------------------------------------ 12 to 15: changes
def test_12_whatever_changes_nodes_has_a_dry_run() -> None:
    assert {found.name for found in RUN if found.has("--dry-run")} == set(CHANGES_NODES)


@pytest.mark.parametrize("word", ["resume", "stop", "roll-back"])
def test_12_a_dry_run_opens_no_connection_and_writes_no_event(word, farm, capsys, monkeypatch) -> None:
    from fleet.push.journal import Journal

    state = farm.pushed(until="done" if word == "roll-back" else "on-trial")
    path = farm.workspace.journal_path
    before = _events(path, state.plan.id)

    def no_network(*_: object, **__: object) -> None:
        raise AssertionError("a socket was opened")

    monkeypatch.setattr(socket, "socket", no_network)
    assert farm.run(word, "--dry-run") == Exit.OK
    printed = capsys.readouterr()
    assert "nothing was sent to any node" in printed.err
    assert [line.split()[0] for line in printed.out.splitlines()[1:]] == list(farm.names)
    assert _events(path, state.plan.id) == before
    journal = Journal.open(path)
    assert journal.open_requests(state.plan.id) == []
    journal.close()


def _events(path: Path, push: str) -> int:
    from fleet.push.journal import Journal

    journal = Journal.open(path)
    try:
        return len(journal.events(push))
    finally:
        journal.close()


TWICE = [
    (("new", "elsewhere"), "nothing was written"),
    (("keys", "create"), "nothing was changed"),
    (("keys", "set-network", "n", "--ssid", "Farm"), "nothing was changed"),
    (("keys", "node", "farm-a", "--out", "a.key"), "nothing was written"),
    (("render", "--target", "host"), "nothing was written"),
    (("build", "--target", "host"), "Nothing has changed"),
    (("hold",), "Nothing to do"),
    (("bench", "down"), "nothing was done"),
]


@pytest.mark.parametrize(("words", "told"), TWICE, ids=lambda v: " ".join(v) if isinstance(v, tuple) else "")
def test_13_twice_is_once(words, told, farm, compiled, capsys, monkeypatch) -> None:
    if words == ("hold",):
        farm.pushed(until="on-trial")
    for _ in range(2):
        monkeypatch.setattr("sys.stdin", io.StringIO("correct horse battery\n"))
        before = _contents(farm.folder)
        assert farm.run(*words) == Exit.OK
    assert told in capsys.readouterr().err
    assert _contents(farm.folder) == before


def _contents(folder: Path) -> dict[str, bytes]:
    return {str(p): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file() and ".db" not in p.name}


@pytest.mark.parametrize(
    ("answer", "status", "told"),
    [
        ("n\n", Exit.USAGE, "you said no; nothing was done"),
        ("\n", Exit.USAGE, "you said no"),
        ("y\n", None, ""),
    ],
)
def test_14_a_person_is_asked(answer, status, told, monkeypatch, capsys) -> None:
    from fleet.cli.common import Session
    from fleet.errors import UsageError

    class Keyboard(io.StringIO):
        def isatty(self) -> bool:
            return True

    err = Terminal()
    monkeypatch.setattr("sys.stdin", Keyboard(answer))
    monkeypatch.setattr("sys.stderr", err)
    this = Session(Output())
    if status is None:
        this.confirm("Push to 22 nodes?", given=False, flag="--yes")
    else:
        with pytest.raises(UsageError, match=told) as said:
            this.confirm("Push to 22 nodes?", given=False, flag="--yes")
        whole = f"{said.value.why} {said.value.fix}"
        assert "no terminal" not in whole, "there was one, and the answer was no"
        assert "--yes" not in whole, "who said no is not told how to skip the question"
    assert err.getvalue() == "Push to 22 nodes? [y/N] "


def test_14_without_a_terminal_the_flag_is_named(farm, capsys) -> None:
    farm.pushed()
    assert farm.run("roll-back") == Exit.USAGE
    printed = capsys.readouterr()
    assert "fix: Add --yes to the command." in printed.err


def test_15_no_animation_off_a_terminal(monkeypatch) -> None:
    assert not Output(stderr=io.StringIO()).animated()
    monkeypatch.setenv("TERM", "dumb")
    assert not Output(stderr=Terminal()).animated()
    monkeypatch.setenv("TERM", "xterm")
    assert Output(stderr=Terminal()).animated()


def test_15_progress_takes_one_line_on_a_terminal(monkeypatch) -> None:
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("COLUMNS", "60")
    out, err = Terminal(), Terminal()
    output = Output(stdout=out, stderr=err)
    output.progress("still compiling, 2 s so far")
    output.progress("x" * 80)
    output.data("done")
    assert err.getvalue() == "\r\x1b[Kstill compiling, 2 s so far\r\x1b[K" + "x" * 56 + "...\r\x1b[K"
    piped = Output(stdout=io.StringIO(), stderr=io.StringIO())
    piped.progress("still compiling, 2 s so far")
    assert piped.stderr.getvalue() == "still compiling, 2 s so far\n"


# ------------------------------------------------------------------ 18: color
COLORED = [("check",), ("show", "tank", "header-east"), ("settings",), ("audit", "--offline"), ("chek",)]


@pytest.mark.parametrize("words", COLORED, ids=" ".join)
def test_18_nothing_is_said_by_color_alone(words, capsys, monkeypatch) -> None:
    monkeypatch.delenv("NO_COLOR", raising=False)
    project = ["--project", str(ROOT), "--inventory", str(DEMO)]
    run([*project, "--color", "never", *words])
    plain = capsys.readouterr()
    run([*project, "--color", "always", *words])
    colored = capsys.readouterr()
    assert "\x1b" not in plain.out + plain.err
    assert "\x1b[" in colored.out + colored.err
    shown = re.sub(r"\x1b\[\d+m", "", colored.out)
    assert shown == re.sub("(color +)never ", r"\1always", plain.out)
    assert re.sub(r"\x1b\[\d+m", "", colored.err) == plain.err


def test_18_no_color_and_dumb_terminals(monkeypatch) -> None:
    for name in ("NO_COLOR", "TERM"):
        monkeypatch.delenv(name, raising=False)
    out = Output(stdout=Terminal())
    assert out.style("x", "red") == "\x1b[31mx\x1b[0m"
    monkeypatch.setenv("NO_COLOR", "1")
    assert out.style("x", "red") == "x"
    monkeypatch.delenv("NO_COLOR")
    monkeypatch.setenv("TERM", "dumb")
    assert out.style("x", "red") == "x"
    assert Output(color="always", stdout=Terminal()).style("x", "red") != "x", "the flag is stronger"


@pytest.mark.parametrize(
    ("words", "fix"),
    [
        (("check", "--color", "never"), "Write `tankfleet --color WHEN check ...`."),
        (("show", "tank", "header-east", "--project", "x"), "Write `tankfleet --project DIR show ...`."),
        (("keys", "show", "--keys=x"), "Write `tankfleet --keys DIR keys show ...`."),
        (("check", "--debug"), "Write `tankfleet --debug check ...`."),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, tuple) else "",
)
def test_09_an_option_of_all_commands_behind_one_is_told_its_place(words, fix, capsys) -> None:
    assert run(["--inventory", str(DEMO), *words]) == Exit.USAGE
    err = capsys.readouterr().err
    assert "comes before the command" in err
    assert fix in err


# ------------------------------------------------------------------ 20: after a kill
def test_20_the_next_run_says_what_was_in_progress(farm, capsys) -> None:
    state = farm.pushed(until="on-trial")
    (farm.folder / "new.plan").write_text(_other_plan(), encoding="utf-8")
    assert farm.run("push", "new.plan") == Exit.PROBLEMS
    err = capsys.readouterr().err
    assert f"push {state.plan.id} was interrupted" in err
    assert "farm-a: on trial" in err
    assert "`tankfleet resume`" in err and "`tankfleet stop`" in err


def _other_plan() -> str:
    from fleet.push.plan import write_plan
    from tests.push.plans import plan_of, planned

    return write_plan(plan_of([planned("farm-b")]))


# ------------------------------------------------------------------ 21: settings
def test_21_every_setting_has_a_flag_a_variable_and_an_origin(tmp_path, capsys, monkeypatch) -> None:
    flags = {flag for found in ALL for option in found.options for flag in option.opts}
    flags |= {flag for option in root().params for flag in option.opts}
    for setting in SETTINGS:
        assert f"--{setting.name.replace('_', '-')}" in flags, setting.name
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    (tmp_path / "config" / "tankfleet").mkdir(parents=True)

    def origin() -> tuple[str, str]:
        assert run(["--project", str(tmp_path), *flag, "settings", "--json"]) == Exit.OK
        found = {one["name"]: one for one in json.loads(capsys.readouterr().out)["settings"]}["find_on"]
        return found["value"], found["origin"]

    flag: list[str] = []
    assert origin() == ("auto", "default")
    (tmp_path / "config" / "tankfleet" / "settings.toml").write_text('find_on = "10.0.0.1"\n')
    assert origin() == ("10.0.0.1", "user file settings.toml")
    (tmp_path / "tankfleet.toml").write_text('find_on = "10.0.0.2"\n')
    assert origin() == ("10.0.0.2", "project file tankfleet.toml")
    monkeypatch.setenv("TANKFLEET_FIND_ON", "10.0.0.3")
    assert origin() == ("10.0.0.3", "environment")
    flag = ["--find-on", "10.0.0.4"]
    assert origin() == ("10.0.0.4", "flag")


def test_21_folders_named_by_flags_are_found_from_here(farm, capsys, monkeypatch, tmp_path) -> None:
    (farm.folder / "inventory").rename(tmp_path / "elsewhere")
    monkeypatch.chdir(tmp_path)
    words = ["--project", str(farm.folder), "--inventory", "elsewhere", "--keys", "farm/keys"]
    assert run([*words, "keys", "show"]) == Exit.OK
    assert str(tmp_path / "farm" / "keys") in capsys.readouterr().out


# ------------------------------------------------------------------ 22: flags
def test_22_every_flag_has_a_long_form_and_one_name_means_one_thing() -> None:
    meanings: dict[str, set[tuple[object, ...]]] = defaultdict(set)
    shorts: dict[str, set[str]] = defaultdict(set)
    for found in [*ALL, Found((), root())]:
        for option in found.options:
            longs = [flag for flag in option.opts if flag.startswith("--")]
            assert longs, f"{found.name} {option.opts}"
            for flag in option.opts:
                if not flag.startswith("--"):
                    shorts[flag].add(longs[0])
            if option.name != "version":
                words = re.split(r"[,;:.( ]", option.help or "")
                meanings[longs[0]].add((words[0], bool(option.is_flag), option.metavar))
    assert not {flag: said for flag, said in meanings.items() if len(said) > 1}
    assert not {flag: longs for flag, longs in shorts.items() if len(longs) > 1}


def test_22_arguments_of_one_name_mean_one_thing() -> None:
    kinds: dict[str, set[str]] = defaultdict(set)
    for found in RUN:
        for argument in found.arguments:
            kinds[argument.metavar.strip("[].")].add((argument.help or "").split()[0].strip(",.:;"))
    assert kinds["NODE"] <= {"Only", "The"}
    assert kinds["TANK"] == {"The"}


def test_22_dash_is_stdin_or_stdout_wherever_a_file_is_taken(farm, capsys, monkeypatch) -> None:
    takes_files = {
        (found.name, option.opts[0]) for found in RUN for option in found.options if option.metavar == "FILE"
    }
    assert takes_files == {
        ("check", "--sarif"),
        ("audit", "--csv"),
        ("plan", "--out"),
        ("keys node", "--out"),
        ("sheet", "--out"),
    }
    assert farm.run("check", "--sarif", "-") == Exit.OK
    assert json.loads(capsys.readouterr().out)["version"] == "2.1.0"
    assert farm.run("audit", "--offline", "--csv", "-") == Exit.OK
    assert capsys.readouterr().out.startswith("node,")
    assert farm.run("plan", "--timeout", "0.1", "--out", "-") == Exit.UNREACHABLE
    assert json.loads(capsys.readouterr().out)["schema"] == "tankfleet/plan/1"
    assert farm.run("keys", "node", "farm-a", "--out", "-") == Exit.OK
    assert re.fullmatch(r"[0-9a-f]{64}\n", capsys.readouterr().out)
    assert farm.run("sheet", "node", "farm-a", "--out", "-") == Exit.OK
    assert capsys.readouterr().out.startswith("<!doctype html>")
    monkeypatch.setattr("sys.stdin", io.StringIO("{}"))
    assert farm.run("push", "-") == Exit.USAGE
    assert "PLN101" in capsys.readouterr().err
    assert not (farm.folder / "-").exists()


def test_22_a_key_is_never_shown_on_a_terminal(farm, monkeypatch, capsys) -> None:
    out = Terminal()
    monkeypatch.setattr("sys.stdout", out)
    assert farm.run("keys", "node", "farm-a", "--out", "-") == Exit.USAGE
    assert out.getvalue() == ""


# ------------------------------------------------------------------ 23: completion
COMPLETED = [
    ("tankfleet ro", "roll-back"),
    ("tankfleet --pro", "--project"),
    ("tankfleet bench h", "hurt"),
    ("tankfleet plan --an", "--any-hour"),
    ("tankfleet roll-back --dr", "--dry-run"),
    ("tankfleet render farm-", "farm-b"),
    ("tankfleet find farm-a farm-", "farm-c"),
    ("tankfleet plan si", "site-2"),
    ("tankfleet plan farm", "farm-a"),
    ("tankfleet rejoin farm-", "farm-b"),
    ("tankfleet clear-fault farm-", "farm-b"),
    ("tankfleet rejoin --site si", "site-2"),
    ("tankfleet bench hurt farm-b po", "power-cut"),
    ("tankfleet bench level tank-", "tank-farm-a"),
    ("tankfleet show t", "tank"),
    ("tankfleet show tank tank-farm", "tank-farm-c"),
    ("tankfleet show site s", "site-0"),
    ("tankfleet show board d1", "d1-mini"),
    ("tankfleet sheet t", "tank"),
    ("tankfleet sheet node farm", "farm-c"),
    ("tankfleet sheet site s", "site-0"),
    ("tankfleet sheet node farm-a --paper le", "letter"),
    ("tankfleet keys set-network ", "n"),
    ("tankfleet build --target ", "host"),
    ("tankfleet build --defect ha", "hang-after-minute"),
    ("tankfleet explain CLI10", "CLI101"),
    ("tankfleet schema sh", "show-tank"),
    ("tankfleet push sp", "spring.plan"),
    ("tankfleet push 0123", "0123456789ab"),
    ("tankfleet --color ne", "never"),
]


@pytest.mark.parametrize(("line", "offered"), COMPLETED, ids=[line for line, _ in COMPLETED])
def test_23_completion(line, offered, shown, capsys, monkeypatch) -> None:
    monkeypatch.chdir(shown.folder)
    (shown.folder / "spring.plan").touch()
    shown.workspace.plans_dir.mkdir(parents=True, exist_ok=True)
    (shown.workspace.plans_dir / "0123456789ab.plan").touch()
    assert offered in _completed(line, monkeypatch, capsys)


def test_23_completion_follows_the_project_of_the_line(farm, capsys, monkeypatch, tmp_path) -> None:
    monkeypatch.chdir(tmp_path)
    assert _completed("tankfleet show tank tank-", monkeypatch, capsys) == []
    offered = _completed(f"tankfleet --project {farm.folder} show tank tank-", monkeypatch, capsys)
    assert offered == [f"tank-{name}" for name in farm.names]


def _completed(line: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> list[str]:
    monkeypatch.setenv("_TANKFLEET_COMPLETE", "complete_bash")
    monkeypatch.setenv("COMP_WORDS", line)
    monkeypatch.setenv("COMP_CWORD", str(len(line.split(" ")) - 1))
    with pytest.raises(SystemExit):
        run([])
    printed = capsys.readouterr()
    assert printed.err == ""
    return printed.out.split()


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_23_the_shells_get_a_script(shell, capsys, monkeypatch) -> None:
    monkeypatch.setenv("_TANKFLEET_COMPLETE", f"source_{shell}")
    with pytest.raises(SystemExit):
        run([])
    assert "_TANKFLEET_COMPLETE" in capsys.readouterr().out


# ------------------------------------------------------------------ 24: tables
TABLES = [
    ("check",),
    ("show",),
    ("show", "tank", "tank-farm-a"),
    ("show", "node", "farm-a"),
    ("show", "site", "site-0"),
    ("show", "board", "d1-mini"),
    ("keys", "networks"),
    ("keys", "show"),
    ("shelf",),
    ("plan", "--timeout", "0.1"),
    ("find", "--timeout", "0.1"),
    ("resume", "--dry-run"),
    ("audit", "--offline"),
    ("explain",),
    ("explain", "INV101"),
    ("settings",),
]


@pytest.mark.parametrize("words", TABLES, ids=" ".join)
def test_24_tables_fit_the_terminal(words, shown, monkeypatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    for width in (60, 80, 200):
        out, err = Terminal(), Terminal()
        with monkeypatch.context() as patch:
            patch.setenv("COLUMNS", str(width))
            patch.setattr("sys.stdout", out)
            patch.setattr("sys.stderr", err)
            shown.run(*words)
        lines = (out.getvalue() + err.getvalue().replace("\x1b[K", "")).splitlines()
        assert lines
        copied = ("next:", str(shown.folder))  # commands and paths are never folded: they are to be copied
        too_long = [line for line in lines if len(line) > width and not any(part in line for part in copied)]
        assert not too_long


@pytest.mark.parametrize(
    "words", [("shelf",), ("settings",), ("explain",), ("audit", "--offline")], ids=" ".join
)
def test_24_one_record_a_line_when_piped(words, shown, capsys, monkeypatch) -> None:
    monkeypatch.setenv("COLUMNS", "60")
    shown.run(*words)
    rows = capsys.readouterr().out.split("\n\n")[0].splitlines()
    assert not any(row.startswith(" ") for row in rows)
    key = {"shelf": 9, "settings": len(SETTINGS) + 2, "explain": len(all_codes()), "audit": 3}[words[0]]
    assert len(rows) == 1 + key


# ------------------------------------------------------------------ 25: what changed, what is next; secrets
CHANGING = [
    ("new", "elsewhere"),
    ("keys", "create"),
    ("keys", "set-network", "n", "--ssid", "Farm"),
    ("keys", "node", "farm-a", "--out", "a.key"),
    ("render", "--target", "host"),
    ("build", "--target", "host", "--release", "2.0.0"),
    ("hold",),
    ("go-on",),
]


@pytest.mark.parametrize("words", CHANGING, ids=" ".join)
def test_25_what_changed_and_the_next_command(words, farm, compiled, capsys, monkeypatch) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("correct horse battery\n"))
    if words[0] in ("hold", "go-on"):
        farm.pushed(until="on-trial")
    assert farm.run(*words) == Exit.OK
    err = capsys.readouterr().err
    assert "  next: " in err
    for line in re.findall(r"next: (tankfleet .*)", err):
        parts = line.replace("RELEASE", "1.0.0").split()[1:]
        command = root()
        while hasattr(command, "list_commands"):
            command, parts = command.get_command(None, parts[0]), parts[1:]
        command.make_context(command.name, parts).close()


def test_25_no_secret_leaves_the_key_folder(built, capsys, monkeypatch) -> None:
    passphrase = "correct horse battery"
    monkeypatch.setattr("sys.stdin", io.StringIO(f"{passphrase}\n"))
    said = ""
    for words in (
        ("keys", "set-network", "n", "--ssid", "Farm"),
        ("render", "--target", "host"),
        ("build", "--target", "host", "--release", "3.0.0"),
        *(words for words, _, _ in JSON_RUNS.values()),
        *((*words, "--json") for words, _, _ in JSON_RUNS.values()),
    ):
        built.run(*words)
        printed = capsys.readouterr()
        said += printed.out + printed.err
    keys = KeyFolder.open(built.folder / "keys")
    secrets = [
        keys.signing_key().private_numbers().private_value.to_bytes(32, "big"),
        keys.fleet_key(),
        *(keys.node_key(name) for name in built.names),
    ]
    forms = [form for secret in secrets for form in _forms(secret)] + [passphrase.encode()]
    written = {p: p.read_bytes() for p in built.folder.rglob("*") if p.is_file() and "keys" not in p.parts}
    assert len(written) > 100
    for form in forms:
        assert form not in said.encode()
        assert not [str(path) for path, data in written.items() if form in data]


def _forms(secret: bytes) -> list[bytes]:
    """Raw, hex in both cases, base64 in both alphabets without padding."""
    encoded = [base64.b64encode(secret), base64.urlsafe_b64encode(secret)]
    return [secret, secret.hex().encode(), secret.hex().upper().encode(), *(e.rstrip(b"=") for e in encoded)]


def test_25_secrets_are_never_asked_for_in_argv() -> None:
    for found in ALL:
        for param in found.command.params:
            assert not re.search(r"pass|secret|psk", str(param.name)), found.name
    assert "passphrase" not in " ".join(os.environ).lower()
