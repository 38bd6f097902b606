"""The `stillflow` command: which commands there are, and how errors become one line.

Commands are imported when they are run, so that help stays quick.
"""

from __future__ import annotations

import gc
import io
import os
import sys
from contextlib import suppress
from importlib import import_module
from typing import Any

import click

from stillflow.cli.output import say

# Look-ahead is many small products: to share each out among threads takes twice the time.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

COMMANDS: dict[str, tuple[str, str]] = {
    "visit": ("visit", "Be guided through a call, from complaint to verified fix."),
    "serve": ("serve", "Serve the guided visit to a phone or any browser."),
    "guide": ("guide", "Write the guided visit into one page that needs no server."),
    "read": ("read", "Say what a pair of readings means, in one go."),
    "next": ("next_step", "Give the next step of a visit file."),
    "why": ("why", "Explain a visit: what was concluded, from what, by which rules."),
    "chart": ("chart", "Draw decision tree, fault tree, stations or airflow, to pin to the wall."),
    "demo": ("demo", "Play one invented call on an invented house, no questions asked."),
    "drill": ("drill", "Practise on a made-up house that answers back, and be marked."),
    "rules": ("rules", "Check, list, look up, try and weigh the rules."),
    "visits": ("records", "List, find, show and carry the visits on record."),
    "sites": ("sites", "List, find and put right the houses; see how one has done over the years."),
    "sheet": ("sheet", "Write the page of a visit for the customer and the file."),
    "sync": ("sync", "Join this casebook with another, such as a laptop's with the shop's."),
    "casebook": ("casebook", "Look up worked cases; run them and kept visits through the rules."),
    "schema": ("schema", "Print the JSON Schema of a file format."),
}
"""Command -> (module, one-line help)."""

INTERRUPTED, MACHINE = 130, 1


class LazyGroup(click.Group):
    """A group whose commands live in modules of their own, found by name."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order a newcomer would use them."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import and return one command."""
        if cmd_name not in COMMANDS:
            return None
        module = import_module(f"stillflow.cli.{COMMANDS[cmd_name][0]}")
        command: click.Command = module.command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, text) for name, (_, text) in COMMANDS.items()])

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command, or say which one may have been meant."""
        name = args[0] if args else ""
        if name and not name.startswith("-") and name not in COMMANDS:
            from stillflow.engine.base import nearest

            right = nearest(name, COMMANDS) or "stillflow --help lists them"
            raise click.UsageError(f"there is no command '{name}'; {right}")
        return super().resolve_command(ctx, args)


HELP = """From "it doesn't suck like it used to" to a verified fix on a built-in vacuum system.

\b
stillflow demo     watch one call from start to finish
stillflow visit    be guided through a call of your own
stillflow read --sealed 90 --working 50 --rated-sealed 130 --rated-airflow 114
"""


@click.group(cls=LazyGroup, help=HELP, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="stillflow", message="stillflow %(version)s")
def group() -> None:
    """Hold the commands."""


def main(args: list[str] | None = None) -> None:
    """Run the command line.

    The exit code is 0, 2 for bad input, 1 where the machine is at fault or something was found,
    130 when interrupted.
    """
    # Start-up makes some 200,000 objects that live to the end; collecting garbage while they are
    # made takes a tenth of a cold `next` and finds none.
    gc.set_threshold(500_000, 20, 20)
    # Looking for pydantic plugins reads the metadata of every installed package; none is used.
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    if "STILLFLOW_CACHE" not in os.environ:
        from platformdirs import user_cache_dir

        os.environ["STILLFLOW_CACHE"] = user_cache_dir("stillflow", appauthor=False)
    code = run(args)
    # The interpreter looks for garbage once more as it ends, among all that is loaded: a tenth of
    # a second, for memory that goes back in any case.
    gc.freeze()
    sys.exit(code)


def run(args: list[str] | None = None) -> int:
    """Run the command line and give its exit code."""
    from stillflow.engine.base import StillflowError

    for stream in (sys.stdout, sys.stderr):
        # What the terminal's encoding lacks is written out as its number, not refused.
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    try:
        result: Any = group.main(args=args, prog_name="stillflow", standalone_mode=False)
        if sys.stdout is not None:
            sys.stdout.flush()
    except StillflowError as error:
        return _fail(str(error), 2)
    except click.exceptions.NoArgsIsHelpError as error:
        say(error.format_message())
        return 0
    except click.ClickException as error:
        return _fail(_one_line(error), 2)
    except (click.Abort, KeyboardInterrupt):
        return _fail("interrupted", INTERRUPTED)
    except BrokenPipeError:
        # Whoever read our output has gone (`| head`); nothing is wrong.
        sys.stderr.close()
        return 0
    except OSError as problem:
        # Nobody can be told on standard output, and closing it must not fail again.
        with suppress(OSError):
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        reason = (problem.strerror or str(problem)).lower()
        return _fail(f"the machine refused to read or write ({reason})", MACHINE)
    return result if isinstance(result, int) else 0


def _one_line(error: click.ClickException) -> str:
    text = " ".join(error.format_message().split())
    if isinstance(error, click.UsageError) and error.ctx is not None:
        text = f"{text.rstrip('.')}; see '{error.ctx.command_path} --help'"
    return text


def _fail(message: str, code: int) -> int:
    with suppress(OSError):
        say(f"stillflow: {message}", err=True)
    return code
