"""A folder laid over others changes, replaces and retires entries, and says what it did."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_rules import SMALL

from stillflow.engine.base.errors import KnowledgeError
from stillflow.engine.ruleset.conditions import All, AnyOf, Condition, Leaf, Not, truth
from stillflow.engine.ruleset.forgetting import _known
from stillflow.engine.ruleset.knowledge import Knowledge
from stillflow.engine.ruleset.loading import load_rules, load_texts, shipped_folder
from stillflow.engine.ruleset.words import replaced_words


def over(*texts: str) -> Knowledge:
    """The small rule set with these folders laid over it, one after the other."""
    layers = [(layer, f"shop{layer}.yaml", text) for layer, text in enumerate(texts, 1)]
    return load_texts([(0, "small.yaml", SMALL), *layers])


def done(knowledge: Knowledge) -> list[str]:
    return [f"{one.place}: {replaced_words(one)}" for one in knowledge.replaced]


def test_one_number_is_changed_and_the_rest_stands() -> None:
    plain, changed = over(), over("change: {id: seal-torn, fix: {minutes: 4}}\n")
    before, now = plain.faults["seal-torn"], changed.faults["seal-torn"]
    assert (before.fix.minutes, now.fix.minutes) == (10, 4)
    assert now.fix.model_copy(update={"minutes": 10}) == before.fix
    assert now.model_copy(update={"fix": before.fix}) == before
    assert changed.digest != plain.digest
    assert done(changed) == [
        "shop1.yaml:1, seal-torn: changes 'seal-torn' of faults, from small.yaml:19: "
        "fix minutes 10 -> 4"
    ]


def test_an_answer_is_changed_by_its_id_and_a_key_without_a_value_is_taken_out() -> None:
    text = """
change:
  - id: seal-look
    minutes: 2
    answers:
      - {id: torn, usual: 0.2}
      - {id: whole, usual: 0.8}
  - {id: motor-worn, confirm_first: }
"""
    now = over(text)
    assert [one.usual for one in now.checks["seal-look"].answers] == [0.8, 0.2]
    labels = [one.label for one in over().checks["seal-look"].answers]
    assert [one.label for one in now.checks["seal-look"].answers] == labels
    assert now.faults["motor-worn"].confirm_first == ()


def test_a_condition_or_an_effect_of_another_make_takes_the_place_of_the_old_one() -> None:
    now = over(
        "change:\n"
        "  - {id: seal-torn, effect: {kind: speed, factor: [0.5, 0.9]}}\n"
        "  - {id: hose-clogged, effect: {diameter_in: [0.2, 0.5]}}\n"
        "  - {id: torn, when: {any: [{fact: answer.seal-look, is: torn}, "
        "{fact: unit.motors, is: 2}]}}\n"
    )
    assert now.faults["seal-torn"].effect.kind == "speed"
    assert now.faults["hose-clogged"].effect.ranges() == ((0.2, 0.5),)
    assert isinstance(now.rules["torn"].when, AnyOf)


def test_a_slip_in_a_change_is_laid_at_its_own_line() -> None:
    text = "change:\n  - id: seal-torn\n    fix:\n      minutes: soon\n"
    with pytest.raises(KnowledgeError) as caught:
        over(text)
    assert str(caught.value).startswith("shop1.yaml:4, seal-torn fix.minutes: ")
    assert caught.value.others == ()


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (
            "change: {id: seal-tron, minutes: 4}\n",
            "'seal-tron' in the rules below; did you mean",
        ),
        ("change: [4]\n", "a change names an entry by its id; write such as"),
        ("change: {minutes: 4}\n", "a change names an entry by its id"),
        ("retire: [seal-tron]\n", "no 'seal-tron' in the rules below"),
        ("retire: [torn]\nchange: {id: torn, because: It is so.}\n", "no 'torn'"),
        (
            "change:\n  - {id: torn, because: It is so.}\n  - {id: torn, misleads: Never.}\n",
            "changed in this folder already; say it there: shop1.yaml:2",
        ),
        ("retired: [torn]\n", "not a section; did you mean 'retire'?"),
    ],
)
def test_what_cannot_be_changed_or_retired_is_said(text: str, words: str) -> None:
    with pytest.raises(KnowledgeError) as caught:
        over(text)
    assert words in str(caught.value)
    assert str(caught.value).startswith("shop1.yaml:")


def test_a_retired_fault_is_named_by_nothing_any_more() -> None:
    now = over("retire: [seal-torn]\n")
    assert "seal-torn" not in now.faults
    assert "torn" not in now.rules  # spoke of nothing else
    assert all(
        "seal-torn" not in (*item.selector, *item.except_)
        for items in now.evidence.values()
        for item, _ in items
    )
    assert (
        done(now)[0] == "shop1.yaml:1, seal-torn: retires 'seal-torn' of faults, from small.yaml:19"
    )
    assert any("with it goes 'torn' of rules" in line for line in done(now))


def test_a_retired_check_takes_along_what_only_it_could_make_true() -> None:
    now = over("retire: [seal-look]\n")
    assert "seal-look" not in now.checks
    assert "answer.seal-look" not in now.facts
    assert {"torn", "whole"}.isdisjoint(now.rules)


def test_a_later_folder_may_bring_back_what_an_earlier_one_retired() -> None:
    again = SMALL[SMALL.index("  - id: seal-torn") : SMALL.index("  - id: hose-clogged")]
    now = over("retire: [seal-torn]\n", f"faults:\n{again}")
    assert now.faults["seal-torn"] == over().faults["seal-torn"]
    assert "torn" in now.rules


def test_what_two_folders_change_of_one_entry_adds_up() -> None:
    now = over(
        "change: {id: seal-torn, fix: {minutes: 4}}\n",
        "change: {id: seal-torn, how_common: rare}\n",
    )
    assert (now.faults["seal-torn"].fix.minutes, now.faults["seal-torn"].how_common) == (4, "rare")
    assert done(now)[1].endswith("from shop1.yaml:1: how_common common -> rare")


FACTS = ("a", "b", "c")


def conditions() -> st.SearchStrategy[Condition]:
    leaves: st.SearchStrategy[Condition] = st.sampled_from(FACTS).map(
        lambda name: Leaf(fact=name, is_=True)
    )

    def joined(inner: st.SearchStrategy[Condition]) -> st.SearchStrategy[Condition]:
        several = st.lists(inner, min_size=1, max_size=3).map(tuple)
        return st.one_of(
            several.map(lambda parts: All(all=parts)),
            several.map(lambda parts: AnyOf(any=parts)),
            inner.map(lambda part: Not(not_=part)),
        )

    return st.recursive(leaves, joined, max_leaves=8)


@given(
    conditions(), st.sets(st.sampled_from(FACTS)), st.lists(st.booleans(), min_size=3, max_size=3)
)
def test_what_is_left_of_a_condition_holds_when_the_whole_did(
    condition: Condition, unknown: set[str], values: list[bool]
) -> None:
    known = {name: v for name, v in zip(FACTS, values, strict=True) if name not in unknown}
    left = _known(condition, unknown)
    assert (left is not None and truth(left, known) is True) == (truth(condition, known) is True)


def test_the_example_of_the_guide_does_what_it_says(tmp_path: Path) -> None:
    guide = (shipped_folder() / "README.md").read_text(encoding="utf-8")
    blocks = [block for block in guide.split("```yaml\n") if block.startswith("change:")]
    (tmp_path / "own.yaml").write_text(blocks[0].partition("```")[0])
    now = load_rules([tmp_path])
    assert now.checks["slider-look"].minutes == 0.5
    assert now.faults["relief-slider-open"].fix.minutes == 1
    assert now.rules["slider-look-open"].misleads.startswith("The customer")
    assert "slider-look-closed" not in now.rules
