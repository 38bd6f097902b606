"""What the shipped rules let hands do, they say the danger of first."""

from __future__ import annotations

import re

import pytest

from stillflow.engine import load_rules
from stillflow.engine.base import Mode, Station, Where
from stillflow.engine.ruleset import Knowledge, Stop


@pytest.fixture(scope="module")
def knowledge() -> Knowledge:
    return load_rules()


def tasks(knowledge: Knowledge) -> dict[str, tuple[str, set[str]]]:
    """Every check and fix: its words, and the cautions shown with it."""
    found = {}
    for check in knowledge.checks.values():
        opened = knowledge.accesses[check.access].cautions if check.access else ()
        found[check.id] = (" ".join((check.ask, *check.how)), {*check.cautions, *opened})
    for fault in knowledge.faults.values():
        fix = fault.fix
        opened = knowledge.accesses[fix.access].cautions if fix.access else ()
        found[fault.id] = (" ".join((*fix.steps, *fix.parts)), {*fix.cautions, *opened})
    return found


@pytest.mark.parametrize(
    ("words", "caution"),
    [
        (r"solvent cement|\bglue\b(?! (on|gun))", "solvent-vapor"),
        (r"tubing off|clamps of the coupling", "unplug-first"),
        (r"\b(pleats|the cloth)\b", "fine-building-dust"),
        (r"\b(nest|mold|damp)\b", "mold-and-droppings"),
        (r"crawl space|\battic\b", "crawl-space"),
        (r"\bempty it\b|pull the plug out by hand", "sharp-things"),
        (r"\bmotor (cover|space)\b|\bcommutator\b|\bthe motor out\b", "charged-board"),
        (r"(?:take|with) the (tool|wand) off|roller", "powered-brush"),
        (r"along the hose|hose out (straight|of the)|both cuffs|cuff in\b", "wired-hose"),
    ],
)
def test_a_step_that_meets_a_danger_says_it_first(
    words: str, caution: str, knowledge: Knowledge
) -> None:
    met = {
        name
        for name, (text, _) in tasks(knowledge).items()
        if re.search(words, text, re.IGNORECASE)
    }
    said = {name for name, (_, cautions) in tasks(knowledge).items() if caution in cautions}
    assert met
    assert met - said == set()


def test_nothing_is_taken_off_a_running_unit(knowledge: Knowledge) -> None:
    for name, (text, cautions) in tasks(knowledge).items():
        if cautions & {"brush-turns", "unplug-first"}:
            assert not re.search(r"with the unit (running|on),? (take|pull|open)", text), name


def test_a_fix_of_the_hose_or_a_reading_at_its_end_says_that_it_may_carry_house_current(
    knowledge: Knowledge,
) -> None:
    for fault in knowledge.faults.values():
        if fault.place is Where.HOSE and fault.mode in (Mode.LEAK, Mode.OBSTRUCTION):
            assert "wired-hose" in fault.fix.cautions, fault.id
    for check in knowledge.checks.values():
        if check.station is Station.HOSE:
            assert "wired-hose" in check.cautions, check.id


@pytest.mark.parametrize(
    ("forbids", "does"),
    [
        ("do not run the unit to dry it", r"\bair drawn through\b|\brun the unit to dry\b"),
        ("Do not knock, shake, brush or blow", r"\b(knock|shake)\b"),
    ],
)
def test_no_step_does_what_a_stop_or_a_caution_forbids(
    forbids: str, does: str, knowledge: Knowledge
) -> None:
    stops = [one for rule in knowledge.rules.values() for one in rule.then if isinstance(one, Stop)]
    said = [one.do_not for one in stops] + [one.text for one in knowledge.cautions.values()]
    assert any(forbids in one for one in said)
    for name, (text, _) in tasks(knowledge).items():
        for sentence in re.split(r"(?<=[.;:])\s", text):
            if "not" not in sentence.split():
                assert not re.search(does, sentence, re.IGNORECASE), (name, sentence)


@pytest.mark.parametrize("answer", ["shock", "embers", "flammable"])
def test_the_first_question_stops_for_what_is_worse_than_weak_suction(
    answer: str, knowledge: Knowledge
) -> None:
    assert answer in knowledge.checks["danger-signs"].answer_ids
    assert knowledge.checks["danger-signs"].first


def test_a_step_that_takes_two_asks_for_a_helper(knowledge: Knowledge) -> None:
    two = re.compile(
        r"\b(have|let) (somebody|someone|another|the customer) (run|start|hold)|"
        r"have the unit started|second person|from the other end",
        re.IGNORECASE,
    )
    assert "helper" in knowledge.tools
    for check in knowledge.checks.values():
        if two.search(" ".join(check.how)):
            assert "helper" in check.tools, check.id
