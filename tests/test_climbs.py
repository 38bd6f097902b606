"""How an answer goes through the engine's packages, from `Session.record` to the belief."""

from __future__ import annotations

import sys
import tomllib
from pathlib import Path
from types import FrameType

from stillflow.engine import Session, Unit, Visit, load_rules

HOME = "stillflow.engine."


def floors() -> dict[str, int]:
    """Package -> its floor, from the contract on imports: 0 is the lowest."""
    project = tomllib.loads((Path(__file__).parents[1] / "pyproject.toml").read_text("utf-8"))
    contracts = project["tool"]["importlinter"]["contracts"]
    [layers] = [contract["layers"] for contract in contracts if "containers" in contract]
    rows = enumerate(reversed(layers))
    return {name.strip(): floor for floor, row in rows for name in row.split("|")}


def package(frame: FrameType | None) -> str | None:
    """The engine's package that a frame, or the nearest below it in the stack, belongs to."""
    while frame is not None:
        name = frame.f_globals.get("__name__", "")
        if name.startswith(HOME):
            return str(name.removeprefix(HOME).split(".")[0])
        frame = frame.f_back
    return None


def test_a_reading_becomes_belief_without_a_call_that_climbs_to_a_package_above() -> None:
    # A unit that no other test has: what its readings should be is computed here, not remembered.
    session = Session(load_rules(), Visit(unit=Unit(rated_sealed=131.7, rated_airflow=112.9)))
    before = session.progress.weights.copy()
    ways: dict[tuple[str, str], None] = {}

    def watch(frame: FrameType, event: str, _: object) -> None:
        if event == "call" and frame.f_globals.get("__name__", "").startswith(HOME):
            caller, called = package(frame.f_back), package(frame)
            if caller and called and caller != called:
                ways[caller, called] = None

    sys.setprofile(watch)
    try:
        session.record("sealed-inlet", 92.0)
        after = session.progress.weights
    finally:
        sys.setprofile(None)
    assert (after != before).any()
    floor = floors()
    assert {called for _, called in ways} >= {"inference", "airflow", "ruleset", "base"}
    assert [way for way in ways if floor[way[1]] >= floor[way[0]]] == []
