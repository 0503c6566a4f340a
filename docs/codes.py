"""Write docs/codes.md from the codes themselves: `make docs`."""

from __future__ import annotations

from pathlib import Path

from fleet.explain import all_codes, how_to_rule


def page() -> str:
    """The page, as Markdown."""
    lines = [
        "# Codes",
        "",
        "Every finding and error has a stable code. `tankfleet explain CODE` says the same offline.",
        "",
        "## Rulings",
        "",
        "A person may accept a finding on wiring, water or electrodes, or change its severity, in any file of the",
        "inventory ([keys](inventory.md)):",
        "",
        "```yaml",
        *how_to_rule(next(code for code in all_codes().values() if code.ruled)),
        "```",
        "",
    ]
    for code in all_codes().values():
        lines += [f"## {code.code}", "", f"**{code.title}** ({code.severity.value})", ""]
        lines += [f"Why: {code.why}", "", f"Fix: {code.fix}", ""]
        lines += [f"Source: {code.source}", ""] if code.source else []
        lines += (
            ["It can be accepted, or counted otherwise, [by a ruling](#rulings).", ""] if code.ruled else []
        )
    return "\n".join(lines).rstrip() + "\n"


if __name__ == "__main__":
    Path(__file__).with_suffix(".md").write_text(page(), encoding="utf-8")
