"""What is told of a push: JSON lines by their schema, plain lines, the drawing on a terminal, the
interruption."""

from __future__ import annotations

import json
from collections import Counter
from io import StringIO
from pathlib import Path

import jsonschema
import pytest
from rich.console import Console

import fleet
from fleet.push.engine import step
from fleet.push.events import Began, Event
from fleet.push.plan import Plan
from fleet.push.reporters.heartbeat import Heartbeat
from fleet.push.reporters.lines import LinesReporter
from fleet.push.reporters.plain import LineKind, PlainReporter, changes, interrupted_words
from fleet.push.reporters.several import Several
from fleet.push.reporters.terminal import TerminalReporter, screen
from fleet.push.reporters.words import awaited_words, duration_words, time_left_s
from fleet.push.runner import Reporter
from fleet.push.state import NodeStatus, evolve, fresh
from tests.push.plans import plan_of, planned
from tests.push.sim import simulate
from tests.push.sim_node import Behaviour
from tests.push.stage import BEGAN_S, Memory, Stage, begun, push

SCHEMA = json.loads((Path(fleet.__file__).parent / "schemas" / "push.json").read_text(encoding="utf-8"))
PLAN = plan_of([planned("a")], [planned("b"), planned("c")])


def told(reporter: Reporter, plan: Plan, events: list[Event]) -> None:
    """Tell a reporter the whole push."""
    state = fresh(plan)
    reporter.begins(state)
    for event in events:
        after, _ = step(state, event)
        reporter.happened(event, state, after)
        state = after


def events_of(path: Path, **behaviours: Behaviour) -> list[Event]:
    stage, memory = Stage(PLAN, behaviours), Memory()
    push(stage, begun(stage, path), reporter=memory)
    return [Began(BEGAN_S), *memory.events]


def test_json_lines_follow_their_schema_whatever_happens() -> None:
    validator = jsonschema.Draft202012Validator(SCHEMA)
    kinds: Counter[str] = Counter()
    for seed in range(40):
        sim = simulate(seed)
        lines: list[str] = []
        told(LinesReporter(lines.append), sim.scene.plan, sim.events)
        for line in lines:
            document = json.loads(line)
            validator.validate(document)
            kinds[document["kind"]] += 1
    assert set(kinds) == {"begins", "resumed", "request", "wave", "node", "verdict", "end"}


def test_json_lines_say_the_same_as_the_state(quick_path: Path) -> None:
    lines: list[str] = []
    told(LinesReporter(lines.append), PLAN, events_of(quick_path, b=Behaviour(inverted=True)))
    documents = [json.loads(line) for line in lines]
    end = documents[-1]
    assert (end["kind"], end["phase"], end["code"]) == ("end", "halted", "PSH105")
    assert end["counts"] == {"kept": 1, "put-back": 2}
    by_name = {node["node"]: node for node in end["nodes"]}
    assert by_name["b"]["failed"][0][0] == "marks not contradictory"
    verdicts = [d["passed"] for d in documents if d["kind"] == "verdict"]
    assert verdicts == [True, False]


def test_plain_lines_tell_the_story_without_repeating_it(quick_path: Path) -> None:
    lines: list[str] = []
    told(PlainReporter(lines.append), PLAN, events_of(quick_path, b=Behaviour(inverted=True)))
    text = "\n".join(lines)
    assert f"push {PLAN.id}: 1.1.0 to 3 nodes of sample in 2 waves" in text
    assert "  a: kept 1.1.0" in lines
    assert "  b: FAILED: marks not contradictory: tank-b: full wet half dry low dry" in lines
    assert "gate of wave 2 FAILED: 1 of 2 failed, 0 allowed" in lines
    assert "  b: put back to 1.0.0" in lines
    assert "  c: put back to 1.0.0: its wave failed" in lines
    assert len(lines) == len(set(lines))


def test_one_node_is_no_nodes(quick_path: Path) -> None:
    lines: list[str] = []
    told(PlainReporter(lines.append), plan_of([planned("a")]), [Began(BEGAN_S)])
    assert "to 1 node of sample in 1 wave" in "\n".join(lines)


def test_many_left_out_for_one_reason_share_a_line(quick_path: Path) -> None:
    plan = plan_of([planned("a")], [planned(f"n{i}") for i in range(5)])
    stage, memory, lines = Stage(plan, {"a": Behaviour(crashes=True)}), Memory(), []
    push(stage, begun(stage, quick_path), reporter=memory)
    told(PlainReporter(lines.append), plan, [Began(BEGAN_S), *memory.events])
    assert "  5 nodes left out: the push was halted before its turn" in lines
    assert not any("n0" in line for line in lines)


def big() -> Plan:
    """200 nodes in 12 waves."""
    nodes = [planned(f"node-{i:03}", site=f"site-{i % 20}") for i in range(200)]
    waves = [nodes[i : i + 17] for i in range(0, 200, 17)]
    return plan_of(*waves, at_once=50, at_once_per_site=50)


def test_200_nodes_fit_24_rows_all_the_way(quick_path: Path) -> None:
    stage, memory = Stage(big()), Memory()
    heights: list[int] = []
    names: set[str] = set()

    def draw(event: Event, after: object) -> None:
        lines = screen(after, stage.now_s(), {})  # type: ignore[arg-type]
        heights.append(len(lines))
        names.update(line.split(":")[0].strip() for line in lines)

    memory.on_event = draw
    state = push(stage, begun(stage, quick_path), reporter=memory)
    assert Counter(n.stands for n in state.nodes.values()) == {NodeStatus.KEPT: 200}
    assert 18 <= max(heights) <= 23, "and one row for the cursor"
    assert "node-150" in names


def test_what_is_awaited_is_always_named(quick_path: Path) -> None:
    stage, memory = Stage(PLAN, {"b": Behaviour(never_returns=True)}), Memory()
    words: list[str] = []
    memory.on_event = lambda event, after: words.append(awaited_words(after, stage.now_s()))
    push(stage, begun(stage, quick_path), reporter=memory)
    assert all(words)
    assert any(
        "waiting for b: its return" in word or "waiting for b and 1 more: its return" in word
        for word in words
    )
    assert any("its return to the old image" in word for word in words)


def test_the_drawing_and_the_lines_that_stay(quick_path: Path) -> None:
    events = events_of(quick_path, b=Behaviour(inverted=True))
    out = StringIO()
    console = Console(file=out, width=100, force_terminal=True, color_system=None)
    with TerminalReporter(console, lambda: BEGAN_S + 5.0) as reporter:
        told(reporter, PLAN, events)
        reporter.progress("a", 1, 4)
        reporter.interrupted(["a"])
    text = out.getvalue()
    assert "b: FAILED: marks not contradictory" in text
    assert "gate of wave 1 passed: 0 of 1 failed" in text
    assert "interrupted: waiting for a" in text
    assert "> wave" in text
    assert "KiB" not in text  # of a step's line; the drawing has none


def test_what_a_line_is_about_does_not_hang_on_its_words(quick_path: Path) -> None:
    """Each word of a failing push, told from the states: kept and put back are steps, a verdict is good or bad."""
    events, state, seen = events_of(quick_path, b=Behaviour(inverted=True)), fresh(PLAN), []
    for event in events:
        after, _ = step(state, event)
        seen += changes(event, state, after)
        state = after
    kinds = {line.text.split(": ")[0].strip(): line.kind for line in seen if "FAILED" in line.text}
    assert kinds == {"b": LineKind.BAD, "gate of wave 2 FAILED": LineKind.BAD}
    assert [line.text for line in seen if line.kind is LineKind.GOOD] == [
        line.text for line in seen if line.text.startswith("gate of wave 1 ")
    ]
    assert {line.kind for line in seen if line.text.startswith("  a: ")} == {LineKind.STEP}
    assert {line.kind for line in seen if line.text.startswith("going back")} == {LineKind.FACT}


def test_a_lost_node_and_one_left_out_are_kept_on_the_screen(quick_path: Path) -> None:
    plan = plan_of([planned("a")], [planned("b")])
    state = fresh(plan)
    for stands, kind in ((NodeStatus.LOST, LineKind.BAD), (NodeStatus.LEFT_OUT, LineKind.FACT)):
        node = evolve(state.nodes["a"], stands=stands)
        after = evolve(state, nodes=state.nodes.with_node(node))
        (line,) = changes(Began(BEGAN_S), state, after)
        assert line.kind is kind


@pytest.mark.parametrize("width", [60, 80, 200])
def test_no_drawn_line_is_wider_than_the_terminal(quick_path: Path, width: int) -> None:
    stage, memory = Stage(PLAN), Memory()
    out = StringIO()
    console = Console(file=out, width=width, height=24, force_terminal=True, color_system=None)
    with TerminalReporter(console, stage_now(stage)) as reporter:
        push(stage, begun(stage, quick_path), reporter=Several(memory, reporter))
    rows = out.getvalue().replace("\x1b", "\n").split("\n")
    assert max(len(row) for row in rows) <= width + 4, "a few characters of the escape itself"


def stage_now(stage: Stage) -> object:
    """The time of the stage, also outside of its loop."""

    def now_s() -> float:
        try:
            return stage.now_s()
        except RuntimeError:
            return BEGAN_S

    return now_s


def test_what_is_awaited_is_named_when_nothing_else_is_said(quick_path: Path) -> None:
    stage, memory, lines, now_s = Stage(PLAN), Memory(), [], [BEGAN_S]
    push(stage, begun(stage, quick_path), reporter=memory)
    heartbeat = Heartbeat(lines.append, lambda: now_s[0])
    reporter = Several(PlainReporter(heartbeat.write), heartbeat)
    state = fresh(PLAN)
    reporter.begins(state)
    for event in [Began(BEGAN_S), *memory.events]:
        after, _ = step(state, event)
        reporter.happened(event, state, after)
        state, now_s[0] = after, now_s[0] + 1.0
        heartbeat.beat()
        said = len(lines)
        heartbeat.beat()
        assert len(lines) == said, "a second look at the same moment says nothing"
    assert any(line.startswith("waiting for a: ") for line in lines)
    now_s[0] += 60.0
    said = len(lines)
    heartbeat.beat()
    assert len(lines) == said, "the push has ended"


def test_interruption_is_said_in_a_word() -> None:
    assert (
        interrupted_words([])
        == "interrupted: will stop at the next safe point; press Ctrl-C again to stop now"
    )
    assert "a, b, c ..." in interrupted_words(["a", "b", "c", "d"])


def test_time_left_shrinks_with_the_waves(quick_path: Path) -> None:
    stage, memory = Stage(PLAN), Memory()
    left: list[float] = []
    memory.on_event = lambda event, after: left.append(time_left_s(after, stage.now_s()))
    push(stage, begun(stage, quick_path), reporter=memory)
    assert left[0] == pytest.approx(40.0, abs=1.0)
    assert left == sorted(left, reverse=True)


@pytest.mark.parametrize(
    ("seconds", "words"), [(0, "about 1 s"), (45, "about 45 s"), (240, "about 4 min"), (7200, "about 2 h")]
)
def test_durations(seconds: float, words: str) -> None:
    assert duration_words(seconds) == words
