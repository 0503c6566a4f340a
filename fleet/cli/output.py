"""All that the tool prints goes through here: data to stdout, everything else to stderr."""

from __future__ import annotations

import json
import os
import sys
from dataclasses import dataclass, field
from typing import IO, TYPE_CHECKING, Any, cast

from fleet.cli.layout import ASCII_RULE, RULE, Table, fold
from fleet.cli.streams import heard, json_for, printable_on, put, replace_what_it_lacks, send

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from io import TextIOWrapper

    from rich.console import Console

    from fleet.codes import Severity
    from fleet.errors import TankfleetError
    from fleet.finding import Finding, Place

_STYLES = {
    "bold": "1",
    "dim": "2",
    "red": "31",
    "green": "32",
    "yellow": "33",
    "blue": "34",
    "cyan": "36",
}
_TEXT_COLUMNS = 120
"""Longer lines of running text are hard to read; tables may be wider."""
_SEVERITY_STYLE = {"error": "red", "warning": "yellow", "note": "cyan"}


@dataclass
class Output:
    """Where and how to print. `color` is auto, always or never."""

    color: str = "auto"
    stdout: IO[str] = field(default_factory=lambda: sys.stdout)
    stderr: IO[str] = field(default_factory=lambda: sys.stderr)
    _passing: bool = False
    """Whether the last line on stderr is one that the next words take the place of."""

    def __post_init__(self) -> None:
        for stream in (self.stdout, self.stderr):
            replace_what_it_lacks(stream)

    def flush(self) -> None:
        """Send on what is written, as long as there is somebody who reads it."""
        for stream in (self.stdout, self.stderr):
            send(stream)

    # ---------------------------------------------------------------- plain lines
    def raw(self, text: str) -> None:
        """Text to stdout as it is; never folded."""
        self.clear_progress()
        put(self.stdout, f"{text}\n")

    def json(self, text: str) -> None:
        """JSON text to stdout: in ASCII escapes where that is no UTF-8."""
        self.raw(json_for(self.stdout, text))

    def document(self, data: bytes) -> None:
        """A whole file to stdout, byte for byte."""
        self.clear_progress()
        send(self.stdout)
        with heard(self.stdout):
            binary = cast("TextIOWrapper", self.stdout).buffer
            binary.write(data)
            binary.flush()

    def data(self, text: str = "", *, hang: str | None = None) -> None:
        """Lines of what was asked for, to stdout; on a terminal folded between words, `hang` before the further
        lines (default: the line's own indent and two spaces)."""
        self.raw(self._folded(text, self.stdout, hang))

    def note(self, text: str = "") -> None:
        """One line about what is going on, to stderr; after what was said before it, when both go to one place."""
        self._say(self._folded(text, self.stderr, None))

    def warn(self, text: str) -> None:
        """One warning, to stderr."""
        self.note(f"{self.style('warning:', 'yellow', self.stderr)} {text}")

    def next_step(self, *commands: str) -> None:
        """The next useful commands, after a change of state; never folded, so that they can be copied."""
        for command in commands:
            self._say(f"  {self.style('next:', 'dim', self.stderr)} {command}")

    def prompt(self, text: str) -> None:
        """A question to stderr; the answer is typed behind it."""
        put(self.stderr, f"{text} ")
        send(self.stderr)

    def progress(self, text: str) -> None:
        """What is awaited: on a terminal in place of the progress before it, else a line of its own."""
        if not self.animated():
            self.note(text)
            return
        width = self.width(self.stderr) - 1
        send(self.stdout)
        put(self.stderr, f"\r\x1b[K{text if len(text) <= width else f'{text[: width - 3]}...'}")
        send(self.stderr)
        self._passing = True

    def clear_progress(self) -> None:
        """Take the line of progress away, if there is one."""
        if self._passing:
            self._passing = False
            put(self.stderr, "\r\x1b[K")
            send(self.stderr)

    def _say(self, text: str) -> None:
        self.clear_progress()
        send(self.stdout)
        put(self.stderr, f"{text}\n")
        send(self.stderr)

    def _folded(self, text: str, stream: IO[str], hang: str | None) -> str:
        if not stream.isatty():
            return text
        width = min(self.width(stream), _TEXT_COLUMNS)
        return "\n".join(part for line in text.split("\n") for part in fold(line, width, hang))

    # ---------------------------------------------------------------- style
    def colored(self, stream: IO[str]) -> bool:
        """Whether that stream gets colors: --color, then NO_COLOR, TERM=dumb, and whether it is a terminal."""
        if self.color != "auto":
            return self.color == "always"
        if os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb":
            return False
        return stream.isatty()

    def style(self, text: str, style: str, stream: IO[str] | None = None) -> str:
        """`text` in a style of _STYLES, where colors are wanted. Nothing is said by color alone."""
        if not self.colored(stream or self.stdout):
            return text
        return f"\x1b[{_STYLES[style]}m{text}\x1b[0m"

    def width(self, stream: IO[str] | None = None) -> int:
        """Columns of the terminal that a stream (stdout by default) goes to, held between 60 and 200; 100 if it is
        none."""
        return max(60, min(200, _columns(stream or self.stdout)))

    def console(self, stream: IO[str]) -> Console:
        """A rich console on that stream, as wide as the terminal and colored as wanted."""
        from rich.console import Console

        return Console(
            file=stream, width=self.width(stream), no_color=not self.colored(stream), highlight=False
        )

    def animated(self) -> bool:
        """Whether progress may be drawn: on a terminal that can move its cursor."""
        return self.stderr.isatty() and os.environ.get("TERM") != "dumb"

    # ---------------------------------------------------------------- json
    def emit_json(self, kind: str, facts: Mapping[str, Any]) -> None:
        """`facts` as one JSON document with its schema's name, `tankfleet/KIND/1` (fleet/schemas/KIND.json)."""
        document = {"schema": f"tankfleet/{kind}/1", **facts}
        self.json(json.dumps(document, indent=2, ensure_ascii=False, default=str))

    # ---------------------------------------------------------------- tables
    def table(self, columns: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
        """A table to stdout: fitted to the terminal, or one whole record a line when piped."""
        cells = [[printable_on(self.stdout, str(cell)) for cell in row] for row in rows]
        table = Table(columns, cells, printable_on(self.stdout, RULE, instead=ASCII_RULE))
        head, lines = table.on_terminal(self.width()) if self.stdout.isatty() else table.piped()
        self.raw("\n".join([self.style(head, "bold"), *lines]))

    # ---------------------------------------------------------------- findings and errors
    def severity_word(self, severity: Severity, stream: IO[str]) -> str:
        """The severity's word, colored."""
        return self.style(severity.value, _SEVERITY_STYLE[severity.value], stream)

    def finding(self, finding: Finding, stream: IO[str] | None = None) -> None:
        """One finding: place, severity, code, what; the line quoted and underlined; why; how to put it right."""
        to = stream or self.stdout
        lines = [
            f"{self._head(finding.place, str(finding.subject))}{self._weight(finding, to)} "
            f"{finding.code.code}: {finding.what}"
        ]
        lines += self._quote(finding.place, to)
        lines.append(f"  why: {finding.why}")
        lines.append(f"  fix: {finding.fix}")
        if finding.code.ruled and str(finding.subject):
            lines.append(f"  about: {finding.subject}")
        if finding.code.source:
            lines.append(f"  source: {finding.code.source}")
        if finding.ruling is not None:
            lines.append(f"  ruled: {finding.ruling} ({finding.ruling.place})")
        self.clear_progress()
        put(to, self._folded("\n".join(lines), to, None) + "\n")

    def _weight(self, finding: Finding, stream: IO[str]) -> str:
        """How it counts: its severity, or that it was accepted."""
        if finding.accepted:
            return self.style("accepted", "dim", stream)
        return self.severity_word(finding.severity, stream)

    @staticmethod
    def _head(place: Place | None, subject: str) -> str:
        if place is not None:
            return f"{place}: "
        return f"{subject}: " if subject else ""

    def _quote(self, place: Place | None, stream: IO[str]) -> list[str]:
        if place is None or not place.quote:
            return []
        margin = f"{place.line:>5} | "
        room = self.width(stream) - len(margin) if stream.isatty() else 100
        quote, col, end_col = _window(place.quote, place.col, place.end_col, room)
        under = " " * (len(margin) - 2) + "| " + " " * (col - 1)
        return [f"{margin}{quote}", under + self.style("^" * max(1, end_col - col), "red", stream)]

    def error(self, error: TankfleetError) -> None:
        """One error, to stderr, with why and how to put it right."""
        place = f"{error.place}: " if error.place else ""
        self.note(f"{place}{self.style('error', 'red', self.stderr)} {error.code.code}: {error.what}")
        for line in self._quote(error.place, self.stderr):
            self._say(line)
        self.note(f"  why: {error.why}")
        self.note(f"  fix: {error.fix}")
        self.note(f"  more: tankfleet explain {error.code.code}")


def _window(quote: str, col: int, end_col: int, width: int) -> tuple[str, int, int]:
    """At most `width` characters of a line around col..end_col (1-based), with the columns moved along."""
    quote = quote.replace("\t", " ")
    start = max(0, min(col - 20, len(quote) - width)) if len(quote) > width else 0
    cut = quote[start : start + width]
    return cut, max(1, col - start), max(col - start + 1, min(end_col - start, len(cut) + 1))


def _columns(stream: IO[str]) -> int:
    """COLUMNS, else the terminal's own, else 100."""
    told = os.environ.get("COLUMNS", "")
    if told.isdigit() and int(told) > 0:
        return int(told)
    try:
        return os.get_terminal_size(stream.fileno()).columns or 100
    except (OSError, ValueError, AttributeError):
        return 100
