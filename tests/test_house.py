"""The rules of the house: style, types, imports, sizes, and that nothing lies about unused or undocumented."""

from __future__ import annotations

import ast
import re
import runpy
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from fleet.explain import all_codes

ROOT = Path(__file__).resolve().parent.parent
MODULES = sorted((ROOT / "fleet").rglob("*.py"))
MODULE_LINES = 600
FUNCTION_LINES = 70


def _ids(path: Path) -> str:
    return str(path.relative_to(ROOT))


@cache
def _nodes(path: Path) -> tuple[ast.AST, ...]:
    """All nodes of a module, itself first."""
    return tuple(ast.walk(ast.parse(path.read_text(encoding="utf-8"))))


def _tool(*words: str) -> None:
    done = subprocess.run([sys.executable, *words], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, f"{' '.join(words)}\n{done.stdout}{done.stderr}"


def test_ruff_finds_nothing() -> None:
    _tool("-m", "ruff", "check", ".")


def test_ruff_format_changes_nothing() -> None:
    _tool("-m", "ruff", "format", "--check", ".")


@pytest.mark.slow
def test_mypy_strict_finds_nothing() -> None:
    _tool("-m", "mypy")


def test_imports_go_down_the_way_of_the_data() -> None:
    script = "from importlinter.cli import lint_imports_command; lint_imports_command()"
    _tool("-c", script)


@pytest.mark.parametrize("path", MODULES, ids=_ids)
def test_module_is_small_and_documented(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert text.count("\n") <= MODULE_LINES, f"{path} has outgrown its noun: split it"
    tree, *nodes = _nodes(path)
    assert isinstance(tree, ast.Module)
    assert ast.get_docstring(tree), f"{path} has no docstring"
    for node in nodes:
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
            lines = (node.end_lineno or node.lineno) - node.lineno + 1
            assert lines <= FUNCTION_LINES, f"{path}:{node.lineno} {node.name} has {lines} lines"


def test_only_the_output_module_prints() -> None:
    for path in MODULES:
        if path.name == "output.py":
            continue
        for node in _nodes(path):
            is_print = (
                isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "print"
            )
            assert not is_print, f"{path}:{getattr(node, 'lineno', 0)} prints"


def test_every_module_is_used() -> None:
    """Each module of the package is named by an import somewhere in it, or by the table of commands."""
    named: set[str] = set()
    for path in MODULES:
        for node in _nodes(path):
            if isinstance(node, ast.ImportFrom) and node.module:
                named |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
            elif isinstance(node, ast.Import):
                named |= {alias.name for alias in node.names}
            elif isinstance(node, ast.Constant) and isinstance(node.value, str):
                named.add(node.value)
    for path in MODULES:
        dotted = ".".join(path.relative_to(ROOT).with_suffix("").parts)
        if path.name not in ("__init__.py", "__main__.py") and not dotted.endswith(".codes"):
            assert dotted in named, f"nothing imports {dotted}"


def test_every_code_is_used_and_explained() -> None:
    """A code is raised somewhere (its constant is named outside of the `CODES` tuple and its definition)."""
    for code in all_codes().values():
        assert len(code.why) > 20, code
        assert len(code.fix) > 10, code
    words = {path: set(re.findall(r"\w+", path.read_text(encoding="utf-8"))) for path in MODULES}
    for table in [*(ROOT / "fleet").glob("*/codes.py"), *(ROOT / "fleet").glob("*/codes/*.py")]:
        names = re.findall(r"^([A-Z][A-Z0-9_]+) = (?:Code|_code)\(", table.read_text(encoding="utf-8"), re.M)
        for name in names:
            others = [path for path in MODULES if path != table and name in words[path]]
            assert others, f"{table}: {name} is never raised"


def test_codes_page_is_made_from_the_codes() -> None:
    made = runpy.run_path(str(ROOT / "docs" / "codes.py"))["page"]()
    assert (ROOT / "docs" / "codes.md").read_text(encoding="utf-8") == made, "run `make docs`"


def test_schemas_are_made_from_the_types() -> None:
    maker = runpy.run_path(str(ROOT / "docs" / "schemas.py"))
    for kind, schema in maker["schemas"]().items():
        shipped = (ROOT / "fleet" / "schemas" / f"{kind}.json").read_text(encoding="utf-8")
        assert shipped == maker["text_of"](schema), f"{kind}: run `make docs`"
        Draft202012Validator.check_schema(schema)


@pytest.mark.parametrize(
    "page", [*sorted((ROOT / "docs").rglob("*.md")), ROOT / "README.md", ROOT / "DEVELOPERS.md"], ids=_ids
)
def test_links_in_the_docs_resolve(page: Path) -> None:
    for target in re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", page.read_text(encoding="utf-8")):
        if not target.startswith(("http://", "https://", "mailto:")):
            assert (page.parent / target).exists(), f"{page.name} links to {target}"


def test_no_bare_sleep_in_fast_tests() -> None:
    """Tests never sleep: a wait is a deadline on a condition, and lives in a slow test or a named helper."""
    for path in sorted((ROOT / "tests").rglob("test_*.py")):
        text = path.read_text(encoding="utf-8")
        if "mark.slow" in text:
            continue
        assert not re.search(r"\btime\.sleep\(|\basyncio\.sleep\((?!0\))", text), f"{path} sleeps"
