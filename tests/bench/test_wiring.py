"""Pins and wires. The offsets are those of docs/bench-node.md, read here with struct, not with the code
under test."""

from __future__ import annotations

import struct

import pytest

from fleet.bench.pins import PINS_BYTES, PinsFile
from fleet.bench.spec import PumpSpec
from fleet.bench.wiring import ProbeHurt, Wiring, relay_on
from fleet.bench.world import TankWorld
from tests.bench.scenery import box_tank


@pytest.fixture
def pins(tmp_path):
    pins = PinsFile(tmp_path / "pins")
    yield pins
    pins.close()


def _bytes(tmp_path) -> bytes:
    return (tmp_path / "pins").read_bytes()


def _poke(tmp_path, at: int, data: bytes) -> None:
    with (tmp_path / "pins").open("r+b") as file:
        file.seek(at)
        file.write(data)


def test_a_new_pins_file_is_dry_floating_and_on_the_network(pins, tmp_path) -> None:
    assert _bytes(tmp_path) == b"\x01" * 64 + b"\x00" * 192
    assert PINS_BYTES == 256


def test_what_the_bench_writes_lies_where_the_contract_says(pins, tmp_path) -> None:
    pins.set_input(13, high=False)
    pins.set_network_down(True)
    pins.set_link_rate(20_000)
    data = _bytes(tmp_path)
    assert (data[12], data[13], data[14]) == (1, 0, 1)
    assert data[208] == 1
    assert struct.unpack("<I", data[212:216]) == (20_000,)


def test_what_the_node_writes_is_read_from_there(pins, tmp_path) -> None:
    _poke(tmp_path, 192, struct.pack("<QI", 2**40 + 7, 4242))
    assert pins.heartbeat() == 2**40 + 7
    assert pins.pid() == 4242
    assert pins.driven_high(5) is None
    _poke(tmp_path, 128 + 5, b"\x01")
    assert pins.driven_high(5) is False
    _poke(tmp_path, 64 + 5, b"\x01")
    assert pins.driven_high(5) is True
    pins.float_outputs()
    assert pins.driven_high(5) is None
    assert pins.heartbeat() == 2**40 + 7


@pytest.mark.parametrize("active_high", [True, False])
def test_a_relay_is_on_only_when_driven_to_its_active_level(pins, tmp_path, active_high) -> None:
    pump = PumpSpec(does="fill", flow_l_per_min=1.0, gpio=5, active_high=active_high)
    assert not relay_on(pump, pins), "a floating pin leaves the relay off"
    _poke(tmp_path, 128 + 5, b"\x01")
    for level in (0, 1):
        _poke(tmp_path, 64 + 5, bytes([level]))
        assert relay_on(pump, pins) is (bool(level) is active_high)


def test_water_reaches_the_probe_pins_and_lies_reach_them_too(pins, tmp_path) -> None:
    """Marks empty, half, full on GPIO 14, 12, 13; LOW (0) is wet."""
    tank = box_tank()
    world, wiring = TankWorld(tank, 1.0), Wiring((tank,))
    world.set_share(0.6 / 0.95)

    def levels(hurt) -> tuple[int, int, int]:
        wiring.write_probes(pins, {tank.name: world}, hurt)
        data = _bytes(tmp_path)
        return data[14], data[12], data[13]

    assert levels({}) == (0, 0, 1)
    assert levels({(tank.name, "empty"): ProbeHurt.LOST}) == (1, 0, 1)
    assert levels({(tank.name, "full"): ProbeHurt.SWOLLEN}) == (0, 0, 0)
    assert wiring.running_pumps(pins) == {tank.name: False}
