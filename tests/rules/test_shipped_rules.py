"""The shipped rules: nothing wrong with them that an audit can find, and no hole that is hidden."""

from __future__ import annotations

import json
import re
from itertools import pairwise

from command import stillflow

from stillflow.casebook.cases import fixed_in_cases
from stillflow.engine import load_rules
from stillflow.engine.audit.coverage import cover, holes, page
from stillflow.engine.audit.inspections import audit
from stillflow.engine.audit.unused import entries_of
from stillflow.engine.base.errors import KnowledgeError
from stillflow.engine.base.located import read_yaml
from stillflow.engine.ruleset import Check
from stillflow.engine.ruleset.gathering import SECTIONS
from stillflow.engine.ruleset.loading import shipped_folder
from stillflow.engine.ruleset.schema import rule_file_schema

MODELINE = "# yaml-language-server: $schema="
"""First line of a rule file, before the way to the schema, as editors know it."""


def test_the_audit_finds_nothing() -> None:
    assert [str(one) for one in audit(load_rules())] == []


def test_the_page_of_coverage_is_fresh() -> None:
    # Write it anew with: stillflow rules coverage > rules/COVERAGE.md
    committed = (shipped_folder() / "COVERAGE.md").read_text(encoding="utf-8")
    assert committed == page(cover(load_rules()), fixed_in_cases())


def test_every_fault_can_be_settled_and_ruled_out_by_some_answer() -> None:
    assert {name: ids for name, ids in holes(cover(load_rules())).items() if ids} == {}


def test_the_examples_of_the_guide_to_writing_rules_are_the_shipped_entries() -> None:
    folder = shipped_folder()
    shipped = {
        json.dumps(entry, sort_keys=True)
        for path in folder.rglob("*.yaml")
        for entries in read_yaml(path.read_text("utf-8"), path.name, KnowledgeError).data.values()
        for entry in entries
    }
    guide = (folder / "README.md").read_text(encoding="utf-8")
    # Those that are made up say so; a walk-through of its own is run by its own test.
    guide = re.sub(r"## Adding a fault of your own: a walk-through.*?\n## ", "", guide, flags=re.S)
    shown = []
    for before, block in pairwise(guide.split("```")):
        text = block.removeprefix("yaml\n")
        if text == block or "change:" in text or before.rstrip().endswith("made up:"):
            continue
        data = read_yaml(text, "README.md", KnowledgeError).data
        [shown_here] = data.values() if isinstance(data, dict) else [data]
        shown += [(entry["id"], json.dumps(entry, sort_keys=True)) for entry in shown_here]
    assert len(shown) >= 6
    assert [name for name, entry in shown if entry not in shipped] == []


def test_the_schema_of_rule_files_is_fresh_and_every_file_names_it() -> None:
    # Write it anew with: stillflow schema rules > rules/schemas/rules.json
    folder = shipped_folder()
    written = json.loads((folder / "schemas" / "rules.json").read_text(encoding="utf-8"))
    assert written == rule_file_schema()
    assert {*written["properties"]} == {*SECTIONS, "change", "retire"}
    for path in folder.rglob("*.yaml"):
        first = path.read_text(encoding="utf-8").split("\n")[0]
        assert first.startswith(MODELINE), path
        named = (path.parent / first.removeprefix(MODELINE)).resolve()
        assert named == (folder / "schemas" / "rules.json").resolve(), path


def test_what_rests_on_memory_says_so_in_its_entry_and_where_it_is_shown() -> None:
    knowledge = load_rules()
    remembered = [entry.id for _, entry in entries_of(knowledge) if entry.from_memory]
    assert "brushes-worn" in remembered
    said = " ".join(stillflow("rules", "show", "brushes-worn").out.split())
    assert "From memory, not read again." in said
    assert "From memory" not in stillflow("rules", "show", "bag-full").out


def test_no_standard_of_a_test_bench_or_of_a_service_is_named_for_a_wall_or_an_outlet() -> None:
    # A plate held on a wall inlet and a meter in an outlet are what people in the trade do.
    for _, entry in entries_of(load_rules()):
        if isinstance(entry, Check):
            assert entry.source in ("common-practice", "from-memory"), entry.id
