"""The order in which places are looked at, held against all orders there are."""

from __future__ import annotations

from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stillflow.engine.planning.searching import first_cut, search_order

CHANCE = st.floats(0.01, 1.0)
MINUTES = st.floats(0.1, 10.0)


def expected(
    order: tuple[int, ...],
    chances: list[float],
    minutes: list[float],
    together: list[int],
    walks: list[float],
) -> float:
    """Minutes of looking in an order until it is found, on average."""
    been: set[int] = set()
    spent = total = 0.0
    for place in order:
        if together and together[place] not in been:
            been.add(together[place])
            spent += walks[together[place]]
        spent += minutes[place]
        total += chances[place] * spent
    return total


def test_the_order_is_by_chance_over_minutes() -> None:
    # Kadane and Simon 1977; their ratio on .5, .3, .2 with 10, 2, 5 minutes is .05, .15, .04.
    order = search_order((0.5, 0.3, 0.2), (10.0, 2.0, 5.0))
    assert order == (1, 0, 2)
    assert expected(order, [0.5, 0.3, 0.2], [10.0, 2.0, 5.0], [], []) == pytest.approx(10.0)


@given(st.lists(st.tuples(CHANCE, MINUTES, st.integers(0, 1)), min_size=1, max_size=5),
       st.tuples(MINUTES, MINUTES))  # fmt: skip
def test_no_order_takes_fewer_minutes_also_where_places_lie_together(
    places: list[tuple[float, float, int]], walks: tuple[float, float]
) -> None:
    chances, minutes, together = (list(column) for column in zip(*places, strict=True))
    order = search_order(chances, minutes, together, walks)
    assert sorted(order) == list(range(len(places)))
    best = min(
        expected(one, chances, minutes, together, list(walks))
        for one in permutations(range(len(places)))
    )
    found = expected(order, chances, minutes, together, list(walks))
    assert found == pytest.approx(best, rel=1e-9)


def test_nothing_to_look_at_has_an_empty_order() -> None:
    assert search_order((), ()) == ()
    assert search_order((0.0, 0.0), (1.0, 1.0)) == (0, 1)


def by_hand(chances: list[float], minutes: list[float]) -> float:
    """Least expected minutes of telling stretches apart, by trying every tree."""
    if len(chances) == 1:
        return 0.0
    return min(
        minutes[cut] * sum(chances)
        + by_hand(chances[: cut + 1], minutes[:cut])
        + by_hand(chances[cut + 1 :], minutes[cut + 1 :])
        for cut in range(len(minutes))
    )


def by_cuts(chances: list[float], minutes: list[float]) -> float:
    """Minutes of looking where the planner says, on every stretch that is left."""
    if len(chances) == 1:
        return 0.0
    cut = first_cut(chances, minutes)
    left = by_cuts(chances[: cut + 1], minutes[:cut])
    return minutes[cut] * sum(chances) + left + by_cuts(chances[cut + 1 :], minutes[cut + 1 :])


@given(st.lists(st.tuples(CHANCE, MINUTES), min_size=2, max_size=7))
def test_a_row_is_cut_where_the_best_tree_begins(row: list[tuple[float, float]]) -> None:
    chances, (*minutes, _) = (list(column) for column in zip(*row, strict=True))
    assert by_cuts(chances, minutes) == pytest.approx(by_hand(chances, minutes))


@pytest.mark.parametrize("power", [1, 2, 3])
def test_equal_stretches_are_halved(power: int) -> None:
    # The information bound: 2^k alike need exactly k looks.
    count = 2**power
    assert first_cut([1.0] * count, [1.0] * (count - 1)) == count // 2 - 1
    assert by_cuts([1.0 / count] * count, [1.0] * (count - 1)) == pytest.approx(power)
