"""The same rules over many visits: in one table with numpy, and case by case in CLIPS and experta.

Run: python tests/benchmarks/bench_replay.py [--visits 20000] [--experta 200] [--repeats 3]
Needs: pip install -e '.[bench]'

Every visit is the plain facts that are known on it (as dicts, made before any clock runs); a
conclusion is the set of rules that fire. All must agree on every visit. Each way of running is
timed from those dicts: numpy lays them out as a table first, CLIPS and experta assert them visit by
visit. Loading the rules is not counted for any of them. Visits are drawn from the rules' own
tables (`casebook.generated`), so this is a test of speed and of equal conclusions, of nothing else.
"""

from __future__ import annotations

import argparse
import platform
import time
from collections.abc import Callable, Mapping, Sequence
from itertools import count
from typing import Any

import clips
import numpy as np

from stillflow.casebook.generated import KINDS, draw_kinds, facts_of, generate
from stillflow.engine import load_rules
from stillflow.engine.inference.production import inference_for
from stillflow.engine.inference.table import rule_table
from stillflow.engine.ruleset.conditions import Condition, FactValue, Leaf, fold
from stillflow.engine.ruleset.entries import Derivation
from stillflow.engine.ruleset.knowledge import Knowledge

Facts = Sequence[Mapping[str, FactValue]]
Fired = list[frozenset[str]]

_SIGNS = {"below": "<", "at_most": "<=", "above": ">", "at_least": ">="}


class ClipsRules:
    """A rule set in CLIPS: an ordered fact for each fact, a defrule for each rule."""

    def __init__(self, knowledge: Knowledge) -> None:
        self._env = clips.Environment()
        self._env.build("(defglobal ?*fired* = (create$))")
        for rule in knowledge.ordered_rules:
            self._env.build(self._rule(rule.id, rule.when, rule.then))

    def run(self, facts: Mapping[str, FactValue]) -> frozenset[str]:
        """Which rules fire on these facts."""
        self._env.reset()
        self._env.load_facts("".join(f"({name} {_value(value)})" for name, value in facts.items()))
        self._env.run()
        return frozenset(self._env.eval("?*fired*"))

    def _rule(self, rule_id: str, when: Condition, then: Sequence[Any]) -> str:
        found = "".join(f"(assert ({i.derive} TRUE))" for i in then if isinstance(i, Derivation))
        note = f"(bind ?*fired* (create$ ?*fired* {rule_id}))"
        return f"(defrule {rule_id} {_pattern(when)} => {note} {found})"


def _pattern(when: Condition) -> str:
    # One name in two patterns would ask for the same value in both.
    numbers = count()
    return fold(
        when,
        lambda leaf, negated: _comparison(leaf, negated, f"?v{next(numbers)}"),
        lambda parts: f"(and {' '.join(parts)})",
        lambda parts: f"(or {' '.join(parts)})",
    )


def _comparison(leaf: Leaf, negated: bool, variable: str) -> str:
    """A comparison as a pattern: words as literal constraints, all else as a predicate."""
    given = leaf.comparisons()
    if len(given) == 1 and not given.keys() & _SIGNS.keys():
        [(name, limit)] = given.items()
        unlike = (name in ("is_not", "none_of")) is not negated
        words = [f"~{_value(one)}" if unlike else _value(one) for one in _several(limit)]
        return f"({leaf.fact} {('&' if unlike else '|').join(words)})"
    tests = [_test(name, limit, variable) for name, limit in given.items()]
    test = tests[0] if len(tests) == 1 else f"(and {' '.join(tests)})"
    return f"({leaf.fact} {variable}&:{f'(not {test})' if negated else test})"


def _test(name: str, limit: Any, variable: str) -> str:
    if name in _SIGNS:
        return f"({_SIGNS[name]} {variable} {_value(limit)})"
    same = [f"(eq {variable} {_value(one)})" for one in _several(limit)]
    any_ = same[0] if len(same) == 1 else f"(or {' '.join(same)})"
    return any_ if name in ("is_", "one_of") else f"(not {any_})"


def _several(limit: Any) -> tuple[Any, ...]:
    return limit if isinstance(limit, tuple) else (limit,)


def _value(value: FactValue) -> str:
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    return repr(float(value)) if isinstance(value, int | float) else value


def with_numpy(knowledge: Knowledge, facts: Facts) -> tuple[Fired, float, float]:
    """Return which rules fire, the seconds that took, and those of laying out the table."""
    table = rule_table(knowledge)
    start = time.perf_counter()
    rows = table.rows(facts)
    laid_out = time.perf_counter() - start
    fired = table.fire(rows)
    took = time.perf_counter() - start
    names = np.array(table.rule_ids)
    return [frozenset(names[row].tolist()) for row in fired], took, laid_out


def one_by_one(
    run: Callable[[Mapping[str, FactValue]], frozenset[str]], facts: Facts
) -> tuple[Fired, float]:
    """Return which rules fire, and the seconds that took."""
    start = time.perf_counter()
    fired = [run(one) for one in facts]
    return fired, time.perf_counter() - start


def with_experta(knowledge: Knowledge) -> Callable[[Mapping[str, FactValue]], frozenset[str]]:
    """Return what runs the live engine on one visit, its network already built."""
    engine = inference_for(knowledge)

    def run(facts: Mapping[str, FactValue]) -> frozenset[str]:
        return frozenset(firing.rule_id for firing in engine.run(facts).firings)

    # The first engine holds only the rules that its facts can fire, the second holds them all.
    run({"unit.motors": 1.0})
    run({"unit.age_years": 1.0})
    return run


def main() -> None:
    """Time each way of running, in turns, and print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--visits", type=int, default=20_000)
    parser.add_argument("--experta", type=int, default=200, help="visits run through experta")
    parser.add_argument("--repeats", type=int, default=3)
    chosen = parser.parse_args()
    knowledge = load_rules()
    generator = np.random.default_rng(7)
    kinds = draw_kinds(knowledge, generator, KINDS)
    facts = facts_of(list(generate(kinds, generator, chosen.visits)), knowledge)
    clips_rules, experta = ClipsRules(knowledge), with_experta(knowledge)
    known = sum(map(len, facts)) / len(facts)
    print(
        f"{platform.machine()}, Python {platform.python_version()}, numpy {np.__version__}; "
        f"{len(knowledge.rules)} rules, {len(facts):,} visits with {known:.0f} facts each"
    )
    per_visit: dict[str, list[float]] = {"numpy": [], "numpy, rules alone": [], "CLIPS": []}
    per_visit["experta"] = []
    for _ in range(chosen.repeats):
        fired, took, laid_out = with_numpy(knowledge, facts)
        per_visit["numpy"].append(took / len(facts))
        per_visit["numpy, rules alone"].append((took - laid_out) / len(facts))
        in_clips, took = one_by_one(clips_rules.run, facts)
        per_visit["CLIPS"].append(took / len(facts))
        sample = facts[: chosen.experta]
        in_experta, took = one_by_one(experta, sample)
        per_visit["experta"].append(took / len(sample))
        assert in_clips == fired, "CLIPS concludes otherwise"
        assert in_experta == fired[: len(sample)], "experta concludes otherwise"
    print(f"equal conclusions: CLIPS on {len(facts):,} visits, experta on {len(sample):,}")
    best = {name: min(times) for name, times in per_visit.items()}
    print(f"{'':<22}{'ms a visit':>12}{'times numpy':>14}")
    for name, seconds in best.items():
        print(f"{name:<22}{seconds * 1000:>12.4f}{seconds / best['numpy']:>14.1f}")
    print(f"best of {chosen.repeats}; 'numpy' lays out the table and runs the rules")


if __name__ == "__main__":
    main()
