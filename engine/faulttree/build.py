"""A fault tree made from a list of causes: by place, then by mode, with declared combinations.

Nothing is drawn by hand: the same causes always give the same tree. Where the causes come from
(the rules) is left to the caller.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from pydantic import Field

from stillflow.engine.base import InputError, Model
from stillflow.engine.faulttree.tree import FaultTree, Gate, PrimaryEvent

# Ids of rules have no spaces in them, so the ids of the gates made here can never be theirs.
_TOP = "the top event"


class Cause(PrimaryEvent):
    """One thing that can be wrong: an event of the tree, and where in the tree it belongs.

    Attributes:
        place: where it is ("tubing").
        mode: what it does ("leak").
        alone: False where it only matters together with others, in a combination.
    """

    place: str
    mode: str
    alone: bool = True


class JointCauses(Model):
    """Causes that only together bring something about ("a backwards fitting and debris")."""

    id: str
    title: str
    place: str
    mode: str
    causes: tuple[str, ...] = Field(min_length=2)


def build_tree(
    top: str,
    causes: Sequence[Cause],
    combinations: Sequence[JointCauses] = (),
) -> FaultTree:
    """The tree of a top event: any place, in it any mode, under that any cause or combination.

    A gate that would have a single input is left out, its input taking its place.

    Args:
        top: the top event in words (a complaint).
        causes: in the order in which they are to stand.
        combinations: in the order in which they are to stand.

    Raises:
        InputError: there is nothing to build from, or a combination names an unknown cause.
    """
    known = {cause.id for cause in causes}
    for combination in combinations:
        for name in combination.causes:
            if name not in known:
                raise InputError(
                    f"the combination {combination.id!r} names the cause {name!r}, which is not "
                    "there",
                    right=f"causes are: {', '.join(sorted(known))}",
                )
    parts: list[Cause | JointCauses] = [c for c in causes if c.alone]
    parts += combinations
    if not parts:
        raise InputError("a fault tree needs at least one cause that can act alone or combined")
    gates: list[Gate] = []
    places: dict[str, dict[str, list[str]]] = {}
    for part in parts:
        places.setdefault(part.place, {}).setdefault(part.mode, []).append(part.id)
    top_inputs = []
    for place, modes in places.items():
        inputs = [
            _either(f"mode {place} {mode}", f"{place}: {mode}", members, gates)
            for mode, members in modes.items()
        ]
        top_inputs.append(_either(f"place {place}", place, inputs, gates))
    conditions = {cause.id for cause in causes if cause.kind == "condition"}
    for one in combinations:
        held = conditions.intersection(one.causes)
        kind: Literal["and", "inhibit"] = (
            "inhibit" if held and len(one.causes) - len(held) == 1 else "and"
        )
        gates.append(Gate(id=one.id, title=one.title, kind=kind, inputs=one.causes))
    gates.insert(0, Gate(id=_TOP, title=top, kind="or", inputs=tuple(top_inputs)))
    used = {i for gate in gates for i in gate.inputs}
    events = tuple(cause for cause in causes if cause.id in used)
    return FaultTree(top=_TOP, gates=tuple(gates), events=events)


def _either(name: str, title: str, inputs: list[str], gates: list[Gate]) -> str:
    """The id of the gate that joins the inputs; the only input itself where there is but one."""
    if len(inputs) == 1:
        return inputs[0]
    gates.append(Gate(id=name, title=title, kind="or", inputs=tuple(inputs)))
    return name
