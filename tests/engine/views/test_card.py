"""The card beside a tree: every look numbered, every fault with how one is sure of it."""

from __future__ import annotations

from functools import cache

import pytest

from stillflow.engine import Session, load_rules
from stillflow.engine.base import Mode
from stillflow.engine.charts.card import numbers_said
from stillflow.engine.charts.chart import Chart, render
from stillflow.engine.charts.decision import DecisionTree, decision_chart
from stillflow.engine.charts.picture import TitleBlock
from stillflow.engine.charts.scene import Scene, Text
from stillflow.engine.dialogue.shortway import RARE, short_way
from stillflow.engine.dialogue.unrolled import visit_tree
from stillflow.engine.inference.visit import Visit
from stillflow.engine.views.decision import decision_tree


@cache
def poster() -> DecisionTree:
    """The tree for any unit, with its card, as the README prints it."""
    session = Session(load_rules(), Visit())
    beyond = short_way(session)
    tree = visit_tree(session, reach=0.12, think="quick", beyond=beyond)
    return decision_tree(tree, session, TitleBlock(title="A tree"), beyond)


def words(scenes: list[Scene]) -> str:
    marks = (mark for scene in scenes for group in scene.groups for mark in group.marks)
    return " ".join(mark.text for mark in marks if isinstance(mark, Text))


def test_no_way_through_the_wall_tree_leads_to_the_guided_visit() -> None:
    ends = [node for node in poster().nodes if not node.branches]
    assert ends
    assert not [node.title for node in ends if "guided visit" in f"{node.title} {node.detail}"]
    assert {node.kind for node in ends} <= {"fix", "looks", "hand-over"}


def test_looks_named_in_the_tree_stand_on_the_card() -> None:
    card = poster().card
    assert card is not None
    numbers = [look.number for look in card.looks]
    assert numbers == list(range(1, len(numbers) + 1))
    named = {number for node in poster().nodes for number in node.looks}
    assert named and named <= set(numbers)


def test_every_fault_that_is_not_rare_is_found_by_a_look_and_says_how_one_is_sure() -> None:
    knowledge = load_rules()
    card = poster().card
    assert card is not None
    found = {find.fault: find for look in card.looks for find in look.finds}
    likely = Session(knowledge, Visit()).progress.probabilities
    for fault, chance in zip(knowledge.faults.values(), likely, strict=True):
        if chance >= RARE and fault.mode is not Mode.NORMAL:
            assert found[fault.id].confirm == fault.confirm
    normal = {
        f"{one.title}: {one.confirm}"
        for one in knowledge.faults.values()
        if one.mode is Mode.NORMAL
    }
    assert card.last and set(card.last) <= normal


def test_a_sentence_of_the_card_leaves_out_only_what_its_rule_speaks_against() -> None:
    knowledge = load_rules()
    card = poster().card
    assert card is not None and len(card.signs) > 5
    shown = {look.number: {find.fault for find in look.finds} for look in card.looks}
    for sign in card.signs:
        against = set().union(
            *(faults for item, faults in knowledge.evidence[sign.rule] if item.sign < 0)
        )
        assert sign.because == knowledge.rules[sign.rule].because
        assert sign.leave_out
        for number, faults in shown.items():
            assert (faults <= against) is (number in sign.leave_out)


def test_dangers_of_a_look_stand_before_what_it_shows() -> None:
    knowledge = load_rules()
    card = poster().card
    assert card is not None
    for look in card.looks:
        check = knowledge.checks[look.check]
        assert bool(look.caution) or not check.cautions
        for find in look.finds:
            assert bool(find.caution) or not knowledge.faults[find.fault].fix.cautions


def test_the_wall_tree_is_two_pages_of_a3_in_type_of_eight_points_or_more() -> None:
    chart: Chart = decision_chart(poster())
    files = render(chart, "svg", "a3")
    assert len(files) == 2
    assert min(one.smallest_text for one in files) >= 8.0 - 1e-6


def test_without_a_paper_the_card_stands_below_its_tree() -> None:
    [scene] = decision_chart(poster()).pages(None)
    said = words([scene])
    card = poster().card
    assert card is not None
    assert poster().nodes[0].title.split()[0] in said
    assert all(str(look.number) in said for look in card.looks)


@pytest.mark.parametrize(
    ("numbers", "said"),
    [((4,), "4"), ((1, 2), "1, 2"), ((7, 1, 2, 3, 9), "7, 1 to 3, 9"), ((3, 2, 1), "3, 2, 1")],
)
def test_numbers_in_a_row_are_a_stretch(numbers: tuple[int, ...], said: str) -> None:
    assert numbers_said(numbers) == said
