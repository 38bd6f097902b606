"""Fault trees: gates and events, minimal cut sets, and how likely the top event is.

Holds the model and the arithmetic (Vesely, Goldberg, Roberts and Haasl, Fault Tree Handbook,
NUREG-0492, 1981; IEC 61025). Which event matters most is worked out in `importance`,
how a tree is made from a list of faults in `build`; drawing is left to `charts`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from functools import cached_property
from itertools import groupby
from typing import Literal

from pydantic import Field, model_validator

from stillflow.engine.base import FiniteModel, InputError
from stillflow.engine.faulttree.diagram import DecisionDiagram

Method = Literal["exact", "rare-event"]
CutSet = frozenset[str]

MOST_CUT_SETS = 20_000
"""More minimal cut sets than this are refused rather than waited for."""


EventKind = Literal["basic", "undeveloped", "condition"]


class PrimaryEvent(FiniteModel):
    """Something that can happen by itself.

    Attributes:
        id: unique among gates and events.
        title: what happens.
        kind: "basic"; "undeveloped" where its own causes are left out on purpose; or "condition",
            which is no fault but decides whether one matters.
        probability: 0 to 1; None where it is not known.
        code: the short name that drawings and tables share, unique in the tree; may be empty.
    """

    id: str
    title: str
    kind: EventKind = "basic"
    probability: float | None = Field(default=None, ge=0, le=1)
    code: str = ""


class Gate(FiniteModel):
    """Something that happens when any one ("or") or all ("and", "inhibit") of its inputs happen.

    An inhibit gate passes its one input on while the conditions among its inputs hold (IEC 61025).

    Attributes:
        id: unique among gates and events.
        title: what happens.
        kind: "or", "and" or "inhibit".
        inputs: ids of gates and events, at least one.
    """

    id: str
    title: str
    kind: Literal["or", "and", "inhibit"]
    inputs: tuple[str, ...] = Field(min_length=1)


class FaultTree(FiniteModel):
    """A top event and all that is below it. Gates and events may be used more than once.

    Raises InputError where two parts have one id or code, an input is missing, a gate is below
    itself, or an inhibit gate has not just one input besides its conditions.
    """

    top: str
    gates: tuple[Gate, ...] = ()
    events: tuple[PrimaryEvent, ...] = ()

    @cached_property
    def by_id(self) -> Mapping[str, Gate | PrimaryEvent]:
        """All gates and events by id."""
        gates: Mapping[str, Gate | PrimaryEvent] = {gate.id: gate for gate in self.gates}
        return {**gates, **{event.id: event for event in self.events}}

    @model_validator(mode="after")
    def _hangs_together(self) -> FaultTree:
        if len(self.by_id) != len(self.gates) + len(self.events):
            raise InputError("two parts of the fault tree have the same id")
        for name in (self.top, *(i for gate in self.gates for i in gate.inputs)):
            if name not in self.by_id:
                raise InputError(f"the fault tree has no gate or event {name!r}")
        codes = Counter(event.code for event in self.events if event.code)
        for code in (code for code, count in codes.items() if count > 1):
            raise InputError(f"two events of the fault tree have the code {code!r}")
        for gate in self.gates:
            held = self.conditions(gate)
            if gate.kind == "inhibit" and (not held or len(gate.inputs) - len(held) != 1):
                raise InputError(
                    f"the inhibit gate {gate.id!r} needs one input and at least one condition"
                )
        self.upwards()
        return self

    def conditions(self, gate: Gate) -> tuple[str, ...]:
        """Ids of the conditions among a gate's inputs."""
        parts = ((name, self.by_id[name]) for name in gate.inputs)
        return tuple(
            name
            for name, part in parts
            if isinstance(part, PrimaryEvent) and part.kind == "condition"
        )

    def upwards(self) -> list[str]:
        """Ids of everything below the top, and the top last: inputs before their gates.

        Raises:
            InputError: a gate is below itself.
        """
        finished: set[str] = set()
        begun: set[str] = set()
        order: list[str] = []
        stack = [(self.top, False)]
        while stack:
            name, done = stack.pop()
            if done:
                finished.add(name)
                order.append(name)
                continue
            if name in finished:
                continue
            if name in begun:
                raise InputError(f"the gate {name!r} of the fault tree is below itself")
            begun.add(name)
            stack.append((name, True))
            part = self.by_id[name]
            if isinstance(part, Gate):
                stack.extend((i, False) for i in reversed(part.inputs) if i not in finished)
        return order

    def probabilities(self) -> dict[str, float]:
        """The probability of each event below the top.

        Raises:
            InputError: one is not known.
        """
        found = {}
        for name in self.upwards():
            part = self.by_id[name]
            if isinstance(part, Gate):
                continue
            if part.probability is None:
                raise InputError(
                    f"the event {name!r} has no probability",
                    right="give it one, or ask for the cut sets only",
                )
            found[name] = part.probability
        return found


def cut_sets(tree: FaultTree) -> dict[str, tuple[CutSet, ...]]:
    """The smallest sets of events that bring about the top, and every gate and event below it.

    Found from the bottom up (or: join the sets; and: combine them), dropping every set that
    contains another (NUREG-0492, chapter VII).

    Returns:
        The sets by id of gate or event, fewest events first, then by their ids.

    Raises:
        InputError: there are more than `MOST_CUT_SETS`.
    """
    sets: dict[str, list[CutSet]] = {}
    for name in tree.upwards():
        part = tree.by_id[name]
        if isinstance(part, PrimaryEvent):
            sets[name] = [frozenset([name])]
        elif part.kind == "or":
            sets[name] = _minimal(s for i in part.inputs for s in sets[i])
        else:
            combined: list[CutSet] = [frozenset()]
            for i in part.inputs:
                combined = _minimal(a | b for a in combined for b in sets[i])
            sets[name] = combined
    return {name: tuple(found) for name, found in sets.items()}


def _minimal(sets: Iterable[CutSet]) -> list[CutSet]:
    candidates = set()
    for candidate in sets:
        candidates.add(candidate)
        if len(candidates) > 10 * MOST_CUT_SETS:
            raise _too_many()
    common = Counter(event for candidate in candidates for event in candidate)
    kept: list[CutSet] = []
    # A smaller set inside another shares its rarest event with it: look only among those.
    smaller: dict[str, list[CutSet]] = {}
    by_size = sorted(candidates, key=lambda s: (len(s), sorted(s)))
    for _, group in groupby(by_size, key=len):
        fresh = [
            candidate
            for candidate in group
            if not any(s <= candidate for event in candidate for s in smaller.get(event, ()))
        ]
        kept += fresh
        if len(kept) > MOST_CUT_SETS:
            raise _too_many()
        for candidate in fresh:
            rarest = min(candidate, key=lambda event: (common[event], event))
            smaller.setdefault(rarest, []).append(candidate)
    return kept


def _too_many() -> InputError:
    return InputError(
        f"the fault tree has more than {MOST_CUT_SETS} minimal cut sets",
        right="look at a part of it, or at its exact probability only",
    )


def diagram(tree: FaultTree) -> tuple[DecisionDiagram, dict[str, int]]:
    """A decision diagram over the events, and in it the root of every gate and event by id.

    Raises:
        InputError: the diagram grows too large.
    """
    order = [name for name in tree.upwards() if isinstance(tree.by_id[name], PrimaryEvent)]
    made = DecisionDiagram(order)
    roots: dict[str, int] = {}
    for name in tree.upwards():
        part = tree.by_id[name]
        if isinstance(part, PrimaryEvent):
            roots[name] = made.variable(name)
        else:
            kind: Literal["or", "and"] = "or" if part.kind == "or" else "and"
            roots[name] = made.join(kind, [roots[i] for i in part.inputs])
    return made, roots
