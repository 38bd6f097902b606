"""Every shipped worked case, by name: the engine comes to what a good technician would.

The readings in a case are held to the airflow model of the case's own house. Severe cases are drawn
by `severe_cases.py` and kept as drawn; a few of them, taken by the hash of their names, are played
here, all by `.ci/run cases`.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from functools import cache
from zlib import crc32

import pytest
from ruamel.yaml import YAML
from severe_cases import FOLDER, severe_case

from stillflow.casebook.cases import (
    Case,
    PlayedCase,
    fixed_in_cases,
    load_cases,
    play,
    worked_out,
)
from stillflow.engine.base.scales import Where
from stillflow.engine.inference import CANT_TELL
from stillflow.engine.ruleset.entries import Stop
from stillflow.engine.ruleset.knowledge import Knowledge
from stillflow.engine.ruleset.loading import load_rules

ALL = load_cases()
EVERY_SEVERE = "STILLFLOW_EVERY_CASE" in os.environ
SEVERE = [
    case
    for case in ALL
    if case.kind == "severe" and (EVERY_SEVERE or crc32(case.name.encode()) % 12 == 0)
]
CASES = [case for case in ALL if case.kind != "severe"]
HOUSES = [case for case in CASES + SEVERE if case.house is not None]

GRADUATION = 1.0
"""Of the gauge, inH2O: how near a written reading must be to the house's."""


@pytest.fixture(scope="module")
def knowledge() -> Knowledge:
    return load_rules()


Plays = Callable[[Case], PlayedCase]


@pytest.fixture(scope="module")
def played(knowledge: Knowledge) -> Plays:
    """Plays a case as it is told, once for all tests that look at it."""
    by_name = {case.name: case for case in ALL}
    once = cache(lambda name: play(by_name[name], knowledge))
    return lambda case: once(case.name)


def _timed(case: Case) -> object:
    """The plain ones are for `.ci/run slow`: misleading ones have the same faults."""
    marks = [pytest.mark.slow] if case.kind == "plain" else []
    return pytest.param(case, id=case.name, marks=marks)


@pytest.mark.parametrize("case", [_timed(case) for case in CASES])
def test_the_engine_comes_to_what_a_good_technician_would(case: Case, played: Plays) -> None:
    asked = [turn.step.check.id for turn in played(case).turns if turn.step.check is not None]
    assert played(case).problems == (), asked


MISSED = {
    "severe-damper-stuck": ("bag-full", "screen-matted", "damper-stuck"),
    "severe-as-good-as-it-gets": ("label-too-good",),
    "severe-tube-crushed": ("soft-clog-trunk", "tube-crushed"),
}
"""What the engine does on severe cases that it does not come straight to the end of.

Of damper and tube the gauge cannot tell a rare fault from one that is ten to thirty times as common
and quickly mended: it is tried first, as anybody would who has to find the other by opening things.
A unit that makes its label is told that it never made it: a label is doubted by as much as it may
promise too much, so that readings do not part the two. In either case nothing is broken.
"""


@pytest.mark.parametrize("case", SEVERE, ids=lambda case: case.name)
def test_the_engine_comes_to_a_gross_fault_or_misses_it_as_is_known(
    case: Case, played: Plays
) -> None:
    assert played(case).fixes == MISSED.get(case.name, case.expect.fixes)
    assert played(case).ends == case.expect.ends


@pytest.mark.parametrize("case", SEVERE, ids=lambda case: case.name)
def test_a_severe_case_is_as_drawn(case: Case, knowledge: Knowledge) -> None:
    [fault] = case.expect.fixes
    text = (FOLDER / f"{case.name}.yaml").read_text(encoding="utf-8")
    assert YAML(typ="safe").load(text) == severe_case(knowledge, knowledge.faults[fault])


def test_every_fault_is_fixed_in_a_plain_a_severe_and_a_misleading_case(
    knowledge: Knowledge,
) -> None:
    for kind, fixed in fixed_in_cases().items():
        assert set(knowledge.faults) - fixed == set(), kind


def test_every_stop_rule_is_what_ends_a_case(knowledge: Knowledge, played: Plays) -> None:
    endings = [played(case).last.ending for case in CASES if case.kind == "stop"]
    ended = {ending.what for ending in endings if ending is not None}
    unheard = {
        rule.id
        for rule in knowledge.rules.values()
        for item in rule.then
        if isinstance(item, Stop) and item.stop not in ended
    }
    assert unheard == set()


def test_every_caution_is_shown_before_some_step_of_a_case(
    knowledge: Knowledge, played: Plays
) -> None:
    shown: set[str] = set()
    for caution in knowledge.cautions.values():
        for case in _cases_that_meet(caution.id, knowledge):
            if caution.text in shown:
                break
            for turn in played(case).turns:
                for step in (turn.step.check, turn.step.fix):
                    shown.update(step.cautions if step is not None else ())
        assert caution.text in shown, caution.id


def _cases_that_meet(caution: str, knowledge: Knowledge) -> Iterator[Case]:
    """Cases that fix what the caution belongs to, then those that say what such a check finds.

    Plain ones last: the others have been played before.
    """
    cases = sorted(CASES, key=lambda case: case.kind == "plain")
    for case in cases:
        if any(caution in knowledge.faults[one].fix.cautions for one in case.expect.fixes):
            yield case
    for case in cases:
        if any(caution in knowledge.checks[one].cautions for one in case.finds):
            yield case


@pytest.mark.parametrize("case", HOUSES, ids=lambda case: case.name)
def test_the_readings_are_those_of_the_house(case: Case, knowledge: Knowledge) -> None:
    compared = 0
    for fixed in range(len(case.after) + 1):
        house = worked_out(case, knowledge, fixed)
        for check_id, answers in case.answers(fixed).items():
            if check_id in house:
                # Of answers in turn the last is the good reading, the ones before slips.
                assert answers[-1] == pytest.approx(house[check_id], abs=GRADUATION / 2), check_id
                compared += 1
    assert compared >= 10


@pytest.mark.parametrize("case", HOUSES, ids=lambda case: case.name)
def test_the_house_has_the_faults_at_sizes_the_rules_know(case: Case, knowledge: Knowledge) -> None:
    assert case.house is not None
    faults = knowledge.faults
    fixes = set(case.expect.fixes)
    # A gauge that reads wrong may stay as it is once the customer's own tool pulls.
    left = {name for name in case.house.faults if faults[name].mode == "measurement"} - fixes
    normal = {one for one in fixes if faults[one].mode == "normal" and one not in case.house.faults}
    assert set(case.house.faults) - left == fixes - normal
    for fault_id, sizes in case.house.faults.items():
        ranges = knowledge.faults[fault_id].effect.ranges()
        assert len(sizes) == len(ranges)
        for size, (low, high) in zip(sizes, ranges, strict=True):
            assert low <= size <= high, fault_id


@pytest.mark.parametrize("case", HOUSES, ids=lambda case: case.name)
def test_house_and_visit_tell_of_one_place(case: Case) -> None:
    assert case.house is not None
    path, site, unit = case.house.air_path, case.visit.site, case.visit.unit
    assert path.altitude_ft == site.altitude_ft
    if unit.rated_sealed is not None:
        assert path.fan.sealed_inh2o == unit.rated_sealed
        assert path.fan.airflow_cfm == unit.rated_airflow


def test_the_cases_reach_every_part_of_a_system(knowledge: Knowledge) -> None:
    faults = [knowledge.faults[fault] for case in CASES for fault in case.expect.fixes]
    assert {fault.place for fault in faults} == set(Where)
    assert {case.kind for case in CASES} == {"plain", "misleading", "stop"}
    assert any(len(case.expect.fixes) > 1 for case in CASES)
    assert len(CASES) >= 12
    assert len({case.title for case in ALL}) == len(ALL)


def test_who_cannot_tell_the_cord_and_the_nameplate_still_hears_that_the_label_is_too_good(
    knowledge: Knowledge,
) -> None:
    case = next(one for one in CASES if one.name == "label-kinder-than-the-unit")
    unsure = {"how-fed": (CANT_TELL,), "nameplate-look": (CANT_TELL,)}
    played = play(case.model_copy(update={"finds": {**case.finds, **unsure}}), knowledge)
    assert played.problems == ()
    assert played.checks <= 12
