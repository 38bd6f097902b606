"""The shop's settings: a small YAML file with its heading, who works, and what money is called."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import click
from pydantic import Field

from stillflow.casebook.parsing import read_mapping, text_of, to_model
from stillflow.cli.options import Command
from stillflow.engine.base import Model

_FIRST_LINE = "technician: Bram Tolley"

Line = Annotated[str, Field(max_length=200)]


class Settings(Model):
    """What a shop says once."""

    heading: Annotated[tuple[Line, ...], Field(max_length=8)] = Field(
        (), description="lines at the head of the sheet: the shop's name first"
    )
    technician: Line = Field("", description="who works here, unless --as says otherwise")
    gauge: Line = Field("", description="what the gauge is called")
    currency: Annotated[str, Field(max_length=8)] = Field("", description="such as EUR")
    measure_again_months: Annotated[int, Field(ge=1, le=120)] = Field(
        12, description="when a house should be measured next"
    )


def load_settings(name: str | None) -> Settings:
    """The settings in a file; those in the user's configuration folder by default, if there are.

    Raises:
        InputError: the file cannot be used; with file, line and key.
    """
    if name is None:
        from platformdirs import user_config_dir

        path = Path(user_config_dir("stillflow", appauthor=False)) / "settings.yaml"
        if not path.exists():
            return Settings()
        name = str(path)
    return to_model(read_mapping(text_of(name), name, _FIRST_LINE), Settings)


def settings_option(command: Command) -> Command:
    """Add `--settings` and `--as`."""
    command = click.option(
        "--as", "who", metavar="NAME", help="who writes (default: the technician of the settings)"
    )(command)
    return click.option(
        "--settings",
        envvar="STILLFLOW_SETTINGS",
        metavar="FILE",
        help="the shop's settings, such as its heading; 'stillflow schema settings' says "
        "all (default: settings.yaml in your configuration folder)",
    )(command)
