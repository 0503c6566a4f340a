"""All nodes of a bench and what is asked of them, with processes and a clock that the test moves."""

from __future__ import annotations

import pytest

from fleet.bench.hub import Hub, Machinery
from fleet.bench.message import (
    Add,
    Down,
    HealNode,
    Hello,
    HurtNode,
    ListEvents,
    ListNodes,
    Remove,
    SetDraw,
    SetLevel,
)
from fleet.limits import BENCH_NODES
from tests.bench.scenery import box_tank, flashed, node_spec

KILLED = -9


class Process:
    """A process that runs until it is killed, and moves its heartbeat on."""

    def __init__(self, words: list[str], pid: int) -> None:
        self.words, self.pid, self.code = words, pid, None

    def option(self, name: str) -> str:
        return self.words[self.words.index(f"--{name}") + 1]

    def poll(self) -> int | None:
        return self.code

    def kill(self) -> None:
        self.code = KILLED


class Hold:
    """A claim of addresses."""

    def close(self) -> None:
        pass


class Rig:
    """A hub with its clock and its processes."""

    def __init__(self, folder, speed: float = 1.0) -> None:
        self.folder = folder
        self.now_s = 50.0
        self.processes: list[Process] = []
        self.taken: set[str] = set()
        self.lines: list[str] = []
        self.subnets: dict[int, Hold] = {}
        machinery = Machinery(
            lambda: self.now_s, self._start, lambda a, p: a not in self.taken, self._hold, self.lines.append
        )
        self.hub = Hub("0000000a", speed, 77, machinery)

    def _hold(self, number: int) -> Hold | None:
        return None if number in self.subnets else self.subnets.setdefault(number, Hold())

    def _start(self, words, log_path) -> Process:
        self.processes.append(Process(words, 1000 + len(self.processes)))
        return self.processes[-1]

    def run(self, seconds: float) -> None:
        for _ in range(round(seconds * 10)):
            self.now_s += 0.1
            for process in self.processes:
                if process.code is None:
                    self._beat(process)
            self.hub.tick()

    def _beat(self, process: Process) -> None:
        with open(process.option("pins"), "r+b") as file:  # noqa: PTH123
            file.seek(192)
            file.write(int(self.now_s * 10).to_bytes(8, "little"))

    def ask(self, request):
        return self.hub.answer(request)

    def node(self, name="ridge-1"):
        return next(view for view in self.ask(ListNodes()).nodes if view.name == name)

    def pins(self, name="ridge-1") -> bytes:
        return (self.folder / "nodes" / name / "pins").read_bytes()


@pytest.fixture
def rig(tmp_path) -> Rig:
    rig = Rig(tmp_path)
    nodes = tuple(flashed(node_spec(tmp_path, f"ridge-{i}", i, 90)) for i in (1, 2))
    assert rig.ask(Add(nodes=nodes)).ok
    rig.run(1.0)
    return rig


def _refused(answer, code: str) -> None:
    assert not answer.ok
    assert answer.code == code
    assert answer.what


def test_hello_tells_speed_and_process(rig) -> None:
    answer = rig.ask(Hello())
    assert (answer.ok, answer.pid, answer.speed) == (True, 77, 1.0)


def test_nodes_are_started_with_what_the_boot_loader_takes(rig, tmp_path) -> None:
    """The words of the boot loader's command line, docs/bench-node.md."""
    words = rig.processes[0].words
    folder = tmp_path / "nodes" / "ridge-1"
    assert words[1:] == [
        *("run", "--flash", str(folder / "flash.bin"), "--pins", str(folder / "pins")),
        *("--address", "127.90.0.1", "--port", "8080", "--mac", "02:00:00:00:00:01"),
        *("--speed", "1", "--reset", "power-on", "--bench", "0000000a"),
    ]
    view = rig.node()
    assert (view.power, view.pid, view.starts, view.network) == ("running", 1000, 1, "up")
    assert view.uptime_s == pytest.approx(0.7, abs=0.15)


def test_adding_again_changes_nothing(rig, tmp_path) -> None:
    assert rig.ask(Add(nodes=(node_spec(tmp_path, "ridge-1", 1, 90),))).ok
    rig.run(1.0)
    assert len(rig.processes) == 2


def test_a_taken_address_starts_none_of_the_nodes(rig, tmp_path) -> None:
    rig.taken.add("127.90.0.4")
    nodes = tuple(flashed(node_spec(tmp_path, f"ridge-{i}", i, 90)) for i in (3, 4))
    _refused(rig.ask(Add(nodes=nodes)), "BEN105")
    assert len(rig.ask(ListNodes()).nodes) == 2


def test_too_many_nodes_are_refused(rig, tmp_path) -> None:
    one = node_spec(tmp_path, "x", 9, 90)
    many = tuple(one.model_copy(update={"name": f"n-{i}"}) for i in range(BENCH_NODES))
    _refused(rig.ask(Add(nodes=many)), "BEN110")


def test_removed_nodes_are_gone_with_their_processes(rig) -> None:
    assert rig.ask(Remove(nodes=("ridge-1",))).ok
    rig.run(0.2)
    assert rig.processes[0].code == KILLED
    assert [view.name for view in rig.ask(ListNodes()).nodes] == ["ridge-2"]
    _refused(rig.ask(Remove(nodes=("ridge-1",))), "BEN104")


def test_kill_comes_back_as_a_crash(rig) -> None:
    assert rig.ask(HurtNode(node="ridge-1", how="kill")).ok
    _refused(rig.ask(HurtNode(node="ridge-1", how="kill", for_s=3.0)), "BEN109")
    rig.run(1.0)
    view = rig.node()
    assert (view.reset, view.starts, view.pid) == ("crash", 2, 1002)
    assert rig.processes[2].option("reset") == "crash"


def test_a_brown_out_comes_back_as_one(rig) -> None:
    assert rig.ask(HurtNode(node="ridge-1", how="brown-out")).ok
    _refused(rig.ask(HurtNode(node="ridge-1", how="brown-out", for_s=3.0)), "BEN109")
    rig.run(1.0)
    view = rig.node()
    assert (view.reset, view.starts, view.hurts) == ("brown-out", 2, ())
    assert rig.processes[2].option("reset") == "brown-out"


def test_power_cut_for_a_time(rig) -> None:
    assert rig.ask(HurtNode(node="ridge-1", how="power-cut", for_s=5.0)).ok
    assert rig.processes[0].code == KILLED
    rig.run(4.5)
    assert (rig.node().power, rig.node().hurts) == ("off", ("power-cut",))
    _refused(rig.ask(HurtNode(node="ridge-1", how="kill")), "BEN109")
    rig.run(1.5)
    assert (rig.node().power, rig.node().reset, rig.node().hurts) == ("running", "power-on", ())


def test_power_cut_until_healed(rig) -> None:
    rig.ask(HurtNode(node="ridge-1", how="power-cut"))
    rig.run(60.0)
    assert rig.node().power == "off"
    assert rig.ask(HealNode(node="ridge-1")).ok
    rig.run(1.0)
    assert rig.node().power == "running"


def test_network_wounds_reach_the_pins_and_end(rig) -> None:
    rig.ask(HurtNode(node="ridge-1", how="unreachable", for_s=3.0))
    rig.ask(HurtNode(node="ridge-1", how="slow-link", rate_bytes_per_s=5000))
    assert rig.pins()[208] == 1
    assert int.from_bytes(rig.pins()[212:216], "little") == 5000
    assert rig.node().network == "down"
    rig.run(3.2)
    assert rig.pins()[208] == 0
    assert rig.node().network == "slow"
    assert rig.node().hurts == ("slow-link 5000 B/s",)
    rig.ask(HealNode(node="ridge-1"))
    assert rig.pins()[212:216] == b"\x00" * 4
    assert rig.node().network == "up"


def test_probe_wounds_by_default_contradict_the_others(rig) -> None:
    """Marks on GPIO 14, 12, 13 from the lowest up."""
    rig.ask(SetLevel(tank="tank-of-ridge-1", share=0.7))
    rig.ask(HurtNode(node="ridge-1", how="lost-probe"))
    rig.run(0.1)
    assert [rig.pins()[gpio] for gpio in (14, 12, 13)] == [1, 0, 1]
    rig.ask(HealNode(node="ridge-1"))
    rig.ask(SetLevel(tank="tank-of-ridge-1", share=0.0))
    rig.ask(HurtNode(node="ridge-1", how="swollen"))
    rig.run(0.1)
    assert [rig.pins()[gpio] for gpio in (14, 12, 13)] == [1, 1, 0]
    assert rig.node().hurts == ("swollen tank-of-ridge-1/full",)


@pytest.mark.parametrize(
    ("request_", "code"),
    [
        (HurtNode(node="nobody", how="kill"), "BEN104"),
        (HurtNode(node="ridge-1", how="swollen", tank="nobody"), "BEN104"),
        (HurtNode(node="ridge-1", how="lost-probe", mark="nobody"), "BEN104"),
        (HurtNode(node="ridge-1", how="unreachable", rate_bytes_per_s=5), "BEN109"),
        (HurtNode(node="ridge-1", how="power-cut", mark="full"), "BEN109"),
        (HealNode(node="nobody"), "BEN104"),
        (SetDraw(tank="nobody", flow_l_per_min=1.0), "BEN104"),
        (SetLevel(tank="nobody", share=0.1), "BEN104"),
    ],
)
def test_what_cannot_be_is_refused_with_a_code(rig, request_, code) -> None:
    _refused(rig.ask(request_), code)


def test_water_is_set_from_outside(rig) -> None:
    rig.ask(SetLevel(tank="tank-of-ridge-2", share=0.5))
    rig.ask(SetDraw(tank="tank-of-ridge-2", flow_l_per_min=60.0))
    before = rig.node("ridge-2").tanks[0]
    rig.run(60.0)
    after = rig.node("ridge-2").tanks[0]
    assert before.volume_l == pytest.approx(950.0)
    assert before.volume_l - after.volume_l == pytest.approx(60.0 - 10.0, abs=10.0), (
        "inflow is 10 L/min at most"
    )
    rig.ask(SetDraw(tank="tank-of-ridge-2", flow_l_per_min=None))
    assert rig.node("ridge-2").tanks[0].draw_l_per_min <= 30.0


def test_water_goes_on_while_the_node_is_off_but_the_pump_does_not_run(rig) -> None:
    with (rig.folder / "nodes" / "ridge-1" / "pins").open("r+b") as file:
        file.seek(128 + 5)
        file.write(b"\x01")
        file.seek(64 + 5)
        file.write(b"\x01")
    rig.run(1.0)
    assert rig.node().tanks[0].pump == "on"
    rig.ask(HurtNode(node="ridge-1", how="power-cut"))
    rig.run(0.1)
    run_s = rig.node().tanks[0].pump_run_s
    rig.run(10.0)
    assert rig.node().tanks[0].pump == "off"
    assert rig.node().tanks[0].pump_run_s == run_s


def test_events_are_numbered_and_name_their_subject(rig) -> None:
    rig.ask(SetLevel(tank="tank-of-ridge-1", share=1.0))
    rig.ask(SetDraw(tank="tank-of-ridge-1", flow_l_per_min=0.0))
    rig.run(30.0)
    events = rig.ask(ListEvents()).events
    assert [e.number for e in events] == list(range(1, len(events) + 1))
    assert ("node ridge-1", "started") in [(e.subject, e.what) for e in events]
    assert ("tank tank-of-ridge-1", "overflowed") in [(e.subject, e.what) for e in events]
    assert rig.ask(ListEvents(after=events[-1].number)).events == ()
    assert len(rig.lines) == len(events)


def test_ending_waits_until_every_process_is_gone(rig) -> None:
    stubborn = rig.processes[1]
    stubborn.kill = lambda: None
    assert rig.ask(Down()).ok
    assert rig.hub.ending
    rig.run(0.5)
    assert rig.hub.leaving
    stubborn.code = KILLED
    rig.run(0.1)
    assert not rig.hub.leaving
    assert rig.processes[0].code == KILLED


def test_two_tanks_of_one_node_have_their_own_water(tmp_path) -> None:
    rig = Rig(tmp_path)
    second = box_tank("trough", pump=None, largest_inflow_l_per_min=0.0)
    spec = flashed(node_spec(tmp_path, "ridge-1", 1, 90, (box_tank("header"), second)))
    rig.ask(Add(nodes=(spec,)))
    rig.ask(SetLevel(tank="trough", share=0.1))
    rig.ask(SetLevel(tank="header", share=0.9))
    header, trough = rig.node().tanks
    assert (header.name, trough.name) == ("header", "trough")
    assert header.wet == ("empty", "half")
    assert trough.wet == ()
    assert (header.pump, trough.pump) == ("off", None)
