"""The one door to experta.

experta 1.9.4 pins a `frozendict` that looks for `collections.Mapping`, which Python removed, and
importing it configures the root logger. Both are put right here; import experta from nowhere else.
"""

from __future__ import annotations

import collections
import collections.abc
import logging
from collections.abc import Iterable
from functools import lru_cache
from typing import Any

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
from experta.matchers.rete.nodes import BusNode, ConflictSetNode  # noqa: E402
from experta.matchers.rete.token import Token  # noqa: E402


@lru_cache(maxsize=8)
def _nodes(matcher: ReteMatcher) -> tuple[tuple[Any, ...], tuple[Any, ...]]:
    """All nodes of a network, each once, and those of them where rules end."""
    found: dict[Any, None] = {}
    waiting = [matcher.root_node]
    while waiting:
        node = waiting.pop()
        if node not in found:
            found[node] = None
            waiting.extend(child.node for child in node.children)
    return tuple(found), tuple(node for node in found if isinstance(node, ConflictSetNode))


def _changes(matcher: ReteMatcher, adding: Iterable[Fact], deleting: Iterable[Fact]) -> Any:
    """Take facts in, and gather from the rules they touched; experta copies from all there are."""
    for fact in deleting:
        matcher.root_node.remove(fact)
    for fact in adding:
        matcher.root_node.add(fact)
    touched = [node for node in _nodes(matcher)[1] if node.added or node.removed]
    gathered = [node.get_activations() for node in touched]
    return [one for added, _ in gathered for one in added], [
        one for _, removed in gathered for one in removed
    ]


def _reset(matcher: ReteMatcher) -> None:
    """Empty every node, once; experta goes down every way to it."""
    for node in _nodes(matcher)[0]:
        node._reset()


ReteMatcher.changes = _changes
ReteMatcher.reset = _reset
# What is declared at each start is looked for among all that an engine has.
KnowledgeEngine.get_deffacts = lru_cache(maxsize=8)(KnowledgeEngine.get_deffacts)


def _add(bus: BusNode, fact: Fact) -> None:
    """Hand a fact to those who wait for its kind; experta copies it for every kind there is."""
    token, kind = Token.valid(fact), TypeCheck(type(fact))
    for child in bus.children:
        if child.node.matcher is kind:
            child.callback(token)


BusNode.add = _add

__all__ = ["AND", "OR", "Fact", "KnowledgeEngine", "P", "Rule"]
