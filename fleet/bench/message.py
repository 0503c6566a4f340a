"""What goes over the bench's control socket: one JSON document a line, a request and its answer."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter

from fleet.bench.how import How
from fleet.bench.spec import NodeSpec
from fleet.json_values import Count, Digest, NotNegative, Port


class Message(BaseModel):
    """Base of all messages."""

    model_config = ConfigDict(extra="forbid", frozen=True)


# ------------------------------------------------------------------ requests
class Hello(Message):
    """Ask for the bench as a whole."""

    op: Literal["hello"] = "hello"


class Add(Message):
    """Put nodes on the bench and give them power."""

    op: Literal["add"] = "add"
    nodes: tuple[NodeSpec, ...]


class Remove(Message):
    """Take nodes off the bench."""

    op: Literal["remove"] = "remove"
    nodes: tuple[str, ...]


class ListNodes(Message):
    """Ask for all nodes, or those named."""

    op: Literal["list"] = "list"


class HurtNode(Message):
    """Hurt a node; `for_s` None: until healed. Tank and mark only for probes, rate only for a slow link."""

    op: Literal["hurt"] = "hurt"
    node: str
    how: How
    for_s: Annotated[float, Field(gt=0)] | None = None
    tank: str | None = None
    mark: str | None = None
    rate_bytes_per_s: Annotated[int, Field(ge=1, lt=2**32)] | None = None


class HealNode(Message):
    """End all that hurts a node, and give it power."""

    op: Literal["heal"] = "heal"
    node: str


class SetDraw(Message):
    """Draw this much from a tank from now on; None: as the day goes."""

    op: Literal["draw"] = "draw"
    tank: str
    flow_l_per_min: Annotated[float, Field(ge=0)] | None


class SetLevel(Message):
    """Put a tank's water at a share of its capacity."""

    op: Literal["level"] = "level"
    tank: str
    share: Annotated[float, Field(ge=0, le=1)]


class TakeSubnet(Message):
    """Have 127.N.x.y for this bench alone; `wanted` None: the one that it has, else any."""

    op: Literal["subnet"] = "subnet"
    wanted: Annotated[int, Field(ge=1, le=254)] | None = None


class ListEvents(Message):
    """Ask for what happened after event number `after`."""

    op: Literal["events"] = "events"
    after: int = 0


class Down(Message):
    """End the bench with all its nodes."""

    op: Literal["down"] = "down"


Request = Annotated[
    Hello
    | TakeSubnet
    | Add
    | Remove
    | ListNodes
    | HurtNode
    | HealNode
    | SetDraw
    | SetLevel
    | ListEvents
    | Down,
    Field(discriminator="op"),
]
REQUEST: TypeAdapter[Request] = TypeAdapter(Request)


# ------------------------------------------------------------------ answers
class TankView(Message):
    """The water of a tank as it truly is, and what the node makes of its pump."""

    name: str
    level_m: NotNegative = Field(description="Above the lowest inside point.")
    volume_l: NotNegative
    share: float = Field(ge=0, le=1, description="Of the volume up to the overflow.")
    wet: tuple[str, ...] = Field(description="Marks that the water reaches, from the lowest up.")
    draw_l_per_min: NotNegative
    inflow_l_per_min: NotNegative
    pump: Literal["on", "off"] | None = Field(description="Whether its relay is picked up; null: no pump.")
    pump_run_s: NotNegative = Field(description="Simulated seconds since the start.")
    spilled_l: NotNegative = Field(description="Over the overflow since the start.")
    lacked_l: NotNegative = Field(description="Wanted and not there since the start.")
    below_reserve_s: NotNegative = Field(description="Simulated seconds below the reserve.")


class NodeView(Message):
    """A virtual node from outside: its process and what hurts it."""

    name: str
    board: str
    address: str
    port: Port
    mac: str
    power: Literal["off", "starting", "running", "brick"]
    pid: int | None
    starts: Count
    reset: Literal["power-on", "restart", "watchdog", "crash", "brown-out"] = Field(
        description="Why it last started."
    )
    uptime_s: float | None
    network: Literal["up", "down", "slow"]
    hurts: tuple[str, ...]
    tanks: tuple[TankView, ...]


class Said(Message):
    """What a node says of itself over HTTP, unsigned."""

    release: str
    image: Digest
    phase: Literal["kept", "on-trial", "put-back"]


class ListedNode(NodeView):
    """A virtual node with what it says of itself."""

    says: Said | None = Field(description="Null: it does not answer.")


class EventView(Message):
    """Something that happened: to a node (started, ended, watchdog ...) or to a tank (overflowed ...)."""

    number: int
    at_s: float
    """Real seconds since the bench was started."""
    subject: str
    what: str
    detail: str


class Answer(Message):
    """The answer to every request; `code` and `what` when it was refused."""

    ok: bool
    code: str = ""
    what: str = ""
    pid: int = 0
    speed: float = 0.0
    subnet: int = 0
    nodes: tuple[NodeView, ...] = ()
    events: tuple[EventView, ...] = ()
