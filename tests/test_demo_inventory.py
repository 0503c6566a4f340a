"""The demo inventory: no finding is left unexplained, it uses every feature, and the bench could update it as it is."""

from __future__ import annotations

from pathlib import Path

from fleet.boards.board import load_board
from fleet.boards.pins import may, probe_use, relay_use
from fleet.boards.uses import Answer
from fleet.check.load import load_inventory, read_inventory
from fleet.model.tank import Duty, Ends
from fleet.water.filling import pump_times

FOLDER = Path(__file__).resolve().parent.parent / "inventory"
INVENTORY = load_inventory(FOLDER)


def test_what_is_to_be_said_about_it_is_explained_by_a_ruling() -> None:
    inventory, findings = read_inventory(FOLDER)
    assert inventory is not None
    assert [finding.what for finding in findings if not finding.accepted] == []
    assert 1 <= len(findings) <= 3
    assert {ruling.code for ruling in inventory.rulings} == {finding.code.code for finding in findings}


def test_size_and_spread() -> None:
    assert len(INVENTORY.sites) >= 3
    assert len({site.time_zone for site in INVENTORY.sites}) >= 2
    assert len(INVENTORY.tanks) >= 24
    assert len(INVENTORY.nodes) >= 20
    assert {load_board(node.board).chip for node in INVENTORY.nodes} == {"esp8266", "esp32", "esp32-c3"}
    assert {node.board for node in INVENTORY.nodes} == {"nodemcu-v2", "esp32-devkit", "esp32-c3-devkit"}


def test_every_feature_is_used() -> None:
    tanks, nodes = INVENTORY.tanks, INVENTORY.nodes
    assert {t.shape.kind for t in tanks} == {
        "vertical-cylinder", "horizontal-cylinder", "box", "frustum", "sphere", "strapped",
    }  # fmt: skip
    assert {t.shape.ends for t in tanks if t.shape.kind == "horizontal-cylinder"} == set(Ends) - {
        Ends.CONICAL
    }
    bottoms = {t.shape.bottom for t in tanks if t.shape.kind == "vertical-cylinder"}
    assert bottoms == {"flat", "cone", "dished", "ellipsoidal", "hemispherical"}
    assert {t.duty for t in tanks} == set(Duty)
    assert {len(t.marks) for t in tanks} == {2, 3, 4}
    assert any(t.pump is None for t in tanks)
    assert any(t.duty is Duty.SUMP and t.pump and t.pump.does == "drain" for t in tanks)
    assert {t.pump.phase for t in tanks if t.pump} == {"single", "three", "dc"}
    assert len({t.supply_group for t in tanks if t.supply_group}) >= 2
    assert any(len(n.serves) == 2 for n in nodes)
    assert any(s.pull_up == "external" for n in nodes for s in n.serves)
    assert {s.pump_relay.active for n in nodes for s in n.serves if s.pump_relay} == {"high", "low"}
    assert {t.electrodes.kind for t in tanks if t.electrodes} == {"rods", "plates", "constant"}
    assert any(s.pull_up_resistor_ohm and s.cable_length_m for n in nodes for s in n.serves)
    assert any(n.mac is None for n in nodes)
    assert all(n.access_point for n in nodes)
    assert {len(bssids) for site in INVENTORY.sites for bssids in site.access_points.values()} == {1, 2}
    assert all(site.windows and site.spare_boards for site in INVENTORY.sites)
    text = "".join(path.read_text(encoding="utf-8") for path in FOLDER.glob("*.yaml"))
    for unit in (
        " m",
        " ft",
        " in",
        " L/min",
        " gal/min",
        " gal",
        " kW",
        " W",
        " hp",
        " uS/cm",
        " h",
        " s",
        " %",
    ):
        assert f"{unit}}}" in text or f"{unit}," in text or f"{unit}\n" in text or f"{unit} #" in text, unit


def test_each_tank_is_served_and_each_pin_is_fit() -> None:
    served = [s.tank for node in INVENTORY.nodes for s in node.serves]
    assert sorted(served) == [tank.name for tank in INVENTORY.tanks]
    ruled_on = {ruling.about for ruling in INVENTORY.rulings}
    for node in INVENTORY.nodes:
        board = load_board(node.board)
        for one in node.serves:
            use = probe_use(one.pull_up)
            for name in one.probes.values():
                assert may(board, board.pin(name), use).answer is Answer.ALLOWED, (node.name, name)
            if one.pump_relay:
                pin = one.pump_relay.pin
                wired = may(board, board.pin(pin), relay_use(one.pump_relay.active))
                accepted = f"node {node.name} pin {pin}" in ruled_on
                assert wired.answer is (Answer.CARE if accepted else Answer.ALLOWED), node.name


def test_pumps_keep_up() -> None:
    times = [pump_times(tank) for tank in INVENTORY.tanks]
    assert all(t.keeps_up for t in times if t)
