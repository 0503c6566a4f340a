"""`demo`: the whole job on the bench, told step by step. Every step is a real command that is shown and run."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fleet.cli.codes import DEMO_FAILED, DEMO_FOLDER
from fleet.cli.common import command, command_app, session
from fleet.codes import Exit
from fleet.errors import UsageError
from fleet.inventory.ignored import add_ignored
from fleet.limits import BENCH_TELL_S
from fleet.resources import demo_inventory_dir

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from fleet.cli.output import Output

app = command_app()

MARKER = ".demo-of-tankfleet"
SETTINGS_TEXT = """\
# Settings of the demo: virtual nodes on loopback only. A real project leaves `target` and `find_on` at their defaults.
target = "host"
keys = "keys"
find_on = "127.0.0.1"
"""
GOOD, BAD = "1.1.0", "1.2.0"
DEFECT = "probes-inverted"
SPEED = "20"
SOAK = "6 s"


@dataclass(frozen=True, slots=True)
class Step:
    """One command of the story, what is said before it, and the exit codes that it may end with."""

    said: str
    words: tuple[str, ...]
    expected: tuple[int, ...] = (Exit.OK,)


def story(tank: str, node: str) -> tuple[Step, ...]:
    """The whole job. `tank` and `node` are the ones looked at more closely."""
    return (
        Step("An inventory of sites, tanks and nodes is checked before anyone drives out.", ("check",)),
        Step("The inventory's view of one tank.", ("show", "tank", tank)),
        Step("And of the node that serves it.", ("show", "node", node)),
        Step("The fleet gets its keys: one signs images, one proves who is speaking.", ("keys", "create")),
        Step("Each node gets a complete PlatformIO project that a person can open.", ("render",)),
        Step("PlatformIO builds each firmware class once; each node gets its own signed image.", ("build",)),
        Step(
            "Virtual nodes start: the real firmware in real processes, with water behind the probes.",
            ("bench", "up", "--reflash", "--speed", SPEED),
        ),
        Step("They are found over mDNS, and each proves who it is.", ("find",)),
        Step(
            f"Release {GOOD}: new node blocks in the same class, so no compiler starts.",
            ("build", "--release", GOOD),
        ),
        Step(
            "The plan of the push: which node goes when, why, and which stay out.",
            ("plan", "--any-hour", "--soak", SOAK, "--out", "good.plan"),
        ),
        Step(
            "The push, wave by wave. After each wave a gate looks at the evidence.",
            ("push", "good.plan", "--yes"),
        ),
        Step(
            f"Now a bad release: in {BAD} the probes are inverted by mistake.",
            ("build", "--release", BAD, "--defect", DEFECT),
        ),
        Step("It is planned like any other.", ("plan", "--any-hour", "--soak", SOAK, "--out", "bad.plan")),
        Step(
            "The first wave must catch it, fall back and stop there.",
            ("push", "bad.plan", "--yes"),
            (Exit.PROBLEMS,),
        ),
        Step(
            "What runs where now, and what differs from the inventory.", ("audit",), (Exit.OK, Exit.PROBLEMS)
        ),
    )


@command(app, "demo")
def demo(
    ctx: typer.Context,
    folder: Annotated[
        Path, typer.Argument(help="Where to lay out the demo project; default: demo-fleet.")
    ] = Path("demo-fleet"),
) -> None:
    """Example: tankfleet demo

    Show the whole job on this machine, with virtual nodes: check, render, build, find, push a good update,
    catch a bad one, audit.
    """
    from fleet.bench.owner import owning

    out = session(ctx).output
    started = time.monotonic()
    project = (session(ctx).project / folder).resolve()
    lay_out(project, out.note)
    out.data(out.style("tankfleet demo: the whole job, on the bench", "bold"))
    out.data("Only the water is simulated: firmware, PlatformIO, mDNS and HTTP are real, on loopback only.")
    out.data(
        "On real sites pumps are mains machines near water: local code and licensed people decide there."
    )
    steps = story("header-east", "kestrel-01")
    with owning(project) as owned:
        try:
            for number, step in enumerate(steps, start=1):
                _tell(out, project, step, f"{number}/{len(steps)}", owned)
            _prove(out, project)
        finally:
            _run(project, ("bench", "down"), quiet=True)
    _close(out, project, time.monotonic() - started)


def lay_out(project: Path, tell: Callable[[str], None]) -> None:
    """A fresh project folder with the demo inventory; only a folder of an earlier demo is replaced, once nothing of
    that demo works in it any more."""
    from fleet.build.lock import LOCK, wait_until_free
    from fleet.workspace import Workspace

    def pause() -> None:
        tell("waiting for the compilers of an earlier demo to end")
        time.sleep(BENCH_TELL_S)

    if project.exists():
        if not (project / MARKER).is_file():
            raise UsageError(DEMO_FOLDER, f"{project} exists and is not an earlier demo's")
        _run(project, ("bench", "down"), quiet=True)
        build_dir = Workspace(project, project / "inventory", project / "keys").build_dir
        wait_until_free(build_dir / LOCK, pause)
        shutil.rmtree(project)
    project.mkdir(parents=True)
    (project / MARKER).touch()
    (project / "tankfleet.toml").write_text(SETTINGS_TEXT, encoding="utf-8")
    shutil.copytree(demo_inventory_dir(), project / "inventory")
    add_ignored(project)


def _run(
    project: Path, words: tuple[str, ...], *, quiet: bool = False, more: Mapping[str, str] | None = None
) -> int:
    """Exit status of a command of the tool, which ends with the demo: a step of a demo that was killed must not go on
    in the folder that the next one lays out anew. `more` is added to its environment."""
    from fleet.bench.process import die_with_parent

    sink = subprocess.DEVNULL if quiet else None
    return subprocess.run(
        [sys.executable, "-m", "fleet", *words],
        check=False,
        stdout=sink,
        stderr=sink,
        cwd=project,
        env={**os.environ, **(more or {})},
        preexec_fn=die_with_parent(),
    ).returncode


def _tell(out: Output, project: Path, step: Step, number: str, owned: Mapping[str, str]) -> None:
    out.data()
    out.data(out.style(f"[{number}] {step.said}", "bold"))
    out.data(out.style(f"$ tankfleet {' '.join(_quoted(word) for word in step.words)}", "cyan"))
    out.flush()
    status = _run(project, step.words, more=owned)
    if status not in step.expected:
        raise UsageError(DEMO_FAILED, f"`tankfleet {' '.join(step.words)}` ended with exit status {status}")


def _quoted(word: str) -> str:
    return f"'{word}'" if " " in word else word


def _prove(out: Output, project: Path) -> None:
    """Count, from the nodes' own signed states, who runs what: none may run the bad release."""
    words = [sys.executable, "-m", "fleet", "find", "--json"]
    answer = subprocess.run(words, check=False, capture_output=True, text=True, cwd=project)
    releases = [(node["state"] or {}).get("release", "?") for node in json.loads(answer.stdout)["nodes"]]
    bad = sum(release.startswith(BAD) for release in releases)
    good = sum(release == GOOD for release in releases)
    out.data()
    out.data(
        out.style(
            f"Asked over the network: {good} of {len(releases)} nodes run {GOOD}, {bad} run {BAD}.", "bold"
        )
    )
    if bad or good != len(releases):
        raise UsageError(
            DEMO_FAILED, f"{bad} nodes run the bad release, {len(releases) - good} not the good one"
        )


def _close(out: Output, project: Path, took_s: float) -> None:
    out.data()
    out.data(out.style(f"Shown in {took_s:.0f} s:", "bold"))
    for line in (
        "an inventory with units, checked with file, line and column for each mistake;",
        "a project per node, images built once per firmware class, signed, on a shelf named by SHA-256;",
        f"a good update ({GOOD}) in waves, each kept only after its health checks and soak;",
        f"a bad update ({BAD}) caught in the first wave, every node of it back on {GOOD};",
        "an audit of what runs where. The virtual nodes are stopped again.",
    ):
        out.data(f"  - {line}")
    out.data()
    out.data(out.style("Try next:", "bold"))
    for words, said in (
        *_activation(),
        (f"cd {project.name} && tankfleet bench up", "the same nodes, where they stopped"),
        ("tankfleet bench hurt kestrel-01 power-cut", "then: tankfleet find"),
        ("tankfleet show site larkwood", "what the inventory knows"),
        ("tankfleet new my-farm", "an inventory of your own"),
    ):
        out.data(f"  {words:<43} {said}")


def _activation() -> tuple[tuple[str, str], ...]:
    """How to make `tankfleet` a command of the shell, when it lies in a virtual environment that is not active."""
    if shutil.which("tankfleet") or sys.prefix == sys.base_prefix:
        return ()
    return ((f". {os.path.relpath(sys.prefix)}/bin/activate", "so that the shell finds tankfleet"),)
