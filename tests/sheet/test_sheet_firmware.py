"""The readings on a sheet against the firmware's own code, compiled for this machine and asked probe by probe."""

from __future__ import annotations

import subprocess

import pytest

from fleet.check.load import load_inventory
from fleet.facts.tank import about_tank
from fleet.resources import demo_inventory_dir
from fleet.sheet.expected import rising_readings
from fleet.sheet.steps import watch_words
from fleet.water.filling import pump_marks, rising
from fleet.water.quantities import duration
from tests.firmware.firmware_build import compile_program, core_sources
from tests.sheet.hostile import hostile_inventory

pytestmark = pytest.mark.slow

BUCKET = ("tests/firmware/bucket_tool.cpp", *core_sources("probe", "pump", "run", "tank"))
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


def test_probes_left_in_the_bucket_meet_the_watch_that_the_sheet_warns_of() -> None:
    program = compile_program(BUCKET)
    demo = load_inventory(demo_inventory_dir(), demo_inventory_dir().parent)
    met = set()
    for tank in (each for each in demo.tanks if each.pump):
        marks, pump = rising(tank), about_tank(demo, tank.name).pump
        ends = [str(marks.index(mark)) for mark in pump_marks(tank, tank.pump)]
        first_s = pump.first_rise.seconds if pump.first_rise else 0
        times = [str(seconds) for seconds in (pump.no_rise.seconds, first_s, pump.shortest_off.seconds)]
        words = [program, str(len(marks)), tank.pump.does, *ends, *times]
        said = subprocess.run(words, capture_output=True, text=True, check=True).stdout.split()
        if said[1] == "none":
            continue
        met.add(tank.pump.does)
        assert said[1] == "no-rise", tank.name
        warned = watch_words(pump)
        assert (f"Stay under {duration(float(said[0]))} with" in warned) == (float(said[0]) <= 1800), (
            tank.name
        )
    assert met == {"fill", "drain"}
