"""Several processes write at once, and some are killed: no acknowledged answer is lost or doubled.

How many, and for how long, is small here; `tests/benchmarks/bench_writers.py` does more of it.
"""

from __future__ import annotations

import sys

import pytest
from writers import HOW, at_once, broken, killed

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="no fork, no SIGKILL")


@pytest.mark.parametrize("one", [False, True])
def test_what_eight_processes_write_at_once_is_there_once(url: str, one: bool) -> None:
    found = at_once(url, 2.0, one)
    assert found.errors == ()
    assert found.kept > 0
    assert (found.lost, found.doubled) == (0, 0)


def test_a_process_that_is_killed_while_it_writes_loses_nothing(url: str) -> None:
    found = killed(url, 5)
    assert (found.lost, found.doubled) == (0, 0)


@pytest.mark.parametrize("how", HOW[:-1])
def test_a_visit_that_meets_a_fault_at_any_write_loses_and_doubles_nothing(
    url: str, how: str
) -> None:
    found = broken(url, how)
    assert (found.lost, found.doubled, found.errors) == (0, 0, ())
    assert found.faults >= 9
    # A lock that goes is waited for, and nobody hears of it.
    assert bool(found.overtaken) is (how != "lock held")
