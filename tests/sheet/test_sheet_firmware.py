"""The readings on a sheet against the firmware's own code, compiled for this machine and asked probe by probe."""

from __future__ import annotations

import subprocess

import pytest

from fleet.inventory.load import load_inventory
from fleet.resources import demo_inventory_dir
from fleet.sheet.expected import rising_readings
from fleet.water.filling import pump_marks, rising
from tests.firmware_build import compile_program, core_sources
from tests.sheet.hostile import hostile_inventory

pytestmark = pytest.mark.slow

SOURCES = ("tests/firmware/readings_tool.cpp", *core_sources("pump", "run", "tank"))


def test_the_firmware_says_what_the_sheet_expects() -> None:
    program = compile_program(SOURCES)
    demo = load_inventory(demo_inventory_dir(), demo_inventory_dir().parent)
    tanks = [t for inventory in (demo, hostile_inventory()) for t in inventory.tanks if t.pump]
    assert len(tanks) > 10
    for tank in tanks:
        marks = rising(tank)
        on_mark, off_mark = (marks.index(mark) for mark in pump_marks(tank, tank.pump))
        words = [str(len(marks)), tank.pump.does, str(on_mark), str(off_mark)]
        said = subprocess.run(
            [program, *words], capture_output=True, text=True, check=True
        ).stdout.splitlines()
        *expected, crossed = said
        assert [reading.words for reading in rising_readings(tank, relay=True)] == expected, tank.name
        assert crossed == "level unknown, pump relay off, fault"
