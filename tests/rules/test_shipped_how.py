"""How a check is made can show the fault that it looks for."""

from __future__ import annotations

import re

from stillflow.engine import load_rules
from stillflow.engine.base.scales import Mode
from stillflow.engine.ruleset import Check, leaves

RULES = load_rules()
FLOWS = re.compile(r"\b(?:open|carpet|floor|but the weak one|orifice)\b")
"""Words of a how-to by which air flows while something is felt or heard."""


def raised(check: Check) -> list[Mode]:
    """The modes of the faults that some answer to a check speaks for, one for each fault."""
    faults = {
        name
        for rule in RULES.rules.values()
        if any(leaf.fact == f"answer.{check.id}" for leaf in leaves(rule.when))
        for item, names in RULES.evidence[rule.id]
        if item.sign > 0
        for name in names
    }
    return [RULES.faults[name].mode for name in faults]


def test_what_looks_for_something_in_the_air_s_way_lets_air_flow() -> None:
    # Where no air flows nothing is lost on the way: behind a clog a plate holds on as anywhere.
    sought = [
        check
        for check in RULES.checks.values()
        if check.closed and check.kind == "choice" and check.station is None
        for modes in [raised(check)]
        if modes.count(Mode.OBSTRUCTION) > modes.count(Mode.LEAK)
    ]
    assert {"inlets-compared", "tool-off", "exhaust-off-try", "hood-look"} <= {
        one.id for one in sought
    }
    assert [one.id for one in sought if not FLOWS.search(" ".join(one.how))] == []


def test_no_fix_hangs_on_a_tool_that_is_not_in_the_van() -> None:
    rare = [word for tool in RULES.tools.values() if not tool.usual for word in tool.words]
    rare += ["second strong vacuum"]
    steps = {(fault.id, step) for fault in RULES.faults.values() for step in fault.fix.steps}
    needing = [(name, step) for name, step in steps if any(word in step for word in rare)]
    assert len(needing) > 3
    # Where it is at hand it serves; another step, or the same, says how it goes without.
    assert [one for one in needing if not re.search("at hand|where there is one", one[1])] == []


def test_who_has_the_canister_or_bag_door_open_looks_at_its_seal_before_it_is_shut() -> None:
    silent = [
        fault.id
        for fault in RULES.faults.values()
        if fault.fix.access == "bin-off" and fault.mode is Mode.OBSTRUCTION
        if "seal" not in " ".join(fault.fix.steps)
    ]
    assert silent == []
