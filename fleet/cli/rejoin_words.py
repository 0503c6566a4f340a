"""What `rejoin` says: a line when a node stands otherwise, what is awaited, the table, the JSON."""

from __future__ import annotations

from collections import Counter
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from fleet.water.quantities import counted

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from fleet.cli.output import Output
    from fleet.find.match import Match
    from fleet.model.inventory import Inventory
    from fleet.rejoin.rejoin import NodeRejoin
    from fleet.rejoin.rejoining import RejoinOptions

_COLUMNS = ("node", "site", "network", "outcome", "gives it up at", "why")
_NAMES_SHOWN = 3


class Told:
    """What is said while it runs: a line when a node stands otherwise, and what is awaited."""

    def __init__(self, output: Output) -> None:
        self._output = output

    def stands(self, standing: NodeRejoin) -> None:
        """A node stands otherwise than before."""
        from fleet.rejoin.rejoin import RejoinStatus

        if standing.stands is not RejoinStatus.ASKED:
            self._output.note(f"{standing.node}: {_words(standing)}{_why(standing)}")

    def change_now(self, nodes: Sequence[str], without: Sequence[str]) -> None:
        """The access point may be changed."""
        if without:
            names = ", ".join(without)
            self._output.warn(f"these do not have the new one, and would be left without a network: {names}")
        holding = f"{counted(len(nodes), 'node')} {'holds' if len(nodes) == 1 else 'hold'} both networks"
        self._output.note(f"{holding} now: change the access point; each node changes over on its own.")

    def waiting(self, standings: Sequence[NodeRejoin]) -> None:
        """What is awaited."""
        if standings:
            names = ", ".join(one.node for one in standings[:_NAMES_SHOWN])
            more = " ..." if len(standings) > _NAMES_SHOWN else ""
            ends = [one.back_at_s for one in standings if one.back_at_s is not None]
            until = f", until {clock_text(max(ends))} at the latest" if ends else ""
            self._output.progress(f"waiting for {counted(len(standings), 'node')} ({names}{more}){until}")


def _words(standing: NodeRejoin) -> str:
    """How it stands, for a person."""
    from fleet.rejoin.rejoin import RejoinStatus

    return {
        RejoinStatus.NOT_BEGUN: "not started, nothing was sent",
        RejoinStatus.ASKED: "asked for its state",
        RejoinStatus.GIVEN: "holds the new network on trial, beside the old one",
        RejoinStatus.KEPT: "on the new network, and keeps it",
        RejoinStatus.ALREADY: "was already on the new network, and keeps it",
        RejoinStatus.OLD: "still on the old network",
        RejoinStatus.WENT_BACK: "back on the old network",
        RejoinStatus.REFUSED: "still on the old network, refused",
        RejoinStatus.NOT_SEEN: "not seen",
        RejoinStatus.NOT_FOUND: "not found, nothing was sent",
    }[standing.stands]


def _why(standing: NodeRejoin) -> str:
    why = f": {standing.reason}" if standing.reason else ""
    return (
        f"{why}; it gives the new one up on its own at {clock_text(standing.back_at_s)}"
        if standing.back_at_s
        else why
    )


def clock_text(epoch_s: float) -> str:
    """`14:05`, by this machine's clock."""
    return datetime.fromtimestamp(epoch_s).astimezone().strftime("%H:%M")


def show(output: Output, inventory: Inventory, standings: Sequence[NodeRejoin]) -> None:
    rows = [
        (
            one.node,
            *where(inventory, one.node),
            _words(one),
            clock_text(one.back_at_s) if one.back_at_s else "-",
            one.reason or "-",
        )
        for one in standings
    ]
    output.table(_COLUMNS, rows)


def where(inventory: Inventory, node: str) -> tuple[str, str]:
    site = inventory.site_of(inventory.node(node))
    return site.name, site.network


def stands_now(match: Match) -> str:
    if match.state is None:
        return str(match.status)
    network = match.state.network
    if network is None:
        return f"release {match.state.release} does not tell"
    on = {"kept": "on the old one", "new": "on the new one"}.get(network.on or "", "on none")
    trial = f", a trial is under way, {on}" if network.phase == "on-trial" else ""
    return f"{str(network.phase).replace('-', ' ')}{trial}"


def facts(
    inventory: Inventory,
    standings: Sequence[NodeRejoin],
    wishes: RejoinOptions,
    would: Mapping[str, str],
    older: Mapping[str, bool],
) -> dict[str, Any]:
    """All for JSON. `would`: of a dry run; `older`: by node, whether its image is from an older inventory."""
    nodes = []
    for one in standings:
        site, network = where(inventory, one.node)
        back = (
            datetime.fromtimestamp(one.back_at_s, UTC).isoformat(timespec="seconds")
            if one.back_at_s
            else None
        )
        nodes.append(
            {
                "node": one.node,
                "site": site,
                "network": network,
                "network_traits": list(inventory.site(site).network_traits),
                "older_inventory": older.get(one.node),
                "stands": str(one.stands),
                "reason": one.reason,
                "code": one.code.code if one.code else None,
                "back_at": back,
                "would": would.get(one.node),
            }
        )
    return {
        "dry_run": bool(would),
        "trial_s": wishes.trial_s,
        "change_after": wishes.change_after,
        "nodes": nodes,
        "counts": dict(Counter(str(one.stands) for one in standings)),
    }
