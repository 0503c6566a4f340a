"""From the inventory to the bench: addresses, wires and water, with the sample fleet and the demo
inventory."""

from __future__ import annotations

from math import pi
from pathlib import Path

import pytest

from fleet.bench.codes import NO_BOARD_FOR_BENCH
from fleet.bench.scene import address_of, mac_of, node_specs, table_of
from fleet.bench.world import TankWorld, Vessel
from fleet.check.load import load_inventory
from fleet.errors import BenchError
from fleet.model.inventory import Inventory
from fleet.model.tank import HorizontalCylinder
from tests.sample_fleet import sample_inventory

DEMO = Path(__file__).parents[2] / "inventory"
DAY_MINUTES = 1440


def _specs(inventory: Inventory):
    names = [node.name for node in inventory.nodes]
    return node_specs(inventory, names, Path("/bench"), Path("/boot"), 177)


def test_wires_of_the_sample_fleet() -> None:
    """D1 mini: D1, D2, D5, D6, D7 are GPIO 5, 4, 14, 12, 13 (facts A2, the core's pins_arduino.h)."""
    hill, yard, _ = _specs(sample_inventory())
    header, trough = hill.tanks
    assert [(p.mark, p.height_m, p.gpio) for p in header.probes] == [
        ("empty", 0.2, 14 - 1),
        ("half", 1.0, 12),
        ("full", 1.8, 14),
    ]
    assert (header.pump.gpio, header.pump.active_high, header.pump.flow_l_per_min) == (5, True, 60.0)
    assert [(p.mark, p.gpio) for p in trough.probes] == [("low", 4), ("high", 0)]
    assert trough.pump is None
    (sump,) = yard.tanks
    assert (sump.pump.does, sump.pump.gpio, sump.pump.active_high) == ("drain", 25, False)
    assert (hill.folder, hill.boot_loader, hill.port) == ("/bench/nodes/hill-1", "/boot", 8080)


def test_addresses_follow_the_inventory_whichever_nodes_are_wanted() -> None:
    inventory = sample_inventory()
    assert [spec.address for spec in _specs(inventory)] == ["127.177.0.1", "127.177.0.2", "127.177.0.3"]
    (one,) = node_specs(inventory, ["yard-2"], Path("/b"), Path("/l"), 80)
    assert one.address == "127.80.0.3"
    assert [address_of(n, 100) for n in (249, 250, 999)] == ["127.100.0.250", "127.100.1.1", "127.100.3.250"]
    assert len({address_of(n, 100) for n in range(5000)}) == 5000


def test_derived_macs_are_locally_administered_unicast_and_differ() -> None:
    """IEEE 802: bit 1 of the first byte set is locally administered, bit 0 clear is unicast."""
    inventory = sample_inventory()
    macs = [mac_of(node) for node in inventory.nodes]
    assert len(set(macs)) == 3
    for mac in macs:
        assert int(mac[:2], 16) & 0b11 == 0b10
    claimed = inventory.nodes[0].model_copy(update={"mac": "00:00:5e:00:53:01"})
    assert mac_of(claimed) == "00:00:5e:00:53:01"


def test_table_of_a_lying_cylinder_meets_the_closed_form() -> None:
    """Half full is half of pi r2 l (solid geometry); between table points within 0.1 %."""
    shape = HorizontalCylinder.model_validate(
        {"kind": "horizontal-cylinder", "diameter": "2 m", "length": "3 m"}
    )
    vessel = Vessel(*table_of(shape))
    assert vessel.volume_l(1.0) == pytest.approx(1000 * pi * 3 / 2, rel=1e-6)
    assert vessel.volume_l(2.0) == pytest.approx(1000 * pi * 3, rel=1e-9)
    assert vessel.level_m(vessel.volume_l(0.617)) == pytest.approx(0.617, abs=1e-9)
    assert vessel.volume_l(0.99) == pytest.approx(1000 * pi * 3 / 2 - 1000 * 3 * 2 * 0.01, rel=1e-3)


def test_unknown_pin_is_named() -> None:
    inventory = sample_inventory()
    node = inventory.nodes[0]
    served = node.serves[0].model_copy(update={"probes": {"full": "X9", "half": "D6", "empty": "D7"}})
    broken = inventory.model_copy(update={"nodes": (node.model_copy(update={"serves": (served,)}),)})
    with pytest.raises(BenchError, match="X9") as caught:
        _specs(broken)
    assert caught.value.code is NO_BOARD_FOR_BENCH


def test_every_tank_of_the_demo_lives_through_a_day() -> None:
    """With a pump that switches at its lowest and highest mark, no tank with a pump spills, runs dry or
    goes under its reserve (without one it may happen). No level moves faster than the flows allow."""
    specs = _specs(load_inventory(DEMO))
    assert sum(len(spec.tanks) for spec in specs) >= 24
    for tank in (tank for spec in specs for tank in spec.tanks):
        world, pump_on, what = TankWorld(tank, speed=60.0), False, set()
        for _ in range(DAY_MINUTES):
            wet, before_l = world.wet(), world.volume_l
            if tank.pump is not None:
                start, stop = (not wet[0], wet[-1]) if tank.pump.does == "fill" else (wet[-1], not wet[0])
                pump_on = (pump_on or start) and not stop
            what |= {event.what.value for event in world.advance(1.0, pump_on=pump_on)}
            pumped_l = tank.pump.flow_l_per_min if tank.pump else 0.0
            most_l = tank.largest_draw_l_per_min + tank.largest_inflow_l_per_min + pumped_l
            assert abs(world.volume_l - before_l) <= most_l + 1e-6
        assert tank.pump is None or not what, f"{tank.name}: {what}"
