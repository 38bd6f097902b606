"""Losses as further inlets see them: shares by hand, and none lost on the way."""

from __future__ import annotations

from collections import defaultdict
from functools import cache

import numpy as np
import pytest

from stillflow.engine import Unit, Visit, load_rules
from stillflow.engine.inference import baseline_for
from stillflow.engine.inference.elsewhere import chance_at, seen_from
from stillflow.engine.inference.inlets import HERE, OTHER, Further
from stillflow.engine.inference.losses import Losses, losses_of

STUDY = Further(2, "study", "study")
ATTIC = Further(3, "attic", "attic")


@cache
def losses() -> Losses:
    rules = load_rules()
    unit = Unit(rated_sealed=130, rated_airflow=114)
    return losses_of(rules, baseline_for(Visit(unit=unit), rules), [])


def rows(line: str, own: bool) -> np.ndarray:
    number = losses().lines.index(line)
    return np.flatnonzero((losses().line == number) & (losses().own == own))


def ways(loss: int, inlets: tuple[Further, ...], listed: int = 0) -> dict[tuple[int, ...], float]:
    """Whose readings each inlet reads -> how much of the loss that is."""
    seen = seen_from(losses(), inlets, listed)
    found: dict[tuple[int, ...], float] = defaultdict(float)
    for part in np.flatnonzero(seen.row == loss):
        found[tuple(seen.source[part].tolist())] += float(seen.share[part])
    return {source: share for source, share in found.items() if share > 0.0}


@pytest.mark.parametrize(
    ("number", "listed", "chance"),
    [
        # Three in ten of what is left, where nobody has said how many there are.
        (1, 0, 0.3),
        (2, 0, 0.7 * 0.3),
        (3, 0, 0.7 * 0.7 * 0.3),
        # Of five each has a fifth; once fewer than four are left, three in ten of the rest.
        (1, 5, 0.2),
        (2, 5, 0.8 * 0.25),
        (3, 5, 0.8 * 0.75 * 0.3),
        (1, 2, 0.3),
        (3, 2, 0.7 * 0.7 * 0.3),
    ],
)
def test_each_inlet_takes_its_share_of_what_is_left(
    number: int, listed: int, chance: float
) -> None:
    assert chance_at(number, listed) == pytest.approx(chance)


@pytest.mark.parametrize(
    "inlets",
    [
        (STUDY,),
        (STUDY, ATTIC),
        (Further(2, "study", HERE), ATTIC),
        (Further(2, "study", OTHER), Further(3, "attic", HERE)),
        tuple(Further(number, f"room {number}", f"room {number}") for number in range(2, 9)),
    ],
)
@pytest.mark.parametrize("listed", [0, 3, 9])
def test_the_ways_of_a_loss_make_up_all_of_it(inlets: tuple[Further, ...], listed: int) -> None:
    seen = seen_from(losses(), inlets, listed)
    whole = np.bincount(seen.row, seen.share, len(losses().line))
    assert whole == pytest.approx(np.ones(len(losses().line)))
    assert seen.share.min() >= 0.0
    assert seen.source.shape == seen.near.shape == (len(seen.row), len(inlets))
    assert set(seen.leaks_at.tolist()) == {0, 1, *(one.number for one in inlets)}


def test_a_leak_at_the_other_inlet_is_at_no_further_one() -> None:
    leak = int(rows("hole other-inlet", True)[3])
    assert ways(leak, (STUDY, ATTIC)) == {(int(losses().twin[leak]),) * 2: 1.0}
    seen = seen_from(losses(), (STUDY, ATTIC), 0)
    assert set(seen.leaks_at[seen.row == leak].tolist()) == {1}


def test_a_leak_at_none_that_was_read_is_at_one_of_the_further_ones_by_their_chances() -> None:
    leak = int(rows("hole other-inlet", False)[3])
    twin = int(losses().twin[leak])
    # .3 of what is left by the other inlet, then .3 of what is left by the study.
    assert ways(leak, (STUDY, ATTIC)) == pytest.approx(
        {(twin, leak): 0.3, (leak, twin): 0.7 * 0.3, (leak, leak): 0.7 * 0.7}
    )
    seen = seen_from(losses(), (STUDY, ATTIC), 0)
    at = {
        int(number): float(seen.share[(seen.row == leak) & (seen.leaks_at == number)].sum())
        for number in (0, 2, 3)
    }
    assert at == pytest.approx({2: 0.3, 3: 0.21, 0: 0.49})


@pytest.mark.parametrize("own", [True, False])
def test_a_squeeze_lies_evenly_between_the_taps(own: bool) -> None:
    squeeze = int(rows("throat trunk", own)[3])
    before, beyond = sorted((squeeze, int(losses().twin[squeeze])))
    # Three on a line, any order alike: the study's tap is on the same side two times in three.
    alike, apart = (before, beyond) if own else (beyond, before)
    assert ways(squeeze, (STUDY,)) == pytest.approx({(alike,): 2 / 3, (apart,): 1 / 3})
    # With two further taps: 3! / 4! of the orders have all on one side, doubled for the known one.
    both = ways(squeeze, (STUDY, ATTIC))
    assert both[alike, alike] == pytest.approx(1 / 2)
    assert both[alike, apart] == both[apart, alike] == pytest.approx(1 / 6)
    assert both[apart, apart] == pytest.approx(1 / 6)


def test_an_inlet_on_a_known_tap_sees_a_squeeze_as_that_tap_does() -> None:
    for own in (True, False):
        squeeze = int(rows("throat trunk", own)[3])
        before, beyond = sorted((squeeze, int(losses().twin[squeeze])))
        found = ways(squeeze, (Further(2, "study", HERE), Further(3, "attic", OTHER)))
        assert found == pytest.approx({(before, before if own else beyond): 1.0})


def test_who_shares_the_branch_sees_its_squeeze_in_half_of_the_cases() -> None:
    number = losses().lines.index("throat branch")
    bend = int(np.flatnonzero(losses().line == number)[3])
    inlets = (Further(2, "study", HERE), ATTIC)
    seen = seen_from(losses(), inlets, 0)
    mine = seen.row == bend
    assert seen.share[mine].tolist() == [0.5, 0.5]
    assert sorted(seen.near[mine].tolist()) == [[0, 0], [1, 0]]
    alone = seen_from(losses(), (ATTIC,), 0)
    assert alone.share[alone.row == bend].tolist() == [1.0]
    assert not alone.near.any()
