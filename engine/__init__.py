"""The reasoning: rules, belief, airflow, planning, explaining. Prints nothing, prompts nothing.

`Session` runs one visit over the rules that `load_rules` reads. They are imported when first
used, so that a command that needs neither stays quick.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from stillflow.engine.loading import load_rules as load_rules
    from stillflow.engine.session import Session as Session

__all__ = ["Session", "load_rules"]

_HOMES = {"Session": "session", "load_rules": "loading"}


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        from importlib import import_module

        return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
