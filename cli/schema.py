"""`stillflow schema`: the JSON Schema of what stillflow reads and prints."""

from __future__ import annotations

import click

from stillflow.cli.output import say_json


@click.command("schema")
@click.argument("what", type=click.Choice(["visit", "step", "rules", "settings"]), default="visit")
def command(what: str) -> None:
    """Print a JSON Schema: of a visit file, a step as JSON, a rule file, the settings."""
    if what == "visit":
        from stillflow.casebook.files import visit_schema

        schema = visit_schema()
    elif what == "rules":
        from stillflow.engine.ruleset import rule_file_schema

        schema = rule_file_schema()
    elif what == "settings":
        from stillflow.cli.settings import Settings

        schema = Settings.model_json_schema()
    else:
        from stillflow.engine.dialogue import NextStep

        schema = NextStep.model_json_schema(by_alias=True)
    say_json(schema)
