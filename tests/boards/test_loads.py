"""What boards hang on their own pins, and what it does to probes and relays, against node voltages reckoned here.

Limits of the inputs: a quarter and three quarters of 3.3 V (data sheets of the chips, DC characteristics).
"""

from __future__ import annotations

from math import inf

import pytest

from fleet.boards.board import Load, Pin, load_board
from fleet.boards.data_file import LoadKind, ResetPull
from fleet.boards.loads import effective_ohm, judge, pulls_ohm
from fleet.boards.pins import hold_off_ohm, may
from fleet.boards.uses import PROBES, RELAYS, Answer, Use
from tests.boards.kinds import KINDS

V = 3.3
LOW_V, HIGH_V = 0.25 * V, 0.75 * V


def pin_v(water_ohm: float, up_ohm: float, load: Load | None = None) -> float:
    """The node's voltage by bisection of Kirchhoff's current law; a LED conducts what is above its voltage."""

    def current_in(v: float) -> float:
        total = (V - v) / up_ohm - v / water_ohm
        if load is not None and load.ohm is not None:
            drop_v = load.drop_v or 0.0
            if load.to == "high":
                total += max(0.0, V - v - drop_v) / load.ohm
            else:
                total -= max(0.0, v - drop_v) / load.ohm
        return total

    low, high = 0.0, V
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if current_in(middle) > 0 else (low, middle)
    return low


def held_v(pin: Pin, pull_ohm: float, relay_to_high: bool, off_ohm: float = 10e3) -> float:
    """Of a pin with a relay's input, from reset until the firmware runs: the chip's pull, the board's loads, and the
    resistor to the OFF level that every sheet asks for (docs/inventory.md)."""
    chip_v = {ResetPull.UP: V, ResetPull.USB_UP: V, ResetPull.DOWN: 0.0}.get(pin.reset.pull)
    pulls = [(0.0 if relay_to_high else V, off_ohm)] + ([] if chip_v is None else [(chip_v, pull_ohm)])
    pulls += [(V if load.to == "high" else 0.0, load.ohm) for load in pin.loads if load.ohm and not load.some]
    return sum(v / ohm for v, ohm in pulls) / sum(1 / ohm for _, ohm in pulls)


@pytest.mark.parametrize("board_id", KINDS)
def test_what_is_allowed_works_as_a_circuit(board_id: str) -> None:
    """Probes on the chip's pull-up: 1 kohm of water reads LOW and a dry one HIGH, at both ends of the pull-up. Relays:
    their 10 kohm alone hold them from reset on, so that they are off (a transistor opens at 0.6 V: from memory)."""
    board = load_board(board_id)
    for pin in board.pins:
        if may(board, pin, Use.PROBE_INTERNAL).answer is Answer.ALLOWED:
            for up_ohm in (board.pull_up.least_ohm, board.pull_up.most_ohm):
                for load in (None, *pin.loads):
                    assert pin_v(1_000.0, up_ohm, load) < LOW_V, pin.name
                    assert pin_v(1e12, up_ohm, load) > HIGH_V, pin.name
        for use in RELAYS:
            if may(board, pin, use).answer is Answer.ALLOWED:
                v = held_v(pin, board.pull_up.least_ohm, use is Use.RELAY_HIGH)
                assert v < 0.6 if use is Use.RELAY_HIGH else v > V - 0.6, (pin.name, use)


@pytest.mark.parametrize(
    ("pin", "use"), [("IO13", Use.RELAY_LOW), ("IO4", Use.RELAY_LOW), ("IO14", Use.RELAY_HIGH)]
)
def test_the_circuit_knows_the_pins_that_the_chip_pulls(pin: str, use: Use) -> None:
    """A bad example of each: GPIO13 and 4 are pulled down, GPIO14 up; 31.5 kohm against 10 make 0.8 V of 3.3 V."""
    board = load_board("esp32-devkit")
    v = held_v(board.pin(pin), 31.5e3, use is Use.RELAY_HIGH)
    assert (v if use is Use.RELAY_HIGH else V - v) == pytest.approx(0.795, abs=1e-3)
    assert may(board, board.pin(pin), use).answer is Answer.REFUSED


PULLED_ON = {
    *(("esp8266", gpio, True) for gpio in (12, 13, 14)),
    ("esp8266", 16, False),
    ("esp32-c3", 6, True),
}
"""Taken with care though pulled to ON: tests/boards/test_reset.py has the pulls; XPD_DCDC has a pull-down."""


@pytest.mark.parametrize("board_id", KINDS)
def test_the_resistor_that_holds_a_relay_off_does_so_wherever_one_is_let(board_id: str) -> None:
    """Below 0.6 V a transistor is shut (from memory), whatever the chip's pull has; 20 kohm against 10 leave 1.1 V."""
    board = load_board(board_id)
    for pin in board.pins:
        for use in RELAYS:
            if may(board, pin, use).answer is Answer.REFUSED:
                continue
            high, ohm = use is Use.RELAY_HIGH, hold_off_ohm(board, pin, use)
            v = held_v(pin, board.pull_up.least_ohm, high, ohm)
            if not pin.reset.output:  # what an output drives, no resistor holds
                assert (v if high else V - v) < 0.6, (pin.name, use)
            assert ohm == (3_300 if (board.chip, pin.gpio, high) in PULLED_ON else 10_000), (pin.name, use)


def test_each_load_of_each_board() -> None:
    for board_id, kind in KINDS.items():
        assert {pin.gpio for pin in load_board(board_id).pins if pin.loads} == kind.loaded, board_id


@pytest.mark.parametrize("board_id", KINDS)
def test_a_probe_on_rx_is_refused_with_the_water_that_it_would_need(board_id: str) -> None:
    """The bridge's output through 470 ohm: a third of it is 157 ohm; and with that water the pin is just LOW."""
    board = load_board(board_id)
    pin = board.pin(f"GPIO{KINDS[board_id].rx}")
    for use in PROBES:
        verdict = may(board, pin, use)
        assert verdict.answer is Answer.REFUSED
        assert verdict.load is LoadKind.DRIVER
        assert "below 157 ohm" in verdict.reason
        assert verdict.limit is not None
        assert verdict.limit[1] == pytest.approx(156.7, abs=0.1)
        assert verdict.source
    (driver,) = (load for load in pin.loads if load.kind is LoadKind.DRIVER)
    assert pin_v(156.0, 1e12, driver) < LOW_V < pin_v(158.0, 1e12, driver)
    assert pin_v(80.0, 45_000, driver) < LOW_V < pin_v(500.0, 45_000, driver), "bore water of 480 uS/cm"


def made(kind: LoadKind, to: str, ohm: float, drop_v: float | None = None, some: bool = False) -> Load:
    return Load(kind, "is loaded", to, ohm, drop_v, some, "a test")  # type: ignore[arg-type]


@pytest.mark.parametrize("ohm", [470.0, 2_000.0, 2_990.0, 3_010.0, 12_000.0, 100_000.0])
def test_a_pull_to_high_is_refused_where_a_thousand_ohm_of_water_do_not_read(ohm: float) -> None:
    load = made(LoadKind.RESISTOR, "high", ohm)
    reads = pin_v(1_000.0, 1e15, load) <= LOW_V
    judged = judge(load, Use.PROBE_INTERNAL, load_board("d1-mini").pull_up)
    assert judged.answer is (Answer.CARE if reads else Answer.REFUSED)


@pytest.mark.parametrize("board_id", ["d1-mini", "esp32-devkit"])
@pytest.mark.parametrize("ohm", [10_000.0, 59_000.0, 95_000.0, 200_000.0, 1e6])
def test_a_pull_to_low_is_refused_where_a_dry_probe_never_reads_high(ohm: float, board_id: str) -> None:
    """Against the strongest pull-up that the chip may have: 10 kohm with 45 kohm give 0.6 V, dry."""
    load, pull_up = made(LoadKind.RESISTOR, "low", ohm), load_board(board_id).pull_up
    reads = pin_v(1e15, pull_up.least_ohm, load) >= HIGH_V
    judged = judge(load, Use.PROBE_INTERNAL, pull_up)
    assert judged.answer is (Answer.CARE if reads else Answer.REFUSED)
    assert judge(load, Use.PROBE_EXTERNAL, pull_up).answer is Answer.CARE
    assert pin_v(1e15, 45_000, made(LoadKind.RESISTOR, "low", 10_000.0)) == pytest.approx(0.6)


@pytest.mark.parametrize(("drop_v", "ohm"), [(2.2, 470.0), (1.8, 1_000.0), (2.4, 330.0)])
def test_a_led_counts_as_the_resistance_that_turns_the_input(drop_v: float, ohm: float) -> None:
    up, down = made(LoadKind.LED, "high", ohm, drop_v), made(LoadKind.LED, "low", ohm, drop_v)
    plain = made(LoadKind.RESISTOR, "high", effective_ohm(up))
    for water_ohm in (effective_ohm(up) / 3 * 0.99, effective_ohm(up) / 3 * 1.01):
        assert (pin_v(water_ohm, 1e15, up) <= LOW_V) is (pin_v(water_ohm, 1e15, plain) <= LOW_V)
    for up_ohm in (effective_ohm(down) / 3 * 0.99, effective_ohm(down) / 3 * 1.01):
        assert (pin_v(1e15, up_ohm, down) >= HIGH_V) is (up_ohm < effective_ohm(down) / 3)


def test_a_led_that_does_not_conduct_there_is_no_load() -> None:
    assert effective_ohm(made(LoadKind.LED, "high", 470.0, 2.6)) == inf
    assert pulls_ohm([made(LoadKind.LED, "high", 470.0, 2.6)]) == (inf, inf)


def test_loads_together() -> None:
    two = [made(LoadKind.RESISTOR, "high", 12_000.0), made(LoadKind.RESISTOR, "high", 6_000.0)]
    assert pulls_ohm(two) == (pytest.approx(4_000.0), inf)
    assert pulls_ohm([made(LoadKind.RESISTOR, "low", 5_000.0, some=True)]) == (inf, inf)


def test_what_only_some_boards_have_is_minded_and_never_refused() -> None:
    pull_up = load_board("esp32-devkit").pull_up
    assert (
        judge(made(LoadKind.LED, "low", 1_000.0, 2.2), Use.PROBE_INTERNAL, pull_up).answer is Answer.REFUSED
    )
    some = made(LoadKind.LED, "low", 1_000.0, 2.2, some=True)
    assert judge(some, Use.PROBE_INTERNAL, pull_up).answer is Answer.CARE


@pytest.mark.parametrize(
    ("board_id", "pin", "use", "answer", "words"),
    [
        ("esp32-s3-devkit", "19", Use.PROBE_INTERNAL, Answer.REFUSED, "D- of the socket"),
        ("esp32-s3-devkit", "20", Use.PROBE_EXTERNAL, Answer.REFUSED, "D+ of the socket"),
        ("esp32-s3-devkit", "20", Use.RELAY_LOW, Answer.REFUSED, "in the socket switches the pump"),
        ("esp32-s3-devkit", "19", Use.ANALOG, Answer.REFUSED, "ADC2"),
        ("esp32-s3-devkit", "19", Use.SPARE, Answer.CARE, "USB"),
        ("esp32-c3-devkit", "IO18", Use.PROBE_INTERNAL, Answer.CARE, "can then not be reached"),
        ("esp32-c3-devkit", "IO19", Use.RELAY_LOW, Answer.CARE, "can then not be reached"),
        ("esp32-s2-devkit", "IO20", Use.PROBE_INTERNAL, Answer.CARE, "can then not be reached"),
        ("esp32-s3-devkit", "38", Use.RELAY_HIGH, Answer.CARE, "data line of the LED"),
        ("esp32-s3-devkit", "48", Use.PROBE_INTERNAL, Answer.CARE, "data line of the LED"),
        ("nodemcu-v2", "D0", Use.PROBE_EXTERNAL, Answer.CARE, "only with water below 1,410 ohm"),
        ("nodemcu-v2", "TX", Use.SPARE, Answer.CARE, "can stop the start"),
        ("nodemcu-v2", "RX", Use.RELAY_LOW, Answer.REFUSED, "UART0"),
        ("nodemcu-v2", "RX", Use.SPARE, Answer.CARE, "UART0"),
    ],
)  # fmt: skip
def test_uses_of_loaded_pins(board_id: str, pin: str, use: Use, answer: Answer, words: str) -> None:
    """S3: the socket `USB` of the kit hangs on GPIO19 and 20; C3-DevKitM-1 and Saola-1 have D+ and D- on the header
    alone (user guides)."""
    board = load_board(board_id)
    verdict = may(board, board.pin(pin), use)
    assert verdict.answer is answer
    assert words in verdict.reason


@pytest.mark.parametrize(
    ("load", "use", "answer"),
    [
        (made(LoadKind.RESISTOR, "high", 12_000.0), Use.RELAY_HIGH, Answer.REFUSED),
        (made(LoadKind.RESISTOR, "high", 12_000.0), Use.RELAY_LOW, Answer.ALLOWED),
        (made(LoadKind.LED, "low", 1_000.0, 2.0), Use.RELAY_LOW, Answer.REFUSED),
        (made(LoadKind.DRIVER, "high", 470.0), Use.RELAY_LOW, Answer.REFUSED),
        (Load(LoadKind.BUTTON, "is a button", None, None, None, False, "x"), Use.RELAY_HIGH, Answer.REFUSED),
        (Load(LoadKind.BUTTON, "is a button", None, None, None, False, "x"), Use.PROBE_INTERNAL, Answer.CARE),
        (Load(LoadKind.INPUT, "listens", None, None, None, False, "x"), Use.ANALOG, Answer.CARE),
        (Load(LoadKind.INPUT, "listens", None, None, None, False, "x"), Use.SPARE, Answer.ALLOWED),
        (made(LoadKind.DRIVER, "high", 470.0), Use.ANALOG, Answer.REFUSED),
    ],
)  # fmt: skip
def test_kinds_of_loads(load: Load, use: Use, answer: Answer) -> None:
    """A floating relay input follows whatever pulls at it."""
    assert judge(load, use, load_board("d1-mini").pull_up).answer is answer
