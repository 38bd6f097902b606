"""The short way: which looks there are, and their order by chance over minutes, by hand."""

from __future__ import annotations

import numpy as np
import pytest
from small_rules import SMALL, small

from stillflow.engine import Session
from stillflow.engine.dialogue.shortway import MOST_LOOKS, ShortWay, short_way
from stillflow.engine.ruleset import Footing, Knowledge

FAULTS = ("seal-torn", "hose-clogged", "motor-worn", "nothing-wrong")
SPREAD = np.array([0.4, 0.3, 0.2, 0.1])


def looks(minutes: dict[str, float], first: str = "") -> Knowledge:
    """The small rules with looks of so many minutes, none behind an access."""
    checks = "".join(
        f"""
  - id: {name}
    kind: choice
    ask: How is {name}?
    how: [Look.]
    minutes: {cost:g}
    answers:
      - {{id: fine, label: fine, usual: 0.9}}
      - {{id: broken, label: broken, usual: 0.1}}
    source: common-practice"""
        for name, cost in minutes.items()
    )
    return small(SMALL.replace("\nrules:\n", f"{checks}\nrules:\n{first}"))


def way(minutes: dict[str, float], surely: list[list[float]]) -> ShortWay:
    knowledge = looks(minutes)
    return ShortWay(knowledge, tuple(knowledge.checks[n] for n in minutes), np.array(surely))


def test_the_most_chance_for_the_minutes_comes_first() -> None:
    """Chances .4, .3 and .2 in 8, 3 and 1 minutes: .05, .1 and .2 a minute."""
    found = way(
        {"first": 8.0, "second": 3.0, "third": 1.0},
        [[1.0, 0, 0, 0], [0, 1.0, 0, 0], [0, 0, 1.0, 0]],
    )
    order, shows = found.order(SPREAD, Footing(None), ())
    assert order == ("third", "second", "first")
    assert shows == pytest.approx(0.9)
    assert found.number == {"first": 1, "second": 2, "third": 3}
    # In another scale the same.
    again, share = found.order(SPREAD * 7.0, Footing(None), ())
    assert (again, share) == (order, pytest.approx(0.9))


def test_what_a_look_has_shown_is_no_reason_for_another() -> None:
    """Both show the first fault; once the sure one was made, little is left for the other."""
    found = way({"sure": 2.0, "likewise": 1.0}, [[1.0, 1.0, 0, 0], [0.3, 0, 0, 0]])
    # .7 in 2 minutes before .12 in 1; then nothing of the first fault is left.
    assert found.order(SPREAD, Footing(None), ()) == (("sure",), pytest.approx(0.7))
    # Where the first is not to be made, the other is: .3 of .4.
    assert found.order(SPREAD, Footing(None), {"sure"}) == (("likewise",), pytest.approx(0.12))


def test_half_sure_looks_leave_the_other_half() -> None:
    found = way({"one": 1.0, "two": 1.0}, [[0.5, 0, 0, 0], [0.5, 0, 0, 0]])
    # Alike, so the one that stands first; then half of the half.
    order, shows = found.order(SPREAD, Footing(None), ())
    assert (order, shows) == (("one", "two"), pytest.approx(0.4 * 0.75))


@pytest.mark.parametrize(("chance", "named"), [(0.011, True), (0.009, False)])
def test_a_look_is_named_from_one_in_a_hundred(chance: float, named: bool) -> None:
    found = way({"one": 1.0}, [[chance, 0, 0, 0]])
    order, _ = found.order(np.array([1.0, 0, 0, 0]), Footing(None), ())
    assert bool(order) is named


def test_no_more_looks_are_named_than_fit() -> None:
    names = {f"look-{number}": 1.0 for number in range(MOST_LOOKS + 2)}
    found = way(names, [[0.2, 0, 0, 0]] * len(names))
    order, _ = found.order(SPREAD, Footing(None), ())
    assert order == tuple(names)[:MOST_LOOKS]


def test_the_looks_are_those_that_all_but_prove_a_fault() -> None:
    found = short_way(Session(small()))
    # The one that opens the lid and finds the tear; a hiss proves nothing.
    assert [one.id for one in found.looks] == ["seal-look"]
    [sure] = found.surely
    column = small().fault_index["seal-torn"]
    assert sure[column] > 0.5
    assert np.delete(sure, column) == pytest.approx(np.zeros(len(FAULTS) - 1))


SHOWS = """  - id: shown-{name}
    when: {{fact: answer.{name}, is: broken}}
    then: [{{for: {fault}, strength: decisive}}]
    because: It is seen.
    source: common-practice
"""


def of(minutes: dict[str, float], **shows: str) -> ShortWay:
    rules = "".join(SHOWS.format(name=name, fault=fault) for name, fault in shows.items())
    return short_way(Session(looks(minutes, rules)))


def test_of_two_looks_at_one_fault_the_quicker_is_kept() -> None:
    found = of({"slow": 30.0, "quick": 2.0}, slow="hose-clogged", quick="hose-clogged")
    assert [one.id for one in found.looks] == ["quick", "seal-look"]


def test_looks_stand_along_the_way_of_the_air_to_the_unit() -> None:
    found = of({"bench": 2.0, "hose": 2.0}, bench="motor-worn", hose="hose-clogged")
    # In the hose before in the unit; in the unit a leak before weak power.
    assert [one.id for one in found.looks] == ["hose", "seal-look", "bench"]
    assert found.surely.shape == (3, len(FAULTS))


def test_what_is_rare_and_what_is_no_fault_is_not_looked_for() -> None:
    knowledge = looks(
        {"well": 1.0, "hose": 1.0},
        SHOWS.format(name="well", fault="nothing-wrong")
        + SHOWS.format(name="hose", fault="hose-clogged"),
    )
    session = Session(knowledge)
    assert [one.id for one in short_way(session).looks] == ["hose", "seal-look"]
    chance = dict(zip(knowledge.faults, session.progress.probabilities, strict=True))
    above = max(chance["hose-clogged"], chance["seal-torn"]) + 1e-6
    assert short_way(session, above).looks == ()


@pytest.mark.parametrize("kind", ["first: true", "verifies: true"])
def test_questions_about_danger_and_proof_are_no_looks(kind: str) -> None:
    good = ", good: true" if kind.startswith("verifies") else ""
    question = f"""
  - id: told
    kind: choice
    ask: How is it?
    how: [Look.]
    minutes: 1
    {kind}
    answers:
      - {{id: fine, label: fine, usual: 0.9{good}}}
      - {{id: broken, label: broken, usual: 0.1}}
    source: common-practice
rules:
"""
    rules = SHOWS.format(name="told", fault="hose-clogged")
    knowledge = small(SMALL.replace("\nrules:\n", f"{question}{rules}"))
    assert ("told", "broken") in knowledge.shown
    assert [one.id for one in short_way(Session(knowledge)).looks] == ["seal-look"]
