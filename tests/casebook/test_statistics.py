"""What closed visits add up to: only verified ones count, shares carry their interval."""

from __future__ import annotations

from typing import Any

import pytest

from stillflow.casebook.listing import Wanted, listed
from stillflow.casebook.statistics import share_of, statistics, verified
from stillflow.casebook.store import Casebook
from stillflow.engine import load_rules
from stillflow.engine.inference.visit import Conclusion, Event, GoodReading, Unit, Visit

GOOD = GoodReading.model_validate({"station": "inlet", "state": "sealed", "suction": 120})


def closed(fault: str, fixes: tuple[str, ...], **given: Any) -> Visit:
    answers = [("bin-seat-look", "crooked"), ("sealed-unit", 89.0), ("sealed-inlet", 89.0)]
    conclusion = Conclusion(step=given.pop("step", "done"), fault=fault, readings=(GOOD,))
    return Visit(
        unit=Unit(rated_sealed=125, rated_airflow=112),
        events=(
            *(Event(check=check, answer=answer) for check, answer in answers),
            *(Event(fix=fix, done=True) for fix in fixes),
        ),
        conclusion=given.pop("conclusion", conclusion),
        **given,
    )


@pytest.mark.parametrize(("count", "of"), [(0, 7), (1, 7), (7, 7), (12, 40), (3, 5000)])
def test_an_interval_of_a_share_is_that_of_the_score(count: int, of: int) -> None:
    from scipy.stats import binomtest  # takes a second, which only who runs this shall wait for

    ours = share_of(count, of)
    theirs = binomtest(count, of).proportion_ci(0.9, "wilson")
    assert (ours.low, ours.high) == pytest.approx((theirs.low, theirs.high), abs=1e-12)


def test_a_fix_made_in_vain_and_undone_was_the_first_and_one_never_made_was_none() -> None:
    knowledge = load_rules()
    kept = closed("bin-not-seated", ("bin-seal-leaks", "bin-not-seated"))
    wrong = next(n for n, one in enumerate(kept.events, 1) if one.fix == "bin-seal-leaks")

    def struck(*strikes: bool | None) -> Visit:
        more = tuple(Event(strikes=wrong, note="why", done=one) for one in strikes)
        return kept.model_copy(update={"events": (*kept.events, *more)})

    def of(visit: Visit) -> tuple[int, float | None]:
        found = statistics([visit], knowledge)
        return found.first_fix_right.count, found.minutes

    never, undone = struck(None), struck(True)
    assert of(never) == of(closed("bin-not-seated", ("bin-not-seated",)))
    assert of(undone) == of(kept)
    assert (of(never)[0], of(undone)[0]) == (1, 0)
    # Neither is believed, and of two strikes the last counts.
    assert never.believed == undone.believed == struck(None, True).believed
    assert of(struck(None, True)) == of(undone)
    assert of(struck(True, None)) == of(never)


def test_without_a_visit_a_share_can_be_anything() -> None:
    assert (share_of(0, 0).low, share_of(0, 0).high) == (0, 1)


def test_only_visits_closed_with_readings_that_say_so_count(url: str) -> None:
    unread = Conclusion(step="done", fault="bin-not-seated")
    with Casebook(url) as casebook:
        casebook.put(closed("bin-not-seated", ("bin-not-seated",), id="a", technician="Ada"))
        casebook.put(closed("bin-not-seated", ("bin-not-seated",), id="b", technician="Ben"))
        casebook.put(closed("bin-not-seated", ("bin-not-seated",), id="c", step="refer"))
        casebook.put(closed("", (), id="d", conclusion=unread))
        casebook.put(closed("", (), id="e", conclusion=None))
        with casebook.transaction() as connection:
            found = casebook.load(connection, verified())
            ada = casebook.load(connection, verified(Wanted(technician="Ada")))
    assert ({one.id for one in found}, [one.id for one in ada]) == ({"a", "b"}, ["a"])


def test_a_visit_counts_for_everyone_who_wrote_answers_or_fixes_in_it(url: str) -> None:
    with Casebook(url, "Ben") as ben:
        visit = closed("bin-not-seated", (), id="a", technician="Ada", conclusion=None)
        ben.put(closed("bin-not-seated", ("bin-not-seated",), id="b", technician="Cleo"))
        mended = ben.add_event(ben.put(visit), Event(fix="bin-not-seated", done=True))
        mended = ben.written_by("Dora").add_event(mended, Event(note="told the office"))
        ended = Conclusion(step="done", fault="bin-not-seated", readings=(GOOD,))
        ben.save_header(mended.model_copy(update={"conclusion": ended}), mended)
        assert mended.technicians == ("Ada", "Ben")
        found = {}
        for name in ("Ada", "Ben", "Cleo", "Dora"):
            with ben.transaction() as connection:
                counted = ben.load(connection, verified(Wanted(technician=name)))
            lines = [(one.id, one.others) for one in listed(ben, Wanted(technician=name), 9)]
            assert [one.id for one in counted] == [one for one, _ in lines]
            found[name] = lines
    assert found == {"Ada": [("a", 1)], "Ben": [("a", 1)], "Cleo": [("b", 0)], "Dora": []}


def test_a_first_fix_that_did_not_mend_it_is_not_right_and_its_check_is_weighed() -> None:
    knowledge = load_rules()
    wrong = closed("bin-not-seated", ("bin-seal-leaks", "bin-not-seated"))
    right = closed("bin-not-seated", ("bin-not-seated",))
    strange = closed("gone-from-the-rules", ("gone-from-the-rules",))
    found = statistics([right, wrong, right, strange], knowledge)
    assert (found.visits, found.unusable) == (4, 1)
    assert (found.first_fix_right.count, found.first_fix_right.of) == (3, 4)
    first = found.faults[0]
    assert (first.fault, first.share.count) == ("bin-not-seated", 3)
    looked = next(one for one in found.checks if one.check == "bin-seat-look")
    assert looked.asked == 3
    assert looked.bits > 1
    assert looked.bits_per_minute == pytest.approx(looked.bits * 3 / looked.minutes)
    assert found.minutes is not None
    one = statistics([right], knowledge).minutes
    assert one is not None
    assert found.minutes > one
