"""What is carried to where there is no signal: the visit's own way, with every danger in it."""

from __future__ import annotations

from random import Random

import pytest

from stillflow.engine import Session, Unit, Visit, load_rules
from stillflow.engine.base import InputError
from stillflow.engine.dialogue import Carried, carried, given
from stillflow.engine.inference import spot_of

UNIT = Visit(unit=Unit(rated_sealed=130, rated_airflow=114))
REACH = 0.03


def begun(*answers: tuple[str, str]) -> Session:
    session = Session(load_rules(), UNIT)
    for check, answer in answers:
        session.record(check, answer)
    return session


@pytest.fixture(scope="module")
def whole() -> tuple[Session, Carried]:
    session = begun(("danger-signs", "none"))
    return session, carried(session, REACH)


def ways(whole: Carried, number: int) -> list[int]:
    node = whole.nodes[number]
    return [*node.ways.values(), *(to for _, to in node.edges if to is not None)]


def test_the_way_without_a_signal_is_the_visits_own_where_the_tree_covers_it(
    whole: tuple[Session, Carried],
) -> None:
    """With the readings by which the tree tells its levels; twenty ways drawn through it."""
    session, packed = whole
    knowledge = session.knowledge
    compared = 0
    for seed in range(20):
        draw = Random(seed)
        live = Session(knowledge, session.visit)
        at: int | None = 0
        while at is not None:
            node = packed.nodes[at]
            step, now = packed.steps[node.step], live.next_step()
            assert (step.step, step.check and step.check.id) == (
                now.step,
                now.check and now.check.id,
            )
            assert (step.fix and step.fix.fault) == (now.fix and now.fix.fault)
            compared += 1
            if step.check is not None:
                check = knowledge.checks[step.check.id]
                assert set(now.check.cautions if now.check else ()) <= set(step.check.cautions)
                covered = [*node.ways]
                if node.edges:
                    levels = [one.id for one in knowledge.levels]
                    ends = dict(zip(levels, node.edges, strict=True))
                    covered = [name for name, (_, to) in ends.items() if to is not None]
                if not covered:
                    break
                answer = draw.choice(covered)
                at = ends[answer][1] if node.edges else node.ways[answer]
                live.record(check.id, given(knowledge, live.baseline, check, answer))
            elif step.fix is not None:
                at = node.ways.get("not there")
                live.record_fix(step.fix.fault, found=False)
            else:
                break
    assert compared > 30


def test_every_node_leads_down_and_to_one_that_is_there(whole: tuple[Session, Carried]) -> None:
    _, packed = whole
    for number in range(len(packed.nodes)):
        assert all(number < to < len(packed.nodes) for to in ways(packed, number))


def test_edges_of_a_reading_rise_and_are_those_of_its_levels(
    whole: tuple[Session, Carried],
) -> None:
    session, packed = whole
    read = [node for node in packed.nodes if node.edges]
    assert read
    for node in read:
        check = packed.steps[node.step].check
        assert check is not None
        expected = session.baseline.at(*spot_of(session.knowledge.checks[check.id]))
        edges = [edge for edge, _ in node.edges]
        assert edges[-1] is None
        shares = [edge / expected for edge in edges if edge is not None]
        assert shares == pytest.approx([one.below for one in session.knowledge.levels if one.below])


def test_the_question_about_danger_is_carried_with_its_stops() -> None:
    session = begun()
    packed = carried(session, 0.2)
    first = packed.steps[packed.nodes[0].step]
    assert first.check is not None
    assert first.check.id == "danger-signs"
    stop = packed.steps[packed.nodes[packed.nodes[0].ways["burning-smell"]].step]
    live = begun(("danger-signs", "burning-smell")).next_step()
    assert stop.ending == live.ending
    assert packed.steps[packed.nodes[packed.nodes[0].ways["none"]].step].ending is None


def test_the_card_has_both_readings_at_each_station_first_and_no_proof_of_nothing(
    whole: tuple[Session, Carried],
) -> None:
    session, packed = whole
    checks = [packed.steps[number].check for number in packed.card]
    names = [check.id for check in checks if check is not None]
    readings = [name for name in session.knowledge.checks if name.startswith(("sealed", "working"))]
    assert sorted(names[: len(readings)]) == sorted(readings)
    assert names[:2] == ["sealed-unit", "working-unit"]
    assert "works-now" not in names
    assert [packed.steps[n].check.id for n in packed.proof] == ["working-hose", "works-now"]  # type: ignore[union-attr]
    looks = [one for one in checks[len(readings) :] if one is not None]
    assert all(one.opens is None for one in looks)


def test_what_the_card_leaves_open_is_put_back_as_the_visit_itself_would(
    whole: tuple[Session, Carried],
) -> None:
    """Every step of the card in order, some tried in vain, then the end."""
    begun_at, packed = whole
    live = Session(begun_at.knowledge, begun_at.visit)
    opened, told = set(packed.opened), 0
    for number, index in enumerate(packed.card):
        check = packed.steps[index].check
        assert check is not None
        own = live.once_more(check.id).put_back
        leaving = packed.leaving[check.id]
        shut = opened.intersection(leaving.shuts)
        assert shut == set(own.accesses if own else ())
        assert packed.steps[index].put_back is None
        told += bool(shut)
        opened = opened.difference(shut).union(leaving.opens)
        if number % 3 == 2 or check.kind == "choice":
            live.record(check.id, "can't tell")
        else:
            live.record(check.id, 60.0 if check.condition == "working" else 90.0)
        assert opened == set(live.progress.footing.opened)
    assert told > 0


def test_how_each_access_is_put_back_is_what_the_visit_says(
    whole: tuple[Session, Carried],
) -> None:
    session, packed = whole
    live = Session(session.knowledge, session.visit)
    live.record("sealed-unit", 129.0)
    own = live.once_more("sealed-utility").put_back
    assert own is not None
    mine = packed.back["tubing-off"]
    assert (mine.steps, mine.cautions, mine.minutes) == (own.steps, own.cautions, own.minutes)
    assert set(packed.back) == {
        name for name, one in session.knowledge.accesses.items() if one.put_back is not None
    }


def test_what_stands_open_where_one_stands_is_not_opened_again(
    whole: tuple[Session, Carried],
) -> None:
    _, packed = whole
    for shut, behind in packed.behind.items():
        first, again = packed.steps[shut].check, packed.steps[behind].check
        assert first is not None and again is not None
        assert first.id == again.id
        assert first.opens and not again.opens
        assert again.minutes < first.minutes
    assert {packed.steps[n].check.id for n in packed.behind} == {"sealed-unit", "working-unit"}  # type: ignore[union-attr]


def test_what_could_not_be_told_is_not_asked_again_by_the_card() -> None:
    session = begun(("danger-signs", "none"), ("working-unit", "can't tell"))
    packed = carried(session, 0.5)
    names = {check.id for number in packed.card if (check := packed.steps[number].check)}
    assert "sealed-unit" in names
    assert "working-unit" not in names
    assert packed.opened == ("tubing-off",)


def test_what_was_answered_or_cannot_be_done_here_is_not_on_the_card() -> None:
    visit = UNIT.model_copy(update={"missing_tools": ("gauge",)})
    session = Session(load_rules(), visit)
    session.record("danger-signs", "none")
    session.record("slider-look", "can't tell")
    packed = carried(session, 0.5)
    names = {check.id for number in packed.card if (check := packed.steps[number].check)}
    assert names
    assert not any("gauge" in session.knowledge.checks[name].tools for name in names)


def test_a_visit_that_is_over_has_no_tree() -> None:
    assert carried(begun(("danger-signs", "burning-smell")), 0.5).nodes == ()


def test_a_reach_that_is_no_share_is_refused() -> None:
    with pytest.raises(InputError, match="reach"):
        carried(begun(), 1.5)
