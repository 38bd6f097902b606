"""The one door to experta.

experta 1.9.4 pins a `frozendict` that looks for `collections.Mapping`, which Python removed, and
importing it configures the root logger. Both are put right here; import experta from nowhere else.
"""

from __future__ import annotations

import collections
import collections.abc
import logging

from stillflow.engine.base import SetupError


def _load() -> None:
    root = logging.getLogger()
    handlers, level = list(root.handlers), root.level
    added = not hasattr(collections, "Mapping")
    if added:
        collections.Mapping = collections.abc.Mapping  # type: ignore[attr-defined]
    try:
        import experta
    except ImportError as problem:
        raise SetupError(
            f"the rule engine cannot be loaded ({problem})",
            right="install stillflow again with pip",
        ) from problem
    finally:
        if added:
            del collections.Mapping  # type: ignore[attr-defined]
        root.handlers[:] = handlers
        root.setLevel(level)
    # experta's own package swallows a failed import and comes up empty.
    if not hasattr(experta, "KnowledgeEngine"):
        raise SetupError(
            "the rule engine came up incomplete", right="install stillflow again with pip"
        )


_load()

from experta import AND, OR, Fact, KnowledgeEngine, P, Rule  # noqa: E402

__all__ = ["AND", "OR", "Fact", "KnowledgeEngine", "P", "Rule"]
