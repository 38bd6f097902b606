"""A step in the words of the rule files: minutes, dangers before the step, who is called."""

from __future__ import annotations

import pytest
from small_rules import SMALL, small

from stillflow.engine import Session, Site, Visit, load_rules
from stillflow.engine.base.scales import Mode
from stillflow.engine.dialogue.present import Presenter, fault_shares, mode_shares
from stillflow.engine.dialogue.steps import Choice, NextStep
from stillflow.engine.inference import NamedInlet
from stillflow.engine.ruleset.knowledge import Knowledge

MORE = """
cautions:
  - {id: hot, about: fire, text: It may be hot., source: common-practice}
"""


def presenter(session: Session) -> Presenter:
    firings = session.conclude().firings
    return Presenter(session.knowledge, session.baseline, session.progress, firings)


def shown(session: Session, check_id: str, because: tuple[str, ...] = ()) -> NextStep:
    return presenter(session).check(session.knowledge.checks[check_id], because)


def fix_of(session: Session, fault_id: str) -> NextStep:
    return presenter(session).fix(session.knowledge.faults[fault_id], ("So.",), None)


def test_a_reading_is_shown_with_all_that_it_takes() -> None:
    session = Session(small(), Visit(site=Site(inlet="hall")))
    step = shown(session, "sealed-inlet", ("Because.",))
    check = step.check
    assert check is not None
    assert (step.step, step.because, step.fix, step.ending) == ("check", ("Because.",), None, None)
    assert (check.id, check.ask, check.kind) == (
        "sealed-inlet",
        "What does the gauge show, sealed?",
        "reading",
    )
    assert (check.station, check.condition, check.inlet, check.unit) == (
        "inlet",
        "sealed",
        "hall",
        "inH2O",
    )
    assert (check.minutes, check.how, check.tools) == (2, ("Press it on.",), ("gauge",))
    assert (check.answers, check.cautions, check.opens, check.verifies) == ((), (), None, True)
    assert step.baseline == session.baseline


def test_a_look_behind_a_lid_says_what_is_opened_and_its_dangers_until_it_stands_open() -> None:
    session = Session(small())
    check = shown(session, "seal-look").check
    assert check is not None
    assert (check.minutes, check.opens) == (5, "Lid off the unit")
    assert check.cautions == ("Unplug the unit first.",)
    assert [(one.id, one.label) for one in check.answers] == [("whole", "whole"), ("torn", "torn")]
    assert (check.unit, check.inlet, check.verifies) == (None, None, False)
    session.record("seal-look", "whole")
    again = shown(session, "seal-look").check
    assert again is not None
    assert (again.minutes, again.opens, again.cautions) == (1, None, ())


def test_what_was_read_at_a_part_is_not_asked_whether_it_is_there() -> None:
    session = Session(load_rules())
    asked = shown(session, "brush-look").check, shown(session, "utility-tissue").check
    assert [one and one.answers[-1].label for one in asked] == [
        "No carbon brushes here",
        "No utility inlet here",
    ]
    session.record("sealed-utility", 120.0)
    now = shown(session, "utility-tissue").check
    assert now is not None
    assert [one.id for one in now.answers] == ["still", "drawn-in"]


def test_a_fix_names_dangers_of_opening_first_and_each_once() -> None:
    knowledge = small(
        SMALL.replace("cautions:\n", "cautions:\n" + MORE.split("\n", 2)[2], 1).replace(
            "parts: [seal], cautions: [unplug]", "parts: [seal], cautions: [hot, unplug]"
        )
    )
    session = Session(knowledge)
    step = fix_of(session, "seal-torn")
    fix = step.fix
    assert fix is not None
    assert fix.cautions == ("Unplug the unit first.", "It may be hot.")
    assert (step.step, step.because, fix.minutes, fix.parts) == ("fix", ("So.",), 14, ("seal",))
    assert (fix.title, fix.steps, fix.confirm, fix.after, fix.refer) == (
        "Torn seal",
        ("Fit a new seal.",),
        "A tear is seen.",
        "Sealed is back.",
        "",
    )
    session.record("seal-look", "whole")
    opened = fix_of(session, "seal-torn").fix
    assert opened is not None
    assert (opened.minutes, opened.cautions) == (10, ("It may be hot.", "Unplug the unit first."))


def test_others_work_is_a_step_of_its_own_kind() -> None:
    step = fix_of(Session(small()), "motor-worn")
    assert step.fix is not None
    assert (step.step, step.fix.refer, step.fix.minutes) == ("refer", "the workshop", 60)


def test_a_danger_that_a_rule_raised_is_shown_with_every_later_step() -> None:
    session = Session(small())
    before = shown(session, "working-hose").check
    session.record("sealed-inlet", 60.0)
    session.record("hiss", "hissing")
    after = shown(session, "working-hose").check
    assert before is not None
    assert after is not None
    assert (before.cautions, after.cautions) == ((), ("Unplug the unit first.",))


@pytest.mark.parametrize(
    ("station", "named", "unnamed"),
    [
        ("inlet", "hall", "the inlet in question"),
        ("hose", "hall", "the inlet in question"),
        ("other", "attic", "an inlet on another branch"),
        ("unit", None, None),
        ("utility", None, None),
    ],
)
def test_the_inlet_is_called_what_the_house_calls_it(
    station: str, named: str | None, unnamed: str | None
) -> None:
    knowledge = small(SMALL.replace("station: inlet", f"station: {station}", 1))
    for site, words in ((Site(inlet="hall", other_inlet="attic"), named), (Site(), unnamed)):
        check = shown(Session(knowledge, Visit(site=site)), "sealed-inlet").check
        assert check is not None
        assert check.inlet == words


def shares(knowledge: Knowledge) -> list[tuple[str, float]]:
    given = [0.1, 0.4, 0.4, 0.1]
    import numpy as np

    return [(one.id, one.probability) for one in fault_shares(knowledge, np.array(given))]


def test_faults_stand_by_how_likely_they_are_and_ties_by_id() -> None:
    knowledge = small()
    columns = list(knowledge.faults)
    assert columns == ["hose-clogged", "motor-worn", "nothing-wrong", "seal-torn"]
    assert shares(knowledge) == [
        ("motor-worn", 0.4),
        ("nothing-wrong", 0.4),
        ("hose-clogged", 0.1),
        ("seal-torn", 0.1),
    ]


def test_modes_add_up_what_their_faults_share() -> None:
    session = Session(small())
    session.record("sealed-inlet", 60.0)
    faults = session.next_step().faults
    modes = mode_shares(faults)
    by_id = {one.id: one.probability for one in faults}
    assert modes[Mode.LEAK] == pytest.approx(by_id["seal-torn"])
    assert modes[Mode.NORMAL] == pytest.approx(by_id["nothing-wrong"])
    assert list(modes.values()) == sorted(modes.values(), reverse=True)
    assert set(modes) == set(Mode)
    assert modes == session.next_step().modes


def test_after_a_fix_that_worked_belief_is_shown_as_it_led_to_it() -> None:
    session = Session(small())
    session.record("seal-look", "torn")
    led = session.next_step().faults
    session.record_fix("seal-torn")
    for check_id, answer in (
        ("sealed-inlet", 120.0),
        ("working-hose", 60.0),
        ("works-now", "restored"),
    ):
        assert session.next_step().verifying == "seal-torn"
        session.record(check_id, answer)
    step = session.next_step()
    assert (step.step, step.verifying) == ("done", "")
    assert step.faults == led


def test_what_a_step_saves_is_against_fixing_only_and_never_less_than_nothing() -> None:
    assert Choice(expected=20.0, fixing_only=20.5).saved == 0.5
    assert Choice(expected=20.0, fixing_only=19.0).saved == 0.0


def test_what_is_needed_is_called_as_people_call_it() -> None:
    session = Session(load_rules())
    checks = session.knowledge.checks.values()
    name = next(check.id for check in checks if "torch" in check.tools)
    step = shown(session, name).check
    assert step is not None
    assert "torch" in step.tools
    assert "flashlight" in step.needs


def test_which_of_the_named_inlets_the_complaint_is_about_is_asked_with_a_reading() -> None:
    named = tuple(NamedInlet(name=one) for one in ("bedroom", "hall"))
    session = Session(load_rules(), Visit(site=Site(inlets=named)))
    step = session.step_for("working-inlet")
    assert (step.asks_inlet, step.inlets) == (True, ("bedroom", "hall"))
    session.record("working-inlet", 48, inlet="bedroom")
    step = session.step_for("sealed-inlet")
    assert (step.asks_inlet, step.inlet) == (False, "bedroom")
    # A house whose inlets have no names is not asked for one.
    assert not Session(load_rules(), Visit()).step_for("working-inlet").asks_inlet


def test_the_inlet_a_question_names_comes_first_among_those_it_may_be_answered_for() -> None:
    named = tuple(NamedInlet(name=one) for one in ("bath", "garage", "bedroom", "hall"))
    session = Session(load_rules(), Visit(site=Site(inlet="bedroom", inlets=named)))
    session.record("working-other", 77, inlet="hall")
    step = session.step_for("sealed-other")
    assert step.inlet == "hall"
    assert step.inlets[0] == "hall"
