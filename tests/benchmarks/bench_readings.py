"""What readings alone say of kind and place, beside another version: four pairs in every house.

    python tests/benchmarks/bench_readings.py [--beside PYTHON] [--calls 400] [--seed 20263]

Houses are drawn wider than the belief assumes (`simulate.houses`). Read are sealed and working at
the unit, the inlet, another inlet and the hose end, and nothing is asked. A fault counts as visible
where an exact gauge would be 8 % or more off somewhere. Kinds and places are told as far as a gauge
can: a leak in the unit, a weak motor and low voltage are one, a leak anywhere in the house is one,
and what stands open or is set wrongly counts as the leak or the obstruction that it is to the air.
"""

from __future__ import annotations

import argparse
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
from calibration import draw, print_calibration
from whole_calls import Beside

from stillflow.engine import Session, load_rules
from stillflow.engine.base import Mode, Station, Where
from stillflow.engine.inference import baseline_for
from stillflow.engine.ruleset import Fault, Knowledge
from stillflow.engine.simulate.calls import draw_calls

REPORTED = 20263
"""Used for nothing else."""
STATIONS = (Station.UNIT, Station.INLET, Station.OTHER, Station.HOSE)
VISIBLE = 0.08
_AS_AIR = {"hole": Mode.LEAK, "throat": Mode.OBSTRUCTION, "loading": Mode.OBSTRUCTION,
           "hose-size": Mode.OBSTRUCTION, "speed": Mode.WEAK_POWER}  # fmt: skip


def told(fault: Fault) -> tuple[str, str]:
    """Kind and place of a fault, as far as a gauge can tell."""
    at = getattr(fault.effect, "at", "")
    mode, place = fault.mode, fault.place
    if mode is Mode.SETTING:
        mode = _AS_AIR.get(fault.effect.kind, mode)
    if mode is Mode.WEAK_POWER or (mode is Mode.LEAK and at in ("motor", "bin")):
        return "leak or weak power", "unit"
    if mode is Mode.LEAK:
        return "leak", "hose" if at == "hose" else "utility" if at == "utility" else "house"
    return mode.value, Where.UNIT.value if place is Where.SUPPLY else place.value


def main() -> None:
    """Draw, read, and print one table for each version."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--beside", default="")
    parser.add_argument("--calls", type=int, default=400)
    parser.add_argument("--seed", type=int, default=REPORTED)
    parser.add_argument("--diagram", type=Path, default=None, help="reliability, as SVG")
    options = parser.parse_args()
    knowledge = load_rules()
    generator = np.random.default_rng(options.seed)
    calls = draw_calls(knowledge, generator, options.calls)
    checks = [
        check
        for station in STATIONS
        for check in knowledge.checks.values()
        if check.station is station
    ]
    versions = {"ours": lambda visit: Session(knowledge, visit)}
    if options.beside:
        versions["beside"] = Beside(options.beside)
    kinds = {name: told(fault) for name, fault in knowledge.faults.items()}
    rows: dict[tuple[str, str], list[tuple[float, float, bool]]] = {}
    led: dict[str, list[tuple[float, bool]]] = {name: [] for name in versions}
    named: dict[str, list[bool]] = {name: [] for name in versions}
    for call in calls:
        read = [(check.id, call.answer(check, generator)) for check in checks]
        hidden = call.faults[0]
        whole, damaged = call._readings[frozenset()], call._readings[frozenset(call.faults)]
        visible = bool((np.abs(damaged / whole - 1.0) >= VISIBLE).any())
        groups = ["all", baseline_for(call.visit, knowledge).origin] if visible else ["not visible"]
        for version, begin in versions.items():
            session = begin(call.visit)
            for check_id, value in read:
                session.record(check_id, value)
            shares = {one.id: one.probability for one in session.next_step().faults}
            row = judged(shares, kinds, hidden)
            led[version].append(leading(shares, knowledge, hidden))
            for group in groups:
                rows.setdefault((version, group), []).append(row)
            if knowledge.faults[hidden].mode is Mode.NORMAL:
                lead = max(shares, key=lambda name: shares[name])
                fault = knowledge.faults[lead]
                seen = fault.effect.kind != "none" and fault.place is not Where.TOOL
                named[version].append(seen and fault.mode is not Mode.NORMAL)
    print(f"seed {options.seed}; {options.calls} houses, four pairs each")
    print("                          n  log loss   Brier  first %")
    for (version, group), some in sorted(rows.items()):
        loss, brier, first = np.mean([list(map(float, one)) for one in some], axis=0)
        said = f"{version}, {group}"
        print(f"  {said:<20}{len(some):>6}{loss:>10.3f}{brier:>8.3f}{100 * first:>9.1f}")
    for version, some_named in named.items():
        share = 100 * np.mean(some_named) if some_named else float("nan")
        print(f"  {version}: in order, and a fault leads: {share:.1f} % of {len(some_named)}")
    for version, some_led in led.items():
        said, right = np.array(some_led, dtype=np.float64).T
        print_calibration(f"{version}, the kind of fault that leads", said, right)
        if options.diagram and version == "ours":
            draw(options.diagram, {"kind of fault, on readings alone": (said, right)})


def leading(shares: Mapping[str, float], knowledge: Knowledge, hidden: str) -> tuple[float, bool]:
    """Probability of the kind of fault that leads, and whether it is that of the hidden one."""
    whole: dict[Mode, float] = {}
    for name, share in shares.items():
        mode = knowledge.faults[name].mode
        whole[mode] = whole.get(mode, 0.0) + share
    lead = max(whole, key=lambda mode: whole[mode])
    return whole[lead], lead is knowledge.faults[hidden].mode


def judged(
    shares: Mapping[str, float], kinds: Mapping[str, tuple[str, str]], hidden: str
) -> tuple[float, float, bool]:
    """Log loss, Brier score, and whether the right kind and place leads."""
    whole: dict[tuple[str, str], float] = {}
    for name, share in shares.items():
        whole[kinds[name]] = whole.get(kinds[name], 0.0) + share
    right = kinds[hidden]
    brier = sum((share - (kind == right)) ** 2 for kind, share in whole.items())
    ranked: Sequence[tuple[str, str]] = sorted(whole, key=lambda kind: -whole[kind])
    return -float(np.log(max(whole.get(right, 0.0), 1e-9))), brier, ranked[0] == right


if __name__ == "__main__":
    main()
