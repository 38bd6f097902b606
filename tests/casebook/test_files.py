"""Visit files: lossless both ways, and one clear line for whatever is wrong with one."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stillflow.casebook.files import load_visit, locate, read_visit, visit_schema, visit_text
from stillflow.engine.base import refusals
from stillflow.engine.base.errors import InputError, Place
from stillflow.engine.inference.visit import Visit


@settings(deadline=None, max_examples=60)
@given(st.from_type(Visit))
def test_a_visit_survives_being_written_and_read(visit: Visit) -> None:
    assert read_visit(visit_text(visit), "visit.yaml") == visit


def test_a_visit_file_reads_from_top_to_bottom_as_the_call_went(visit: Visit) -> None:
    assert visit_text(visit) == (
        "stillflow: 1\n"
        "technician: Ada Penhallow\n"
        "complaint: The hall does not pull as it did.\n"
        "site:\n"
        "  name: 14 Heron Court\n"
        "  inlet: hall\n"
        "unit:\n"
        "  rated_sealed: 130\n"
        "  rated_airflow: 114\n"
        "  filter: cartridge\n"
        "events:\n"
        "  - check: sealed-inlet\n"
        "    answer: 112\n"
        "    at: 2025-03-04T09:31:00Z\n"
        "  - check: where-weak\n"
        "    answer: everywhere\n"
        "    at: 2025-03-04T09:33:00Z\n"
    )


def test_the_same_moment_twice_is_written_out_twice(visit: Visit) -> None:
    moment = visit.events[0].at
    again = visit.model_copy(update={"opened": moment})
    assert "&" not in visit_text(again)
    assert read_visit(visit_text(again), "visit.yaml") == again


def test_quantities_may_carry_units() -> None:
    visit = read_visit(
        "unit: {rated_sealed: 32.4 kPa}\nhouse: {hose_ft: 9 m}\nsite: {altitude_ft: 1609 m}\n"
        "last_good: {inlet: {sealed: 22.4 kPa}}\n",
        "visit.yaml",
    )
    # Conventional inch of water, 249.0889 Pa: NIST SP 811 (2008), table B.8.
    assert visit.unit.rated_sealed == pytest.approx(32_400 / 249.0889)
    assert visit.house.hose_ft == pytest.approx(9 / 0.3048)
    assert visit.site.altitude_ft == pytest.approx(1609 / 0.3048)


def test_a_key_with_nothing_after_it_counts_as_not_given() -> None:
    empty = read_visit("site:\n  name:\nunit:\nevents:\nopened:\n", "visit.yaml")
    assert empty == Visit()


def test_times_are_turned_into_utc() -> None:
    visit = read_visit("opened: 2025-03-04T09:30:00+02:00\n", "visit.yaml")
    assert visit.opened is not None
    assert visit.opened.isoformat() == "2025-03-04T07:30:00+00:00"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "site: [\n",
            "v.yaml:1: not valid YAML: a bracket opened here is not closed, or a comma is missing; "
            "close it, and put a comma between its parts",
        ),
        ("", "v.yaml: the file is empty; write 'key: value' lines such as 'stillflow: 1'"),
        ("# nothing yet\n", "v.yaml: the file is empty; write 'key: value' lines such as"),
        ("- a\n", "v.yaml:1: not a mapping of keys to values; write 'key: value' lines"),
        (
            "stillflow: 1\nsite:\n  nmae: Heron Court\n",
            "v.yaml:3, site.nmae: 'nmae' is not a known key; did you mean 'name'?",
        ),
        (
            "rated_sealed: 130\n",
            "v.yaml:1, rated_sealed: 'rated_sealed' is not a known key; it belongs under 'unit:'",
        ),
        ("site:\n  name: 42\n", "v.yaml:2, site.name: 42 does not fit; write text"),
        ("events: hall\n", "v.yaml:1, events: 'hall' does not fit; write a list"),
        ("unit: {motors: 3}\n", "v.yaml:1, unit.motors: 3 does not fit; it should be 1 or 2"),
        ("unit: {motors: true}\n", "v.yaml:1, unit.motors: 'true' is not a value here"),
        (
            "unit: {filter: bagg}\n",
            "v.yaml:1, unit.filter: 'bagg' cannot stand here; did you mean 'bag'?",
        ),
        (
            "last_good:\n  inlet: {sealed: -3}\n",
            "v.yaml:2, last_good.inlet.sealed: -3 inH2O cannot be (given: -3); between 0 and 300",
        ),
        (
            "last_good:\n  inlet:\n    working: 54 cfm\n",
            "v.yaml:3, last_good.inlet.working: 'cfm' is not a unit of this kind "
            "(given: '54 cfm'); write 90, '90 inH2O' or '22.4 kPa'",
        ),
        ("last_good: {attic: {}}\n", "v.yaml:1, last_good.attic: 'attic' cannot stand here"),
        (
            "stillflow: 2\n",
            "v.yaml:1, stillflow: visit file format 2 is of a newer stillflow; update stillflow; "
            "this one reads format 1",
        ),
        (
            "opened: 2025-03-04T09:30:00\n",
            "v.yaml:1, opened: the time 2025-03-04T09:30:00 has no time zone; write it in UTC, "
            "as 2025-03-04T09:30:00Z",
        ),
        ("events:\n  - at: 1700000000\n", "v.yaml:2, events 1, at: 1700000000 is not a time"),
        ("events:\n  - answer: [1]\n", "v.yaml:2, events 1, answer: what stands here does not fit"),
        ("events:\n  - check: a\n  - 7\n", "v.yaml:3, events 2: 7 does not fit"),
        ("a: &x 1\nb: *x\n", "v.yaml:1: an alias is not allowed here; write the value out"),
        ("id: a\nid: b\n", "v.yaml:2: the key 'id' stands twice; keep one"),
        ("complaint: !!python/name:os.system\n", "v.yaml:1: a value cannot begin with '"),
        ("[" * 20_000, "v.yaml:1: nested too deeply; a few levels are enough"),
        ("{a: " * 400 + "1" + "}" * 400, "v.yaml"),
        ("complaint: \x00\n", "v.yaml:1: not valid YAML: a character that no key types"),
        (
            "events:\n" + "  - {fix: hose-clogged}\n" * 501,
            "v.yaml:1, events: 501 stand here, which is too many; write at most 500",
        ),
        ("x" * 1_000_001, "v.yaml: the file is too long (1,000,001 characters)"),
    ],
)
def test_a_bad_file_gets_one_line_with_place_and_remedy(text: str, message: str) -> None:
    with pytest.raises(InputError) as caught:
        read_visit(text, "v.yaml")
    assert str(caught.value).startswith(message)
    assert len(str(caught.value).splitlines()) == 1
    assert caught.value.right or text.startswith("{a")


@settings(deadline=None)
@given(st.text(max_size=200))
def test_any_text_is_either_a_visit_or_one_line(text: str) -> None:
    try:
        visit = read_visit(text, "v.yaml")
    except InputError as problem:
        assert len(str(problem).splitlines()) == 1
    else:
        assert isinstance(visit, Visit)


def test_a_large_file_is_refused_by_its_size(tmp_path: Path) -> None:
    large = tmp_path / "large.yaml"
    with large.open("wb") as stream:
        stream.truncate(10_000_000_000)  # sparse: reading it would take long
    with pytest.raises(InputError, match=r"too large \(10,000,000,000 bytes or more\); .* at most"):
        load_visit(large)


def test_a_file_that_cannot_be_a_visit_is_named(tmp_path: Path) -> None:
    binary = tmp_path / "picture.png"
    binary.write_bytes(bytes(range(256)))
    for path, message in [
        (tmp_path / "none.yaml", "there is no such file; check the name and the folder"),
        (tmp_path, "this is a folder; name a file in it"),
        (binary, "not a text file; save it as text in UTF-8"),
        (binary / "more", r"it cannot be read \(not a directory\)"),
    ]:
        with pytest.raises(InputError, match=message) as caught:
            load_visit(path)
        assert caught.value.place.file == str(path)


def test_an_error_that_knows_only_the_key_gets_its_line(tmp_path: Path) -> None:
    path = tmp_path / "visit.yaml"
    path.write_text("unit:\n  class: steam\nevents:\n  - check: a\n  - check: b\n    answer: 1\n")

    def failing(place: Place) -> str:
        with pytest.raises(InputError) as caught, locate(path):
            raise InputError("it is wrong", place, "mend it")
        return str(caught.value)

    assert (
        failing(Place(key="events.1.answer")) == f"{path}:6, events 2, answer: it is wrong; mend it"
    )
    # What the file does not say stands where it would be said.
    assert failing(Place(key="events.0.answer")) == f"{path}:4, events 1: it is wrong; mend it"
    assert failing(Place(key="unit.class")) == f"{path}:2, unit.class: it is wrong; mend it"
    assert failing(Place(key="sealed-inlet")) == f"{path}, sealed-inlet: it is wrong; mend it"
    assert failing(Place("rules/faults.yaml", 3)) == "rules/faults.yaml:3: it is wrong; mend it"


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes")
def test_an_error_about_a_visit_from_a_pipe_does_not_read_it_again(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    with pytest.raises(InputError, match="it is wrong") as caught, locate(pipe):
        raise InputError("it is wrong", Place(key="events.1.answer"))
    assert caught.value.place == Place(str(pipe), None, "events.1.answer")


def test_a_byte_order_mark_does_no_harm(tmp_path: Path) -> None:
    path = tmp_path / "visit.yaml"
    path.write_bytes(b"\xef\xbb\xbfstillflow: 1\ntechnician: Ada\n")
    assert load_visit(path).technician == "Ada"


def test_the_schema_describes_every_key() -> None:
    schema = visit_schema()
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    models = [schema, *schema["$defs"].values()]
    properties = [
        (name, schema["$defs"].get(str(what.get("$ref")).rpartition("/")[2], what))
        for model in models
        for name, what in model.get("properties", {}).items()
    ]
    assert {"class", "events", "rated_sealed", "at"} <= {name for name, _ in properties}
    assert [name for name, what in properties if not what.get("description")] == []
    assert all(model["additionalProperties"] is False for model in models if "properties" in model)


def test_the_schema_lets_quantities_carry_units() -> None:
    sealed = visit_schema()["$defs"]["Pair"]["properties"]["sealed"]["anyOf"][0]
    assert sealed == {"type": ["number", "string"], "minimum": 0, "maximum": 300}


def test_a_number_without_end_and_a_time_before_all_years_are_one_line() -> None:
    with pytest.raises(InputError, match="too long"):
        read_visit(f"stillflow: 1\nunit: {{rated_sealed: {'9' * 5000}}}\n", "v.yaml")
    with pytest.raises(InputError, match="cannot be written in UTC"):
        read_visit("stillflow: 1\nopened: 0001-01-01T00:00:00+14:00\n", "v.yaml")


def test_of_many_unknown_keys_only_the_first_is_looked_up(monkeypatch: pytest.MonkeyPatch) -> None:
    # Each look-up compares with every known key; 80,000 took ten seconds.
    asked: list[str] = []
    real = refusals.nearest
    monkeypatch.setattr(refusals, "nearest", lambda *a: asked.append(a[0]) or real(*a))
    with pytest.raises(InputError, match=r"v\.yaml:1, k0: 'k0' is not a known key"):
        read_visit("".join(f"k{number}: 1\n" for number in range(1000)), "v.yaml")
    assert asked == ["k0"]


def test_what_the_quick_reader_of_yaml_refuses_is_read_all_the_same() -> None:
    assert read_visit('site: {"name":Heron Court}\n', "v.yaml").site.name == "Heron Court"
