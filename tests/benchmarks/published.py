"""Worked examples from the literature, with the value printed there and where it is from.

Examples that only ask which cause it is become problems whose fixes cost nothing, but whose wrong
fixes cost so much that no cause is fixed before it is certain: what is left is the tests.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from stillflow.engine.planning.problem import Problem

_NEVER_GUESS = 1_000.0


@dataclass(frozen=True)
class Published:
    """A problem, the expected cost printed for it as printed, and its source."""

    name: str
    problem: Problem
    printed: str
    source: str


def identify(priors: list[float], tests: list[list[int]]) -> Problem:
    """Return the problem of finding one cause by tests of 0 or 1 at unit cost, without noise."""
    faults = len(priors)
    return Problem(
        priors=np.array(priors),
        fix_minutes=np.zeros(faults),
        check_minutes=np.ones(len(tests)),
        answers=[np.eye(2)[np.array(test)] for test in tests],
        access=[None] * len(tests),
        access_minutes=np.zeros(0),
        wrong_fix_minutes=np.full(faults, _NEVER_GUESS),
    )


def every_split(causes: int) -> list[list[int]]:
    """Return a test for every way to part the causes in two."""
    # The last cause always answers 0: a split and its mirror are one test.
    return [
        [int(i in inside) for i in range(causes)]
        for size in range(1, causes)
        for inside in combinations(range(causes - 1), size)
    ]


def fixes_only(priors: list[float], minutes: list[float]) -> Problem:
    """Return a problem without checks."""
    return Problem(np.array(priors), np.array(minutes), np.zeros(0), [], [], np.zeros(0))


TEST_SEQUENCING = Published(
    "test sequencing, 6 states, 5 tests",
    identify(
        [0.70, 0.01, 0.02, 0.10, 0.05, 0.12],
        [
            [0, 0, 0, 1, 1, 1],
            [0, 1, 0, 0, 1, 1],
            [0, 0, 1, 0, 0, 1],
            [0, 0, 1, 1, 0, 1],
            [0, 1, 0, 1, 0, 0],
        ],
    ),
    "2.18",
    "Pattipati and Alexandridis 1990; Raghavan, Shakeri and Pattipati 1999 (from memory)",
)
HUFFMAN = (
    Published(
        "any split of .4 .2 .2 .1 .1",
        identify([0.4, 0.2, 0.2, 0.1, 0.1], every_split(5)),
        "2.2",
        "Huffman 1952; Zimmerman 1959",
    ),
    Published(
        "any split of .7 .17 .1 .02 .01",
        identify([0.7, 0.17, 0.1, 0.02, 0.01], every_split(5)),
        "1.46",
        "Huffman 1952; Zimmerman 1959",
    ),
)
INFORMATION_BOUND = tuple(
    Published(
        f"any split of {2**k} equal causes",
        identify([1 / 2**k] * 2**k, every_split(2**k)),
        f"{k}",
        "information bound, log2 of the number of causes",
    )
    for k in (1, 2, 3)
)
P_OVER_C = Published(
    "fixes only, .5 .3 .2 at 10, 2, 5 min",
    fixes_only([0.5, 0.3, 0.2], [10.0, 2.0, 5.0]),
    "10.0",
    "P-over-C, Kadane and Simon 1977; Heckerman, Breese and Rommelse 1995",
)
EVERY = (TEST_SEQUENCING, *HUFFMAN, *INFORMATION_BOUND, P_OVER_C)
