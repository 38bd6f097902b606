"""`stillflow rules`: the audit, the lists, and one entry looked up."""

from __future__ import annotations

import json
import os
import re
from importlib import resources
from pathlib import Path
from typing import Any

import pytest
from command import Outcome, stillflow
from small_rules import SMALL, small

from stillflow.casebook.cases import named_case, read_case
from stillflow.casebook.ids import new_id
from stillflow.casebook.store import Casebook
from stillflow.engine import Unit, Visit, load_rules
from stillflow.engine.audit import INSPECTIONS, Finding, audit
from stillflow.engine.inference.visit import Event
from stillflow.engine.ruleset import Knowledge

EXTRA = """rules:
  - id: shop-rule
    when: {fact: answer.slider-look, is: SLIDER}
    then: [{against: relief-slider-open, strength: slight}]
    because: The shop has seen it.
    source: common-practice
"""


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    folder = tmp_path / "shop"
    folder.mkdir()
    return folder


AUDITED: dict[str, tuple[Finding, ...]] = {}
"""What is wrong with rules, by their digest: to look takes a second, in words or as JSON."""


@pytest.fixture(autouse=True)
def audited_once(monkeypatch: pytest.MonkeyPatch) -> None:
    def look(knowledge: Knowledge) -> tuple[Finding, ...]:
        if knowledge.digest not in AUDITED:
            AUDITED[knowledge.digest] = tuple(audit(knowledge))
        return AUDITED[knowledge.digest]

    monkeypatch.setattr("stillflow.engine.audit.audit", look)


@pytest.fixture
def few_cases(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two worked cases: to look through all takes a second."""
    two = [case for name in ("burning-smell", "clogged-hose") if (case := named_case(name))]
    monkeypatch.setattr("stillflow.cli.rule_cases.load_cases", lambda: two)


def write(folder: Path, text: str) -> None:
    (folder / "extra.yaml").write_text(text, encoding="utf-8")


def test_the_shipped_rules_are_clean() -> None:
    outcome = stillflow("rules", "check")
    assert (outcome.code, outcome.err) == (0, "")
    assert outcome.out.startswith("Clean: ")
    assert outcome.out.count("\n") == 1


def test_a_slip_in_a_shops_own_folder_is_one_line_with_exit_code_1(shop: Path) -> None:
    write(shop, EXTRA.replace("SLIDER", "open"))
    outcome = stillflow("rules", "check", "--rules", str(shop))
    assert outcome.code == 1
    line = outcome.out.splitlines()[0]
    assert line.startswith(
        "shop/extra.yaml:2, shop-rule: it contradicts 'slider-look-open' (rules/"
    )
    assert "keep one" in line
    assert line.endswith("[high, contradicts]")
    assert "contradicts: Evidence for and against one fault" in outcome.out


def test_what_only_makes_the_rules_harder_to_read_is_said_with_exit_code_0(shop: Path) -> None:
    write(shop, "sources:\n  - {id: shop-book, kind: memory, title: What the old hand said}\n")
    outcome = stillflow("rules", "check", "--rules", str(shop))
    assert outcome.code == 0
    assert "shop/extra.yaml:2, shop-book: nothing points at this source" in outcome.out


def test_files_that_cannot_be_loaded_are_told_in_the_same_form_with_exit_code_2(
    shop: Path,
) -> None:
    text = EXTRA.replace("SLIDER", "ajar").replace("source: common-practice", "source: hearsay")
    write(shop, text)
    outcome = stillflow("rules", "check", "--rules", str(shop))
    assert outcome.code == 2
    first, second, total = outcome.out.splitlines()
    assert first.startswith("shop/extra.yaml:6, shop-rule source: there is no source 'hearsay'")
    assert second.startswith("shop/extra.yaml:3, shop-rule when: ")
    assert "never 'ajar'" in second
    assert first.endswith("[high, not-loaded]")
    assert total == "2 wrong; the rules cannot be loaded."


def test_what_was_read_and_what_it_replaces_is_said(shop: Path) -> None:
    own = EXTRA.replace("shop-rule", "slider-look-open").replace("SLIDER", "open")
    write(shop, own.replace("against:", "for:"))
    outcome = stillflow("rules", "check", "--rules", str(shop))
    read, replaced, *_, total = outcome.out.splitlines()[-3:]
    shipped = load_rules()
    place = shipped.places["rules", "slider-look-open"]
    assert read == "shop/extra.yaml: laid over the shipped rules"
    assert replaced == (
        "shop/extra.yaml:2, slider-look-open: takes the place of 'slider-look-open' of rules, "
        f"from {place.file}:{place.line}"
    )
    assert total.endswith(
        f"rules in {len(shipped.files) + 1} files; {len(INSPECTIONS)} kinds of slips looked for."
    )
    shown = json.loads(stillflow("rules", "check", "--json", "--rules", str(shop)).out)
    assert shown["files"][-1] == "shop/extra.yaml"
    (one,) = shown["replaced"]
    assert (one["section"], one["id"]) == ("rules", "slider-look-open")
    assert one["over"] == {"file": place.file, "line": place.line, "key": "slider-look-open"}


def test_rules_show_says_whose_place_an_entry_takes_and_what_was_changed(shop: Path) -> None:
    write(shop, "change: {id: slider-look, minutes: 0.4}\n")
    place = load_rules().places["checks", "slider-look"]
    shown = stillflow("rules", "show", "slider-look", "--rules", str(shop))
    said = " ".join(shown.out.split())
    assert f"of checks, from {place.file}:{place.line}: minutes 0.2 -> 0.4" in said


def test_rules_of_ones_own_are_laid_over_without_being_asked_for(
    shop: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    write(shop, "change: {id: slider-look, minutes: 0.4}\n")
    kept = tmp_path / "data" / "rules"
    kept.mkdir(parents=True)
    (kept / "own.yaml").write_text("change: {id: slider-look, minutes: 0.6}\n")
    monkeypatch.setattr("platformdirs.user_data_dir", lambda *_, **__: str(kept.parent))

    def minutes(*args: str) -> float:
        shown = json.loads(stillflow("rules", "show", "slider-look", "--json", *args).out)
        return float(shown[0]["minutes"])

    assert minutes() == 0.2  # an empty STILLFLOW_RULES, as in all tests, keeps all of it out
    monkeypatch.setenv("STILLFLOW_RULES", str(shop))
    assert minutes() == 0.4
    assert minutes("--rules", str(kept)) == 0.6
    monkeypatch.delenv("STILLFLOW_RULES")
    assert minutes() == 0.6
    (kept / "own.yaml").unlink()
    assert minutes() == 0.2


def test_a_folder_that_is_not_there_is_one_line_with_exit_code_2() -> None:
    outcome = stillflow("rules", "check", "--rules", "/nowhere/at/all")
    assert outcome.code == 2
    assert outcome.err.count("\n") == 1
    assert "no such folder" in outcome.err


def test_findings_as_json(shop: Path) -> None:
    write(shop, EXTRA.replace("SLIDER", "open"))
    outcome = stillflow("rules", "check", "--json", "--rules", str(shop))
    assert outcome.code == 1
    told = json.loads(outcome.out)
    assert told["clean"] is False
    finding, other = told["findings"]
    assert (finding["inspection"], other["inspection"]) == ("contradicts", "only-against")
    assert finding["severity"] == "high"
    assert finding["inspection"] in told["inspections"]
    assert (finding["file"], finding["line"], finding["id"]) == ("shop/extra.yaml", 2, "shop-rule")
    assert finding["right"]


@pytest.mark.parametrize(
    "what", ["faults", "checks", "rules", "cautions", "tools", "classes", "sources"]
)
def test_lists_name_every_entry_within_80_columns(what: str) -> None:
    outcome = stillflow("rules", "list", what)
    assert outcome.code == 0
    assert max(len(line) for line in outcome.out.splitlines()) <= 80
    entries = getattr(load_rules(), what)
    named = [line[2:].partition(":")[0] for line in outcome.out.splitlines() if line[:2] == "- "]
    assert sorted(named) == sorted(entries)


def test_every_kind_of_entry_is_shown_and_a_retired_one_says_who_retired_it(shop: Path) -> None:
    rules = load_rules()
    for group in (rules.cautions, rules.tools, rules.classes, rules.sources):
        assert stillflow("rules", "show", next(iter(group))).code == 0
    assert rules.cautions["hot-motor"].text[:30] in stillflow("rules", "show", "hot-motor").out
    write(shop, "retire: [altitude-explains]\n")
    outcome = stillflow("rules", "show", "altitude-explains", "--rules", str(shop))
    assert outcome.code == 2
    assert "shop/extra.yaml:1" in outcome.err
    assert "retires 'altitude-explains'" in outcome.err


def test_a_fault_is_shown_with_its_strongest_voices_its_cautions_by_id_and_plain_numbers() -> None:
    short, whole = (
        stillflow("rules", "show", "brushes-worn", *one).out for one in ((), ("--all",))
    )
    assert "weaker ones with --all" in short
    assert short.count("when ") < whole.count("when ")
    assert "cautions by id: unplug-first" in short
    assert "e+0" not in whole
    assert "there are carbon brushes" in whole
    assert " a carbon brushes" not in whole


def test_a_list_as_json_says_where_each_entry_stands() -> None:
    rows = json.loads(stillflow("rules", "list", "checks", "--json").out)
    assert {row["id"] for row in rows} == set(load_rules().checks)
    assert all(row["file"].startswith("rules/") and row["line"] > 0 for row in rows)


@pytest.mark.usefixtures("few_cases")
def test_a_rule_is_shown_as_a_technician_would_read_it() -> None:
    outcome = stillflow("rules", "show", "hose-hisses-along")
    text = " ".join(outcome.out.split())
    assert outcome.code == 0
    assert (
        'When the answer to "Where does it hiss when the hose end is closed with the plate?" is '
        '"Somewhere along the hose":'
    ) in text
    assert "for, very strong (x 31.6): The hose has a hole or a split" in text
    assert "because: With its end closed the hose hisses on its length" in text
    assert "source: What people who service" in text
    assert "stands in: rules/evidence/listening-in-house.yaml:" in text
    assert "true in worked cases: none" in text


def test_a_fault_is_shown_with_what_speaks_for_and_against_it_and_its_fix() -> None:
    text = " ".join(stillflow("rules", "show", "hose-holed").out.split())
    for words in (
        "The hose has a hole or a split",
        "a hole of 0.15 to 0.8 in at the hose",
        "+ decisive: A hole in the hose takes air the floor should give.",
        "- strong: With its end closed the hose hisses nowhere, so it is tight.",
        "CAUTION Never close an inlet",
        "Fix, about 12 min:",
        "First: Hose unplugged from the wall",
        "after: Sealed at the hose end equals sealed at the inlet.",
    ):
        assert words in text


def test_a_check_is_shown_with_its_answers_and_the_rules_on_each() -> None:
    text = " ".join(stillflow("rules", "show", "sealed-inlet").out.split())
    assert re.search(r"as it should be \((\d\d\.?\d?) %, good\) sealed-inlet-good", text)
    assert "Answers, how often each is seen over all faults, rules:" in text
    assert "shows whether a fix has worked" in text
    assert "with other answers:" in text
    assert "sealed-lost-in-hose" in text


@pytest.mark.usefixtures("few_cases")
def test_how_much_a_rule_on_readings_says_is_shown_by_the_airflow_model() -> None:
    rule = " ".join(stillflow("rules", "show", "sealed-unit-short").out.split())
    least, most = re.search(r"\+ for, (\S+) to (\S+) times; by the airflow model, ", rule).groups()
    assert 1 < float(least) < float(most)
    fault = " ".join(stillflow("rules", "show", "bin-seal-leaks").out.split())
    assert re.search(
        r"\+ [\d.]+ times; by the airflow model: With the tubing off and no air", fault
    )


@pytest.mark.usefixtures("few_cases")
def test_a_shown_entry_as_json_has_the_source_with_its_note() -> None:
    [card] = json.loads(stillflow("rules", "show", "sealed-inlet-short", "--json").out)
    assert card["kind"] == "rule"
    assert card["source"]["id"] == "worked-out-airflow"
    assert any("ASTM F558" in words for words in card["source"]["rests_on"])
    assert card["evidence"][0]["faults"]
    assert isinstance(card["true_in"], list)


@pytest.mark.usefixtures("few_cases")
def test_a_rule_names_the_worked_cases_it_is_true_in_and_fires_in() -> None:
    [stop] = json.loads(stillflow("rules", "show", "stop-burning-smell", "--play", "--json").out)
    assert (stop["true_in"], stop["fired_in"]) == (["burning-smell"], ["burning-smell"])
    [other] = json.loads(stillflow("rules", "show", "stop-smoke", "--play", "--json").out)
    assert (other["true_in"], other["fired_in"]) == ([], [])


@pytest.mark.usefixtures("few_cases")
def test_a_shops_own_rule_is_shown_from_its_own_folder(shop: Path) -> None:
    write(shop, EXTRA.replace("SLIDER", "closed"))
    outcome = stillflow("rules", "show", "shop-rule", "--rules", str(shop))
    assert "stands in: shop/extra.yaml:2" in outcome.out


def test_an_unknown_id_is_one_line_with_the_nearest() -> None:
    outcome = stillflow("rules", "show", "hose-hold")
    assert outcome.code == 2
    assert outcome.out == ""
    assert outcome.err == ("stillflow: there is no entry 'hose-hold'; did you mean 'hose-holed'?\n")


def test_coverage_is_printed_as_the_page_and_as_json() -> None:
    page = stillflow("rules", "coverage").out
    assert page.startswith("<!-- Written by: stillflow rules coverage")
    told = json.loads(stillflow("rules", "coverage", "--json").out)
    by_id = {one["id"]: one for one in told["faults"]}
    assert by_id["hose-holed"]["raised_by"]["hose-look"] == 5
    assert by_id["hose-holed"]["lowered_by"]["hose-listen"] == 3


BACKWARDS = """
  - id: backwards
    when: {fact: level.sealed.inlet, is: fine}
    then: [{for: motor-worn}]
    because: It is said.
    source: common-practice
"""
REASON = "The motors of this shop surge."

CASE = """title: A hose end with more suction than the inlet has
teaches: Readings like these have no cause that anybody knows of.
kind: plain
visit:
  unit: {rated_sealed: 130, rated_airflow: 114}
finds: {sealed-inlet: 65, working-hose: 85}
expect: {fixes: [seal-torn], ends: done}
"""


def weigh_small(monkeypatch: pytest.MonkeyPatch, text: str, *args: str, case: str = "") -> Outcome:
    """Weigh a rule set small enough to be quick, with one worked case or none."""
    cases = [read_case(case, "odd.yaml")] if case else []
    monkeypatch.setattr("stillflow.cli.rules.load_rules", lambda folders: small(text))
    monkeypatch.setattr("stillflow.casebook.cases.load_cases", lambda: cases)
    return stillflow("rules", "weigh", "--houses", "100", *args)


def test_a_rule_that_physics_contradicts_is_marked_with_exit_code_1(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    outcome = weigh_small(monkeypatch, SMALL + BACKWARDS)
    assert (outcome.code, outcome.err) == (1, "")
    lines = outcome.out.splitlines()
    start = next(i for i, line in enumerate(lines) if line.startswith("backwards"))
    assert lines[start].split() == ["backwards", "by", "the", "model", "in", "houses"]
    said, *figures = lines[start + 1].rsplit(maxsplit=2)
    assert said == "for: 1 fault"
    assert all(0.0 < float(figure) < 0.5 for figure in figures)
    assert lines[start + 2] == "  ! both say the reverse: motor-worn"
    assert "Physics says the reverse of 1: 0 with a reason written, 1 marked !." in " ".join(lines)


def test_a_written_reason_is_shown_with_exit_code_0(monkeypatch: pytest.MonkeyPatch) -> None:
    strong = BACKWARDS.replace("motor-worn}", "motor-worn, strength: strong}")
    outcome = weigh_small(monkeypatch, f"{SMALL}{strong}    weighed: {REASON}\n")
    assert outcome.code == 0
    assert "for, strong: 1 fault" in outcome.out
    assert "  ~ both say the reverse: motor-worn\n" in outcome.out
    assert f"  why: {REASON}\n" in outcome.out
    assert "  !" not in outcome.out
    total = " ".join(outcome.out.split())
    assert "Physics says the reverse of 1: 1 with a reason written, 0 marked !." in total


def test_every_fault_has_a_line_of_its_own_where_all_are_asked_for(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    lines = weigh_small(monkeypatch, SMALL + BACKWARDS, "--all").out.splitlines()
    assert any(line.startswith("! for: motor-worn ") for line in lines)
    assert any(line.startswith("  for: seal-torn ") for line in lines)


def test_a_reading_of_a_case_or_a_kept_visit_that_no_fault_explains_is_named(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    db = f"sqlite:///{tmp_path / 'book.db'}"
    odd = Visit(
        id=new_id(),
        unit=Unit(rated_sealed=130, rated_airflow=114),
        events=(Event(check="sealed-inlet", answer=65), Event(check="working-hose", answer=85)),
    )
    other = Visit(id=new_id(), events=(Event(check="attic-look", answer="dusty"),))
    with Casebook(db) as casebook:
        for visit in (odd, other):
            casebook.put(visit)
    outcome = weigh_small(monkeypatch, SMALL, "--db", db, case=CASE)
    assert outcome.code == 0
    text = " ".join(outcome.out.split())
    assert "- odd: working-hose 85 inH2O (" in text
    assert f"- {odd.id}: working-hose 85 inH2O (" in text
    assert "sealed-inlet 65" not in text
    assert "4 readings in 2 cases and visits; tails: 50 % below 1 %" in text
    assert f"Not read: {other.id}, since events 1, check: there is no check 'attic-look'" in text


def test_a_weighing_as_json(monkeypatch: pytest.MonkeyPatch) -> None:
    args = ("--json", "--seed", "5")
    outcome = weigh_small(monkeypatch, SMALL + BACKWARDS, *args, case=CASE)
    assert outcome.code == 1
    told = json.loads(outcome.out)
    assert (told["houses"], told["seed"], told["rules"]) == (
        100,
        5,
        small(SMALL + BACKWARDS).digest,
    )
    assert (told["contradicted"], told["marked"], told["left_out"]) == (1, 1, {})
    [marked] = [one for one in told["pairs"] if one["marked"]]
    assert (marked["rule"], marked["fault"], marked["direction"], marked["strength"]) == (
        "backwards",
        "motor-worn",
        "for",
        "computed",
    )
    assert max(marked["by_model"], marked["by_houses"]) < 0.5
    foretold = told["foretold"]
    assert (foretold["readings"], foretold["below"]["0.01"], foretold["unread"]) == (2, 0.5, {})
    [far_out] = foretold["unexplained"]
    assert (far_out["name"], far_out["check_id"], far_out["value"]) == ("odd", "working-hose", 85)
    assert far_out["tail"] < 0.01
    assert weigh_small(monkeypatch, SMALL + BACKWARDS, *args, case=CASE).out == outcome.out


def test_none_of_the_shipped_rules_is_marked_and_all_fit_80_columns(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # Reading through all cases takes minutes; two say what is to be seen here.
    two = [named_case(name) for name in ("clogged-hose", "worn-brushes")]
    monkeypatch.setattr("stillflow.casebook.cases.load_cases", lambda: two)
    outcome = stillflow("rules", "weigh", "--houses", "300", "--all")
    assert (outcome.code, outcome.err) == (0, "")
    lines = outcome.out.splitlines()
    assert max(map(len, lines)) <= 80
    assert sum(line[2:].startswith(("for: ", "against: ")) for line in lines) > 1000
    assert not any(line.startswith("! ") for line in lines)
    assert "- clogged-hose" not in outcome.out


@pytest.mark.parametrize(
    "wrong", [("--houses", "many"), ("--houses", "0"), ("--houses", "1e9"), ("--seed", "-1")]
)
def test_bad_houses_or_seed_are_one_line_with_exit_code_2(wrong: tuple[str, str]) -> None:
    outcome = stillflow("rules", "weigh", *wrong)
    assert (outcome.code, outcome.out) == (2, "")
    assert outcome.err.count("\n") == 1
    assert wrong[0] in outcome.err


@pytest.mark.usefixtures("few_cases")
def test_a_reason_to_differ_from_physics_and_the_price_of_being_wrong_are_shown() -> None:
    rule = " ".join(stillflow("rules", "show", "nothing-anywhere").out.split())
    assert "for, strong (x 10): " in rule
    assert "not as physics: The airflow model keeps the motor running" in rule
    fault = stillflow("rules", "show", "supply-voltage-low").out
    assert "if it was not this: 60 min lost\n" in fault
    assert "if it was not this" not in stillflow("rules", "show", "hose-holed").out
    [card] = json.loads(stillflow("rules", "show", "supply-voltage-low", "--json").out)
    assert card["fix"]["if_wrong_minutes"] == 60


def test_without_a_command_its_help_is_shown() -> None:
    outcome = stillflow("rules")
    assert outcome.code == 0
    for name in ("check", "list", "show", "coverage", "weigh"):
        assert f"  {name} " in outcome.out


def test_rules_try_says_what_fires_and_what_is_missing_for_what_nearly_does() -> None:
    said = " ".join(stillflow("rules", "try", "hose-look=sound", "sealed-inlet=100").out.split())
    assert "hose-whole: The hose is round and whole." in said
    assert "missing: sealed, the hose end keeps at least 93 %" in said
    shown = json.loads(stillflow("rules", "try", "hose-look=sound", "--json").out)
    assert "hose-whole" in {card["id"] for card in shown["fired"]}
    refused = stillflow("rules", "try", "hose-lok=sound")
    assert (refused.code, refused.err.count("\n")) == (2, 1)


def test_rules_explain_says_all_for_and_against_and_the_cheapest_way_to_be_sure() -> None:
    said = " ".join(stillflow("rules", "explain", "relief-slider-open").out.split())
    assert "It stood open (slider-look)" in said
    assert "by the airflow model" in said
    assert "The cheapest way to be sure: 1. " in said
    shown = json.loads(stillflow("rules", "explain", "relief-slider-open", "--json").out)
    assert shown["sure"]
    assert stillflow("rules", "explain", "relief-slider").code == 2


def test_rules_compare_ends_with_1_where_a_worked_case_breaks(shop: Path, tmp_path: Path) -> None:
    cases = tmp_path / "cases"
    cases.mkdir()
    case = named_case("bare-floor-brush-on-shag")
    assert case is not None
    name = f"{case.name}.yaml"
    worked = Path(str(resources.files("stillflow.casebook"))) / "worked" / name
    (cases / name).write_text(worked.read_text("utf-8"))
    write(shop, f"retire: [{case.expect.fixes[0]}]\n")
    few = ("--cases", str(cases), "--calls", "10", "--db", f"sqlite:///{tmp_path / 'x.db'}")
    outcome = stillflow("rules", "compare", "--with", str(shop), *few)
    assert outcome.code == 1
    said = " ".join(outcome.out.split())
    assert "1 of 1 come out otherwise" in said
    assert f"by faults/{case.expect.fixes[0]}" in said
    write(shop, "change: {id: slider-look-open, misleads: Never.}\n")
    outcome = stillflow("rules", "compare", "--with", str(shop), *few, "--json")
    assert outcome.code == 0
    shown = json.loads(outcome.out)
    assert (shown["breaks"], shown["conclusions"], shown["changed"]) == (0, 0, [])
    assert stillflow("rules", "compare", *few).code == 2, "nothing to compare"


def test_rules_watch_checks_and_compares_again_on_every_save(
    shop: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write(shop, "change: {id: slider-look-open, misleads: Never.}\n")
    saved = iter(["change: {id: slider-look-open, because: x}\n", None])

    def wait(_: float) -> None:
        text = next(saved)
        if text is None:
            raise KeyboardInterrupt
        write(shop, text)
        os.utime(shop / "extra.yaml", (1, 1))

    monkeypatch.setattr("time.sleep", wait)
    monkeypatch.setattr("stillflow.cli.rule_compare.WATCHED_CALLS", 5)
    outcome = stillflow("rules", "watch", str(shop))
    assert outcome.code == 130
    assert "0 of 5 conclude otherwise" in outcome.out
    assert "slider-look-open because: 'x' is too short" in outcome.out
    assert stillflow("rules", "watch", str(shop / "nowhere")).code == 2


def test_a_run_of_rules_watch_whose_files_change_is_dropped_and_begun_anew(
    shop: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from stillflow.cli import rule_compare

    write(shop, "change: {id: slider-look-open, misleads: Never.}\n")
    compared, runs = rule_compare._compared, []

    def saved_meanwhile(*given: Any) -> Any:
        runs.append(given)
        if len(runs) == 1:
            write(shop, "retire: [slider-look-closed]\n")
        return compared(*given)

    def wait(_: float) -> None:
        if len(runs) > 1:
            raise KeyboardInterrupt

    monkeypatch.setattr("time.sleep", wait)
    monkeypatch.setattr(rule_compare, "WATCHED_CALLS", 5)
    monkeypatch.setattr(rule_compare, "_compared", saved_meanwhile)
    said = stillflow("rules", "watch", str(shop)).out
    assert said.count("By which entry") == 1
    assert "saved meanwhile" in said
    assert "slider-look-open, changed" not in said
    assert "rules/slider-look-closed, retired" in said
    assert "cannot be taken out" not in said


def test_the_course_is_listed_in_the_order_in_which_it_holds() -> None:
    lines = stillflow("rules", "list", "course").out.splitlines()
    listed = [line[2:].split(":")[0] for line in lines if line.startswith("- ")]
    assert listed == [turn.id for turn in load_rules().turns]
    assert listed[0] == "stop"


def test_a_shipped_rule_that_an_overlay_breaks_is_told_with_the_overlays_line(
    tmp_path: Path,
) -> None:
    text = """faults:
  - id: hose-clogged
    title: Something is stuck in the hose
    place: hose
    mode: obstruction
    how_common: common
    effect: {kind: none}
    confirm: Seen.
    fix: {minutes: 2, steps: [Take it out.]}
    after: Good.
    source: common-practice
"""
    (tmp_path / "shop.yaml").write_text(text, encoding="utf-8")
    outcome = stillflow("rules", "check", "--rules", str(tmp_path))
    [told] = [line for line in outcome.out.splitlines() if "does not go with" in line]
    assert told.startswith(f"{tmp_path.name}/shop.yaml:2, hose-clogged: ")
    assert "rules such as 'hose-" in told
    assert "against-physics" not in outcome.out
