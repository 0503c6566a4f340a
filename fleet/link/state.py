"""What a node says of itself (docs/node-interface.md 4), read strictly and with bounds.

Unknown keys are tolerated, for a newer node may say more; a wrong type, a missing key or a value out of
bounds is not.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from fleet.errors import LinkError
from fleet.json_values import Channel, Crc, Digest, Mac
from fleet.limits import (
    BOARD_ID_CHARS,
    LABEL_CHARS,
    MARK_NAME_CHARS,
    MARKS_PER_TANK,
    NONCE_CHARS_MAX,
    NONCE_CHARS_MIN,
    RELEASE_CHARS,
    STATE_DOCUMENT_BYTES,
    STATE_FAULTS,
    STATE_TEXT_CHARS,
    TANKS_PER_NODE,
)
from fleet.link.codes import NOT_A_STATE

Label = Annotated[str, Field(max_length=LABEL_CHARS, pattern=r"^[a-z0-9]([a-z0-9-]*[a-z0-9])?$")]
Word = Annotated[str, Field(min_length=1, max_length=STATE_TEXT_CHARS, pattern=r"^[a-z0-9-]+$")]
Count = Annotated[int, Field(ge=0, lt=2**63)]


class Phase(StrEnum):
    """How the running image stands, or the network credentials."""

    KEPT = "kept"
    ON_TRIAL = "on-trial"
    PUT_BACK = "put-back"


class _Part(BaseModel):
    """Strict types, unknown keys tolerated, immutable."""

    model_config = ConfigDict(extra="ignore", frozen=True, strict=True, populate_by_name=True)


class MarkState(_Part):
    """One probe: `state` is `settling` until it was stable for the debounce time since start."""

    name: Annotated[str, Field(min_length=1, max_length=MARK_NAME_CHARS, pattern=r"^[a-z0-9-]+$")]
    height_mm: Annotated[int, Field(ge=0, le=65_535)]
    state: Literal["wet", "dry", "settling", "flapping"]


class PumpState(_Part):
    """The pump relay, why it is as it is, how long the present run lasts, and the starts since boot."""

    does: Literal["fill", "drain"]
    relay: Literal["on", "off"]
    why: Word
    run_s: Annotated[float, Field(ge=0, lt=2**53)]
    starts: Count


class TankState(_Part):
    """One tank: marks from the lowest up; `level` counts wet marks, null while unknown."""

    name: Label
    marks: Annotated[tuple[MarkState, ...], Field(min_length=1, max_length=MARKS_PER_TANK, strict=False)]
    level: Annotated[int, Field(ge=0, le=MARKS_PER_TANK)] | None = Field(
        description="Number of the highest wet mark, from 1; 0: all dry; null: unknown."
    )
    fault: Word
    pump: PumpState | None


class NetworkState(_Part):
    """The network credentials: how they stand, by which the node is joined (None: by none), what is left of a trial."""

    phase: Annotated[Phase, Field(strict=False)]
    on: Literal["kept", "new"] | None = Field(description="By which it is joined; null: by none.")
    trial_left_s: Annotated[float, Field(ge=0, le=65_535)]
    bssid: Mac | None = Field(
        default=None,
        description="Of the access point that it is joined to; null: none, or firmware that does not say.",
    )
    channel: Channel | None = None


class NodeState(_Part):
    """The whole document. `class_id` is its key `class`; site, board, release are empty on a bad block."""

    v: Annotated[int, Field(ge=1, le=1)]
    node: Label
    site: Label | Literal[""]
    board: Annotated[str, Field(max_length=BOARD_ID_CHARS, pattern=r"^[A-Za-z0-9_-]*$")]
    mac: Mac
    class_id: Annotated[str, Field(alias="class", pattern=r"^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$")]
    release: Annotated[str, Field(max_length=RELEASE_CHARS, pattern=r"^[0-9A-Za-z.+_-]*$")]
    image: Digest
    sequence: Count
    floor: Count
    phase: Annotated[Phase, Field(strict=False)]
    trial_left_s: Annotated[float, Field(ge=0, le=65_535)]
    older_image: Digest | None
    last_image: Digest | None
    last_reason: Word | None
    boots: Count
    reset: Word
    brown_outs: Count | None = Field(
        default=None,
        description="Starts after a brown-out since the first flash, or since they were cleared; null: firmware that "
        "does not count them.",
    )
    uptime_s: Annotated[float, Field(ge=0, lt=2**53)]
    free_bytes: Count
    largest_block: Count | None = Field(
        default=None, description="Bytes that could be had at once; null: the board cannot say."
    )
    rssi_dbm: Annotated[int, Field(ge=-128, le=127)] | None
    nonce: Annotated[str, Field(pattern=rf"^[A-Za-z0-9_-]{{{NONCE_CHARS_MIN},{NONCE_CHARS_MAX}}}$")]
    block_crc: Crc
    faults: Annotated[tuple[Word, ...], Field(max_length=STATE_FAULTS, strict=False)]
    tanks: Annotated[tuple[TankState, ...], Field(max_length=TANKS_PER_NODE, strict=False)]
    network: NetworkState | None = Field(
        default=None,
        description="Its network credentials; null: firmware that does not know of a trial of them.",
    )


def parse_state(document: bytes, *, node: str) -> NodeState:
    """The state in a document of at most STATE_DOCUMENT_BYTES; LinkError (naming `node`) if it is none."""
    if len(document) > STATE_DOCUMENT_BYTES:
        said = f"a state document of over {STATE_DOCUMENT_BYTES} bytes"
        raise LinkError(NOT_A_STATE, said, node=node, where=node)
    try:
        return NodeState.model_validate_json(document)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        spot = ".".join(str(step) for step in first["loc"]) or "the document"
        said = f"in its state, {spot}: {first['msg']}"
        raise LinkError(NOT_A_STATE, said, node=node, where=node) from error
