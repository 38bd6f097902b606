"""The tree in words: what the gauge shows here, joined answers, dangers, no ids."""

from __future__ import annotations

import json
import re
from functools import cache

import pytest
from small_rules import SMALL, small
from tree_boxes import compared

from stillflow.engine import Session, load_rules
from stillflow.engine.charts.decision import DecisionTree, TreeNode
from stillflow.engine.charts.picture import TitleBlock
from stillflow.engine.dialogue import short_way
from stillflow.engine.dialogue.answers import given
from stillflow.engine.dialogue.unrolled import visit_tree
from stillflow.engine.inference.likelihood import spot_of
from stillflow.engine.inference.visit import Unit, Visit
from stillflow.engine.ruleset.knowledge import Knowledge
from stillflow.engine.views.decision import _Words, decision_tree

RATED = Visit(unit=Unit(rated_sealed=130, rated_airflow=114))


def drawn(knowledge: Knowledge, visit: Visit = RATED, reach: float = 0.0) -> DecisionTree:
    session = Session(knowledge, visit)
    tree = visit_tree(session, reach=reach)
    return decision_tree(tree, session, TitleBlock(title="A tree"))


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


def test_a_reading_is_told_in_words_and_a_share_and_then_by_the_gauge_on_this_system() -> None:
    # Rated 130 sealed, and the small rules' levels part at 0.85 and 1.15 of it. Sealed comes first
    # where working takes long.
    start = SMALL.index("id: working-inlet")
    text = SMALL[:start] + SMALL[start:].replace("minutes: 2", "minutes: 9", 1)
    root = drawn(small(text)).nodes[0]
    assert root.title == "Read sealed at the inlet (no air flowing)"
    assert root.detail == "100 % is 130 inH2O."
    assert [branch.answer for branch in root.branches] == [
        "low, under 85 % (under 111)",
        "as it should be, 85 to 114 % (111 to 149)",
        "too high, 115 % or more (150 or more)",
    ]
    older = drawn(small(text), Visit(unit=Unit(rated_sealed=90, rated_airflow=80))).nodes[0]
    assert older.branches[0].answer == "low, under 85 % (under 77)"


def test_one_poster_serves_any_unit_but_for_what_stands_in_brackets() -> None:
    def shares(sealed: float) -> list[str]:
        root = drawn(small(), Visit(unit=Unit(rated_sealed=sealed, rated_airflow=100))).nodes[0]
        return [branch.answer.partition("(")[0] for branch in root.branches]

    assert shares(90) == shares(130)


@pytest.mark.parametrize("sealed", [83, 100, 117, 130])
def test_every_whole_reading_is_in_one_stretch_and_the_one_the_visit_takes_it_for(
    sealed: int,
) -> None:
    knowledge = load_rules()
    baseline = Session(knowledge, Visit(unit=Unit(rated_sealed=sealed, rated_airflow=90))).baseline
    check = knowledge.checks["sealed-unit"]
    words = _Words(knowledge, baseline)
    expected = baseline.at(*spot_of(check))
    stretches = [words.answers(check, {level.id}) for level in knowledge.levels]
    for value in range(1, int(1.3 * expected)):
        holding = [index for index, one in enumerate(stretches) if within(value, one)]
        above = [lv for lv in knowledge.levels if lv.below and value / expected >= lv.below]
        assert holding == [len(above)]


def within(value: int, stretch: str) -> bool:
    """Whether a whole reading is in a stretch as it is printed."""
    here = re.search(r"\((.*)\)$", stretch)
    assert here is not None
    low, high = 0, 10_000
    if under := re.fullmatch(r"under (\d+)", here[1]):
        high = int(under[1]) - 1
    elif more := re.fullmatch(r"(\d+) or more", here[1]):
        low = int(more[1])
    else:
        ends = [int(one) for one in here[1].split(" to ")]
        low, high = ends[0], ends[-1]
    return low <= value <= high


def test_levels_side_by_side_are_one_stretch_of_the_scale() -> None:
    knowledge = load_rules()
    words = _Words(knowledge, Session(knowledge, RATED).baseline)
    check = knowledge.checks["sealed-unit"]
    assert words.answers(check, {"dead", "very-low"}) == "very low or less, under 55 % (under 72)"
    assert words.answers(check, {"low", "slightly-low", "as-expected"}) == (
        "low to as it should be, 55 to 106 % (72 to 139)"
    )
    assert words.answers(check, {"dead", "high", "impossible"}) == (
        "next to nothing, under 15 % (under 20) or "
        "higher than it should be or more, 107 % or more (140 or more)"
    )
    number = r"\d+"
    span = f"(under {number}|{number} to {number}|{number}( %)? or more|{number})"
    for answer in reading_answers(shipped()):
        for part in answer.split(") or "):
            pattern = rf"[a-z ]+, {span}( %)?( or more)? \({span}\)?"
            assert part == "anything else" or re.fullmatch(pattern, part), answer


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


def replayed(knowledge: Knowledge, tree: DecisionTree) -> list[str]:
    return list(compared(knowledge, json.loads(tree.model_dump_json())))


def test_every_box_says_what_the_visit_says_after_those_very_answers() -> None:
    small_rules = small()
    for knowledge, tree, least in (
        (small_rules, drawn(small_rules), 20),
        (load_rules(), shipped(), 30),
    ):
        lines = replayed(knowledge, tree)
        assert len(lines) > least
        assert not any(lines), lines


def test_boxes_hold_where_questions_were_put_off_and_no_gauge_is_there() -> None:
    knowledge = small()
    session = Session(knowledge, RATED.model_copy(update={"missing_tools": ("gauge",)}))
    session.record("hiss", "skipped")
    tree = decision_tree(visit_tree(session, reach=0.0), session, TitleBlock(title="A tree"))
    lines = replayed(knowledge, tree)
    assert len(lines) > 3
    assert not any(lines), lines


def test_a_box_with_another_probability_or_other_minutes_would_be_found() -> None:
    knowledge = small()
    tree = drawn(knowledge)
    fix = of_kind(tree, "fix")[0]
    wrong = (
        {"probability": (fix.probability or 0.0) - 1e-4},
        {"minutes": (fix.minutes or 0.0) + 1},
        {"fault": "hose-clogged" if fix.fault != "hose-clogged" else "seal-torn"},
    )
    for change in wrong:
        nodes = tuple(n.model_copy(update=change) if n is fix else n for n in tree.nodes)
        lines = replayed(knowledge, tree.model_copy(update={"nodes": nodes}))
        assert any(line.startswith(f"box {fix.id}: ") for line in lines)


def test_minutes_in_all_are_those_of_every_box_on_the_way_and_of_measuring_after_it() -> None:
    knowledge = small()
    tree = drawn(knowledge)
    nodes = tree.by_id
    measuring = set()
    back = knowledge.accesses["lid-off"].put_back
    assert back is not None
    lid, lid_on = back.minutes, back.step
    ways = [(tree.root, 0.0)]
    while ways:
        number, spent = ways.pop()
        spent += nodes[number].minutes or 0.0
        spent += lid if lid_on in nodes[number].detail else 0.0
        if (whole := nodes[number].expected_minutes) is not None:
            measuring.add(round(whole - spent, 6))
        ways += [(branch.to, spent) for branch in nodes[number].branches]
    minutes = {name: check.minutes for name, check in knowledge.checks.items()}
    after = minutes["working-hose"] + minutes["works-now"]
    # What was short before the fix is read again too.
    short = after + minutes["sealed-inlet"]
    assert measuring == {after, after + lid, short, short + lid}, "and the lid put on, if it is off"


def test_where_several_answers_share_a_way_the_likeliest_stands_for_them() -> None:
    knowledge = load_rules()
    session = Session(knowledge, RATED)
    unrolled = visit_tree(session, reach=0.1)
    joined = 0
    for node in decision_tree(unrolled, session, TitleBlock(title="A tree")).nodes:
        for branch in node.branches if node.check else ():
            every = unrolled.nodes[int(node.id)].branches
            ways = [way for way in every if way.to == int(branch.to)]
            likeliest = max(ways, key=lambda way: way.probability)
            check = knowledge.checks[node.check]
            assert branch.given == given(knowledge, session.baseline, check, str(likeliest.label))
            joined += len(ways) > 1
    assert joined


def test_a_tree_for_the_wall_ends_in_fixes_and_names_few_looks() -> None:
    session = Session(load_rules(), Visit())
    reach = 0.05
    beyond = short_way(session, 0.005)
    unrolled = visit_tree(session, reach=reach, beyond=beyond, wall=True)
    tree = decision_tree(unrolled, session, TitleBlock(title="Poor suction"), beyond)
    fixes = [node for node in tree.nodes if node.kind == "fix"]
    checks = [node for node in tree.nodes if node.kind == "check"]
    assert len(fixes) >= len(checks) - 1
    assert all(node.detail for node in fixes), "how one is sure stands in every fix"
    assert all(1 <= len(node.looks) <= 6 for node in tree.nodes if node.kind == "looks")
    reached = tree.reach()
    there = sum(reached[node.id] * (node.probability or 0.0) for node in fixes)
    assert there == pytest.approx(unrolled.ended)
    assert there > 0.2
    # Whatever is answered leads on: every answer is on one branch, and only on one.
    for node in checks:
        answers = session.knowledge.checks[node.check].answers
        said = [one for branch in node.branches for one in branch.choices]
        assert len(said) == len(set(said))
        assert {one.id for one in answers} >= set(said)
        assert sum(branch.probability for branch in node.branches) == pytest.approx(1.0)
