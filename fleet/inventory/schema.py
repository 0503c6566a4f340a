"""The JSON Schema of an inventory file, made from the model, for editors that complete and check YAML."""

from __future__ import annotations

from typing import Any, Final

from fleet.model.inventory import InventoryFile

ID: Final = "tankfleet/inventory/1"


def inventory_schema() -> dict[str, Any]:
    """JSON Schema, draft 2020-12, of one file. What must hold between parts is for `check`."""
    schema = InventoryFile.model_json_schema(by_alias=True)
    _tidy(schema)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": ID,
        **schema,
        "title": "An inventory file of tankfleet",
    }


def _tidy(node: Any) -> None:
    """Take out titles that only repeat the key, and defaults that are not as a file writes them."""
    if isinstance(node, list):
        for item in node:
            _tidy(item)
        return
    if not isinstance(node, dict):
        return
    for key, inner in node.get("properties", {}).items():
        inner.pop("title", None)
        is_quantity = inner.get("type") == "string" and not isinstance(inner.get("default", ""), str)
        if is_quantity or inner.get("default", key) is None:
            inner.pop("default")
    for inner in node.values():
        _tidy(inner)
