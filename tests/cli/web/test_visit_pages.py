"""The guided visit in a browser: one step a screen, kept first, and told where a page is old."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from pathlib import Path
from unittest import mock

import pytest
from command import stillflow
from phone import Phone, Text, desk, phone, url

from stillflow.casebook.cases import Case, named_case, play
from stillflow.casebook.store import Casebook
from stillflow.cli.web.app import application
from stillflow.cli.web.desk import Desk
from stillflow.cli.web.pages import SUCTION_UNITS
from stillflow.engine import Unit, load_rules
from stillflow.engine.base import InputError, SetupError, vocabulary
from stillflow.engine.inference import Event, Visit
from stillflow.engine.ruleset import BOTH

UNIT = {"rated_sealed": "130", "rated_airflow": "114"}


def kept(folder: Path) -> Visit:
    return Casebook(url(folder)).recent(1)[0]


def case(name: str) -> Case:
    found = named_case(name)
    assert found is not None
    return found


def test_a_visit_begins_with_what_was_given_and_asks_about_danger_first(tmp_path: Path) -> None:
    one = phone(tmp_path)
    one.begin(name="Fern Cottage", complaint="weak everywhere", **UNIT)
    assert one.status == 200
    assert one.about == ("check", "danger-signs")
    assert (kept(tmp_path).site.name, kept(tmp_path).unit.rated_sealed) == ("Fern Cottage", 130)


def test_what_cannot_be_is_told_beside_its_field_and_the_rest_stays_typed(tmp_path: Path) -> None:
    one = phone(tmp_path)
    one.begin(name="Fern Cottage", rated_sealed="a lot")
    assert one.status == 422
    assert "&#39;a lot&#39; is not a number" in one.page
    assert 'value="Fern Cottage"' in one.page
    assert Casebook(url(tmp_path)).recent(9) == []


def test_an_answer_is_kept_before_the_next_question_is_shown(tmp_path: Path) -> None:
    one = phone(tmp_path)
    one.begin(**UNIT)
    one.answer("none")
    assert [event.answer for event in kept(tmp_path).events] == ["none"]
    assert one.about != ("check", "danger-signs")


def test_an_answer_that_cannot_be_kept_is_not_believed(tmp_path: Path) -> None:
    at = desk(tmp_path)
    one = Phone(application(at))
    one.begin(**UNIT)
    with mock.patch.object(at.casebook, "add_event", side_effect=SetupError("it is full")):
        one.answer("none")
    assert one.status == 500
    assert "it is full" in one.page
    one.open(f"/visit/{kept(tmp_path).id}")
    assert one.about == ("check", "danger-signs")


def test_the_same_form_sent_twice_is_one_answer(tmp_path: Path) -> None:
    one = phone(tmp_path)
    one.begin(**UNIT)
    mark = one.mark
    one.answer("none")
    shown = one.question
    one.send(f"/visit/{one.visit}/answer", mark=mark, check="danger-signs", answer="none")
    assert one.status == 200
    assert one.question == shown
    assert len(kept(tmp_path).events) == 1


def test_of_two_tabs_the_later_is_told_and_overwrites_nothing(tmp_path: Path) -> None:
    app = application(desk(tmp_path))
    first, second = Phone(app), Phone(app)
    first.begin(**UNIT)
    first.answer("none")
    second.open(f"/visit/{first.visit}")
    assert second.question == first.question
    first.answer("can't tell")
    second.answer("skipped")
    assert second.status == 409
    assert "has gone on since this page was made" in second.page
    assert second.question == first.question
    assert [event.answer for event in kept(tmp_path).events] == ["none", "can't tell"]


def test_an_answer_taken_back_and_given_anew_is_another_moment(tmp_path: Path) -> None:
    app = application(desk(tmp_path))
    first, second = Phone(app), Phone(app)
    first.begin(**UNIT)
    first.answer("none")
    second.open(f"/visit/{first.visit}")
    first.send(f"/visit/{first.visit}/back", mark=first.mark)
    first.answer("none")
    second.answer("can't tell")
    assert second.status == 409
    assert [event.answer for event in kept(tmp_path).events] == ["none"]


def test_back_takes_the_last_answer_off_the_record(tmp_path: Path) -> None:
    one = phone(tmp_path)
    one.begin(**UNIT)
    assert "/back" not in one.page
    one.answer("none")
    one.send(f"/visit/{one.visit}/back", mark=one.mark)
    assert one.about == ("check", "danger-signs")
    assert kept(tmp_path).events == ()


def test_what_the_command_line_writes_meanwhile_is_what_the_phone_shows(tmp_path: Path) -> None:
    one = phone(tmp_path)
    one.begin(**UNIT)
    visit = one.visit
    stillflow("visit", "--db", url(tmp_path), "--resume", visit, typed="none\ncan't tell\n")
    one.open(f"/visit/{visit}")
    assert "can&#39;t tell" in one.page
    assert len(kept(tmp_path).events) == 2


def test_a_reading_is_told_beside_what_was_expected_at_once(tmp_path: Path) -> None:
    one = phone(tmp_path)
    one.begin(**UNIT)
    one.answer("none")
    while "form class=" + '"reading"' not in one.page:
        one.answer("can't tell")
    assert 'data-expected="' in one.page
    one.answer("10", unit="kPa")
    answer = kept(tmp_path).events[-1].answer
    assert answer == pytest.approx(40.15, abs=0.01)
    assert f"{answer:.0f} of " in one.words
    assert "expected from the unit" in one.words


def test_nonsense_is_told_and_asked_again(tmp_path: Path) -> None:
    one = phone(tmp_path)
    one.begin(**UNIT)
    for wrong in ({"answer": "wibble"}, {"answer": ""}, {"answer": "none", "check": "no-such"}):
        kind, name = one.about
        fields = {"mark": one.mark, kind: name, **wrong}
        one.send(f"/visit/{one.visit}/answer", **fields)
        assert one.status == 422
        assert 'role="alert"' in one.page
    assert kept(tmp_path).events == ()


def test_a_visit_that_is_not_there_is_one_line_and_no_trace(tmp_path: Path) -> None:
    one = phone(tmp_path)
    for path in ("/visit/none-such", "/visit/none-such/why", "/nowhere"):
        one.open(path)
        assert one.status == 404
        assert "Traceback" not in one.page


def tap_through(one: Phone, played: Case) -> list[str]:
    """Play a case by the pages alone; the faults fixed, in order."""
    knowledge = load_rules()
    fixes = []
    one.open("/new")
    unit, site = played.visit.unit, played.visit.site
    known = {
        "name": site.name,
        "complaint": played.visit.complaint,
        "inlet": site.inlet,
        "rated_sealed": unit.rated_sealed,
        "rated_airflow": unit.rated_airflow,
        "age_years": unit.age_years,
        "filter": unit.filter,
        "altitude_ft": site.altitude_ft or None,
    }
    one.send("/new", **{name: str(value) for name, value in known.items() if value is not None})
    while 'id="question"' in one.page:
        kind, name = one.about
        if kind == "fix":
            fixes.append(name)
            one.answer("yes")
        else:
            said = played.answers(len(fixes)).get(name)
            check = knowledge.checks[name]
            usual = "can't do here"
            if check.kind == "choice":
                usual = max(check.answers, key=lambda answer: answer.usual).id
            one.answer(str(said[0]) if said else usual)
        assert one.status == 200
    return fixes


@pytest.mark.parametrize("name", ["bin-crooked-after-emptying", "clogged-hose"])
def test_a_worked_case_is_led_to_its_fix_and_ends_with_the_summary(
    tmp_path: Path, name: str
) -> None:
    one, played = phone(tmp_path), case(name)
    assert tap_through(one, played) == list(play(played, load_rules()).fixes)
    assert "Summary" in one.words
    assert kept(tmp_path).conclusion is not None


def test_command_line_and_phone_show_the_same_words(tmp_path: Path) -> None:
    """One source: whatever a step shows on the phone the command line writes too, and back."""
    one = phone(tmp_path)
    one.begin(name="Fern Cottage", **UNIT)
    own = {"Dangers as before", "Caution", "Keep", "this reading", "How to do it", "Can't tell"}
    own |= {"Can't do here", "Skip", "⌫", "Why this now", "How it came to this", "Back to the step"}
    own |= {"Else: read elsewhere, mended already, stop for now"}
    own |= {*SUCTION_UNITS, "Two of them at once", "Keep both", "There is none"}
    compared = 0
    for answer in ("none", "everywhere", "40", "can't tell", "40"):
        typed = "?\nwhy\nstop\n"
        out = stillflow("visit", "--db", url(tmp_path), "--resume", one.visit, typed=typed).out
        line = " ".join(out.split())
        step = one.page[one.page.index('<div id="step">') : one.page.index("</main")]
        why = one.open(f"/visit/{one.visit}/why")
        why = why[why.index("<main") : why.index("How it came to this")]
        pieces = [*Text(step).pieces, *Text(why).pieces]
        for words in pieces:
            # Who resumes was told no minutes before, with which to compare.
            words = re.sub(r" That is .* more than it looked: .*", "", words)
            # Who resumes is shown every danger in full, and a phone that was there in short.
            if words.startswith("As before: "):
                short = {one.again for one in load_rules().cautions.values()}
                assert {f"{one}." for one in words[11:].rstrip(".").split(". ")} <= short
                continue
            if words not in own and len(words) > 3 and not words.endswith(" expected"):
                assert words in line or f"{words}." in line, words
                compared += 1
        said = " ".join(" ".join(pieces).split())
        for words in out.split("CAUTION")[1:]:
            assert " ".join(words.split())[:40] in said
        one.open(f"/visit/{one.visit}")
        one.answer(answer)
    assert compared > 40


def test_new_dangers_stand_before_the_question_and_known_ones_below(tmp_path: Path) -> None:
    one = phone(tmp_path)
    one.begin(**UNIT)
    one.answer("none")
    again = 0
    seen: set[str] = set()
    for _ in range(9):
        if 'id="question"' not in one.page:
            break
        head, _, below = one.page.partition('<h1 id="question">')
        fresh = re.findall(r'class="danger(?: several)?">(.*?)</(?:p|div)>', head, re.DOTALL)
        known = below.partition("Dangers as before")[2]
        now = {words for one in fresh for words in Text(one.partition("</strong>")[2]).pieces}
        assert not now & seen
        again += bool(known) and any(danger in Text(known).pieces for danger in seen)
        # What was shown in full before is said above the question all the same, in short.
        assert bool(known) == ("As before: " in head)
        seen |= now
        one.answer("50" if 'class="reading"' in one.page else "can't tell")
    assert seen
    assert again


def test_what_is_known_of_the_unit_is_corrected_and_what_it_changes_is_told(tmp_path: Path) -> None:
    one = phone(tmp_path)
    one.begin(**UNIT)
    visit = one.visit
    one.answer("none")
    one.open(f"/visit/{visit}/unit")
    assert 'value="130"' in one.page
    one.send(f"/visit/{visit}/unit", mark=one.mark, rated_sealed="110", rated_airflow="114")
    assert one.status == 200
    assert 'role="alert"' in one.page
    assert kept(tmp_path).unit.rated_sealed == 110
    one.open(f"/visit/{visit}/unit")
    one.send(f"/visit/{visit}/unit", mark=one.mark, rated_sealed="heaps")
    assert one.status == 422
    one.send(f"/visit/{visit}/unit", mark="0-0", rated_sealed="120")
    assert one.status == 409
    assert kept(tmp_path).unit.rated_sealed == 110


def test_house_and_gauge_each_keep_their_name(tmp_path: Path) -> None:
    one = phone(tmp_path)
    one.open("/new")
    named = re.findall(r'<(?:input|textarea|select)[^>]* name="([^"]*)"', one.page)
    assert len(named) == len(set(named)) > 15
    # The house stands before the call, what is asked of a new one unfolded.
    head = one.page.partition("<details")[0]
    assert all(f'name="{name}"' in head for name in ("name", "customer", "address", "phone"))
    filled = dict.fromkeys(named, "") | {
        "name": "Fern Cottage",
        "address": "2 Fern Lane",
        "customer": "D. Finch",
    }
    one.send("/new", **{k: v for k, v in filled.items() if k not in ("token", "tools")})
    assert kept(tmp_path).site.name == "Fern Cottage"
    assert (kept(tmp_path).site.address, kept(tmp_path).site.customer) == (
        "2 Fern Lane",
        "D. Finch",
    )
    visit = one.visit
    one.send(f"/visit/{visit}/unit", mark=one.mark, name="Fern Cottage", gauge_name="blue")
    assert kept(tmp_path).site.name == "Fern Cottage"
    assert kept(tmp_path).gauge.name == "blue"


def test_a_house_that_was_visited_before_is_offered(tmp_path: Path) -> None:
    one = phone(tmp_path)
    one.begin(name="Quillfeather house", altitude_ft="5280", inlets="hall, study", **UNIT)
    first = kept(tmp_path)
    for typed in ("quillfeather HOUSE", "Quilfeather house", "Uillfeather house"):
        one.begin(name=typed, complaint="weak in the hall", age_years="9")
        assert one.status == 422
        assert "is it a house that was visited before?" in one.words
        assert "Quillfeather house, last visit" in one.words
        assert 'value="weak in the hall"' in one.page
        assert len(Casebook(url(tmp_path)).recent(9)) == 1
    picked = one._found(r'name="known" value="([^"]*)"')
    one.send("/new", name="quillfeather HOUSE", age_years="9", known=picked)
    again = kept(tmp_path)
    assert (again.id != first.id, again.site.id) == (True, first.site.id)
    assert (again.site.name, again.site.altitude_ft) == ("Quillfeather house", 5280)
    assert again.unit.age_years == 9
    one.begin(name="quillfeather HOUSE", known="new")
    assert kept(tmp_path).site.id not in ("", first.site.id)
    one.begin(name="Marsh Farm")
    assert kept(tmp_path).site.name == "Marsh Farm"


def test_the_call_is_typed_with_the_keys_it_wants(tmp_path: Path) -> None:
    one = phone(tmp_path)
    one.open("/new")
    keys = dict(re.findall(r'<input[^>]* name="(\w+)"[^>]* inputmode="(\w+)"', one.page))
    wanted = dict.fromkeys(("altitude_ft", "rated_sealed", "rated_airflow"), "decimal")
    wanted |= dict.fromkeys(("age_years", "tubing_ft", "hose_ft", "gauge_orifice_in"), "decimal")
    # The gauge's zero may be below zero; keys for numbers have no minus.
    wanted |= {"phone": "tel", "name": "text", "complaint": "text", "gauge_zero": "text"}
    assert {name: keys[name] for name in wanted} == wanted
    filters = one._found(r'<select[^>]* name="filter"[^>]*>(.*?)</select>')
    assert re.findall(r'value="([^"]*)"', filters) == ["", *vocabulary.FILTERS]
    one.send("/new", age_years="about 8", tubing_ft="~ 60 ft", filter="hybrid-cloth", motors="2")
    visit = kept(tmp_path)
    assert (visit.unit.age_years, visit.house.tubing_ft) == (8.0, 60.0)
    assert (visit.unit.filter, visit.unit.motors) == ("hybrid-cloth", 2)
    one.open(f"/visit/{one.visit}/unit")
    assert '<option value="hybrid-cloth" selected>bag and cloth</option>' in one.page


def test_a_tool_whose_box_is_empty_is_missing_on_the_visit(tmp_path: Path) -> None:
    one = phone(tmp_path)
    one.open("/new")
    boxes = {f"tool.{tool}": "1" for tool in load_rules().tools if tool != "gauge"}
    one.send("/new", tools="1", **boxes)
    assert kept(tmp_path).missing_tools == ("gauge",)


def test_danger_is_asked_at_any_time_and_ends_the_visit(tmp_path: Path) -> None:
    one = phone(tmp_path)
    one.begin(**UNIT)
    visit = one.visit
    one.answer("none")
    one.open(f"/visit/{visit}/danger")
    assert one.about == ("check", "danger-signs")
    one.answer("burning-smell")
    assert "STOP HERE" in one.words
    assert "Look once more" in one.words
    one.open(f"/visit/{visit}/again?sure=1")
    assert one.about == ("check", "danger-signs")
    one.answer("none")
    assert "STOP HERE" not in one.words
    assert kept(tmp_path).conclusion is None


def test_a_stop_is_lifted_in_two_steps_and_stays_in_sight(tmp_path: Path) -> None:
    one = phone(tmp_path)
    one.begin(**UNIT)
    visit = one.visit
    one.answer("hot-plug")
    for page in ("again", "danger"):
        one.open(f"/visit/{visit}/{page}")
        assert 'name="check"' not in one.page
        assert "Is it put right?" in one.words
        assert "The plug or outlet is too hot to hold." in one.words
        assert "A licensed electrician" in one.words
    one.open(f"/visit/{visit}/again?sure=1")
    one.answer("none")
    said = "Stopped before The plug or outlet is too hot to hold. Call: A licensed electrician"
    assert said in one.words
    one.answer("can't tell")
    assert "too hot to hold" not in one.words
    one.open(f"/visit/{visit}/where")
    assert "stopped before: The plug or outlet is too hot to hold." in one.words
    out = stillflow("visit", "--db", url(tmp_path), "--resume", visit, typed="where\nstop\n").out
    assert "stopped before: The plug or outlet is too hot to hold." in " ".join(out.split())


def test_notes_and_parts_are_no_steps(tmp_path: Path) -> None:
    one = phone(tmp_path)
    one.begin(**UNIT)
    visit = one.visit
    one.answer("none")
    eyebrow = re.findall(r'class="eyebrow">(.*?)<', one.page)
    for note in ({"note": "Gate code 4711"}, {"part": "gasket"}):
        one.open(f"/visit/{visit}/notes")
        one.send(f"/visit/{visit}/notes", mark=one.mark, **note)
    one.open(f"/visit/{visit}")
    assert re.findall(r'class="eyebrow">(.*?)<', one.page) == eyebrow
    assert eyebrow[0].startswith("2.")
    one.open("/")
    assert "1 answer," in one.words


def test_what_was_taken_from_the_complaint_is_shown_and_taken_back(tmp_path: Path) -> None:
    one = phone(tmp_path)
    one.begin(complaint="it is weak at every inlet", **UNIT)
    assert "Taken from the complaint" in one.words
    visit = one.visit
    one.send(f"/visit/{visit}/unheard", mark=one.mark)
    assert one.status == 200
    assert "Taken from the complaint" not in one.words
    assert kept(tmp_path).not_taken


def test_what_comes_after_is_told_below_the_step_and_where_it_stands_in_one_tap(
    tmp_path: Path,
) -> None:
    one = phone(tmp_path)
    one.begin(**UNIT)
    visit = one.visit
    one.answer("none")
    assert 'id="ahead"' in one.page
    one.open(f"/visit/{visit}/where")
    assert "Where we are" in one.words


def test_known_inlets_are_tapped_and_a_name_nearly_one_is_asked_about(tmp_path: Path) -> None:
    one = phone(tmp_path)
    one.begin(inlet="hall", inlets="hall, kitchen", **UNIT)
    visit = one.visit
    one.answer("none")
    while 'data-fills="inlet"' not in one.page:
        one.answer("can't tell")
    names = one._found(r'data-fills="inlet" hidden>(.*?)</span>')
    assert '<button type="button">kitchen</button>' in names
    one.open(f"/visit/{visit}/more")
    number = len(kept(tmp_path).events)
    said = {"said": "sealed", "answer": "118", "place": "kitchn"}
    one.send(f"/visit/{visit}/more", mark=one.mark, **said)
    assert one.status == 422
    assert "did you mean that?" in one.words
    assert len(kept(tmp_path).events) == number
    one.send(f"/visit/{visit}/more", mark=one.mark, **said | {"place": "kitchen"})
    assert kept(tmp_path).events[-1].inlet == "kitchen"


def test_of_any_fault_it_is_told_why_it_is_not(tmp_path: Path) -> None:
    one = phone(tmp_path)
    one.begin(**UNIT)
    visit = one.visit
    one.answer("none")
    for name, value in (("sealed", "129"), ("working", "40")):
        one.open(f"/visit/{visit}/more")
        one.send(f"/visit/{visit}/more", mark=one.mark, said=name, answer=value, place="the inlet")
    one.open(f"/visit/{visit}/why")
    assert "more; ask of one below." in one.words
    assert "--not" not in one.words
    one.open(f"/visit/{visit}/why?not=bag-full")
    out = stillflow("why", visit, "--db", url(tmp_path), "--not", "bag-full").out
    said = " ".join(out.split())
    shown = one.page[one.page.index("<main") : one.page.index("<form")]
    pieces = [words for words in Text(shown).pieces if len(words) > 3]
    assert [words for words in pieces if words not in said] == ["Why this now"]
    assert len(pieces) > 4
    one.open(f"/visit/{visit}/why?not=wibble")
    assert one.status == 404


def test_two_answers_at_once_are_kept_as_both(tmp_path: Path) -> None:
    one = phone(tmp_path)
    one.begin(**UNIT)
    one.answer("none")
    while "Keep both" not in one.page:
        one.answer("can't tell")
    kind, name = one.about
    pair = next(words for words in load_rules().checks[name].words if BOTH in words)
    first, second = pair.split(BOTH)
    fields = {"token": one.token, "mark": one.mark, kind: name, "answer": [second, first]}
    one._keep(one.client.post(f"/visit/{one.visit}/answer", data=fields))
    assert one.status == 200
    assert kept(tmp_path).events[-1].answer == pair


def begun(tmp_path: Path) -> tuple[Desk, str]:
    """A desk with one visit to a house of known rating, past the question about danger."""
    at = Desk(load_rules(), Casebook(f"sqlite:///{tmp_path}/casebook.db"))
    unit = Unit(rated_sealed=130.0, rated_airflow=114.0, age_years=6.0)
    visit = at.casebook.begin(Visit(unit=unit)).id
    at.answer(visit, at.standing(visit).mark, Event(check="danger-signs", answer="none"))
    return at, visit


def test_a_reading_that_goes_with_nothing_is_asked_twice_and_then_believed(tmp_path: Path) -> None:
    at, visit = begun(tmp_path)
    for check, value in (("sealed-inlet", 129.0), ("working-inlet", 76.0)):
        standing = at.standing(visit)
        at.answer(visit, standing.mark, Event(check=check, answer=value))
    standing = at.standing(visit)
    slip = Event(check="sealed-utility", answer=4.0)
    with pytest.raises(InputError, match="does not go with the rest"):
        at.answer(visit, standing.mark, slip)
    assert at.standing(visit).mark == standing.mark
    after = at.answer(visit, standing.mark, slip)
    assert len(after.visit.events) == len(standing.visit.events) + 1
    # What a phone kept without a signal is taken as it is.
    kept = Event(check="working-utility", answer=70.0, at=datetime.now(UTC))
    assert at.join(visit, after.mark, [kept]).visit.events[-1].answer == 70.0
