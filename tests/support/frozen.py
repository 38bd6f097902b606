"""Which dataclasses and models of a package can be changed after they were made."""

from __future__ import annotations

import dataclasses
import importlib
import pkgutil
from typing import Any

from pydantic import BaseModel


def changeable(package: str) -> set[str]:
    """Names of the public dataclasses and models of a package that are not frozen."""
    face = importlib.import_module(package)
    found = set()
    for module in pkgutil.iter_modules(face.__path__):
        home: Any = importlib.import_module(f"{package}.{module.name}")
        for name, kind in vars(home).items():
            if name.startswith("_") or not isinstance(kind, type):
                continue
            if kind.__module__ != home.__name__:
                continue
            if dataclasses.is_dataclass(kind):
                frozen = kind.__dataclass_params__.frozen  # type: ignore[attr-defined]
            elif issubclass(kind, BaseModel):
                frozen = bool(kind.model_config.get("frozen"))
            else:
                continue
            if not frozen:
                found.add(name)
    return found
