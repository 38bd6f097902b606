"""Every chart comes out in every format, the same every time, whatever its labels say."""

from __future__ import annotations

import hashlib
import json
import os
import struct
import subprocess
import sys
import xml.etree.ElementTree as ElementTree
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from stillflow.engine.base.errors import InputError, SetupError
from stillflow.engine.charts import program
from stillflow.engine.charts.chart import FORMATS, Chart, render
from stillflow.engine.charts.decision import decision_chart
from stillflow.engine.charts.page import PAPERS
from stillflow.engine.charts.png import paint_source
from stillflow.engine.charts.scene import Link, Scene, Text
from stillflow.engine.charts.text import clean, unknown

SVG = "{http://www.w3.org/2000/svg}"

ODD = st.text(st.characters(exclude_categories=["Cs"]), max_size=300)
ODD_LABELS = (
    'a "quoted" label',
    '\\" and \\N and \\',
    "<b>&amp;</b> <",
    "<<table>>",
    "a; b | c --> d %% end `code` #35;",
    "😀🔧 שלום مرحبا 漢字",
    "x" * 300,
    "many words " * 27,
    "",
    "tab\tnew\nline\x00nul",
    "\\",
    "a\\\\b \\\\\\ c\\\\",
)


def with_odd_labels(test: Callable[..., None]) -> Callable[..., None]:
    for label in ODD_LABELS:
        test = example(label)(test)
    return given(ODD)(test)


def words_of(svg: bytes) -> str:
    root = ElementTree.fromstring(svg)
    return " ".join("".join(element.itertext()) for element in root.iter(f"{SVG}text"))


@with_odd_labels
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_any_label_stands_in_the_svg_as_it_was_given(make_charts, label: str) -> None:
    for chart in make_charts(label):
        (file,) = render(chart, "svg")
        root = ElementTree.fromstring(file.data)
        assert root.find(f"{SVG}title").text == (clean(label) or None)
        squeezed = words_of(file.data).replace(" ", "")
        assert clean(label).replace(" ", "") in squeezed


@with_odd_labels
@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_no_label_hides_another_or_falls_off_the_sheet(
    make_charts, flaws: Callable[[Scene], list[str]], label: str
) -> None:
    for chart in make_charts(label):
        for scene in [*chart.pages(None), *chart.pages("a4")]:
            assert flaws(scene) == [], chart.name


@with_odd_labels
@settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_any_label_can_be_painted(make_charts, label: str) -> None:
    for chart in make_charts(label):
        (file,) = render(chart, "png", dpi=36)
        assert file.data.startswith(b"\x89PNG\r\n\x1a\n")
        wide, high = struct.unpack(">II", file.data[16:24])
        (scene,) = chart.pages(None)
        assert wide == pytest.approx(scene.width / 2, abs=1.5)
        assert high == pytest.approx(scene.height / 2, abs=1.5)


@with_odd_labels
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_every_word_of_a_page_reaches_the_painter(make_charts, label: str) -> None:
    for chart in make_charts(label):
        (scene,) = chart.pages(None)
        lines = [m.text for group in scene.groups for m in group.marks if isinstance(m, Text)]
        # What is painted as pixels is the same drawing that this program can write as SVG.
        painted = program.run(paint_source(scene, 72), "svg", placed=True)
        found = ["".join(e.itertext()) for e in ElementTree.fromstring(painted).iter(f"{SVG}text")]
        expected = [clean(line).replace('\\"', "\\''") for line in lines]
        assert [f.strip() for f in found] == [e.strip() for e in expected if e]


@with_odd_labels
@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_the_dot_source_of_any_label_is_read_by_graphviz(make_charts, label: str) -> None:
    for chart in make_charts(label):
        (file,) = render(chart, "dot")
        laid_out = json.loads(program.run(file.data.decode(), "json0"))
        nodes = [thing for thing in laid_out["objects"] if "pos" in thing]
        assert len(nodes) == len(chart.picture.nodes)
        assert len([e for e in laid_out["edges"] if "id" in e]) == len(chart.picture.edges)


@with_odd_labels
@settings(max_examples=25, deadline=None)
def test_mermaid_has_one_line_for_each_node_and_arrow(make_charts, label: str) -> None:
    for chart in make_charts(label):
        lines = render(chart, "mermaid")[0].data.decode().splitlines()
        named = [line for line in lines if line.startswith("  n") and '"' in line]
        arrows = [line for line in lines if line.startswith("  n") and "--" in line.split('"')[0]]
        assert len(named) >= len(chart.picture.nodes)
        assert all(line.count('"') in (0, 2) for line in lines)
        assert len(arrows) >= sum(1 for edge in chart.picture.edges if edge.line != "against")


@with_odd_labels
@settings(max_examples=25, deadline=None)
def test_json_keeps_every_label_to_the_letter(make_charts, label: str) -> None:
    for chart in make_charts(label):
        content = json.loads(render(chart, "json")[0].data)
        assert content["title"]["title"] == label
        assert content["chart"] == chart.name


@settings(max_examples=1, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(ODD, min_size=5, max_size=5))
def test_any_label_can_be_set_in_a_pdf(make_charts, labels: list[str]) -> None:
    pytest.importorskip("fpdf")
    pytest.importorskip("fontpkg_arimo")
    from stillflow.engine.charts.pdf import write_pdf

    charts = [c for label in [*ODD_LABELS, *labels] for c in make_charts(label)]
    scenes = [scene for chart in charts for scene in chart.pages(None)]
    data = write_pdf(scenes)
    assert data.startswith(b"%PDF-")
    assert data.count(b"/Type /Page\n") == len(scenes)


def test_a_pdf_leads_from_page_to_page_and_lists_what_stands_on_each(grow_tree) -> None:
    pytest.importorskip("fpdf")
    pytest.importorskip("fontpkg_arimo")
    chart = decision_chart(grow_tree(30))
    scenes = chart.pages("a4")
    links = [m for scene in scenes for g in scene.groups for m in g.marks if isinstance(m, Link)]
    assert len(scenes) > 1
    assert links
    [file] = render(chart, "pdf", "a4")
    assert file.data.count(b"/Subtype /Link") == len(links)
    assert b"/Outlines" in file.data
    entries = len(scenes) + sum(len(scene.parts) for scene in scenes)
    assert file.data.count(b"/Title") == entries + 1  # and the document's own
    assert b"/Title (Poor suction)" in file.data


def test_letters_that_the_typeface_lacks_are_named_with_the_file(make_charts) -> None:
    chart = make_charts("Møller 山 Ωμέγα ☃")[2]
    assert {file.unknown for file in render(chart, "png")} == {("☃", "山")}
    assert {file.unknown for file in render(chart, "svg")} == {()}
    assert {file.unknown for file in render(make_charts("Møller – Ωμέγα ≥ ½")[2], "png")} == {()}


def test_the_letters_known_are_those_of_the_typeface() -> None:
    arimo = pytest.importorskip("fontpkg_arimo")
    fonts = pytest.importorskip("fontTools.ttLib")
    letters = fonts.TTFont(arimo.ROOT / "files" / "Arimo[wght].ttf").getBestCmap()
    has = {code for code in letters if code >= 0x20}
    assert unknown("".join(map(chr, has))) == set()
    # What is known comes in ranges, so a slip shows at an edge.
    beside = {code + step for code in has for step in (-1, 1)} - has
    assert unknown("".join(map(chr, beside))) == set(map(chr, beside))


def test_titles_and_a_description_are_there_for_those_who_cannot_see(make_charts) -> None:
    for chart in make_charts("Closed inlet hisses"):
        root = ElementTree.fromstring(render(chart, "svg")[0].data)
        title, description = root.find(f"{SVG}title"), root.find(f"{SVG}desc")
        assert root.get("role") == "img"
        assert root.get("aria-labelledby") == f"{title.get('id')} {description.get('id')}"
        assert len(description.text) > 30
        groups = [g.findtext(f"{SVG}title") for g in root.iter(f"{SVG}g")]
        assert any("Closed inlet hisses" in (words or "") for words in groups)


def test_the_title_block_has_date_rules_and_filters(make_charts) -> None:
    for chart in make_charts("Attic"):
        words = words_of(render(chart, "svg")[0].data)
        assert "2025-03-04 · rules Attic · shown: Attic; two" in words


_DIGEST = """
import hashlib, sys
sys.path.insert(0, {folder!r})
import conftest
charts = conftest.make_charts.__wrapped__()("A \\u201clabel\\u201d, twice")
digest = hashlib.sha256()
from stillflow.engine.charts.chart import render
for chart in charts:
    for output in {formats!r}:
        if output == "pdf" and chart is not charts[1]:
            continue  # each takes two seconds, and all are written alike
        for file in render(chart, output, "a4"):
            digest.update(file.data)
print(digest.hexdigest())
"""


def _formats_here() -> list[str]:
    try:
        import fontpkg_arimo  # noqa: F401
        import fpdf  # noqa: F401
    except ImportError:
        return [f for f in FORMATS if f != "pdf"]
    return list(FORMATS)


def test_the_same_chart_gives_the_same_bytes_in_another_process(make_charts) -> None:
    formats = _formats_here()
    digest = hashlib.sha256()
    charts = make_charts("A “label”, twice")
    for chart in charts:
        for output in formats:
            if output == "pdf" and chart is not charts[1]:
                continue
            for file in render(chart, output, "a4"):
                digest.update(file.data)
    folder = str(Path(__file__).parent)
    code = _DIGEST.format(folder=folder, formats=formats)
    environment = {**os.environ, "PYTHONHASHSEED": "4321"}
    other = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, env=environment, check=True
    )
    assert other.stdout.strip() == digest.hexdigest()


@pytest.mark.parametrize("paper", PAPERS)
def test_a_page_is_as_large_as_its_paper(make_charts, paper: str) -> None:
    for chart in make_charts("Hall"):
        for scene in chart.pages(paper):
            assert (scene.width, scene.height) == pytest.approx(PAPERS[paper])


def test_a_format_or_paper_that_is_not_there_is_named_with_those_that_are(make_charts) -> None:
    chart: Chart = make_charts("Hall")[0]
    with pytest.raises(InputError, match=r"'gif'.*svg, png, pdf, dot, mermaid, json"):
        render(chart, "gif")
    with pytest.raises(InputError, match=r"'a5'.*a4, a3, a2, a1, a0, letter, tabloid"):
        render(chart, "svg", "a5")  # type: ignore[arg-type]
    with pytest.raises(InputError, match="dots per inch"):
        render(chart, "png", dpi=5000)


def test_a_missing_pdf_package_is_named_with_the_formats_that_can_be_made(
    make_charts, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "fpdf", None)
    with pytest.raises(SetupError) as raised:
        render(make_charts("Hall")[1], "pdf")
    assert "fpdf" in str(raised.value)
    assert "pip install 'stillflow[pdf]'" in str(raised.value)
    assert "svg, png, dot, mermaid, json" in str(raised.value)
    assert "\n" not in str(raised.value)


def test_without_any_graphviz_it_says_what_to_install_and_what_can_be_made(
    make_charts, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(program, "_from_package", lambda: None)
    monkeypatch.setattr(program, "_beside_python", lambda: None)
    monkeypatch.setattr(program.shutil, "which", lambda *_, **__: None)
    program.find_program.cache_clear()
    try:
        with pytest.raises(SetupError, match=r"pip install graphviz-pure.*dot, mermaid, json"):
            render(make_charts("Hall")[1], "png")
        for chart in make_charts("Hall"):
            for output in ("dot", "mermaid", "json"):
                assert render(chart, output)[0].data
    finally:
        program.find_program.cache_clear()


def test_the_program_of_the_package_is_found_where_no_dot_is_on_the_path(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("PATH", "")
    program.find_program.cache_clear()
    try:
        assert program.find_program().stem == "graphviz-pure"
        assert program.run("graph { a }", "png").startswith(b"\x89PNG")
    finally:
        program.find_program.cache_clear()


def test_importing_the_charts_does_not_import_what_is_slow() -> None:
    code = (
        "import sys, stillflow.engine.charts.decision, stillflow.engine.charts.stations,"
        "stillflow.engine.charts.reasoning, stillflow.engine.charts.faults;"
        "print([m for m in ('graphviz', 'fpdf', 'PIL', 'fontTools', 'scipy') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
