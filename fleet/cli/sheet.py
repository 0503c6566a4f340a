"""`sheet`: what a person takes along on paper."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, cast

import typer

from fleet.cli.codes import BAD_USAGE
from fleet.cli.common import (
    command,
    command_app,
    complete_names,
    complete_words,
    named,
    nearest,
    session,
    short_path,
)
from fleet.errors import UsageError

if TYPE_CHECKING:
    from datetime import date as Date

    from fleet.cli.output import Output
    from fleet.sheet.contents import Kind
    from fleet.sheet.page import Paper

app = command_app()

KINDS = ("node", "tank", "site")
PAPERS = ("a4", "letter")


def _complete_name(ctx: typer.Context, incomplete: str) -> list[str]:
    kind = ctx.params.get("kind")
    return complete_names(f"{kind}s")(ctx, incomplete) if kind in KINDS else []


@command(app, "sheet")
def sheet(
    ctx: typer.Context,
    kind: Annotated[str, typer.Argument(help="node, tank or site.", autocompletion=complete_words(KINDS))],
    name: Annotated[str, typer.Argument(help="Its name.", autocompletion=_complete_name)],
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="FILE", help="File to write, as PDF if it ends in .pdf; - is stdout."),
    ] = None,
    pdf: Annotated[
        bool, typer.Option("--pdf", help="Write a PDF, printed by a Chromium browser on this machine.")
    ] = False,
    paper: Annotated[
        str,
        typer.Option("--paper", metavar="SIZE", help="a4 or letter.", autocompletion=complete_words(PAPERS)),
    ] = "a4",
    us_units: Annotated[
        bool, typer.Option("--us-units", help="Feet and US gallons instead of metres and litres.")
    ] = False,
    date: Annotated[
        str,
        typer.Option(
            "--date", metavar="DAY", help="Date to print on the sheet, such as 2025-03-14; default: today."
        ),
    ] = "",
) -> None:
    """Example: tankfleet sheet node kestrel-01 --pdf

    Make a sheet to take up the ladder: what to mind, the wiring with the board drawn, the tank in section with
    its marks and volumes, all settings with their origins, and the commissioning steps with what must be read
    at each. One HTML page that needs no network, to print from any browser; of a site, a cover and a sheet
    for each node. Default file: KIND-NAME.html, or .pdf, here.
    """
    from fleet.durable import write_out
    from fleet.resources import load_report_templates
    from fleet.sheet.contents import contents
    from fleet.sheet.page import page
    from fleet.water.quantities import Units

    this = session(ctx)
    chosen = cast("Kind", _one_of(kind, KINDS, "sheet"))
    size = cast("Paper", _one_of(paper, PAPERS, "--paper"))
    printed = _day(date)
    pdf = _as_pdf(out, pdf=pdf)
    if pdf and str(out) == "-" and this.output.stdout.isatty():
        raise UsageError(BAD_USAGE, "a terminal cannot show a PDF", fix="Name a file: `--out FILE`.")
    inventory, findings = this.checked()
    known = named(name, chosen, [part.name for part in getattr(inventory, f"{chosen}s")])
    document = contents(inventory, chosen, known, Units(us_units), printed, findings)
    html = page(document, templates=load_report_templates(), paper=size)
    data = _pdf(this.output, html) if pdf else html.encode()
    if str(out) == "-":
        this.output.document(data)
        return
    path = out or Path(f"{chosen}-{known}.{'pdf' if pdf else 'html'}")
    if path.is_file() and path.read_bytes() == data:
        this.output.note(f"{short_path(path)} is up to date; nothing was written.")
        return
    write_out(path, data)
    this.output.note(f"Wrote {short_path(path)}.")
    if not pdf:
        this.output.note("Open it in a browser and print it, or run again with --pdf.")


def _as_pdf(out: Path | None, *, pdf: bool) -> bool:
    """Whether it becomes a PDF: by the flag or the file's name, which must not speak against each other."""
    from fleet.cli.formats import Format, must_suit, told_by

    if out is None:
        return pdf
    if pdf:
        must_suit(out, "--pdf --out", Format.PDF)
    else:
        must_suit(out, "--out", Format.HTML, Format.PDF)
    return pdf or told_by(out) is Format.PDF


def _one_of(word: str, known: tuple[str, ...], what: str) -> str:
    if word not in known:
        raise UsageError(
            BAD_USAGE, f"{what} knows no {word!r}, only {', '.join(known)}.{nearest(word, known)}"
        )
    return word


def _day(text: str) -> Date:
    from datetime import date, datetime

    if not text:
        return datetime.now().astimezone().date()
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise UsageError(BAD_USAGE, f"--date {text!r} is not a day such as 2025-03-14") from None


def _pdf(output: Output, html: str) -> bytes:
    import os
    from tempfile import TemporaryDirectory

    from fleet.sheet.pdf import find_browser, make_pdf

    browser = find_browser()
    output.progress(f"printing with {browser}")
    with TemporaryDirectory(prefix="tankfleet-sheet-", ignore_cleanup_errors=True) as folder:
        return make_pdf(html, Path(folder), browser=browser, as_root=os.geteuid() == 0)
