"""The JSON Schema of a rule file, for editors that complete and check while one types."""

from __future__ import annotations

from typing import Any

from pydantic import ConfigDict, Field, create_model

from stillflow.engine.ruleset.gathering import SECTIONS


def rule_file_schema() -> dict[str, Any]:
    """The schema of any rule file: every section may stand in every file.

    What entries say of each other (ids, facts) is for the loader to check.
    """
    fields: dict[str, Any] = {
        section: (list[model], Field(default=[], description=_first_line(model)))  # type: ignore[valid-type]
        for section, model in SECTIONS.items()
    }
    change = "what to alter in entries of folders below: an id, and the keys that change"
    retire = "ids of entries of folders below that shall be gone"
    one_or_more = list[dict[str, Any]] | dict[str, Any]
    fields["change"] = (one_or_more, Field(default=[], description=change))
    fields["retire"] = (list[str], Field(default=[], description=retire))
    file = create_model("RuleFile", __config__=ConfigDict(extra="forbid"), **fields)
    schema = file.model_json_schema(by_alias=True)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}


def _first_line(model: type) -> str:
    return (model.__doc__ or "").strip().partition("\n")[0]
