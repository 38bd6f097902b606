"""The fault tree comes from the rules: places, modes, combinations, how common faults are."""

from __future__ import annotations

import pytest
from small_rules import SMALL, small
from top_event import minimal_cut_sets, top_probability

from stillflow.engine import Session, load_rules
from stillflow.engine.base.errors import InputError, KnowledgeError
from stillflow.engine.faulttree.importance import analyse
from stillflow.engine.faulttree.tree import Gate, PrimaryEvent
from stillflow.engine.views.faults import (
    ANY_COMPLAINT,
    complaint_shares,
    fault_tree,
    known_complaint,
)

DECLARED = """
complaints:
  - {id: hisses, title: It hisses, check: hiss, answer: hissing, source: common-practice}
circumstances:
  - {id: long-hair, title: Long hair is about, share: 0.5, source: common-practice}
combinations:
  - id: caught-hair
    title: Hair is caught
    place: hose
    mode: obstruction
    faults: [hose-clogged]
    circumstances: [long-hair]
    because: Only hair catches.
    source: common-practice
"""


def test_places_are_below_the_top_and_modes_below_places() -> None:
    tree = fault_tree(small(), worth=0.0)
    top = tree.by_id[tree.top]
    assert isinstance(top, Gate)
    assert top.title == ANY_COMPLAINT
    titles = [tree.by_id[name].title for name in top.inputs]
    assert titles == ["In the unit", "Clogged hose", "Nothing is wrong"]
    unit = tree.by_id[top.inputs[0]]
    assert isinstance(unit, Gate)
    assert [tree.by_id[name].title for name in unit.inputs] == ["Torn seal", "Worn motor"]


def test_places_and_modes_of_the_same_name_have_their_own_words() -> None:
    titles = {gate.title for gate in fault_tree(load_rules(), worth=0.0).gates}
    assert "In the measuring: the readings are wrong" in titles
    assert "In the unit: air gets in" in titles


def test_every_fault_that_can_be_is_in_the_tree_of_the_shipped_rules() -> None:
    knowledge = load_rules()
    tree = fault_tree(knowledge, worth=0.0)
    events = {event.id for event in tree.events}
    possible = set(complaint_shares(knowledge, None))
    assert possible <= events
    assert events - possible == {
        name for one in knowledge.combinations.values() for name in one.circumstances
    }


def test_a_fault_that_needs_a_circumstance_stands_under_an_inhibit_gate() -> None:
    tree = fault_tree(small(SMALL + DECLARED), worth=0.0)
    gate = tree.by_id["caught-hair"]
    assert isinstance(gate, Gate)
    assert gate.kind == "inhibit"
    assert set(gate.inputs) == {"hose-clogged", "long-hair"}
    cuts = minimal_cut_sets(tree)
    assert frozenset({"hose-clogged", "long-hair"}) in cuts
    assert frozenset({"hose-clogged"}) not in cuts
    hair = tree.by_id["long-hair"]
    assert isinstance(hair, PrimaryEvent)
    assert hair.kind == "condition"
    assert hair.code == "C1"
    assert hair.probability == 0.5


def test_a_circumstance_leaves_the_share_of_calls_as_it_was() -> None:
    # `how_common` counts the calls a fault caused, so it is there more often than it is felt.
    plain = fault_tree(small(), worth=0.0)
    combined = fault_tree(small(SMALL + DECLARED), worth=0.0)
    assert top_probability(combined) == pytest.approx(top_probability(plain))
    clogged, alone = combined.by_id["hose-clogged"], plain.by_id["hose-clogged"]
    assert isinstance(clogged, PrimaryEvent)
    assert isinstance(alone, PrimaryEvent)
    assert clogged.probability == pytest.approx((alone.probability or 0) / 0.5)


def test_without_a_complaint_the_shares_are_how_common_faults_are() -> None:
    shares = complaint_shares(small(), None)
    assert sum(shares.values()) == pytest.approx(1.0)
    assert shares["seal-torn"] / shares["motor-worn"] == pytest.approx(10**0.5)


def test_with_a_complaint_they_are_shares_of_the_calls_that_begin_with_it() -> None:
    knowledge = small(SMALL + DECLARED)
    complaint = known_complaint(knowledge, "hisses")
    shares = complaint_shares(knowledge, complaint)
    session = Session(knowledge)
    session.record("hiss", "hissing")
    after = dict(zip(knowledge.faults, session.progress.probabilities, strict=True))
    assert shares == pytest.approx(after)
    assert sum(shares.values()) == pytest.approx(1.0)


def test_every_gate_of_a_complaint_adds_up_to_all_the_calls_with_it() -> None:
    knowledge = load_rules()
    for complaint in knowledge.complaints.values():
        tree = fault_tree(knowledge, complaint)
        gates = analyse(tree).gates
        assert gates[tree.top] == pytest.approx(1.0)
        for gate in (gate for gate in tree.gates if gate.kind == "or"):
            parts = (tree.by_id[name] for name in gate.inputs)
            below = [gates[p.id] if isinstance(p, Gate) else p.probability or 0.0 for p in parts]
            assert gates[gate.id] == pytest.approx(sum(below))


def test_an_event_has_one_code_in_every_tree_of_a_rule_set() -> None:
    knowledge = load_rules()
    codes: dict[str, set[str]] = {}
    for complaint in (None, *knowledge.complaints.values()):
        for worth in (0.0, 0.005, 0.05):
            for event in fault_tree(knowledge, complaint, worth).events:
                assert event.code
                codes.setdefault(event.id, set()).add(event.code)
    assert {len(found) for found in codes.values()} == {1}


def test_rare_causes_stand_together_without_changing_the_sum() -> None:
    knowledge = load_rules()
    whole = fault_tree(knowledge, worth=0.0)
    drawn = fault_tree(knowledge, worth=0.02)
    assert len(drawn.events) < len(whole.events) / 2
    joined = [event for event in drawn.events if event.id.startswith("others ")]
    assert joined
    assert {event.kind for event in joined} == {"undeveloped"}
    assert top_probability(drawn) == pytest.approx(top_probability(whole), rel=1e-9)


def test_one_rare_cause_alone_in_its_place_keeps_its_name() -> None:
    for complaint in (None, *load_rules().complaints.values()):
        tree = fault_tree(load_rules(), complaint)
        joined = [event.title for event in tree.events if "other cause" in event.title]
        assert joined
        assert not [title for title in joined if ": 1 other" in title]


def test_what_brings_a_complaint_about_most_often_weighs_most() -> None:
    knowledge = load_rules()
    complaint = known_complaint(knowledge, "weak-at-one-inlet")
    shares = complaint_shares(knowledge, complaint)
    analysis = analyse(fault_tree(knowledge, complaint, 0.0), "rare-event")
    assert analysis.importance[0].event == max(shares, key=lambda name: shares[name])
    assert analysis.probability == pytest.approx(sum(shares.values()))


def test_an_unknown_complaint_names_the_nearest() -> None:
    with pytest.raises(InputError, match="did you mean 'weak-everywhere'"):
        known_complaint(load_rules(), "weak-everywere")


@pytest.mark.parametrize("worth", [-0.1, 1.0, 7.0])
def test_worth_is_a_share(worth: float) -> None:
    with pytest.raises(InputError, match="not a share"):
        fault_tree(small(), worth=worth)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("check: hiss", "check: his", "there is no check 'his'"),
        ("answer: hissing", "answer: hisses", "'hisses' is not an answer to 'hiss'"),
        ("faults: [hose-clogged]", "faults: [hose-cloged]", "there is no fault 'hose-cloged'"),
        ("[long-hair]", "[short-hair]", "there is no circumstance 'short-hair'"),
        ("    circumstances: [long-hair]\n", "", "it combines nothing"),
        ("share: 0.5", "share: 50", "share"),
    ],
)
def test_a_broken_declaration_is_named(old: str, new: str, words: str) -> None:
    with pytest.raises(KnowledgeError, match=words):
        small(SMALL + DECLARED.replace(old, new))


@pytest.mark.parametrize("complaint", [None, "weak-everywhere", "weak-with-one-hose"])
@pytest.mark.parametrize("worth", [0.0, 0.02])
def test_divided_by_mode_first_it_is_the_same_tree_of_the_same_causes(
    complaint: str | None, worth: float
) -> None:
    rules = load_rules()
    known = rules.complaints[complaint] if complaint else None
    places, modes = (fault_tree(rules, known, worth, by) for by in ("place", "mode"))  # type: ignore[arg-type]
    names = [{e.id for e in one.events if e.id in rules.faults} for one in (places, modes)]
    assert names[0] >= names[1] or names[1] >= names[0]
    totals = [analyse(one).probability for one in (places, modes)]
    assert totals[0] == pytest.approx(totals[1])
    first = {modes.by_id[i].title for i in modes.by_id[modes.top].inputs}  # type: ignore[union-attr]
    assert "Air gets in" in first or any(one.startswith("Air gets in") for one in first)
    assert not first & {"In the unit", "In the hose"}
