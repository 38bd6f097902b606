"""`stillflow read`: a pair of readings against what this very system should read."""

from __future__ import annotations

import json
from typing import Any

import pytest
from command import stillflow

RATED = ("--rated-sealed", "130", "--rated-airflow", "114")


def read(*args: str) -> dict[str, Any]:
    outcome = stillflow("read", *args, "--json")
    assert outcome.code == 0, outcome.err
    result: dict[str, Any] = json.loads(outcome.out)
    return result


def test_low_sealed_and_working_is_a_leak_or_weak_power_and_not_an_obstruction() -> None:
    modes = read("--sealed", "90", "--working", "50", *RATED)["modes"]
    assert modes["leak"] + modes["weak-power"] > 0.8
    assert modes["obstruction"] < 0.15


def test_a_loss_of_one_share_sealed_and_working_is_no_obstruction() -> None:
    outcome = stillflow("read", "--sealed", "112", "--working", "66", *RATED)
    result = read("--sealed", "112", "--working", "66", *RATED)
    modes = result["modes"]
    assert modes["leak"] + modes["weak-power"] >= 0.85
    assert modes["obstruction"] <= 0.05
    assert "obstruction" not in outcome.out.casefold()
    assert "cannot tell" in outcome.out
    verdict = result["verdict"]
    assert verdict.startswith("Leak ")
    assert " ".join(outcome.out.split()).startswith(verdict)


def test_the_first_line_is_the_verdict_then_what_tells_the_rest_apart_then_sizes() -> None:
    outcome = stillflow("read", "--sealed", "128", "--working", "30", *RATED).out
    places = [
        "Obstruction in the ",
        "\nnext: ",
        "like a way squeezed",
        "Readings",
        "now likely",
    ]
    found = [outcome.index(words) for words in places]
    assert found[0] == 0
    assert found == sorted(found)


def test_what_lies_beyond_the_last_station_read_is_said_as_a_supposition() -> None:
    short = stillflow("read", "--sealed", "130", "--working", "76", *RATED).out
    assert "Supposed, not read: at the hose end" in " ".join(short.split())
    whole = stillflow("read", "--sealed", "130", "--hose-working", "66", *RATED).out
    assert "Supposed" not in whole
    assert "At the hose end" in whole


def test_the_same_pair_is_normal_for_an_old_unit_rated_so() -> None:
    # Common practice: an old unit in good order may read 90 sealed and 50 working.
    result = read(
        "--sealed", "90", "--working", "50", "--class", "old-unit", "--rated-sealed", "90"
    )
    assert next(iter(result["modes"])) == "normal"
    assert result["baseline"]["from"] == "class"


def test_full_sealed_and_low_working_is_an_obstruction() -> None:
    modes = read("--sealed", "128", "--working", "30", *RATED)["modes"]
    assert modes["obstruction"] > 0.8


def test_thin_air_explains_what_at_sea_level_would_not_be_normal() -> None:
    pair = ("--sealed", "112", "--working", "66", *RATED)
    high = read(*pair, "--altitude-ft", "5280")["modes"]
    low = read(*pair)["modes"]
    assert next(iter(high)) == "normal"
    assert next(iter(low)) != "normal"
    assert low["normal"] < 0.2


def test_the_unit_alone_in_order_puts_the_loss_in_the_house() -> None:
    unit = ("--unit-sealed", "129", "--unit-working", "79")
    faults = read("--sealed", "90", "--working", "50", *unit, *RATED)["faults"]
    places: dict[str, float] = {}
    for fault in faults:
        places[fault["place"]] = places.get(fault["place"], 0) + fault["probability"]
    assert places["tubing"] + places["inlets"] > 0.7
    assert places["unit"] < 0.15


def test_a_drop_at_the_hose_end_only_is_the_hose() -> None:
    hose = ("--hose-sealed", "128", "--hose-working", "25")
    faults = read("--sealed", "129", "--working", "76", *hose, *RATED)["faults"]
    hose_share = sum(fault["probability"] for fault in faults if fault["place"] == "hose")
    assert hose_share > 0.6


def test_the_keys_are_those_promised() -> None:
    result = read("--sealed", "90", "--working", "50", *RATED)
    assert set(result) >= {"verdict", "faults", "modes", "baseline", "because", "sizes", "next"}
    assert set(result["sizes"]) >= {
        "readings", "expected", "candidates", "stretch", "ambiguous_with", "openings",
        "possible_watts", "share_at_hose", "share_at_hose_supposed", "healthy_share_at_hose",
    }  # fmt: skip
    assert set(result["faults"][0]) == {"id", "title", "place", "mode", "probability"}
    assert set(result["modes"]) == {
        "leak", "obstruction", "weak-power", "setting", "measurement", "normal",
    }  # fmt: skip
    assert result["baseline"]["expected"]["unit"].keys() == {"sealed", "working"}
    assert result["next"]["step"] in ("check", "fix", "refer", "done", "stop")
    probabilities = [fault["probability"] for fault in result["faults"]]
    assert probabilities == sorted(probabilities, reverse=True)


def test_units_on_options_are_understood() -> None:
    trade = read("--sealed", "90", "--working", "50", *RATED)["faults"]
    metric = read(
        "--sealed", "22.418 kPa", "--working", "12.4544kPa",
        "--rated-sealed", "32.3816 kPa", "--rated-airflow", "53.802 L/s",
    )["faults"]  # fmt: skip
    for one, other in zip(trade[:5], metric[:5], strict=True):
        assert one["id"] == other["id"]
        assert one["probability"] == pytest.approx(other["probability"], abs=1e-3)


def test_the_page_for_people_has_no_line_over_eighty_columns() -> None:
    outcome = stillflow("read", "--sealed", "90", "--working", "50", *RATED)
    assert outcome.code == 0
    assert max(len(line) for line in outcome.out.splitlines()) <= 80
    assert "69 %" in outcome.out
    assert not any(line.endswith(" ") for line in outcome.out.splitlines())


@pytest.mark.parametrize(
    ("args", "words"),
    [
        ((), "nothing to read"),
        (("--sealed", "-5"), "--sealed"),
        (("--sealed", "90 cfm"), "not a unit of this kind"),
        (("--sealed", "much"), "not a number"),
        (("--sealed", "9000"), "between 0 and 300"),
        (("--sealed", "90", "--rated-airflow", "114 kPa"), "not a unit of this kind"),
        (("--sealed", "90", "--class", "old-unti"), "did you mean 'old-unit'"),
        (("--sealed", "90", "--station", "roof"), "roof"),
        (("--sealed", "90", "--station", "unit", "--unit-sealed", "90"), "given twice"),
        (("--sealed", "90", "--filter", "sieve"), "sieve"),
        (("--sealed", "90", "--altitude-ft", "90000"), "--altitude-ft"),
        (("--nope",), "--nope"),
    ],
)
def test_what_cannot_be_is_one_line_and_exit_code_two(args: tuple[str, ...], words: str) -> None:
    outcome = stillflow("read", *args)
    assert outcome.code == 2
    assert words in outcome.err
    assert len(outcome.err.splitlines()) == 1
    assert outcome.out == ""


def test_readings_at_a_third_inlet_are_taken_by_its_name_and_say_where_it_leaks() -> None:
    given = ("--unit-sealed", "126", "--sealed", "101", "--working", "70", *RATED)
    beside = ("--other-sealed", "101", "--other-working", "71", "--also", "study", "125", "87")
    result = read(*given, *beside)
    assert any(one["inlet"] == "study" for one in result["sizes"]["readings"])
    assert "the study inlet" in result["faults"][0]["title"]


def test_readings_that_contradict_each_other_are_told_first_and_nothing_is_called_likely() -> None:
    outcome = stillflow("read", "--sealed", "37", "--working", "75", *RATED).out
    assert " ".join(outcome.split()).startswith("At the inlet, sealed 37 is below working 75")
    assert "next: What does the gauge read at the inlet" in " ".join(outcome.split())
    assert "likely" not in outcome and "obstruction" not in outcome


def test_two_faults_are_not_told_as_shares_of_one() -> None:
    two = ("--unit-sealed", "130", "--unit-working", "60", "--sealed", "87", "--working", "39")
    outcome = " ".join(stillflow("read", *two, *RATED).out.split())
    assert outcome.startswith("No single fault explains these readings, two together do (99 %)")
    assert "obstruction 9" not in outcome
