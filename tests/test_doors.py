"""Whoever is outside an engine package comes in by its face."""

from __future__ import annotations

import ast
from pathlib import Path

ROOT = Path(__file__).parents[1]


def inner_imports(path: Path, text: str) -> list[str]:
    """Imports of a module inside an engine package, from a file that is not of that package."""
    home = path.parent.parts[1:2] if path.parts[0] == "engine" else ()
    found = []
    for node in ast.walk(ast.parse(text)):
        names = [node.module or ""] if isinstance(node, ast.ImportFrom) else []
        names += [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
        for name in names:
            parts = name.split(".")
            if parts[:2] == ["stillflow", "engine"] and len(parts) > 3 and (parts[2],) != home:
                found.append(f"{path}: {name}")
    return found


def test_no_file_outside_an_engine_package_imports_its_inner_modules() -> None:
    files = [
        path for folder in ("engine", "casebook", "cli") for path in (ROOT / folder).rglob("*.py")
    ]
    assert len(files) > 100
    assert [
        line for path in files for line in inner_imports(path.relative_to(ROOT), path.read_text())
    ] == []


def test_an_inner_module_is_told_from_a_face_and_from_ones_own() -> None:
    inner = "from stillflow.engine.airflow.air import INH2O_PA\nimport stillflow.engine.base.units"
    assert len(inner_imports(Path("cli/read.py"), inner)) == 2
    assert len(inner_imports(Path("engine/airflow/fan.py"), inner)) == 1
    assert inner_imports(Path("cli/read.py"), "from stillflow.engine.airflow import Fan") == []
