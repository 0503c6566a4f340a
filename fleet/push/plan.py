"""A plan: the document that says which node gets which image in which wave, and why; its id, its reading,
its staleness.

The file is JSON, schema `tankfleet/plan/1` (fleet/schemas/plan.json). Its id is the first 12 hex digits of
the SHA-256 of its canonical content: JSON with sorted keys and no spaces, without the id.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from fleet.errors import PlanError
from fleet.find.access_points import Origin
from fleet.json_values import Digest
from fleet.limits import PLAN_FILE_BYTES
from fleet.push.basis import Change, PartBasis
from fleet.push.codes import DAMAGED_PLAN, STALE_PLAN

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

ID_CHARS = 12
BUILD_AGAIN = "Run `tankfleet build`, then `tankfleet plan` again; --as-built plans the images as they are."

Seconds = Annotated[float, Field(ge=0, allow_inf_nan=False)]


class _Part(BaseModel):
    """Unknown keys are errors, nothing changes."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class TankBounds(_Part):
    """What the water of a tank can do, for the gate. Marks and their volumes from the lowest up; marks by
    index from 0."""

    tank: str
    volumes_l: Annotated[tuple[float, ...], Field(min_length=1)]
    inflow_l_per_min: Annotated[float, Field(ge=0)]
    draw_l_per_min: Annotated[float, Field(ge=0)]
    pump_does: Literal["fill", "drain"] | None = None
    pump_l_per_min: Annotated[float, Field(ge=0)] = 0.0
    pump_on_mark: int | None = None
    pump_off_mark: int | None = None


class PlannedNode(_Part):
    """One node of a wave. `spare_s` is null where the tank can be left for ever (no draw, no inflow).

    `access_point` is the name or the BSSID of the one that it uses, `access_point_from` who says so.
    """

    node: str
    site: str
    board: str
    access_point: str | None = None
    access_point_from: Origin | None = None
    class_id: str
    supply_groups: tuple[str, ...] = ()
    from_image: Digest
    from_release: str
    to_image: Digest
    to_release: str
    sequence: Annotated[int, Field(ge=0)]
    ticket_sha256: Digest
    size_bytes: Annotated[int, Field(gt=0)]
    why: str
    spare_s: Seconds | None
    spare_needed_s: Seconds
    spare_needed_weak_s: Seconds | None = None
    """The same for a supply that has given way, in whose trial each brown-out gives the image another whole trial."""
    send_s: Seconds
    return_within_s: Seconds
    fall_back_within_s: Seconds
    expected_s: Seconds
    in_place: bool = False
    """Its boot loader copies a new image over the old one; such boards have little memory."""
    despite_fault: bool = False
    """A person wants it updated though it has a fault that only a person clears."""
    as_built: bool = False
    """A person wants this image though it was built from an older inventory."""
    tanks: tuple[TankBounds, ...]


class Wave(_Part):
    """The nodes that are updated together. `chance_found`: that a fault of the policy's share shows up to
    here."""

    number: Annotated[int, Field(ge=1)]
    pilot: bool
    why: str
    expected_s: Seconds
    chance_found: Annotated[float, Field(ge=0, le=1)]
    nodes: Annotated[tuple[PlannedNode, ...], Field(min_length=1)]


class LeftOut(_Part):
    """A node that the plan does not touch: `reason` is one of a few words, `detail` says it for this node."""

    node: str
    reason: Literal[
        "already-runs-it",
        "missing",
        "unreachable",
        "crowded",
        "no-image",
        "outside-window",
        "spare-time-too-short",
        "on-trial",
        "was-put-back",
        "given-up",
        "other-class",
        "ticket-too-old",
        "damaged-image",
        "stand-in-down",
        "latched-fault",
        "node-fault",
        "weak-supply",
        "no-memory",
        "older-inventory",
    ]
    detail: str


class Notice(_Part):
    """Something to know of a node before it is updated, which does not keep it out; `count` of what `about` names."""

    node: str
    about: Literal["brown-outs", "taken-along", "passing-fault", "no-run-record", "as-built"]
    count: Annotated[int, Field(ge=1)] = 1
    text: str


class Pilot(_Part):
    """What the pilot waves can detect: a fault that hits `share` of the planned nodes."""

    nodes: int
    of: int
    share: float
    bad: int
    chance_found: float
    nodes_needed: int
    text: str


class CopyRisk(_Part):
    """A kind of board that copies a new image in place: a power cut during the copy, up to `copy_s` of each update and
    of each way back, leaves a node that needs a USB cable."""

    board: str
    nodes: Annotated[tuple[str, ...], Field(min_length=1)]
    copy_s: Seconds
    text: str


class PushPolicy(_Part):
    """The policy that this plan was made under."""

    first_wave: int
    growth: float
    largest_wave: int
    at_once: Annotated[int, Field(ge=1)]
    at_once_per_site: Annotated[int, Field(ge=1)]
    failures_allowed: Annotated[float, Field(ge=0, le=1)]
    soak_s: Seconds
    trial_s: Seconds
    spare_time_margin: float
    pilot_share_found: float


class Plan(_Part):
    """The whole plan. `process_speed` is 1 but on the bench, where simulated water runs faster than the
    clock. `access_points` has the names of those at its sites, by BSSID."""

    schema_: Literal["tankfleet/plan/1"] = Field(default="tankfleet/plan/1", alias="schema")
    id: Annotated[str, Field(pattern=r"^[0-9a-f]{12}$")]
    created_at: str
    fleet: str
    inventory_sha256: Digest
    rests_on: tuple[PartBasis, ...] = ()
    """What it was computed from (basis.py); plans of before have nothing here, and are stale after any change of the
    inventory."""
    target: Literal["board", "host"]
    any_hour: bool
    process_speed: Annotated[float, Field(gt=0)] = 1.0
    policy: PushPolicy
    access_points: dict[str, str] = Field(default_factory=dict)
    waves: tuple[Wave, ...]
    left_out: tuple[LeftOut, ...]
    notices: tuple[Notice, ...] = ()
    pilot: Pilot | None
    copy_risks: tuple[CopyRisk, ...] = ()
    expected_s: Seconds

    def nodes(self) -> Iterator[tuple[Wave, PlannedNode]]:
        """Every planned node with its wave, in order."""
        for wave in self.waves:
            for node in wave.nodes:
                yield wave, node

    def planned(self, node: str) -> PlannedNode:
        """What is planned for the node of that name; KeyError if nothing is."""
        for _, planned in self.nodes():
            if planned.node == node:
                return planned
        raise KeyError(node)


def sealed(content: Mapping[str, Any]) -> Plan:
    """The plan with that content (keys of `Plan`, without the id), under the id that its content gives it."""
    unsealed = Plan.model_validate({"id": "0" * ID_CHARS, **content})
    return unsealed.model_copy(update={"id": plan_id(unsealed)})


def plan_id(plan: Plan) -> str:
    """The id that the plan's content gives it: 12 hex digits.

    What plans of before did not hold is left out while it says nothing: a journal's plans keep their ids.
    """
    content = plan.model_dump(mode="json", by_alias=True, exclude={"id"})
    if not plan.access_points:
        del content["access_points"]
    if not plan.rests_on:
        del content["rests_on"]
    for node in (node for wave in content["waves"] for node in wave["nodes"]):
        if node["access_point_from"] is None:
            del node["access_point_from"]
        if node["spare_needed_weak_s"] is None:
            del node["spare_needed_weak_s"]
        if not node["as_built"]:
            del node["as_built"]
    canonical = json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=True)
    return hashlib.sha256(canonical.encode("ascii")).hexdigest()[:ID_CHARS]


def write_plan(plan: Plan) -> str:
    """The plan file's text: one record per line is not asked of it; it is indented for people."""
    return json.dumps(plan.model_dump(mode="json", by_alias=True), indent=1, ensure_ascii=False) + "\n"


def read_plan(text: str) -> Plan:
    """The plan in that text; PlanError if it is none, or was changed after it was written."""
    if len(text) > PLAN_FILE_BYTES:
        raise PlanError(DAMAGED_PLAN, f"longer than {PLAN_FILE_BYTES} characters")
    try:
        plan = Plan.model_validate_json(text)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        where = ".".join(str(step) for step in first["loc"]) or "the file"
        raise PlanError(DAMAGED_PLAN, f"{where}: {first['msg']}") from error
    if plan_id(plan) != plan.id:
        raise PlanError(DAMAGED_PLAN, f"its id is {plan.id}, but its content gives {plan_id(plan)}")
    return plan


@dataclass(frozen=True, slots=True)
class PresentState:
    """What the plan rests on, as it stands now: the shelf's (image, ticket's SHA-256) per node, the
    running image per node, by node what the inventory says otherwise than its image on the shelf, and what it says
    otherwise than the plan was computed from.

    A node that is not in `running` could not be asked, which a push finds out by itself.
    """

    inventory_sha256: str
    shelf: Mapping[str, tuple[str, str]]
    running: Mapping[str, str]
    process_speed: float = 1.0
    changed: tuple[Change, ...] = ()
    older: Mapping[str, str] = field(default_factory=dict)


def check_fresh(plan: Plan, now: PresentState) -> list[str]:
    """What changed since the plan was made, one line each; empty when it still stands."""
    changed = [str(change) for change in now.changed]
    if not plan.rests_on and now.inventory_sha256 != plan.inventory_sha256:
        changed.append("the inventory")
    if now.process_speed != plan.process_speed:
        changed.append(
            f"the bench runs {now.process_speed:g} times as fast, not {plan.process_speed:g} times"
        )
    for _, planned in plan.nodes():
        changed += _changed(planned, now)
    return changed


def _changed(planned: PlannedNode, now: PresentState) -> Iterator[str]:
    node, shelf = planned.node, now.shelf.get(planned.node)
    if shelf is None:
        yield f"{node}: its image is no longer on the shelf"
    elif shelf[0] != planned.to_image:
        yield f"{node}: the shelf has a newer image, {shelf[0][:12]}, planned is {planned.to_image[:12]}"
    elif shelf[1] != planned.ticket_sha256:
        yield f"{node}: its image has another ticket now"
    elif is_older(planned, now):
        yield f"{node}: {now.older[node]}"
    running = now.running.get(node)
    if running is not None and running != planned.from_image:
        yield f"{node}: it runs {running[:12]} now, and ran {planned.from_image[:12]} when the plan was made"


def is_older(planned: PlannedNode, now: PresentState) -> bool:
    """Whether its image is not what the inventory gives now, and nobody wants it all the same."""
    return planned.node in now.older and not planned.as_built


def refuse_stale(plan: Plan, now: PresentState) -> None:
    """PlanError naming what changed, unless the plan still stands."""
    changed = check_fresh(plan, now)
    if changed:
        more = f" and {len(changed) - 1} more" if len(changed) > 1 else ""
        fix = BUILD_AGAIN if any(is_older(planned, now) for _, planned in plan.nodes()) else ""
        raise PlanError(STALE_PLAN, f"plan {plan.id} is stale: {changed[0]}{more}", fix=fix, changed=changed)
