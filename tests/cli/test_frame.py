"""The frame of the command line: help, errors, exit codes, colors, settings."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from fleet.cli.app import COMMANDS, run
from fleet.cli.common import Session
from fleet.codes import Exit
from fleet.errors import UsageError
from fleet.explain import all_codes
from fleet.settings import Origin, resolve

ROOT = Path(__file__).resolve().parent.parent.parent


@pytest.mark.parametrize("entry", COMMANDS, ids=lambda e: e.name)
@pytest.mark.parametrize("flag", ["-h", "--help"])
def test_help_of_each_command_begins_with_an_example(entry, flag, capsys) -> None:
    assert run([entry.name, flag]) == Exit.OK
    printed = capsys.readouterr()
    assert printed.out.startswith(f"Example: tankfleet {entry.name}")
    assert printed.err == ""


def test_bare_command_fits_40_lines_and_names_every_command(capsys) -> None:
    assert run([]) == Exit.OK
    out = capsys.readouterr().out
    assert out.count("\n") <= 40
    assert all(f"  {entry.name} " in out for entry in COMMANDS)


def test_version_reads_nothing_else() -> None:
    """Heavy imports are lazy: --version loads neither typer nor any other module of ours."""
    code = (
        "import sys; sys.argv=['tankfleet','--version'];"
        "from fleet.__main__ import main; main();"
        "bad=[m for m in sys.modules if m.split('.')[0] in ('typer','rich','pydantic','yaml','fluids','aiohttp')];"
        "assert not bad, bad"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("tankfleet ")


def test_misspelt_command_gets_one_suggestion_and_nothing_runs(capsys) -> None:
    assert run(["chek"]) == Exit.USAGE
    printed = capsys.readouterr()
    assert "Did you mean 'check'?" in printed.err
    assert "CLI102" in printed.err
    assert printed.out == ""


def test_unknown_option_names_the_help(capsys) -> None:
    assert run(["settings", "--jsn"]) == Exit.USAGE
    err = capsys.readouterr().err
    assert "CLI101" in err
    assert "tankfleet settings -h" in err


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["check", "--sarif"], "--sarif"),
        (["find", "--timeout"], "--timeout"),
        (["keys", "set-network", "farm"], "--ssid"),
        (["clear-fault"], "NODE"),
        (["bench", "hurt", "ridge-01", "drown"], "'drown' is not one of 'kill'"),
    ],
    ids=lambda v: " ".join(v) if isinstance(v, list) else "",
)
def test_what_is_missing_is_called_missing(words: list[str], told: str, capsys) -> None:
    """An option that the command has is never said to be unknown, whatever its value lacks."""
    assert run(words) == Exit.USAGE
    err = capsys.readouterr().err
    assert told in err and "error CLI101: " in err
    assert "there is no option" not in err and "Value error" not in err


def test_missing_inventory_is_explained(capsys, tmp_path) -> None:
    assert run(["--project", str(tmp_path), "check"]) == Exit.USAGE
    err = capsys.readouterr().err
    assert "CLI104" in err
    assert "tankfleet new" in err


def test_explain_knows_every_code(capsys) -> None:
    for code in all_codes():
        assert run(["explain", code.lower()]) == Exit.OK
    out = capsys.readouterr().out
    assert "why:" in out
    assert run(["explain", "--json"]) == Exit.OK
    listed = json.loads(capsys.readouterr().out)
    assert listed["schema"] == "tankfleet/explain/1"
    assert {c["code"] for c in listed["codes"]} == set(all_codes())


def test_explain_misspelt(capsys) -> None:
    assert run(["explain", "CLI1O1"]) == Exit.USAGE
    assert "Did you mean 'CLI1" in capsys.readouterr().err


def test_settings_say_where_each_value_comes_from(tmp_path) -> None:
    user, project = tmp_path / "user", tmp_path / "project"
    user.mkdir()
    project.mkdir()
    (user / "settings.toml").write_text('color = "never"\njobs = 3\ntarget = "host"\n')
    (project / "tankfleet.toml").write_text('jobs = 2\ncolor = "always"\n')
    found = resolve({"color": "auto"}, {"TANKFLEET_JOBS": "1"}, project, user)
    assert (found["color"].value, found["color"].origin) == ("auto", "flag")
    assert (found["jobs"].value, found["jobs"].origin) == ("1", "environment")
    assert (found["target"].value, found["target"].origin) == ("host", "user file settings.toml")
    assert found["inventory"].origin == "default"
    without = resolve({}, {}, project, user)
    assert (without["jobs"].value, without["jobs"].origin) == ("2", "project file tankfleet.toml")


@pytest.mark.parametrize("text", ['color = "blue"', "jobs = -1", 'colour = "never"', "color = "])
def test_bad_settings_are_refused(tmp_path, text) -> None:
    (tmp_path / "tankfleet.toml").write_text(text)
    with pytest.raises(UsageError) as caught:
        resolve({}, {}, tmp_path, tmp_path)
    assert caught.value.code.code == "CLI106"


def test_color_only_where_wanted(capsys, monkeypatch) -> None:
    monkeypatch.delenv("NO_COLOR", raising=False)
    assert run(["--color", "always", "chek"]) == Exit.USAGE
    run(["--color", "always", "--project", "/nonexistent", "check"])
    assert "\x1b[" in capsys.readouterr().err
    run(["--project", "/nonexistent", "check"])
    assert "\x1b[" not in capsys.readouterr().err


def test_internal_error_names_a_report_and_no_traceback(capsys, tmp_path, monkeypatch) -> None:
    def broken(*_args: object) -> dict[str, object]:
        raise RuntimeError("out of luck")

    monkeypatch.setattr("fleet.cli.explain.all_codes", broken)
    assert run(["--project", str(tmp_path), "explain"]) == Exit.INTERNAL
    err = capsys.readouterr().err
    assert "CLI107" in err
    assert "Traceback" not in err
    reports = list((tmp_path / ".tankfleet" / "reports").iterdir())
    assert len(reports) == 1
    assert "out of luck" in reports[0].read_text()
    with pytest.raises(RuntimeError):
        run(["--debug", "--project", str(tmp_path), "explain"])


def test_completion_offers_commands() -> None:
    env = {
        **os.environ,
        "_TANKFLEET_COMPLETE": "complete_bash",
        "COMP_WORDS": "tankfleet ro",
        "COMP_CWORD": "1",
    }
    done = subprocess.run(
        [sys.executable, "-m", "fleet"], capture_output=True, text=True, env=env, cwd=ROOT, check=False
    )
    assert "roll-back" in done.stdout, done.stderr


def test_folder_of_compilers_is_the_users_unless_it_is_named(tmp_path, monkeypatch) -> None:
    """XDG base directory specification: user-specific data lies in $XDG_DATA_HOME, else in $HOME/.local/share."""
    for name, value in (("HOME", "home"), ("XDG_CONFIG_HOME", "config")):
        monkeypatch.setenv(name, str(tmp_path / value))
    monkeypatch.delenv("XDG_DATA_HOME")
    this = Session(project=tmp_path / "farm")
    default = tmp_path / "home" / ".local" / "share" / "tankfleet" / "compilers"
    assert this.compilers_dir() == default
    assert this.settings()["compilers"] == Origin(str(default), "default")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    assert this.compilers_dir() == tmp_path / "data" / "tankfleet" / "compilers"
    (tmp_path / "farm").mkdir()
    (tmp_path / "farm" / "tankfleet.toml").write_text('compilers = ".tankfleet/build/core"\n')
    assert this.compilers_dir() == tmp_path / "farm" / ".tankfleet" / "build" / "core"
    monkeypatch.setenv("TANKFLEET_COMPILERS", "~/elsewhere")
    assert this.compilers_dir() == tmp_path / "home" / "elsewhere"


def test_piped_tables_have_one_record_a_line(capsys) -> None:
    run(["settings"])
    lines = capsys.readouterr().out.strip().splitlines()
    assert len(lines) == 11
    assert lines[0].split() == ["setting", "value", "from", "variable", "what", "it", "is"]
