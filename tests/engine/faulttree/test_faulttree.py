"""Fault trees: cut sets, probabilities and importance, against a published tree and enumeration."""

from __future__ import annotations

import itertools
from math import prod

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError
from top_event import minimal_cut_sets, top_probability

from stillflow.engine.base.errors import InputError
from stillflow.engine.faulttree import diagram as faulttree_diagram
from stillflow.engine.faulttree import tree as faulttree
from stillflow.engine.faulttree.build import Cause, JointCauses, build_tree
from stillflow.engine.faulttree.importance import analyse
from stillflow.engine.faulttree.tree import (
    FaultTree,
    Gate,
    Method,
    PrimaryEvent,
)


def pressure_tank() -> FaultTree:
    """The pressure-tank tree of the Fault Tree Handbook, NUREG-0492, chapter VIII.

    Structure, cut sets and probabilities are from memory, not re-read.
    """
    chances = {"T": 5e-6, "K2": 3e-5, "S": 1e-4, "S1": 3e-5, "K1": 3e-5, "R": 1e-4}
    return FaultTree(
        top="E1",
        gates=(
            Gate(id="E1", title="Rupture of pressure tank", kind="or", inputs=("T", "E2")),
            Gate(id="E2", title="Relay K2 stays energised", kind="or", inputs=("K2", "E3")),
            Gate(id="E3", title="Current keeps flowing", kind="and", inputs=("S", "E4")),
            Gate(id="E4", title="Current at the switch", kind="or", inputs=("S1", "E5")),
            Gate(id="E5", title="Timer fails to open", kind="or", inputs=("K1", "R")),
        ),
        events=tuple(PrimaryEvent(id=i, title=i, probability=p) for i, p in chances.items()),
    )


def test_the_published_tree_has_its_published_cut_sets() -> None:
    # NUREG-0492, from memory.
    assert set(minimal_cut_sets(pressure_tank())) == {
        frozenset({"T"}),
        frozenset({"K2"}),
        frozenset({"S", "S1"}),
        frozenset({"S", "K1"}),
        frozenset({"S", "R"}),
    }


def test_the_published_tree_has_about_its_published_probability() -> None:
    # NUREG-0492, from memory: about 3.4e-5 (the figures as remembered add up to 3.5016e-5).
    assert top_probability(pressure_tank()) == pytest.approx(3.4e-5, rel=0.04)
    # By hand: 5e-6 + 3e-5 + 1e-4 * (3e-5 + 3e-5 + 1e-4).
    assert top_probability(pressure_tank()) == pytest.approx(3.5016e-5, rel=1e-12)
    assert top_probability(pressure_tank(), "exact") == pytest.approx(3.50158e-5, rel=1e-5)


def test_importance_in_the_published_tree_by_hand() -> None:
    rows = {row.event: row for row in analyse(pressure_tank()).importance}
    assert rows["K2"].birnbaum == 1
    assert rows["K2"].achievement == pytest.approx((1 + 5.016e-6) / 3.5016e-5)
    assert rows["K2"].reduction == pytest.approx(3.5016e-5 / 5.016e-6)
    assert rows["K2"].criticality == pytest.approx(3e-5 / 3.5016e-5)
    assert rows["K2"].fussell_vesely == pytest.approx(3e-5 / 3.5016e-5)
    assert rows["S"].birnbaum == pytest.approx(1.6e-4)
    assert rows["S"].fussell_vesely == pytest.approx(1.6e-8 / 3.5016e-5)
    assert next(iter(rows)) == "K2", "the weightiest comes first"


@st.composite
def trees(draw: st.DrawFn) -> FaultTree:
    names = [f"e{i}" for i in range(draw(st.integers(1, 7)))]
    events = [PrimaryEvent(id=n, title=n, probability=draw(st.floats(0, 1))) for n in names]
    below = list(names)
    gates = []
    for index in range(draw(st.integers(0, 5))):
        inputs = draw(st.lists(st.sampled_from(below), min_size=1, max_size=4, unique=True))
        kind = draw(st.sampled_from(["or", "and"]))
        gates.append(Gate(id=f"g{index}", title="", kind=kind, inputs=tuple(inputs)))
        below.append(f"g{index}")
    return FaultTree(top=below[-1], gates=tuple(gates), events=tuple(events))


def happens(tree: FaultTree, happened: frozenset[str], name: str | None = None) -> bool:
    part = tree.by_id[name or tree.top]
    if isinstance(part, PrimaryEvent):
        return part.id in happened
    inputs = [happens(tree, happened, i) for i in part.inputs]
    return any(inputs) if part.kind == "or" else all(inputs)


def outcomes(tree: FaultTree) -> list[tuple[frozenset[str], float]]:
    """Every way the events can come out, with its probability."""
    chances = tree.probabilities()
    found = []
    for which in itertools.product([False, True], repeat=len(chances)):
        happened = frozenset(n for n, w in zip(chances, which, strict=True) if w)
        weight = prod(p if w else 1 - p for p, w in zip(chances.values(), which, strict=True))
        found.append((happened, weight))
    return found


@settings(deadline=None)
@given(trees())
def test_the_exact_probability_is_that_of_full_enumeration(tree: FaultTree) -> None:
    enumerated = sum(p for happened, p in outcomes(tree) if happens(tree, happened))
    assert top_probability(tree, "exact") == pytest.approx(enumerated, abs=1e-12)
    assert top_probability(tree) >= enumerated - 1e-12, "the rare-event sum is never too low"


@settings(deadline=None)
@given(trees())
def test_cut_sets_are_the_smallest_sets_that_suffice(tree: FaultTree) -> None:
    enough = [h for h, _ in outcomes(tree) if happens(tree, h)]
    smallest = {h for h in enough if not any(other < h for other in enough)}
    assert set(minimal_cut_sets(tree)) == smallest


@settings(deadline=None)
@given(trees())
def test_exact_importance_is_that_of_full_enumeration(tree: FaultTree) -> None:
    analysis = analyse(tree, "exact")
    cuts = minimal_cut_sets(tree)
    for row in analysis.importance:
        changed = {
            on: sum(p for h, p in outcomes(_with(tree, row.event, float(on))) if happens(tree, h))
            for on in (False, True)
        }
        assert row.birnbaum == pytest.approx(changed[True] - changed[False], abs=1e-12)
        top = analysis.probability
        assert row.criticality * top == pytest.approx(
            (changed[True] - changed[False]) * row.probability, abs=1e-12
        )
        if row.achievement is not None:
            assert row.achievement * top == pytest.approx(changed[True], abs=1e-12)
        if row.reduction is not None:
            assert row.reduction * changed[False] == pytest.approx(top, abs=1e-12)
        if top > 1e-300:
            assert row.achievement is not None
        if changed[False] > 1e-300:
            assert row.reduction is not None
        through = sum(
            p for h, p in outcomes(tree) if any(row.event in cut and cut <= h for cut in cuts)
        )
        assert row.fussell_vesely * analysis.probability == pytest.approx(through, abs=1e-12)


def _with(tree: FaultTree, event: str, probability: float) -> FaultTree:
    events = tuple(
        e.model_copy(update={"probability": probability}) if e.id == event else e
        for e in tree.events
    )
    return FaultTree(top=tree.top, gates=tree.gates, events=events)


def test_events_that_are_not_rare_are_remarked_upon() -> None:
    causes = [
        Cause(id=f"c{i}", title="", place="unit", mode="leak", probability=0.3) for i in range(5)
    ]
    tree = build_tree("Weak", causes)
    assert analyse(tree).probability == pytest.approx(1.5)
    assert "ask for the exact figure" in analyse(tree).remark
    assert analyse(tree, "exact").remark == ""
    assert analyse(tree, "exact").probability == pytest.approx(1 - 0.7**5)


def test_tables_have_a_row_for_each_event_and_each_cut_set() -> None:
    analysis = analyse(pressure_tank())
    assert [sorted(row) for row in analysis.rows()] == 6 * [
        [
            "achievement",
            "birnbaum",
            "code",
            "criticality",
            "event",
            "fussell_vesely",
            "probability",
            "reduction",
            "title",
            "type",
        ]
    ]
    rows = analysis.cut_set_rows()
    assert rows[0] == {"events": "K2", "codes": "", "order": 1, "probability": 3e-5}
    assert [(row["events"], row["probability"]) for row in rows if row["order"] == 2] == [
        ("R + S", pytest.approx(1e-8)),
        ("K1 + S", pytest.approx(3e-9)),
        ("S + S1", pytest.approx(3e-9)),
    ]


@pytest.mark.parametrize("method", ["exact", "rare-event"])
def test_every_gate_has_the_figure_it_has_as_a_tree_of_its_own(method: Method) -> None:
    tree = pressure_tank()
    gates = analyse(tree, method).gates
    assert set(gates) == {gate.id for gate in tree.gates}
    for name, figure in gates.items():
        alone = tree.model_copy(update={"top": name})
        assert figure == pytest.approx(analyse(alone, method).probability)


def conditional(**changes: object) -> FaultTree:
    """A fault that matters only while a condition holds, in a tree where both have codes."""
    made: dict[str, object] = {
        "top": "t",
        "gates": (
            Gate(id="t", title="Top", kind="or", inputs=("felt", "b")),
            Gate(id="felt", title="Felt", kind="inhibit", inputs=("a", "c")),
        ),
        "events": (
            PrimaryEvent(id="a", title="a", probability=0.1, code="E1"),
            PrimaryEvent(id="b", title="b", probability=0.2, code="E2"),
            PrimaryEvent(id="c", title="c", probability=0.5, kind="condition", code="C1"),
        ),
    }
    return FaultTree(**{**made, **changes})  # type: ignore[arg-type]


def test_an_inhibit_gate_passes_its_input_on_while_its_condition_holds() -> None:
    tree = conditional()
    assert set(minimal_cut_sets(tree)) == {frozenset("b"), frozenset("ac")}
    assert analyse(tree).gates["felt"] == pytest.approx(0.05)
    assert analyse(tree, "exact").probability == pytest.approx(1 - 0.95 * 0.8)
    rows = {row["event"]: (row["code"], row["type"]) for row in analyse(tree).rows()}
    assert rows == {"a": ("E1", "basic"), "b": ("E2", "basic"), "c": ("C1", "condition")}
    assert analyse(tree).cut_set_rows()[1]["codes"] == "E1 + C1"


@pytest.mark.parametrize("inputs", [("a",), ("a", "b"), ("c",), ("a", "b", "c")])
def test_an_inhibit_gate_has_one_input_and_a_condition(inputs: tuple[str, ...]) -> None:
    gate = Gate(id="t", title="Top", kind="inhibit", inputs=inputs)
    with pytest.raises(InputError, match="inhibit gate 't' needs one input"):
        conditional(gates=(gate,))


def test_two_events_of_one_code_are_refused() -> None:
    events = tuple(PrimaryEvent(id=i, title=i, code="E1") for i in "abc")
    gate = Gate(id="t", title="Top", kind="or", inputs=("a", "b", "c"))
    with pytest.raises(InputError, match="the code 'E1'"):
        FaultTree(top="t", gates=(gate,), events=events)


def test_a_tree_is_built_by_place_and_mode_with_combinations() -> None:
    def cause(name: str, place: str, mode: str, alone: bool = True) -> Cause:
        return Cause(id=name, title=name, place=place, mode=mode, probability=0.1, alone=alone)

    tree = build_tree(
        "Weak suction",
        [
            cause("joint", "tubing", "leak"),
            cause("clog", "tubing", "obstruction"),
            cause("backwards", "tubing", "obstruction", alone=False),
            cause("debris", "tubing", "obstruction", alone=False),
            cause("brushes", "unit", "weak-power"),
        ],
        [
            JointCauses(
                id="returns",
                title="A clog that comes back",
                place="tubing",
                mode="obstruction",
                causes=("backwards", "debris"),
            )
        ],
    )
    assert set(minimal_cut_sets(tree)) == {
        frozenset({"joint"}),
        frozenset({"clog"}),
        frozenset({"backwards", "debris"}),
        frozenset({"brushes"}),
    }
    titles = {gate.title: gate for gate in tree.gates}
    assert titles["Weak suction"].inputs == (titles["tubing"].id, "brushes")
    assert titles["tubing"].inputs == ("joint", titles["tubing: obstruction"].id)
    assert titles["A clog that comes back"].kind == "and"


def test_a_combination_of_unknown_causes_is_refused_by_name() -> None:
    cause = Cause(id="a", title="", place="unit", mode="leak")
    combination = JointCauses(id="both", title="", place="unit", mode="leak", causes=("a", "b"))
    with pytest.raises(InputError, match=r"'both' names the cause 'b'.*causes are: a"):
        build_tree("Weak", [cause], [combination])
    with pytest.raises(InputError, match="at least one cause"):
        build_tree("Weak", [cause.model_copy(update={"alone": False})])


@pytest.mark.parametrize(
    ("gates", "problem"),
    [
        ([("t", ("t", "a"))], "'t' of the fault tree is below itself"),
        ([("t", ("u",)), ("u", ("t",))], "is below itself"),
        ([("t", ("gone",))], "no gate or event 'gone'"),
        ([("t", ("a",)), ("a", ("a",))], "same id"),
    ],
)
def test_a_tree_that_does_not_hang_together_is_refused(
    gates: list[tuple[str, tuple[str, ...]]], problem: str
) -> None:
    with pytest.raises(InputError, match=problem):
        FaultTree(
            top="t",
            gates=tuple(Gate(id=i, title=i, kind="or", inputs=n) for i, n in gates),
            events=(PrimaryEvent(id="a", title="a"),),
        )


def test_an_event_without_a_probability_is_named_but_has_cut_sets() -> None:
    tree = FaultTree(top="a", events=(PrimaryEvent(id="a", title="a"),))
    assert minimal_cut_sets(tree) == (frozenset({"a"}),)
    with pytest.raises(InputError, match="'a' has no probability"):
        top_probability(tree)
    with pytest.raises(ValidationError):
        PrimaryEvent(id="a", title="a", probability=1.5)


def _pairs(count: int) -> FaultTree:
    """As many "or" pairs under one "and": 2 to the power of `count` cut sets."""
    names = [(f"a{i}", f"b{i}") for i in range(count)]
    gates = [Gate(id=f"g{i}", title="", kind="or", inputs=pair) for i, pair in enumerate(names)]
    top = Gate(id="top", title="", kind="and", inputs=tuple(g.id for g in gates))
    events = [PrimaryEvent(id=n, title="", probability=0.1) for pair in names for n in pair]
    return FaultTree(top="top", gates=(top, *gates), events=tuple(events))


def test_a_tree_with_too_many_cut_sets_still_has_an_exact_probability() -> None:
    tree = _pairs(40)
    with pytest.raises(InputError, match=f"more than {faulttree.MOST_CUT_SETS} minimal"):
        minimal_cut_sets(tree)
    assert top_probability(tree, "exact") == pytest.approx(0.19**40, rel=1e-9)


def test_a_tree_too_large_for_a_diagram_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(faulttree_diagram, "MOST_NODES", 20)
    with pytest.raises(InputError, match="too large for its exact probability"):
        top_probability(_pairs(40), "exact")
    with pytest.raises(InputError, match="too large"):
        top_probability(_pairs(faulttree_diagram.MOST_EVENTS), "exact")
