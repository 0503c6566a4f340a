"""What the YAML parser has to say, in words that help the person who wrote the file."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from fleet.finding import Finding
from fleet.inventory.codes import BAD_YAML, TAB, TOO_LARGE, UNUSED_YAML
from fleet.limits import YAML_DEPTH

if TYPE_CHECKING:
    from fleet.codes import Code
    from fleet.inventory.source import Source

_QUOTE_IT: Final = "Put the whole text in quotes."
_INDENT: Final = (
    "Check the indentation: the keys of one mapping begin in one column, as do the dashes of a list."
)

# libyaml's text of the problem: code, our words ({line} is where the construct began), fix, and the place:
# p is the problem's, c where the construct began.
_WORDS: Final[dict[str, tuple[Code, str, str, str]]] = {
    "mapping values are not allowed in this context": (
        BAD_YAML,
        "a `:` is not expected here",
        "Check the indentation of this line and of the one above it; a text with `: ` in it needs quotes.",
        "p",
    ),
    "did not find expected ',' or ']'": (
        BAD_YAML,
        "a `,` or `]` is missing before this, in the list that begins in line {line}",
        "Close the list with `]`, and separate its items with commas.",
        "p",
    ),
    "did not find expected ',' or '}'": (
        BAD_YAML,
        "a `,` or `}` is missing before this, in the mapping that begins in line {line}",
        "Close the mapping with `}`, and separate its entries with commas.",
        "p",
    ),
    "found unexpected end of stream": (
        BAD_YAML,
        "these quotes are never closed",
        "Add the closing quote.",
        "c",
    ),
    "found unexpected document indicator": (
        BAD_YAML,
        "these quotes are never closed",
        "Add the closing quote.",
        "c",
    ),
    "did not find expected '-' indicator": (
        BAD_YAML,
        "an item `- ` of a list is expected here",
        _INDENT,
        "p",
    ),
    "did not find expected key": (BAD_YAML, "a key is expected here", _INDENT, "p"),
    "could not find expected ':'": (BAD_YAML, "a `:` is missing after this", "Write `key: value`.", "c"),
    "did not find expected node content": (
        BAD_YAML,
        "a value is expected here",
        "Write a value, or take the bracket out.",
        "p",
    ),
    "block sequence entries are not allowed in this context": (
        BAD_YAML,
        "an item `- ` of a list cannot begin here",
        "Begin the list on the next line, indented.",
        "p",
    ),
    "found incompatible YAML document": (UNUSED_YAML, "a directive (`%`) is not supported", "", "p"),
    "found unknown directive name": (UNUSED_YAML, "a directive (`%`) is not supported", "", "p"),
    "did not find expected <document start>": (
        BAD_YAML,
        "nothing can stand after the end of the document",
        "Delete the line of dots above it.",
        "p",
    ),
    "did not find expected alphabetic or numeric character": (
        BAD_YAML,
        "a text cannot begin with this character",
        _QUOTE_IT,
        "c",
    ),
    "found a tab character that violates indentation": (TAB, "a tab is in the indentation", "", "p"),
    "found a tab character where an indentation space is expected": (
        TAB,
        "a tab is in the indentation",
        "",
        "p",
    ),
}
# For what is rarer: by a part of context and problem.
_BY_CONTEXT: Final[dict[str, tuple[Code, str, str, str]]] = {
    "while scanning a block scalar": (
        BAD_YAML,
        "a text of several lines begins on the line after `|` or `>`",
        "Put a text that begins with `|` or `>` in quotes.",
        "c",
    ),
    "maximum nesting depth": (
        TOO_LARGE,
        f"the text is nested more than {YAML_DEPTH} deep",
        "Remove the brackets or the indentation.",
        "p",
    ),
    "directive": (UNUSED_YAML, "a directive (`%`) is not supported", "", "p"),
    "tag": (BAD_YAML, "a text cannot begin with `!`", _QUOTE_IT, "c"),
    "found unexpected ':'": (
        BAD_YAML,
        "a `:` is not expected here",
        "Write `key: value`, with a space.",
        "p",
    ),
    "mapping keys are not allowed": (BAD_YAML, "a text cannot begin with `? `", _QUOTE_IT, "p"),
}
_ESCAPES: Final = (
    "found unknown escape character",
    "did not find expected hexdecimal number",
    "found invalid Unicode character escape code",
)


def syntax_finding(source: Source, error: Any) -> Finding:
    """The finding for a YAMLError of PyYAML's parser."""
    problem = getattr(error, "problem", None) or ""
    mark = getattr(error, "problem_mark", None)
    if mark is None:
        return Finding(BAD_YAML, "invalid YAML", source.place_at(getattr(error, "position", None) or 0))
    began = getattr(error, "context_mark", None) or mark
    context = getattr(error, "context", None) or ""
    code, what, fix, where = _words(source, f"{context}: {problem}" if context else problem, problem, mark)
    at = began if where == "c" else mark
    line, col = _inside(source, at.line + 1, at.column + 1)
    what = what.replace("{line}", str(began.line + 1))
    return Finding(code, what, source.place(line, col, col + 1), fix_here=fix)


def _words(source: Source, whole: str, problem: str, mark: Any) -> tuple[Code, str, str, str]:
    if problem in _WORDS:
        return _WORDS[problem]
    for part, words in _BY_CONTEXT.items():
        if part in whole:
            return words
    if problem == "found character that cannot start any token":
        line = source.lines[mark.line] if mark.line < len(source.lines) else ""
        character = line[mark.column : mark.column + 1]
        if character == "\t":
            return TAB, "a tab is where only spaces are allowed", "", "p"
        return BAD_YAML, f"a text cannot begin with `{character}`", _QUOTE_IT, "p"
    if problem in _ESCAPES:
        what = "the `\\` in this text in double quotes begins no known escape"
        return BAD_YAML, what, "Use single quotes, in which `\\` is an ordinary character.", "p"
    return BAD_YAML, "invalid YAML", _INDENT, "p"


def _inside(source: Source, line: int, col: int) -> tuple[int, int]:
    """A place in the text: the parser may point behind the last line or behind the end of one."""
    line = min(line, len(source.lines))
    while line > 1 and not source.lines[line - 1].strip():
        line -= 1
        col = len(source.lines[line - 1]) + 1
    return line, max(1, min(col, len(source.lines[line - 1]) + 1))
