"""The bases of our data models: fixed once made, strict about fields, and if need be numbers."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class Model(BaseModel):
    """Frozen; refuses unknown fields; takes a field by its name or its alias."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True, defer_build=True)


class FiniteModel(Model):
    """Refuses infinities and NaN too."""

    model_config = ConfigDict(allow_inf_nan=False)
