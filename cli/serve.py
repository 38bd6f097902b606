"""`stillflow serve`: the visit on a phone."""

from __future__ import annotations

import click

from stillflow.cli.options import db_option, planning_options, rules_option
from stillflow.cli.output import say
from stillflow.engine import load_rules
from stillflow.engine.base import SetupError
from stillflow.engine.planning import Think

PORT = 8765


@click.group("serve", invoke_without_command=True)
@click.option(
    "--port", type=click.IntRange(1, 65535), default=PORT, show_default=True, help="where to listen"
)
@planning_options
@rules_option
@db_option
@click.pass_context
def command(
    context: click.Context,
    port: int,
    think: Think,
    wrong_part: float,
    rules: tuple[str, ...],
    db: str | None,
) -> None:
    """Serve the guided visit to a browser, on this machine only."""
    if context.invoked_subcommand is not None:
        return
    from stillflow.casebook.store import Casebook

    try:
        import uvicorn

        from stillflow.cli.web.app import application
        from stillflow.cli.web.desk import Desk
    except ImportError as problem:
        what = f"serving needs the package '{problem.name}', which is not installed"
        raise SetupError(what, right="install it: pip install 'stillflow[web]'") from None
    desk = Desk(load_rules(rules), Casebook(db), think, wrong_part)
    say(f"Open http://127.0.0.1:{port} in a browser on this machine. Ctrl+C ends it.")
    uvicorn.run(application(desk), host="127.0.0.1", port=port, log_level="warning")
