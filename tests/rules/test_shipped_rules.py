"""The shipped rules: nothing wrong with them that an audit can find, and no hole that is hidden."""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path

from stillflow.engine import load_rules
from stillflow.engine.audit.coverage import cover, holes, page
from stillflow.engine.audit.inspections import audit
from stillflow.engine.ruleset.loading import shipped_folder


def test_the_audit_finds_nothing() -> None:
    assert [str(one) for one in audit(load_rules())] == []


def test_the_page_of_coverage_is_fresh() -> None:
    # Write it anew with: stillflow rules coverage > rules/COVERAGE.md
    committed = (shipped_folder() / "COVERAGE.md").read_text(encoding="utf-8")
    assert committed == page(cover(load_rules()))


def test_every_fault_can_be_settled_and_ruled_out_by_some_answer() -> None:
    assert {name: ids for name, ids in holes(cover(load_rules())).items() if ids} == {}


def test_the_guide_to_writing_rules_names_only_entries_that_exist() -> None:
    knowledge = load_rules()
    guide = Path(shipped_folder() / "README.md").read_text(encoding="utf-8")
    # The examples of `alike` and of a visit's course are made up, and say so.
    blocks = [
        block
        for before, block in pairwise(guide.split("```"))
        if not before.rstrip().endswith("made up:")
    ]
    shown = set(re.findall(r"^  - id: (\S+)$", "".join(blocks), re.MULTILINE))
    assert shown
    named = {*knowledge.faults, *knowledge.checks, *knowledge.rules, *knowledge.combinations}
    assert shown <= named
