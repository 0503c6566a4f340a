"""`sheet` on the command line: files, stdout, dates, twice is once, and what is refused."""

from __future__ import annotations

import pytest

from fleet.cli.app import run
from fleet.codes import Exit
from tests.cli.commands import Farm, farm

__all__ = ["farm"]


def test_writes_a_page_and_says_where(farm: Farm, capsys) -> None:
    assert farm.run("sheet", "node", "farm-a", "--date", "2026-03-14") == Exit.OK
    printed = capsys.readouterr()
    assert printed.out == ""
    assert "Wrote node-farm-a.html." in printed.err
    assert "--pdf" in printed.err
    page = (farm.folder / "node-farm-a.html").read_text(encoding="utf-8")
    assert "printed 2026-03-14" in page


def test_twice_is_once(farm: Farm, capsys) -> None:
    words = ("sheet", "tank", "tank-farm-a", "--date", "2026-03-14", "--out", "t.html")
    assert farm.run(*words) == Exit.OK
    before = (farm.folder / "t.html").stat().st_mtime_ns
    capsys.readouterr()
    assert farm.run(*words) == Exit.OK
    assert "t.html is up to date; nothing was written." in capsys.readouterr().err
    assert (farm.folder / "t.html").stat().st_mtime_ns == before


def test_dash_is_stdout_and_leaves_no_file(farm: Farm, capsys) -> None:
    before = sorted(farm.folder.iterdir())
    assert farm.run("sheet", "site", "site-0", "--out", "-", "--paper", "letter", "--us-units") == Exit.OK
    printed = capsys.readouterr()
    assert printed.out.startswith("<!doctype html>")
    assert "size: letter;" in printed.out
    assert printed.err == ""
    assert sorted(farm.folder.iterdir()) == before


def test_a_terminal_is_no_place_for_a_pdf(farm: Farm, capsys, monkeypatch) -> None:
    monkeypatch.setattr("sys.stdout.isatty", lambda: True)
    assert farm.run("sheet", "node", "farm-a", "--pdf", "--out", "-") == Exit.USAGE
    printed = capsys.readouterr()
    assert "a terminal cannot show a PDF" in printed.err
    assert printed.out == ""


def test_a_pdf_without_a_browser_names_the_way_out(farm: Farm, capsys, monkeypatch) -> None:
    monkeypatch.setenv("PATH", str(farm.folder))
    assert farm.run("sheet", "node", "farm-a", "--pdf") == Exit.PROBLEMS
    printed = capsys.readouterr().err
    assert "error SHT101: " in printed
    assert "leave --pdf out" in printed
    assert not (farm.folder / "node-farm-a.pdf").exists()


def test_a_browser_on_the_path_makes_the_pdf(farm: Farm, capsys, monkeypatch, tmp_path) -> None:
    """A stand-in that writes where --print-to-pdf says, as headless Chromium does."""
    stand_in = tmp_path / "bin" / "chromium"
    stand_in.parent.mkdir()
    stand_in.write_text(
        "#!/bin/sh\n"
        'for word in "$@"; do case "$word" in --print-to-pdf=*) echo made > "${word#*=}" ;; esac; done\n'
    )
    stand_in.chmod(0o755)
    monkeypatch.setenv("PATH", f"{stand_in.parent}:/usr/bin:/bin")
    for words, name in (
        (("--pdf",), "node-farm-a.pdf"),
        (("--out", "x.pdf"), "x.pdf"),
        (("--out", "y.PDF", "--pdf"), "y.PDF"),
        (("--pdf", "--out", "printed"), "printed"),
    ):
        assert farm.run("sheet", "node", "farm-a", *words) == Exit.OK
        assert f"Wrote {name}." in capsys.readouterr().err
        assert (farm.folder / name).read_bytes() == b"made\n"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("sheet", "node", "farm-a", "--pdf", "--out", "x.html"), "says HTML, and it would be PDF"),
        (("sheet", "node", "farm-a", "--out", "x.csv"), "says CSV, and it would be HTML or PDF"),
        (("plan", "--out", "x.pdf"), "says PDF, and it would be JSON"),
        (("check", "--sarif", "x.csv"), "says CSV, and it would be SARIF or JSON"),
        (("audit", "--offline", "--csv", "x.JSON"), "says JSON, and it would be CSV"),
        (("audit", "--offline", "--json", "--csv", "-"), "both write to stdout"),
    ],
)
def test_a_name_that_says_another_format_is_refused(words, said, farm: Farm, capsys) -> None:
    before = sorted(farm.folder.rglob("*"))
    assert farm.run(*words) == Exit.USAGE
    assert said in capsys.readouterr().err
    assert sorted(farm.folder.rglob("*")) == before
    assert farm.run("check", "--sarif", "x.json") == Exit.OK
    assert farm.run("sheet", "node", "farm-a", "--out", "x.htm") == Exit.OK


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("board", "d1-mini"), "only node, tank, site"),
        (("node", "farm-a", "--date", "14.3.2026"), "is not a day"),
        (("node", "farm-a", "--paper", "a5"), "only a4, letter"),
    ],
)
def test_what_it_does_not_know_is_refused(words, said, farm: Farm, capsys) -> None:
    assert farm.run("sheet", *words) == Exit.USAGE
    printed = capsys.readouterr()
    assert printed.out == ""
    assert said in printed.err


def test_help_is_one_of_the_inventory(capsys) -> None:
    assert run(["sheet", "-h"]) == Exit.OK
    assert capsys.readouterr().out.startswith("Example: tankfleet sheet node ")
