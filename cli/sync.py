"""`stillflow sync`: a laptop's casebook and the shop's, joined."""

from __future__ import annotations

import click

from stillflow.cli.options import db_option
from stillflow.cli.output import say
from stillflow.cli.settings import load_settings, settings_option
from stillflow.engine.base import counted


@click.command("sync")
@click.option("--to", metavar="URL", required=True, help="the other casebook, such as the shop's")
@settings_option
@db_option
def command(to: str, settings: str | None, who: str | None, db: str | None) -> None:
    """Join this casebook with another, until both hold all of both.

    Run it as often as you like: a second time changes nothing. Where two people went on with one
    visit apart, both versions are kept and named.
    """
    from stillflow.casebook.changes import change_words
    from stillflow.casebook.ids import short_id
    from stillflow.casebook.store import Casebook
    from stillflow.casebook.sync import sync

    who = who or load_settings(settings).technician
    with Casebook(db, who) as here, Casebook(to, who) as there:
        found = sync(here, there)
    say(f"{counted(found.sent, 'visit')} sent, {found.fetched} fetched.")
    if found.forgotten:
        say(f"{counted(found.forgotten, 'house')} forgotten, as on the other side.")
    if found.joined:
        say(
            f"In {counted(found.joined, 'visit')} what both had added was put together; what stands"
        )
        say("there may have another number now: stillflow visits show VISIT")
    for one in found.parted:
        say(
            f"Two people went on apart with visit {short_id(one.kept)}"
            f"{f' ({one.house})' if one.house else ''}. Both versions are kept: "
            f"{short_id(one.kept)} is as in the other casebook{one.by[1]}, "
            f"{short_id(one.other)} as here{one.by[0]}. If one of them does not count: "
            f"stillflow visits aside {short_id(one.other)} REASON"
        )
    for differing in found.apart:
        words = change_words([(differing.field, differing.dropped, differing.kept)])
        say(f"House {differing.house}: two people edited it apart: {words}. Its trail has both.")
