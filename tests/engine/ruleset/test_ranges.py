"""Every judged number has a range: its own where its entry says one, else that of its kind."""

from __future__ import annotations

from pathlib import Path

import pytest

from stillflow.engine import load_rules
from stillflow.engine.base import KnowledgeError
from stillflow.engine.ruleset import JudgedNumber, Knowledge, judged


@pytest.fixture(scope="module")
def shipped() -> Knowledge:
    return load_rules()


def named(knowledge: Knowledge) -> dict[str, JudgedNumber]:
    return {one.name: one for one in judged(knowledge)}


def test_every_number_that_is_judged_has_a_range_around_it(shipped: Knowledge) -> None:
    numbers = judged(shipped)
    assert all(one.low < one.value < one.high for one in numbers if one.kind != "strength")
    assert all(one.low <= one.value < one.high for one in numbers)
    assert {one.kind for one in numbers} == {*shipped.ranges}
    found = named(shipped)
    assert found["slider-look: usual open"].value == 0.035
    fixes = {one.entry for one in numbers if one.key == "fix minutes"}
    assert fixes == {*shipped.faults}
    assert {one.entry for one in numbers if one.key == "mistaken"} == {
        name for name, one in shipped.checks.items() if one.mistaken
    }


def test_the_range_of_a_kind_holds_where_the_entry_says_none(shipped: Knowledge) -> None:
    one, times = named(shipped)["slider-look: minutes"], shipped.ranges["minutes"].times
    assert (one.low, one.high) == (one.value / times, one.value * times)
    assert not one.own
    way = named(shipped)["attic: minutes"]
    assert (way.low, way.high, way.own) == (0.6, 3.0, True)


def test_shares_stay_shares_evidence_keeps_its_side_and_of_a_speed_the_loss_is_judged(
    shipped: Knowledge,
) -> None:
    numbers = judged(shipped)
    assert all(one.high <= 1.0 for one in numbers if one.kind == "usual")
    assert all(one.high < 0.5 for one in numbers if one.kind == "mistaken")
    assert all(one.low >= 1.0 for one in numbers if one.kind == "strength")
    speed = named(shipped)["label-too-good: greatest factor"]
    assert speed.low < speed.value < speed.high < 1.0


OWN = """
ranges:
  - {id: minutes, title: We have timed them, times: 1.2, source: common-practice}
change:
  - id: slider-look
    range: {minutes: [0.1, 0.4]}
    answers: [{id: open, range: {usual: [0.01, 0.1]}}]
  - id: relief-slider-open
    range: {how_common: [rare, very-common]}
    fix: {range: {minutes: [0.4, 1]}}
"""


def test_a_shop_says_better_of_a_kind_and_of_one_number(shipped: Knowledge, tmp_path: Path) -> None:
    (tmp_path / "own.yaml").write_text(OWN)
    found = named(load_rules([tmp_path]))
    assert (found["slider-look: minutes"].low, found["slider-look: minutes"].high) == (0.1, 0.4)
    common = found["relief-slider-open: how common"]
    assert (common.low, common.high) == pytest.approx((10**-0.5, 10.0))
    assert found["relief-slider-open: fix minutes"].own
    assert found["slider-look: usual open"].high == 0.1
    other = found["tool-look: minutes"]
    assert other.high == pytest.approx(1.2 * other.value)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ("{id: slider-look, range: {minutes: [0.5, 2]}}",
         "slider-look range: minutes 0.2 is not from 0.5 to 2; give the least and the most, around "
         "it"),
        ("{id: slider-look, range: {minuts: [0.1, 2]}}",
         "slider-look range: 'minuts' is no number that is judged here; did you mean 'minutes'?"),
        ("{id: slider-look, minutes: 4, range: {minutes: [0.1, 0.4]}}",
         "slider-look range: minutes 4 is not from 0.1 to 0.4; give the least and the most, around "
         "it"),
        ("{id: relief-slider-open, range: {how_common: [rare, frequent]}}",
         "relief-slider-open range.how_common 2: no number is called that (given: 'frequent'); "
         "known: common, decisive, occasional, rare, slight, strong, substantial, very-common, "
         "very-rare, very-strong"),
        ("{id: slider-look, range: {minutes: 0.3}}",
         "slider-look range.minutes: 0.3 does not fit; write a list: [one, another], or one '- ' "
         "line for each"),
    ],
)  # fmt: skip
def test_a_range_that_cannot_be_is_refused_at_its_line(
    change: str, said: str, tmp_path: Path
) -> None:
    (tmp_path / "own.yaml").write_text(f"change:\n  - {change}\n")
    with pytest.raises(KnowledgeError) as caught:
        load_rules([tmp_path])
    assert str(caught.value).partition(", ")[2] == said
    assert ":2" in str(caught.value)


def test_entries_with_ranges_have_a_hash_as_all_have(shipped: Knowledge) -> None:
    for group in (shipped.stands, shipped.faults, shipped.checks):
        assert len({*group.values()}) == len(group)
