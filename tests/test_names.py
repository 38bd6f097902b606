"""The names of the house: one name, one thing."""

from __future__ import annotations

import ast
from collections import defaultdict
from importlib.util import find_spec
from pathlib import Path

PARTS = ("rules", "engine", "casebook", "cli")


def test_no_two_public_classes_share_a_name() -> None:
    homes = defaultdict(list)
    for part in PARTS:
        spec = find_spec(f"stillflow.{part}")
        assert spec is not None
        assert spec.origin is not None
        for file in Path(spec.origin).parent.rglob("*.py"):
            for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
                if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                    homes[node.name].append(file.stem)
    assert len(homes) > 100, "the product was not found"
    assert {name: files for name, files in homes.items() if len(files) > 1} == {}
