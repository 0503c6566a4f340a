"""Terminals and pipes that lack characters, and readers that go away: no command dies of them."""

from __future__ import annotations

import csv
import io
import json
import os
import subprocess
import sys
from pathlib import Path

import pexpect
import pytest

from fleet.cli.app import run
from fleet.cli.output import Output
from fleet.cli.streams import json_for, printable_on
from fleet.codes import Exit
from tests.cli.commands import Farm
from tests.cli.test_habits import JSON_RUNS

ROOT = Path(__file__).resolve().parents[2]
LOCALES = {
    "C": {"LC_ALL": "C", "PYTHONCOERCECLOCALE": "0", "PYTHONUTF8": "0"},
    "POSIX": {"LC_ALL": "POSIX", "PYTHONCOERCECLOCALE": "0", "PYTHONUTF8": "0"},
    "C.UTF-8": {"LC_ALL": "C.UTF-8"},
    "en_US.ISO-8859-1": {"LC_ALL": "C", "PYTHONIOENCODING": "iso-8859-1"},
}
STREAMS = {
    "C": ("ascii", "surrogateescape"),
    "C.UTF-8": ("utf-8", "surrogateescape"),
    "en_GB.UTF-8": ("utf-8", "strict"),
    "en_US.ISO-8859-1": ("iso-8859-1", "strict"),
}
"""What Python makes of a locale: encoding and errors of stdout (docs.python.org, sys.stdout; PEP 538, 540)."""
NOTE = "Schlüssel beim Nachbarn, 25 °C, 井戸 𝄞"
CHANGING = {"new", "keys create", "render", "build"}
TABLES = {name: run for name, run in JSON_RUNS.items() if name not in CHANGING} | {
    "show tank": (("show", "tank", "tank-farm-a"), "", Exit.OK),
    "show node": (("show", "node", "farm-a"), "", Exit.OK),
    "show site": (("show", "site", "site-0"), "", Exit.OK),
    "show board": (("show", "board", "esp32-devkit"), "", Exit.OK),
}


class Stream(io.TextIOWrapper):
    """As Python opens it, in memory; a terminal or none."""

    def __init__(self, encoding: str, errors: str, *, terminal: bool) -> None:
        self.bytes = io.BytesIO()
        self._terminal = terminal
        super().__init__(self.bytes, encoding=encoding, errors=errors)

    def isatty(self) -> bool:
        return self._terminal

    def text(self) -> str:
        self.flush()
        return self.bytes.getvalue().decode(self.encoding)


@pytest.fixture(scope="module")
def abroad(tmp_path_factory: pytest.TempPathFactory) -> Farm:
    """A farm whose inventory has characters of many kinds."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CONFIG_HOME", str(tmp_path_factory.mktemp("config")))
        farm = Farm(tmp_path_factory.mktemp("abroad") / "farm")
        path = farm.folder / "inventory" / "all.yaml"
        text = path.read_text(encoding="utf-8")
        text = text.replace("    duty: ", f"    notes: {NOTE}\n    duty: ")
        text = text.replace("network: n}", f'network: n, title: "{NOTE}"}}')
        assert text.count(NOTE) >= 6
        path.write_text(text, encoding="utf-8")
        farm.pushed(until="on-trial")
        return farm


def printed(
    farm: Farm, monkeypatch: pytest.MonkeyPatch, locale: str, words: tuple[str, ...], *, terminal: bool
) -> tuple[int, Stream, Stream]:
    encoding, errors = STREAMS[locale]
    out = Stream(encoding, errors, terminal=terminal)
    err = Stream(encoding, "backslashreplace", terminal=terminal)
    monkeypatch.setattr(sys, "stdout", out)
    monkeypatch.setattr(sys, "stderr", err)
    monkeypatch.setenv("TERM", "dumb")
    status = farm.run(*words)
    return status, out, err


@pytest.mark.parametrize("locale", STREAMS)
@pytest.mark.parametrize("name", TABLES)
def test_every_table_is_printed_in_every_locale(
    name: str, locale: str, abroad: Farm, monkeypatch: pytest.MonkeyPatch
) -> None:
    words, _, expected = TABLES[name]
    for terminal in (True, False):
        status, out, err = printed(abroad, monkeypatch, locale, words, terminal=terminal)
        assert status == expected, err.text()
        assert "CLI107" not in err.text()
        if "utf-8" not in STREAMS[locale]:
            assert "─" not in out.text()
            assert "\\u" not in out.text() + err.text(), "`?`, and no escapes"
            assert locale != "C" or (out.text() + err.text()).isascii()
        elif NOTE.split()[0] in out.text():
            assert "?" not in next(line for line in out.text().splitlines() if "Schl" in line)


@pytest.mark.parametrize("locale", STREAMS)
@pytest.mark.parametrize("name", TABLES)
def test_json_has_every_character_in_every_locale(
    name: str, locale: str, abroad: Farm, monkeypatch: pytest.MonkeyPatch
) -> None:
    words, kind, expected = TABLES[name]
    status, out, _ = printed(abroad, monkeypatch, locale, (*words, "--json"), terminal=False)
    assert status == expected
    facts = json.loads(out.bytes.getvalue() if out.flush() is None else b"")
    assert facts["schema"].startswith("tankfleet/")
    if "utf-8" not in STREAMS[locale]:
        assert out.text().isascii()
    if kind == "" and name in ("show tank", "show site"):
        assert NOTE in json.dumps(facts, ensure_ascii=False)


def test_a_finding_that_quotes_what_the_terminal_lacks(
    abroad: Farm, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "inventory").mkdir()
    (tmp_path / "inventory" / "all.yaml").write_text("fleet: {größe: 井}\n", encoding="utf-8")
    for locale, quoted in (("C", "gr??e: ?"), ("en_US.ISO-8859-1", "größe: ?"), ("C.UTF-8", "größe: 井")):
        words = ("--project", str(tmp_path), "check")
        monkeypatch.chdir(tmp_path)
        status, out, _ = printed(abroad, monkeypatch, locale, words, terminal=True)
        assert status == Exit.USAGE
        assert quoted in out.text()
        status, out, _ = printed(abroad, monkeypatch, locale, (*words, "--sarif", "-"), terminal=False)
        assert "größe" in json.dumps(json.loads(out.text()), ensure_ascii=False)


def test_errors_on_stderr_have_a_question_mark_for_what_is_lacking(
    abroad: Farm, monkeypatch: pytest.MonkeyPatch
) -> None:
    for locale, shown in (("C", "H?gel"), ("en_US.ISO-8859-1", "Hügel"), ("C.UTF-8", "Hügel")):
        status, out, err = printed(abroad, monkeypatch, locale, ("show", "tank", "Hügel"), terminal=False)
        assert (status, out.text()) == (Exit.USAGE, "")
        assert shown in err.text()


def test_bytes_of_a_name_that_are_no_text(abroad: Farm, monkeypatch: pytest.MonkeyPatch) -> None:
    """As Python reads `show tank $'\\xff'`: half a character, which no UTF-8 has."""
    name = os.fsdecode(b"caf\xff")
    for locale in STREAMS:
        status, _, err = printed(abroad, monkeypatch, locale, ("show", "tank", name), terminal=False)
        assert status == Exit.USAGE
        assert "caf" in err.text()


def test_a_table_of_comma_separated_values_is_utf8_everywhere(
    abroad: Farm, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is a file, though it goes to stdout."""
    status, out, _ = printed(abroad, monkeypatch, "C", ("audit", "--offline", "--csv", "-"), terminal=False)
    assert status in (Exit.OK, Exit.PROBLEMS)
    rows = list(csv.reader(io.StringIO(out.bytes.getvalue().decode("utf-8"))))
    assert len(rows) == 4


def test_cells_are_measured_as_they_are_shown() -> None:
    """A wide character takes two columns, the `?` for it one."""
    out = Stream("ascii", "strict", terminal=True)
    Output("never", out, io.StringIO()).table(("name", "what"), [("井戸", "a"), ("well", "b")])
    assert out.text().splitlines() == ["name  what", "----------", "??    a", "well  b"]
    assert printable_on(io.StringIO(), "井") == "井"
    assert printable_on(out, "─", instead="-") == "-"


def test_json_in_escapes_is_the_same_json() -> None:
    """RFC 8259, 7: a character beyond the basic plane as two of UTF-16."""
    text = json.dumps({"note": NOTE, "half": "\udcff"}, ensure_ascii=False)
    escaped = json_for(Stream("iso-8859-1", "strict", terminal=False), text)
    assert escaped.isascii()
    assert "\\ud834\\udd1e" in escaped
    assert json.loads(escaped) == {"note": NOTE, "half": "\udcff"}
    assert json_for(io.StringIO(), '"井"') == '"井"'
    assert json_for(io.StringIO(), text).isascii(), "half a character is no UTF-8"


@pytest.mark.parametrize("locale", LOCALES)
def test_the_program_on_a_terminal_and_a_pipe(locale: str, abroad: Farm) -> None:
    env = {key: value for key, value in os.environ.items() if not key.startswith(("LC_", "PYTHON", "LANG"))}
    env |= {"PYTHONPATH": str(ROOT), "TERM": "xterm", **LOCALES[locale]}
    words = ["-m", "fleet", "--project", str(abroad.folder), "show", "nodes"]
    child = pexpect.spawn(sys.executable, words, env=env, timeout=60)
    child.expect(pexpect.EOF)
    child.close()
    assert child.exitstatus == Exit.OK, child.before
    assert ("─".encode() in child.before) is (locale == "C.UTF-8")
    assert (b"-----" in child.before) is (locale != "C.UTF-8")
    piped = subprocess.run([sys.executable, *words, "--json"], env=env, capture_output=True, check=True)
    assert json.loads(piped.stdout)["schema"]
    assert piped.stderr == b""


# ------------------------------------------------------------------ a reader that goes away
def run_headless(farm: Farm, *words: str) -> tuple[int, str, str]:
    """As with `| head -1`: one line is read, and the pipe closed. Exit status, the line, stderr."""
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    child = subprocess.Popen(
        [sys.executable, "-m", "fleet", "--project", str(farm.folder), *words],
        env=env,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    assert child.stdout is not None
    assert child.stderr is not None
    line = child.stdout.readline()
    child.stdout.close()
    err = child.stderr.read()
    child.stderr.close()
    return child.wait(60), line.decode(), err.decode()


CUT = {
    ("check",): Exit.OK,
    ("check", "--json"): Exit.OK,
    ("find", "--timeout", "0.1"): Exit.UNREACHABLE,
    ("plan", "--timeout", "0.1"): Exit.UNREACHABLE,
    ("explain",): Exit.OK,
}


@pytest.mark.parametrize("words", CUT, ids=" ".join)
def test_a_reader_that_goes_away_changes_no_exit_status(words: tuple[str, ...], abroad: Farm) -> None:
    status, line, err = run_headless(abroad, *words)
    assert (status, "Traceback" in err, "Broken" in err) == (CUT[words], False, False), err
    assert line


class _GoneError(io.RawIOBase):
    """A pipe whose reader has gone."""

    def writable(self) -> bool:
        return True

    def write(self, _data: object) -> int:
        raise BrokenPipeError


@pytest.mark.parametrize("name", TABLES)
@pytest.mark.parametrize("flags", [(), ("--json",)], ids=["table", "json"])
def test_no_reader_from_the_start(
    name: str, flags: tuple[str, ...], abroad: Farm, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nor one of stderr, as with `2>&1 | head`."""
    words, _, expected = TABLES[name]
    for stream in ("stdout", "stderr"):
        gone = io.TextIOWrapper(io.BufferedWriter(_GoneError(), 1), encoding="utf-8")
        monkeypatch.setattr(sys, stream, gone)
    assert run(["--project", str(abroad.folder), *words, *flags]) == expected
