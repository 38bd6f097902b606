"""What the airflow tests share: the engineer's model beside them, and plain systems."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest

from stillflow.engine.airflow.fan import fan_from_rating
from stillflow.engine.airflow.system import Inlet, Restriction, System, Tube


def beside(name: str) -> ModuleType:
    """A module that lies beside the tests, under a name of its own."""
    path = Path(__file__).with_name(f"{name}.py")
    spec = importlib.util.spec_from_file_location(f"airflow_{name}", path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def engineer() -> ModuleType:
    """The same physics written the plain way (see `engineer.py`)."""
    return beside("engineer")


@pytest.fixture
def house() -> System:
    """An ordinary healthy house with a present-day unit."""
    return System(fan=fan_from_rating(130, 114))


@pytest.fixture
def bare() -> System:
    """The published fan cases: nothing but a fan line and an opening."""
    none = Restriction()
    return System(
        fan=fan_from_rating(130, 114.5),
        filter=none,
        screen=none,
        bin=none,
        utility_fittings=0.0,
        trunk=Tube(length_ft=0.0),
        inlets=(Inlet(branch=Tube(length_ft=0.0)),),
        exhaust=Tube(length_ft=0.0),
    )
