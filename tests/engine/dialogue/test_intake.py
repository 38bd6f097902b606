"""What is known of a call: how it is read, in which order it is asked, how it is corrected."""

from __future__ import annotations

import pytest

from stillflow.engine import load_rules
from stillflow.engine.base import InputError
from stillflow.engine.dialogue.intake import (
    DETAILS,
    OF_A_NEW_HOUSE,
    detail_said,
    known_words,
    missing_said,
    people_said,
    tools_ask,
    tools_said,
    unit_words,
    usual_missing,
)
from stillflow.engine.inference.visit import Gauge, House, Site, Unit, Visit

RULES = load_rules()
BY_NAME = {one.name: one for one in DETAILS}


@pytest.mark.parametrize("written", ['98"', "98 in", "98 wc", "98 inches wc", "98", "98 inH2O"])
def test_suction_on_a_label_is_read_as_people_write_it(written: str) -> None:
    assert BY_NAME["rated_sealed"].read(written) == 98


@pytest.mark.parametrize(
    ("written", "years"), [("3 yrs", 3), ("3", 3), ("12 years old", 12), ("18 months", 1.5)]
)
def test_an_age_is_read_as_people_say_it(written: str, years: float) -> None:
    assert BY_NAME["age_years"].read(written) == pytest.approx(years, rel=0.001)


def test_a_comma_before_three_digits_sets_off_thousands_and_any_other_is_a_point() -> None:
    assert BY_NAME["altitude_ft"].read("5,280 ft") == 5280
    assert BY_NAME["hose_bore_in"].read("1,25") == 1.25


@pytest.mark.parametrize("written", ["three", "101 yrs", "3 gallons"])
def test_an_age_that_cannot_be_is_refused_with_what_would_be_right(written: str) -> None:
    with pytest.raises(InputError) as caught:
        BY_NAME["age_years"].read(written)
    assert caught.value.right


def test_at_first_only_the_call_what_the_baseline_needs_and_the_filter_is_asked() -> None:
    asked = [one.name for one in DETAILS if one.at_first]
    baseline = {*Unit.model_fields, *House.model_fields, *Gauge.model_fields, "altitude_ft"}
    assert asked[:2] == ["name", "complaint"]
    assert set(asked[2:]) <= baseline - {"motors"}
    assert asked.index("age_years") < asked.index("filter") < asked.index("tubing_ft")
    assert {"rated_sealed", "rated_airflow", "age_years", "altitude_ft", "hose_ft"} <= set(asked)


def test_every_detail_can_be_put_into_a_visit_and_found_there() -> None:
    value: object
    for detail in DETAILS:
        for line in ("1", "50", "bag", "30"):
            try:
                value = detail.read(line)
            except InputError:
                continue
            assert detail.of(detail.put(Visit(), value)) == value
            break
        else:
            pytest.fail(f"nothing fits {detail.name}")


@pytest.mark.parametrize(
    ("line", "name", "value"),
    [
        ("the label says 125", "rated_sealed", "125"),
        ('label says 125"', "rated_sealed", '125"'),
        ("The label says 114 CFM", "rated_airflow", "114 cfm"),
        ("unit filter bag", "filter", "bag"),
        ("unit other inlet Attic Room", "other_inlet", "Attic Room"),
        ("unit inlet hall", "inlet", "hall"),
        ("unit inlets hall, landing (up)", "inlets", "hall, landing (up)"),
        ("it is 12 years old", "age_years", "12 years old"),
    ],
)
def test_a_line_at_any_prompt_corrects_what_is_known(line: str, name: str, value: str) -> None:
    said = detail_said(line)
    assert said is not None
    assert (said[0].name, said[1]) == (name, value)


@pytest.mark.parametrize("line", ["1", "can't tell", "98 in", "label", "unity", "a label 3 ft up"])
def test_what_is_an_answer_is_not_taken_for_a_correction(line: str) -> None:
    assert detail_said(line) is None


@pytest.mark.parametrize("line", ["unit wheels 4", "unit filter"])
def test_a_correction_of_nothing_says_what_can_be_corrected(line: str) -> None:
    with pytest.raises(InputError) as caught:
        detail_said(line)
    assert "unit" in caught.value.right


@pytest.mark.parametrize(
    ("line", "here", "gone"),
    [
        ("", {"gauge", "torch"}, {"helper", "second-gauge"}),
        ("no gauge", {"torch"}, {"gauge", "helper"}),
        ("no gauge and tape, helper too", {"torch", "helper"}, {"gauge", "tape"}),
        ("without flashlight, have camera", {"camera"}, {"torch"}),
        ("everything", {"helper", "camera"}, set()),
        ("only gauge", {"gauge"}, {"orifice", "torch", "helper", "tape"}),
        ("just the gauge, flashlight and tape", {"gauge", "torch", "tape"}, {"ball", "helper"}),
        ("all but the gauge", {"torch", "orifice"}, {"gauge", "helper"}),
        ("everything except tape and ball", {"gauge", "torch"}, {"tape", "ball", "helper"}),
        ("no helper", {"gauge"}, {"helper", "second-gauge"}),
        ("nothing", set(), {"gauge", "torch", "helper"}),
    ],
)
def test_tools_are_taken_as_said_and_else_as_usual(
    line: str, here: set[str], gone: set[str]
) -> None:
    missing = tools_said(RULES, line, usual_missing(RULES))
    assert gone <= set(missing)
    assert not here & set(missing)


def test_a_tool_nobody_knows_is_refused_with_the_nearest() -> None:
    with pytest.raises(InputError, match="gauge"):
        tools_said(RULES, "no guage", ())


@pytest.mark.parametrize("line", ["no", "no gap", "none", "nothing", "have a look", "gauge"])
def test_an_answer_is_not_taken_for_a_missing_tool(line: str) -> None:
    assert missing_said(RULES, line, ()) is None


def test_a_tool_that_goes_or_comes_during_a_visit_is_taken_in() -> None:
    gone = missing_said(RULES, "no gauge today", ())
    assert gone == ("gauge",)
    assert missing_said(RULES, "I have a gauge", gone) == ()


def test_every_tool_a_check_needs_is_one_that_can_be_named_missing() -> None:
    needed = {tool for check in RULES.checks.values() for tool in check.tools}
    assert needed <= set(RULES.tools)
    asked = tools_ask(RULES)
    assert all(tool.title.lower() in asked for tool in RULES.tools.values())


def test_what_is_known_is_listed_with_the_word_that_changes_it() -> None:
    visit = Visit(site=Site(inlet="hall"), unit=Unit(rated_sealed=130), missing_tools=("gauge",))
    known = dict(known_words(RULES, visit))
    assert known["inlet"] == "hall"
    assert known["label"] == "130"
    assert "gauge" in known["without"]


@pytest.mark.parametrize(
    ("said", "kind"),
    [
        ("Self-cleaning", "cloth"),
        ("paper bag", "bag"),
        ("pleated", "cartridge"),
        ("foam", "foam"),
        ("no filter", "none"),
        ("bag and cloth", "hybrid-cloth"),
    ],
)
def test_a_filter_is_known_by_what_people_call_it(said: str, kind: str) -> None:
    assert BY_NAME["filter"].read(said) == kind


@pytest.mark.parametrize("said", ["about 8", "ca 8", "ca. 8 yrs", "~8", "Approx. 8 years", "8"])
def test_a_figure_that_is_not_exact_is_as_good(said: str) -> None:
    assert BY_NAME["age_years"].read(said) == 8.0


@pytest.mark.parametrize("said", ["about", "about that", "carpet 8", "~~8"])
def test_what_is_no_figure_stays_none(said: str) -> None:
    with pytest.raises(InputError):
        BY_NAME["age_years"].read(said)


def test_inlets_are_given_by_name_in_a_line_with_their_branches_in_brackets() -> None:
    inlets = BY_NAME["inlets"]
    visit = inlets.put(Visit(), inlets.read(" hall ,landing( upstairs), guest room (upstairs)"))
    named = [(one.name, one.branch) for one in visit.site.inlets]
    assert named == [("hall", ""), ("landing", "upstairs"), ("guest room", "upstairs")]
    assert inlets.of(visit) == "hall, landing (upstairs), guest room (upstairs)"
    with pytest.raises(InputError) as caught:
        inlets.read("hall, (upstairs)")
    assert "(upstairs)" in caught.value.what


@pytest.mark.parametrize(
    ("unit", "words"),
    [
        ({}, ""),
        ({"fitted": "2019-05-01"}, "fitted 2019-05-01"),
        ({"rated_sealed": 130.0}, "130 inH2O sealed"),
        ({"rated_airflow": 114.5}, "114.5 cfm"),
        ({"age_years": 0.0}, "about 0 years old"),
        ({"age_years": 12.4}, "about 12 years old"),
        ({"motors": 1}, "1 motor"),
        ({"motors": 2}, "2 motors"),
        ({"filter": "bag"}, "filter: bag"),
        (
            {"rated_sealed": 130.0, "rated_airflow": 114.0, "age_years": 3.0, "filter": "cloth"},
            "130 inH2O sealed, 114 cfm, about 3 years old, filter: cloth",
        ),
    ],
)
def test_a_unit_in_a_line_says_what_is_known_and_nothing_else(
    unit: dict[str, object], words: str
) -> None:
    assert unit_words(Unit(**unit)) == words


def test_a_complaint_may_be_long_and_a_name_may_not() -> None:
    assert len(str(BY_NAME["complaint"].read("x" * 3000))) == 2000
    assert len(str(BY_NAME["other_inlet"].read("x" * 3000))) == 200
    [inlet] = BY_NAME["inlets"].put(Visit(), f"{'x' * 300} ({'y' * 300})").site.inlets
    assert (len(inlet.name), len(inlet.branch)) == (200, 200)
    many = ", ".join(f"room {number}" for number in range(80))
    assert len(BY_NAME["inlets"].put(Visit(), many).site.inlets) == 60


def test_a_gauge_and_a_house_have_a_name_each() -> None:
    keys = [one.key for one in DETAILS]
    assert len(set(keys)) == len(keys)
    assert {"name", "gauge_name", "gauge_orifice_in", "rated_sealed"} <= set(keys)
    assert [one.key for one in OF_A_NEW_HOUSE] == ["name", "customer", "address", "phone"]


@pytest.mark.parametrize(
    ("line", "customer", "street", "phone"),
    [
        ("Dora Finch, 12 Quarry Lane, 555 0142", "Dora Finch", "12 Quarry Lane", "555 0142"),
        ("+44 (0)20 5550-142; Dora Finch", "Dora Finch", "", "+44 (0)20 5550-142"),
        ("12 Quarry Lane, Millbrook, 97201-1234", "", "12 Quarry Lane, Millbrook, 97201-1234", ""),
        ("D. Finch, Quarry Lane, Millbrook", "D. Finch", "Quarry Lane, Millbrook", ""),
        ("tel. 555-0142 ext 3,, ", "", "", "tel. 555-0142 ext 3"),
        ("Quarry Lane 12, 97201 Millbrook", "", "Quarry Lane 12, 97201 Millbrook", ""),
        ("5550142, 5550143", "", "", "5550142, 5550143"),
        (", ;", "", "", ""),
    ],
)
def test_whose_house_street_and_phone_are_told_apart(
    line: str, customer: str, street: str, phone: str
) -> None:
    assert people_said(line) == {"customer": customer, "address": street, "phone": phone}


def test_what_is_known_is_shown_as_it_is_typed_or_as_usual() -> None:
    visit = Visit(unit=Unit(rated_airflow=114.25, motors=2), site=Site(name="Hill 3"))
    assert BY_NAME["rated_airflow"].shown(visit) == "114.2"
    assert BY_NAME["motors"].shown(visit) == "2"
    assert BY_NAME["rated_sealed"].shown(visit) == ""
    known = dict(known_words(RULES, visit))
    assert (known["hose"], known["label"], known["motors"]) == ("30 (usual)", "-", "2")
    assert known["without"] == "nothing is missing"


@pytest.mark.parametrize(
    ("field", "line"), [("motors", "3"), ("motors", ""), ("filter", ""), ("filter", "c")]
)
def test_what_is_none_of_the_choices_or_two_of_them_is_refused(field: str, line: str) -> None:
    with pytest.raises(InputError, match="is not a") as caught:
        BY_NAME[field].read(line)
    assert "one of: " in caught.value.right


def test_no_stays_in_force_until_something_is_there() -> None:
    gone = tools_said(RULES, "no gauge and tape, have torch, ball", ("torch", "ball"))
    assert set(gone) == {"gauge", "tape"}
    # After "all" nothing is missing, whatever was said to be before.
    assert tools_said(RULES, "no gauge, everything, tape", ()) == ()
    assert set(tools_said(RULES, "none", ())) == set(RULES.tools)
    usual = {name for name, tool in RULES.tools.items() if tool.usual}
    assert set(usual_missing(RULES)) == set(RULES.tools) - usual
