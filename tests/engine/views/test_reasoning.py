"""A round of a visit as a path to draw: what is on it, in whose words; and why it is not X."""

from __future__ import annotations

import re

import pytest
from small_rules import SMALL, small

from stillflow.engine import Session
from stillflow.engine.base.numbers import percent
from stillflow.engine.charts.reasoning import RULED_OUT, ReasoningPath
from stillflow.engine.charts.reasoningpicture import reasoning_chart
from stillflow.engine.dialogue.trace import ruled_out, telling_round
from stillflow.engine.dialogue.whynot import why_not
from stillflow.engine.inference.visit import Site, Unit, Visit
from stillflow.engine.views.reasoning import reasoning_path

OLD = """
  - id: old
    when: {fact: unit.age_years, at_least: 10}
    then: [{for: motor-worn, strength: slight}]
    because: Brushes wear.
    source: common-practice
"""
VISIT = Visit(
    site=Site(name="Thistle Lodge"),
    complaint="It is weak.",
    unit=Unit(rated_sealed=130, rated_airflow=114, age_years=12.0),
)


@pytest.fixture
def session() -> Session:
    made = Session(small(SMALL + OLD), VISIT)
    for check, answer in (
        ("sealed-inlet", 80.0),
        ("hiss", "hissing"),
        ("seal-look", "torn"),
        ("works-now", "can't tell"),
    ):
        made.record(check, answer)
    return made


def words_of(path: ReasoningPath) -> list[str]:
    said = [f"{fact.title} {fact.found}" for fact in path.facts]
    said += [rule.because for rule in path.rules]
    said += [one.title for one in path.derived]
    return said + [f"{fault.title} {fault.ruled_out_by}" for fault in path.faults]


def test_facts_are_numbered_in_the_order_of_asking_with_their_share(session: Session) -> None:
    path = reasoning_path(session, telling_round(session))
    asked = {fact.asked: fact for fact in path.facts if fact.asked}
    assert list(asked) == [1, 2, 3]
    assert asked[1].found == "80 inH2O"
    assert asked[1].share == pytest.approx(80 / session.baseline.expected["inlet"].sealed)
    assert asked[3].found == "torn"


def test_the_title_says_where_and_what_was_complained_of(session: Session) -> None:
    title = reasoning_path(session, telling_round(session)).title
    assert title.title == "How it was found: Thistle Lodge"
    assert title.subtitle == "It is weak."
    assert title.rules_version == session.knowledge.digest


def test_what_was_known_at_the_start_is_in_words_not_in_fact_names(session: Session) -> None:
    path = reasoning_path(session, telling_round(session), also=["motor-worn"])
    assert "The unit's age in years is 12" in {fact.title for fact in path.facts}
    for words in words_of(path):
        assert not re.search(r"[a-z]\.[a-z]|_", words), words


def test_a_finding_links_the_rule_that_made_it_to_the_rule_that_uses_it(session: Session) -> None:
    path = reasoning_path(session, telling_round(session))
    [found] = path.derived
    links = {(link.tail, link.head) for link in path.links}
    assert ("rule:low-sealed", found.id) in links
    assert (found.id, "rule:hiss-when-short") in links


def test_what_was_likely_and_is_not_says_what_ruled_it_out(session: Session) -> None:
    out = ruled_out(session, telling_round(session))
    assert "hose-clogged" not in out  # nothing speaks against it: it lost because others gained
    session.record("working-hose", 30.0)
    session.undo()
    session.record("seal-look", "whole")
    out = ruled_out(session, telling_round(session))
    assert set(out) <= {"seal-torn"}


def test_focus_shows_a_fault_however_unlikely_and_only_what_bears_on_it(session: Session) -> None:
    one = telling_round(session)
    path = reasoning_path(session, one, also=["motor-worn"])
    chart = reasoning_chart(path, ["fault:motor-worn"])
    faults = [node for node in chart.picture.nodes if node.kind in ("fault", "ruled-out")]
    assert [node.title for node in faults] == ["Worn motor"]
    assert "only what bears on “Worn motor”" in chart.picture.title.footer()


def test_only_what_is_less_likely_than_the_key_says_is_called_ruled_out(session: Session) -> None:
    session.record("works-now", "can't tell")
    for name in session.knowledge.faults:
        path = reasoning_path(session, telling_round(session), [], name)
        for fault in path.faults:
            assert not fault.ruled_out_by or fault.probability < RULED_OUT
        [asked] = [fault for fault in path.faults if fault.id == f"fault:{name}"]
        assert asked.ruled_out_by or asked.against


def test_why_not_shows_the_fault_with_its_share_beside_the_one_that_leads(session: Session) -> None:
    one = telling_round(session)
    answer = why_not(session, one, "motor-worn")
    path = reasoning_path(session, one, [answer.leader.id, "motor-worn"], "motor-worn")
    assert path.title.title.startswith("Why not “Worn motor”")
    [worn] = [fault for fault in path.faults if fault.id == "fault:motor-worn"]
    assert worn.ruled_out_by == ""
    assert worn.against.startswith("Nothing speaks against it")
    node = next(n for n in reasoning_chart(path).picture.nodes if n.id == worn.id)
    assert node.kind == "fault"
    assert node.text == percent(worn.probability)
    into = [link for link in path.links if link.head == worn.id]
    assert {link.direction for link in into} == {"for"}


def test_why_not_compares_with_the_leader(session: Session) -> None:
    answer = why_not(session, telling_round(session), "motor-worn")
    assert answer.leader.id == "seal-torn"
    assert answer.leading > answer.probability
    assert not answer.leads
    assert [item.rule_id for item in answer.speaks_for] == ["low-sealed", "old"]
    assert answer.against == ()
    assert answer.falls
    assert all(fall.after < fall.before for fall in answer.falls)


def test_why_not_of_the_leader_says_that_it_leads(session: Session) -> None:
    assert why_not(session, telling_round(session), "seal-torn").leads


def test_what_speaks_against_a_fault_is_named_loudest_first() -> None:
    session = Session(small(), VISIT)
    session.record("sealed-inlet", 130.0)
    session.record("seal-look", "whole")
    answer = why_not(session, telling_round(session), "seal-torn")
    assert [item.rule_id for item in answer.against] == ["whole", "fine-sealed"]
    assert [fall.asked.check_id for fall in answer.falls] == ["seal-look", "sealed-inlet"]


def test_a_fault_that_cannot_be_here_says_where_it_could() -> None:
    text = SMALL.replace(
        "    confirm: It runs slowly.",
        "    confirm: It runs slowly.\n    possible_when: {fact: unit.motors, at_least: 2}",
    )
    session = Session(small(text), VISIT.model_copy(update={"unit": Unit(motors=1)}))
    answer = why_not(session, telling_round(session), "motor-worn")
    assert answer.never == "it can only be where the unit's number of motors is at least 2"
    assert answer.probability == 0.0


def test_a_fault_that_was_not_there_when_looked_for_says_so(session: Session) -> None:
    session.record_fix("seal-torn", found=False)
    assert why_not(session, telling_round(session), "seal-torn").never == (
        "it was looked for and was not there"
    )


def test_a_fault_dealt_with_before_says_so(session: Session) -> None:
    session.record_fix("seal-torn")
    session.record("sealed-inlet", 80.0)
    session.record_fix("motor-worn")
    assert "dealt with before" in why_not(session, telling_round(session), "seal-torn").never
