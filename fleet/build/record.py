"""The build record of a class: what it was made from and with, how large it is, and its bill of materials."""

from __future__ import annotations

import hashlib
import json
from typing import TYPE_CHECKING, Any
from uuid import NAMESPACE_URL, uuid5

from fleet.version import __version__

if TYPE_CHECKING:
    from collections.abc import Mapping

    from cyclonedx.model.component import Component

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
    """CycloneDX 1.6, by the library of the CycloneDX project."""
    from cyclonedx.model import HashAlgorithm, HashType
    from cyclonedx.model.bom import Bom
    from cyclonedx.model.component import Component, ComponentType
    from cyclonedx.output.json import JsonV1Dot6

    firmware = Component(
        name=f"tankfleet firmware {name}",
        version=__version__,
        type=ComponentType.FIRMWARE,
        bom_ref="firmware",
        components=[
            Component(
                name=path,
                type=ComponentType.FILE,
                bom_ref=f"file:{path}",
                hashes=[HashType(alg=HashAlgorithm.SHA_256, content=sha)],
            )
            for path, sha in sorted(sources.items())
        ],
    )
    bom = Bom(serial_number=uuid5(NAMESPACE_URL, f"tankfleet:build:{digest}"))
    bom.metadata.component = firmware
    for tool in sorted(set(versions) - set(_LINKED)):
        bom.metadata.tools.components.add(
            Component(
                name=tool, version=versions[tool], type=ComponentType.APPLICATION, bom_ref=f"tool:{tool}"
            )
        )
    linked = [_library(versions, package, name) for package, name in _LINKED.items() if package in versions]
    for library in linked:
        bom.components.add(library)
    bom.register_dependency(firmware, linked)
    made: dict[str, Any] = json.loads(JsonV1Dot6(bom).output_as_string())
    made["metadata"].pop("timestamp", None)
    return made


def _library(versions: Mapping[str, str], package: str, name: str) -> Component:
    from cyclonedx.model.component import Component, ComponentType
    from cyclonedx.model.license import DisjunctiveLicense

    return Component(
        name=name,
        version=versions[package],
        type=ComponentType.LIBRARY,
        bom_ref=f"library:{name}",
        licenses=[DisjunctiveLicense(id=_LICENSES[name])],
    )
