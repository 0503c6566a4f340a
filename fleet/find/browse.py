"""Listening for announcements: DNS-SD over multicast DNS (RFC 6762, RFC 6763), by python-zeroconf.

The first question of a browser asks for unicast answers (QU). Records that are already cached are used before
anything is asked for; what an instance still lacks is then asked for. A browser is made anew for each round,
so that a lost answer is asked for again within seconds (known answers travel with the question).
"""

from __future__ import annotations

import asyncio
import socket
from collections.abc import AsyncIterator, Collection
from contextlib import asynccontextmanager, suppress
from typing import Any

from zeroconf import BadTypeInNameException, InterfaceChoice, IPVersion, ServiceStateChange, Zeroconf
from zeroconf.asyncio import AsyncServiceBrowser, AsyncServiceInfo, AsyncZeroconf

from fleet.errors import UsageError
from fleet.find.codes import NO_INTERFACE
from fleet.find.records import SERVICE, instance_name, read_instance
from fleet.find.sighting import Sighting
from fleet.limits import (
    MDNS_RECEIVE_BUFFER_BYTES,
    RESOLVE_AFTER_S,
    RESOLVE_AT_ONCE,
    RESOLVE_TIMEOUT_S,
    SIGHTINGS,
)


@asynccontextmanager
async def browsing(
    interface: str | None, bench: str | None = None, expected: Collection[str] = ()
) -> AsyncIterator[Browser]:
    """A browser on one interface (its IPv4 address), or on all, for the nodes of the bench with that id, or for real
    ones; those of `expected` are never passed over. UsageError if it cannot listen there."""
    interfaces = InterfaceChoice.All if interface is None else [interface]
    try:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            probe.bind((interface or "", 0))
        zeroconf = AsyncZeroconf(interfaces=interfaces, ip_version=IPVersion.V4Only)
    except OSError as error:
        what = f"cannot listen on {interface or 'any interface'}: {error.strerror or error}"
        raise UsageError(NO_INTERFACE, what) from error
    try:
        await zeroconf.zeroconf.async_wait_for_start()
        _raise_receive_buffers(zeroconf.zeroconf)
        browser = Browser(zeroconf.zeroconf, bench, expected)
        try:
            yield browser
        finally:
            await browser.close()
    finally:
        await zeroconf.async_close()


class Browser:
    """What is announced by the nodes of one bench, or by real ones (None), kept up to date while it lives. Others are
    never told of. An instance that is named as a node of `expected` names its own has room in any flood of others."""

    def __init__(self, zeroconf: Zeroconf, bench: str | None, expected: Collection[str]) -> None:
        self._zeroconf = zeroconf
        self._bench = bench
        self._expected = frozenset(instance_name(node, bench) for node in expected)
        self.passed_over = False
        """Whether there were more than SIGHTINGS announcements."""
        self._browser: AsyncServiceBrowser | None = None
        self._sightings: dict[str, tuple[Sighting, ...]] = {}
        self._changed: set[str] = set()
        self._lacking: dict[str, float] = {}
        self._asking: dict[str, asyncio.Task[None]] = {}
        self._places = asyncio.Semaphore(RESOLVE_AT_ONCE)
        self._first_places = asyncio.Semaphore(RESOLVE_AT_ONCE)
        self._stirred = asyncio.Event()
        self._last_new_s = asyncio.get_running_loop().time()

    async def ask(self) -> None:
        """Ask the network anew who is there, and read all known instances again: records may have expired."""
        await self._end_browser()
        self._changed.update(self._sightings)
        self._browser = AsyncServiceBrowser(self._zeroconf, SERVICE, handlers=[self._on_change])

    async def news(self, at_most_s: float) -> None:
        """Wait until something changed, or until time is over."""
        self._stirred.clear()
        with suppress(TimeoutError):
            async with asyncio.timeout(at_most_s):
                await self._stirred.wait()

    def quiet_s(self) -> float:
        """How long nothing new was announced."""
        return asyncio.get_running_loop().time() - self._last_new_s

    def fresh(self) -> list[Sighting]:
        """What is announced since the last call: cheap, however many there are."""
        now_s = asyncio.get_running_loop().time()
        names, self._changed = self._changed.union(self._lacking), set()
        fresh: list[Sighting] = []
        for name in names:
            before = self._sightings.get(name, ())
            read = read_instance(self._zeroconf, name)
            found = self._sightings[name] = tuple(
                sighting for sighting in read if sighting.bench == self._bench
            )
            fresh += [sighting for sighting in found if sighting not in before]
            if read:
                self._lacking.pop(name, None)
            else:
                self._lack(name, now_s)
        if fresh:
            self._last_new_s = now_s
        return fresh

    def sightings(self) -> list[Sighting]:
        """All that was announced up to the last call of `fresh`, without repeats, by node and place."""
        found = {sighting for group in self._sightings.values() for sighting in group}
        return sorted(found, key=lambda s: (s.node, s.order))

    async def close(self) -> None:
        """End the browser and whatever is still being asked for."""
        asking = list(self._asking.values())
        for task in asking:
            task.cancel()
        await asyncio.gather(*asking, return_exceptions=True)
        await self._end_browser()

    async def _end_browser(self) -> None:
        if self._browser is not None:
            await self._browser.async_cancel()
            self._browser = None

    def _on_change(
        self, zeroconf: Any, service_type: str, name: str, state_change: ServiceStateChange
    ) -> None:
        if state_change is ServiceStateChange.Removed:
            self._sightings.pop(name, None)
            self._lacking.pop(name, None)
            self._changed.discard(name)
        elif name in self._sightings or len(self._sightings) < SIGHTINGS or name in self._expected:
            self._changed.add(name)
        else:
            self.passed_over = True
        self._stirred.set()

    def _lack(self, name: str, now_s: float) -> None:
        since_s = self._lacking.setdefault(name, now_s)
        if now_s - since_s >= RESOLVE_AFTER_S and name not in self._asking:
            self._asking[name] = asyncio.get_running_loop().create_task(self._resolve(name))

    async def _resolve(self, name: str) -> None:
        """Ask for SRV, TXT and A of one instance: first for a unicast answer, then for all to hear."""
        async with self._first_places if name in self._expected else self._places:
            with suppress(
                BadTypeInNameException
            ):  # a name that no honest service has: nobody can be asked about it
                await AsyncServiceInfo(SERVICE, name).async_request(self._zeroconf, RESOLVE_TIMEOUT_S * 1000)
        del self._asking[name]
        self._changed.add(name)
        self._stirred.set()


def _raise_receive_buffers(zeroconf: Zeroconf) -> None:
    """Room for the answers of a whole fleet at once: beyond the system's bound if we may, else up to it."""
    force = getattr(socket, "SO_RCVBUFFORCE", 33)
    for reader in zeroconf.engine.readers:
        sock = reader.transport.get_extra_info("socket")
        try:
            sock.setsockopt(socket.SOL_SOCKET, force, MDNS_RECEIVE_BUFFER_BYTES)
        except OSError:
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, MDNS_RECEIVE_BUFFER_BYTES)
