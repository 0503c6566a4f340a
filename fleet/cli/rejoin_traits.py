"""What `rejoin` says of a network that is out of the ordinary: what it means for the nodes, and which never get in."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.errors import KeyFolderError
from fleet.limits import NETWORK_TURN_S, REJOIN_LEAVES_S
from fleet.model.site import NetworkTrait
from fleet.rejoin.rejoin import barred

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from fleet.cli.output import Output
    from fleet.find.match import Match
    from fleet.model.inventory import Inventory
    from fleet.model.site import Site
    from fleet.push.context import PushContext
    from fleet.render.firmware_class import Target

_HIDDEN, _HIGH = NetworkTrait.HIDDEN, NetworkTrait.HIGH_CHANNELS
_SLOW_TO_FIND = frozenset({_HIDDEN, _HIGH})
_SAYS = {
    _HIDDEN: (
        "it is hidden: it answers only devices that ask for its name, as each node does on one channel after "
        "another"
    ),
    _HIGH: "it may be on channels 12 to 14, where nodes only listen: they find it later, and miss it more often",
    NetworkTrait.WPA3_ONLY: (
        "it takes WPA3 only: a board with an ESP8266 never joins, and an image built for WPA3 joins no WPA2 "
        "network: rejoin first, then build and push"
    ),
    NetworkTrait.NO_80211N: "802.11n does not work with it: a node joins by 802.11b or g",
}
_BOTH = (
    "it is hidden and may be on channels 12 to 14: only a node whose image was built for both finds it on "
    "channels 12 and 13; on 14 none does"
)
_TURNS = (
    f"A node calls for the new network for {NETWORK_TURN_S:.0f} s, then for the old one, and stays with the one that "
    f"it joins: one that missed it is on the old one after {REJOIN_LEAVES_S:.0f} s, and is given it again by the same "
    "command."
)


def warn_before(output: Output, inventory: Inventory, names: Sequence[str]) -> None:
    """What these nodes' networks have that makes joining hard, and by name each board that never gets in."""
    _warn_of_traits(output, inventory, names)
    for node, why in barred(inventory, names).items():
        output.warn(f"{node} can never join, and nothing is sent to it: {why}")


def _warn_of_traits(output: Output, inventory: Inventory, names: Sequence[str]) -> None:
    sites = {site.name: site for site in (inventory.site_of(inventory.node(name)) for name in names)}
    for site in sites.values():
        for words in _of(site):
            output.warn(f"network {site.network} at {site.name}: {words}")
    if any(_SLOW_TO_FIND & set(site.network_traits) for site in sites.values()):
        output.note(_TURNS)


def _of(site: Site) -> Iterator[str]:
    traits = tuple(dict.fromkeys(site.network_traits))
    both = set(traits) >= _SLOW_TO_FIND
    if both:
        yield _BOTH
    for trait in traits:
        if not (both and trait in _SLOW_TO_FIND):
            yield _SAYS[trait]


def _first_in_the_image(site: Site) -> bool:
    """Whether an image that knows of these traits gets in where another may not. Of WPA3 it need not know."""
    return bool(set(site.network_traits) - {NetworkTrait.WPA3_ONLY})


def built_before(field: PushContext, target: Target, matches: Sequence[Match]) -> dict[str, bool]:
    """By node that was found, of a network whose traits its image should know of: whether that was built from an older
    inventory. Empty if there are no keys to tell by."""
    from fleet.render.wanted import wanted_crcs

    inventory = field.inventory
    states = {
        match.node: match.state
        for match in matches
        if match.state is not None and _first_in_the_image(inventory.site_of(inventory.node(match.node)))
    }
    if not states:
        return {}
    try:
        trust = field.keys.trust()
    except KeyFolderError:
        return {}
    wanted = wanted_crcs(inventory, trust, target, [(name, state.release) for name, state in states.items()])
    return {name: wanted[name, state.release] != state.block_crc for name, state in states.items()}


def warn_of_old_images(output: Output, older: Mapping[str, bool]) -> None:
    """That these images may not know what the network is like."""
    names = [name for name, old in older.items() if old]
    if names:
        output.warn(
            f"built from an older inventory, so that they may not know what their network is like: {', '.join(names)}. "
            "Build and push first, while they are on the old one."
        )
