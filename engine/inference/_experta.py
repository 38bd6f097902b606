"""The one door to experta.

experta 1.9.4 pins a `frozendict` that looks for `collections.Mapping`, which Python removed, and
importing it configures the root logger. Both are put right here; import experta from nowhere else.
"""

from __future__ import annotations

import collections
import collections.abc
import logging
from functools import lru_cache

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
from experta.matchers.rete import ReteMatcher  # noqa: E402
from experta.matchers.rete.check import TypeCheck  # noqa: E402
from experta.matchers.rete.nodes import BusNode  # noqa: E402
from experta.matchers.rete.token import Token  # noqa: E402

# It remembers where rules end for one network, and here are two: the trade's and the course's.
ReteMatcher._get_conflict_set_nodes = lru_cache(maxsize=8)(
    ReteMatcher._get_conflict_set_nodes.__wrapped__
)


def _add(bus: BusNode, fact: Fact) -> None:
    """Hand a fact to those who wait for its kind; experta copies it for every kind there is."""
    token, kind = Token.valid(fact), TypeCheck(type(fact))
    for child in bus.children:
        if child.node.matcher is kind:
            child.callback(token)


BusNode.add = _add

__all__ = ["AND", "OR", "Fact", "KnowledgeEngine", "P", "Rule"]
