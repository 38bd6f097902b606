"""`stillflow visit` begins with the house: what was measured there last is what is judged by."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from command import stillflow

from stillflow.casebook.sites import Sites
from stillflow.casebook.store import Casebook
from stillflow.engine import Session, load_rules
from stillflow.engine.inference import (
    Conclusion,
    Event,
    Gauge,
    GoodReading,
    House,
    Site,
    Unit,
    Visit,
    baseline_for,
)

THEN = datetime.now(UTC) - timedelta(days=426)
HERON = Site(
    name="14 Heron Court",
    address="14 Heron Court, Larkham",
    customer="Ada Penhallow",
    phone="0555 010-203",
    inlet="kitchen",
)
GOOD = {
    "inlet": "kitchen",
    "station": "inlet",
    "at": THEN,
    "after": "hose-holed",
    "gauge": "blue",
}


def last_year() -> Visit:
    readings = (
        GoodReading(state="sealed", suction=126, **GOOD),
        GoodReading(state="working", suction=74, **GOOD),
    )
    return Visit(
        id="last-year",
        opened=THEN,
        described=True,
        site=HERON,
        unit=Unit(rated_sealed=130, rated_airflow=114, age_years=9, filter="bag"),
        house=House(tubing_ft=60, hose_ft=30),
        gauge=Gauge(name="blue"),
        events=(Event(fix="hose-holed", done=True),),
        conclusion=Conclusion(step="done", fault="hose-holed", text="Well.", readings=readings),
    )


@pytest.fixture
def url(tmp_path: Path) -> str:
    where = f"sqlite:///{tmp_path}/casebook.db"
    with Casebook(where) as casebook:
        casebook.put(last_year())
    return where


def begun(url: str, *lines: str) -> tuple[str, Visit]:
    outcome = stillflow("visit", "--db", url, typed="".join(f"{line}\n" for line in lines))
    assert outcome.code == 0, outcome.err
    with Casebook(url) as casebook:
        return outcome.out, casebook.open_visits()[0]


@pytest.mark.parametrize("part", ["heron", "LARKHAM 14", "penhallow", "010-203", "010203"])
def test_a_known_house_is_found_by_part_and_brings_what_is_known(url: str, part: str) -> None:
    out, visit = begun(url, part, "1", "", "stop")
    assert "14 Heron Court, Larkham, Ada Penhallow" in " ".join(out.split())
    said = " ".join(out.split())
    assert "14 months ago" in said
    assert 'after "The hose has a hole or a split" was put right' in said
    assert "126 sealed, 74 working at the kitchen inlet, 5/8 in." in said
    assert visit.site.customer == "Ada Penhallow"
    assert visit.unit.rated_sealed == 130
    assert visit.unit.age_years == pytest.approx(10.2, abs=0.1)
    assert visit.house == House(tubing_ft=60, hose_ft=30)
    assert [one.suction for one in visit.earlier] == [126, 74]
    with Casebook(url) as casebook:
        (line,) = Sites(casebook).find("heron")
    assert line.visits == 2


def test_a_name_spelt_nearly_like_a_house_on_record_is_offered_that_house(url: str) -> None:
    out, visit = begun(url, "14 Herron Court", "1", "", "stop")
    assert "No house by that name yet. Like it are:" in out
    assert visit.site.name == "14 Heron Court"


def test_the_visit_is_judged_by_the_last_good_readings_of_its_inlet(url: str) -> None:
    knowledge = load_rules()
    _, visit = begun(url, "heron", "1", "", "stop")
    rated = visit.model_copy(update={"earlier": ()})
    assert baseline_for(rated, knowledge).origin == "rated"
    kitchen = visit.model_copy(update={"site": visit.site.model_copy(update={"inlet": "Kitchen"})})
    judged = baseline_for(kitchen, knowledge)
    assert judged.origin == "last-visit"
    assert judged.expected["inlet"].sealed == 126
    assert judged.expected["inlet"].working == 74
    hall = visit.model_copy(update={"site": visit.site.model_copy(update={"inlet": "hall"})})
    assert baseline_for(hall, knowledge).origin == "rated"
    thin = visit.model_copy(
        update={"site": kitchen.site.model_copy(update={"altitude_ft": 5280.0})}
    )
    # Given for the first time it is the altitude of the readings before, which stand as they are.
    assert baseline_for(thin, knowledge).expected["inlet"].working == 74
    lower = [one.model_copy(update={"altitude_ft": 1000.0}) for one in thin.earlier]
    apart = thin.model_copy(update={"earlier": tuple(lower)})
    assert baseline_for(apart, knowledge).origin == "rated"
    narrow = kitchen.model_copy(update={"gauge": Gauge(orifice_in=0.5, name="blue")})
    through = baseline_for(narrow, knowledge)
    assert through.expected["inlet"].sealed == 126
    assert through.expected["inlet"].working != 74


def test_an_altitude_is_asked_once_and_throws_no_reading_away(url: str) -> None:
    lines = ("heron", "1", "", "", "weak", "", "unit inlet kitchen", "unit altitude 72", "stop")
    out, visit = begun(url, *lines)
    assert "Altitude of the house" not in out
    assert "What have you with you?" in out
    assert "Not judged by earlier readings" not in out
    assert (visit.site.altitude_ft, baseline_for(visit, load_rules()).origin) == (72, "last-visit")


def test_readings_that_an_altitude_throws_away_are_named_where_it_is_given(url: str) -> None:
    with Casebook(url) as casebook:
        high = last_year().conclusion
        assert high is not None
        good = [one.model_copy(update={"altitude_ft": 1000.0}) for one in high.readings]
        ended = high.model_copy(update={"readings": tuple(good)})
        site = HERON.model_copy(update={"altitude_ft": 1000.0})
        again = {
            "opened": THEN + timedelta(days=9),
            "id": "high",
            "conclusion": ended,
            "site": site,
        }
        casebook.put(last_year().model_copy(update=again))
    out, _ = begun(url, "heron", "1", "", "", "weak", "", "unit altitude 6000", "stop")
    said = " ".join(out.split())
    assert "126 sealed, 74 working: read at 1,000 ft, now 6,000 ft" in said


def test_another_gauge_widens_what_is_expected(url: str) -> None:
    knowledge = load_rules()
    _, visit = begun(url, "heron", "1", "", "stop")
    site = visit.site.model_copy(update={"inlet": "kitchen"})
    same = visit.model_copy(update={"site": site, "gauge": Gauge(name="blue")})
    other = visit.model_copy(update={"site": site, "gauge": Gauge(name="red")})
    first, second = baseline_for(same, knowledge), baseline_for(other, knowledge)
    assert second.tolerance == pytest.approx(first.tolerance + 0.02)
    assert "another gauge" in second.note
    # A reading that is low by the one is less surely low by the other.
    sure = []
    for one in (same, other):
        session = Session(knowledge, one)
        session.record("sealed-inlet", 119.0)
        session.record("working-inlet", 70.0)
        index = knowledge.fault_index["nothing-wrong"]
        sure.append(session.progress.probabilities[index])
    assert sure[1] > 1.1 * sure[0]


def test_a_unit_that_was_replaced_starts_anew(url: str) -> None:
    out, visit = begun(url, "heron", "1", "new", "stop")
    assert "starts anew" in out
    assert visit.earlier == ()
    assert visit.unit.rated_sealed is None
    assert visit.unit.fitted == datetime.now(UTC).date()
    _, again = begun(url, "no", "heron", "1", "", "stop")
    assert again.unit.fitted == visit.unit.fitted
    assert again.earlier == ()


def test_another_house_of_the_same_name_is_a_house_of_its_own(url: str) -> None:
    _, visit = begun(url, "14 Heron Court", "new", "stop")
    assert visit.site.customer == ""
    assert visit.earlier == ()
    with Casebook(url) as casebook:
        assert [one.visits for one in Sites(casebook).find("heron")] == [1, 1]


def test_a_visit_that_ends_well_leaves_its_readings_for_the_next(url: str) -> None:
    knowledge = load_rules()
    with Casebook(url) as casebook:
        sites = Sites(casebook)
        known = sites.known(sites.find("heron")[0].id)
        visit = casebook.begin(sites.prefilled(known, Visit()))
        site = visit.site.model_copy(update={"inlet": "kitchen"})
        session = Session(knowledge, visit.model_copy(update={"site": site}))
        now = datetime.now(UTC)
        session.record("sealed-inlet", 92.0, now)
        session.record("working-inlet", 48.0, now)
        session.record_fix("hose-holed", True, now)
        session.record("sealed-inlet", 125.0, now)
        session.record("working-inlet", 73.5, now)
        session.record("works-now", "as-it-should", now)
        while (step := session.next_step()).check is not None:
            check = knowledge.checks[step.check.id]
            usual = max(check.answers, key=lambda one: one.usual, default=None)
            session.record(check.id, usual.id if usual else "can't do here", now)
        ended = session.visit
        assert ended.conclusion is not None
        assert ended.conclusion.step == "done"
        spots = {(one.station, one.state): one.suction for one in ended.conclusion.readings}
        assert spots[("inlet", "sealed")] == 125.0
        assert {one.inlet for one in ended.conclusion.readings} == {"kitchen"}
        kept = visit
        for event in ended.events:
            kept = casebook.add_event(kept, event)
        casebook.save_header(ended, kept)
        following = sites.prefilled(sites.known(known.line.id), Visit())
        assert {one.suction for one in following.earlier} == {125.0, 73.5}


def test_who_is_on_site_stands_in_the_visit_and_its_trail(url: str, tmp_path: Path) -> None:
    typed = "heron\n1\n\nred\nstop\n"
    assert stillflow("visit", "--as", "Bram", "--db", url, typed=typed).code == 0
    with Casebook(url) as casebook:
        (visit,) = casebook.open_visits()
        assert visit.technician == "Bram"
        assert {one.who for one in casebook.trail(visit.id)} == {"Bram"}
    shop = tmp_path / "settings.yaml"
    shop.write_text("technician: Ada\ngauge: green\n", encoding="utf-8")
    typed = "heron\n1\n\nstop\n"
    outcome = stillflow("visit", "--new", "--settings", str(shop), "--db", url, typed=typed)
    assert "Which gauge" not in outcome.out
    with Casebook(url) as casebook:
        newest = casebook.open_visits()[0]
        assert (newest.technician, newest.gauge.name) == ("Ada", "green")


def test_a_known_house_asks_which_gauge_is_with_you(url: str) -> None:
    out, visit = begun(url, "heron", "1", "", "", "stop")
    assert "Enter for blue" in out
    assert visit.gauge.name == "blue"
    out, visit = begun(url, "no", "heron", "1", "", "red", "stop")
    assert "Another gauge" in out
    assert visit.gauge.name == "red"


def test_a_visit_written_up_from_paper_knows_the_house_as_it_was_that_day(url: str) -> None:
    typed = "heron\n1\n\n\nstop\n"
    half_a_year_on = (THEN + timedelta(days=183)).date().isoformat()
    outcome = stillflow("visit", "--db", url, "--date", half_a_year_on, typed=typed)
    assert outcome.code == 0, outcome.err
    assert "last visit 6 months ago" in " ".join(outcome.out.split())
    with Casebook(url) as casebook:
        (visit,) = casebook.open_visits()
        assert visit.unit.age_years == pytest.approx(9.5, abs=0.1)
        # What is kept of the unit's age has not moved by its having been written up late.
        (line,) = Sites(casebook).find("heron")
        assert Sites(casebook).known(line.id).unit.age_years == pytest.approx(10.2, abs=0.1)


def test_a_unit_found_replaced_on_paper_was_replaced_by_that_day(url: str) -> None:
    day = (THEN + timedelta(days=183)).date()
    typed = "heron\n1\nnew\nstop\n"
    assert stillflow("visit", "--db", url, "--date", day.isoformat(), typed=typed).code == 0
    with Casebook(url) as casebook:
        assert casebook.open_visits()[0].unit.fitted == day


def test_a_visit_on_paper_is_not_judged_by_what_came_after_it(url: str) -> None:
    earlier = (THEN - timedelta(days=30)).date().isoformat()
    typed = "heron\n1\n\nstop\n"
    outcome = stillflow("visit", "--db", url, "--date", earlier, typed=typed)
    assert outcome.code == 0, outcome.err
    assert "No good readings are on record for this unit." in outcome.out


def falling(url: str, *sealed: float) -> list[Visit]:
    """A visit a year to the house, the last a year after last year's, each left in order."""
    visits = []
    with Casebook(url) as casebook:
        (line,) = Sites(casebook).find("heron")
        for number, suction in enumerate(sealed):
            at = THEN - timedelta(days=365 * (len(sealed) - number))
            good = GoodReading(state="sealed", suction=suction, **(GOOD | {"at": at}))
            visit = last_year().model_copy(
                update={
                    "id": f"year-{number}",
                    "opened": at,
                    "site": HERON.model_copy(update={"id": line.id}),
                    "events": (Event(check="sealed-inlet", answer=suction, at=at),),
                    "conclusion": Conclusion(step="done", readings=(good,)),
                }
            )
            visits.append(casebook.put(visit))
        read = Event(check="sealed-inlet", answer=126.0, at=THEN)
        now = last_year().model_copy(
            update={
                "site": HERON.model_copy(update={"id": line.id}),
                "events": (*last_year().events, read),
            }
        )
        visits.append(casebook.put(now, replace=True))
    return visits


def test_a_slow_decline_is_told_where_the_visit_is_judged_by_the_last(url: str) -> None:
    first, last = THEN.year - 3, THEN.year
    falling(url, 140.0, 136.0, 131.0)
    out = " ".join(begun(url, "heron", "1", "", "stop")[0].split())
    told = f"Sealed suction at the kitchen inlet read 126 inH2O in {last}, 14 below {first},"
    assert out.count(told) == 1
    assert "Over the years (stillflow sites history " in out
    # Working suction was read once; there is no trend to tell of.
    assert "Working suction at the kitchen inlet read" not in out


def test_a_house_that_falls_a_little_each_year_is_judged_by_what_it_read_before(url: str) -> None:
    # Each is within 4 % of the one before; the last of them is 10 % below the first.
    falling(url, 140.0, 136.0, 131.0)
    _, visit = begun(url, "heron", "1", "", "stop")
    sealed = [one for one in visit.earlier if one.state == "sealed"]
    assert [one.suction for one in sealed] == [136.0]
    assert sealed[0].at is not None
    assert sealed[0].at.year == (THEN - timedelta(days=2 * 365)).year
    kitchen = visit.model_copy(update={"site": visit.site.model_copy(update={"inlet": "kitchen"})})
    assert baseline_for(kitchen, load_rules()).expected["inlet"].sealed == 136.0


@pytest.mark.parametrize("sealed", [(127.0,), (126.0, 127.0, 125.0)])
def test_nothing_is_told_of_the_years_where_it_has_not_surely_fallen(
    url: str, sealed: tuple[float, ...]
) -> None:
    falling(url, *sealed)
    assert "Over the years" not in begun(url, "heron", "1", "", "stop")[0]


def test_a_page_tells_of_the_decline_until_its_day_and_once(url: str) -> None:
    *_, third, last = falling(url, 140.0, 139.0, 136.0)
    says = {
        one.id: " ".join(stillflow("sheet", one.id, "--db", url).out.split())
        for one in (third, last)
    }
    then = f"read 126 inH2O in {THEN.year}, 14 below {THEN.year - 3}, and falls by "
    assert says[last.id].count(then) == 1
    assert "Over the years it has fallen; see To watch." in says[last.id]
    # Until the third visit it had not surely fallen.
    assert "To watch" not in says[third.id]
    assert "Over the years" not in says[third.id]


def test_new_is_a_command_where_the_house_is_asked_for_and_its_people_are_asked(url: str) -> None:
    lines = ("new", "Wren House", "Dora Finch, 12 Quarry Lane, 555 0142", "weak", "stop")
    out, visit = begun(url, *lines)
    site = visit.site
    assert (site.name, site.customer, site.phone) == ("Wren House", "Dora Finch", "555 0142")
    assert out.count("Whose house, which street, phone?") == 1
    with Casebook(url) as casebook:
        assert not Sites(casebook).find("new")


def test_a_house_that_is_named_at_the_second_prompt_is_asked_whose_it_is(url: str) -> None:
    out, visit = begun(url, "", "Wren House", "Dora Finch, 12 Quarry Lane", "weak", "stop")
    assert (visit.site.name, visit.site.address) == ("Wren House", "12 Quarry Lane")
    assert out.count("Whose house, which street, phone?") == 1
    out, _ = begun(url, "no", "", "", "weak", "stop")
    assert "Whose house" not in out


def test_the_one_house_that_is_meant_is_taken_by_enter_and_another_name_looks_anew(
    url: str,
) -> None:
    out, visit = begun(url, "heron", "", "", "stop")
    assert "Enter or 1 for it" in out
    assert visit.site.customer == "Ada Penhallow"
    out, visit = begun(url, "no", "heron", "Wren House", "", "weak", "stop")
    assert visit.site.name == "Wren House"
    assert "Type a number" not in out
    out, visit = begun(url, "no", "penhallow", "heron", "1", "", "stop")
    assert visit.site.customer == "Ada Penhallow"


def test_a_reading_is_said_as_it_was_read(url: str) -> None:
    lines = ("heron", "1", "", "", "weak", "", "1", "working 76.5 at unit", "stop")
    assert "That is 76.5 of " in begun(url, *lines)[0]


def test_a_command_or_a_reading_is_no_complaint_no_house_and_no_gauge(url: str) -> None:
    words = ("where", "Wren House", "", "sealed 124 at unit", "skip", "weak upstairs", "stop")
    out, visit = begun(url, *words)
    assert (visit.site.name, visit.complaint) == ("Wren House", "weak upstairs")
    assert out.count("is understood from the first check on, and not here") == 3
    assert "Taken as the customer's words. If that is wrong: back" in out
    # Who means it types it once more.
    out, visit = begun(url, "no", "Elm House", "", "working 3 days, then weak", *2 * ["stop"])
    out, visit = begun(url, "no", "Oak House", "", *2 * ["working 3 days, then weak"], "stop")
    assert visit.complaint == "working 3 days, then weak"
    out, visit = begun(url, "no", "heron", "1", "", "sealed 124 at unit", "red", "stop")
    assert visit.gauge.name == "red"
    assert "Another gauge, 'red'" in out
    assert "unit gauge blue" in " ".join(out.split())
