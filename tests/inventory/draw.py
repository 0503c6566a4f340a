"""Random inventories, each from one seed and one number: every board, duty, shape, pump and unit, what is ordinary
mixed with what is just allowed or just not. Nothing here knows the rules: whether one is sound is for `check` to say.

Keys that the model gets later are drawn by name as soon as it has them (`LATER`).
"""

from __future__ import annotations

import json
import random
from functools import partial
from typing import TYPE_CHECKING, Any, Final

from fleet.boards.board import board_ids, load_board
from fleet.model.node import Node, Served
from fleet.model.site import Site
from fleet.model.tank import Duty

if TYPE_CHECKING:
    from collections.abc import Callable

    from pydantic import BaseModel

    from fleet.finding import Finding

LETTERS: Final = "abcdefghijklmnopqrstuvwxyz0123456789"
UNITS: Final = {
    "m": (("m", 1.0), ("mm", 1e-3), ("cm", 1e-2), ("in", 0.0254), ("ft", 0.3048), ("yd", 0.9144)),
    "L": (("L", 1.0), ("m3", 1e3), ("gal", 3.785411784), ("imperial_gallon", 4.54609), ("ft3", 28.316846592)),
    "L/min": (("L/min", 1.0), ("L/s", 60.0), ("m3/h", 1e3 / 60), ("gal/min", 3.785411784), ("L/d", 1 / 1440)),
    "s": (("s", 1.0), ("ms", 1e-3), ("min", 60.0), ("h", 3600.0), ("d", 86400.0)),
    "kW": (("kW", 1.0), ("W", 1e-3), ("hp", 0.74569987158227022)),
}
"""Exact sizes: inch, gallons and horsepower as in NIST Handbook 44 appendix C and the Weights and Measures Act 1985."""
PLAIN: Final = {
    "esp32": "13 16 17 18 19 21 22 23 25 26 27 32 33",
    "esp32-s2": "1 4 5 6 7 8 9 10 11 12 13 14 15 16 17 33 34 35 36 37",
    "esp32-s3": "1 4 5 6 7 8 9 10 11 12 13 14 15 16 17 18 21 41 42",
    "esp32-c3": "0 1 3 4 5 6 7 10",
    "esp8266": "4 5 12 13 14",
}
"""By chip, GPIOs that people take first for anything (common practice); the others are drawn as well, less often."""
DEBOUNCE_S: Final = (
    0.0004,
    0.001,
    0.05,
    0.0994,
    0.0996,
    0.0999,
    0.1,
    0.1001,
    0.2,
    0.9,
    1.0,
    65.5,
    65.535,
    65.5351,
    70.0,
)
TRIAL_S: Final = (0.001, 0.9, 1.0, 1.5, 59.0, 65_534.2, 65_535.0, 65_535.4, 1e5)
SLIVERS_M: Final = (1e-4, 4e-4, 5e-4, 6e-4, 9e-4, 1e-3, 1.5e-3, 1e-2)
FLOWS: Final = (2e-7, 1e-4, 0.01, 1e4, 1e6)
SIZES_M: Final = (1e-200, 1e-3, 0.02, 65.5, 70.0, 999.0)


class Draw:
    """Number `number` of the run `seed`: a `tree` that becomes one file."""

    def __init__(self, seed: int | str, number: int) -> None:
        self.random = random.Random(f"blocks/{seed}/{number}")
        self.names: set[str] = set()
        self.sites = [self._site() for _ in range(self._weighted((1, 9), (2, 1)))]
        self.tanks: list[dict[str, Any]] = []
        self.nodes = [self._node() for _ in range(self._weighted((1, 7), (2, 2), (3, 1)))]
        fleet = {
            "name": self._name(),
            "domain": self.random.choice(["a.b", f"{'d' * 60}.example", "farm.example"]),
        }
        if self._chance(0.5):
            fleet["release"] = self.random.choice(["0", "1.2.0", "2026.11-rc_1+b", "Z" * 23, "-._+"])
        self.tree: dict[str, Any] = {
            "fleet": fleet,
            "sites": self.sites,
            "tanks": self.tanks,
            "nodes": self.nodes,
        }
        if self._chance(0.5):
            self.tree["policy"] = self._policy()

    def text(self, accepted: list[Finding] | None = None) -> bytes:
        """The file, with a ruling for each of those findings."""
        rulings = {(f.code.code, str(f.subject)) for f in accepted or ()}
        tree = dict(self.tree)
        if rulings:
            tree["rulings"] = [
                {"code": code, "about": about, "as": "accepted", "reason": "drawn", "date": "2026-01-14"}
                for code, about in sorted(rulings)
            ]
        lines = [f"{key}: {json.dumps(value)}\n" for key, value in tree.items()]
        return "".join(lines).encode()

    # ---------------------------------------------------------------- dice
    def _chance(self, share: float) -> bool:
        return self.random.random() < share

    def _weighted(self, *pairs: tuple[Any, int]) -> Any:
        values, weights = zip(*pairs, strict=True)
        return self.random.choices(values, weights)[0]

    def _between(self, least: float, most: float) -> float:
        """Any order of magnitude alike."""
        return float(least * (most / least) ** self.random.random())

    def _figure(self, unit: str, value: float) -> str:
        """In any unit, with three figures, or with all of them."""
        name, size = self.random.choice(UNITS[unit])
        digits = self.random.choice([3, 6, 15])
        return f"{value / size:.{digits}g}{self.random.choice(['', ' ', '  '])}{name}"

    def _name(self, most: int = 63) -> str:
        for _ in range(100):
            size = self._weighted((1, 1), (self.random.randint(2, min(most, 12)), 6), (most, 2))
            inner = "".join(self.random.choice(LETTERS + "-") for _ in range(size))
            name = self.random.choice(LETTERS) + inner[1:-1] + self.random.choice(LETTERS)
            name = name[:1] if size == 1 else name
            if name not in self.names:
                self.names.add(name)
                return name
        raise AssertionError("no name is left")

    # ---------------------------------------------------------------- site and policy
    def _site(self) -> dict[str, Any]:
        site: dict[str, Any] = {
            "name": self._name(),
            "time_zone": self.random.choice(["Europe/Lisbon", "Australia/Perth", "America/Denver", "UTC"]),
            "network": self._name(),
        }
        if self._chance(0.4):
            seconds = self.random.choice([0.001, 1.0, 1799.5, 86_400.0, 366 * 86_400.0])
            site["network_lost"] = self._figure("s", seconds)
        if self._chance(0.4):
            rule = self.random.choice(["FREQ=DAILY", "FREQ=WEEKLY;BYDAY=TU,TH", "FREQ=MONTHLY;BYMONTHDAY=-1"])
            length = self._figure("s", self._weighted((self._between(3600, 6e5), 8), (299.0, 1)))
            site["windows"] = [{"rule": rule, "first": "2025-03-03 10:00", "length": length}]
        self._later(site, Site)
        return site

    def _policy(self) -> dict[str, Any]:
        trial_s = self.random.choice(TRIAL_S) if self._chance(0.3) else self._between(120, 3600)
        soak_s = trial_s * self._weighted((0.3, 8), (0.9, 2), (1.1, 1))
        return {"trial": f"{trial_s!r} s", "soak": f"{soak_s!r} s"}

    # ---------------------------------------------------------------- nodes
    def _node(self) -> dict[str, Any]:
        board_id = self.random.choice(board_ids())
        board = load_board(board_id)
        plain = [int(word) for word in PLAIN[board.chip].split()]
        usual = [pin for pin in board.pins if pin.gpio in plain]
        self.random.shuffle(usual)
        odd = self._chance(0.3)
        self.pins = list(self.random.sample(board.pins, len(board.pins))) if odd else usual
        self.repeat = self._chance(0.03)
        most = max(1, min(4, len(self.pins) // 3))
        site = self.random.choice(self.sites)["name"]
        node = {"name": self._name(), "board": board_id}
        node["serves"] = [self._served(site) for _ in range(self.random.randint(1, most))]
        if self._chance(0.4):
            seconds = self.random.choice(DEBOUNCE_S) if self._chance(0.4) else self._between(1, 10)
            node["debounce"] = f"{seconds * 1000:.6g} ms" if self._chance(0.5) else f"{seconds:.6g} s"
        self._later(node, Node)
        return node

    def _pin(self) -> str | int:
        """By any of its names; each pin once, as a rule."""
        pin = self.pins[0] if self.repeat or len(self.pins) == 1 else self.pins.pop(0)
        name = self.random.choice([pin.name, *pin.aliases])
        return self.random.choice([name, name, name.lower(), name.upper()])

    def _served(self, site: str) -> dict[str, Any]:
        tank = self._tank(site)
        self.tanks.append(tank)
        served: dict[str, Any] = {
            "tank": tank["name"],
            "probes": {mark["name"]: self._pin() for mark in tank["marks"]},
        }
        if self._chance(0.3):
            served["pull_up"] = self.random.choice(["internal", "external"])
        if served.get("pull_up") == "external" and self._chance(0.7):
            served["pull_up_resistor"] = self.random.choice(["47 kohm", "220 kohm", "1 Mohm", "4700 ohm"])
        if self._chance(0.6 if "pull_up_resistor" in served else 0.02):
            served["pull_up_feed"] = self._pin()
        if self._chance(0.2):
            served["cable_length"] = self._figure("m", self._between(0.5, 60))
        if "pump" in tank:
            relay = {"pin": self._pin(), "active": self._weighted(("high", 4), ("low", 1))}
            if self._chance(0.5 if relay["active"] == "low" else 0.1):
                relay["supply"] = self.random.choice(["3.3 V", "5 V", "12 V", "24 V"])
            served["pump_relay"] = relay
        self._later(served, Served)
        return served

    # ---------------------------------------------------------------- tanks
    def _tank(self, site: str) -> dict[str, Any]:
        height_m, shape = self._shape()
        names = self._mark_names()
        heights = self._heights(height_m, len(names))
        marks = [{"name": n, "height": self._height(h)} for n, h in zip(names, heights, strict=True)]
        tank: dict[str, Any] = {
            "name": self._name(),
            "site": site,
            "duty": str(self.random.choice(list(Duty))),
            "shape": shape,
            "marks": marks,
        }
        if self._chance(0.5):
            tank["overflow"] = self._height(max(heights[-1], height_m * self.random.uniform(0.95, 1.0)))
        if tank["duty"] == "fire-reserve" or self._chance(0.2):
            tank["reserve"] = self._height(heights[0] * self.random.uniform(0.3, 1.0))
        if self._chance(0.3):
            tank["water"] = {
                "kind": self.random.choice(["mains", "bore", "river", "rain", "brackish", "grey"])
            }
            if self._chance(0.5):
                us_per_cm = self._between(5, 60_000)
                tank["water"]["conductivity"] = f"{us_per_cm:.4g} uS/cm"
        flow = self._flow()
        if self._chance(0.7) and (len(marks) > 1 or self._chance(0.1)):
            tank["pump"] = self._pump(flow, [mark["name"] for mark in marks])
        share = self._weighted((self.random.uniform(0.01, 0.8), 9), (1.5, 1))
        against = self.random.choice(FLOWS) if self._chance(0.03) else flow * share
        for key in ("largest_draw", "uncontrolled_inflow"):
            if self._chance(0.6):
                tank[key] = self._figure("L/min", min(against, 1e6))
        return tank

    def _height(self, height_m: float) -> str:
        """Mostly to the millimetre, as it is read off a tape."""
        return f"{1000 * height_m:.0f} mm" if self._chance(0.7) else self._figure("m", height_m)

    def _size(self, least_m: float, most_m: float) -> float:
        return float(self.random.choice(SIZES_M)) if self._chance(0.02) else self._between(least_m, most_m)

    def _flow(self) -> float:
        return float(self.random.choice(FLOWS)) if self._chance(0.04) else self._between(2, 500)

    def _shape(self) -> tuple[float, dict[str, Any]]:
        """The height inside, nearly, and the shape."""
        high, wide, long = self._size(0.5, 6), self._size(0.5, 8), self._size(0.5, 12)
        m = partial(self._figure, "m")
        kind = self.random.choice(["upright", "lying", "box", "frustum", "sphere", "strapped"])
        if kind == "upright":
            shape = {"kind": "vertical-cylinder", "diameter": m(wide), "height": m(high)}
            shape["bottom"] = self.random.choice(["flat", "cone", "dished", "ellipsoidal", "hemispherical"])
            if shape["bottom"] in ("cone", "ellipsoidal"):
                shape["bottom_depth"] = m(wide / 4)
            return high, shape
        if kind == "lying":
            ends = self.random.choice(["flat", "dished", "ellipsoidal", "hemispherical", "conical"])
            shape = {"kind": "horizontal-cylinder", "diameter": m(high), "length": m(long), "ends": ends}
            if ends == "conical":
                shape["ends_depth"] = m(high / 5)
            return high, shape
        if kind == "box":
            return high, {"kind": "box", "length": m(long), "width": m(wide), "height": m(high)}
        if kind == "frustum":
            top = wide * self.random.uniform(0.7, 1.6)
            return high, {
                "kind": "frustum",
                "bottom_diameter": m(wide),
                "top_diameter": m(top),
                "height": m(high),
            }
        if kind == "sphere":
            return high, {"kind": "sphere", "diameter": m(high)}
        points, litres = self.random.randint(2, 12), self._between(500, 200_000)
        rows = [
            {"depth": f"{high * i / points!r} m", "volume": f"{litres * (i / points) ** 1.2!r} L"}
            for i in range(self._weighted((0, 4), (1, 1)), points + 1)
        ]
        return high, {"kind": "strapped", "table": rows}

    def _mark_names(self) -> list[str]:
        count = self._weighted((1, 1), (2, 6), (3, 6), (4, 4))
        usual = {
            1: ["full"],
            2: ["low", "full"],
            3: ["empty", "half", "full"],
            4: ["empty", "low", "high", "full"],
        }
        if self._chance(0.6):
            return usual[count]
        before, self.names = self.names, set()
        names = [self._name(11) for _ in range(count)]
        self.names = before
        return names

    def _heights(self, height_m: float, count: int) -> list[float]:
        if self._chance(0.1):
            step = self.random.choice(SLIVERS_M)
            return [height_m / 2 + step * i for i in range(count)]
        if count == 1:
            return [height_m * 0.8]
        low, high = self.random.uniform(0.0, 0.2), self.random.uniform(0.7, 0.97)
        heights = [height_m * (low + (high - low) * i / (count - 1)) for i in range(count)]
        return heights[::-1] if self._chance(0.01) else heights

    def _pump(self, flow: float, marks: list[str]) -> dict[str, Any]:
        does = self._weighted(("fill", 3), ("drain", 1))
        pump: dict[str, Any] = {"name": self._name(), "does": does, "flow": self._figure("L/min", flow)}
        if self._chance(0.4):
            low, high = sorted(self.random.sample(range(len(marks)), 2)) if len(marks) > 1 else (0, 0)
            on, off = (low, high) if (does == "fill") is not self._chance(0.02) else (high, low)
            pump["on_at"], pump["off_at"] = marks[on], marks[off]
        for key in ("longest_run", "no_rise", "shortest_off"):
            if self._chance(0.15):
                seconds = self.random.choice([1e-3, 1.0, 3600.5, 4e5, 366 * 86_400.0])
                pump[key] = {"is": self._figure("s", seconds), "reason": "drawn"}
        if self._chance(0.3):
            pump["motor"] = {"kind": self.random.choice(["submersible", "surface"])}
            pump["power"] = self._figure("kW", self._between(0.2, 15))
        if self._chance(0.2):
            pump["run_on"] = self._figure("s", self._between(0.1, 20))
        return pump

    # ---------------------------------------------------------------- keys to come
    def _later(self, tree: dict[str, Any], part: type[BaseModel]) -> None:
        keys = {field.alias or name for name, field in part.model_fields.items()}
        for key, draw in LATER.items():
            if key in keys and self._chance(0.4):
                tree[key] = draw(self)

    def free_pin(self) -> Any:
        """One that nothing else has, as a rule."""
        return self._pin()

    def button(self) -> Any:
        """The board's own where this says nothing; a pin, or none."""
        return "none" if self._chance(0.3) else self._pin()

    def traits(self) -> list[str]:
        """What is out of the ordinary about a network, by the words of docs/node-interface.md."""
        every = ["hidden", "high-channels", "wpa3-only", "no-802.11n"]
        return self.random.sample(every, self.random.randint(1, 4))


LATER: Final[dict[str, Callable[[Draw], Any]]] = {
    "clear_pin": Draw.free_pin,
    "clear_button": Draw.button,
    "network_traits": Draw.traits,
}
"""Keys that go into the node block and that not every version of the model has."""
