"""What is said of an entry is what the rules do with it."""

from __future__ import annotations

import pytest
from broken_rules import TIDY, declared, twins
from pydantic import TypeAdapter
from small_rules import SMALL, small

from stillflow.engine.airflow.effects import Effect
from stillflow.engine.audit.cards import CheckCard, FaultCard, RuleCard
from stillflow.engine.audit.coverage import Coverage, FaultCover, cover, holes, page
from stillflow.engine.audit.lookup import answers_fire, look_up
from stillflow.engine.base.errors import InputError
from stillflow.engine.base.scales import AirState, Station
from stillflow.engine.inference.bearings import bearings_of
from stillflow.engine.ruleset.conditions import Leaf
from stillflow.engine.ruleset.knowledge import Knowledge
from stillflow.engine.ruleset.loading import load_rules
from stillflow.engine.ruleset.words import condition_words, effect_words


def words(**leaf: object) -> str:
    return condition_words(Leaf.model_validate(leaf), small())


@pytest.mark.parametrize(
    ("leaf", "said"),
    [
        ({"fact": "level.sealed.inlet", "is": "low"}, "sealed suction at the inlet is low"),
        (
            {"fact": "level.working.hose", "one_of": ["low", "absurd", "fine"]},
            "working suction at the hose end is low, too high or as it should be",
        ),
        (
            {"fact": "level.working.hose", "is_not": "low"},
            "working suction at the hose end is anything but low",
        ),
        (
            {"fact": "share.sealed.unit", "below": 0.85},
            "sealed suction at the unit is less than 85 % of what it should be",
        ),
        (
            {"fact": "reading.sealed.unit", "at_least": 90},
            "sealed suction at the unit is at least 90 inH2O",
        ),
        (
            {"fact": "kept.sealed.inlet-hose", "at_least": 0.93},
            "sealed, the hose end keeps at least 93 % of what the inlet has "
            "(as shares of expected)",
        ),
        (
            {"fact": "drop.working.inlet-hose", "above": 25},
            "from the inlet to the hose end working suction falls by more than 25 inH2O",
        ),
        (
            {"fact": "margin.inlet", "below": -2},
            "sealed less working suction at the inlet is less than -2 inH2O",
        ),
        (
            {"fact": "answer.seal-look", "is": "torn"},
            'the answer to "How does the seal look?" is "torn"',
        ),
        ({"fact": "tried.seal-torn", "is": True}, "this was dealt with: Torn seal"),
        ({"fact": "finding.short", "is": True}, "it was found: short"),
        (
            {"fact": "unit.age_years", "at_least": 3, "below": 1500},
            "the unit's age in years is less than 1,500 and at least 3",
        ),
    ],
)
def test_a_comparison_is_said_in_words(leaf: dict[str, object], said: str) -> None:
    assert words(**leaf) == said


@pytest.mark.parametrize(
    ("effect", "said"),
    [
        ({"kind": "hole", "at": "bin", "diameter_in": [0.2, 0.8]}, "0.2 to 0.8 in at the bin"),
        ({"kind": "throat", "at": "hose", "diameter_in": [0.4, 1]}, "squeezed to 0.4 to 1 in"),
        ({"kind": "loading", "at": "filter", "times": [12, 90]}, "the filter resists 12 to 90"),
        ({"kind": "speed", "factor": [0.5, 0.9]}, "0.5 to 0.9 of its speed"),
        ({"kind": "motor-dead"}, "one of two motors"),
        (
            {"kind": "hose-size", "length_ft": [40, 60], "bore_in": [1, 1.2]},
            "40 to 60 ft long with a bore of 1 to 1.2 in",
        ),
        ({"kind": "gauge-offset", "inh2o": [-20, -6]}, "-20 to -6 inH2O from zero"),
        ({"kind": "gauge-factor", "factor": [0.4, 0.9]}, "0.4 to 0.9 of the truth"),
        ({"kind": "orifice", "diameter_in": [0.7, 0.9]}, "an orifice of 0.7 to 0.9 in"),
        ({"kind": "none"}, "nothing in the air changes"),
    ],
)
def test_an_effect_is_said_with_its_sizes(effect: dict[str, object], said: str) -> None:
    assert said in effect_words(TypeAdapter(Effect).validate_python(effect))


def test_a_rule_names_what_it_rests_on_through_findings_and_who_uses_its_own() -> None:
    [hiss] = look_up(small(), "hiss-when-short")
    assert isinstance(hiss, RuleCard)
    assert [one.id for one in hiss.checks] == ["hiss", "sealed-inlet"]
    assert hiss.cautions == ("Unplug the unit first.",)
    [low] = look_up(small(), "low-sealed")
    assert isinstance(low, RuleCard)
    assert (low.finds, low.used_by) == (("short",), ("hiss-when-short",))
    assert [one.id for one in low.evidence[0].faults] == ["motor-worn", "seal-torn"]


def test_how_much_a_rule_on_readings_says_is_what_the_airflow_model_gives() -> None:
    # Low with the fault, over low with the others, each as common as it is.
    knowledge = small()
    bearings = bearings_of(knowledge)
    assert bearings is not None
    low = dict(
        zip(knowledge.faults, bearings.chances((AirState.SEALED, Station.INLET))[0], strict=True)
    )
    common = {name: fault.how_common.weight for name, fault in knowledge.faults.items()}
    expected = {}
    for name in ("motor-worn", "seal-torn"):
        others = [one for one in low if one != name]
        elsewhere = sum(common[one] * low[one] for one in others) / sum(map(common.get, others))
        expected[name] = round(low[name] / elsewhere, 1)
    [card] = look_up(knowledge, "low-sealed")
    assert isinstance(card, RuleCard)
    [said] = card.evidence
    assert (said.strength, said.direction) == ("computed", "for")
    assert (said.least, said.times) == tuple(sorted(expected.values()))
    [fault] = look_up(knowledge, "seal-torn")
    assert isinstance(fault, FaultCard)
    [voice] = [one for one in fault.raised_by if one.rule == "low-sealed"]
    assert voice.times == expected["seal-torn"]


def test_the_levels_of_a_reading_are_shown_as_often_as_the_airflow_model_has_them() -> None:
    [card] = look_up(small(), "sealed-inlet")
    assert isinstance(card, CheckCard)
    assert sum(one.usual for one in card.answers) == pytest.approx(1.0, abs=0.002)
    low, fine, absurd = (one.usual for one in card.answers)
    # The seal and the motor, by how common they are, are behind most of what is low.
    assert absurd < 0.01 < low < fine + low


def test_a_fault_has_the_loudest_voices_first_and_the_cautions_of_what_it_opens() -> None:
    [card] = look_up(small(), "seal-torn")
    assert isinstance(card, FaultCard)
    assert [one.rule for one in card.raised_by] == ["torn", "hiss-when-short", "low-sealed"]
    assert [one.rule for one in card.lowered_by] == ["whole", "fine-sealed"]
    assert card.fix.opens == "Lid off the unit"
    assert card.fix.cautions == ("Unplug the unit first.",)
    assert card.line == SMALL[: SMALL.index("id: seal-torn")].count("\n") + 1


def test_a_fault_names_its_like() -> None:
    knowledge = small(twins(alike=declared("seal-torn", "seal-twin")))
    [card] = look_up(knowledge, "seal-twin")
    assert isinstance(card, FaultCard)
    assert [one.id for one in card.alike] == ["seal-torn"]
    assert card.alike_because == "Either way a new seal is fitted."


def test_a_check_lists_what_each_answer_fires_alone_and_what_needs_more() -> None:
    [card] = look_up(small(), "hiss")
    assert isinstance(card, CheckCard)
    assert [one.rules for one in card.answers] == [(), ()]
    assert card.rules == ("hiss-when-short",)
    [reading] = look_up(small(), "sealed-inlet")
    assert isinstance(reading, CheckCard)
    assert {one.id: one.rules for one in reading.answers} == {
        "low": ("low-sealed",),
        "fine": ("fine-sealed",),
        "absurd": (),
    }


def test_an_id_that_stands_in_two_sections_gives_both() -> None:
    knowledge = small(SMALL.replace("- id: torn\n", "- id: hiss\n", 1))
    assert [card.kind for card in look_up(knowledge, "hiss")] == ["check", "rule"]


def test_an_unknown_id_names_the_nearest() -> None:
    with pytest.raises(InputError, match="did you mean 'seal-torn'"):
        look_up(small(), "seal-thorn")


def test_coverage_counts_single_answers_and_names_the_rest_apart() -> None:
    covered = cover(small(TIDY))
    by_id = {one.id: one for one in covered.faults}
    assert by_id["seal-torn"].raised_by["seal-look"] == 5
    assert by_id["seal-torn"].lowered_by["seal-look"] == 4
    assert by_id["seal-torn"].together == ("hiss",)


def test_a_reading_counts_in_coverage_as_the_airflow_model_has_it() -> None:
    by_id = {one.id: one for one in cover(small()).faults}
    # No level of a sealed reading is ten times likelier with a clog; half a power of ten it is.
    assert by_id["hose-clogged"].raised_by == {"sealed-inlet": 2, "working-inlet": 2}
    # At the hose end a leak and a clog look alike, so it says next to nothing of the leak.
    assert "working-hose" not in by_id["seal-torn"].raised_by
    # Suction that nobody reads says nothing, however telling it would be.
    assert max(by_id["nothing-wrong"].raised_by.values()) == 2


def test_holes_are_named_on_the_page() -> None:
    covered = cover(small())
    thin = list(holes(covered).values())
    assert "hose-clogged" in thin[0]
    text = page(covered)
    assert "nothing very strong or decisive for them): hose-clogged," in text
    assert "- raised by seal-look 5, sealed-inlet 2, working-inlet 2" in text


def test_a_fault_that_only_one_check_raises_is_a_hole() -> None:
    said = {"id": "dent", "title": "A dent", "place": "hose", "lowered_by": {}, "together": ()}
    for raised_by, thin in (({"look": 4}, ("dent",)), ({"look": 4, "feel": 1}, ())):
        one = FaultCover(**said, raised_by=raised_by)
        covered = Coverage(faults=(one,), checks=dict.fromkeys(raised_by, "hose"), rules=2)
        assert holes(covered)["Faults that fewer than two checks raise"] == thin


def test_a_check_nobody_uses_is_a_hole() -> None:
    covered = cover(small())
    assert holes(covered)["Checks that bear on no fault"] == ("works-now",)


@pytest.fixture(scope="module")
def shipped() -> Knowledge:
    return load_rules()


def test_every_shipped_entry_can_be_looked_up(shipped: Knowledge) -> None:
    for entry_id in (*shipped.faults, *shipped.checks, *shipped.rules):
        for card in look_up(shipped, entry_id):
            assert card.line is not None
            assert card.source.words


def test_each_answer_of_a_shipped_check_is_heard_by_some_rule(shipped: Knowledge) -> None:
    silent = {
        check.id
        for check in shipped.checks.values()
        if not any(answers_fire(shipped, check).values())
    }
    assert silent == set()
