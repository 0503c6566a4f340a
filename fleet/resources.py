"""The files that come with the tool: templates and the demo inventory, in a checkout or in the installed
wheel."""

from __future__ import annotations

from functools import cache
from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent
_TEMPLATE_FOLDERS = ("firmware", "node", "platforms")


def shipped_dir(name: str) -> Path:
    """The folder `templates` or `inventory`: beside the package in a checkout, inside of it in a wheel."""
    inside = _PACKAGE / "_data" / name
    return inside if inside.is_dir() else _PACKAGE.parent / name


def demo_inventory_dir() -> Path:
    """The invented inventory that shows every feature."""
    return shipped_dir("inventory")


@cache
def load_templates() -> dict[str, bytes]:
    """All sources and templates that projects are rendered from: path under `templates/` to bytes, in
    order."""
    root = shipped_dir("templates")
    return {
        path.relative_to(root).as_posix(): path.read_bytes()
        for folder in _TEMPLATE_FOLDERS
        for path in sorted((root / folder).rglob("*"))
        if path.is_file() and "__pycache__" not in path.parts and not path.name.startswith(".")
    }


@cache
def load_report_templates() -> dict[str, str]:
    """The templates of what people read: name to text, in order."""
    folder = shipped_dir("templates") / "report"
    return {path.name: path.read_text(encoding="utf-8") for path in sorted(folder.glob("*.j2"))}
