"""The unrolled tree says, at every node, what the guided visit would say there."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator

import pytest
from small_rules import DANGER, SMALL, small

from stillflow.engine import Session, load_rules
from stillflow.engine.base.errors import InputError
from stillflow.engine.dialogue.shortway import short_way
from stillflow.engine.dialogue.unrolled import CARD, LIVE, NOT_THERE, THERE, Act, visit_tree
from stillflow.engine.inference.facts import typical
from stillflow.engine.inference.likelihood import spot_of
from stillflow.engine.inference.visit import Unit, Visit
from stillflow.engine.planning.treenodes import PolicyStep, PolicyTree
from stillflow.engine.ruleset.knowledge import Knowledge

RATED = Visit(unit=Unit(rated_sealed=130, rated_airflow=114))

STOP = """
  - id: stop-when-torn
    when: {fact: answer.seal-look, is: torn}
    then: [{stop: The seal has burnt., call: an electrician, do_not: Do not run it.}]
    because: It smells.
    source: common-practice
"""

SMOKE = STOP.replace("stop-when-torn", "stop-smoke").replace(
    "answer.seal-look, is: torn", "answer.danger, is: smoke"
)


def answer_as_seen(session: Session, knowledge: Knowledge, check_id: str, label: object) -> None:
    """Record an answer of the tree: a level as the reading that stands for it."""
    check = knowledge.checks[check_id]
    if check.kind == "choice":
        session.record(check_id, str(label))
        return
    level = next(one for one in knowledge.levels if one.id == label)
    share = typical(level, session.baseline.wide)
    session.record(check_id, session.baseline.at(*spot_of(check)) * share)


def agrees(session: Session, node: PolicyStep[int]) -> None:
    step = session.next_step()
    assert isinstance(node.act, Act)
    if node.act.kind == "check":
        assert step.check is not None
        assert step.check.id == node.act.id
    elif node.act.kind == "fix":
        assert step.fix is not None
        assert step.fix.fault == node.act.id
        share = next(one.probability for one in step.faults if one.id == node.act.id)
        assert 0 < share <= 1
    else:
        assert step.step in ("stop", "refer", "check")


def walks(tree: PolicyTree, count: int) -> Iterator[list[tuple[PolicyStep[int], object]]]:
    """Ways from the root down to a leaf, drawn by how likely they are."""
    chance = random.Random(count)
    for _ in range(count):
        node, way = tree.nodes[0], []
        while node.branches:
            weights = [branch.probability for branch in node.branches]
            [branch] = chance.choices(node.branches, weights)
            way.append((node, branch.label))
            if branch.label == THERE:
                break
            node = tree.nodes[branch.to]
        else:
            way.append((node, None))
        yield way


def follow(knowledge: Knowledge, tree: PolicyTree, visit: Visit, count: int) -> int:
    """Take the tree's word for each answer of some walks; how many nodes were compared."""
    compared = 0
    seen: set[tuple[object, ...]] = set()
    for way in walks(tree, count):
        labels = [label for _, label in way]
        steps = {tuple(labels[:deep]) for deep, (node, _) in enumerate(way) if node.act is not None}
        compared += len(steps)
        # Walks begin alike: what was held against the visit once need not be again.
        if steps <= seen:
            continue
        session = Session(knowledge, visit)
        while (step := session.next_step()).check is not None and step.check.id == "danger-signs":
            session.record("danger-signs", "none")
        for deep, (node, label) in enumerate(way):
            if node.act is None:
                break
            if (came := tuple(labels[:deep])) not in seen:
                agrees(session, node)
                seen.add(came)
            if label == NOT_THERE:
                session.record_fix(node.act.id, found=False)
            elif label is not None and label != THERE:
                answer_as_seen(session, knowledge, node.act.id, label)
    return compared


def test_the_tree_does_what_the_visit_does_on_small_rules() -> None:
    knowledge = small()
    tree = visit_tree(Session(knowledge, RATED), reach=0.0)
    assert follow(knowledge, tree, RATED, 60) > 150


def test_the_tree_does_what_the_visit_does_on_the_shipped_rules() -> None:
    knowledge = load_rules()
    tree = visit_tree(Session(knowledge, RATED), reach=0.05)
    assert follow(knowledge, tree, RATED, 12) > 20


def test_what_was_given_at_the_start_is_taken_as_known() -> None:
    knowledge = small()
    session = Session(knowledge, RATED)
    session.record("seal-look", "whole")
    session.record("hiss", "can't tell")
    tree = visit_tree(session, reach=0.0)
    asked = {node.act.id for node in tree.nodes if isinstance(node.act, Act)}
    assert not asked & {"seal-look", "hiss"}
    assert follow(knowledge, tree, session.visit, 30) > 40


def test_after_a_question_was_put_off_the_tree_still_does_what_the_visit_does() -> None:
    knowledge = small()
    for skipped in ("sealed-inlet", "working-inlet", "seal-look", "hiss"):
        session = Session(knowledge, RATED)
        session.record(skipped, "skipped")
        tree = visit_tree(session, reach=0.0)
        assert follow(knowledge, tree, session.visit, 30) > 20


def test_after_a_fix_the_tree_verifies_as_the_visit_does() -> None:
    knowledge = load_rules()
    session = Session(knowledge, RATED)
    session.record("danger-signs", "none")
    session.record_fix("cartridge-clogged")
    tree = visit_tree(session, reach=0.2)
    assert follow(knowledge, tree, session.visit, 5) > 5


def test_every_way_down_is_counted_once() -> None:
    tree = visit_tree(Session(small(), RATED), reach=0.0)
    leaves = [node for node in tree.nodes if not node.branches]
    assert sum(node.reach for node in leaves) == pytest.approx(1.0)
    for node in tree.nodes:
        if node.branches:
            assert sum(branch.probability for branch in node.branches) == pytest.approx(1.0)


def test_minutes_add_up_along_every_way_and_an_access_is_paid_once() -> None:
    knowledge = small()
    access = knowledge.accesses["lid-off"].minutes
    tree = visit_tree(Session(knowledge, RATED), reach=0.0)
    ways_in = Counter(branch.to for node in tree.nodes for branch in node.branches)
    paid = 0
    for way in walks(tree, 200):
        minutes, opened = 0.0, False
        for node, _ in way:
            shared = ways_in[tree.nodes.index(node)] > 1
            if shared or not isinstance(node.act, Act) or node.act.kind != "check":
                break
            check = knowledge.checks[node.act.id]
            expected = check.minutes
            if check.access and not opened:
                expected, opened = expected + access, True
                paid += 1
            assert node.figures["minutes"] == pytest.approx(expected)
            minutes += expected
            assert node.figures["elapsed"] == pytest.approx(minutes)
    assert paid > 0


def test_a_stop_hands_over_to_whom_the_rule_names() -> None:
    knowledge = small(SMALL + STOP)
    tree = visit_tree(Session(knowledge, RATED), reach=0.0)
    stops = [n for n in tree.nodes if isinstance(n.act, Act) and n.act.kind == "stop"]
    assert [node.handed_to for node in stops] == ["an electrician"]
    assert stops[0].reason == "The seal has burnt."


def test_a_start_that_ends_the_visit_is_a_tree_of_that_end() -> None:
    session = Session(small(SMALL.replace("checks:\n", "checks:" + DANGER, 1) + STOP), RATED)
    session.record("seal-look", "torn")
    [node] = visit_tree(session).nodes
    assert node.act == Act("stop", "stop-when-torn")


def test_readings_that_contradict_each_other_are_taken_again() -> None:
    doubted = SMALL.replace("margin.inlet, below: -2", "level.sealed.inlet, is: absurd")
    tree = visit_tree(Session(small(doubted), RATED), reach=0.0)
    doubts = [n for n in tree.nodes if isinstance(n.act, Act) and n.act.kind == "doubt"]
    assert doubts
    assert all(node.handed_to == LIVE for node in doubts)
    assert {node.act for node in doubts} == {Act("doubt", "sealed-inlet")}
    assert {node.reason for node in doubts} == {
        "Sealed can never be below working at the same place."
    }


def test_the_question_about_danger_lies_behind_the_tree() -> None:
    knowledge = small(SMALL.replace("checks:\n", "checks:" + DANGER, 1) + SMOKE)
    tree = visit_tree(Session(knowledge, RATED), reach=0.0)
    acts = {node.act for node in tree.nodes}
    assert Act("check", "danger") not in acts
    assert not any(isinstance(act, Act) and act.kind == "stop" for act in acts)
    assert tree.nodes[0].figures["elapsed"] == tree.nodes[0].figures["minutes"]


def test_work_that_belongs_to_others_is_handed_over_by_name() -> None:
    tree = visit_tree(Session(small(), RATED), reach=0.0)
    referred = [n for n in tree.nodes if isinstance(n.act, Act) and n.act.kind == "refer"]
    assert {node.handed_to for node in referred} >= {"the workshop"}


def test_depth_ends_every_way_after_so_many_steps() -> None:
    tree = visit_tree(Session(small(), RATED), reach=0.0, depth=2)
    for way in walks(tree, 50):
        acts = [n for n, _ in way if isinstance(n.act, Act) and n.act.kind in ("check", "fix")]
        ended = way[-1][1] == THERE or way[-1][0].reason != "after 2 steps"
        assert len(acts) == 2 or (len(acts) < 2 and ended)
    cut = [node for node in tree.nodes if node.reason == "after 2 steps"]
    assert {node.handed_to for node in cut} == {LIVE}


def test_until_ends_a_branch_with_a_fix_that_is_sure_enough() -> None:
    session = Session(small(), RATED)
    whole = visit_tree(session, reach=0.0)
    short = visit_tree(session, reach=0.0, until=0.6)
    assert len(short.nodes) < len(whole.nodes)
    for node in short.nodes:
        for branch in node.branches:
            if branch.label == NOT_THERE and node.figures["probability"] > 0.6:
                assert short.nodes[branch.to].act is None


def test_what_few_calls_come_to_is_left_to_the_guided_visit() -> None:
    session = Session(small(), RATED)
    tree = visit_tree(session, reach=0.2)
    cut = [node for node in tree.nodes if node.act is None]
    assert cut
    assert {node.handed_to for node in cut} == {LIVE}
    assert tree.ended < visit_tree(session, reach=0.0).ended


def test_the_same_facts_give_the_same_tree() -> None:
    one = visit_tree(Session(load_rules(), RATED), reach=0.1)
    assert one == visit_tree(Session(load_rules(), RATED), reach=0.1)


def test_a_check_without_its_tool_is_not_in_the_tree() -> None:
    visit = RATED.model_copy(update={"missing_tools": ("gauge",)})
    tree = visit_tree(Session(small(), visit), reach=0.0)
    asked = {n.act.id for n in tree.nodes if isinstance(n.act, Act) and n.act.kind == "check"}
    assert asked <= {"seal-look", "hiss"}


@pytest.mark.parametrize(
    ("options", "words"),
    [({"depth": 0}, "depth of 0"), ({"until": 0.0}, "until is 0"), ({"reach": 2.0}, "reach is 2")],
)
def test_numbers_out_of_range_are_refused(options: dict[str, float], words: str) -> None:
    with pytest.raises(InputError, match=words):
        visit_tree(Session(small(), RATED), **options)  # type: ignore[arg-type]


def test_starting_facts_that_contradict_each_other_are_refused() -> None:
    session = Session(small(), RATED)
    session.record("sealed-inlet", 40.0)
    session.record("working-inlet", 70.0)
    with pytest.raises(InputError, match="contradict each other"):
        visit_tree(session)


def acts_on(way: list[tuple[PolicyStep[int], object]]) -> list[tuple[str, str]]:
    return [node.act[:2] for node, _ in way if isinstance(node.act, Act)]


def test_minutes_of_a_fix_are_its_own_what_is_opened_and_what_is_measured_after_it() -> None:
    knowledge = small()
    session = Session(knowledge, RATED)
    for check_id in knowledge.checks:
        session.record(check_id, "can't do here")
    tree = visit_tree(session, reach=0.0)
    told = []
    number = 0
    while (node := tree.nodes[number]).branches:
        assert isinstance(node.act, Act)
        figures = node.figures
        told.append((node.act.id, figures["minutes"], figures["elapsed"]))
        there, *others = node.branches
        assert (there.label, there.probability) == (THERE, figures["probability"])
        done = tree.nodes[there.to]
        refer = knowledge.faults[node.act.id].fix.refer
        assert (done.act, done.handed_to) == (
            (Act("refer", node.act.id), refer) if refer else (Act("fixed"), "")
        )
        if not others:
            break
        [on] = others
        assert (on.label, on.probability) == (
            NOT_THERE,
            pytest.approx(1 - there.probability),
        )
        number = on.to
    # The hose end and the tool take 3 minutes after a fix; the lid takes 4 before the seal and is
    # put on again in 1.
    assert told == [
        ("hose-clogged", 5, 5 + 3),
        ("seal-torn", 14, 5 + 14 + 1 + 3),
        ("motor-worn", 60, 5 + 14 + 1 + 60 + 3),
    ]


def test_what_a_look_has_opened_is_not_paid_for_again_at_the_fix() -> None:
    session = Session(small(), RATED)
    session.record("seal-look", "torn")
    tree = visit_tree(session, reach=0.0)
    assert tree.nodes[0].act[:2] == ("fix", "seal-torn")
    assert tree.nodes[0].figures["minutes"] == 10
    closed = Session(small(), RATED)
    behind = [
        node.figures["minutes"]
        for way in walks(visit_tree(closed, reach=0.0), 200)
        for index, (node, _) in enumerate(way)
        if node.act[:2] == ("fix", "seal-torn")
        and ("check", "seal-look") not in acts_on(way[:index])
    ]
    looked = [
        node.figures["minutes"]
        for way in walks(visit_tree(closed, reach=0.0), 200)
        for index, (node, _) in enumerate(way)
        if node.act[:2] == ("fix", "seal-torn") and ("check", "seal-look") in acts_on(way[:index])
    ]
    assert set(behind) <= {14}, "looked and put back, or not looked"
    assert {10} <= set(looked) <= {10, 14}


def test_a_branch_that_ends_on_a_sure_fix_says_how_sure() -> None:
    session = Session(small(), RATED)
    session.record("seal-look", "torn")
    [share] = [n.figures["probability"] for n in visit_tree(session).nodes[:1]]
    short = visit_tree(session, until=share)
    ends = [short.nodes[branch.to] for branch in short.nodes[0].branches]
    assert [(node.act, node.handed_to) for node in ends] == [(Act("fixed"), ""), (None, LIVE)]
    assert ends[1].reason.startswith("a fix is ")
    longer = visit_tree(session, until=min(1.0, share + 1e-6))
    assert longer.nodes[longer.nodes[0].branches[1].to].act is not None


def test_the_tree_is_unrolled_by_the_planner_that_is_asked_for() -> None:
    text = SMALL.replace("refer: the workshop", "refer: the workshop, if_wrong_minutes: 0")
    session = Session(small(text), RATED)
    for check_id in session.knowledge.checks:
        session.record(check_id, "can't do here")
    cheap = visit_tree(session, reach=0.0).nodes[0].act
    dear = visit_tree(session, reach=0.0, wrong_part_minutes=500.0)
    order = [node.act for node in dear.nodes if isinstance(node.act, Act)]
    fixes = [act.id for act in order if act.kind == "fix"]
    assert cheap[:2] == ("fix", "hose-clogged")
    assert fixes[-1] == "seal-torn"


def seeing() -> Session:
    """A visit on the small rules with quick looks at hose and motor beside that at the seal."""
    checks = "".join(
        f"""
  - id: {name}-look
    kind: choice
    ask: How is the {name}?
    how: [Look.]
    minutes: 1
    answers:
      - {{id: fine, label: fine, usual: 0.95}}
      - {{id: broken, label: broken, usual: 0.05}}
    source: common-practice"""
        for name in ("hose", "motor")
    )
    rules = "".join(
        f"""
  - id: {name}-seen
    when: {{fact: answer.{name}-look, is: broken}}
    then: [{{for: {fault}, strength: decisive}}]
    because: It is seen.
    source: common-practice"""
        for name, fault in (("hose", "hose-clogged"), ("motor", "motor-worn"))
    )
    return Session(small(SMALL.replace("\nrules:\n", f"{checks}\nrules:{rules}\n")))


@pytest.mark.parametrize("depth", [1, 2])
def test_where_a_tree_ends_the_looks_that_show_what_is_left_go_on(depth: int) -> None:
    session = seeing()
    plain = visit_tree(session, reach=0.02, depth=depth)
    tree = visit_tree(session, reach=0.02, depth=depth, beyond=short_way(session))
    edges = [node for node in tree.nodes if isinstance(node.act, Act) and node.act.kind == "looks"]
    assert edges
    assert not [node for node in tree.nodes if node.handed_to == LIVE]
    # All that was left to the guided visit is left to the card, and no more.
    left = sum(node.reach for node in plain.nodes if node.handed_to == LIVE)
    assert sum(node.reach for node in edges) == pytest.approx(left)
    assert plain.ended == pytest.approx(tree.ended)
    shown = sum(node.reach * node.figures["found"] for node in edges)
    assert tree.found == pytest.approx(tree.ended + shown)
    assert 0.0 < shown < left
    for node in edges:
        assert node.handed_to == CARD
        assert isinstance(node.act, Act)
        assert len(set(node.act.looks)) == len(node.act.looks)
        assert set(node.act.looks) <= {"seal-look", "hose-look", "motor-look"}


def test_no_look_at_an_edge_is_one_that_was_made_on_the_way() -> None:
    session = seeing()
    tree = visit_tree(session, reach=0.02, depth=2, beyond=short_way(session))
    compared = 0
    for way in walks(tree, 60):
        made = {
            node.act.id for node, _ in way if isinstance(node.act, Act) and node.act.kind == "check"
        }
        end = way[-1][0].act
        if isinstance(end, Act) and end.kind == "looks":
            assert not made & set(end.looks)
            compared += bool(made)
    assert compared


def test_on_the_wall_a_look_that_shows_a_fault_ends_in_its_fix() -> None:
    session = seeing()
    tree = visit_tree(session, reach=0.05, beyond=short_way(session), wall=True)
    shown = session.knowledge.shown
    boxes = 0
    for node in tree.nodes:
        if not (isinstance(node.act, Act) and node.act.kind == "check"):
            continue
        assert sum(way.probability for way in node.branches) == pytest.approx(1.0)
        for way in node.branches:
            then = tree.nodes[way.to].act
            faults = shown.get((node.act.id, str(way.label)), set())
            if faults and isinstance(then, Act) and then.kind == "fix":
                assert then.id in faults
                boxes += 1
    assert boxes
