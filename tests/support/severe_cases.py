"""Severe worked cases: each fault at its grossest, drawn by one procedure and kept as drawn.

The unit is the first one the fault is possible in, the size the end of its range that moves the
gauge most, readings are the airflow model's, answers those likeliest with the fault by the rules'
table. Names come from the fault's id alone. Nothing is tuned: a case that is played to another end
stays as it is, and the test names it.

Run it after a fault, a check or a strength has changed: python tests/support/severe_cases.py
"""

from __future__ import annotations

from itertools import product
from pathlib import Path
from typing import Any
from zlib import crc32

from ruamel.yaml import YAML

from stillflow.casebook.cases import Case, worked_out
from stillflow.engine import load_rules
from stillflow.engine.base import Mode
from stillflow.engine.inference import baseline_for, standing_facts
from stillflow.engine.ruleset import Check, Fault, Knowledge
from stillflow.engine.simulate.calls import SimulatedCall
from stillflow.engine.simulate.extremes import visit_for

FOLDER = Path(__file__).parents[2] / "casebook" / "worked"

COMPLAINTS = (
    "It hardly picks anything up any more. Please come soon.",
    "I might as well use a broom.",
    "There is next to no suction left.",
    "It does not even lift a thread off the rug.",
)
STREETS = ("Quillfeather Lane", "Old Bobbin Street", "Larchpenny Row", "Tumbledown Hill")
PEOPLE = ("Mr Ravensby-Cole", "Mrs Thistlewick", "Miss Oatbarrow", "Mr Pemberlow", "Mrs Fennimore")
ROOMS = (("parlor", "upper hall"), ("den", "guest room"), ("kitchen", "nursery"))


def severe_case(knowledge: Knowledge, fault: Fault) -> dict[str, Any]:
    """One case as it stands in its file."""
    luck = crc32(fault.id.encode())
    here, other = ROOMS[luck % 3]
    sealed, airflow = 118.0 + luck % 17, 102.0 + luck % 13
    path: dict[str, Any] = {
        "fan": {"sealed_inh2o": sealed, "airflow_cfm": airflow},
        "trunk": {"length_ft": 34.0 + luck % 23, "fittings": 1.5},
        "inlets": [
            {"name": here, "branch": {"length_ft": 9.0, "fittings": 1.0}},
            {"name": other, "tap_ft": 14.0, "branch": {"length_ft": 7.0, "fittings": 1.0}},
        ],
    }
    plain = visit_for(knowledge, fault)
    unit = {**plain.unit.model_dump(exclude_none=True, mode="json")}
    unit |= {"rated_sealed": sealed, "rated_airflow": airflow}
    address = f"{luck % 89 + 3} {STREETS[luck % 4]}"
    if plain.unit.motors == 2:
        path["fan"]["motors"] = 2
    site: dict[str, Any] = {"name": address, "customer": PEOPLE[luck % 5]}
    site |= {"inlet": here, "other_inlet": other}
    if plain.site.altitude_ft:
        path["altitude_ft"] = site["altitude_ft"] = plain.site.altitude_ft
    if fault.elsewhere:
        path["other_inlet"] = other
    case: dict[str, Any] = {
        "title": f"As bad as it gets: {fault.title[0].lower()}{fault.title[1:]}",
        "teaches": f"What is gross can hide what is usually looked at first. {fault.confirm}",
        "kind": "severe",
        "visit": {"complaint": COMPLAINTS[luck // 7 % 4], "site": site, "unit": unit},
        "house": {"air_path": path, "faults": {}},
        "finds": {},
        "expect": {"fixes": [fault.id], "ends": "refer" if fault.fix.refer else "done"},
    }
    case["house"]["faults"][fault.id] = list(_grossest(knowledge, fault, case))
    read = Case.model_validate(case)
    truth = standing_facts(read.visit, baseline_for(read.visit, knowledge))
    call = SimulatedCall(knowledge, read.visit, (fault.id,), ((),), 0.0, truth, None, {})  # type: ignore[arg-type]
    case["finds"] = _answers(knowledge, call) | _readings(read, knowledge, 0)
    pointing = _pointing(knowledge, case["finds"])
    if pointing:
        case["inlets"] = dict.fromkeys(pointing, other)
    if not fault.fix.refer and fault.mode is not Mode.NORMAL:
        call.remaining.clear()
        asked = (check for check in knowledge.checks.values() if check.answers)
        changed = [one for one in asked if one.id in case["finds"] or one.verifies]
        mended = {check.id: _likeliest(call, check) for check in changed}
        case["after"] = mended | _readings(read, knowledge, 1)
    return case


def _grossest(knowledge: Knowledge, fault: Fault, case: dict[str, Any]) -> tuple[float, ...]:
    """The corner of the ranges of its size that moves the readings most; the lowest of equals."""

    def moved(size: tuple[float, ...]) -> float:
        case["house"]["faults"] = {fault.id: list(size)}
        read = Case.model_validate(case)
        broken, healthy = (worked_out(read, knowledge, fixed) for fixed in (0, 1))
        return round(sum(abs(broken[check] - healthy[check]) for check in broken), 3)

    return max(product(*fault.effect.ranges()), key=moved)


def _readings(case: Case, knowledge: Knowledge, fixed: int) -> dict[str, Any]:
    return {check: round(value) for check, value in worked_out(case, knowledge, fixed).items()}


def _likeliest(call: SimulatedCall, check: Check) -> str:
    if check.verifies:
        return next(one.id for one in check.answers if one.good is not bool(call.remaining))
    return check.answer_ids[int(call.chances(check).argmax())]


def _answers(knowledge: Knowledge, call: SimulatedCall) -> dict[str, Any]:
    """Answers that are not the most usual one, which goes without saying."""
    found = {}
    for check in knowledge.checks.values():
        if check.answers:
            answer = _likeliest(call, check)
            if answer != max(check.answers, key=lambda one: one.usual).id:
                found[check.id] = answer
    return found


def _pointing(knowledge: Knowledge, finds: dict[str, Any]) -> list[str]:
    """Checks whose answer points at another inlet."""
    return [
        check
        for check, answer in finds.items()
        for one in knowledge.checks[check].answers
        if one.inlet and one.id == answer
    ]


def main() -> None:
    """Write all of them anew."""
    yaml = YAML()
    yaml.width = 100
    yaml.default_flow_style = False
    yaml.indent(mapping=2, sequence=4, offset=2)
    knowledge = load_rules()
    for old in FOLDER.glob("severe-*.yaml"):
        old.unlink()
    for fault in knowledge.faults.values():
        path = FOLDER / f"severe-{fault.id}.yaml"
        with path.open("w", encoding="utf-8") as file:
            yaml.dump(severe_case(knowledge, fault), file)


if __name__ == "__main__":
    main()
