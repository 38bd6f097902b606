"""What comes next is said by rules: their order, their words, and a shop's own among them."""

from __future__ import annotations

import random

import pytest
from small_rules import DANGER, SMALL, small

from stillflow.engine import Session, Unit, Visit, load_rules
from stillflow.engine.base.errors import KnowledgeError
from stillflow.engine.dialogue.unrolled import Act, visit_tree
from stillflow.engine.inference.production import course_for
from stillflow.engine.inference.visit import CANT_DO, SKIPPED
from stillflow.engine.ruleset.conditions import leaves, truth
from stillflow.engine.ruleset.knowledge import Knowledge

STOP = """
  - id: stop-smoke
    when: {fact: answer.danger, is: smoke}
    then: [{stop: It smokes., call: the brigade, do_not: Do not open it.}]
    because: Smoke is fire.
    source: common-practice
"""
DANGEROUS = SMALL.replace("checks:\n", "checks:" + DANGER, 1) + STOP

TWO_FIXES = """
course:
  - id: two-fixes-are-enough
    salience: 45
    when: {fact: visit.fixes, at_least: 2}
    next: refer
    because: Two fixes in vain are enough.
    says: Two fixes did not bring it back, the last on '{fault}'.
    call: the master
    source: common-practice
"""


def changed(turn_id: str, **fields: object) -> Knowledge:
    """The small rules with one entry of the course written anew."""
    turn = small().course[turn_id].model_dump(by_alias=True, exclude_none=True) | fields
    lines = [f"      {name}: {value}" for name, value in turn.items() if name not in ("id", "when")]
    when = fields.get("when", "{fact: now.stop, is: true}")
    kept = [line for line in lines if not line.endswith(": ")]
    text = f"course:\n    - id: {turn_id}-too\n      when: {when}\n" + "\n".join(kept)
    return small(f"{SMALL}\n{text}\n")


def turn_of(session: Session) -> str:
    step = session.next_step()
    assert step.why_now
    assert step.why_now == session.knowledge.course[step.turn].because.replace(
        "{fault}", session.knowledge.faults[step.verifying].title if step.verifying else ""
    )
    return step.turn


@pytest.mark.parametrize(
    ("minutes", "lead", "over"),
    [(119, 0.1, False), (121, 0.1, True), (121, 0.5, True), (121, 0.6, False)],
)
def test_after_two_hours_a_vain_fix_is_the_last_unless_one_fault_is_likelier_than_all_else(
    minutes: float, lead: float, over: bool
) -> None:
    moment = {"fix.proved": "short", "fix.unmoved": 1.0, "now.minutes": minutes, "now.lead": lead}
    assert truth(load_rules().course["going-nowhere"].when, moment) is over


@pytest.mark.parametrize(("least", "turn"), [(0.4, "sure-enough"), (0.9, "going-on")])
def test_the_course_knows_how_likely_the_likeliest_fault_is(least: float, turn: str) -> None:
    lead = f"""
course:
  - id: sure-enough
    salience: 46
    when: {{fact: now.lead, above: {least}}}
    next: refer
    because: One fault leads.
    says: One fault leads.
    call: the master
    source: common-practice
  - id: going-on
    salience: 44
    when: {{fact: fix.proved, is: short}}
    next: refer
    because: None leads.
    says: None leads.
    call: the master
    source: common-practice
"""
    session = Session(small(f"{SMALL}{lead}"))
    session.record("sealed-inlet", 65.0)
    session.record_fix("seal-torn")
    assert turn_of(session) == "prove-the-fix"
    session.record("sealed-inlet", 65.0)
    assert 0.4 < session.progress.probabilities.max() < 0.9
    assert turn_of(session) == turn


def test_a_visit_runs_by_its_course_from_danger_to_proof() -> None:
    session = Session(small(DANGEROUS))
    assert turn_of(session) == "safety-first"
    session.record("danger", "none")
    assert turn_of(session) == "ask"
    session.record("sealed-inlet", 40.0)
    session.record("working-inlet", 70.0)
    assert turn_of(session) == "doubted"
    session.record("sealed-inlet", 80.0)
    session.record("working-inlet", 50.0)
    session.record_fix("hose-clogged")
    assert turn_of(session) == "prove-the-fix"
    assert session.next_step().because == ("'Clogged hose' is dealt with: is the suction back?",)
    session.record("danger", "smoke")
    assert turn_of(session) == "stop"
    ending = session.next_step().ending
    assert ending is not None
    assert (ending.what, ending.call, ending.do_not) == (
        "It smokes.",
        "the brigade",
        "Do not open it.",
    )


def test_what_stops_a_visit_goes_before_what_is_asked_first() -> None:
    session = Session(
        small(DANGEROUS.replace("answer.danger, is: smoke", "answer.hiss, is: quiet"))
    )
    session.record("hiss", "quiet")
    assert turn_of(session) == "stop"


def test_a_measurement_without_a_complaint_is_not_asked_about_danger_once_readings_are_in() -> None:
    knowledge = small(DANGEROUS)
    measuring = Visit(purpose="measuring")
    assert turn_of(Session(knowledge, measuring)) == "safety-first"
    session = Session(knowledge, measuring)
    session.record("sealed-inlet", 100.0)
    assert turn_of(session) != "safety-first"


def test_what_is_left_to_others_ends_the_visit_and_what_is_left_undone_does_not() -> None:
    session = Session(small())
    session.record_fix("motor-worn", done=False)
    assert turn_of(session) == "left-for-others"
    ending = session.next_step().ending
    assert ending is not None
    assert (ending.what, ending.call) == ("Worn motor: left for others.", "the workshop")
    session = Session(small())
    session.record_fix("hose-clogged", done=False)
    assert session.next_step().ending is None


def test_when_all_is_gone_to_the_end_says_what_was_left_undone() -> None:
    knowledge = small()
    session = Session(knowledge)
    for fault in knowledge.faults:
        session.record_fix(fault, found=False)
    assert turn_of(session) == "all-ruled-out"
    ending = session.next_step().ending
    assert ending is not None
    assert (ending.what, ending.call) == ("Every fault is ruled out.", "a senior technician")
    session = Session(knowledge)
    session.record_fix("hose-clogged", done=False)
    session.record_fix("seal-torn", done=False)
    session.record_fix("motor-worn", found=False)
    session.record_fix("nothing-wrong", found=False)
    assert turn_of(session) == "left-undone"
    ending = session.next_step().ending
    assert ending is not None
    assert ending.what == "Left undone: Clogged hose, Torn seal."
    assert session.visit.conclusion is not None
    assert session.visit.conclusion.text == ending.what


def test_a_fix_that_nothing_could_be_measured_after_is_handed_over() -> None:
    knowledge = small()
    session = Session(knowledge)
    session.record_fix("hose-clogged")
    while (check := session.next_step().check) is not None:
        assert session.next_step().turn == "prove-the-fix"
        session.record(check.id, CANT_DO)
    assert session.next_step().turn == "could-not-be-proved"


def test_what_was_put_off_is_asked_before_a_fix_is_made() -> None:
    knowledge = small()
    session = Session(knowledge)
    put_off = knowledge.checks["seal-look"]
    for check_id in knowledge.checks:
        session.record(check_id, SKIPPED if check_id == put_off.id else CANT_DO)
    step = session.next_step()
    assert step.turn == "ask"
    assert step.check is not None
    assert step.check.id == put_off.id


def test_a_shop_can_end_visits_by_a_rule_of_its_own_and_trees_know_it() -> None:
    knowledge = small(SMALL + TWO_FIXES)
    session = Session(knowledge)
    for fault in ("hose-clogged", "seal-torn"):
        session.record_fix(fault)
        while session.next_step().turn == "prove-the-fix":
            check = session.next_step().check
            assert check is not None
            bad = next((one.id for one in knowledge.checks[check.id].answers if not one.good), 20.0)
            session.record(check.id, bad)
        done = session.next_step().turn == "two-fixes-are-enough"
        assert done is (fault == "seal-torn")
    ending = session.next_step().ending
    assert ending is not None
    assert ending.what == "Two fixes did not bring it back, the last on 'Torn seal'."
    [node] = visit_tree(session).nodes
    assert (node.act, node.handed_to, node.reason) == (Act("refer"), "the master", ending.what)


def test_a_course_that_leaves_a_moment_open_says_so_in_a_line() -> None:
    never = "{fact: now.stop, is: true}"
    knowledge = small()
    object.__setattr__(
        knowledge, "course", {k: v for k, v in knowledge.course.items() if k != "ask"}
    )
    with pytest.raises(KnowledgeError, match="no rule says what comes next"):
        Session(knowledge).next_step()
    wanting = changed("prove-the-fix", when="{fact: now.unmeasured, is: true}", because="So.")
    with pytest.raises(KnowledgeError, match="'prove-the-fix-too' has nothing to verify"):
        Session(wanting).next_step()
    assert Session(changed("prove-the-fix", when=never, because="So.")).next_step().turn == "ask"


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (
            "    says: Two fixes did not bring it back, the last on '{fault}'.\n",
            "",
            "'says:' goes with",
        ),
        ("next: refer", "next: ask", "'says:' goes with next:"),
        ("{fault}", "{fualt}", "nothing stands for {fualt}"),
        ("next: refer", "next: hand-over", "next"),
        ("visit.fixes", "visit.fixs", "there is no fact 'visit.fixs'"),
        ("{fact: visit.fixes, at_least: 2}", "{fact: plan.act, is: mend}", "is never 'mend'"),
    ],
)
def test_a_broken_entry_of_the_course_is_refused(old: str, new: str, words: str) -> None:
    assert old in TWO_FIXES
    with pytest.raises(KnowledgeError) as caught:
        small(SMALL + TWO_FIXES.replace(old, new))
    assert words in f"{caught.value.what} {caught.value.place}"


def test_rules_on_the_trade_may_not_name_the_moment_of_a_visit() -> None:
    with pytest.raises(KnowledgeError, match=r"there is no fact 'plan\.act'"):
        small(SMALL.replace("{fact: answer.seal-look, is: whole}", "{fact: plan.act, is: fix}"))


def test_the_engine_says_of_any_facts_what_reading_from_the_top_says() -> None:
    knowledge = small(SMALL + TWO_FIXES)
    kinds = {}
    for turn in knowledge.turns:
        for leaf in leaves(turn.when):
            edge = leaf.at_least or leaf.above or leaf.at_most
            values = kinds.setdefault(leaf.fact, set())
            values |= {0.0, edge, edge + 1.0} if edge else set()
            values |= {leaf.is_} if leaf.is_ is not None else set()
    chance = random.Random(5)
    seen = set()
    for number in range(2640):
        # What one entry speaks of is mostly known, of the rest little: so each has its turn.
        turn = knowledge.turns[number % len(knowledge.turns)]
        named = {leaf.fact for leaf in leaves(turn.when)}
        facts = {
            name: chance.choice(sorted(values, key=str))
            for name, values in sorted(kinds.items())
            if chance.random() < (0.9 if name in named else 0.05)
        }
        firings = course_for(knowledge).run(facts).firings
        plain = [turn.id for turn in knowledge.turns if truth(turn.when, facts) is True]
        assert [one.rule_id for one in firings] == plain
        seen |= set(plain[:1])
    assert len(seen) == len(knowledge.turns)


@pytest.mark.parametrize(
    ("taken", "value", "other"),
    [
        ("sealed-inlet", 90.0, "working-inlet"),
        ("working-inlet", 50.0, "sealed-inlet"),
        ("sealed-unit", 128.0, "working-unit"),
        ("working-hose", 30.0, "sealed-hose"),
    ],
)
def test_where_one_of_two_readings_was_taken_the_other_is_taken_too(
    taken: str, value: float, other: str
) -> None:
    rated = Unit(rated_sealed=130.0, rated_airflow=114.0)
    session = Session(load_rules(), Visit(unit=rated))
    session.record("danger-signs", "none")
    session.record(taken, value)
    step = session.next_step()
    assert (step.turn, step.check and step.check.id) == ("other-reading", other)
    # Once both are taken nothing is read there for its own sake.
    session.record(other, 91.0 if other.startswith("sealed") else 52.0)
    assert session.next_step().turn != "other-reading"
