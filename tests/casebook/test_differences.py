"""What a change of rules changes is found, and laid at the door of the entry that does it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from stillflow.casebook.beliefs import ManyVisits
from stillflow.casebook.cases import Case, load_cases, named_case
from stillflow.casebook.differences import (
    Differences,
    changed_entries,
    concerned,
    differences,
)
from stillflow.casebook.generated import draw_kinds, generate, recorded
from stillflow.engine import Session, load_rules
from stillflow.engine.ruleset import Knowledge, load_without

CALLS = 120


@pytest.fixture(scope="module")
def shipped() -> Knowledge:
    return load_rules()


@pytest.fixture(scope="module")
def calls(shipped: Knowledge) -> ManyVisits:
    generator = np.random.default_rng(3)
    kinds = draw_kinds(shipped, generator, 2)
    return ManyVisits(list(generate(kinds, generator, CALLS, together=True)))


@pytest.fixture
def compared(shipped: Knowledge, calls: ManyVisits, tmp_path: Path) -> Callable[..., Differences]:
    def run(text: str, items: list[Case] | None = None) -> Differences:
        (tmp_path / "own.yaml").write_text(text)
        new = load_rules([tmp_path])
        return differences(
            shipped,
            new,
            items or [],
            calls,
            lambda section, name: load_without([], [tmp_path], section, name),
        )

    return run


def test_beliefs_of_many_visits_are_those_of_live_visits(
    shipped: Knowledge, calls: ManyVisits
) -> None:
    believed = calls.believed(shipped)
    assert believed.sum(axis=1) == pytest.approx(1.0)
    live = [Session(shipped, recorded(one, shipped)).progress for one in calls.visits[:25]]
    held = [n for n, one in enumerate(live) if not one.doubts]
    assert len(held) > 15
    for number in held:
        # Components of no account are dropped on a live visit as it goes on.
        assert believed[number] == pytest.approx(live[number].probabilities, abs=2e-3)


def test_a_change_of_words_moves_no_belief(compared: Callable[..., Differences]) -> None:
    found = compared("change: {id: slider-look-open, misleads: Never.}\n")
    assert (found.conclusions, found.shift, found.largest) == (0, 0.0, 0.0)
    assert [(one.entry, one.how) for one in found.entries] == [
        ("rules/slider-look-open", "changed")
    ]


def test_what_moves_is_blamed_on_the_entry_that_moves_it(
    compared: Callable[..., Differences],
) -> None:
    found = compared(
        "change:\n"
        "  - {id: slider-look-open, misleads: Never.}\n"
        "  - {id: hose-clogged, how_common: very-rare}\n"
    )
    assert found.conclusions > 0
    assert sum(count for _, _, count in found.faults) == found.conclusions
    assert found.faults[0][0] == "hose-clogged"
    first, last = found.entries
    assert (first.entry, first.conclusions) == ("faults/hose-clogged", found.conclusions)
    assert first.shift == pytest.approx(found.shift)
    assert (last.conclusions, last.shift) == (0, 0.0)


def test_a_worked_case_that_breaks_is_told_with_the_entry_that_breaks_it(
    compared: Callable[..., Differences],
) -> None:
    case = named_case("bare-floor-brush-on-shag")
    assert case is not None
    [fault] = case.expect.fixes
    found = compared(f"retire: [{fault}]\nchange: {{id: bag-look, minutes: 0.6}}\n", [case])
    [changed] = found.changed
    assert changed.breaks
    assert changed.by == (f"faults/{fault}",)
    assert (changed.before, changed.now) == (fault, "")
    assert found.breaks == 1


def test_minutes_are_laid_at_the_case_and_the_entry_that_costs_them(
    compared: Callable[..., Differences],
) -> None:
    case = named_case("bare-floor-brush-on-shag")
    assert case is not None
    [fault] = case.expect.fixes
    found = compared(
        f"change:\n  - {{id: {fault}, fix: {{minutes: 19}}}}\n  - {{id: bag-look, minutes: 0.6}}\n"
        "retire: [hot-motor]\n",
        [case],
    )
    assert found.minutes > 1
    assert found.longer == ((case.name, pytest.approx(found.minutes)),)
    costs = {one.entry: one.minutes for one in found.entries}
    assert costs[f"faults/{fault}"] == pytest.approx(found.minutes, abs=0.2)
    assert costs["checks/bag-look"] == pytest.approx(0.0, abs=0.2)
    assert any(one.startswith("cautions/hot-motor: no longer: ") for one in found.guards)


def test_entries_that_only_went_along_are_not_blamed(shipped: Knowledge, tmp_path: Path) -> None:
    (tmp_path / "own.yaml").write_text("retire: [slider-look]\n")
    new = load_rules([tmp_path])
    assert changed_entries(shipped, new) == [("checks", "slider-look", "retired")]
    assert "slider-look-open" not in new.rules


@pytest.mark.parametrize(
    ("text", "spoken_of"),
    [
        # Words move nothing.
        ("change: [{id: slider-look-open, misleads: Never.}]", set()),
        ("change: [{id: relief-slider-open, title: It is open}]", set()),
        ("change: [{id: slider-look, minutes: 1}]", {"relief-slider-open"}),
        ("change: [{id: slider-look-open, then: [{for: hose-holed, strength: slight}]}]",
         {"relief-slider-open", "hose-holed"}),
        ("change: [{id: separator-full, how_common: common}]", {"separator-full", "low-spot"}),
        ("retire: [rules/slider-look-open]", {"relief-slider-open"}),
    ],
)  # fmt: skip
def test_the_cases_played_are_those_that_speak_of_what_was_changed(
    shipped: Knowledge, tmp_path: Path, text: str, spoken_of: set[str]
) -> None:
    (tmp_path / "own.yaml").write_text(text)
    cases = load_cases()
    chosen = concerned(cases, shipped, load_rules([tmp_path]))
    assert len(chosen) < len(cases) / 2
    came_to = {fault for case in chosen for fault in case.expect.fixes}
    assert spoken_of <= came_to
    assert bool(chosen) is bool(spoken_of)
    for case in cases:
        if not spoken_of.isdisjoint(case.expect.fixes):
            assert case in chosen


def test_a_change_of_the_course_or_of_the_ways_concerns_every_case(
    shipped: Knowledge, tmp_path: Path
) -> None:
    (tmp_path / "own.yaml").write_text("change: [{id: attic, minutes: 2}]")
    cases = load_cases()
    assert concerned(cases, shipped, load_rules([tmp_path])) == cases
