"""Kinds of boards: one data file each (`data/*.toml`), on the facts of its chip (`data/chips/*.toml`).

Every fact in the data files names its source.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from math import ceil
from typing import TYPE_CHECKING

from fleet.boards.codes import NO_SUCH_BOARD
from fleet.boards.data_file import Trait, gpios, read_board, read_chip
from fleet.boards.partitions import SECTOR_BYTES, Partition, partition_table, table_faults
from fleet.errors import UsageError

if TYPE_CHECKING:
    from importlib.resources.abc import Traversable

    from fleet.boards.data_file import BoardFile, ChipFile, Layout, PayloadFormat


@dataclass(frozen=True, slots=True)
class PinFact:
    """One fact about a pin: `what` completes the sentence "GPIOn ...", `source` says where it is written."""

    trait: Trait
    what: str
    source: str


@dataclass(frozen=True, slots=True)
class Pin:
    """A pin that the board brings out: `name` is on its silk screen, `aliases` are accepted as well."""

    name: str
    gpio: int
    aliases: tuple[str, ...]
    facts: tuple[PinFact, ...]

    def fact(self, *traits: Trait) -> PinFact | None:
        """The first fact of one of these traits, in the order of the traits; None if there is none."""
        return next((fact for trait in traits for fact in self.facts if fact.trait is trait), None)

    @property
    def output(self) -> bool:
        """Whether it can drive something."""
        return self.fact(Trait.FLASH, Trait.INPUT_ONLY) is None

    @property
    def pull_up(self) -> bool:
        """Whether the chip has a pull-up for it."""
        return self.fact(Trait.FLASH, Trait.NO_PULL_UP) is None


@dataclass(frozen=True, slots=True)
class OutageStep:
    """A part of the worst outage: its name, how long it takes, and what that was reckoned from."""

    name: str
    seconds: float
    reckoned: str


@dataclass(frozen=True, slots=True)
class Outage:
    """What an update takes at its slowest: how long a node of this board may control nothing."""

    send_bytes_per_s: float
    erase_s_per_sector: float
    program_s_per_sector: float
    restart_s: float
    copies_to_new: int
    copies_back: int
    source: str

    def send_s(self, image_bytes: int) -> float:
        """Seconds to send an image of that size over slow WiFi."""
        return image_bytes / self.send_bytes_per_s

    def copy_s(self, image_bytes: int) -> float:
        """Seconds for one pass of erasing and programming."""
        return ceil(image_bytes / SECTOR_BYTES) * (self.erase_s_per_sector + self.program_s_per_sector)

    def update_s(self, image_bytes: int) -> float:
        """Seconds from the first byte until the new image answers."""
        return self.send_s(image_bytes) + self.copies_to_new * self.copy_s(image_bytes) + self.restart_s

    def fall_back_s(self, image_bytes: int) -> float:
        """Seconds from giving the trial up until the older image answers."""
        return self.copies_back * self.copy_s(image_bytes) + self.restart_s

    def worst_s(self, image_bytes: int, trial_s: float) -> float:
        """Send, write, restart, a whole trial of an image that controls nothing, fall back (design 5.3)."""
        return self.update_s(image_bytes) + trial_s + self.fall_back_s(image_bytes)

    def steps(self, image_bytes: int, trial_s: float) -> tuple[OutageStep, ...]:
        """What makes up the worst outage, in order; each with what it was reckoned from."""
        sectors = ceil(image_bytes / SECTOR_BYTES)
        per_sector = self.erase_s_per_sector + self.program_s_per_sector
        copy_s = self.copy_s(image_bytes)

        def written(times: int) -> str:
            return f"{times} x {sectors} sectors at {per_sector:.3g} s"

        steps = [
            OutageStep(
                "send",
                self.send_s(image_bytes),
                f"{image_bytes / 1024:.0f} KiB at {self.send_bytes_per_s / 1000:.0f} kB/s",
            ),
            OutageStep("write", self.copies_to_new * copy_s, written(self.copies_to_new)),
            OutageStep("restart", self.restart_s, "boot loader, network, address"),
            OutageStep("trial", trial_s, "the policy's `trial`, of an image that controls nothing"),
        ]
        if self.copies_back:
            steps.append(OutageStep("copy back", self.copies_back * copy_s, written(self.copies_back)))
        steps.append(OutageStep("restart again", self.restart_s, "with the older image"))
        return tuple(steps)


@dataclass(frozen=True, slots=True)
class PullUp:
    """The chip's own pull-up: as it is published, and the least and most that it may be, with what says so."""

    ohm: float
    least_ohm: float
    most_ohm: float
    source: str
    limits_source: str
    settle_s: float
    """How long the firmware leaves it on before it reads."""
    settle_source: str

    @property
    def limits_ohm(self) -> tuple[float, float, float]:
        """As published, least, most."""
        return self.ohm, self.least_ohm, self.most_ohm


@dataclass(frozen=True, slots=True)
class Board:
    """A kind of board. `slot_bytes` is the largest image, `flash_map` the linker script or partition table; the
    rows of the latter are `partitions`."""

    id: str
    title: str
    chip: str
    platform: str
    platformio_board: str
    framework: str
    layout: Layout
    payload_format: PayloadFormat
    flash_bytes: int
    slot_bytes: int
    flash_map: str
    rows: tuple[tuple[str, ...], tuple[str, ...]]
    """Names of all pins in the two rows on the board, from the top down; those that are not in `pins` are no GPIO."""
    ground: str
    """What its ground pins are called."""
    supply: str
    """What its 3.3 V pins are called."""
    partitions: tuple[Partition, ...]
    pull_up: PullUp
    relay_first: tuple[int, ...]
    """GPIOs that suit a pump relay best, the best first."""
    gpios_source: str
    pins: tuple[Pin, ...]
    outage: Outage
    button_gpio: int | None
    """GPIO that a button on the board pulls LOW while it is pressed (FLASH, BOOT); None where it has none."""
    notes: tuple[str, ...]
    sources: tuple[tuple[str, str], ...]

    def pin(self, name: str) -> Pin:
        """The pin of that name, silk screen or alias such as `GPIO5`; KeyError if there is none."""
        for pin in self.pins:
            if name == pin.name or name in pin.aliases:
                return pin
        raise KeyError(name)

    def pin_names(self) -> tuple[str, ...]:
        """Every name that `pin` accepts, those of the silk screen first."""
        return (*(pin.name for pin in self.pins), *(alias for pin in self.pins for alias in pin.aliases))


@cache
def board_ids() -> tuple[str, ...]:
    """The ids of all kinds, sorted."""
    return tuple(sorted(f.name.removesuffix(".toml") for f in _data().iterdir() if f.name.endswith(".toml")))


@cache
def load_board(board_id: str) -> Board:
    """The kind of that id; UsageError (BRD101) if there is none."""
    if board_id not in board_ids():
        raise UsageError(NO_SUCH_BOARD, f"there is no board {board_id!r}; there are {', '.join(board_ids())}")
    text = read_board(_data() / f"{board_id}.toml")
    chip = read_chip(_data() / "chips" / f"{text.chip}.toml")
    left, right = text.rows
    return Board(
        id=board_id,
        title=text.title,
        chip=text.chip,
        platform=text.platform,
        platformio_board=text.platformio_board,
        framework=text.framework,
        layout=text.layout,
        payload_format=text.payload_format,
        flash_bytes=text.flash_bytes,
        slot_bytes=text.slot_bytes,
        flash_map=text.flash_map,
        rows=(tuple(left), tuple(right)),
        ground=text.ground,
        supply=text.supply,
        partitions=_partitions(text),
        pull_up=_pull_up(chip),
        relay_first=tuple(int(gpio) for gpio in chip.relay_first.split(",")),
        gpios_source=chip.gpios_source,
        pins=_pins(text, chip),
        outage=Outage(**text.outage.model_dump()),
        button_gpio=None if text.button_pin is None else text.pins[text.button_pin],
        notes=tuple(text.notes),
        sources=tuple(sorted(text.sources.items())),
    )


@cache
def chip_pins(chip: str) -> tuple[Pin, ...]:
    """Every GPIO of a chip, brought out or not, with its facts; each goes by `GPIOn`."""
    text = read_chip(_data() / "chips" / f"{chip}.toml")
    facts = _facts(text)
    return tuple(Pin(f"GPIO{gpio}", gpio, (), _facts_of(gpio, facts)) for gpio in sorted(gpios(text.gpios)))


def _partitions(board: BoardFile) -> tuple[Partition, ...]:
    if board.payload_format != "esp32-bin":
        return ()
    table = partition_table(board.flash_map)
    for fault in table_faults(table, board.flash_bytes, board.slot_bytes):
        raise ValueError(f"{board.id}: partition table {board.flash_map}: {fault}")
    return table


def _pull_up(chip: ChipFile) -> PullUp:
    return PullUp(
        ohm=chip.internal_pull_up_ohm,
        least_ohm=chip.internal_pull_up_least_ohm,
        most_ohm=chip.internal_pull_up_most_ohm,
        source=chip.internal_pull_up_source,
        limits_source=chip.internal_pull_up_limits_source,
        settle_s=chip.settle_us / 1e6,
        settle_source=chip.settle_source,
    )


def _pins(board: BoardFile, chip: ChipFile) -> tuple[Pin, ...]:
    exist, facts = gpios(chip.gpios), _facts(chip)
    pins = []
    for name, gpio in board.pins.items():
        if gpio not in exist:
            raise ValueError(f"{board.id}: GPIO{gpio} does not exist on the {chip.chip}")
        also = dict.fromkeys([*board.aliases.get(name, ()), f"GPIO{gpio}"])
        also.pop(name, None)
        pins.append(Pin(name, gpio, tuple(also), _facts_of(gpio, facts)))
    return tuple(pins)


def _facts(chip: ChipFile) -> list[tuple[frozenset[int], PinFact]]:
    return [(gpios(row.pins), PinFact(row.trait, row.what, row.source)) for row in chip.fact]


def _facts_of(gpio: int, facts: list[tuple[frozenset[int], PinFact]]) -> tuple[PinFact, ...]:
    return tuple(fact for where, fact in facts if gpio in where)


def _data() -> Traversable:
    return files("fleet.boards") / "data"
