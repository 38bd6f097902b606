"""`stillflow serve`: the visit on a phone, on this machine or for the phones of a shop."""

from __future__ import annotations

import socket
from contextlib import closing
from pathlib import Path
from urllib.parse import urlsplit

import click

from stillflow.cli.options import db_option, planning_options, rules_option
from stillflow.cli.output import say, show
from stillflow.cli.screen import Screen
from stillflow.engine import load_rules
from stillflow.engine.base import InputError, Place, SetupError
from stillflow.engine.planning import Think

PORT = 8765
HERE = "127.0.0.1"


@click.group("serve", invoke_without_command=True)
@click.option(
    "--port", type=click.IntRange(1, 65535), default=PORT, show_default=True, help="where to listen"
)
@click.option(
    "--share", is_flag=True, help="let phones of the local network in, each by a pairing code"
)
@click.option(
    "--at",
    "public",
    metavar="URL",
    help="the https address of a reverse proxy on this machine that phones come in by",
)
@click.option(
    "--marks",
    type=click.Path(dir_okay=False),
    envvar="STILLFLOW_MARKS",
    metavar="FILE",
    help="where marks of drills are kept (default: your user-data folder)",
)
@planning_options
@rules_option
@db_option
@click.pass_context
def command(
    context: click.Context,
    port: int,
    share: bool,
    public: str | None,
    marks: str | None,
    think: Think,
    wrong_part: float,
    rules: tuple[str, ...],
    db: str | None,
) -> None:
    """Serve the guided visit to a browser.

    It listens on this machine only, unless --share or --at is given.
    """
    if context.invoked_subcommand is not None:
        return
    from stillflow.casebook.store import Casebook

    if share and public:
        raise InputError("--share and --at are two ways", right="give one of them")
    try:
        import uvicorn

        from stillflow.cli.web.app import LOCAL, application
        from stillflow.cli.web.carrying import Packer
        from stillflow.cli.web.desk import Desk
        from stillflow.cli.web.pairing import Pairing
    except ImportError as problem:
        raise missing_package(problem) from None
    address, listen, hosts = f"http://{HERE}:{port}", HERE, set(LOCAL)
    if share:
        own = own_address()
        address, listen = f"http://{own}:{port}", "0.0.0.0"
        hosts.add(own)
    elif public:
        address = public.rstrip("/")
        hosts.add(_host_of(address))

    def tell(code: str) -> None:
        _show_code(Screen(), address, code)

    desk = Desk(load_rules(rules), Casebook(db), think, wrong_part)
    with closing(_bound(listen, port)) as door:
        say(f"Open {address} in a browser. Ctrl+C ends it.")
        packer = Packer(rules, think, wrong_part)
        packer.start()
        door_keeper = Pairing(tell) if share or public else None
        app = application(desk, hosts, door_keeper, packer, Path(marks) if marks else None)
        settings = uvicorn.Config(
            app, log_level="warning", proxy_headers=bool(public), forwarded_allow_ips=HERE
        )
        try:
            uvicorn.Server(settings).run(sockets=[door])
        finally:
            packer.close()


@command.group("people", invoke_without_command=True)
@db_option
@click.pass_context
def people(context: click.Context, db: str | None) -> None:
    """List whose phones are paired, or revoke one."""
    if context.invoked_subcommand is None:
        _list(db)


@people.command("list")
@db_option
def list_(db: str | None) -> None:
    """List whose phones are paired."""
    _list(db)


@people.command("revoke")
@click.argument("name")
@db_option
def revoke(name: str, db: str | None) -> None:
    """Let the phone of NAME in no longer."""
    from stillflow.casebook.phones import Phones
    from stillflow.casebook.store import Casebook

    with Casebook(db) as casebook:
        Phones(casebook).revoke(name)
    say(f"The phone of {name} is let in no longer.")


def _list(db: str | None) -> None:
    from stillflow.casebook.phones import Phones
    from stillflow.casebook.store import Casebook

    with Casebook(db) as casebook:
        listed = Phones(casebook).listed()
    screen = Screen()
    if not listed:
        screen.text("No phone is paired. Pair one with: stillflow serve --share")
    rows = [
        (one.name, f"{one.paired:%Y-%m-%d %H:%M}", f"{one.seen:%Y-%m-%d %H:%M}") for one in listed
    ]
    if rows:
        screen.table(("phone of", "paired, UTC", "last seen, UTC"), rows)


def own_address() -> str:
    """The address of this machine in the local network.

    Raises:
        SetupError: it is in none.
    """
    with closing(socket.socket(socket.AF_INET, socket.SOCK_DGRAM)) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # of no host; nothing is sent
            own = str(probe.getsockname()[0])
        except OSError:
            own = "0.0.0.0"
    if own.startswith(("127.", "0.")):
        right = "join one, or leave --share out"
        raise SetupError("this machine is in no network", right=right)
    return own


def _host_of(address: str) -> str:
    parts = urlsplit(address)
    if parts.scheme != "https" or not parts.hostname or parts.path not in ("", "/"):
        right = "write it as https://visits.example"
        raise InputError(f"'{address[:60]}' is not such an address", Place(key="--at"), right)
    return parts.hostname


def _bound(listen: str, port: int) -> socket.socket:
    door = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    door.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        door.bind((listen, port))
    except OSError as problem:
        door.close()
        reason = (problem.strerror or "it cannot be used").lower()
        raise SetupError(f"port {port}: {reason}", Place(key="--port"), "choose another") from None
    return door


def missing_package(problem: ImportError) -> SetupError:
    """That what serves pages is not installed."""
    what = f"serving needs the package '{problem.name}', which is not installed"
    return SetupError(what, right="install it: pip install 'stillflow[web]'")


def _show_code(screen: Screen, address: str, code: str) -> None:
    import io

    import segno

    link = f"{address}/pair?code={code}"
    picture = io.StringIO()
    segno.make(link, micro=False).terminal(out=picture, compact=True)
    screen.gap()
    screen.text(f"To pair a phone: {address}/pair with the code {code[:4]} {code[4:]}, or:")
    say(link)
    show(picture.getvalue())
