"""The bill of materials, held against what the library of the CycloneDX project writes of the same parts."""

from __future__ import annotations

import json
from uuid import NAMESPACE_URL, uuid5

import pytest
from cyclonedx.model import HashAlgorithm, HashType
from cyclonedx.model.bom import Bom
from cyclonedx.model.component import Component, ComponentType
from cyclonedx.model.license import DisjunctiveLicense
from cyclonedx.output.json import JsonV1Dot6

from fleet.build.record import build_record
from fleet.version import __version__

DIGEST = "ab" * 32
LIBRARIES = {"libbearssl-dev": ("bearssl", "MIT"), "libc6-dev": ("glibc", "LGPL-2.1-or-later")}


def written_by_the_library(sources: dict[str, str], versions: dict[str, str]) -> dict[str, object]:
    firmware = Component(
        name="tankfleet firmware hill",
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
            for path, sha in sources.items()
        ],
    )
    bom = Bom(serial_number=uuid5(NAMESPACE_URL, f"tankfleet:build:{DIGEST}"))
    bom.metadata.component = firmware
    linked = []
    for name, version in versions.items():
        if name in LIBRARIES:
            library, license_id = LIBRARIES[name]
            linked.append(
                Component(
                    name=library,
                    version=version,
                    type=ComponentType.LIBRARY,
                    bom_ref=f"library:{library}",
                    licenses=[DisjunctiveLicense(id=license_id)],
                )
            )
        else:
            bom.metadata.tools.components.add(
                Component(name=name, version=version, type=ComponentType.APPLICATION, bom_ref=f"tool:{name}")
            )
    bom.components.update(linked)
    bom.register_dependency(firmware, linked)
    made = json.loads(JsonV1Dot6(bom).output_as_string())
    del made["metadata"]["timestamp"]
    return made


@pytest.mark.parametrize(
    "sources", [{}, {"src/b.cpp": "cd" * 32, "src/a b.h": "ef" * 32, "Ä.h": "01" * 32}], ids=["none", "three"]
)
@pytest.mark.parametrize(
    "versions",
    [
        {},
        {"g++": "12.2.0"},
        {"libc6-dev": "2.36-9+deb12u10"},
        {
            "scons": "4.11.1",
            "platformio": "6.2.0",
            "libc6-dev": "2.36",
            "g++": "12.2",
            "libbearssl-dev": "0.6",
        },
    ],
    ids=["none", "a tool", "a library", "all"],
)
def test_bill_of_materials(sources: dict[str, str], versions: dict[str, str]) -> None:
    record = build_record("hill", "", DIGEST, sources, versions, {}, {})
    assert record["sbom"] == written_by_the_library(sources, versions)
