"""From cached DNS records to sightings (RFC 6762, RFC 6763). Two boards of one name give two sightings."""

from __future__ import annotations

import re
import socket
from collections.abc import Iterable
from typing import Any

from zeroconf import Zeroconf, current_time_millis

from fleet.find.sighting import Sighting
from fleet.printable import printable

SERVICE = "_tanknode._tcp.local."
_ON_BENCH = re.compile(r"-bench-([0-9a-f]{8})$")
"""The end of a virtual node's instance label (docs/node-interface.md 1)."""
_A, _TXT, _SRV, _IN = 1, 16, 33, 1
_LOOPBACK_NET = 127


def read_instance(zeroconf: Zeroconf, name: str) -> tuple[Sighting, ...]:
    """Every place that the records of a service instance give; empty while SRV or A are lacking.

    Only a loopback address makes a node virtual: nothing on a network may hide behind the word.
    """
    label = name.removesuffix(f".{SERVICE}")
    txt = read_txt(record.text for record in sorted(_records(zeroconf, name, _TXT), key=lambda r: -r.created))
    node = txt.get("id") or printable(label)
    bench = txt.get("bench") if txt else _bench_in(label)
    found = {
        Sighting(
            node,
            socket.inet_ntoa(host.address),
            service.port,
            txt,
            bench=bench if host.address[0] == _LOOPBACK_NET else None,
        ): None
        for service in _records(zeroconf, name, _SRV)
        for host in _records(zeroconf, service.server, _A)
    }
    return tuple(found)


def instance_name(node: str, bench: str | None) -> str:
    """What the service instance of a node is called (docs/node-interface.md 1)."""
    return f"{node}{f'-bench-{bench}' if bench else ''}.{SERVICE}"


def _bench_in(label: str) -> str | None:
    """The bench that an instance label names, for as long as its TXT is still to come."""
    named = _ON_BENCH.search(label)
    return named and named[1]


def read_txt(texts: Iterable[bytes]) -> dict[str, str]:
    """Keys and values of the first text (RFC 6763 6.4: the first of each key counts, and keys are printable).

    What cannot be printed stands in a value as an escape, so that such an `id` is no node's, and not as good as none.
    """
    data = next(iter(texts), b"")
    found: dict[str, str] = {}
    while data:
        entry, data = data[1 : 1 + data[0]], data[1 + data[0] :]
        key, _, value = entry.decode("utf-8", "replace").partition("=")
        if key and key.isprintable():
            found.setdefault(printable(key.lower()), printable(value))
    return found


def _records(zeroconf: Zeroconf, name: str, kind: int) -> list[Any]:
    now_ms = current_time_millis()
    return [r for r in zeroconf.cache.get_all_by_details(name, kind, _IN) if not r.is_expired(now_ms)]
