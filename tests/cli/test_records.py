"""`stillflow visits` and `stillflow sites`: what is on record is found, carried and put right."""

from __future__ import annotations

import json
import shutil
import stat
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from command import Outcome, stillflow

from stillflow.casebook.exchange import guarded
from stillflow.casebook.sites import Sites
from stillflow.casebook.store import Casebook
from stillflow.engine import load_rules
from stillflow.engine.inference import Conclusion, Event, GoodReading, Site, Unit, Visit

WORKED = Path(__file__).parents[2] / "casebook" / "worked"
SEALED = {2022: 126.0, 2023: 121.0, 2024: 115.0, 2025: 109.0}
HERON = Site(name="14 Heron Court", address="Larkham", phone="0555 010 203", inlet="kitchen")


def yearly(year: int) -> Visit:
    at = datetime(year, 3, 4, tzinfo=UTC)
    spot = {"station": "inlet", "state": "sealed", "inlet": "kitchen"}
    good = GoodReading(**spot, suction=SEALED[year], at=at)
    return Visit(
        id=f"01957000-0000-7000-8000-00000000{year}",
        opened=at,
        technician="Ada" if year < 2025 else "Bram",
        described=True,
        complaint="Ms Larkham says: the Heron kitchen is weak",
        site=HERON,
        unit=Unit(rated_sealed=130, rated_airflow=114),
        events=(
            Event(check="sealed-inlet", answer=90.0, at=at),
            Event(fix="hose-holed", done=True, at=at),
            Event(check="sealed-inlet", answer=SEALED[year], at=at),
        ),
        conclusion=Conclusion(step="done", fault="hose-holed", text="It pulls.", readings=(good,)),
    )


@pytest.fixture
def url(tmp_path: Path) -> str:
    where = f"sqlite:///{tmp_path}/casebook.db"
    with Casebook(where) as casebook:
        for year in SEALED:
            casebook.put(yearly(year))
        casebook.put(Visit(id="open-one", site=Site(name="3 Lark Rise")))
    return where


def run(url: str, *args: str) -> Outcome:
    outcome = stillflow(*args, "--db", url)
    assert outcome.code == 0, outcome.err
    return outcome


def shorts(url: str, *args: str) -> list[str]:
    return [one["id"][-4:] for one in json.loads(run(url, "visits", "list", "--json", *args).out)]


def test_visits_are_listed_by_house_day_fault_technician_and_standing(url: str) -> None:
    assert shorts(url, "--closed") == ["2025", "2024", "2023", "2022"]
    assert shorts(url, "--open") == ["-one"]
    assert shorts(url, "--technician", "Bram") == ["2025"]
    assert shorts(url, "--fault", "hose-holed", "--until", "2023-03-04") == ["2023", "2022"]
    assert shorts(url, "--site", "heron", "--since", "2024-03-04") == ["2025", "2024"]
    assert shorts(url, "--fault", "none-such") == []
    out = run(url, "visits", "list").out
    assert "14 Heron Court" in out
    assert max(map(len, out.splitlines())) <= 80


def test_a_wrong_reading_is_struck_and_stays_in_sight(url: str) -> None:
    visit = yearly(2025).id
    run(url, "visits", "strike", visit, "1", "the gauge stood at 5", "--as", "Cleo")
    with Casebook(url) as casebook:
        assert casebook.get(visit).conclusion is None
    run(url, "visits", "part", visit, "=HYPERLINK(1)", "--price", "12.5")
    out = " ".join(run(url, "visits", "show", visit).out.split())
    assert "90 inH2O (struck: the gauge stood at 5)" in out
    assert "1 x =HYPERLINK(1) at 12.50" in out
    assert "Cleo: struck (the gauge stood at 5): check sealed-inlet, answer 90.0" in out
    refused = stillflow("visits", "strike", visit, "4", "why", "--db", url)
    assert refused.code == 2
    assert "nothing to strike at 4" in refused.err


def test_a_fix_is_struck_as_never_made_or_as_undone_and_both_are_told(url: str) -> None:
    visit = yearly(2024).id
    for reading in ("1", "3"):
        refused = stillflow("visits", "strike", visit, reading, "why", "--undone", "--db", url)
        assert refused.code == 2
        assert f"no fix was made at {reading} that could be undone" in refused.err
    told = run(url, "visits", "strike", visit, "2", "another house").out
    assert "It counts as never made. Made, and undone since? stillflow visits strike " in told
    told = run(url, "visits", "strike", visit, "2", "the old hose put back", "--undone").out
    assert told.startswith("Undone: 2. fix: ")
    assert "never made" not in told
    shown = " ".join(run(url, "visits", "show", visit).out.split())
    assert "(done) (undone: the old hose put back)" in shown
    assert "4. 2 was wrong: another house" in shown
    assert "5. 2 was undone: the old hose put back" in shown
    assert "Found and done" not in run(url, "sheet", visit).out


def test_two_in_one_visit_are_listed_exported_and_left_out_without_names(
    url: str, tmp_path: Path
) -> None:
    visit = yearly(2024).id
    with Casebook(url, "Cleo Varley") as casebook:
        casebook.add_event(casebook.get(visit), Event(check="sealed-inlet", answer=119.0))
    assert shorts(url, "--technician", "Cleo Varley") == shorts(url, "--open")[:1] == ["2024"]
    assert shorts(url, "--technician", "Ada") == ["2024", "2023", "2022"]
    out = run(url, "visits", "list", "--technician", "Cleo Varley").out
    assert out.splitlines()[1].endswith("  Ada +1")
    rows = run(url, "visits", "export", visit, "--csv", "-").out.splitlines()
    assert [row.split(",")[3] for row in rows] == ["technician", "Ada", "Ada", "Cleo Varley"]
    assert "by: Cleo Varley" in run(url, "visits", "export", visit).out
    for form in ((), ("--csv", "-")):
        bare = run(url, "visits", "export", visit, "--no-names", *form).out
        assert "Cleo" not in bare
        assert "Ada" not in bare


def test_a_part_is_told_back_and_can_be_struck_without_opening_the_visit(url: str) -> None:
    visit = yearly(2025).id
    for price in ("125", "12.5"):
        told = run(url, "visits", "part", visit, "gasket", "--count", "2", "--price", price).out
    assert told.startswith("5. 2 x gasket at 12.50  (wrong? stillflow visits strike ")
    struck = run(url, "visits", "strike", visit, "4", "a slip of the finger").out
    assert struck == "Struck: 4. part: 2 x gasket at 125.00.\n"
    shown = " ".join(run(url, "visits", "show", visit).out.split())
    assert "part: 2 x gasket at 125.00 (struck: a slip of the finger)" in shown
    sheet = run(url, "sheet", visit).out
    assert "2 x gasket at 12.50: 25.00" in sheet
    assert "Together: 25.00" in sheet
    with Casebook(url) as casebook:
        assert casebook.get(visit).conclusion is not None


def test_a_note_on_a_closed_visit_leaves_it_closed_and_reopening_opens_it(url: str) -> None:
    visit = yearly(2024).id
    run(url, "visits", "note", visit, "key under the mat")
    assert shorts(url, "--open") == ["-one"]
    run(url, "visits", "reopen", visit)
    assert set(shorts(url, "--open")) == {"2024", "-one"}
    again = stillflow("visits", "reopen", visit, "--db", url)
    assert (again.code, "open already" in again.err) == (2, True)


def test_visits_go_out_and_come_in_again_and_twice_changes_nothing(
    url: str, tmp_path: Path
) -> None:
    folder = tmp_path / "out"
    run(url, "visits", "export", "--closed", "--to", str(folder))
    files = sorted(folder.iterdir())
    assert len(files) == 4
    assert {stat.S_IMODE(one.stat().st_mode) for one in files} == {0o600}
    other = f"sqlite:///{tmp_path}/other.db"
    for _ in range(2):
        run(other, "visits", "import", str(folder))
        with Casebook(other) as casebook, Casebook(url) as first:
            assert len(casebook.recent(9)) == 4
            assert casebook.get(yearly(2023).id) == first.get(yearly(2023).id)


def test_an_older_export_takes_nothing_back_that_people_have_edited_of_a_house(
    url: str, tmp_path: Path
) -> None:
    folder = tmp_path / "out"
    run(url, "visits", "export", "--closed", "--to", str(folder))
    edits = ("--name", "Heron Place", "--phone", "0555 999", "--rated-sealed", "125")
    run(url, "sites", "edit", "heron", *edits, "--hose-ft", "35", "--no-inlet", "kitchen")
    run(url, "visits", "note", yearly(2025).id, "goes with the import")
    before = run(url, "sites", "show", "heron", "--json").out
    refused = stillflow("visits", "import", str(folder), "--db", url)
    assert (refused.code, refused.out.count("3 visits taken in.")) == (2, 1)
    out = " ".join(run(url, "visits", "import", str(folder), "--replace").out.split())
    assert "4 visits taken in. 4 visits of a house that is called otherwise here" in out
    assert run(url, "sites", "show", "heron", "--json").out == before
    with Casebook(url) as casebook:
        kept = casebook.get(yearly(2025).id)
    assert (len(kept.events), kept.site.name, kept.site.phone) == (3, "Heron Place", "0555 999")


def test_a_house_that_was_forgotten_gets_no_names_back_by_an_import(
    url: str, tmp_path: Path
) -> None:
    folder = tmp_path / "out"
    run(url, "visits", "export", "--closed", "--to", str(folder))
    run(url, "sites", "forget", "heron", "--yes")
    for more in ((), ("--replace",)):
        run(url, "visits", "note", yearly(2025).id, "goes with the import")
        out = stillflow("visits", "import", str(folder), *more, "--db", url).out
    assert "4 visits without names, since who lives there was forgotten: " in out
    with Casebook(url) as casebook:
        kept = casebook.get(yearly(2025).id)
        text = kept.model_dump_json() + str(casebook.trail(kept.id))
        assert "heron" not in text.lower()
        assert "larkham" not in text.lower()
        assert [one.answer for one in kept.events] == [90.0, None, SEALED[2025]]
    lines = json.loads(run(url, "sites", "list", "--json").out)
    assert sorted((one["name"], one["visits"]) for one in lines) == [("", 4), ("3 Lark Rise", 1)]


def test_every_file_that_clashes_is_named_and_the_others_are_taken_in(
    url: str, tmp_path: Path
) -> None:
    folder = tmp_path / "out"
    run(url, "visits", "export", "--closed", "--to", str(folder))
    for year in (2023, 2025):
        run(url, "visits", "note", yearly(year).id, "later")
    other = "stillflow: 1\nid: zz-last\ncomplaint: weak\n"
    (folder / "zz-last.yaml").write_text(other)
    refused = stillflow("visits", "import", str(folder), "--db", url)
    assert (refused.code, refused.err.count("\n")) == (2, 1)
    assert "2 files with another visit than the casebook has under its id" in refused.err
    assert all(f"{yearly(year).id}.yaml" in refused.err for year in (2023, 2025))
    assert refused.out == "3 visits taken in.\n"
    assert "zz-last" in [one["id"] for one in json.loads(run(url, "visits", "list", "--json").out)]


def test_who_says_no_is_told_that_nothing_was_forgotten(url: str) -> None:
    outcome = stillflow("sites", "forget", "heron", "--db", url, typed="n\n")
    assert (outcome.code, outcome.err) == (0, "")
    assert outcome.out.endswith("Nothing was forgotten.\n")
    assert "14 Heron Court" in run(url, "sites", "list").out


def test_an_export_for_learning_carries_no_names(url: str, tmp_path: Path) -> None:
    run(url, "visits", "export", "--closed", "--no-names", "--to", str(tmp_path / "out"))
    text = "".join(one.read_text(encoding="utf-8") for one in (tmp_path / "out").iterdir())
    assert "sealed-inlet" in text
    for secret in ("Heron", "Larkham", "0555", "Ada", "Bram"):
        assert secret not in text


def test_no_cell_of_a_table_is_a_formula(url: str) -> None:
    with Casebook(url) as casebook:
        casebook.put(
            Visit(
                id="=1+1",
                technician="@cmd",
                site=Site(name="-2"),
                events=(Event(check="sealed-inlet", answer=9.0, inlet="+hall"),),
            )
        )
    rows = run(url, "visits", "export", "--csv", "-").out.splitlines()
    row = next(one for one in rows if "1+1" in one)
    assert row.startswith("'=1+1,,'-2,'@cmd,1,,sealed-inlet,inlet,sealed,'+hall,9.0")
    assert guarded(-3.0) == -3.0


def test_the_history_of_a_house_names_its_drift_and_warns(url: str, tmp_path: Path) -> None:
    drawn = tmp_path / "years.svg"
    out = " ".join(run(url, "sites", "history", "heron", "--chart", str(drawn)).out.split())
    assert "2022-03-04" in out
    assert "Drift: -4.4 % a year" in out
    assert "will be weak before the next yearly visit" in out
    picture = drawn.read_text(encoding="utf-8")
    assert "126" in picture
    assert "Sealed at the kitchen inlet" in picture
    (spot,) = json.loads(run(url, "sites", "history", "heron", "--json").out)
    assert [row["suction"] for row in spot["rows"]] == list(SEALED.values())


def test_the_history_of_one_visit_says_that_there_is_no_trend_yet(tmp_path: Path) -> None:
    where, drawn = f"sqlite:///{tmp_path}/one.db", tmp_path / "years.svg"
    with Casebook(where) as casebook:
        casebook.put(yearly(2022))
    out = run(where, "sites", "history", "heron", "--chart", str(drawn)).out
    assert "Drift: no trend yet: 1 visit of the 3 that make one." in out
    picture = drawn.read_text(encoding="utf-8")
    assert "126 of 130 in 2022. no trend yet: 1 visit of the 3 that make one." in picture
    with Casebook(where) as casebook:
        for name in ("morning", "evening"):
            casebook.put(yearly(2022).model_copy(update={"id": name}))
    assert "no trend yet: all on one day" in run(where, "sites", "history", "heron").out


def test_an_inlet_is_one_line_whichever_of_them_a_call_was_about(url: str) -> None:
    at = datetime(2026, 3, 4, tzinfo=UTC)
    other = yearly(2025).model_copy(update={"id": "after", "opened": at})
    good = GoodReading(station="other", state="sealed", inlet="Kitchen", suction=104.0, at=at)
    ended = Conclusion(step="done", fault="hose-holed", readings=(good,))
    with Casebook(url) as casebook:
        casebook.put(other.model_copy(update={"conclusion": ended}))
    (spot,) = json.loads(run(url, "sites", "history", "heron", "--json").out)
    assert [row["suction"] for row in spot["rows"]] == [*SEALED.values(), 104.0]


def test_the_years_of_a_unit_that_was_replaced_are_said_to_be_left_out(url: str) -> None:
    assert "A new unit" not in run(url, "sites", "history", "heron").out
    visit, at = yearly(2025), datetime(2026, 1, 1, tzinfo=UTC)
    new = {"unit": visit.unit.model_copy(update={"fitted": date(2025, 8, 1)})}
    with Casebook(url) as casebook:
        casebook.put(visit.model_copy(update={"id": "new-unit", "opened": at, **new}))
    out = " ".join(run(url, "sites", "history", "heron").out.split())
    assert "A new unit was fitted on 2025-08-01, and its trend starts anew." in out
    assert "Left out: 4 visits before that (2022 to 2025)." in out


def test_a_visit_that_is_set_aside_stays_on_record_and_counts_nowhere(
    url: str, tmp_path: Path
) -> None:
    with Casebook(url) as casebook:
        (last,) = [one for one in casebook.recent(99) if one.opened and one.opened.year == 2025]
    stats = json.loads(run(url, "casebook", "stats", "--json").out)
    out = run(url, "visits", "aside", last.id, "the other version counts", "--as", "Bram").out
    assert "Set aside, and kept." in out
    assert "set aside" in run(url, "visits", "list").out
    shown = run(url, "visits", "show", last.id).out
    assert "Set aside: the other version counts" in shown
    assert "Bram: closed: aside" in shown
    now = json.loads(run(url, "casebook", "stats", "--json").out)
    assert now["visits"] == stats["visits"] - 1
    (spot,) = json.loads(run(url, "sites", "history", "heron", "--json").out)
    assert [row["suction"] for row in spot["rows"]] == [*SEALED.values()][:-1]
    with Casebook(url) as casebook:
        sites = Sites(casebook)
        known = sites.known(sites.named("heron").id)
        assert SEALED[2025] not in [one.suction for one in sites.prefilled(known, Visit()).earlier]
    page = stillflow("sheet", last.id, "--db", url)
    assert (page.code, "set aside" in page.err) == (2, True)
    shutil.copy(WORKED / "house-in-the-mountains.yaml", tmp_path)
    rows = json.loads(run(url, "casebook", "replay", "--cases", str(tmp_path), "--json").out)
    assert last.id not in [row["name"] for row in rows["visits"]]
    assert len(rows["visits"]) == len(SEALED)
    assert stillflow("visits", "aside", last.id, " ", "--db", url).code == 2
    run(url, "visits", "reopen", last.id)
    assert "set aside" not in run(url, "visits", "list").out


def test_a_list_says_what_was_handed_over_and_what_was_stopped(url: str) -> None:
    for step in ("refer", "stop"):
        ended = Conclusion(step=step, fault="hose-holed" if step == "refer" else None)
        update = {"id": f"{step}-visit", "conclusion": ended, "technician": step}
        with Casebook(url) as casebook:
            casebook.put(yearly(2025).model_copy(update=update))
    assert "handed over: " in run(url, "visits", "list", "--technician", "refer").out
    assert "stopped" in run(url, "visits", "list", "--technician", "stop").out
    assert "handed over" not in run(url, "visits", "list", "--technician", "Ada").out


def test_of_a_house_that_is_forgotten_no_byte_is_left(url: str, tmp_path: Path) -> None:
    def held() -> bytes:
        return b"".join(one.read_bytes() for one in tmp_path.iterdir()).lower()

    secrets = (b"heron", b"larkham", b"0555 010")
    assert all(secret in held() for secret in secrets)
    with Casebook(url) as another:
        # Who has it open keeps the log of what was written.
        another.put(Visit(id="another", site=Site(name="9 Heron Court")))
        run(url, "sites", "forget", "9 heron court", "--yes")
        run(url, "sites", "forget", "heron", "--yes")
        assert [secret for secret in secrets if secret in held()] == []
    assert [secret for secret in secrets if secret in held()] == []


def test_where_there_is_no_casebook_none_is_made_by_reading_it(tmp_path: Path) -> None:
    missing = f"sqlite:///{tmp_path}/cassebook.db"
    for words in (("visits", "list"), ("sites", "list"), ("sites", "find", "a")):
        outcome = stillflow(*words, "--db", missing)
        assert outcome.code == 2
        assert "cassebook.db: there is no casebook here; see how --db is written" in outcome.err
    assert "there is no visit 'abc'" in stillflow("sheet", "abc", "--db", missing).err
    assert list(tmp_path.iterdir()) == []


def test_a_houses_whole_name_is_enough_where_it_is_part_of_anothers(url: str) -> None:
    with Casebook(url) as casebook:
        casebook.put(Visit(id="annex", site=Site(name="14 Heron Court Annex")))
    assert "Ada" in run(url, "visits", "list", "--site", "14 heron court").out


def test_a_house_is_put_right_merged_parted_and_forgotten(url: str) -> None:
    run(url, "sites", "edit", "rise", "--phone", "0555 77", "--inlet", "attic", "--age", "4")
    assert "0555 77" in run(url, "sites", "find", "77").out
    shown = json.loads(run(url, "sites", "show", "rise", "--json").out)
    assert [one["name"] for one in shown["site"]["inlets"]] == ["attic"]
    assert shown["unit"]["age_years"] == pytest.approx(4, abs=0.1)
    run(url, "sites", "merge", "rise", "heron")
    assert len(shorts(url, "--site", "heron")) == 5
    merged = json.loads(run(url, "sites", "list", "--json").out)
    assert [one["visits"] for one in merged] == [5]
    shown = json.loads(run(url, "sites", "show", "heron", "--json").out)
    run(url, "sites", "part", shown["entries"][0]["short"])
    assert len(shorts(url, "--site", "heron")) == 4
    out = run(url, "sites", "forget", "heron", "--yes").out
    assert "Exports, backups and pages that were made before" in out
    with Casebook(url) as casebook:
        kept = casebook.get(yearly(2025).id)
        text = kept.model_dump_json() + str(casebook.trail(kept.id))
    assert "Heron" not in text
    assert "Larkham" not in text
    assert kept.events[0].answer == 90.0
    assert kept.technician == "Bram"
    refused = stillflow("sites", "show", "heron", "--db", url)
    assert (refused.code, "there is no site 'heron'" in refused.err) == (2, True)


def test_the_trail_has_what_a_value_was_and_what_it_is(url: str) -> None:
    heron = ("sites", "edit", "heron")
    run(url, *heron, "--phone", "0555 77", "--rated-sealed", "125", "--hose-ft", "30")
    run(url, *heron, "--phone", "", "--no-inlet", "kitchen", "--replaced", "2025-06-01")
    shown = " ".join(run(url, "sites", "show", "heron").out.split())
    for words in (
        'edited: phone "0555 010 203" now "0555 77"',
        "hose_ft now 30.0, unit rated_sealed 130.0 now 125.0",
        'phone "0555 77" now nothing, unit fitted now "2025-06-01", inlet "kitchen" now nothing',
    ):
        assert words in shown
    with Casebook(url, "Cleo") as casebook:
        kept = casebook.get(yearly(2025).id)
        changed = {
            "unit": Unit(rated_sealed=120, rated_airflow=114),
            "site": kept.site.model_copy(update={"customer": "Tamsin"}),
        }
        kept = casebook.save_header(kept.model_copy(update=changed), kept)
        now = 'site.customer now "Tamsin", unit.rated_sealed 130.0 now 120.0'
        assert casebook.trail(kept.id)[-1].what == f"changed: {now}"
        casebook.save_header(kept.model_copy(update={"complaint": "tamsin says: weak"}), kept)
    run(url, *heron, "--customer", "Morwenna")
    shown = run(url, "sites", "show", "heron").out
    assert 'Cleo: edited: customer now "Tamsin"' in shown
    assert 'edited: customer "Tamsin" now "Morwenna"' in shown
    # What was a name once is forgotten with the others, in the trail and in what people wrote.
    run(url, "sites", "forget", "heron", "--yes")
    with Casebook(url) as casebook:
        kept = casebook.get(yearly(2025).id)
        text = kept.model_dump_json() + str(casebook.trail(kept.id))
    assert "tamsin" not in text.lower()
    assert "morwenna" not in text.lower()


def test_a_unit_fitted_in_days_to_come_is_refused(url: str) -> None:
    refused = stillflow("sites", "edit", "heron", "--replaced", "2931-01-01", "--db", url)
    assert (refused.code, refused.err.count("\n")) == (2, 1)
    assert "2931-01-01 is still to come" in refused.err


def test_a_new_unit_ends_the_line_of_the_old_one(url: str) -> None:
    run(url, "sites", "edit", "heron", "--replaced", "2025-06-01", "--rated-sealed", "140")
    shown = json.loads(run(url, "sites", "show", "heron", "--json").out)
    assert "The first unit: 130 inH2O sealed, 114 cfm." in run(url, "sites", "show", "heron").out
    assert shown["unit"]["fitted"] == "2025-06-01"
    assert shown["unit"]["rated_sealed"] == 140
    assert len(shown["units"]) == 2


def test_a_unit_that_was_not_replaced_after_all_goes_on_with_its_readings(url: str) -> None:
    before = run(url, "sites", "show", "heron", "--json").out
    history = run(url, "sites", "history", "heron", "--json").out
    run(url, "sites", "edit", "heron", "--replaced", "2025-06-01")
    outcome = stillflow("visit", "--new", "--db", url, typed="heron\n1\n\nstop\n")
    assert "No good readings are on record for this unit." in outcome.out
    refused = stillflow("sites", "edit", "heron", "--not-replaced", "2025-06-02", "--db", url)
    assert (refused.code, refused.err.count("\n")) == (2, 1)
    assert "days on record: 2025-06-01" in refused.err
    run(url, "sites", "edit", "heron", "--not-replaced", "2025-06-01")
    after = json.loads(run(url, "sites", "show", "heron", "--json").out)
    with Casebook(url) as casebook:
        assert {one.unit.fitted for one in casebook.recent(99)} == {None}
    assert after["units"] == json.loads(before)["units"]
    assert run(url, "sites", "history", "heron", "--json").out == history
    outcome = stillflow("visit", "--new", "--db", url, typed="heron\n1\n\nstop\n")
    assert "Last good readings, which this visit is judged by:" in outcome.out


def test_lists_say_in_words_what_was_found_and_what_is_open(url: str) -> None:
    title = load_rules().faults["hose-holed"].title
    for listed in (("visits", "list"), ("sites", "show", "heron")):
        out = run(url, *listed).out
        assert title[:29] in out
        assert "hose-holed" not in out
        assert max(map(len, out.splitlines())) <= 80
    assert "(open)" in run(url, "visits", "list").out


def test_a_visit_to_a_merged_house_has_its_name_and_its_own_once_it_is_parted(url: str) -> None:
    run(url, "sites", "merge", "rise", "heron")
    assert "14 Heron Court" in run(url, "visits", "list", "--open").out
    resumed = stillflow("visit", "--resume", "--db", url, typed="note seen at the door\nstop\n")
    assert "14 Heron Court" in resumed.out
    with Casebook(url) as casebook:
        kept = casebook.get("open-one")
        assert kept.site.name == "14 Heron Court"
        known = casebook.save_header(kept.model_copy(update={"complaint": "weak"}), kept)
        called = known.site.model_copy(update={"name": "14 Heron Close"})
        casebook.save_header(known.model_copy(update={"site": called}), known)
    assert "14 Heron Close" in run(url, "sites", "list").out
    [entry] = json.loads(run(url, "sites", "show", "close", "--json").out)["entries"]
    assert entry["name"] == "3 Lark Rise"
    parted = run(url, "sites", "part", entry["short"]).out
    assert f"stillflow sites merge {entry['short']}" in " ".join(parted.split())
    assert "3 Lark Rise" in run(url, "visits", "list", "--open").out


def test_stop_is_understood_where_an_open_visit_is_offered(url: str) -> None:
    one = stillflow("visit", "--db", url, typed="what\nstop\n")
    assert (one.code, one.err) == (0, "")
    assert "Type yes to go on with it, no for a new visit, or stop." in one.out
    assert "Stopped. Nothing was changed." in one.out
    with Casebook(url) as casebook:
        casebook.reopen(casebook.get(yearly(2025).id))
    several = stillflow("visit", "--db", url, typed="stop\n")
    assert (several.code, "Stopped. Nothing was changed." in several.out) == (0, True)


def test_several_open_visits_are_told_apart_and_asked_about(url: str) -> None:
    with Casebook(url) as casebook:
        casebook.reopen(casebook.get(yearly(2025).id))
    outcome = stillflow("visit", "--resume", "--db", url, typed="9\n2\nstop\n")
    assert outcome.code == 0
    out = " ".join(outcome.out.split())
    assert "2 visits are open" in out
    stands = "begun 2025-03-04 00:00 UTC, 2 answers so far, 1 fix done"
    assert f"14 Heron Court, Larkham, {stands}" in out
    assert "there is no visit '9'" in out


def test_a_casebook_named_before_no_command_is_listed(tmp_path: Path) -> None:
    db = f"sqlite:///{tmp_path / 'none.db'}"
    outcome = stillflow("visits", "--db", db)
    assert (outcome.code, outcome.err) == (2, stillflow("visits", "list", "--db", db).err)
    assert "--db stands after 'list'" in stillflow("visits", "--db", db, "list").err


def test_a_casebook_that_the_environment_names_is_every_commands(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    db = f"sqlite:///{tmp_path / 'shop.db'}"
    with Casebook(db) as casebook:
        casebook.begin(Visit(technician="Ada"))
    monkeypatch.setenv("STILLFLOW_DB", db)
    assert stillflow("visits", "list").code == 0
    assert stillflow("visits").out.startswith("Usage:")
