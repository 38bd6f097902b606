"""The audit of a folder laid over the shipped rules: what it takes away of their safety."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest

from stillflow.engine import load_rules
from stillflow.engine.audit import Finding, Severity, audit


def told(folder: Path, text: str) -> Sequence[Finding]:
    (folder / "ours.yaml").write_text(text, encoding="utf-8")
    return audit(load_rules([folder]))


@pytest.mark.parametrize(
    ("retired", "also"),
    [
        ("stop", ()),
        ("safety-first", ()),
        ("danger-unknown", ()),
        ("tubing-put-back-first", ()),
        ("stop-plug-hot-or-marked", ()),
        ("danger-signs", ("stop-smoke", "stop-shock", "stop-water", "says-smoke")),
        ("plug-feel", ("stop-plug-hot-or-marked",)),
    ],
)
def test_a_stop_or_a_danger_question_that_is_retired_is_told(
    tmp_path: Path, retired: str, also: Sequence[str]
) -> None:
    known = load_rules()
    if retired == "tubing-put-back-first":
        retired = next(one.id for one in known.course.values() if one.next == "put-back")
    found = [
        one for one in told(tmp_path, f"retire: [{retired}]") if one.inspection == "guard-lost"
    ]
    assert found
    assert all(one.severity is Severity.HIGH for one in found)
    assert {str(one.place) for one in found} == {f"{tmp_path.name}/ours.yaml:1, {retired}"}
    words = " ".join(one.what for one in found)
    for name in also or (retired,):
        assert f"'{name}'" in words
        assert "is gone here" in words


def test_a_stop_whose_condition_is_narrowed_is_told(tmp_path: Path) -> None:
    change = "{id: stop-smoke, when: {fact: answer.danger-signs, is: shock}}"
    [found] = told(tmp_path, f"change: [{change}]")
    assert (found.inspection, found.place.line) == ("guard-lost", 1)
    assert "'stop-smoke'" in found.what
    assert "is changed here" in found.what


def test_a_caution_that_is_retired_is_told_once(tmp_path: Path) -> None:
    [found] = told(tmp_path, "retire: [unplug-first]")
    assert found.inspection == "caution-gone"
    assert "steps of the shipped rules lack the caution 'unplug-first' now" in found.what


def test_a_caution_that_reads_otherwise_or_is_taken_off_a_step_is_told(tmp_path: Path) -> None:
    text = """change:
  - {id: unplug-first, text: Leave it plugged in.}
  - {id: voltage-under-load, cautions: [unplug-first]}
"""
    found = told(tmp_path, text)
    assert {one.inspection for one in found} == {"caution-changed"}
    assert [(one.place.line, one.what) for one in found] == [
        (2, "the shipped caution 'unplug-first' reads otherwise here"),
        (3, "it is no longer shown with 'no-mains-work'"),
        (3, "it is no longer shown with 'qualified-meter'"),
    ]


def test_more_cautions_and_stops_are_welcome(tmp_path: Path) -> None:
    text = """change:
  - {id: bag-look, cautions: [mask-and-gloves, unplug-first, wet-and-mains]}
rules:
  - id: stop-loose-shelf
    when: {fact: answer.plug-feel, is: warm}
    then: [{stop: The plug is warm., call: a licensed electrician, do_not: Do not pull it.}]
    because: A warm plug can be a bad contact.
    source: common-practice
"""
    assert not [one for one in told(tmp_path, text) if one.inspection != "counted-twice"]
