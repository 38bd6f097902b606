"""The tree in words: what the gauge shows here, joined answers, dangers, no ids."""

from __future__ import annotations

import re
from functools import cache

import pytest
from small_rules import SMALL, small

from stillflow.engine import Session, load_rules
from stillflow.engine.charts.decision import DecisionTree, TreeNode
from stillflow.engine.charts.picture import TitleBlock
from stillflow.engine.dialogue.unrolled import visit_tree
from stillflow.engine.inference.visit import Unit, Visit
from stillflow.engine.ruleset.knowledge import Knowledge
from stillflow.engine.views.decision import decision_tree

RATED = Visit(unit=Unit(rated_sealed=130, rated_airflow=114))


def drawn(knowledge: Knowledge, visit: Visit = RATED, reach: float = 0.0) -> DecisionTree:
    session = Session(knowledge, visit)
    tree = visit_tree(session, reach=reach)
    return decision_tree(tree, knowledge, session.baseline, TitleBlock(title="A tree"))


@cache
def shipped() -> DecisionTree:
    """A tree of the shipped rules, made once for all tests."""
    return drawn(load_rules(), reach=0.03)


def of_kind(tree: DecisionTree, kind: str) -> list[TreeNode]:
    return [node for node in tree.nodes if node.kind == kind]


def reading_answers(tree: DecisionTree) -> set[str]:
    readings = [node for node in of_kind(tree, "check") if node.title.startswith("Read ")]
    assert readings
    return {branch.answer for node in readings for branch in node.branches}


def test_a_reading_is_told_by_what_the_gauge_shows_on_this_system() -> None:
    # Rated 130 sealed, and the small rules' levels part at 0.85 and 1.15 of it.
    root = drawn(small()).nodes[0]
    assert root.title == "Read sealed at the inlet (no air flowing), inH2O"
    assert [branch.answer for branch in root.branches] == ["under 110", "110 to 149", "149 or more"]
    older = drawn(small(), Visit(unit=Unit(rated_sealed=90, rated_airflow=80))).nodes[0]
    assert older.branches[0].answer == "under 76"


def test_levels_side_by_side_are_one_stretch_of_the_scale() -> None:
    for answer in reading_answers(shipped()):
        for part in answer.split(" or "):
            number = r"\d+"
            assert re.fullmatch(
                f"under {number}|{number} to {number}|{number}|more|any reading|anything else", part
            ), answer


def test_a_fix_says_how_sure_it_is_and_what_it_takes_to_get_there() -> None:
    for node in of_kind(drawn(small()), "fix"):
        assert node.probability is not None
        assert node.minutes is not None
        assert node.expected_minutes is not None
        assert node.expected_minutes > node.minutes


def test_a_fix_that_may_be_wrong_goes_on_from_there_and_says_how_to_tell() -> None:
    onward = [node for node in of_kind(drawn(small()), "fix") if node.branches]
    assert onward
    for node in onward:
        [branch] = node.branches
        assert branch.answer == "It is not there"
        assert branch.probability == pytest.approx(1 - (node.probability or 0))
        assert node.detail


def test_dangers_are_named_in_a_word_and_accesses_once() -> None:
    tree = drawn(small())
    looks = [node for node in of_kind(tree, "check") if node.title == "How does the seal look?"]
    assert looks
    assert {node.caution for node in looks} <= {"mains", ""}
    assert any(
        node.caution == "mains" and "First: lid off the unit." in node.detail for node in looks
    )


def test_answers_that_lead_the_same_way_share_a_branch() -> None:
    for node in shipped().nodes:
        targets = [branch.to for branch in node.branches]
        assert len(set(targets)) == len(targets)


def test_what_was_cut_is_one_way_on_by_name() -> None:
    tree = drawn(small(), reach=0.15)
    [visit] = [node for node in of_kind(tree, "hand-over") if "guided visit" in node.title]
    assert not visit.branches


def test_a_check_that_is_the_last_for_every_answer_says_how_to_go_on() -> None:
    tree = drawn(load_rules(), reach=0.2)
    last = [node for node in of_kind(tree, "check") if not node.branches]
    assert last
    assert all("Then go on with the guided visit." in node.detail for node in last)


def test_other_peoples_work_is_theirs_by_name() -> None:
    titles = [node.title for node in of_kind(drawn(small()), "hand-over")]
    assert any(title == "Worn motor – for the workshop" for title in titles)


def test_a_stop_says_what_and_whom_to_call() -> None:
    stop = """
  - id: stop-when-torn
    when: {fact: answer.seal-look, is: torn}
    then: [{stop: The seal has burnt., call: an electrician, do_not: Do not run it.}]
    because: It smells.
    source: common-practice
"""
    nodes = of_kind(drawn(small(SMALL + stop)), "hand-over")
    assert ("Stop. The seal has burnt.", "Call: an electrician") in {
        (node.title, node.detail) for node in nodes
    }


def test_no_word_of_the_rule_language_stands_in_the_tree() -> None:
    knowledge = load_rules()
    ids = {*knowledge.faults, *knowledge.checks, *knowledge.accesses, *knowledge.cautions}
    ids = {name for name in ids if "-" in name}
    for node in shipped().nodes:
        for words in (node.title, node.detail, node.caution, *(b.answer for b in node.branches)):
            assert not ids & set(re.findall(r"[a-z]+(?:-[a-z]+)+", words)), words
            assert "_" not in words
