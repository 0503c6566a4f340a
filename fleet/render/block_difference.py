"""What differs between two node blocks of one node, in the inventory's words. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from fleet.render.node_block import LAYOUTS, NETWORK_TRAITS, NO_PIN, PAYLOADS, PULLS, PUMP_DOES

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

    from fleet.render.node_block import NodeBlock, TankBlock


@dataclass(frozen=True, slots=True)
class Difference:
    """One value that differs: what it is of, its kind where that needs a word (`pin`), what it was and is now."""

    of: str
    kind: str
    was: str
    now: str

    def __str__(self) -> str:
        return f"{self.of}: {self.kind}{' ' if self.kind else ''}{self.was}, now {self.now}"


def differences(was: NodeBlock, now: NodeBlock) -> tuple[Difference, ...]:
    """All that differs, the node's own values first, then tank by tank; none for equal blocks."""
    return tuple(one for one in _all(was, now) if one.was != one.now)


def _all(was: NodeBlock, now: NodeBlock) -> Iterator[Difference]:
    yield from _each(was, now, _OF_NODE, "")
    yield Difference("the node", "tanks", _names(was.tanks), _names(now.tanks))
    feeds = dict(_feeds(was))
    before = {tank.name: tank for tank in was.tanks}
    for name, feed in _feeds(now):
        if name in before:
            yield Difference(f"the feed of the probes of tank {name}", "pin", feeds[name], feed)
    for tank in now.tanks:
        if tank.name in before:
            yield from _of_tank(before[tank.name], tank)


def _of_tank(was: TankBlock, now: TankBlock) -> Iterator[Difference]:
    before = {mark.name: mark for mark in was.marks}
    yield Difference(f"tank {now.name}", "marks", _names(was.marks), _names(now.marks))
    for mark in now.marks:
        if mark.name in before:
            yield from _each(before[mark.name], mark, _OF_MARK, f"{mark.name} of tank {now.name}")
    does = (_word(PUMP_DOES, tank.pump_does) or "none" for tank in (was, now))
    yield Difference(f"the pump of tank {now.name}", "does", *does)
    if was.pump_does and now.pump_does:
        yield from _each(was, now, _OF_PUMP, f"tank {now.name}")


def _each(
    was: Any, now: Any, table: Mapping[tuple[str, str], Callable[[Any], str]], where: str
) -> Iterator[Difference]:
    return (Difference(of.format(where), kind, said(was), said(now)) for (of, kind), said in table.items())


def _feeds(block: NodeBlock) -> Iterator[tuple[str, str]]:
    return ((tank.name, _pin(gpio)) for tank, gpio in zip(block.tanks, block.feed_pins, strict=False))


def _names(parts: Sequence[Any]) -> str:
    return ", ".join(part.name for part in parts)


def _word(words: Mapping[str, int], number: int) -> str:
    return next((word for word, value in words.items() if value == number), str(number))


def _pin(gpio: int) -> str:
    return "none" if gpio == NO_PIN else f"GPIO{gpio}"


def _traits(block: NodeBlock) -> str:
    return ", ".join(word for word, bit in NETWORK_TRAITS.items() if block.network_traits & bit) or "none"


def _seconds(name: str) -> Callable[[Any], str]:
    return lambda part: f"{getattr(part, name)} s"


def _thousandths(name: str) -> Callable[[Any], str]:
    return lambda part: f"{getattr(part, name) / 1000:g} s"


def _mark_at(name: str) -> Callable[[TankBlock], str]:
    return lambda tank: (
        tank.marks[getattr(tank, name)].name if getattr(tank, name) < len(tank.marks) else "none"
    )


_OF_NODE: Final[Mapping[tuple[str, str], Callable[[NodeBlock], str]]] = {
    ("the node", "name"): lambda block: block.node,
    ("the site", ""): lambda block: block.site,
    ("the board", ""): lambda block: block.board,
    ("the release", ""): lambda block: block.release,
    ("the vendor id, from the fleet's domain", ""): lambda block: block.vendor_id.hex(),
    ("the class id", ""): lambda block: block.class_id.hex(),
    ("the signing key", ""): lambda block: block.key_id.hex(),
    ("the layout", ""): lambda block: _word(LAYOUTS, block.layout),
    ("the image's form", ""): lambda block: _word(PAYLOADS, block.payload_format),
    ("the debounce", ""): _thousandths("debounce_ms"),
    ("the sample period", ""): _thousandths("sample_period_ms"),
    ("the trial", ""): _seconds("trial_s"),
    ("the wait of the pumps after a start", ""): _seconds("power_up_hold_s"),
    ("the site's time until its network counts as lost", ""): _seconds("network_lost_s"),
    ("the site's network traits", ""): _traits,
    ("the clear button", "pin"): lambda block: _pin(block.clear_pin),
}
_OF_MARK: Final[Mapping[tuple[str, str], Callable[[Any], str]]] = {
    ("the probe {}", "pin"): lambda mark: _pin(mark.pin),
    ("the probe {}", "pull-up"): lambda mark: _word(PULLS, mark.pull),
    ("the mark {}", "height"): lambda mark: f"{mark.height_mm} mm",
}
_OF_PUMP: Final[Mapping[tuple[str, str], Callable[[TankBlock], str]]] = {
    ("the relay of {}", "pin"): lambda tank: _pin(tank.pump_pin),
    ("the relay of {}", "active"): lambda tank: "high" if tank.pump_active_high else "low",
    ("the pump of {}", "on at"): _mark_at("pump_on_mark"),
    ("the pump of {}", "off at"): _mark_at("pump_off_mark"),
    ("the pump of {}", "longest run"): _seconds("longest_run_s"),
    ("the pump of {}", "watch for a rise"): _seconds("no_rise_s"),
    ("the pump of {}", "watch for the first rise"): _seconds("first_rise_s"),
    ("the pump of {}", "shortest off time"): _seconds("shortest_off_s"),
}
