"""A node that answers was loaded with keys: it is found before new ones are made."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from contextlib import AsyncExitStack
from pathlib import Path

import pytest

from fleet.push.other_keys import OtherKeys, Sign, answering, kept_here
from tests.announcer import Announced, Announcer
from tests.push.yard import lay_out, stand_in

NAMES = ["yard-a", "yard-b"]


def _answering(folder: Path, awake: Sequence[str]) -> tuple[str, ...]:
    field = lay_out(folder, NAMES)

    async def look() -> tuple[str, ...]:
        async with AsyncExitStack() as stack:
            announcer = await stack.enter_async_context(Announcer())
            for name in awake:
                node = await stack.enter_async_context(stand_in(field, name))
                announcer.nodes.append(Announced(name, node.address, node.port, node.txt()))
            return await answering(field.inventory, field.workspace, "127.0.0.1", timeout_s=0.8)

    return asyncio.run(look())


@pytest.mark.parametrize("awake", [[], ["yard-b"]], ids=["nobody", "one"])
def test_nodes_that_answer_have_keys(awake, tmp_path) -> None:
    places = _answering(tmp_path, awake)
    assert [place.split()[0] for place in places] == awake
    assert all(" at 127.0.0.1:" in place for place in places)


def test_a_shelf_names_the_key_that_signed_it(tmp_path) -> None:
    field = lay_out(tmp_path, NAMES)
    assert kept_here(field.workspace) == (OtherKeys(Sign.SHELF, (field.keys.key_id().hex(),)),)
