"""The build record of a class: what it was made from and with, how large it is, and its bill of materials."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING, Any
from uuid import NAMESPACE_URL, uuid5

from fleet.version import __version__

if TYPE_CHECKING:
    from collections.abc import Mapping

RECORD_VERSION = 1
BOOT_LOADER = "boot-loader"
PARTITIONS = "partitions"
"""Names in a record's `beside`."""
_LINKED = {"libbearssl-dev": "bearssl", "libc6-dev": "glibc"}
_LICENSES = {"bearssl": "MIT", "glibc": "LGPL-2.1-or-later"}


def build_record(
    name: str,
    defect: str,
    digest: str,
    sources: Mapping[str, str],
    versions: Mapping[str, str],
    sizes: Mapping[str, int],
    beside: Mapping[str, str],
) -> dict[str, Any]:
    """The record as JSON data, the same for the same inputs: no time, no place, no chance.

    `name` of the class, `digest` of all inputs, `sources` path to SHA-256, `versions` tool to version,
    `sizes` in bytes, `beside` the SHA-256 of what a first load over USB writes besides the image, by name.
    """
    return {
        "v": RECORD_VERSION,
        "class": name,
        "defect": defect,
        "inputs": digest,
        "sources": dict(sorted(sources.items())),
        "tools": dict(sorted(versions.items())),
        "sizes": dict(sizes),
        "beside": dict(sorted(beside.items())),
        "sbom": _sbom(name, digest, sources, versions),
    }


def source_digests(project: Mapping[str, bytes]) -> dict[str, str]:
    """Path to SHA-256."""
    return {path: hashlib.sha256(data).hexdigest() for path, data in sorted(project.items())}


def _sbom(name: str, digest: str, sources: Mapping[str, str], versions: Mapping[str, str]) -> dict[str, Any]:
    """CycloneDX 1.6, as the CycloneDX project's own library would write it: no list is empty."""
    firmware = _component("firmware", "firmware", f"tankfleet firmware {name}", version=__version__)
    files = [
        _component("file", f"file:{path}", path, hashes=[{"alg": "SHA-256", "content": sha}])
        for path, sha in sorted(sources.items())
    ]
    tools = [
        _component("application", f"tool:{tool}", tool, version=versions[tool])
        for tool in sorted(set(versions) - set(_LINKED))
    ]
    linked = [
        _component(
            "library",
            f"library:{library}",
            library,
            version=versions[package],
            licenses=[{"license": {"id": _LICENSES[library]}}],
        )
        for package, library in _LINKED.items()
        if package in versions
    ]
    refs = [library["bom-ref"] for library in linked]
    metadata = {"component": firmware | _unless_empty("components", files)}
    return {
        "$schema": "http://cyclonedx.org/schema/bom-1.6.schema.json",
        "bomFormat": "CycloneDX",
        "specVersion": "1.6",
        "serialNumber": uuid5(NAMESPACE_URL, f"tankfleet:build:{digest}").urn,
        "version": 1,
        "metadata": metadata | ({"tools": {"components": tools}} if tools else {}),
        **_unless_empty("components", linked),
        "dependencies": [
            {"ref": "firmware"} | _unless_empty("dependsOn", refs),
            *({"ref": ref} for ref in refs),
        ],
    }


def _component(kind: str, ref: str, name: str, **more: Any) -> dict[str, Any]:
    return {"type": kind, "bom-ref": ref, "name": name, **more}


def _unless_empty(key: str, values: list[Any]) -> dict[str, list[Any]]:
    return {key: values} if values else {}
