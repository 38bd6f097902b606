"""A fault-by-check table with costs, as the planner takes it.

Holds the validated problem and the flat tables derived from it once. Leaves every decision to
the modules beside it, and knows nothing of what the faults and checks mean.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from stillflow.engine.base import Flags, Floats, InputError, Integers

if TYPE_CHECKING:
    from numpy.typing import ArrayLike


_SUM_TOLERANCE = 1e-6


@dataclass(frozen=True, eq=False)
class Problem:
    """One of F faults is present; C checks tell them apart; every act takes minutes.

    Groups stand for access: opening a group is paid once, on the first check or fix that needs
    it. A fix that was wrong costs its minutes (and its price), and rules its fault out.

    Args:
        priors: probability of each fault, (F,), adding to 1.
        fix_minutes: minutes to carry out each fix and verify it, (F,).
        check_minutes: minutes of each check without access, (C,).
        answers: C arrays (F, A_c) of P(answer | fault), each row adding to 1.
        access: for each check the group it needs opened, or None.
        access_minutes: minutes to open each group, (G,).
        fix_access: for each fix the group it needs opened, or None; None for no fix access.
        wrong_fix_minutes: price of a wrong part in minutes, (F,), added only when that fix
            turns out wrong; None for no price.
        moves: what standing somewhere makes dearer; None if that is the same everywhere.
        closes: for each check the groups that must be closed again for it, (C, G) booleans; they
            cost their access anew. None for none.
        closing_minutes: of `access_minutes` those of closing again, (G,), which are still to come
            for a group that stands open; None for none.

    Raises:
        InputError: a table has the wrong shape, or holds a value that cannot be used.
    """

    priors: Floats
    fix_minutes: Floats
    check_minutes: Floats
    answers: Sequence[Floats]
    access: Sequence[int | None]
    access_minutes: Floats
    fix_access: Sequence[int | None] | None = None
    wrong_fix_minutes: Floats | None = None
    moves: Moves | None = None
    closes: Flags | None = None
    closing_minutes: Floats | None = None
    _likelihood: Floats = field(init=False, repr=False)
    _check_group: Integers = field(init=False, repr=False)
    _fix_group: Integers = field(init=False, repr=False)

    def __post_init__(self) -> None:
        priors = _distribution(_numbers(self.priors, "priors"), "priors")
        faults = len(priors)
        minutes = _numbers(self.check_minutes, "check_minutes")
        groups = _numbers(self.access_minutes, "access_minutes")
        price = np.zeros(faults) if self.wrong_fix_minutes is None else self.wrong_fix_minutes
        fix_access = (None,) * faults if self.fix_access is None else self.fix_access
        _same_length("answers", self.answers, len(minutes), "checks")
        likelihood, tables = _answer_tables(self.answers, faults)
        check_group = _group_numbers(self.access, "access", len(minutes), "checks", len(groups))
        fix_group = _group_numbers(fix_access, "fix_access", faults, "faults", len(groups))
        moves = Moves.none(len(minutes), faults) if self.moves is None else self.moves
        moves.check(len(minutes), faults)
        closes = np.zeros((len(minutes), len(groups)), bool) if self.closes is None else self.closes
        if closes.shape != (len(minutes), len(groups)):
            right = f"it should be {(len(minutes), len(groups))}"
            raise InputError(f"closes has shape {closes.shape}", right=right)
        closing = np.zeros(len(groups)) if self.closing_minutes is None else self.closing_minutes
        self._keep("moves", moves)
        self._keep("closes", closes)
        self._keep("closing_minutes", _numbers(closing, "closing_minutes", len(groups)))
        self._keep("priors", priors)
        self._keep("fix_minutes", _numbers(self.fix_minutes, "fix_minutes", faults))
        self._keep("check_minutes", minutes)
        self._keep("answers", tables)
        self._keep("access", tuple(self.access))
        self._keep("access_minutes", groups)
        self._keep("fix_access", tuple(fix_access))
        self._keep("wrong_fix_minutes", _numbers(price, "wrong_fix_minutes", faults))
        self._keep("_likelihood", likelihood)
        self._keep("_check_group", check_group)
        self._keep("_fix_group", fix_group)

    def _keep(self, name: str, value: object) -> None:
        if isinstance(value, np.ndarray):
            value.setflags(write=False)
        object.__setattr__(self, name, value)

    @cached_property
    def tables(self) -> Tables:
        """The flat tables look-ahead works on, derived once."""
        return Tables.of(self, self._likelihood, self._check_group, self._fix_group)


@dataclass(frozen=True, eq=False)
class Moves:
    """What it takes to get to an act from wherever the last one has left us: P positions.

    Args:
        to_check: minutes to get from each position to each check, (P, C).
        to_fix: minutes to get from each position to each fix, (P, F).
        from_check: the position each check leaves us in, (C,); -1 for where we were.
        from_fix: the position each fix leaves us in, (F,); -1 for where we were.
    """

    to_check: Floats
    to_fix: Floats
    from_check: Integers
    from_fix: Integers

    @classmethod
    def none(cls, checks: int, faults: int) -> Moves:
        """One position, from which all is at hand."""
        stay = (np.full(checks, -1), np.full(faults, -1))
        return cls(np.zeros((1, checks)), np.zeros((1, faults)), *stay)

    def check(self, checks: int, faults: int) -> None:
        """See that it fits a problem.

        Raises:
            InputError: a table has the wrong shape or names a position that is not there.
        """
        positions = len(self.to_check)
        shapes = [one.shape for one in (self.to_check, self.to_fix, self.from_check, self.from_fix)]
        wanted = [(positions, checks), (positions, faults), (checks,), (faults,)]
        if shapes != wanted:
            raise InputError(f"moves have shapes {shapes}", right=f"they should be {wanted}")
        _no_bad_values(self.to_check, "moves to checks")
        _no_bad_values(self.to_fix, "moves to fixes")
        ends = np.concatenate((self.from_check, self.from_fix, [-1]))
        if ends.max() >= positions or ends.min() < -1:
            right = f"use -1 to {positions - 1}"
            raise InputError("a move ends in a position that is not there", right=right)

    @property
    def any(self) -> bool:
        """Whether any way takes time."""
        return bool(self.to_check.any() or self.to_fix.any())


@dataclass(frozen=True, eq=False)
class Tables:
    """The problem as flat tables: K is the number of answers of all checks together.

    Group number G is a stand-in for "needs nothing opened": it costs 0, so no case is special.
    The price of a wrong part is folded in as `stake` = fix minutes + price, paid by every fix
    tried, with the price given back for the one fix that was right. Every call ends in the right
    fix, so what is given back does not depend on what was done before it (`refund`).

    Attributes:
        likelihood: P(answer | fault), (K, F).
        surprise: likelihood x log2 likelihood, (K, F).
        onward: likelihood side by side, (K, 4F), where it has to be multiplied by what the fix's
            access still costs, since the check leaves that as it is; by what it costs anew, since
            it closes it; by the way to the fix, from where the check leaves us (that way is
            multiplied in) and from where we were; 0 elsewhere.
        first: first answer of each check, (C,), and `count` how many it has, (C,).
        owner: the check each answer belongs to, (K,).
        check_minutes: (C,); check_group: (C,).
        stake: (F,), fix minutes + price of a wrong part; fix_group: (F,).
        refund: (F,), the price given back when the fix was right.
        access_minutes: (G + 1,), the last 0.
        closes: (C, G + 1) groups that are closed for a check.
        moves: ways from position to position.
        alone: faults whose fix shares its access with no other fix.
        shared_group: (S,) groups needed by two fixes or more.
        shared: (S, m) the faults of those fixes, filled up with the number F.
        shared_stake: (S, m) their stakes, filled up with 1.
    """

    likelihood: Floats
    surprise: Floats
    onward: Floats
    first: Integers
    count: Integers
    owner: Integers
    check_minutes: Floats
    check_group: Integers
    stake: Floats
    refund: Floats
    fix_group: Integers
    access_minutes: Floats
    closes: Flags
    moves: Moves
    alone: Integers
    shared_group: Integers
    shared: Integers
    shared_stake: Floats

    @classmethod
    def of(
        cls, problem: Problem, likelihood: Floats, check_group: Integers, fix_group: Integers
    ) -> Tables:
        """Derive the tables of a problem from what was put in order when it was checked."""
        faults = len(problem.priors)
        groups = len(problem.access_minutes)
        count = np.array([t.shape[1] for t in problem.answers], dtype=np.intp)
        owner = np.repeat(np.arange(len(count), dtype=np.intp), count)
        size = np.bincount(fix_group, minlength=groups + 1)
        crowds = {g: np.flatnonzero(fix_group == g) for g in range(groups) if size[g] > 1}
        shared = np.full((len(crowds), max(map(len, crowds.values()), default=0)), faults)
        for row, crowd in zip(shared, crowds.values(), strict=True):
            row[: len(crowd)] = crowd
        price = np.asarray(problem.wrong_fix_minutes)
        stake = problem.fix_minutes + price
        assert problem.moves is not None
        assert problem.closes is not None
        moves = problem.moves
        closes = np.pad(problem.closes, ((0, 0), (0, 1)))
        opens = check_group[owner][:, None] == fix_group
        shuts = closes[owner][:, fix_group] & ~opens
        stays = moves.from_check[owner] < 0
        onward = [
            np.where(opens | shuts, 0.0, likelihood),
            np.where(shuts, likelihood, 0.0),
            np.where(stays[:, None], 0.0, likelihood * moves.to_fix[moves.from_check[owner]]),
            np.where(stays[:, None], likelihood, 0.0),
        ]
        return cls(
            likelihood=likelihood,
            surprise=information(likelihood),
            onward=np.concatenate(onward, axis=1),
            first=(np.cumsum(count) - count).astype(np.intp),
            count=count,
            owner=owner,
            check_minutes=problem.check_minutes,
            check_group=check_group,
            stake=stake,
            refund=price,
            fix_group=fix_group,
            access_minutes=np.append(problem.access_minutes, 0.0),
            closes=closes,
            moves=moves,
            alone=np.flatnonzero((size[fix_group] == 1) | (fix_group == groups)),
            shared_group=np.array(list(crowds), dtype=np.intp),
            shared=shared,
            shared_stake=np.append(stake, 1.0)[shared],
        )


def information(weights: Floats) -> Floats:
    """Return w log2 w elementwise, 0 where w is 0 (bits; any shape)."""
    return np.asarray(weights * np.log2(np.where(weights > 0.0, weights, 1.0)))


def chosen(what: Iterable[int] | Flags, size: int, name: str) -> Flags:
    """Read a set of numbers, or a boolean array, as a boolean array.

    Args:
        what: numbers from 0, or booleans of shape (size,).
        size: how many there are to choose from.
        name: what to call it in an error.

    Raises:
        InputError: a number is out of range, or the array has another shape.
    """
    if isinstance(what, np.ndarray) and what.dtype == np.bool_:
        if what.shape != (size,):
            raise InputError(f"{name} has shape {what.shape}", right=f"it should be ({size},)")
        return what
    flags = np.zeros(size, dtype=np.bool_)
    for number in what:
        if not 0 <= number < size:
            raise InputError(f"{name} names number {number}", right=f"there are 0 to {size - 1}")
        flags[number] = True
    return flags


def _numbers(values: ArrayLike, name: str, length: int | None = None) -> Floats:
    try:
        array = np.array(values, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise InputError(f"{name} is not a list of numbers", right="give numbers only") from error
    if array.ndim != 1 or (length is not None and len(array) != length):
        right = "it should be one-dimensional" if length is None else f"it should be ({length},)"
        raise InputError(f"{name} has shape {array.shape}", right=right)
    _no_bad_values(array, name)
    return array


def _no_bad_values(array: Floats, name: str) -> None:
    if not np.all(np.isfinite(array)) or np.any(array < 0.0):
        raise InputError(f"{name} holds a negative or missing number", right="use 0 or more")


def _distribution(weights: Floats, name: str) -> Floats:
    if len(weights) == 0:
        raise InputError(f"{name} is empty", right="there must be at least one fault")
    total = float(weights.sum())
    if abs(total - 1.0) > _SUM_TOLERANCE:
        raise InputError(f"{name} adds up to {total:.6g}", right="it should add up to 1")
    return weights / total


def _answer_tables(values: Sequence[ArrayLike], faults: int) -> tuple[Floats, tuple[Floats, ...]]:
    """Check and copy the tables of all checks: as one, (K, F), and as (F, A_c) views of it."""
    tables = [np.asarray(one, dtype=np.float64) for one in values]
    for number, table in enumerate(tables):
        if table.ndim != 2 or table.shape[0] != faults or table.shape[1] == 0:
            what = f"the table of {_answers_of(number)} has shape {table.shape}"
            raise InputError(what, right=f"it should be ({faults}, number of answers)")
    if not tables:
        return np.zeros((0, faults)), ()
    whole = np.ascontiguousarray(np.concatenate([table.T for table in tables]))
    count = np.array([table.shape[1] for table in tables])
    ends = np.cumsum(count)
    totals = np.add.reduceat(whole, ends - count, axis=0)
    off = np.abs(totals - 1.0)
    # Written so that a missing number is never good.
    if not (whole.min() >= 0.0 and off.max() <= _SUM_TOLERANCE):
        for number, table in enumerate(tables):
            _no_bad_values(table, f"the table of {_answers_of(number)}")
        check, worst = divmod(int(np.argmax(off)), faults)
        what = f"the {_answers_of(check)}, given fault {worst}, add up to"
        raise InputError(f"{what} {totals[check, worst]:.6g}", right="they should add up to 1")
    whole /= np.repeat(totals, count, axis=0)
    whole.setflags(write=False)
    return whole, tuple(whole[end - size : end].T for size, end in zip(count, ends, strict=True))


def _answers_of(number: int) -> str:
    return f"answers of check {number}"


def _group_numbers(
    values: Sequence[int | None], name: str, length: int, of: str, groups: int
) -> Integers:
    """Check the groups of all checks or fixes, and put the stand-in, number G, for no group."""
    _same_length(name, values, length, of)
    for value in values:
        if value is not None and not 0 <= value < groups:
            right = f"use None or a number below {groups}" if groups else "there are no groups"
            raise InputError(f"{name} names group {value}", right=right)
    return np.array([groups if value is None else value for value in values], dtype=np.intp)


def _same_length(name: str, values: Sequence[object], length: int, of: str) -> None:
    if len(values) != length:
        raise InputError(f"{name} has {len(values)} entries", right=f"there are {length} {of}")
