"""What a complaint plainly says is taken from it, and nothing else is."""

from __future__ import annotations

import pytest

from stillflow.casebook.cases import load_cases
from stillflow.engine import load_rules
from stillflow.engine.ruleset.hearing import heard

RULES = load_rules()


def answers(complaint: str) -> dict[str, str]:
    return {one.check: one.answer for one in heard(RULES, complaint).values()}


@pytest.mark.parametrize(
    ("complaint", "taken"),
    [
        ("Weak everywhere.", {"where-weak": "everywhere"}),
        (
            "WEAK EVERYWHERE since I emptied it",
            {"where-weak": "everywhere", "what-before": "emptied"},
        ),
        (
            "It is only upstairs, it came slowly.",
            {"where-weak": "one-floor", "how-began": "over-weeks"},
        ),
        ("It never pulled well.", {"ever-better": "never-better"}),
        ("there's a burning smell", {"danger-signs": "burning-smell"}),
        ("It never pulls as strong as my sister's", {"ever-better": "never-better"}),
        ("never as strong as we were promised", {"ever-better": "never-better"}),
        ("It has never been strong", {"ever-better": "never-better"}),
        ("never had good suction", {"ever-better": "never-better"}),
        ("It is weaker than my neighbor's", {"ever-better": "other-machine"}),
        ("It has always been weak", {"how-began": "always"}),
        ("weak since day one", {"how-began": "always"}),
        ("weak from the start", {"how-began": "always"}),
        ("not as strong as it used to be", {"ever-better": "was-better"}),
        ("It lost its suction", {"ever-better": "was-better"}),
        ("it used to work great", {"ever-better": "was-better"}),
        ("wherever I plug in it is weak", {"where-weak": "everywhere"}),
        ("Weak throughout the house", {"where-weak": "everywhere"}),
        ("weak no matter which inlet", {"where-weak": "everywhere"}),
        ("Only one inlet is weak", {"where-weak": "one-inlet"}),
        ("weak in the hall, the other inlets are fine", {"where-weak": "one-inlet"}),
        ("Upstairs only", {"where-weak": "one-floor"}),
        ("weak upstairs, downstairs is fine", {"where-weak": "one-floor"}),
        ("bit by bit it got weak", {"how-began": "over-weeks"}),
        ("it's been getting weaker", {"how-began": "over-weeks"}),
        ("gets weaker every week", {"how-began": "over-weeks"}),
        ("It worked fine yesterday", {"how-began": "suddenly"}),
        ("out of nowhere it quit", {"how-began": "suddenly"}),
        ("some days it is fine", {"how-began": "comes-and-goes"}),
        ("weak ever since I emptied it", {"what-before": "emptied"}),
        ("since we changed the filter", {"what-before": "emptied"}),
        ("since the remodel", {"what-before": "building-work"}),
        ("it shuts itself off", {"how-fades": "stops-when-hot"}),
        ("fine for a few minutes", {"how-fades": "fades"}),
        ("it whistles at the inlet", {"new-noise": "whistle-at-wall"}),
        ("I saw smoke", {"danger-signs": "smoke"}),
        (
            "Suddenly no suction since the kid vacuumed up a sock",
            {"how-began": "suddenly", "what-before": "large-pickup"},
        ),
        (
            "The study upstairs hardly pulls any more, the other rooms are fine",
            {"where-weak": "one-inlet"},
        ),
        ("Weak upstairs since the bathroom was redone", {"what-before": "building-work"}),
        ("the inlet whistles", {"new-noise": "whistle-at-wall"}),
        ("burnt smell", {"danger-signs": "burning-smell"}),
    ],
)
def test_what_is_plainly_said_is_taken(complaint: str, taken: dict[str, str]) -> None:
    assert answers(complaint) == taken


@pytest.mark.parametrize(
    "complaint",
    [
        "",
        "It doesn't pull everywhere as it should",
        "Not everywhere",
        "It isn’t everywhere",
        "Maybe everywhere",
        "Is it weak everywhere?",
        "Everywhere except in the kitchen",
        "My neighbour said hers is weak everywhere",
        "It used to be weak everywhere",
        "no burning smell",
        "I don't think there was smoke",
        "anywhere and everywhereness",
        "it was slow",
        "I need only one inlet now",
        "We have checked every inlet twice",
        "I looked everywhere",
        "There is dust everywhere",
        "The brush turns slowly",
        "He must have sucked up something wet",
        "It never pulled as strong as it used to",
        "I don't know whether it was always weak",
        "Maybe it lost suction",
        "Is it not as strong as it used to be?",
        "My sister says it is weaker than my neighbor's",
        "it is not weaker than my neighbor's",
        "It did not come out of nowhere",
        "I hardly saw smoke coming out",
        "We switch it off and on",
        "I never saw smoke",
        "there is water all over",
        "There is not suddenly no suction",
    ],
)
def test_what_is_denied_doubted_or_only_like_it_is_not_taken(complaint: str) -> None:
    assert answers(complaint) == {}


def test_words_that_point_two_ways_give_nothing() -> None:
    assert "where-weak" not in answers("weak everywhere. It is only upstairs.")
    assert "where-weak" not in answers("It is weak everywhere. It is not everywhere.")


def test_a_denial_in_another_clause_leaves_what_is_plain_alone() -> None:
    assert answers("It does not whistle, it came suddenly") == {"how-began": "suddenly"}


def test_the_words_it_was_taken_from_are_told() -> None:
    assert heard(RULES, "Since we emptied the bin")["what-before"].words == "since we emptied"


@pytest.mark.parametrize("phrase", RULES.phrases.values(), ids=lambda one: one.id)
def test_every_phrase_is_taken_as_written_and_never_when_denied(phrase: object) -> None:
    from stillflow.engine.ruleset.entries import Phrase

    assert isinstance(phrase, Phrase)
    for said in phrase.says:
        assert said == said.lower()
        assert answers(f"It is weak: {said}!").get(phrase.check) == phrase.answer
        assert phrase.check not in answers(f"It is not that {said}")
        assert phrase.check not in answers(f"x{said}x")


def test_no_worked_case_is_told_otherwise_by_its_own_complaint() -> None:
    taken = 0
    for case in load_cases():
        for check, answer in answers(case.visit.complaint).items():
            taken += 1
            assert answer in case.finds.get(check, (answer,)), case.name
    assert taken > 10
