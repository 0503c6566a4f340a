"""From a document's data to one HTML page that needs nothing else: no network, no script, fonts of the system.

The same data gives the same bytes. Every value is escaped, in the markup and in the style.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final, Literal

from jinja2 import DictLoader, Environment, StrictUndefined, TemplateError
from markupsafe import Markup

from fleet.errors import RenderError
from fleet.sheet.board_svg import draw_board
from fleet.sheet.codes import BAD_REPORT_TEMPLATE
from fleet.sheet.tank_svg import draw_tank
from fleet.water.cautions import DEFERS

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fleet.sheet.board_svg import DrawnBoard
    from fleet.sheet.contents import Document
    from fleet.sheet.tank_part import TankPart

Paper = Literal["a4", "letter"]
PAPERS: Final[tuple[Paper, ...]] = ("a4", "letter")

_WHOLE_CHARS: Final = 36
"""About the width of the narrower column of the steps."""


def page(document: Document, *, templates: Mapping[str, str], paper: Paper) -> str:
    """The page; `templates` as of `fleet.resources.load_report_templates`. RenderError for a wrong one."""
    environment = Environment(
        loader=DictLoader(dict(templates)),
        undefined=StrictUndefined,
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    environment.filters.update(
        css_text=css_text, whole=whole, tank_drawing=_tank_drawing, board_drawing=_board_drawing
    )
    try:
        template = environment.get_template("sheet.html.j2")
        return template.render(document=document, paper=paper, defers=DEFERS)
    except TemplateError as error:
        where = f"templates/report/{getattr(error, 'name', None) or 'sheet.html.j2'}"
        line = getattr(error, "lineno", None)
        raise RenderError(BAD_REPORT_TEMPLATE, f"{where}{f':{line}' if line else ''}: {error}") from error


def css_text(text: str) -> Markup:
    """A string of CSS with its quotes: everything but letters, digits, spaces, hyphens and points is written as an
    escape with the space that ends it (CSS Syntax Level 3, 4.3.7), so that nothing ends the string or the style
    element."""
    escaped = re.sub(r"[^A-Za-z0-9 .-]", lambda match: f"\\{ord(match[0]):06x} ", text)
    return Markup(f'"{escaped}"')  # noqa: S704  nothing is left in it that means anything to CSS or HTML


def whole(text: str) -> Markup:
    """The text with words that have a hyphen, such as names and commands, kept on one line unless they are long."""
    pieces = re.split(r"(\S*-\S*)", text)
    return Markup("").join(
        Markup('<span class="whole">{}</span>').format(piece)
        if "-" in piece and len(piece) <= _WHOLE_CHARS
        else piece
        for piece in pieces
    )


def _tank_drawing(part: TankPart) -> Markup:
    drawn = draw_tank(f"tank {part.facts.name}", part.shape, part.levels, part.pump, part.common_wire)
    return Markup(drawn)  # noqa: S704  written by the XML library, which escapes every text


def _board_drawing(board: DrawnBoard) -> Markup:
    return Markup(draw_board(board))  # noqa: S704  likewise
