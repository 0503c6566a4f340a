"""The data files of boards and chips, and what must hold in them: every key known, every figure with its source.

To add a kind of board is to add `data/ID.toml`, and `data/chips/CHIP.toml` where its chip is a new one.
"""

from __future__ import annotations

import tomllib
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated, Any, Final, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from fleet.limits import BOARD_ID_CHARS, LARGEST_GPIO, PIN_NAME_CHARS

if TYPE_CHECKING:
    from importlib.resources.abc import Traversable

Layout = Literal["two-slot", "copy-in-place"]
PayloadFormat = Literal["esp8266-bin", "esp32-bin"]
_NEEDED_SOURCES: Final = frozenset({"platform", "packages", "flash", "pins", "rows", "download_mode"})


class Trait(StrEnum):
    """What a pin is, where it is not simply free."""

    FLASH = "flash"
    OCTAL_FLASH = "octal-flash"
    INPUT_ONLY = "input-only"
    NO_PULL_UP = "no-pull-up"
    STRAP = "strap"
    STRAP_HIGH = "strap-high"
    STRAP_LOW = "strap-low"
    BOOT_HIGH = "boot-high"
    BOOT_PULSE = "boot-pulse"
    BOOT_WEAK_HIGH = "boot-weak-high"
    BOOT_LOW = "boot-low"
    BOOT_LOW_PULSE = "boot-low-pulse"
    USB = "usb"
    UART = "uart"
    ADC1 = "adc1"
    ADC2 = "adc2"
    JTAG = "jtag"
    ASIDE = "aside"
    """Worth knowing, and no reason against any use."""


class ResetPull(StrEnum):
    """What pulls at a pin from reset until the firmware sets it."""

    NONE = "none"
    UP = "up"
    DOWN = "down"
    USB_UP = "usb-up"
    """The pull-up of the USB port, which goes when the pad is taken from the port."""


class LoadKind(StrEnum):
    """What the board itself hangs on a pin."""

    DRIVER = "driver"
    """Something that drives it."""
    RESISTOR = "resistor"
    LED = "led"
    INPUT = "input"
    """Something that listens and hardly loads it."""
    BUTTON = "button"
    USB_SOCKET = "usb-socket"


Words = Annotated[str, Field(min_length=3)]
Ohm = Annotated[float, Field(gt=0, le=1e7)]
Whole = Annotated[int, Field(gt=0)]
Gpio = Annotated[int, Field(ge=0, le=LARGEST_GPIO)]
PinName = Annotated[str, Field(pattern=rf"^[A-Za-z0-9_]{{1,{PIN_NAME_CHARS}}}$")]
GpioList = Annotated[str, Field(pattern=r"^[0-9]+(-[0-9]+)?(, [0-9]+(-[0-9]+)?)*$", examples=["0-5, 16"])]
GpioOrder = Annotated[str, Field(pattern=r"^[0-9]+(, [0-9]+)*$", examples=["5, 4"])]


class _Checked(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class FactRow(_Checked):
    """One fact about some pins: `what` completes the sentence "GPIOn ...", `source` says where it is written."""

    pins: GpioList
    trait: Annotated[Trait, Field(alias="is", strict=False)]
    what: Words
    source: Words


class ResetRow(_Checked):
    """What some pins are after reset, before the firmware sets them."""

    pins: GpioList
    pull: Annotated[ResetPull, Field(strict=False)]
    input: bool = Field(description="whether the input buffer is on")
    output: bool = Field(default=False, description="whether the chip drives the pin")
    source: Words


class LoadRow(_Checked):
    """What the board hangs on one of its pins: `what` completes the sentence "PIN of BOARD ..."."""

    pin: PinName
    kind: Annotated[LoadKind, Field(alias="is", strict=False)]
    what: Words
    to: Literal["high", "low"] | None = Field(
        default=None, description="the level that it pulls or drives to"
    )
    ohm: Ohm | None = Field(default=None, description="through which resistance")
    drop_v: Annotated[float, Field(gt=0, lt=3.3)] | None = Field(
        default=None, description="of a LED: its forward voltage at the least current that counts"
    )
    some: bool = Field(default=False, description="only some of the boards sold by this name have it")
    source: Words

    @model_validator(mode="after")
    def _holds(self) -> Self:
        pulls = self.kind in (LoadKind.DRIVER, LoadKind.RESISTOR, LoadKind.LED)
        if (self.to is not None, self.ohm is not None) != (pulls, pulls):
            raise ValueError(f"{self.pin}: the {self.kind} {'needs' if pulls else 'has no'} `to` and `ohm`")
        if (self.drop_v is not None) is not (self.kind is LoadKind.LED):
            raise ValueError(f"{self.pin}: `drop_v` belongs to a LED, and a LED needs it")
        return self


class ChipFile(_Checked):
    """A chip: how its images are marked and loaded, and what its GPIOs can and cannot do."""

    chip: Words
    chip_id: Annotated[int, Field(ge=0, le=0xFFFF)] | None = Field(
        default=None, description="id in the head of its images; left out where the head has none"
    )
    chip_id_source: Words
    boot_loader_at: Annotated[int, Field(ge=0)] = Field(
        description="offset in flash where the chip's ROM looks for the boot loader"
    )
    boot_loader_source: Words
    wpa3: bool = Field(description="whether it can join a network that takes WPA3 only")
    wpa3_source: Words
    gpios: GpioList
    gpios_source: Words
    internal_pull_up_ohm: Ohm
    internal_pull_up_source: Words
    internal_pull_up_least_ohm: Ohm
    internal_pull_up_most_ohm: Ohm
    internal_pull_up_limits_source: Words
    settle_us: Whole = Field(description="from the pull-up's start to the reading, by the firmware")
    settle_source: Words
    relay_first: GpioOrder = Field(description="for a pump relay, the best first")
    relay_first_source: Words
    reset: Annotated[list[ResetRow], Field(min_length=1)]
    fact: Annotated[list[FactRow], Field(min_length=1)]

    @model_validator(mode="after")
    def _holds(self) -> Self:
        if not self.internal_pull_up_least_ohm <= self.internal_pull_up_ohm <= self.internal_pull_up_most_ohm:
            raise ValueError("the pull-up is not between its limits")
        there = gpios(self.gpios)
        for text in (self.relay_first, *(row.pins for row in self.fact)):
            if not gpios(text) <= there:
                raise ValueError(f"{text} has a GPIO that the chip does not have")
        at_reset = [gpio for row in self.reset for gpio in gpios(row.pins)]
        if sorted(at_reset) != sorted(there):
            raise ValueError("`reset` does not have each GPIO once")
        return self


class OutageRow(_Checked):
    """What an update takes at its slowest."""

    send_bytes_per_s: Annotated[float, Field(gt=0)]
    erase_s_per_sector: Annotated[float, Field(gt=0)]
    program_s_per_sector: Annotated[float, Field(gt=0)]
    restart_s: Annotated[float, Field(gt=0)]
    copies_to_new: Whole
    copies_back: Annotated[int, Field(ge=0)]
    source: Words


class BoardFile(_Checked):
    """A kind of board as it is sold."""

    id: Annotated[str, Field(pattern=rf"^[a-z0-9-]{{1,{BOARD_ID_CHARS}}}$")]
    title: Words
    chip: Words
    platform: Annotated[
        str, Field(pattern=r"^[a-z0-9]+/[a-z0-9]+@[0-9.]+$", description="PlatformIO's: OWNER/NAME@VERSION")
    ]
    packages: list[Annotated[str, Field(pattern=r"^[a-z0-9-]+@[0-9][0-9a-z.+-]*$")]] = Field(
        min_length=1,
        description="each package of the platform that this board is built with, in one version: NAME@VERSION",
    )
    platformio_board: Words
    framework: Words
    layout: Layout
    payload_format: PayloadFormat
    flash_bytes: Whole
    slot_bytes: Whole
    flash_map: Words
    rows: tuple[list[PinName], list[PinName]] = Field(
        strict=False, description="names of all pins in its two rows, from the top down"
    )
    ground: PinName = Field(description="what its ground pins are called in the rows")
    supply: PinName = Field(description="what its 3.3 V pins are called in the rows")
    others: list[PinName] = Field(
        description="names in the rows that are neither of these nor a GPIO of `pins`"
    )
    button_pin: PinName | None = Field(
        default=None,
        description="pin that a button on the board pulls LOW while pressed, readable by a running program",
    )
    download_mode: Words = Field(
        description="how a person puts it into download mode where its USB bridge does not, as words after "
        "`On this board:`"
    )
    notes: list[Words]
    sources: dict[str, Words]
    pins: dict[PinName, Gpio]
    aliases: dict[PinName, list[PinName]] = Field(default_factory=dict)
    numbers: bool = Field(
        default=False, description="a pin goes by its bare GPIO number, and by `IO` and that number, as well"
    )
    unclear: dict[PinName, Words] = Field(
        default_factory=dict,
        description="names printed on boards of this kind that mean different pins, and why",
    )
    load: list[LoadRow] = Field(default_factory=list, description="what the board itself hangs on its pins")
    outage: OutageRow

    @model_validator(mode="after")
    def _holds(self) -> Self:
        if missing := _NEEDED_SOURCES - set(self.sources):
            raise ValueError(f"no source is named for {', '.join(sorted(missing))}")
        self._rows_hold()
        if len(set(self.pins.values())) < len(self.pins):
            raise ValueError("two pins are one GPIO")
        if strangers := set(self.aliases) - set(self.pins):
            raise ValueError(f"aliases of pins that there are not: {', '.join(sorted(strangers))}")
        if strangers := {load.pin for load in self.load} - set(self.pins):
            raise ValueError(f"loads on pins that there are not: {', '.join(sorted(strangers))}")
        if self.button_pin is not None and self.button_pin not in self.pins:
            raise ValueError(f"the button is on a pin that there is not: {self.button_pin}")
        if (self.button_pin is None) is not ("button" not in self.sources):
            raise ValueError("a button and its source go together")
        if self.slot_bytes > self.flash_bytes:
            raise ValueError("a slot is larger than the flash")
        return self

    def _rows_hold(self) -> None:
        """Each GPIO once, and ground and supply; nothing else but what is said to be no GPIO."""
        names, no_gpio = [*self.rows[0], *self.rows[1]], {self.ground, self.supply, *self.others}
        if sorted(name for name in names if name not in no_gpio) != sorted(self.pins):
            raise ValueError("the rows do not have each pin once")
        if missing := no_gpio - set(names):
            raise ValueError(f"not in the rows: {', '.join(sorted(missing))}")


def read_board(path: Traversable) -> BoardFile:
    """A board's data file. ValueError, with every mistake, if it does not keep to the schema."""
    board = BoardFile.model_validate(_read(path))
    if f"{board.id}.toml" != path.name:
        raise ValueError(f"{path.name}: its id is {board.id!r}")
    return board


def read_chip(path: Traversable) -> ChipFile:
    """A chip's data file. ValueError, with every mistake, if it does not keep to the schema."""
    chip = ChipFile.model_validate(_read(path))
    if f"{chip.chip}.toml" != path.name:
        raise ValueError(f"{path.name}: its chip is {chip.chip!r}")
    return chip


def gpios(text: str) -> frozenset[int]:
    """The numbers of a list such as `0-5, 16`."""
    found: set[int] = set()
    for part in text.split(","):
        first, _, last = part.strip().partition("-")
        found.update(range(int(first), int(last or first) + 1))
    return frozenset(found)


def data_schema(kind: Literal["board", "chip"]) -> dict[str, Any]:
    """The JSON Schema of a data file, for editors and for who adds one."""
    model = BoardFile if kind == "board" else ChipFile
    head = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": f"tankfleet/{kind}-file/1",
        "title": f"Data file of a {kind}",
    }
    return head | {key: value for key, value in model.model_json_schema().items() if key != "title"}


def _read(path: Traversable) -> dict[str, Any]:
    return tomllib.loads(path.read_text(encoding="utf-8"))
