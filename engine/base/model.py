"""The one base of our data models: fixed once made, strict about fields and numbers."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class Model(BaseModel):
    """Frozen; refuses unknown fields, infinities and NaN; takes a field by its name or alias."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, allow_inf_nan=False, populate_by_name=True
    )
