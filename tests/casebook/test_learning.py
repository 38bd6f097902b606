"""How common faults are, learnt from verified visits: many bring it near the truth, few do not."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from stillflow.casebook.learning import MOVED, SHIPPED_CALLS, lesson, next_to_move, overlay
from stillflow.engine import load_rules
from stillflow.engine.ruleset import Knowledge
from stillflow.engine.simulate import draw_callers, fault_weights


@pytest.fixture(scope="module")
def knowledge() -> Knowledge:
    return load_rules()


def houses(knowledge: Knowledge, seed: int, count: int) -> np.ndarray:
    """How well each fault fits each of some houses, by the rules' own numbers."""
    drawn = draw_callers(knowledge, np.random.default_rng(seed), count)
    return fault_weights(knowledge, drawn.truths)


def drawn(knowledge: Knowledge, times: np.ndarray, count: int) -> dict[str, int]:
    """Faults of calls in houses of their own, each so many times as common as the rules say."""
    rows = houses(knowledge, 7, count) * times
    rows = (rows / rows.sum(axis=1, keepdims=True)).cumsum(axis=1)
    luck = np.random.default_rng(11).random((count, 1))
    columns = np.minimum((rows <= luck).sum(axis=1), rows.shape[1] - 1)
    found = np.bincount(columns, minlength=rows.shape[1])
    return dict(zip(knowledge.faults, map(int, found), strict=True))


def distance(knowledge: Knowledge, one: np.ndarray, two: np.ndarray) -> float:
    """Total variation between the shares of calls that two sets of numbers come to."""
    fits = houses(knowledge, 3, 1500)
    fits = fits / np.array([fault.weight for fault in knowledge.faults.values()])
    shares = [(r / r.sum(axis=1, keepdims=True)).mean(axis=0) for r in (fits * one, fits * two)]
    return float(np.abs(shares[0] - shares[1]).sum() / 2)


def weights(knowledge: Knowledge) -> np.ndarray:
    return np.array([fault.weight for fault in knowledge.faults.values()])


def laid_over(tmp_path: Path, text: str) -> Knowledge:
    (tmp_path / "learnt.yaml").write_text(text, encoding="utf-8")
    return load_rules([tmp_path])


def test_5000_visits_from_other_frequencies_come_near_the_true_ones(
    knowledge: Knowledge, tmp_path: Path
) -> None:
    times = 10.0 ** np.random.default_rng(5).uniform(-0.5, 0.5, len(knowledge.faults))
    truth = weights(knowledge) * times
    now = laid_over(tmp_path, overlay(lesson(drawn(knowledge, times, 5000), knowledge), knowledge))
    before = distance(knowledge, weights(knowledge), truth)
    after = distance(knowledge, weights(now), truth)
    assert before > 0.2
    assert after < 0.06


def test_20_visits_hardly_move_anything(knowledge: Knowledge, tmp_path: Path) -> None:
    times = 10.0 ** np.random.default_rng(5).uniform(-0.5, 0.5, len(knowledge.faults))
    found = lesson(drawn(knowledge, times, 20), knowledge)
    assert sum(abs(one.now - one.shipped) for one in found.faults) / 2 < 20 / (20 + SHIPPED_CALLS)
    now = laid_over(tmp_path, overlay(found, knowledge))
    assert distance(knowledge, weights(knowledge), weights(now)) < 20 / (20 + SHIPPED_CALLS)
    assert "more visits like these" in next_to_move(found)


def test_without_a_visit_nothing_moves(knowledge: Knowledge, tmp_path: Path) -> None:
    found = lesson({"gone-from-the-rules": 3}, knowledge)
    assert (found.visits, found.unknown) == (0, 3)
    assert not any(one.moved for one in found.faults)
    assert weights(laid_over(tmp_path, overlay(found, knowledge))) == pytest.approx(
        weights(knowledge)
    )
    assert "would move after about" in next_to_move(found)


def test_a_number_moves_after_as_many_visits_as_was_said(knowledge: Knowledge) -> None:
    fault = "bin-not-seated"
    others = {one.fault: round(1e6 * one.shipped) for one in lesson({}, knowledge).faults}
    whole = sum(others.values())
    shares = {name: count / whole for name, count in others.items()}
    shares[fault] += 0.05

    def after(visits: float) -> float:
        counts = {name: share * visits / 1.05 for name, share in shares.items()}
        [row] = [o for o in lesson(counts, knowledge).faults if o.fault == fault]  # type: ignore[arg-type]
        return row.now - row.shipped if row.moved else -row.moves_after

    more = -after(5)
    assert more > 0
    assert after(5 + more * 1.01) == pytest.approx(MOVED, rel=0.02)
    assert after(5 + more * 0.97) < 0
