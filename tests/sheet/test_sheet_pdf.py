"""The PDF: found browsers, how it is started, what goes wrong; and, with a real browser, paper, pages and text."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from datetime import date
from functools import partial

import pytest

from fleet.check.load import load_inventory
from fleet.errors import SheetError
from fleet.resources import demo_inventory_dir, load_report_templates
from fleet.sheet.contents import contents
from fleet.sheet.page import page
from fleet.sheet.pdf import BROWSERS, Ended, find_browser, make_pdf, start
from fleet.water.quantities import Units

DEMO = load_inventory(demo_inventory_dir(), demo_inventory_dir().parent)
A4_PT, LETTER_PT = (595.3, 841.9), (612.0, 792.0)
"""ISO 216: 210 x 297 mm; ANSI/ASME Y14.1: 8.5 x 11 in; at 72 points an inch."""


def _html(kind, name, paper="a4") -> str:
    document = contents(DEMO, kind, name, Units(), date(2026, 3, 14))
    return page(document, templates=load_report_templates(), paper=paper)


def test_the_first_browser_there_is_is_taken() -> None:
    there = {"chromium-browser": "/x/chromium-browser", "google-chrome": "/x/google-chrome"}
    assert find_browser(there.get) == "/x/chromium-browser"


def test_without_a_browser_it_says_what_to_install() -> None:
    with pytest.raises(SheetError) as caught:
        find_browser(lambda name: None)
    assert caught.value.code.code == "SHT101"
    for name in BROWSERS:
        assert name in caught.value.what
    assert "chromium" in caught.value.fix


@pytest.mark.parametrize("as_root", [False, True])
def test_the_browser_prints_the_page_of_its_folder(tmp_path, as_root) -> None:
    seen: list[str] = []

    def run(command) -> Ended:
        seen.extend(command)
        (tmp_path / "sheet.pdf").write_bytes(b"%PDF-1.4 made up")
        return Ended(0, "")

    made = make_pdf("<p>é</p>", tmp_path, browser="/x/chromium", as_root=as_root, run=run)
    assert made == b"%PDF-1.4 made up"
    assert (tmp_path / "sheet.html").read_text(encoding="utf-8") == "<p>é</p>"
    assert seen[0] == "/x/chromium"
    assert seen[-1] == (tmp_path / "sheet.html").as_uri()
    assert ("--no-sandbox" in seen) == as_root, "only root has to do without"


@pytest.mark.parametrize("leaves", [None, b""])
def test_no_pdf_is_an_error_with_the_last_words(tmp_path, leaves) -> None:
    def run(command) -> Ended:
        if leaves is not None:
            (tmp_path / "sheet.pdf").write_bytes(leaves)
        return Ended(21, "first\ncannot open display\n")

    with pytest.raises(SheetError) as caught:
        make_pdf("", tmp_path, browser="/x/chromium", as_root=False, run=run)
    assert caught.value.code.code == "SHT102"
    assert "status 21" in caught.value.what
    assert "cannot open display" in caught.value.what


def test_a_browser_that_hangs_is_ended_with_all_that_it_started(tmp_path) -> None:
    """It holds our end of a pipe open, and so does its child: the pipe ends when both are gone."""
    reading, writing = os.pipe()
    os.set_inheritable(writing, True)
    script = tmp_path / "hangs"
    script.write_text(f"#!/bin/sh\nsleep 1000 >&{writing} &\nsleep 1000\n")
    script.chmod(0o755)
    with pytest.MonkeyPatch.context() as patch:
        real = subprocess.Popen
        patch.setattr(subprocess, "Popen", partial(real, pass_fds=(writing,)))
        with pytest.raises(SheetError) as caught:
            start([str(script)], timeout_s=0.2)
    os.close(writing)
    assert caught.value.code.code == "SHT102"
    assert "had not ended after 0.2 s" in caught.value.what
    with os.fdopen(reading, "rb") as pipe:
        assert pipe.read() == b"", "nobody holds the other end any more"


def test_a_program_s_status_and_words_come_back(tmp_path) -> None:
    ended = start(["/bin/sh", "-c", "echo out; echo why >&2; exit 3"])
    assert ended == Ended(3, "why\n")


@pytest.fixture
def browser() -> str:
    found = next((path for name in BROWSERS if (path := shutil.which(name))), None)
    if found is None or shutil.which("pdftotext") is None:
        pytest.skip("no Chromium, or no poppler-utils, on this machine (.ci/prepare tests installs both)")
    return found


@pytest.mark.slow
@pytest.mark.parametrize(
    ("kind", "name", "paper"), [("node", "kestrel-01", "letter"), ("site", "larkwood", "a4")]
)
def test_a_real_browser_makes_the_pages(browser, kind, name, paper, tmp_path) -> None:
    """By poppler, another PDF program: the paper, each page with its number, each node on pages of its own, text that
    can be found."""
    path, folder = tmp_path / "made.pdf", tmp_path / "work"
    folder.mkdir()
    path.write_bytes(make_pdf(_html(kind, name, paper), folder, browser=browser, as_root=os.geteuid() == 0))
    facts = _poppler("pdfinfo", str(path))
    size = re.search(r"Page size:\s+([0-9.]+) x ([0-9.]+)", facts)
    assert size is not None
    wanted = A4_PT if paper == "a4" else LETTER_PT
    assert [float(part) for part in size.groups()] == pytest.approx(wanted, abs=1)
    pages = _poppler("pdftotext", "-layout", str(path), "-").split("\f")[:-1]
    assert re.search(rf"^Pages:\s+{len(pages)}$", facts, re.M), facts
    for number, text in enumerate(pages, start=1):
        assert f"page {number} of {len(pages)}" in text
        assert f"{kind} {name}" in text
    document = contents(DEMO, kind, name, Units(), date(2026, 3, 14))
    begins = [_begins(pages, sheet.name) for sheet in document.sheets]
    assert begins == sorted(set(begins)), "each on a page of its own, in order"
    for sheet, first, end in zip(document.sheets, begins, [*begins[1:], len(pages)], strict=True):
        assert 3 <= end - first <= 4 + 3 * len(sheet.tanks), "pages"
        _has_all(sheet, "\n".join(pages[first:end]))


def _begins(pages, name) -> int:
    (page,) = (number for number, text in enumerate(pages) if text.split()[0] == name)
    return page


def _has_all(sheet, text) -> None:
    for wire in sheet.wires:
        assert re.search(rf"{wire.what}\s.*\b{wire.pin}\b", text)
    for part in sheet.tanks:
        for mark in part.facts.marks:
            assert mark.name in text
            assert Units().volume(mark.volume_l) in text
    assert "signature" in text


def _poppler(*words: str) -> str:
    return subprocess.run(words, capture_output=True, text=True, check=True).stdout
