"""Minutes of calls to houses on record, beside the very same calls with the label alone.

Run: python tests/benchmarks/bench_kept.py [--calls 60] [--seed 20267]

Every house has a true-to-its-making label. Once the visit has that and no more; once it has also
what an earlier visit read at every station when all was well, with the gauge's noise, as a kept
visit leaves it. Faults, sizes, answers and clock are the same for both.
"""

from __future__ import annotations

import argparse
import os
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from functools import partial

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from whole_calls import Played, play_call

from stillflow.engine import Session, load_rules
from stillflow.engine.airflow import gauge_noise
from stillflow.engine.base import Mode
from stillflow.engine.inference import SPOTS, GoodReading, Unit, baseline_for
from stillflow.engine.simulate.calls import SimulatedCall, draw_calls


def kept(call: SimulatedCall, generator: np.random.Generator) -> SimulatedCall:
    """The call to a house that was left in good order, with readings at every station."""
    # What was never otherwise, such as a label that promises too much, was so then too.
    always = {one for one in call.faults if call.knowledge.faults[one].mode is Mode.NORMAL}
    healthy = call._readings[frozenset(always)]
    read = np.round(gauge_noise(generator, healthy, call.visit.gauge.tolerance))
    named = {"inlet": call.inlets.names[0], "hose": call.inlets.names[0]}
    named["other"] = call.inlets.names[1]
    earlier = tuple(
        GoodReading(
            station=station,
            state=state,
            inlet=named.get(station.value, ""),
            suction=float(value),
            orifice_in=call.visit.gauge.orifice_in,
            altitude_ft=call.visit.site.altitude_ft,
            at=datetime(2025, 3, 4, tzinfo=UTC),
        )
        for (state, station), value in zip(SPOTS, read, strict=True)
    )
    site = call.visit.site.model_copy(
        update={"inlet": call.inlets.names[0], "other_inlet": call.inlets.names[1]}
    )
    return replace(call, visit=call.visit.model_copy(update={"site": site, "earlier": earlier}))


def played(calls: Sequence[SimulatedCall], seed: int) -> list[Played]:
    begin = partial(Session, calls[0].knowledge)
    return [play_call(begin, call, [seed, number]) for number, call in enumerate(calls)]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--calls", type=int, default=60)
    parser.add_argument("--seed", type=int, default=20267)
    given = parser.parse_args()
    knowledge = load_rules()
    generator = np.random.default_rng(given.seed)
    drawn = draw_calls(knowledge, generator, 4 * given.calls)
    rated = [one for one in drawn if baseline_for(one.visit, knowledge).origin == "rated"]
    rated = rated[: given.calls]
    assert len(rated) == given.calls
    assert all(one.visit.unit != Unit() for one in rated)
    known = [kept(one, generator) for one in rated]
    assert {baseline_for(one.visit, knowledge).origin for one in known} == {"last-visit"}
    rows = []
    for number, pair in enumerate(zip(rated, known, strict=True)):
        label, last = (played([one], given.seed + number)[0] for one in pair)
        rows.append((label.minutes, last.minutes))
        print(
            f"{number:3} {label.minutes:6.1f} {last.minutes:6.1f}  {', '.join(label.hidden)}: "
            f"{label.ending} {label.mended} {len(label.offered)}, "
            f"{last.ending} {last.mended} {len(last.offered)}",
            flush=True,
        )
    minutes = np.array(rows)
    means = minutes.mean(axis=0)
    ratio = means[1] / means[0]
    apart = (minutes[:, 1] - ratio * minutes[:, 0]) / means[0]
    error = apart.std(ddof=1) / np.sqrt(len(apart))
    print(f"label alone {means[0]:.1f} min, with last good readings {means[1]:.1f} min")
    print(f"ratio {ratio:.2f} ± {error:.2f} (wanted: at most 0.85)")


if __name__ == "__main__":
    main()
