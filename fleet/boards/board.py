"""Kinds of boards: one data file each (`data/*.toml`), on the facts of its chip (`data/chips/*.toml`).

Every fact in the data files names its source.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cache
from importlib.resources import files
from math import ceil
from typing import TYPE_CHECKING, Final, Literal

from fleet.boards.codes import NO_SUCH_BOARD
from fleet.boards.data_file import LoadKind, ResetPull, Trait, gpios, read_board, read_chip
from fleet.boards.partitions import SECTOR_BYTES, Partition, partition_table, table_faults
from fleet.errors import UsageError
from fleet.limits import BODY_GRACE_S, BROWN_OUT_STARTS, SLOWEST_SEND_BYTES_PER_S, STATE_AGE_S, TRIAL_STARTS

if TYPE_CHECKING:
    from collections.abc import Sequence
    from importlib.resources.abc import Traversable

    from fleet.boards.data_file import BoardFile, ChipFile, Layout, LoadRow, PayloadFormat


_PULLED: Final = {
    ResetPull.UP: (Trait.BOOT_HIGH, "is pulled up after reset"),
    ResetPull.DOWN: (Trait.BOOT_LOW, "is pulled down after reset"),
    ResetPull.USB_UP: (Trait.BOOT_HIGH, "is pulled up after reset, by the USB port"),
}


@dataclass(frozen=True, slots=True)
class PinFact:
    """One fact about a pin: `what` completes the sentence "GPIOn ...", `source` says where it is written."""

    trait: Trait
    what: str
    source: str


@dataclass(frozen=True, slots=True)
class Reset:
    """What a pin is from reset until the firmware sets it."""

    pull: ResetPull
    """What pulls at it."""
    input: bool
    """Whether its input is on."""
    output: bool
    """Whether the chip drives it."""
    source: str


@dataclass(frozen=True, slots=True)
class Load:
    """What the board itself hangs on a pin: `what` completes the sentence "PIN of BOARD ..."."""

    kind: LoadKind
    what: str
    to: Literal["high", "low"] | None
    """The level that it pulls or drives to."""
    ohm: float | None
    """Through which resistance."""
    drop_v: float | None
    """Of a LED: its forward voltage."""
    some: bool
    """Not all boards of that name have it."""
    source: str


@dataclass(frozen=True, slots=True)
class Pin:
    """A pin that the board brings out: `name` is on its silk screen, `aliases` are accepted as well."""

    name: str
    gpio: int
    aliases: tuple[str, ...]
    facts: tuple[PinFact, ...]
    reset: Reset
    loads: tuple[Load, ...] = ()

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
    """A part of the worst outage: its name, how long it takes, and what that was computed from."""

    name: str
    seconds: float
    computed_from: str


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
    weak_trials: int = TRIAL_STARTS
    """Trials of one image, each begun anew by a start, where the supply gives way again and again."""
    starts_a_try: int = 1
    """Starts that each further one of them takes."""

    def send_s(self, image_bytes: int) -> float:
        """Seconds that a node may be kept waiting for an image of that size: it ends no transfer sooner,
        however good the network usually is."""
        return BODY_GRACE_S + image_bytes / self._slowest_bytes_per_s

    def usual_send_s(self, image_bytes: int) -> float:
        """Seconds to send an image of that size over slow WiFi that works."""
        return image_bytes / self.send_bytes_per_s

    @property
    def _slowest_bytes_per_s(self) -> float:
        return min(self.send_bytes_per_s, SLOWEST_SEND_BYTES_PER_S)

    def copy_s(self, image_bytes: int) -> float:
        """Seconds for one pass of erasing and programming."""
        return ceil(image_bytes / SECTOR_BYTES) * (self.erase_s_per_sector + self.program_s_per_sector)

    def update_s(self, image_bytes: int) -> float:
        """Seconds from the first byte until the new image answers."""
        return self.send_s(image_bytes) + self.copies_to_new * self.copy_s(image_bytes) + self.restart_s

    def fall_back_s(self, image_bytes: int) -> float:
        """Seconds from giving the trial up until the older image answers."""
        return self.copies_back * self.copy_s(image_bytes) + self.restart_s

    def worst_s(self, image_bytes: int, trial_s: float, *, weak: bool = False) -> float:
        """The age of the node's word on its marks, then send, write, restart, a whole trial of an image that controls
        nothing, fall back (design 5.3). What the node and its pump then need to take over is the tank's
        (fleet/water/spare.py).

        `weak`: its supply gives way just before each of its trials would be over, as often as the node bears it.
        """
        again_s = (self.weak_trials - 1) * (trial_s + self.starts_a_try * self.restart_s) if weak else 0.0
        return STATE_AGE_S + self.update_s(image_bytes) + trial_s + again_s + self.fall_back_s(image_bytes)

    def steps(self, image_bytes: int, trial_s: float) -> tuple[OutageStep, ...]:
        """What makes up the worst outage, in order; each with what it was computed from."""
        sectors = ceil(image_bytes / SECTOR_BYTES)
        per_sector = self.erase_s_per_sector + self.program_s_per_sector
        copy_s = self.copy_s(image_bytes)

        def written(times: int) -> str:
            return f"{times} x {sectors} sectors at {per_sector:.3g} s"

        steps = [
            OutageStep(
                "begin", STATE_AGE_S, "from the node's report of its marks to the first byte, at most"
            ),
            OutageStep(
                "send",
                self.send_s(image_bytes),
                f"{image_bytes / 1024:.0f} KiB at {self._slowest_bytes_per_s / 1000:.0f} kB/s, the slowest that a node "
                f"takes, and {BODY_GRACE_S:.0f} s of pauses",
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
    """PlatformIO's platform: OWNER/NAME@VERSION."""
    packages: tuple[str, ...]
    """What of that platform it is built with, each in one version: NAME@VERSION."""
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
    unclear: tuple[tuple[str, str], ...]
    """Names that mean different pins on boards of this kind: why, in words."""
    button_gpio: int | None
    """GPIO that a button on the board pulls LOW while it is pressed (FLASH, BOOT); None where it has none."""
    download_mode: str
    """How a person puts it into download mode, as words after `On this board:`."""
    boot_loader_at: int
    """Offset in flash where the chip's ROM looks for the boot loader."""
    wpa3: bool
    """Whether it can join a network that takes WPA3 only."""
    notes: tuple[str, ...]
    sources: tuple[tuple[str, str], ...]

    _by_name: dict[str, tuple[Pin, Pin]] = field(init=False, repr=False, compare=False)
    """Of each name, folded: the pin, and the pin by that name."""

    def __post_init__(self) -> None:
        named = {}
        for pin in self.pins:
            for name in (pin.name, *pin.aliases):
                said = pin if name == f"GPIO{pin.gpio}" else replace(pin, name=name)
                named[name.casefold()] = (pin, said)
        object.__setattr__(self, "_by_name", named)

    def pin(self, name: str) -> Pin:
        """The pin of that name, silk screen or alias such as `GPIO5`, in capitals or not; KeyError if there is none."""
        return self._by_name[name.casefold()][0]

    def pin_as_said(self, name: str) -> Pin:
        """The same, by the name that was used, as it is printed; by the name in `rows` where that was `GPIOn`."""
        return self._by_name[name.casefold()][1]

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
    chip = _chip(text.chip)
    left, right = text.rows
    return Board(
        id=board_id,
        title=text.title,
        chip=text.chip,
        platform=text.platform,
        packages=tuple(text.packages),
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
        outage=_outage(text),
        unclear=tuple(sorted(text.unclear.items())),
        button_gpio=None if text.button_pin is None else text.pins[text.button_pin],
        download_mode=text.download_mode,
        boot_loader_at=chip.boot_loader_at,
        wpa3=chip.wpa3,
        notes=tuple(text.notes),
        sources=tuple(sorted(text.sources.items())),
    )


@cache
def chip_pins(chip: str) -> tuple[Pin, ...]:
    """Every GPIO of a chip, brought out or not, with its facts; each goes by `GPIOn`."""
    text = _chip(chip)
    facts, reset = _facts(text), _reset(text)
    return tuple(
        Pin(f"GPIO{gpio}", gpio, (), _facts_of(gpio, facts), reset[gpio])
        for gpio in sorted(gpios(text.gpios))
    )


def chip_id(chip: str) -> int | None:
    """The id in the head of that chip's images; None where the head is short and has none."""
    return _chip(chip).chip_id


@cache
def _chip(chip: str) -> ChipFile:
    return read_chip(_data() / "chips" / f"{chip}.toml")


def _outage(board: BoardFile) -> Outage:
    made = Outage(**board.outage.model_dump())
    if board.payload_format != "esp32-bin":
        return made
    # Its boot loader goes back after any restart; after a brown-out the older image hands the new one over again.
    return replace(made, weak_trials=BROWN_OUT_STARTS, starts_a_try=2)


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
    exist, facts, reset = gpios(chip.gpios), _facts(chip), _reset(chip)
    pins = []
    for name, gpio in board.pins.items():
        if gpio not in exist:
            raise ValueError(f"{board.id}: GPIO{gpio} does not exist on the {chip.chip}")
        numbers = (f"IO{gpio}", str(gpio)) if board.numbers else ()
        also = dict.fromkeys([*board.aliases.get(name, ()), *numbers, f"GPIO{gpio}"])
        also.pop(name, None)
        pins.append(
            Pin(name, gpio, tuple(also), _facts_of(gpio, facts), reset[gpio], _loads_of(name, board.load))
        )
    return tuple(pins)


def _loads_of(name: str, rows: Sequence[LoadRow]) -> tuple[Load, ...]:
    return tuple(
        Load(row.kind, row.what, row.to, row.ohm, row.drop_v, row.some, row.source)
        for row in rows
        if row.pin == name
    )


def _reset(chip: ChipFile) -> dict[int, Reset]:
    return {
        gpio: Reset(row.pull, row.input, row.output, row.source)
        for row in chip.reset
        for gpio in gpios(row.pins)
    }


def _facts(chip: ChipFile) -> list[tuple[frozenset[int], PinFact]]:
    """What the file says, then what follows from the pulls after reset.

    What is said of a weak pull stands: no second fact is made of it.
    """
    said = [(gpios(row.pins), PinFact(row.trait, row.what, row.source)) for row in chip.fact]
    weak = {gpio for row in chip.fact if row.trait is Trait.BOOT_WEAK_HIGH for gpio in gpios(row.pins)}
    found = []
    for row in chip.reset:
        if row.pull in _PULLED and not row.output:
            trait, what = _PULLED[row.pull]
            found.append((gpios(row.pins) - weak, PinFact(trait, what, row.source)))
    return said + found


def _facts_of(gpio: int, facts: list[tuple[frozenset[int], PinFact]]) -> tuple[PinFact, ...]:
    return tuple(fact for where, fact in facts if gpio in where)


def _data() -> Traversable:
    return files("fleet.boards") / "data"
