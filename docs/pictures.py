"""Write docs/pictures/*.svg from data: `make docs`.

The rooms come from the import contract in pyproject.toml and from their docstrings, the words of a push from the enums
of `fleet/push/`; what flows where is the table `THINGS` and `FLOWS` below. Nothing is placed by hand but the cells of a
grid. Each picture has a ground of its own, and colours for a dark screen.
"""

from __future__ import annotations

import ast
import textwrap
import tomllib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Final, get_args
from xml.etree import ElementTree

from fleet.push.events import Action, Event, RequestKind

DOCS: Final = Path(__file__).resolve().parent
ROOT: Final = DOCS.parent
PICTURES: Final = DOCS / "pictures"

LIGHT: Final = {
    "ground": "#ffffff",
    "box": "#f2f6f9",
    "edge": "#7d93a3",
    "ink": "#14212b",
    "pale": "#4b5d69",
    "flow": "#0b6aa2",
}
DARK: Final = {
    "ground": "#12191f",
    "box": "#1d2830",
    "edge": "#5d7484",
    "ink": "#e8eef2",
    "pale": "#a9bac6",
    "flow": "#5fb8ee",
}
SANS: Final = "system-ui, 'Segoe UI', Roboto, 'Liberation Sans', Arial, sans-serif"
MONO: Final = "ui-monospace, 'SF Mono', Menlo, Consolas, 'Liberation Mono', monospace"
CHAR_EM: Final = 0.56
"""Width of a sans-serif character of such texts, of its size, on the safe side: Liberation Sans has 0.39 to 0.54."""
MARGIN: Final = 28.0
ROUND: Final = 6.0


def _colours(of: dict[str, str]) -> str:
    return (
        f".ground{{fill:{of['ground']}}}"
        f".box{{fill:{of['box']};stroke:{of['edge']}}}"
        f".frame{{fill:none;stroke:{of['edge']}}}"
        f".ink{{fill:{of['ink']}}}"
        f".pale{{fill:{of['pale']}}}"
        f".verb{{fill:{of['flow']}}}"
        f".flow{{fill:none;stroke:{of['flow']};stroke-width:1.6}}"
        f".tip{{fill:{of['flow']}}}"
    )


STYLE: Final = (
    f"text{{font-family:{SANS}}}.mono{{font-family:{MONO}}}.strong{{font-weight:600}}"
    f"{_colours(LIGHT)}@media (prefers-color-scheme:dark){{{_colours(DARK)}}}"
)

Point = tuple[float, float]


class Picture:
    """One SVG under way. `label` is what a screen reader says of it."""

    def __init__(self, width: float, height: float, label: str) -> None:
        self.width = width
        box = f"0 0 {_number(width)} {_number(height)}"
        self._root = ElementTree.Element(
            "svg",
            {
                "xmlns": "http://www.w3.org/2000/svg",
                "viewBox": box,
                "width": _number(width),
                "height": _number(height),
                "role": "img",
                "aria-label": label,
            },
        )
        ElementTree.SubElement(self._root, "style").text = STYLE
        self.rect(0, 0, width, height, "ground", corner=10)

    def rect(
        self, x: float, y: float, width: float, height: float, look: str, *, corner: float = ROUND
    ) -> None:
        """A rectangle with round corners."""
        places = {"x": x, "y": y, "width": width, "height": height, "rx": corner}
        self._add("rect", look, {name: _number(value) for name, value in places.items()})

    def text(
        self, x: float, y: float, words: str, look: str = "ink", *, size: float = 12, anchor: str = "start"
    ) -> None:
        """One line of text; `y` is its base line."""
        attributes = {"x": _number(x), "y": _number(y), "font-size": _number(size), "text-anchor": anchor}
        self._add("text", look, attributes).text = words

    def arrow(self, points: Sequence[Point], *, both: bool = False) -> None:
        """A line of level and upright pieces through these points, with a tip at its end, or at both."""
        line = list(points)
        ends = [(-1, -2), (0, 1)] if both else [(-1, -2)]
        for end, before in ends:
            line[end] = self._tip(points[end], points[before])
        path = " ".join(f"{_number(x)},{_number(y)}" for x, y in line)
        self._add("polyline", "flow", {"points": path, "stroke-linejoin": "round"})

    def _tip(self, at: Point, before: Point) -> Point:
        """The tip of an arrow that comes from `before`; where its line ends."""
        (x, y), (x0, y0) = at, before
        along = ((x > x0) - (x < x0), (y > y0) - (y < y0))
        side = (4.5 * along[1], 4.5 * along[0])
        base = (x - 9 * along[0], y - 9 * along[1])
        corners = (at, (base[0] + side[0], base[1] + side[1]), (base[0] - side[0], base[1] - side[1]))
        self._add("polygon", "tip", {"points": " ".join(f"{_number(a)},{_number(b)}" for a, b in corners)})
        return x - 7 * along[0], y - 7 * along[1]

    def written(self) -> str:
        """The SVG; the same calls give the same bytes."""
        ElementTree.indent(self._root, " ")
        return ElementTree.tostring(self._root, encoding="unicode") + "\n"

    def _add(self, kind: str, look: str, attributes: dict[str, str]) -> ElementTree.Element:
        return ElementTree.SubElement(self._root, kind, {"class": look, **attributes})


def _number(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


def _lines(words: str, width: float, size: float) -> list[str]:
    return textwrap.wrap(words, int(width / (size * CHAR_EM)))


# ------------------------------------------------------------------ boxes and arrows on a grid
@dataclass(frozen=True)
class Thing:
    """A box: its cell in the grid, what it is, and a word on it; a wide one reaches to the column `until`."""

    column: float
    row: int
    title: str
    words: str
    until: float | None = None


@dataclass(frozen=True)
class Flow:
    """An arrow between two boxes, and what stands beside it: a room with a slash, or a word."""

    of: str
    to: str
    words: str
    leaves: str = "right"
    enters: str = "left"
    shift: float = 0
    """How far from the middle of the side it leaves."""
    outside: bool = False
    """Round the lower edge of the picture."""
    both: bool = False
    """It goes to and fro."""


BOX: Final = (134.0, 66.0)
PITCH: Final = (220.0, 120.0)


@dataclass(frozen=True)
class Grid:
    """Things in their cells, and the flows between them."""

    label: str
    things: dict[str, Thing]
    flows: tuple[Flow, ...]

    def drawn(self) -> str:
        """The picture."""
        right = max(sum(self._across(thing)) for thing in self.things.values())
        lowest = max(self._top(thing) for thing in self.things.values()) + BOX[1]
        below = lowest + 26
        outside = any(flow.outside for flow in self.flows)
        told = ", ".join(f"{flow.of} to {flow.to}" for flow in self.flows)
        picture = Picture(right + MARGIN, (below if outside else lowest) + MARGIN, f"{self.label}: {told}")
        for flow in self.flows:
            points = self._path(flow, below)
            picture.arrow(points, both=flow.both)
            if flow.words:
                _label(picture, flow, points)
        for thing in self.things.values():
            self._box(picture, thing)
        return picture.written()

    @staticmethod
    def _across(thing: Thing) -> tuple[float, float]:
        """Where it begins, and how wide it is."""
        until = thing.column if thing.until is None else thing.until
        return MARGIN + thing.column * PITCH[0], (until - thing.column) * PITCH[0] + BOX[0]

    @staticmethod
    def _top(thing: Thing) -> float:
        return MARGIN + thing.row * PITCH[1]

    def _side(self, name: str, side: str, shift: float = 0) -> Point:
        thing = self.things[name]
        (x, width), y = self._across(thing), self._top(thing)
        return {
            "left": (x, y + BOX[1] / 2),
            "right": (x + width, y + BOX[1] / 2),
            "top": (x + width / 2 + shift, y),
            "bottom": (x + width / 2 + shift, y + BOX[1]),
        }[side]

    def _path(self, flow: Flow, below: float) -> list[Point]:
        start = self._side(flow.of, flow.leaves, flow.shift)
        end = self._side(flow.to, flow.enters)
        if flow.outside:
            return [start, (start[0], below), (end[0], below), end]
        if {flow.leaves, flow.enters} == {
            "top",
            "bottom",
        }:  # straight up or down, wherever it meets the other
            return [start, (start[0], end[1])]
        if flow.leaves == flow.enters == "left":
            aside = start[0] - MARGIN / 2
            return [start, (aside, start[1]), (aside, end[1]), end]
        if start[0] != end[0] and start[1] != end[1]:
            return [start, (start[0], end[1]), end]
        return [start, end]

    def _box(self, picture: Picture, thing: Thing) -> None:
        (x, width), y = self._across(thing), self._top(thing)
        picture.rect(x, y, width, BOX[1], "box")
        lines = _lines(thing.words, width - 14, 11.5)
        first = y + BOX[1] / 2 + 4 - 7 * len(lines)
        middle = x + width / 2
        picture.text(middle, first, thing.title, "ink strong", size=14.5, anchor="middle")
        for number, line in enumerate(lines):
            picture.text(middle, first + 17 + 14 * number, line, "pale", size=11.5, anchor="middle")


def _label(picture: Picture, flow: Flow, points: list[Point]) -> None:
    look, size = ("verb mono", 12.0) if flow.words.endswith("/") else ("verb", 11.5)
    if flow.outside:
        (x0, y), (x1, _) = points[1:3]
        picture.text((x0 + x1) / 2, y - 7, flow.words, look, size=size, anchor="middle")
        return
    (x0, y0), (x1, y1) = points[-2:]
    if y0 == y1:  # over the middle of the gap before the box that it enters
        gap = PITCH[0] - BOX[0]
        picture.text(
            x1 + (gap if x0 > x1 else -gap) / 2, y1 - 8, flow.words, look, size=size, anchor="middle"
        )
    else:
        picture.text(x1 + 8, (y0 + y1) / 2 + 4, flow.words, look, size=size)


# ------------------------------------------------------------------ the way of the data
DATA: Final = Grid(
    "The way of the data",
    {
        "sheets": Thing(1, 0, "sheets", "wiring and steps, on paper"),
        "keys": Thing(3, 0, "key folder", "outside of the project"),
        "inventory": Thing(0, 1, "inventory", "sites, tanks, nodes, as YAML"),
        "model": Thing(1, 1, "model", "values with units, checked"),
        "sources": Thing(2, 1, "sources", "one project a node"),
        "images": Thing(3, 1, "images", "one a node, with a signed ticket"),
        "shelf": Thing(4, 1, "shelf", "images, tickets, build records"),
        "findings": Thing(0, 2, "findings", "what differs, and where"),
        "journal": Thing(1, 2, "journal", "every event of every push"),
        "push": Thing(2, 2, "push", "waves, gates, trials"),
        "plan": Thing(3, 2, "plan", "a file: who, when and why"),
        "nodes": Thing(2, 3, "nodes", "the firmware, at its tanks"),
        "found": Thing(3, 3, "found nodes", "address and signed state"),
    },
    (
        Flow("inventory", "model", "inventory/"),
        Flow("model", "sheets", "sheet/", "top", "bottom"),
        Flow("model", "sources", "render/"),
        Flow("sources", "images", "build/"),
        Flow("keys", "images", "keys/", "bottom", "top"),
        Flow("images", "shelf", "build/"),
        Flow("shelf", "plan", "push/", "bottom", "right", shift=-18),
        Flow("shelf", "nodes", "flash/", "bottom", "bottom", shift=18, outside=True),
        Flow("plan", "push", "push/", "left", "right"),
        Flow("push", "nodes", "link/", "bottom", "top", both=True),
        Flow("push", "journal", "push/", "left", "right"),
        Flow("journal", "findings", "audit/", "left", "right"),
        Flow("nodes", "found", "find/"),
        Flow("found", "plan", "find/", "top", "bottom"),
    ),
)
"""Boxes are things, arrows are the packages that make one of the other."""

# ------------------------------------------------------------------ a node in a push
LIFE: Final = Grid(
    "How a node stands in a push",
    {
        "left-out": Thing(0, 0, "left-out", "runs what it ran before", until=0.63),
        "lost": Thing(1.37, 0, "lost", "not heard from again; its stand-ins are left alone", until=3),
        "queued": Thing(0, 1, "queued", "waits for its wave"),
        "sending": Thing(1, 1, "sending", "takes the image, its pumps off"),
        "on-trial": Thing(2, 1, "on-trial", "runs it and is watched"),
        "kept": Thing(3, 1, "kept", "told to keep it, or ran it already"),
        "held-off": Thing(0, 2, "held-off", "not now: it is asked again later"),
        "put-back": Thing(
            1.3,
            2,
            "put-back",
            "runs its older image again: it failed, its wave did, or a person asked",
            until=3,
        ),
    },
    (
        Flow("queued", "sending", "its turn", both=True),
        Flow("queued", "held-off", "", "bottom", "top", both=True),
        Flow("queued", "left-out", "", "top", "bottom"),
        Flow("held-off", "left-out", "", "left", "left"),
        Flow("sending", "held-off", "not now", "bottom", "right", shift=-40, both=True),
        Flow("sending", "left-out", "", "top", "bottom", shift=-48),
        Flow("sending", "on-trial", "restarts"),
        Flow("sending", "lost", "", "top", "bottom", shift=48),
        Flow("sending", "put-back", "", "bottom", "top", shift=48),
        Flow("on-trial", "kept", "gate passes"),
        Flow("on-trial", "lost", "", "top", "bottom"),
        Flow("on-trial", "put-back", "", "bottom", "top"),
        Flow("kept", "lost", "", "top", "bottom"),
        Flow("kept", "put-back", "", "bottom", "top"),
    ),
)


# ------------------------------------------------------------------ the rooms
@dataclass(frozen=True)
class Room:
    """A package or module of the contract, and the first sentence of its docstring."""

    name: str
    words: str
    pure: str


def layers() -> list[list[Room]]:
    """The layers of the import contract, the highest first."""
    contracts = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["importlinter"][
        "contracts"
    ]
    house = next(one for one in contracts if one["type"] == "layers")
    (package,) = house["containers"]
    walls = [one for one in contracts if "socket" in one.get("forbidden_modules", ())]
    pure = [name for one in walls for name in one["source_modules"]]
    return [
        [_room(f"{package}.{name.strip()}", pure) for name in layer.split("|")] for layer in house["layers"]
    ]


def _room(dotted: str, pure: Iterable[str]) -> Room:
    path = ROOT / Path(*dotted.split("."))
    path = path / "__init__.py" if path.is_dir() else path.with_suffix(".py")
    says = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""
    sentence = " ".join(says.split("\n\n")[0].split()).split(". ")[0].rstrip(".").replace("`", "")
    kinds = {
        "pure": any(dotted == name or dotted.startswith(f"{name}.") for name in pure),
        "pure in part": any(name.startswith(f"{dotted}.") for name in pure),
    }
    name = dotted.removeprefix("fleet.").replace(".", "/")
    return Room(
        f"{name}/" if path.name == "__init__.py" else f"{name}.py",
        sentence,
        next((word for word, true in kinds.items() if true), ""),
    )


NAME_AT: Final = 58.0
WORDS_AT: Final = 232.0
PURE_ENDS_AT: Final = 922.0
ROOMS_WIDTH: Final = 960.0
LINE: Final = 17.0
CAPTION: Final = 22.0
BETWEEN: Final = 8.0
PAD: Final = 8.0


def rooms() -> str:
    """A stack of layers: each may import what is below it."""
    stack = layers()
    height_of = {id(room): LINE * len(_room_lines(room)) + 4 for layer in stack for room in layer}
    heights = [sum(height_of[id(room)] for room in layer) + 2 * PAD - 4 for layer in stack]
    height = 2 * MARGIN + CAPTION + sum(heights) + BETWEEN * (len(stack) - 1)
    names = "; ".join(", ".join(room.name for room in layer) for layer in stack)
    picture = Picture(ROOMS_WIDTH, height, f"The layers of the package, the highest first: {names}")
    picture.text(NAME_AT - 12, MARGIN + 6, "A room imports only from rooms below it.", "ink", size=13)
    told = "pure: no clock, chance, network, disk or process"
    picture.text(PURE_ENDS_AT + 10, MARGIN + 6, told, "verb", size=11.5, anchor="end")
    y = MARGIN + CAPTION
    picture.arrow([(MARGIN, y), (MARGIN, height - MARGIN)])
    for layer, layer_height in zip(stack, heights, strict=True):
        picture.rect(NAME_AT - 12, y, ROOMS_WIDTH - MARGIN - NAME_AT + 12, layer_height, "box")
        line_y = y + PAD + 12
        for room in layer:
            picture.text(NAME_AT, line_y, room.name, "ink mono strong", size=12.5)
            picture.text(PURE_ENDS_AT, line_y, room.pure, "verb", size=11.5, anchor="end")
            for number, line in enumerate(_room_lines(room)):
                picture.text(WORDS_AT, line_y + LINE * number, line, "pale", size=12.5)
            line_y += height_of[id(room)]
        y += layer_height + BETWEEN
    return picture.written()


def _room_lines(room: Room) -> list[str]:
    return _lines(room.words, PURE_ENDS_AT - 72 - WORDS_AT, 12.5) or [""]


# ------------------------------------------------------------------ one push
@dataclass(frozen=True)
class Step:
    """One step of the loop: its file in fleet/push/, what it does, and what a crash right after it leaves."""

    title: str
    file: str
    does: tuple[str, ...]
    crash: str


def steps() -> tuple[Step, ...]:
    kinds = ", ".join(kind.__name__.lower() for kind in get_args(Event))
    actions = ", ".join(doing.value for doing in Action)
    return (
        Step(
            "1  event",
            "events.py",
            ("Something happened:", kinds),
            "Nothing was done because of it. The next run asks the node again.",
        ),
        Step(
            "2  fold",
            "engine.py",
            ("State and event give a new", "state and commands. Pure:", "no clock, disk or socket"),
            "The same: only memory held it.",
        ),
        Step(
            "3  commit",
            "journal.py",
            ("The event is on disk", "(SQLite, synced) before", "anything is done about it"),
            "The fold of the journal holds the command; the next run asks the node before it repeats anything.",
        ),
        Step(
            "4  act",
            "runner.py",
            ("Reporters tell. Then the", "commands go to the nodes:", actions),
            "The node may have done it. The next run asks it: nothing is sent twice.",
        ),
    )


STEP: Final = (212.0, 112.0)
STEP_PITCH: Final = 244.0


def one_push() -> str:
    """The loop of a push, and below each step what a crash there leaves."""
    loop = steps()
    width = 2 * MARGIN + STEP_PITCH * (len(loop) - 1) + STEP[0]
    top, crash_y = MARGIN + 62, MARGIN + 62 + STEP[1] + 48
    wrapped = [_lines(step.crash, STEP[0] - 8, 12) for step in loop]
    height = crash_y + 24 + 16 * max(map(len, wrapped)) + MARGIN
    order = " ".join(step.title for step in loop)
    picture = Picture(width, height, f"One push is a loop: {order}, and the outcome is the next event")
    middles = [MARGIN + STEP_PITCH * number + STEP[0] / 2 for number in range(len(loop))]
    for left, right in pairwise(middles):
        picture.arrow([(left + STEP[0] / 2, top + STEP[1] / 2), (right - STEP[0] / 2, top + STEP[1] / 2)])
    back_y = MARGIN + 26
    picture.arrow([(middles[-1], top), (middles[-1], back_y), (middles[0], back_y), (middles[0], top)])
    asked = ", ".join(word.value for word in RequestKind)
    back = f"outcomes from the nodes  ·  what a person asks for: {asked}"
    picture.text(sum(middles) / len(middles), back_y - 9, back, "verb", size=12.5, anchor="middle")
    picture.text(MARGIN, crash_y, "If the machine stops after this step", "ink strong", size=13)
    for middle, step, lines in zip(middles, loop, wrapped, strict=True):
        _draw_step(picture, middle, top, step)
        for number, line in enumerate(lines):
            picture.text(middle - STEP[0] / 2, crash_y + 24 + 16 * number, line, "pale", size=12)
    return picture.written()


def _draw_step(picture: Picture, middle: float, top: float, step: Step) -> None:
    left = middle - STEP[0] / 2
    picture.rect(left, top, *STEP, "box")
    picture.text(left + 14, top + 26, step.title, "ink strong", size=15)
    picture.text(left + STEP[0] - 14, top + 26, step.file, "verb mono", size=12, anchor="end")
    lines = [line for words in step.does for line in _lines(words, STEP[0] - 28, 12)]
    for number, line in enumerate(lines):
        picture.text(left + 14, top + 50 + 17 * number, line, "pale", size=12)


MADE: Final = {"data.svg": DATA.drawn, "node.svg": LIFE.drawn, "rooms.svg": rooms, "push.svg": one_push}

if __name__ == "__main__":
    PICTURES.mkdir(exist_ok=True)
    for name, make in MADE.items():
        (PICTURES / name).write_text(make(), encoding="utf-8")
