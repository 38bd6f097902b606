"""What the audit must not take for a slip, and what it must see behind the words."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from broken_rules import RULE, USED, check, declared, found, rule, twins
from small_rules import small

from stillflow.engine.audit.inspections import audit

NOT_BROKEN: list[tuple[str, Callable[[], str]]] = [
    # A rule that takes back what a single reading could not know is no contradiction.
    (
        "contradicts",
        lambda: rule(
            "{all: [{fact: level.sealed.inlet, is: low}, {fact: answer.hiss, is: quiet}]}",
            "{against: leak, strength: slight}",
        ),
    ),
    # Two bands of one reading never hold at once.
    (
        "counted-twice",
        lambda: rule("{fact: level.sealed.inlet, is: absurd}", "{for: leak}"),
    ),
    # One of the two answers says nothing of it alone, so together they say more.
    (
        "said-already",
        lambda: rule(
            "{all: [{fact: answer.hiss, is: quiet}, {fact: answer.seal-look, is: torn}]}",
            "{for: seal-torn, strength: slight}",
        ),
    ),
    ("not-told-apart", lambda: twins(alike=declared("seal-torn", "seal-twin"))),
    ("never-first", lambda: twins(alike=declared("seal-torn", "seal-twin"))),
    ("alike-without-need", lambda: twins(alike=declared("seal-torn", "seal-twin"))),
    ("alike-in-name-only", lambda: twins(alike=declared("seal-torn", "seal-twin"))),
    # Nothing is short at the inlet with a clogged hose, and a leak elsewhere says nothing of that.
    (
        "against-physics",
        lambda: rule("{fact: level.working.inlet, is: low}", "{against: hose-clogged}"),
    ),
    (
        "against-physics",
        lambda: rule("{fact: level.working.hose, is: fine}", "{for: motor-worn}").replace(
            "because: It is said.", "because: It is said.\n    weighed: Ours surge when warm."
        ),
    ),
    (
        "nothing-to-weigh",
        lambda: rule("{fact: level.sealed.inlet, is: absurd}", "{against: leak}").replace(
            "because: It is said.", "because: It is said.\n    weighed: Gauges differ."
        ),
    ),
    (
        "never-asked",
        lambda: check(more="asked_when: {fact: answer.hiss, is: hissing}"),
    ),
    ("unsaid-mains", lambda: check(how="Unplug the unit and look.", more="cautions: [unplug]")),
    ("unsaid-mains", lambda: check(how="Unplug the unit and look.", more="access: lid-off")),
]


@pytest.mark.parametrize(("name", "text"), NOT_BROKEN)
def test_what_is_in_order_is_left_alone(name: str, text: Callable[[], str]) -> None:
    assert name not in found(text())


@pytest.mark.parametrize(
    ("how", "tells"),
    [
        ("Plug the hose into the inlet.", False),
        ("Pull the plug of dirt out with pliers.", False),
        ("Turn the outlet away, for dust blows out.", False),
        ("Push a blunt tape in, never a bare wire.", False),
        ("See that the hose is unplugged from the wall.", False),
        ("It makes good contact.", False),
        ("Look whether the pipe is plugged.", False),
        ("Touch the plug with the back of a finger.", True),
        ("Plug the unit in again.", True),
        ("Look at the wall outlet.", True),
        ("Read the voltage while it runs.", True),
        ("See whether the breaker has tripped.", True),
        ("Join the thin wires as they were.", True),
        ("Take the motor cover off.", True),
        ("Follow the unit's cord.", True),
        ("Bridge the contacts of the inlet.", True),
    ],
)
def test_words_with_two_meanings_are_told_apart(how: str, tells: bool) -> None:
    assert ("unsaid-mains" in found(check(how=how))) is tells


@pytest.mark.parametrize(
    ("how", "tells"),
    [
        ("Unplug the unit and look. Run the unit.", True),
        ("Pull its plug, look, and listen with the unit running.", True),
        ("Plug the unit in. Unplug it and look, then start it.", True),
        ("Run the unit, then unplug it and look.", False),
        ("Unplug the unit and look. Plug it in again and feel the seal while it runs.", False),
        ("Unplug the unit, look, and plug it back in. Run the unit.", False),
        ("Take the hose out, put it into an inlet and run the unit.", False),
        ("See that the hose is unplugged. Start the unit with the hose in an inlet.", True),
        ("See that the hose is unplugged. With the hose in an inlet start the unit.", False),
    ],
)
def test_what_is_unplugged_is_plugged_in_before_it_runs(how: str, tells: bool) -> None:
    assert ("unplugged-yet-run" in found(check(how=how))) is tells


def test_an_access_that_unplugs_does_so_for_what_is_done_behind_it() -> None:
    behind = "access: lid-off"
    unplugged = ("title: Lid off", "title: Lid off and the unit unplugged")
    run = check(how="Look while the unit runs.", more=behind)
    assert "unplugged-yet-run" not in found(run)
    assert "unplugged-yet-run" in found(run.replace(*unplugged))


def test_a_mains_meter_needs_a_caution_whatever_the_words() -> None:
    assert "unsaid-mains" in found(check(more="tools: [meter]"))


def test_a_follow_up_question_makes_its_answers_exclude_others() -> None:
    text = check(more="asked_when: {fact: answer.hiss, is: hissing}") + RULE.format(
        when="{all: [{fact: answer.extra, is: yes-it-is}, {fact: answer.hiss, is: quiet}]}",
        then="{for: seal-torn, strength: slight}",
    )
    assert [one.place.key for one in found(text)["never-fires"]] == ["extra"]


def test_questions_that_wait_for_each_other_are_never_asked() -> None:
    text = check(more="asked_when: {fact: answer.hiss, is: hissing}").replace(
        "ask: Does anything hiss?",
        "ask: Does anything hiss?\n    asked_when: {fact: answer.extra, is: yes-it-is}",
    )
    assert {one.place.key for one in found(text)["never-asked"]} == {"extra", "hiss"}


def test_levels_shares_and_ratios_of_one_reading_are_held_together() -> None:
    good, poor = "{fact: level.sealed.unit, is: fine}", "{fact: level.sealed.inlet, is: low}"
    then = "{for: hose-clogged}"
    # Low ends at .85 of expected, where fine begins, so the inlet keeps less than all of it.
    for least, fires in ((0.9, True), (1.0, False)):
        kept = f"{{fact: kept.sealed.unit-inlet, at_least: {least}}}"
        text = rule(f"{{all: [{good}, {poor}, {kept}]}}", then)
        assert ("never-fires" not in found(text)) is fires


def test_the_wider_bands_of_a_class_of_unit_count_only_where_they_hold() -> None:
    both = "{fact: level.sealed.inlet, is: fine}, {fact: share.sealed.inlet, below: 0.8}"
    assert "never-fires" not in found(rule(f"{{all: [{both}]}}", "{for: hose-clogged}"))
    rated, then = "{fact: baseline.from, is: rated}", "{for: hose-clogged, strength: slight}"
    assert "never-fires" in found(rule(f"{{all: [{both}, {rated}]}}", then))


def test_findings_stand_in_the_order_of_the_file() -> None:
    text = check(ask="Look at the seal.", how="Unplug it.").replace(USED, "")
    lines = [one.place.line for one in audit(small(text))]
    assert len(lines) == 3
    assert lines == sorted(lines, key=lambda line: line or 0)
