"""I1: load and check an inventory of 1,000 nodes, and of 10,000; one file per site of 200 nodes, fresh processes."""

from __future__ import annotations

import json
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

from benchmarks.row import Row

RUNS = 5
PER_SITE = 200
SHAPES = (
    "{{kind: vertical-cylinder, diameter: {0} m, height: 2.4 m}}",
    "{{kind: horizontal-cylinder, diameter: 2.4 m, length: {0} m, ends: ellipsoidal}}",
    "{{kind: box, length: {0} m, width: 2 m, height: 2.4 m}}",
)
CHILD = """
import json, sys, time
from pathlib import Path
start = time.perf_counter()
from fleet.check.load import read_inventory
imported, worked = time.perf_counter(), time.process_time()
inventory, findings = read_inventory(Path(sys.argv[1]))
loaded, worked = time.perf_counter(), time.process_time() - worked
assert inventory is not None and not findings, findings[:3]
assert len(inventory.nodes) == int(sys.argv[2])
print(json.dumps({"import_s": imported - start, "load_s": loaded - imported, "worked_s": worked}))
"""


def write_inventory(folder: Path, nodes: int) -> None:
    """An inventory of so many nodes, each with a tank of three marks and a pump, 200 to a site."""
    (folder / "fleet.yaml").write_text("fleet: {name: large, domain: large.example}\npolicy: {soak: 1 min}\n")
    for first in range(0, nodes, PER_SITE):
        site = f"site-{first // PER_SITE:03}"
        numbers = range(first, min(first + PER_SITE, nodes))
        text = _site(site) + "tanks:\n" + "".join(_tank(n, site) for n in numbers)
        text += "nodes:\n" + "".join(_node(n) for n in numbers)
        (folder / f"{site}.yaml").write_text(text, encoding="utf-8")


def _site(name: str) -> str:
    return f"""sites:
  - name: {name}
    title: Site {name}
    time_zone: Europe/Lisbon
    network: {name}-wifi
    windows: [{{rule: "FREQ=WEEKLY;BYDAY=MO,TU,WE", first: 2025-03-03 10:00, length: 3 h}}]
"""


def _tank(number: int, site: str) -> str:
    shape = SHAPES[number % len(SHAPES)].format(2 + number % 97 / 50)
    return f"""  # Tank {number}
  - name: tank-{number:05}
    site: {site}
    duty: livestock
    shape: {shape}
    marks:
      - {{name: empty, height: 0.2 m}}
      - {{name: half, height: 1.2 m}}
      - {{name: full, height: {2 + number % 30 / 100} m}}
    overflow: 2.35 m
    reserve: 0.1 m
    largest_draw: {number % 30 + 5} L/min
    uncontrolled_inflow: 0 L/min
    water: {{kind: bore, conductivity: {400 + number % 300} uS/cm}}
    electrodes: {{kind: rods, diameter: 6 mm, spacing: 25 mm, wetted: {30 + number % 7} mm, film: false}}
    pump:
      name: pump-{number:05}
      does: fill
      flow: {60 + number % 40} L/min
      power: 0.75 kW
      on_at: half
      motor: {{kind: submersible, poles: 2}}
      run_on: 3 s
"""


def _node(number: int) -> str:
    mac = ":".join(f"{number >> shift & 255:02x}" for shift in (16, 8, 0))
    return f"""  - name: node-{number:05}
    board: esp32-devkit
    mac: "10:00:00:{mac}"
    place: on the stand under tank {number}
    fitted: 2025-02-11
    debounce: 6 s
    serves:
      - tank: tank-{number:05}
        probes: {{empty: IO32, half: IO33, full: IO25}}
        cable_length: {2 + number % 5} m
        wires: {{empty: blue, half: orange, full: red, common: black, relay: brown}}
        pump_relay: {{pin: IO26, active: high}}
"""


def _run(folder: Path, nodes: int) -> dict[str, float]:
    words = [sys.executable, "-c", CHILD, str(folder), str(nodes)]
    done = subprocess.run(words, check=True, stdout=subprocess.PIPE, text=True)
    return dict(json.loads(done.stdout))


def measure() -> list[Row]:
    """Medians of 5 interleaved runs of each size; the ratio is of the processor time of loading and checking."""
    sizes = (1_000, 10_000)
    with tempfile.TemporaryDirectory() as scratch:
        folders = {size: Path(scratch) / str(size) for size in sizes}
        for size, folder in folders.items():
            folder.mkdir()
            write_inventory(folder, size)
        runs = [{size: _run(folder, size) for size, folder in folders.items()} for _ in range(RUNS)]
    load_s = {size: statistics.median(run[size]["load_s"] for run in runs) for size in sizes}
    worked_s = {size: statistics.median(run[size]["worked_s"] for run in runs) for size in sizes}
    import_s = statistics.median(run[size]["import_s"] for run in runs for size in sizes)
    whole_s, ratio = import_s + load_s[1_000], worked_s[10_000] / worked_s[1_000]
    note = f"{load_s[1_000]:.2f} s, and {import_s:.2f} s for the imports"
    return [
        Row("I1 load and check 1,000 nodes", f"{whole_s:.2f} s", "<= 1 s", whole_s <= 1, note),
        Row(
            "I1 10,000 nodes / 1,000 nodes", f"{ratio:.1f}x", "<= 11x", ratio <= 11, f"{load_s[10_000]:.2f} s"
        ),
    ]
