"""The audit: each code has a case that raises it, and a fleet that is well raises none of them."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from fleet.audit.audit import audit
from fleet.audit.codes import CODES, NODE_FAULT
from fleet.audit.facts import JournalFacts, LastPush, ShelfFacts
from fleet.audit.node_checks import fault_findings
from fleet.audit.report import COLUMNS, csv_text
from fleet.boards.board import load_board
from fleet.check.rulings import IN_FORCE, PAST, UNUSED, AppliedRuling, RulingLine
from fleet.codes import Exit, Severity
from fleet.find.match import Match, Status
from fleet.find.sighting import Sighting
from fleet.finding import Subject, SubjectKind
from fleet.model.inventory import Inventory
from fleet.push.condition import NOTED_FAULTS
from tests.audit.scene import (
    INVENTORY,
    NODES,
    audited,
    crc,
    digest,
    entry,
    facts,
    found,
    joined,
    line,
    shelf,
    state,
    tank,
    with_access_points,
)

N = "kestrel-01"
SUBJECT = f"node {N}"
LOST = LastPush(
    "0123456789ab", "1.1.0", digest(N, "1.1.0"), "lost", "not back in time", "2026-03-02T10:00:00Z"
)


def test_a_fleet_that_is_well() -> None:
    report, findings = audited()
    assert findings == []
    assert report.exit is Exit.OK
    assert [one.node for one in report.lines] == NODES
    assert {one.verdict for one in report.lines} == {"ok"}
    assert line(report, N).image == digest(N, "1.1.0")


TOP, TOP_5, FIELD, STRANGE = (f"02:11:22:33:44:{n}" for n in (51, 52, 61, 99))
LISTED = with_access_points({"kestrel-ap-top": (TOP, TOP_5), "kestrel-ap-field": (FIELD,)}, "kestrel-hill")
STALE = entry(N, "1.1.0", 1, block_crc="0badcafe")
ELSEWHERE = Sighting(N, "10.0.0.2", 80)
MISSING = Match(N, Status.MISSING, evidence=("never found before",))
CASES = {
    "AUD101": (MISSING, {}, "never found before", "not found", Exit.UNREACHABLE),
    "AUD102": (
        Match(N, Status.DOUBLE, "10.0.0.1", 80, {}, state(N), ("boards A and B",), (ELSEWHERE,)), {},
        "boards A and B (also at 10.0.0.2:80)", "two boards", Exit.PROBLEMS,
    ),
    "AUD103": (
        Match(N, Status.IMPOSTOR, "10.0.0.1", 80, evidence=("no key",)), {},
        "no key", "impostor", Exit.PROBLEMS,
    ),
    "AUD105": (
        Match(N, Status.MOVED, "10.0.0.1", 80, {}, state(N), ("was at 10.0.0.9:80",)), {},
        "was at 10.0.0.9:80", "ok", Exit.OK,
    ),
    "AUD106": (
        found(N, network={"phase": "on-trial", "on": "new", "trial_left_s": 90}), {},
        "its trial ends in 1 min 30 s; it is on the new one", "new network on trial", Exit.OK,
    ),
    "AUD107": (
        found(N, network={"phase": "put-back", "on": "kept", "trial_left_s": 0}), {},
        "it gave up the last new network", "back on its old network", Exit.OK,
    ),
    "AUD108": (
        Match(N, Status.FOUND, "10.0.0.1", 80, {}, state(N), ("it answers at 10.0.0.2:80 too",), (ELSEWHERE,)), {},
        "it answers at 10.0.0.2:80 too", "at several places", Exit.OK,
    ),
    "AUD110": (found(N, release="1.0.0"), {}, "1.0.0", "older image", Exit.OK),
    "AUD111": (
        found(N, release="1.0.0"), {"journal": JournalFacts(halted_images={digest(N, "1.1.0"): "feed"})},
        "push feed of 1.1.0 was halted", "ok, newest halted", Exit.OK,
    ),
    "AUD112": (
        found(N, image="ab" * 32), {},
        "image abababababab, which was not built here", "unknown image", Exit.PROBLEMS,
    ),
    "AUD113": (
        found(N), {"shelf": ShelfFacts({n: e for n, e in shelf("1.1.0").entries.items() if n != N})},
        "no image was built", "no image built", Exit.OK,
    ),
    "AUD114": (
        found(N, phase="put-back", last_image=digest(N, "1.0.0"), last_reason="trial-over"), {},
        "from 1.0.0 to 1.1.0 (trial-over)", "went back", Exit.OK,
    ),
    "AUD115": (
        found(N, phase="on-trial", trial_left_s=90), {},
        "1 min 30 s more", "on trial, not watched", Exit.OK,
    ),
    "AUD117": (found(N, block_crc="0badcafe"), {}, "0badcafe", "older inventory", Exit.OK),
    "AUD118": (
        found(N), {"shelf": ShelfFacts(shelf("1.1.0").entries | {N: [STALE]})},
        "built 2026-03-01T10:00:00Z", "ok, shelf is out of date", Exit.OK,
    ),
    "AUD120": (
        found(N, board="nodemcu-v2"), {},
        "the inventory says esp32-devkit", "other board", Exit.PROBLEMS,
    ),
    "AUD121": (
        found(N, mac="02:00:00:00:00:99"), {},
        "its MAC is 02:00:00:00:00:99", "other MAC", Exit.PROBLEMS,
    ),
    "AUD130": (found(N, faults=["no-key"]), {}, "it reports no-key", "node fault", Exit.PROBLEMS),
    "AUD131": (
        found(N, tanks=[tank("header-east", fault="contradictory", level=None)]), {},
        "header-east: its marks contradict", "marks contradict", Exit.PROBLEMS,
    ),
    "AUD132": (
        found(N, tanks=[tank("header-east", fault="no-rise")]), {},
        "no mark changed while its pump ran", "pump stopped by a fault", Exit.PROBLEMS,
    ),
    "AUD133": (found(N, reset="watchdog", boots=41), {}, "41 starts", "restarted after a crash", Exit.OK),
    "AUD170": (
        found(N, **joined(FIELD, -82)), {"inventory": LISTED},
        "joined kestrel-ap-field (02:11:22:33:44:61, channel 6); the inventory says kestrel-ap-top; its signal is "
        "-82 dBm (weak below -75 dBm)", "on a weak access point", Exit.OK,
    ),
    "AUD171": (
        found(N, **joined(FIELD, -75)), {"inventory": LISTED},
        "the inventory says kestrel-ap-top; its signal is -75 dBm", "ok", Exit.OK,
    ),
    "AUD172": (
        found(N, **joined(STRANGE, -50)), {"inventory": LISTED},
        "joined 02:11:22:33:44:99, channel 6, which none of the access points of kestrel-hill has",
        "on an unlisted access point", Exit.OK,
    ),
    "AUD173": (
        found(N, **joined(TOP_5, -76)), {"inventory": LISTED},
        "its signal is -76 dBm (weak below -75 dBm), by kestrel-ap-top", "ok", Exit.OK,
    ),
    "AUD150": (
        found(N, reset="brown-out", boots=41, brown_outs=7), {},
        "7 brown-outs in 41 starts, the last of which came from one", "weak supply", Exit.OK,
    ),
    "AUD151": (
        found(N, tanks=[tank("header-east", fault="flapping", level=None)]), {},
        "header-east: a probe changes faster than its debounce", "a probe flaps", Exit.OK,
    ),
    "AUD152": (
        found(N, faults=["no-run-record"]), {}, "it reports no-run-record", "forgets faults at a restart", Exit.OK,
    ),
    "AUD154": (
        found(N, phase="put-back", last_image=digest(N, "1.0.0"), last_reason="brown-out"), {},
        "from 1.0.0 to 1.1.0 (brown-out)", "went back: its supply", Exit.OK,
    ),
}  # fmt: skip


@pytest.mark.parametrize("code", CASES)
def test_one_thing_wrong(code: str) -> None:
    match, changes, words, verdict, status = CASES[code]
    report, findings = audited(match, **changes)
    assert [(c, s) for c, s, _ in findings] == [(code, SUBJECT)]
    assert words in findings[0][2]
    assert line(report, N).verdict == verdict
    assert code in line(report, N).findings
    assert report.exit is status
    assert {one.verdict for one in report.lines if one.node != N} == {"ok"}


def test_what_was_built_for_the_other_target_is_said_and_accuses_no_inventory() -> None:
    """A bench that is looked at as boards: its nodes run what was built here, from the inventory of today."""
    host = shelf("1.1.0").entries
    on_bench = ShelfFacts({n: e for n, e in host.items() if n != N}, {N: host[N]})
    report, findings = audited(found(N, block_crc="0badcafe"), shelf=on_bench)
    assert [code for code, _, _ in findings] == ["AUD113"]
    assert "but for the target host: set TANKFLEET_TARGET=host" in findings[0][2]
    assert line(report, N).verdict == "no image built"


def test_weak_supplies_are_counted_anew_by_a_command_that_there_is() -> None:
    from fleet.audit.codes import BROWN_OUTS

    assert "`tankfleet clear-fault NODE --brown-outs`" in BROWN_OUTS.fix


def test_each_fault_of_a_node_comes_with_what_helps_against_it() -> None:
    """The faults are those of docs/node-interface.md 4. With some of them no update is taken, and none is mended by the
    image that the node runs already: only what a load over USB writes helps, or another board."""
    page = (Path(__file__).parents[2] / "docs" / "node-interface.md").read_text(encoding="utf-8")
    row = next(line for line in page.splitlines() if line.startswith("| `faults` |"))
    faults = set(re.findall(r"`([a-z-]+-[a-z-]+)` \(", row)) - NOTED_FAULTS
    assert faults == {"bad-block", "no-record", "no-key", "no-way-back", "flash-failed"}
    fixes = {}
    for fault in faults:
        node = INVENTORY.node(N)
        (finding,) = fault_findings(node, state(N, faults=[fault]))
        fixes[fault] = finding.fix
        assert N in finding.fix
    assert len(set(fixes.values())) == len(faults)
    usb = {fault for fault, fix in fixes.items() if f"`tankfleet flash {N}`" in fix}
    assert usb == faults - {"flash-failed"}
    assert "replace the board" in fixes["flash-failed"]
    for fault in faults:
        assert f"`{fault}`" in NODE_FAULT.fix, "`tankfleet explain AUD130` helps by itself"


def test_no_advice_of_an_audit_is_to_run_it_again() -> None:
    node = INVENTORY.node(N)
    unknown = [
        *fault_findings(node, state(N, faults=["from-the-future"])),
        *fault_findings(node, state(N, tanks=[tank("header-east", fault="from-the-future")])),
    ]
    fixes = [NODE_FAULT.fix, *(finding.fix for finding in unknown)]
    assert len(fixes) == 3
    for fix in fixes:
        assert "tankfleet audit" not in fix
        assert "does not know" in fix


def test_each_line_says_how_long_its_boot_loader_copies() -> None:
    """0.58 s a sector (data of the ESP8266 boards): an image of 300,000 bytes has 74, the largest as many as fit."""
    report, _ = audited()
    in_place = {one.node: one.copy_in_place_s for one in report.lines if one.copy_in_place_s is not None}
    boards = {INVENTORY.node(name).board for name in in_place}
    assert boards
    assert boards == {n.board for n in INVENTORY.nodes if load_board(n.board).chip == "esp8266"}
    for name, copy_s in in_place.items():
        assert copy_s == pytest.approx(
            load_board(INVENTORY.node(name).board).slot_bytes / 4096 * 0.58, abs=0.6
        )
        real = entry(name, "1.1.0", 2, target="board")
        known = ShelfFacts(shelf("1.1.0").entries | {name: [real]})
        assert line(audit(facts(shelf=known)), name).copy_in_place_s == pytest.approx(74 * 0.58, abs=0.1)


@pytest.mark.parametrize(
    ("state", "inventory", "code"),
    [
        (joined(TOP), LISTED, None),
        (joined(TOP_5), LISTED, None),
        (joined(FIELD, None), LISTED, "AUD171"),
        (joined(STRANGE, -90), LISTED, "AUD172"),
        (joined(STRANGE), INVENTORY, None),
        (joined(STRANGE, -90), INVENTORY, "AUD173"),
        ({"rssi_dbm": -90}, LISTED, "AUD173"),
        ({"rssi_dbm": -75}, LISTED, None),
        ({}, LISTED, None),
    ],
)
def test_which_access_point_is_worth_a_word(
    state: dict[str, Any], inventory: Inventory, code: str | None
) -> None:
    """One finding at most; nothing where nobody lists access points, or the node does not say."""
    _, findings = audited(found(N, **state), inventory=inventory)
    assert [found_code for found_code, _, _ in findings] == ([code] if code else [])


def test_an_access_point_of_another_site_is_named_with_its_site() -> None:
    other = with_access_points({"lodge": (FIELD,)}, "marram-bay")
    sites = tuple(LISTED.site(s.name) if s.name == "kestrel-hill" else s for s in other.sites)
    both = Inventory(**(dict(other) | {"sites": sites}))
    hill = LISTED.site("kestrel-hill").model_copy(update={"access_points": {"kestrel-ap-top": (TOP,)}})
    both = Inventory(
        **(dict(both) | {"sites": tuple(hill if s.name == hill.name else s for s in both.sites)})
    )
    _, findings = audited(found(N, **joined(FIELD)), inventory=both)
    assert [code for code, _, _ in findings] == ["AUD172"]
    assert "which is lodge of the site marram-bay" in findings[0][2]


def test_findings_on_access_points_have_their_figures_and_a_source() -> None:
    report, _ = audited(found(N, **joined(FIELD, -82)), inventory=LISTED)
    (finding,) = [f for f in report.findings if f.code.code == "AUD170"]
    assert [(figure.name, figure.value, figure.unit) for figure in finding.figures] == [
        ("signal", -82, "dBm"),
        ("weak below", -75, "dBm"),
    ]
    assert all(code.source for code in CODES if code.code >= "AUD170")
    said = line(report, N)
    assert (said.access_point, said.joined, said.bssid, said.channel, said.rssi_dbm) == (
        "kestrel-ap-top", "kestrel-ap-field", FIELD, 6, -82,
    )  # fmt: skip


def test_too_little_memory_in_one_piece_is_told_where_it_matters() -> None:
    """6,264 bytes: the second stack of the ESP8266's core 3.1.2, on which it checks a ticket; others have more."""
    name = next(n.name for n in INVENTORY.nodes if load_board(n.board).chip == "esp8266")
    for largest, told in ((6_263, ["AUD153"]), (6_264, []), (None, [])):
        report, findings = audited(found(name, largest_block=largest))
        assert [code for code, _, _ in findings] == told
        assert line(report, name).verdict == ("short of memory" if told else "ok")
    assert audited(found(N, largest_block=6_263))[1] == []


def test_a_node_without_brown_outs_says_nothing() -> None:
    """0 of them, and firmware that does not count them."""
    for count in (0, None):
        assert audited(found(N, brown_outs=count))[1] == []
    assert "1 brown-out in 3 starts" in audited(found(N, brown_outs=1))[1][0][2]


def test_each_code_has_a_case() -> None:
    elsewhere = {"AUD104", "AUD116", "AUD122", "AUD123", "AUD140", "AUD141", "AUD142", "AUD143", "AUD153"}
    assert set(CASES) | elsewhere == {code.code for code in CODES}


def test_unknown_nodes_are_named_and_do_not_become_lines() -> None:
    stranger = Match("hut-9", Status.UNKNOWN, "10.0.0.3", 80, evidence=("not in the inventory",))
    report, findings = audited(stranger)
    assert findings == [("AUD104", "node hut-9", "not in the inventory")]
    assert [one.node for one in report.lines] == NODES
    assert report.exit is Exit.OK


def test_a_push_under_way_watches_its_nodes() -> None:
    journal = JournalFacts(unfinished="feed", unfinished_nodes=frozenset({N}))
    _, findings = audited(found(N, phase="on-trial", trial_left_s=90), journal=journal)
    assert [(code, subject) for code, subject, _ in findings] == [
        ("AUD142", "push feed"),
        ("AUD116", SUBJECT),
    ]


def test_a_lost_node_is_lost_until_it_is_found_again() -> None:
    journal = JournalFacts(last={N: LOST})
    report, findings = audited(MISSING, journal=journal)
    assert [code for code, _, _ in findings] == ["AUD101", "AUD123"]
    assert report.exit is Exit.PROBLEMS
    assert line(report, N).last_push == "0123456789ab lost"
    assert audited(found(N), journal=journal)[1] == []


def test_why_a_node_went_back_is_taken_from_its_push() -> None:
    back = found(N, release="1.0.0", phase="put-back", last_image=digest(N, "1.1.0"), last_reason="told")
    last = replace(LOST, stands="put-back", reason="its wave failed")
    _, findings = audited(
        back, journal=JournalFacts(last={N: last}, halted_images={digest(N, "1.1.0"): "feed"})
    )
    went_back = next(what for code, _, what in findings if code == "AUD114")
    assert went_back == "from 1.1.0 to 1.0.0 (told); push 0123456789ab: its wave failed"


def test_the_demo_inventory_s_own_findings() -> None:
    report = audit(facts())
    said = {(f.code.code, str(f.subject)): f for f in report.findings}
    assert said["AUD122", "node marram-07"].severity is Severity.NOTE
    assert "larkwood-05, larkwood-07" in said["AUD140", "site larkwood"].what
    assert "marram-01" in said["AUD141", "site marram-bay"].what
    assert re.search(
        r"up to \d+ .+ of each update and of each rollback", said["AUD141", "site marram-bay"].what
    )
    assert report.counts() == {"error": 0, "warning": 1, "note": 4}


def test_offline_nobody_is_blamed() -> None:
    report, findings = audited(matches=None)
    assert findings == []
    assert {one.status for one in report.lines} == {"not asked"}
    assert {one.verdict for one in report.lines} == {"not asked"}
    assert line(report, N).newest_release == "1.1.0"


def test_a_change_of_the_inventory_shows() -> None:
    """A mark moved by a hand's breadth since the image was built: node and shelf are both behind."""
    moved = INVENTORY.tank("header-east")
    marks = tuple(replace_mark(mark, 0.1) if mark.name == "half" else mark for mark in moved.marks)
    tanks = tuple(t.model_copy(update={"marks": marks}) if t is moved else t for t in INVENTORY.tanks)
    changed = Inventory(**(dict(INVENTORY) | {"tanks": tanks}))

    wanted = {(N, "1.1.0"): crc(N, "1.1.0", changed)}
    _, findings = audited(wanted_crc=wanted)
    assert [(code, subject) for code, subject, _ in findings] == [("AUD117", SUBJECT), ("AUD118", SUBJECT)]


def replace_mark(mark, by_m: float):
    """The mark, moved."""
    return mark.model_copy(update={"height_m": mark.height_m + by_m})


def test_errors_come_first_and_the_order_is_fixed() -> None:
    bad = (
        found(N, faults=["no-key"]),
        Match("marram-01", Status.MISSING),
        found("kestrel-02", release="1.0.0"),
    )
    one, other = audit(facts(*bad)), audit(facts(*reversed(bad)))
    assert one.findings == other.findings
    severities = [finding.severity for finding in one.findings]
    assert severities == sorted(severities, key=list(Severity).index)
    assert one.exit is Exit.PROBLEMS
    assert one.unreachable == ("marram-01",)


def test_rulings_are_listed_and_those_that_no_longer_rule_are_warned_of() -> None:
    rulings = (
        RulingLine("INV501", "", "accepted", "it is so", "2026-03-01", None, IN_FORCE, ("tank header-east",)),
        RulingLine("INV501", "tank x", "note", "it was so", "2025-03-01", "2026-03-01", PAST, ()),
        RulingLine("INV502", "", "error", "it may be so", "2025-03-01", None, UNUSED, ()),
    )
    subjects = ((Subject(SubjectKind.TANK, "header-east"),), (), ())
    report, findings = audited(rulings=[*map(AppliedRuling, rulings, subjects)])
    assert report.rulings == rulings
    assert findings == [
        ("AUD143", "ruling on INV501 about tank x", "past its date, which was 2026-03-01; ruled note on 2025-03-01: "
         "it was so"),
        ("AUD143", "ruling on INV502", "no finding needs it; ruled error on 2025-03-01: it may be so"),
    ]  # fmt: skip
    assert report.exit is Exit.OK
    said = {one.node: one.rulings for one in report.lines if one.rulings}
    assert said == {N: ("INV501 tank header-east: accepted on 2026-03-01: it is so",)}
    rows = list(csv.DictReader(io.StringIO(csv_text(report))))
    assert [row["rulings"] for row in rows if row["rulings"]] == list(said[N])


def test_csv_says_the_same_as_the_lines() -> None:
    report, _ = audited(found(N, release="1.0.0", mac="02:00:00:00:00:99"), MISSING_OTHER)
    rows = list(csv.DictReader(io.StringIO(csv_text(report))))
    assert list(rows[0]) == list(COLUMNS)
    assert [row["node"] for row in rows] == NODES
    mine = rows[NODES.index(N)]
    assert mine["findings"] == "AUD121 AUD110"
    assert mine["image"] == digest(N, "1.0.0")
    assert rows[NODES.index("marram-02")]["release"] == ""


MISSING_OTHER = replace(MISSING, node="marram-02")
