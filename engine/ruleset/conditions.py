"""The small condition language of the rule files, as a tree that knows no back end.

A condition is a comparison of one fact with plain values, or `all`, `any`, `not` over conditions.
Truth is three-valued (Kleene): a comparison with a fact that is not known is neither true nor
false, and a rule fires only on what is definitely true. So learning more never un-fires a rule.
The back ends are `production` (experta patterns) and `table` (numpy columns); with the audit they
go over the tree by `fold`. `truth` is its plain reading, for single questions such as "is this
check possible here?".
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from operator import ge, gt, le, lt
from typing import Annotated, ClassVar, TypeVar

from pydantic import Discriminator, Field, Tag, model_validator

from stillflow.engine.base import Model

FactValue = bool | float | str
BOTH = " + "
"""Between two answers that are both true: such a word is each of the two."""

Comparand = FactValue | tuple[FactValue, ...]
Folded = TypeVar("Folded")


class Leaf(Model):
    """One fact compared with plain values; several comparisons must all hold."""

    fact: Annotated[str, Field(pattern=r"^[a-z0-9_]+([.-][a-z0-9_]+)*$")]
    is_: FactValue | None = Field(default=None, alias="is")
    is_not: FactValue | None = None
    one_of: tuple[FactValue, ...] | None = None
    none_of: tuple[FactValue, ...] | None = None
    below: float | None = None
    at_most: float | None = None
    above: float | None = None
    at_least: float | None = None

    NUMERIC: ClassVar[tuple[str, ...]] = ("below", "at_most", "above", "at_least")
    LISTED: ClassVar[tuple[str, ...]] = ("is_", "is_not", "one_of", "none_of")

    @model_validator(mode="after")
    def _compares(self) -> Leaf:
        if not self.comparisons():
            raise ValueError(
                "nothing to compare the fact with; add one of is, is_not, one_of, none_of, "
                "below, at_most, above, at_least"
            )
        return self

    def comparisons(self) -> dict[str, Comparand]:
        """The comparisons given, by field name."""
        named = (*self.NUMERIC, *self.LISTED)
        return {name: value for name in named if (value := getattr(self, name)) is not None}

    def holds(self, value: FactValue) -> bool:
        """Whether a known value passes every comparison."""
        return all(_passes(name, value, limit) for name, limit in self.comparisons().items())


def _passes(name: str, value: FactValue, limit: Comparand) -> bool:
    if isinstance(limit, tuple):
        return any(_same(value, one) for one in limit) is (name == "one_of")
    if name in _SIGNS:
        return _SIGNS[name](float(value), float(limit))
    return _same(value, limit) is (name == "is_")


_SIGNS: dict[str, Callable[[float, float], bool]] = {
    "below": lt,
    "at_most": le,
    "above": gt,
    "at_least": ge,
}


def _same(value: FactValue, other: FactValue) -> bool:
    # True == 1.0 in Python; a flag and a number are different facts here.
    if isinstance(value, str) and BOTH in value:
        return value == other or other in value.split(BOTH)
    return isinstance(value, bool) == isinstance(other, bool) and value == other


class All(Model):
    """Every part holds."""

    all: Annotated[tuple[Condition, ...], Field(min_length=1)]


class AnyOf(Model):
    """At least one part holds."""

    any: Annotated[tuple[Condition, ...], Field(min_length=1)]


class Not(Model):
    """The part is definitely false."""

    not_: Condition = Field(alias="not")


def _shape(value: object) -> str | None:
    if isinstance(value, Leaf | All | AnyOf | Not):
        return {Leaf: "<fact>", All: "<all>", AnyOf: "<any>", Not: "<not>"}[type(value)]
    if isinstance(value, Mapping):
        for key in ("all", "any", "not", "fact"):
            if key in value:
                # No key is written so: what names a make of condition is no step into a file.
                return f"<{key}>"
    return None


Condition = Annotated[
    Annotated[Leaf, Tag("<fact>")]
    | Annotated[All, Tag("<all>")]
    | Annotated[AnyOf, Tag("<any>")]
    | Annotated[Not, Tag("<not>")],
    Discriminator(
        _shape,
        custom_error_type="condition_shape",
        custom_error_message="not a condition; write such as {fact: answer.hose-look, is: sound}, "
        "or all:, any:, not:",
    ),
]

All.model_rebuild()
AnyOf.model_rebuild()
Not.model_rebuild()


def parts(condition: Condition) -> tuple[Condition, ...]:
    """The direct parts of a compound condition; none for a comparison."""
    if isinstance(condition, All):
        return condition.all
    if isinstance(condition, AnyOf):
        return condition.any
    if isinstance(condition, Not):
        return (condition.not_,)
    return ()


def leaves(condition: Condition) -> Iterator[Leaf]:
    """Every comparison in the tree, left to right."""
    if isinstance(condition, Leaf):
        yield condition
    for part in parts(condition):
        yield from leaves(part)


def truth(condition: Condition, facts: Mapping[str, FactValue]) -> bool | None:
    """True, False, or None where the known facts do not decide it."""
    if isinstance(condition, Leaf):
        return condition.holds(facts[condition.fact]) if condition.fact in facts else None
    values = [truth(part, facts) for part in parts(condition)]
    if isinstance(condition, Not):
        return None if values[0] is None else not values[0]
    decisive = isinstance(condition, AnyOf)
    if decisive in values:
        return decisive
    return None if None in values else not decisive


def fold(
    condition: Condition,
    comparison: Callable[[Leaf, bool], Folded],
    every: Callable[[list[Folded]], Folded],
    either: Callable[[list[Folded]], Folded],
    negated: bool = False,
) -> Folded:
    """Build something from a condition, with every `not` pushed down to the comparisons.

    Under Kleene truth a negated comparison is true exactly when the fact is known and fails it, so
    back ends need patterns only for facts that exist.

    Args:
        condition: what to go over.
        comparison: what a comparison becomes, or its negation where the flag is set.
        every: what parts that must all hold become.
        either: what parts of which one must hold become.
        negated: whether the condition itself is negated.
    """
    if isinstance(condition, Leaf):
        return comparison(condition, negated)
    if isinstance(condition, Not):
        return fold(condition.not_, comparison, every, either, not negated)
    inside = [fold(part, comparison, every, either, negated) for part in parts(condition)]
    return every(inside) if isinstance(condition, All) != negated else either(inside)


def say(condition: Condition, comparison: Callable[[Leaf], str] | None = None) -> str:
    """The condition in words, for people who read rules.

    Args:
        condition: what to say.
        comparison: says one comparison; the names and values of the rule files by default.
    """
    if isinstance(condition, Leaf):
        return (comparison or _say_leaf)(condition)
    if isinstance(condition, Not):
        return f"not ({say(condition.not_, comparison)})"
    joiner = " and " if isinstance(condition, All) else " or "
    return joiner.join(
        f"({said})" if isinstance(part, AnyOf | All) else said
        for part in parts(condition)
        for said in (say(part, comparison),)
    )


def _say_leaf(leaf: Leaf) -> str:
    words = [_WORDS[name].format(_value(v)) for name, v in leaf.comparisons().items()]
    return f"{leaf.fact} {' and '.join(words)}"


_WORDS = {
    "is_": "is {}",
    "is_not": "is not {}",
    "one_of": "is {}",
    "none_of": "is none of {}",
    "below": "is below {}",
    "at_most": "is at most {}",
    "above": "is above {}",
    "at_least": "is at least {}",
}


def _value(value: Comparand) -> str:
    if isinstance(value, tuple):
        return " or ".join(_value(item) for item in value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:g}" if isinstance(value, float | int) else str(value)
