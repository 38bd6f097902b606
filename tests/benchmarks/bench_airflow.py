"""How fast the airflow model is beside the same work done the plain way.

The plain way is one `scipy.optimize.brentq` per reading over `fluids` calls (see
`tests/engine/airflow/engineer.py`), with each run of tube in one slice, its cheapest form, and in
ten, its accurate one. Both ways are timed in this one process on the same drawn houses.

Run: python tests/benchmarks/bench_airflow.py [drawn houses]
"""

from __future__ import annotations

import importlib.util
import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import numpy as np

from stillflow.engine.airflow.air import Array, pressure_at
from stillflow.engine.airflow.draw import draw_houses
from stillflow.engine.airflow.fan import fan_from_rating
from stillflow.engine.airflow.gauge import readings_table
from stillflow.engine.airflow.houses import Houses
from stillflow.engine.airflow.points import EVERY_POINT, GaugePoint
from stillflow.engine.airflow.system import Holes, System, Throats

BESIDE = Path(__file__).resolve().parents[1] / "engine" / "airflow"
HOUSE = System(fan=fan_from_rating(130, 114))
LEAKY = HOUSE.model_copy(update={"holes": Holes(trunk=0.4)})
DAMAGED = HOUSE.model_copy(
    update={
        "holes": Holes(bin=0.1, trunk=0.3, hose=0.2),
        "throats": Throats(trunk=0.7, hose=0.8),
    }
)
TEN = (*EVERY_POINT, GaugePoint("other", "sealed"), GaugePoint("other", "working"))
SIX = tuple(GaugePoint(s, c) for s in ("unit", "inlet", "hose") for c in ("sealed", "working"))
PLAIN_HOUSES = 300


def beside(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(f"airflow_{name}", BESIDE / f"{name}.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def ms(work: Callable[[], object], times: int) -> str:
    """Median time of a piece of work, after one run to warm up."""
    work()
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return f"{1e3 * statistics.median(taken):.2f} ms"


def all_readings(system: System) -> Array:
    """What the gauge shows at every station, inH2O."""
    return readings_table(Houses.of([system]), EVERY_POINT)[0]


def drawn(count: int) -> Houses:
    """Random houses: a sixth healthy, the rest with one fault each."""
    generator = np.random.default_rng(4)
    houses = draw_houses(generator, count, HOUSE, (0, 7000))
    sealed, airflow = generator.uniform(90, 140, count), generator.uniform(90, 130, count)
    houses = houses.with_fan(sealed, airflow)
    kind = generator.integers(0, 6, count)
    hole, throat = generator.uniform(0.1, 0.6, count), generator.uniform(0.3, 1.1, count)
    half = np.full(count, 0.5)
    return houses.with_values(
        {
            "holes.bin": np.where(kind == 1, hole, 0.0),
            "holes.trunk": np.where(kind == 2, hole, 0.0),
            "holes.hose": np.where(kind == 3, hole, 0.0),
            "throats.trunk": np.where(kind == 4, throat, np.inf),
            "throats.hose": np.where(kind == 5, throat, np.inf),
            "holes.trunk_along": half,
            "throats.trunk_along": half,
        }
    )


def plain_readings(engineer: ModuleType, houses: Houses) -> np.ndarray:
    """The readings at SIX, one brentq each; for houses without damage to the hose."""
    table = np.empty((houses.count, len(SIX)))
    for row in range(houses.count):
        value = {key: array[row] for key, array in houses.value.items()}
        house = engineer.House(
            sealed=float(value["fan.sealed_inh2o"]),
            airflow=float(value["fan.airflow_cfm"]),
            trunk_ft=float(value["tap_ft"][0]),
            trunk_k=float(value["trunk.fittings"] * value["tap_ft"][0] / value["trunk.length_ft"]),
            branch_ft=float(value["branch.length_ft"][0]),
            branch_k=float(value["branch.fittings"][0]),
            hose_ft=float(value["hose.length_ft"]),
            exhaust_ft=float(value["exhaust.length_ft"]),
            exhaust_k=float(value["exhaust.fittings"]),
            pressure=float(pressure_at(value["altitude_ft"])),
            bin_hole=float(value["holes.bin"]),
            trunk_hole=float(value["holes.trunk"]),
            trunk_throat=float(value["throats.trunk"]),
        )
        for column, (station, condition, _) in enumerate(SIX):
            table[row, column] = getattr(engineer, condition)(house, station)
    return table


def comparable(houses: Houses) -> np.ndarray:
    """Houses the plain model can describe: first inlet at the trunk's end, a sound hose."""
    at_end = np.isclose(houses["tap_ft"][:, 0], houses["trunk.length_ft"])
    sound = (houses["holes.hose"] == 0) & np.isinf(houses["throats.hose"])
    return np.flatnonzero(at_end & sound)


def show(what: str, figure: str, wanted: str = "") -> None:
    print(f"  {what:<58}{figure:>16}   {wanted}")


def speed(count: int) -> None:
    print("Speed")
    show("one healthy system, all stations", ms(lambda: all_readings(HOUSE), 300), "< 1 ms")
    show("one with a leak, all stations", ms(lambda: all_readings(LEAKY), 300), "< 1 ms")
    show("one with five faults, all stations", ms(lambda: all_readings(DAMAGED), 300))
    houses = drawn(count)
    taken = []
    for _ in range(3):
        start = time.perf_counter()
        table = readings_table(houses, TEN)
        taken.append(time.perf_counter() - start)
    ours = min(taken) / table.size
    show(f"{count:,} drawn systems x {len(TEN)} readings", f"{min(taken):.2f} s", "< 2 s")
    show("  a reading by us", f"{1e6 * ours:.2f} us")
    engineer = beside("engineer")
    some = houses.take(comparable(houses)[:PLAIN_HOUSES])
    for slices in (1, 10):
        engineer.SLICES = slices
        start = time.perf_counter()
        plain = plain_readings(engineer, some)
        theirs = (time.perf_counter() - start) / plain.size
        off = np.abs(plain / readings_table(some, SIX) - 1.0)
        print(f"  brentq over fluids, {plain.size} readings, runs in {slices} slices")
        show("  a reading", f"{1e6 * theirs:.0f} us")
        show("  ratio to ours", f"{theirs / ours:.0f} x", "> 100 x")
        show("  difference from ours, median and largest",
             f"{100 * np.median(off):.2f}, {100 * off.max():.2f} %")  # fmt: skip


def main() -> None:
    counts = [int(word) for word in sys.argv[1:]]
    speed(counts[0] if counts else 100_000)


if __name__ == "__main__":
    main()
