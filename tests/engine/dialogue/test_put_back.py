"""What stands open is put back before whatever needs the house as it is used."""

from __future__ import annotations

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from small_rules import small

from stillflow.engine import Session, Unit, Visit
from stillflow.engine.dialogue import NextStep, summarise
from stillflow.engine.inference import CANT_TELL
from stillflow.engine.ruleset import Knowledge, load_rules, put_back_steps

RATED = Visit(unit=Unit(rated_sealed=130, rated_airflow=114, age_years=9, filter="cartridge"))


class House:
    """What is open, by the rule files alone: opened by what was done, closed only when told to."""

    def __init__(self, knowledge: Knowledge) -> None:
        self.knowledge = knowledge
        self.open: set[str] = set()

    def undone(self) -> set[str]:
        return {one for one in self.open if self.knowledge.accesses[one].put_back is not None}

    def before(self, step: NextStep) -> None:
        if step.put_back is not None:
            assert self.undone().issuperset(step.put_back.accesses)
            shut = set(step.put_back.accesses)
            shut |= {also for one in shut for also in self.knowledge.accesses[one].also}
            told = [self.knowledge.accesses[one].put_back for one in shut]
            assert set(step.put_back.steps) == {one.step for one in told if one}
            self.open -= set(step.put_back.accesses)

    def may_be_done(self, step: NextStep) -> None:
        """Nothing is read, listened to or tried with something open, but for what it is behind."""
        if step.check is None:
            if step.ending is not None and step.step != "stop":
                assert self.undone() == set()
            return
        check = self.knowledge.checks[step.check.id]
        if check.kind == "reading" or check.closed:
            assert self.undone() <= {check.access}, (check.id, self.undone())

    def opens(self, access: str | None, closed: bool = False) -> None:
        if access is not None:
            self.open.add(access)
            self.open |= set() if closed else set(self.knowledge.accesses[access].also)


def played(knowledge: Knowledge, luck: st.DataObject, most: int) -> None:
    session, house = Session(knowledge, RATED), House(knowledge)
    for _ in range(most):
        step = session.next_step()
        found = set(house.open)
        house.before(step)
        house.may_be_done(step)
        if step.check is not None:
            check = knowledge.checks[step.check.id]
            if check.kind == "reading":
                assert check.condition is not None
                assert check.station is not None
                expected = session.baseline.at(check.condition, check.station)
                share = luck.draw(st.sampled_from([0.3, 0.6, 0.85, 0.97, 1.0]))
                session.record(check.id, round(share * expected))
            else:
                answers = [one for one in check.answer_ids if not check.first][:4]
                answer = luck.draw(st.sampled_from([*answers, CANT_TELL])) if answers else "none"
                session.record(check.id, answer)
            house.opens(check.access, check.kind == "reading" or check.closed)
        elif step.fix is not None:
            done = luck.draw(st.sampled_from(["done", "left", "not there"]))
            session.record_fix(step.fix.fault, done == "done", found=done != "not there")
            if done == "left":
                house.open = found  # nothing of it was done, so nothing was put back for it
            else:
                house.opens(knowledge.faults[step.fix.fault].fix.access)
        else:
            left = summarise(session).put_back
            assert bool(left) is (step.put_back is not None)
            return


@settings(max_examples=5, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.data())
def test_no_reading_is_ever_asked_with_something_open_or_undone(luck: st.DataObject) -> None:
    played(load_rules(), luck, 25)


@settings(max_examples=10, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.data())
def test_a_visit_never_ends_with_something_open(luck: st.DataObject) -> None:
    played(small(), luck, 60)


def test_the_tubing_is_put_back_before_the_house_is_read() -> None:
    knowledge = load_rules()
    session = Session(knowledge, RATED)
    for check_id, answer in (("danger-signs", "none"), ("sealed-unit", 130.0)):
        session.record(check_id, answer)
    assert session.progress.footing.opened == {"tubing-off"}
    step = session.once_more("working-unit")
    assert step.put_back is None
    assert step.check is not None
    assert step.check.minutes == knowledge.checks["working-unit"].minutes - 0.5
    step = session.once_more("sealed-inlet")
    assert step.put_back is not None
    assert step.put_back.accesses == ("tubing-off",)
    assert step.put_back.minutes == 1
    assert step.put_back.steps[-1] == "Plug the unit in again."
    session.record("intake-look", "clear")
    assert session.progress.footing.opened == {"tubing-off", "unplugged"}
    step = session.once_more("working-unit")
    assert step.put_back is not None
    assert step.put_back.steps == ("Plug the unit in again.",)


def test_whatever_tells_to_unplug_the_unit_leaves_it_to_be_plugged_in_again() -> None:
    knowledge = load_rules()
    told = [(check.id, check.how, check.access) for check in knowledge.checks.values()]
    told += [(one.id, one.fix.steps, one.fix.access) for one in knowledge.faults.values()]
    for name, words, access in told:
        if any("nplug the unit" in line for line in words):
            assert access is not None, name
            assert "Plug the unit in again." in put_back_steps(knowledge, [access]), name


def test_a_record_that_says_nothing_of_putting_back_is_taken_as_put_back() -> None:
    session = Session(small(), RATED)
    session.record("seal-look", "whole")
    spent = session.progress.spent
    session.record("sealed-inlet", 120.0)
    assert session.progress.footing.opened == set()
    assert session.progress.spent == spent + 2 + 1


def test_who_stops_for_danger_puts_nothing_back() -> None:
    session = Session(load_rules(), RATED)
    for check_id, answer in (("danger-signs", "none"), ("motor-wiring-look", "melted")):
        if answer in session.knowledge.checks[check_id].answer_ids:
            session.record(check_id, answer)
        else:
            bad = session.knowledge.checks[check_id].answer_ids[-1]
            session.record(check_id, bad)
    step = session.next_step()
    assert step.step == "stop"
    assert session.progress.footing.opened
    assert step.put_back is None
    assert summarise(session).put_back == ()
