"""The plan file: its id, its reading, its schema, and what makes it stale."""

from __future__ import annotations

import hashlib
import json
import re
from pathlib import Path

import jsonschema
import pytest

import fleet
from fleet.errors import PlanError
from fleet.push.plan import PresentState, check_fresh, plan_id, read_plan, refuse_stale, write_plan
from tests.push.plans import NEW, OLD, image_of, plan_of, planned

PLAN = plan_of([planned("a")], [planned("b"), planned("c")])
SCHEMA = Path(fleet.__file__).parent / "schemas" / "plan.json"


def now(**changes: object) -> PresentState:
    facts = {
        "inventory_sha256": "1" * 64,
        "shelf": dict.fromkeys("abc", (NEW, "0" * 64)),
        "running": dict.fromkeys("abc", OLD),
        **changes,
    }
    return PresentState(**facts)  # type: ignore[arg-type]


def test_written_and_read_it_is_the_same() -> None:
    assert read_plan(write_plan(PLAN)) == PLAN
    assert re.fullmatch(r"[0-9a-f]{12}", PLAN.id)


def test_the_id_is_that_of_the_content_whatever_its_layout() -> None:
    document = json.loads(write_plan(PLAN))
    shuffled = json.dumps(dict(reversed(document.items())))
    assert read_plan(shuffled) == PLAN
    assert plan_id(PLAN) == PLAN.id
    assert plan_of([planned("a")], [planned("b")]).id != PLAN.id


def test_a_plan_of_before_keeps_its_id() -> None:
    """A journal's plans were written without what was added since: SHA-256 of what they hold, as then."""
    document = json.loads(write_plan(plan_of([planned("a", access_point="barn")])))
    del document["access_points"], document["rests_on"]
    for one in (node for wave in document["waves"] for node in wave["nodes"]):
        del one["access_point_from"], one["spare_needed_weak_s"], one["as_built"]
    content = {key: value for key, value in document.items() if key != "id"}
    canonical = json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=True)
    document["id"] = hashlib.sha256(canonical.encode()).hexdigest()[:12]
    assert read_plan(json.dumps(document)).planned("a").access_point == "barn"


def test_who_says_which_access_point_is_part_of_the_id() -> None:
    said = [plan_of([planned("a", access_point_from=who)]).id for who in (None, "state", "inventory")]
    assert len({*said, plan_of([planned("a")], access_points={"02:00:00:00:00:a1": "barn"}).id}) == 4


@pytest.mark.parametrize(
    "edit",
    [
        lambda d: d["waves"][0]["nodes"][0].update(to_image="f" * 64),
        lambda d: d["policy"].update(soak_s=0.0),
        lambda d: d["waves"].pop(),
        lambda d: d.update(any_hour=not d["any_hour"]),
        lambda d: d.update(id="0" * 12),
    ],
)
def test_a_changed_plan_is_refused(edit: object) -> None:
    document = json.loads(write_plan(PLAN))
    edit(document)  # type: ignore[operator]
    with pytest.raises(PlanError, match=r"PLN101.*id"):
        read_plan(json.dumps(document))


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "JSON"),
        ("{}", "id"),
        ("[]", "object"),
        ('{"schema": "tankfleet/plan/9"}', "schema"),
        (write_plan(PLAN).replace('"soak_s"', '"soak"'), "soak"),
        (write_plan(PLAN).replace(OLD, "xyz"), "from_image"),
    ],
)
def test_what_is_no_plan_is_refused_with_the_place(text: str, told: str) -> None:
    with pytest.raises(PlanError, match=rf"PLN101.*{told}"):
        read_plan(text)


def test_schema_in_the_package_holds() -> None:
    shipped = json.loads(SCHEMA.read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator(shipped).validate(json.loads(write_plan(PLAN)))


def test_fresh() -> None:
    assert check_fresh(PLAN, now()) == []
    assert check_fresh(PLAN, now(running={"a": OLD})) == [], "who cannot be asked is found out by the push"


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"inventory_sha256": "2" * 64}, "the inventory"),
        ({"process_speed": 20.0}, "the bench runs 20 times as fast, not 1 times"),
        ({"shelf": {"b": (NEW, "0" * 64), "c": (NEW, "0" * 64)}}, "a: its image is no longer on the shelf"),
        (
            {"shelf": {n: (image_of("newer") if n == "b" else NEW, "0" * 64) for n in "abc"}},
            f"b: the shelf has a newer image, {image_of('newer')[:12]}, planned is {NEW[:12]}",
        ),
        (
            {"shelf": {n: (NEW, ("7" if n == "c" else "0") * 64) for n in "abc"}},
            "c: its image has another ticket now",
        ),
        (
            {"running": {"a": OLD, "b": NEW, "c": OLD}},
            f"b: it runs {NEW[:12]} now, and ran {OLD[:12]} when the plan was made",
        ),
    ],
)
def test_stale(changes: dict[str, object], told: str) -> None:
    assert check_fresh(PLAN, now(**changes)) == [told]
    with pytest.raises(PlanError, match="PLN102") as caught:
        refuse_stale(PLAN, now(**changes))
    assert caught.value.changed == (told,)


def test_an_image_of_an_older_inventory_is_refused_but_as_built() -> None:
    older = {
        "b": "the image was built from an older inventory: the trial: 300 s, now 60 s",
        "z": "not planned",
    }
    assert check_fresh(PLAN, now(older=older)) == [f"b: {older['b']}"]
    with pytest.raises(PlanError, match="PLN102") as caught:
        refuse_stale(PLAN, now(older=older))
    assert "tankfleet build" in caught.value.fix
    wanted = plan_of([planned("a")], [planned("b", as_built=True), planned("c")])
    assert check_fresh(wanted, now(older=older)) == []
    assert check_fresh(wanted, now(older={"a": "older"})) == ["a: older"], "each node for itself"
    gone = now(older=older, shelf=dict.fromkeys("ac", (NEW, "0" * 64)))
    assert check_fresh(PLAN, gone) == ["b: its image is no longer on the shelf"], "one line for one image"


def test_as_built_is_part_of_the_id() -> None:
    assert plan_of([planned("a", as_built=True)]).id != plan_of([planned("a")]).id
