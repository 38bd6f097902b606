"""`stillflow chart` and the charts of `why`: every kind, every format, one line for a mistake."""

from __future__ import annotations

import csv
import datetime
import io
import json
import os
import re
import subprocess
import sys
import xml.etree.ElementTree as ElementTree
from importlib import resources
from pathlib import Path
from typing import Any

import pytest
from command import Outcome, stillflow

from stillflow.cli.visits import any_visit
from stillflow.engine import load_rules
from stillflow.engine.inference import spot_of

SVG = "{http://www.w3.org/2000/svg}"
TREE = ("chart", "tree", "--depth", "1")
READINGS = ("--unit-sealed", "130", "--sealed", "91", "--working", "53")
RATED = ("--rated-sealed", "130", "--rated-airflow", "114")


@pytest.fixture(scope="module")
def visit(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's visit: a bin that sits crooked, found and put right."""
    folder = tmp_path_factory.mktemp("demo")
    assert stillflow("demo", "--out", str(folder)).code == 0
    return folder / "visit.yaml"


def drawn(tmp_path: Path, *args: str, name: str = "chart.svg") -> bytes:
    path = tmp_path / name
    outcome = stillflow(*args, "--out", str(path))
    assert (outcome.code, outcome.err) == (0, "")
    assert outcome.out == f"Drawn: {path}\n"
    return path.read_bytes()


def words(svg: bytes) -> str:
    root = ElementTree.fromstring(svg)
    return " ".join("".join(element.itertext()) for element in root.iter(f"{SVG}text"))


def refused(outcome: Outcome, *parts: str) -> None:
    assert outcome.code == 2
    assert outcome.out == ""
    assert outcome.err.startswith("stillflow: ")
    assert outcome.err.count("\n") == 1
    for part in parts:
        assert part in outcome.err


CHARTS = {
    "tree": TREE,
    "faults": ("chart", "faults", "--worth", "5%"),
    "stations": ("chart", "stations", *READINGS, *RATED),
    "airflow": ("chart", "airflow", *READINGS, *RATED),
}
FORMATS = [
    (chart, form)
    for chart in CHARTS
    for form in ("svg", "png", "dot", "mermaid", "json")
    if (chart, form) not in (("airflow", "dot"), ("airflow", "mermaid"))
]
BEGINS = {
    "svg": b"<",
    "png": b"\x89PNG",
    "dot": b"// ",
    "mermaid": b"flowchart ",
    "json": b"{",
}


@pytest.mark.parametrize(("chart", "form"), FORMATS)
def test_every_chart_comes_in_every_format_it_can_have(
    tmp_path: Path, chart: str, form: str
) -> None:
    ending = {"mermaid": "mmd"}.get(form, form)
    by_ending = drawn(tmp_path, *CHARTS[chart], name=f"one.{ending}")
    assert by_ending.startswith(BEGINS[form])
    by_option = drawn(tmp_path, *CHARTS[chart], "--format", form, name="other.chart")
    assert by_option == by_ending


def test_a_pdf_needs_its_extra_and_is_one_file_of_pages(tmp_path: Path) -> None:
    pytest.importorskip("fpdf")
    pytest.importorskip("fontpkg_arimo")
    data = drawn(
        tmp_path, "chart", "faults", "--worth", "5%", "--paper", "letter", name="faults.pdf"
    )
    assert data.startswith(b"%PDF-")
    assert data.count(b"/Type /Page\n") > 1


@pytest.mark.parametrize("chart", list(CHARTS))
def test_the_title_block_has_the_day_the_rules_and_what_narrows_it_down(
    tmp_path: Path, chart: str
) -> None:
    svg = drawn(tmp_path, *CHARTS[chart], "--date", "2025-03-04")
    said = words(svg)
    assert "2025-03-04" in said
    assert f"rules {load_rules().digest}" in said
    assert "shown:" in said
    root = ElementTree.fromstring(svg)
    assert len(root.findtext(f"{SVG}desc") or "") > 30
    assert drawn(tmp_path, *CHARTS[chart], "--date", "2025-03-04") == svg


def test_without_a_date_the_day_is_today(tmp_path: Path) -> None:
    assert datetime.date.today().isoformat() in words(drawn(tmp_path, *TREE))


def test_without_a_name_it_is_called_after_the_chart(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert stillflow(*TREE).out == "Drawn: decision-tree.svg\n"
    assert stillflow(*CHARTS["stations"], "--format", "dot").out == "Drawn: stations.dot\n"
    assert {path.name for path in tmp_path.iterdir()} == {"decision-tree.svg", "stations.dot"}


def test_a_dash_writes_to_standard_output() -> None:
    outcome = stillflow(*CHARTS["stations"], "--out", "-", "--format", "json")
    assert json.loads(outcome.out)["chart"] == "stations"


def test_standard_output_is_utf8_whatever_the_terminal_writes() -> None:
    for args in ((*CHARTS["stations"],), ("chart", "faults", "--worth", "5%")):
        done = subprocess.run(
            [
                sys.executable,
                "-c",
                "from stillflow.cli.main import main; main()",
                *args,
                "--out",
                "-",
            ],
            env={**os.environ, "PYTHONIOENCODING": "cp1252"},
            capture_output=True,
            check=False,
        )
        assert (done.returncode, done.stderr) == (0, b"")
        ElementTree.fromstring(done.stdout.decode("utf-8"))


def test_readings_that_no_airflow_explains_are_refused_in_one_line() -> None:
    refused(stillflow("chart", "airflow", "--hose-working", "100"), "readings", "set aside")


def test_readings_off_the_path_are_said_beside_the_strip(tmp_path: Path) -> None:
    said = words(drawn(tmp_path, *CHARTS["stations"], "--other-sealed", "97"))
    assert "sealed 97 inH2O" in said


def test_causes_drawn_together_say_how_small_each_is(tmp_path: Path) -> None:
    said = words(drawn(tmp_path, *CHARTS["faults"]))
    assert "each rare" not in said
    assert "5 % of these calls" in said


def test_letters_that_become_boxes_are_named_in_one_line(tmp_path: Path) -> None:
    file = tmp_path / "visit.yaml"
    file.write_text(
        "stillflow: 1\nsite: {name: 山 House}\nevents:\n  - {check: sealed-unit, answer: 90}\n"
    )
    outcome = stillflow("chart", "stations", str(file), "--out", str(tmp_path / "s.png"))
    assert outcome.code == 0
    assert outcome.err.count("\n") == 1
    assert outcome.err.startswith("stillflow: the typeface has no letter for 山 (U+5C71): boxes")
    outcome = stillflow("chart", "stations", str(file), "--out", str(tmp_path / "s.svg"))
    assert (outcome.code, outcome.err) == (0, "")


def test_a_format_that_a_chart_cannot_have_is_not_offered() -> None:
    refused(stillflow(*CHARTS["airflow"], "--format", "dot"), "--format", "svg")
    assert "dot" not in stillflow("chart", "airflow", "--help").out
    assert "dot" in stillflow("chart", "stations", "--help").out


def test_a_paper_cuts_a_large_chart_into_numbered_files(tmp_path: Path) -> None:
    outcome = stillflow(
        "chart", "faults", "--paper", "a4", "--out", str(tmp_path / "f.svg"), "--worth", "1%"
    )
    files = sorted(path.name for path in tmp_path.iterdir())
    assert len(files) > 2
    assert f"({len(files)} pages)" in outcome.out
    for number, name in enumerate(files, 1):
        assert str(number) in name
        assert f"page {number} of {len(files)}" in words((tmp_path / name).read_bytes())
    refused(stillflow("chart", "faults", "--paper", "a4", "--out", "-"), "pages", "--out")


def test_a_tree_starts_from_what_is_known(tmp_path: Path) -> None:
    svg = drawn(
        tmp_path,
        *TREE,
        *("--complaint", "weak-at-one-inlet", "--given", "slider-look=closed"),
        *("--given", "sealed-inlet=22.4 kPa", "--without", "camera", *RATED),
    )
    said = words(svg)
    assert "What to check next: weak at one inlet only" in said
    for part in (
        "complaint: Weak at one inlet only",
        "Is the suction relief on the handle closed: Closed",
        "sealed at the inlet: 90 inH2O",
        "without camera",
        "1 step",
    ):
        assert part in said
    asked = json.loads(drawn(tmp_path, *TREE, "--complaint", "weak-everywhere", name="t.json"))
    assert "Where is the suction weak?" not in {node["title"] for node in asked["nodes"]}


def test_the_json_of_a_tree_can_be_held_against_next(tmp_path: Path) -> None:
    path = tmp_path / "tree.json"
    options = ("--complaint", "weak-with-one-tool", "--reach", "20%", *RATED, "--format", "json")
    assert stillflow("chart", "tree", *options, "--out", str(path)).code == 0
    tree = json.loads(path.read_text(encoding="utf-8"))
    root, *_ = tree["nodes"]

    def next_of(visit: dict[str, Any]) -> Any:
        file = tmp_path / "visit.yaml"
        file.write_text(json.dumps(visit), encoding="utf-8")
        outcome = stillflow("next", str(file), "--json")
        assert outcome.code == 0, outcome.err
        return json.loads(outcome.out)

    first = next_of(tree["start"])
    assert (first["check"]["id"], first["check"]["minutes"]) == (root["check"], root["minutes"])
    on = {node["id"]: node for node in tree["nodes"]}
    seen = []
    for branch in root["branches"]:
        said = {"check": root["check"], "answer": branch["given"]}
        then = next_of({**tree["start"], "events": [*tree["start"]["events"], said]})
        box = on[branch["to"]]
        if box["check"] or box["fault"]:
            assert box["check"] == (then["check"] or {}).get("id", "")
            assert box["fault"] == (then["fix"] or {}).get("fault", "")
            seen.append(box["id"])
    assert seen


def test_until_and_reach_narrow_the_tree_and_say_so(tmp_path: Path) -> None:
    said = words(
        drawn(tmp_path, "chart", "tree", "--reach", "20%", "--until", "95%", "--think", "quick")
    )
    assert "until a fix is 95 % sure" in said
    assert "what at least 1 in 5 calls come to" in said
    assert "quick look-ahead" in said


def test_the_fault_tree_has_the_complaint_on_top(tmp_path: Path) -> None:
    content = json.loads(
        drawn(tmp_path, "chart", "faults", "--complaint", "clogs-again", name="f.json")
    )
    gates = {gate["id"]: gate for gate in content["tree"]["gates"]}
    assert gates[content["tree"]["top"]]["title"] == "It clogs again at the same place"
    assert "inhibit" in {gate["kind"] for gate in gates.values()}
    assert content["analysis"]["gates"][content["tree"]["top"]] == pytest.approx(1.0)
    kinds = {event["id"]: event["kind"] for event in content["tree"]["events"]}
    assert kinds["stringy-debris"] == "condition"
    assert content["analysis"]["method"] == "rare-event"


def test_the_table_shows_cut_sets_and_importance() -> None:
    outcome = stillflow("chart", "faults", "--table", "--complaint", "clogs-again")
    assert outcome.code == 0
    for part in ("Birnbaum", "Fussell-Vesely", "only together", "Hair, string or long lint"):
        assert part in outcome.out
    lines = outcome.out.splitlines()
    assert max(map(len, lines)) <= 80
    [head] = [index for index, line in enumerate(lines) if line.split()[-2:] == ["RAW", "RRW"]]
    rows = [line for line in lines[head + 1 :] if re.search(r"\d\.\d{3}$", line)]
    assert len(rows) > 60
    assert len(lines) - head - 1 < 2 * len(rows), "a row takes less than two lines on the whole"


def test_the_table_and_the_drawing_share_their_codes(tmp_path: Path) -> None:
    said = words(drawn(tmp_path, *CHARTS["faults"], "--complaint", "clogs-again"))
    table = stillflow("chart", "faults", "--table", "--complaint", "clogs-again").out
    assert "E62 Something is stuck in the hose" in table
    assert "Something is stuck in the hose E62," in said
    assert re.search(r"E38 A fitting installed backward .*while\s+C3 Hair", table, re.DOTALL)


def test_figures_are_given_the_complaint_and_say_so(tmp_path: Path) -> None:
    said = words(drawn(tmp_path, *CHARTS["faults"], "--complaint", "weak-at-one-inlet"))
    assert "100 % in all" in said
    assert "shares of the calls with this complaint" in said
    assert "1 in " not in said
    assert "shares of calls about poor suction" in words(drawn(tmp_path, *CHARTS["faults"]))


def test_the_table_as_csv_has_the_top_the_cut_sets_and_the_events() -> None:
    rows = list(csv.DictReader(io.StringIO(stillflow("chart", "faults", "--format", "csv").out)))
    kinds = [row["kind"] for row in rows]
    assert kinds == sorted(kinds, key=["top", "cut-set", "event"].index)
    events = [row["id"] for row in rows if row["kind"] == "event"]
    assert set(load_rules().circumstances) <= set(events)
    both = next(row for row in rows if row["id"] == "backwards-fitting + stringy-debris")
    single = {row["id"]: float(row["probability"]) for row in rows if row["kind"] == "event"}
    assert both["order"] == "2"
    assert float(both["probability"]) == pytest.approx(
        single["backwards-fitting"] * single["stringy-debris"]
    )
    summed = sum(float(row["probability"]) for row in rows if row["kind"] == "cut-set")
    assert float(rows[0]["probability"]) == pytest.approx(summed)


def test_the_table_says_which_figure_is_right_for_shares() -> None:
    said = " ".join(stillflow("chart", "faults", "--table").out.split())
    assert "which is right for shares" in said
    assert "if these events come independently" in said
    said = " ".join(stillflow("chart", "faults", "--table", "--exact").out.split())
    assert "which shares of calls do not" in said


def test_exact_is_no_more_than_the_rare_event_sum(tmp_path: Path) -> None:
    args = ("chart", "faults", "--table", "--format", "json")
    rough, exact = json.loads(stillflow(*args).out), json.loads(stillflow(*args, "--exact").out)
    assert exact["method"] == "exact"
    assert 0 < exact["probability"] < rough["probability"]
    outcome = stillflow("chart", "faults", "--table", "--out", str(tmp_path / "t.csv"))
    assert outcome.out == f"Written: {tmp_path / 't.csv'}\n"
    assert (tmp_path / "t.csv").read_text().startswith("kind,id,title")


def test_a_visit_is_drawn_as_it_was_before_its_fix(tmp_path: Path, visit: Path) -> None:
    said = words(drawn(tmp_path, "chart", "stations", str(visit)))
    assert "Where suction is lost: The Gooseberry House" in said
    assert "readings before the fix: The dirt canister or bag door is not on straight" in said
    assert "89 (71 %)" in said
    said = words(drawn(tmp_path, "chart", "airflow", str(visit)))
    assert re.search(r"inlet[a-z, ]* 89", said)
    assert "Leak in the unit" in said
    assert re.search(r"like a 0\.\d\d in hole \(0\.\d\d to 0\.\d\d in\)", said)


def test_the_demo_leaves_the_air_path_beside_the_reasoning(visit: Path) -> None:
    names = {path.name for path in visit.parent.iterdir()}
    assert names == {"visit.yaml", "summary.txt", "reasoning.svg", "stations.svg"}


def test_why_draws_what_bears_on_one_fault(tmp_path: Path, visit: Path) -> None:
    path = tmp_path / "why.svg"
    outcome = stillflow("why", str(visit), "--focus", "brushes-worn", "--chart", str(path))
    assert "What speaks on 'The motor's carbon brushes are worn out'" in outcome.out
    said = words(path.read_bytes())
    assert "The motor's carbon" in said
    assert "The dirt canister or bag door is" not in said


def test_why_not_is_answered_in_words_and_drawn(tmp_path: Path, visit: Path) -> None:
    path = tmp_path / "not.svg"
    outcome = stillflow("why", str(visit), "--not", "hose-clogged", "--chart", str(path))
    assert "Why not: Something is stuck in the hose?" in outcome.out
    assert "What speaks against it:" in outcome.out
    assert "leads with" in " ".join(outcome.out.split())
    said = words(path.read_bytes())
    assert "Why not “Something is stuck in the hose”: The Gooseberry House" in said
    # What outweighs the little that is left of it is told.
    assert "Something is stuck in the hose ruled out: Sealed suction is short" in said
    assert "a clog cannot do that" in said


def test_why_says_what_was_ruled_out_and_by_what(visit: Path) -> None:
    out = stillflow("why", str(visit)).out
    assert "Ruled out:" in out
    gone = out.partition("Ruled out:")[2].partition("fix:")[0]
    assert re.findall(r"<1 %|\d+ %", gone)
    assert set(re.findall(r"<1 %|\d+ %", gone)) == {"<1 %"}
    assert "answer." not in out
    assert "level." not in out


def test_why_says_what_stopped_a_visit_and_draws_it(tmp_path: Path) -> None:
    stopped = tmp_path / "stopped.yaml"
    asked = "events:\n  - {check: danger-signs, answer: burning-smell}\n"
    stopped.write_text("stillflow: 1\ncomplaint: It smells.\n" + asked)
    path = tmp_path / "stopped.svg"
    out = " ".join(stillflow("why", str(stopped), "--chart", str(path)).out.split())
    assert "(stops the visit)" in out
    assert "stop: There is a burning smell. A smell of burning means" in out
    said = words(path.read_bytes())
    assert "Stop. There is a" in said
    assert "told nothing apart" not in said


def test_why_not_says_how_much_a_rare_fault_lost(visit: Path) -> None:
    out = " ".join(stillflow("why", str(visit), "--not", "low-spot").out.split())
    assert "% of what it was)" in out
    assert "(from <1 % to <1 %)" not in out


def test_why_takes_any_format_and_standard_output(visit: Path) -> None:
    outcome = stillflow("why", str(visit), "--chart", "-", "--format", "json")
    assert json.loads(outcome.out)["chart"] == "reasoning-path"


@pytest.mark.parametrize(
    ("args", "parts"),
    [
        ((*TREE, "--out", "chart.gif"), ("'.gif' is not a format", ".svg", "--format")),
        ((*TREE, "--format", "gif"), ("gif", "svg")),
        ((*TREE, "--paper", "a5"), ("a5", "a4")),
        ((*TREE, "--out", "/no/such/place/chart.svg"), ("/no/such/place/chart.svg", "another")),
        ((*TREE, "--date", "tomorrow"), ("tomorrow",)),
        (("chart", "tree", "--depth", "0"), ("--depth",)),
        (("chart", "tree", "--until", "most"), ("--until", "95%")),
        (("chart", "tree", "--until", "0"), ("until is 0",)),
        (("chart", "tree", "--reach", "200%"), ("--reach", "is not a share")),
        (("chart", "tree", "--complaint", "weak-evrywhere"), ("'weak-everywhere'",)),
        (("chart", "tree", "--given", "slider-look"), ("--given", "check=answer")),
        (("chart", "tree", "--given", "slider=closed"), ("no check 'slider'", "slider-look")),
        (("chart", "tree", "--given", "slider-look=ajar"), ("'ajar' is not an answer", "closed")),
        (("chart", "tree", "--without", "gage"), ("--without", "gauge")),
        (("chart", "faults", "--complaint", "weak"), ("no complaint 'weak'", "weak-")),
        (("chart", "faults", "--worth", "1"), ("1 is not a share",)),
        (("chart", "faults", "--table", "--format", "png"), ("a table cannot be made as png",)),
        (("chart", "stations"), ("nothing to draw", "--sealed")),
        (("chart", "stations", "nosuch.yaml"), ("nosuch.yaml",)),
        (("chart", "airflow", *READINGS, "--format", "dot"), ("--format", "svg")),
        (("chart", "airflow", "--sealed", "9000"), ("--sealed",)),
        (("chart", "bars"), ("bars",)),
    ],
)
def test_what_cannot_be_drawn_is_one_line(args: tuple[str, ...], parts: tuple[str, ...]) -> None:
    refused(stillflow(*args), *parts)


def test_what_a_visit_cannot_give_is_one_line(tmp_path: Path, visit: Path) -> None:
    refused(stillflow("chart", "stations", str(visit), *READINGS), "its own readings")
    refused(stillflow("chart", "airflow", str(visit), *RATED), "its own system")
    empty = tmp_path / "empty.yaml"
    empty.write_text("stillflow: 1\n")
    refused(stillflow("chart", "airflow", str(empty)), "no readings were taken")
    refused(stillflow("why", str(visit), "--not", "brushes"), "--not", "no fault 'brushes'")
    refused(stillflow("why", str(visit), "--focus", "brushes"), "--focus")
    refused(stillflow("why", str(visit), "--format", "png"), "--chart")
    refused(stillflow("why", str(visit), "--chart", "why.gif"), "'.gif'", ".svg")
    nowhere = stillflow("why", str(visit), "--chart", str(tmp_path / "nowhere" / "why.svg"))
    refused(nowhere, "nowhere/why.svg", "choose another place")


def test_readings_that_contradict_each_other_start_no_tree() -> None:
    args = ("--given", "sealed-inlet=40", "--given", "working-inlet=70", *RATED)
    refused(stillflow(*TREE, *args), "contradict each other")


def test_a_worked_case_is_drawn_like_a_visit_by_name_and_by_file(tmp_path: Path) -> None:
    case = tmp_path / "mine.yaml"
    worked = resources.files("stillflow.casebook").joinpath("worked", "clogged-hose.yaml")
    case.write_text(worked.read_text(encoding="utf-8"), encoding="utf-8")
    for kind in ("stations", "airflow"):
        by_name, by_file = (
            drawn(tmp_path, "chart", kind, one) for one in ("clogged-hose", str(case))
        )
        assert by_name == by_file
        # Every reading of the case is drawn, also one that no check on the way asked for.
        assert "Windmill End" in words(by_name)
        assert "130" in words(by_name)
    path = tmp_path / "why.svg"
    outcome = stillflow("why", "clogged-hose", "--chart", str(path))
    assert outcome.code == 0
    assert "fix: Something is stuck in the hose" in outcome.out
    assert path.read_bytes().startswith(b"<")


def test_the_next_step_of_a_worked_case_is_its_first(tmp_path: Path) -> None:
    case = tmp_path / "mine.yaml"
    worked = resources.files("stillflow.casebook").joinpath("worked", "clogged-hose.yaml")
    case.write_text(worked.read_text(encoding="utf-8"), encoding="utf-8")
    outcome = stillflow("next", str(case), "--json")
    assert json.loads(outcome.out)["check"]["id"] == "danger-signs"


def test_a_broken_worked_case_is_one_line_with_its_place(tmp_path: Path) -> None:
    case = tmp_path / "mine.yaml"
    case.write_text("title: A case without much in it\nexpect: {fixes: [], ends: done}\n")
    for args in (("why", str(case)), ("chart", "airflow", str(case)), ("next", str(case))):
        refused(stillflow(*args), "mine.yaml")


def test_an_exercise_and_its_answer_sheet_differ_only_in_what_is_left_blank(
    tmp_path: Path,
) -> None:
    full = drawn(tmp_path, *TREE)
    assert "It stood open" in words(full) or "None of these" in words(full) or "%" in words(full)
    blank = drawn(tmp_path, *TREE, "--blank", "figures")
    assert re.sub("[0-9]", "_", words(full))[:80] == re.sub("[0-9]", "_", words(blank))[:80]
    assert "Name: ____" in words(blank)
    assert "%" not in re.sub("_+ ?%", "", words(blank).split("Name:")[0].split("Begins")[0])
    refused(stillflow(*TREE, "--blank", "names", "--format", "json", "--out", "-"), "json")


def test_sheet_options_are_only_of_a_chart_and_portrait_of_a_paper(tmp_path: Path) -> None:
    refused(stillflow("why", "clogged-hose", "--blank", "answers"), "--chart")
    refused(stillflow(*TREE, "--portrait", "--out", str(tmp_path / "x.svg")), "--paper a4")
    refused(stillflow(*TREE, "--text-size", "2", "--out", "-"), "--text-size")


def test_type_too_small_to_read_is_said(tmp_path: Path) -> None:
    path = tmp_path / "x.svg"
    outcome = stillflow(*TREE, "--text-size", "6", "--out", str(path))
    assert outcome.code == 0
    assert "smallest type is 6.0 points" in outcome.err
    assert outcome.err.count("\n") == 1


def test_before_and_after_stand_on_one_chart_where_there_is_an_after(tmp_path: Path) -> None:
    chart = drawn(tmp_path, "chart", "stations", "full-bag-and-an-open-slider", "--after")
    assert "read again after the fix" in words(chart)
    refused(
        stillflow("chart", "stations", *READINGS[:4], "--after", "--out", "-"), "nothing was read"
    )


def test_causes_are_drawn_by_how_often_with_their_sum(tmp_path: Path) -> None:
    chart = drawn(tmp_path, "chart", "pareto", "--complaint", "weak-everywhere", "--most", "5")
    # What is left stands last, by place, told apart from single causes, and says how much it holds.
    assert re.search(r"In the unit: [0-9]+ more, none over [0-9.]+ %", words(chart))
    assert "several rarer ones together" in words(chart)
    assert "5 causes of" in words(chart)
    data = json.loads(
        stillflow("chart", "pareto", "--most", "5", "--format", "json", "--out", "-").out
    )
    several = [bar["several"] for bar in data["bars"]]
    assert several[:5] == [0] * 5
    assert all(several[5:])
    assert data["bars"][-1]["sum"] == pytest.approx(1.0)
    for bars in (data["bars"][:5], data["bars"][5:]):
        shares = [bar["share"] for bar in bars]
        assert shares == sorted(shares, reverse=True)
    assert "weak at every inlet" in words(chart)
    refused(stillflow("chart", "pareto", "--complaint", "weak-everywher"), "weak-everywhere")


def test_the_legend_says_every_word_for_strength_and_every_symbol(tmp_path: Path) -> None:
    said = words(drawn(tmp_path, "chart", "legend"))
    for word in (
        "slight",
        "decisive: seen about 100 times",
        "very rare",
        "in all",
        "a check to do",
    ):
        assert word.lower() in said.lower()
    assert "any one of these is enough" in said
    assert "e+0" not in said


def test_an_airflow_chart_shows_before_and_after(tmp_path: Path) -> None:
    chart = drawn(tmp_path, "chart", "airflow", "full-bag-and-an-open-slider", "--after")
    assert "read again after the fix" in words(chart)
    assert re.search(r"[0-9]+ after", words(chart))
    without = drawn(tmp_path, "chart", "airflow", "full-bag-and-an-open-slider")
    assert "read again after the fix" not in words(without)


@pytest.mark.parametrize("sort", ["stations", "airflow"])
def test_several_cases_stand_side_by_side(tmp_path: Path, sort: str) -> None:
    cases = ("bag-packed-to-the-collar", "backwards-tee")
    chart = drawn(tmp_path, "chart", sort, *cases)
    assert "2 visits" in words(chart)
    assert "1. 14 Marmalade Court" in words(chart)
    assert "2. Bramblewick" in words(chart)
    data = json.loads(stillflow("chart", sort, *cases, "--format", "json", "--out", "-").out)
    assert len(data["cases"]) == 2
    refused(stillflow("chart", sort, *cases, "--sealed", "90"), "its own readings")
    refused(stillflow("chart", sort, *cases, "--format", "dot", "--out", "-"), "dot")


def test_a_case_whose_complaint_answers_a_question_can_be_drawn(tmp_path: Path) -> None:
    path = tmp_path / "why.svg"
    outcome = stillflow("why", "bag-packed-to-the-collar", "--chart", str(path))
    assert outcome.code == 0
    assert "What was found" in path.read_text(encoding="utf-8")


def test_only_endings_that_a_chart_can_have_are_offered(tmp_path: Path) -> None:
    readings = ("--sealed", "90", "--working", "50")
    refused = stillflow("chart", "airflow", *readings, "--out", str(tmp_path / "x.docx"))
    assert refused.code == 2
    assert ".svg" in refused.err
    assert ".dot" not in refused.err
    assert ".mmd" not in refused.err


def test_an_exercise_without_figures_has_none_in_what_is_said_below_its_title(
    tmp_path: Path,
) -> None:
    case = ("chart", "stations", *RATED, "--sealed", "92", "--other-sealed", "130")
    [full, blank] = (words(drawn(tmp_path, *case, *more)) for more in ((), ("--blank", "figures")))
    assert "sealed 130 inH2O" in full
    assert "off this path: sealed __ inH2O" in blank


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no such device here")
def test_a_full_disk_is_the_machines_fault_and_not_the_names() -> None:
    full = stillflow("chart", "airflow", "--sealed", "90", "--format", "svg", "--out", "/dev/full")
    assert full.code == 1
    assert "no space left" in full.err
    assert full.err.count("\n") == 1


TWO = "hose-and-cartridge-both"


def read_in(visit: str) -> dict[int, dict[tuple[str, str], float]]:
    """What was read in each round of a worked case, the last of each place."""
    knowledge = load_rules()
    session = any_visit(visit, knowledge, None)
    found: dict[int, dict[tuple[str, str], float]] = {}
    for asked in session.progress.asked:
        check = knowledge.checks[asked.check_id]
        if check.kind == "reading" and not asked.further and not asked.doubted_by:
            state, station = spot_of(check)
            title = station.words.removeprefix("the ").capitalize()
            found.setdefault(asked.round, {})[title, str(state)] = round(float(asked.answer), 1)
    return found


def on_strip(case: dict[str, Any], which: str) -> dict[tuple[str, str], float]:
    return {
        (station["title"], state): station[state][which]
        for station in case["stations"]
        for state in ("sealed", "working")
        if station[state][which] is not None
    }


@pytest.mark.parametrize("case", [TWO, "clogged-hose", "backwards-tee"])
def test_the_strip_of_a_visit_shows_what_was_read_before_and_after_each_fix_and_no_more(
    case: str,
) -> None:
    outcome = stillflow("chart", "stations", case, "--after", "--format", "json", "--out", "-")
    content = json.loads(outcome.out)
    strips = content.get("cases", [content])
    read = read_in(case)
    assert len(strips) == (2 if case == TWO else 1)
    for number, strip in enumerate(strips):
        before = on_strip(strip, "found")
        assert read[number].items() >= {k: before[k] for k in before if k in read[number]}.items()
        assert before.keys() <= {spot for n in range(number + 1) for spot in read.get(n, {})}
        assert on_strip(strip, "after") == {
            spot: value for spot, value in read[number + 1].items() if spot[0] != "Other inlet"
        }


def test_every_fix_has_a_reasoning_chart_and_the_foot_says_which(tmp_path: Path) -> None:
    path = tmp_path / "why.json"
    assert stillflow("why", TWO, "--chart", str(path)).code == 0
    content = json.loads(path.read_text())
    [first] = content["earlier"]
    asked = [{fact["asked"] for fact in part["facts"]} - {None} for part in (first, content)]
    assert asked[0]
    assert asked[1]
    assert max(asked[0]) < min(asked[1])
    for number, part, fault in ((1, first, "cartridge"), (2, content, "hose")):
        [shown] = part["title"]["filters"]
        assert f"fix {number} of 2" in shown
        assert fault in shown


def test_what_bears_on_a_mended_fault_is_what_was_known_before_it_was_mended(
    tmp_path: Path,
) -> None:
    path = tmp_path / "why.json"
    outcome = stillflow("why", TWO, "--focus", "cartridge-clogged", "--chart", str(path))
    content = json.loads(path.read_text())
    assert "earlier" not in content
    assert max(fact["asked"] or 0 for fact in content["facts"]) < 10
    assert "fix 1 of 2, mended then" in content["title"]["filters"][0]
    assert "was mended by fix 1" in outcome.out
