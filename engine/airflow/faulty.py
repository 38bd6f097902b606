"""Putting an effect on a system, or on many houses, at given sizes.

One table says which number an effect changes and how the old and the new combine; it serves one
system and arrays of houses alike. The effects themselves are in `effects`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from operator import add, mul
from typing import NamedTuple

import numpy as np
from pydantic import BaseModel

from stillflow.engine.airflow.air import Array
from stillflow.engine.airflow.effects import (
    Effect,
    GaugeFactorEffect,
    GaugeOffsetEffect,
    HoleEffect,
    HoseSizeEffect,
    LoadingEffect,
    MotorDeadEffect,
    OrificeEffect,
    SpeedEffect,
    ThroatEffect,
)
from stillflow.engine.airflow.houses import Houses
from stillflow.engine.airflow.system import Inlet, System, Tube
from stillflow.engine.base import InputError

Amount = float | Array
"""A number of one system, or one of each of many houses."""

Combine = Callable[[Amount, Amount], Amount]

ANOTHER_INLET = Inlet(name="another inlet", branch=Tube(length_ft=8.0, fittings=1.0))
"""Where a leak at another inlet is put in a system that names only one."""


class _Change(NamedTuple):
    """One number of a system that an effect changes: its dotted name, how, and to what."""

    path: str
    combine: Combine
    size: Amount


def areas_add(old: Amount, new: Amount) -> Amount:
    """Holes beside each other, by diameter."""
    return (old**2 + new**2) ** 0.5


def losses_add(old: Amount, new: Amount) -> Amount:
    """Throats in a row: losses go as d^-4. An absent one is infinite."""
    with np.errstate(divide="ignore"):
        return np.power(old**-4.0 + new**-4.0, -0.25)


def instead(old: Amount, new: Amount) -> Amount:
    """The new one only."""
    return new


def _changes(effect: Effect, size: Sequence[Amount]) -> Iterator[_Change]:
    match effect:
        case HoleEffect(at=place):
            yield _Change(f"holes.{place.replace('-', '_')}", areas_add, size[0])
        case ThroatEffect(at=place):
            yield _Change(f"throats.{place}", losses_add, size[0])
        case LoadingEffect(at=place):
            yield _Change(f"{place}.loading", mul, size[0])
        case SpeedEffect():
            yield _Change("fan.speed", mul, size[0])
        case MotorDeadEffect():
            yield _Change("fan.turning", instead, 1)
        case HoseSizeEffect():
            yield _Change("hose.length_ft", instead, size[0])
            yield _Change("hose.bore_in", instead, size[1])
        case GaugeOffsetEffect():
            yield _Change("gauge.offset_inh2o", add, size[0])
        case GaugeFactorEffect():
            yield _Change("gauge.factor", mul, size[0])
        case OrificeEffect():
            yield _Change("orifice_in", instead, size[0])


def apply(
    system: System, effect: Effect, size: float | Sequence[float] = (), inlet: str | None = None
) -> System:
    """The system with an effect on it.

    A second hole or throat at a place adds to the first: areas of holes, losses of throats.

    Args:
        system: as it is.
        effect: what happens to it.
        size: the effect's size in its own unit (see the effect), two for hose-size, none for
            motor-dead and none.
        inlet: the inlet whose branch or neck is damaged; without it the first.

    Returns:
        A new system. Where another inlet leaks and the system names only one, it gains one at the
        end of the trunk.

    Raises:
        InputError: the wrong number of sizes, one motor of a unit that has only one, or no such
            inlet.
    """
    sizes = _checked((size,) if isinstance(size, int | float) else tuple(size), effect)
    if inlet is not None and inlet not in system.inlet_names:
        raise InputError(
            f"no inlet named {inlet!r}", right=f"one of {', '.join(system.inlet_names)}"
        )
    update: dict[str, object] = {} if inlet is None else {"damaged_inlet": inlet}
    if _needs_other(effect) and system.other is None:
        update["inlets"] = (*system.inlets, ANOTHER_INLET)
    if isinstance(effect, MotorDeadEffect) and system.fan.motors < 2:
        raise _one_motor()
    changed = system.model_copy(update=update)
    for change in _changes(effect, sizes):
        changed = with_number(changed, *change)
    return changed


def with_number(system: System, path: str, combine: Combine, size: Amount) -> System:
    """The system with one number changed.

    Args:
        system: as it is.
        path: the number's dotted name, as in `Houses`.
        combine: (old, new) -> what to put there.
        size: the new.
    """
    part, _, name = path.rpartition(".")
    name = "running" if name == "turning" else name
    owner: BaseModel = getattr(system, part) if part else system
    old = getattr(owner, name)
    new = combine(math.inf if old is None else old, size)
    update = {name: int(new) if name == "running" else float(new)}
    return system.model_copy(update={part: owner.model_copy(update=update)} if part else update)


def apply_many(houses: Houses, effect: Effect, sizes: Array) -> Houses:
    """The houses with an effect on each, at its own size.

    Args:
        houses: n houses.
        effect: what happens to them.
        sizes: shape (n, k) as `draw_sizes` gives them.

    Returns:
        New houses.

    Raises:
        InputError: sizes of the wrong shape, one motor of a unit that has only one, or no other
            inlet to leak.
    """
    if sizes.shape != (houses.count, len(effect.ranges())):
        raise InputError(
            f"sizes of shape {sizes.shape} for {houses.count} houses",
            right=f"shape ({houses.count}, {len(effect.ranges())})",
        )
    if _needs_other(effect) and houses.other is None:
        raise InputError("the houses have one inlet, so no other can leak", right="name a second")
    if isinstance(effect, MotorDeadEffect) and (houses["fan.motors"] < 2).any():
        raise _one_motor()
    changed = {
        change.path: change.combine(houses[change.path], np.asarray(change.size, dtype=float))
        + np.zeros(houses.count)
        for change in _changes(effect, list(sizes.T))
    }
    return houses.with_values(changed)


def _one_motor() -> InputError:
    return InputError(
        "one of two motors cannot be dead in a unit with one", right="use a fan with two motors"
    )


def _needs_other(effect: Effect) -> bool:
    return isinstance(effect, HoleEffect) and effect.at == "other-inlet"


def _checked(sizes: tuple[float, ...], effect: Effect) -> tuple[float, ...]:
    wanted = len(effect.ranges())
    if len(sizes) != wanted:
        raise InputError(
            f"{len(sizes)} sizes for an effect of kind {effect.kind}", right=f"{wanted}"
        )
    return sizes
