"""Holds every box of a decision tree against the guided visit, from the tree's JSON alone."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from stillflow.engine import Session, Visit
from stillflow.engine.ruleset import Knowledge

_NEAR = 1e-6


def compared(knowledge: Knowledge, chart: dict[str, Any]) -> Iterator[str]:
    """One line a box, on every way that leads to it: empty where it says what the visit says.

    Args:
        knowledge: the rule set it was made with.
        chart: what `chart tree --format json` prints.
    """
    nodes = {node["id"]: node for node in chart["nodes"]}
    session = Session(knowledge, Visit.model_validate(chart["start"]))
    yield from _down(session, nodes, chart["root"])


def _down(session: Session, nodes: dict[str, Any], number: str) -> Iterator[str]:
    node = nodes[number]
    yield _differs(session, node)
    for branch in node["branches"]:
        if node["fault"]:
            assert branch["given"] == "not there"
            session.record_fix(node["fault"], found=False)
        else:
            session.record(node["check"], branch["given"])
        yield from _down(session, nodes, branch["to"])
        session.undo()


def _differs(session: Session, node: dict[str, Any]) -> str:
    step = session.next_step()
    box = [node["kind"], node["check"], node["fault"], node["minutes"], node["probability"]]
    if node["fault"]:
        chance = {one.id: one.probability for one in step.faults}.get(node["fault"], 0.0)
        fix = step.fix
        kind = "hand-over" if fix and fix.refer else "fix"
        says = [kind, "", fix.fault, fix.minutes, chance] if fix else [step.step]
        if abs(chance - node["probability"]) < _NEAR:
            says[-1:] = box[-1:]
    elif node["check"] and node["kind"] == "check":
        check = step.check
        says = ["check", check.id, "", check.minutes, None] if check else [step.step]
    elif node["check"]:
        says = ["hand-over", step.check.id if step.check else "", "", None, None]
    elif node["kind"] == "looks" or node["title"].startswith("On with"):
        return ""
    else:
        box, says = ["end"], [step.step if step.ending is None else "end"]
    return "" if says == box else f"box {node['id']}: {box}, the visit: {says}"
