"""A fault played as the truth at the ends of its range."""

from __future__ import annotations

from stillflow.engine.ruleset import load_rules
from stillflow.engine.simulate.extremes import visit_for


def test_a_unit_is_found_that_each_fault_is_possible_in() -> None:
    knowledge = load_rules()
    units = {name: visit_for(knowledge, fault).unit for name, fault in knowledge.faults.items()}
    assert units["foam-filter-clogged"].filter == "foam"
