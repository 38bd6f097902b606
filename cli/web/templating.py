"""Pages from their templates; everything that goes into one is escaped."""

from __future__ import annotations

import json
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

HERE = Path(str(resources.files("stillflow.cli"))) / "web"


@lru_cache(maxsize=1)
def _templates() -> Environment:
    made = Environment(
        loader=FileSystemLoader(HERE / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["json"] = lambda value: json.dumps(value, separators=(",", ":"))
    return made


def rendered(name: str, **what: Any) -> str:
    """A template filled in."""
    return _templates().get_template(name).render(**what)
