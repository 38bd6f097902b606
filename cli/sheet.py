"""`stillflow sheet`: the page of a visit for the customer and the file."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from stillflow.cli.options import db_option, rules_option
from stillflow.cli.output import plain, say
from stillflow.cli.settings import load_settings
from stillflow.cli.visits import visit_and_home
from stillflow.engine import Session, load_rules
from stillflow.engine.base import InputError, Place
from stillflow.engine.charts import CustomerSheet
from stillflow.engine.inference import ASIDE, Visit

if TYPE_CHECKING:
    from stillflow.casebook.store import Casebook

_WIDTH = 72
_FULL_SIZE = 11.0
_LETTERS = 85
"""Letters to a line of the HTML page, about."""
_HEIGHTS = {"a4": 762.0, "letter": 711.0}
"""Points between the margins."""
_LEADING = 1.5
"""Height of a line over the size of its letters, with what headings take."""


@click.command("sheet")
@click.argument("visit")
@click.option("--short", is_flag=True, help="one line for an invoice")
@click.option(
    "--out",
    metavar="FILE",
    help="write it: a name ending in .html, .pdf, .svg, .png or .txt (default: text, here)",
)
@click.option(
    "--paper",
    type=click.Choice(["a4", "letter"]),
    default="a4",
    show_default=True,
    help="what it is printed on",
)
@click.option("--minutes", type=click.FloatRange(0, 6000), help="minutes on site, for the page")
@click.option(
    "--settings",
    envvar="STILLFLOW_SETTINGS",
    metavar="FILE",
    help="the shop's settings, with its heading",
)
@rules_option
@db_option
def command(
    visit: str,
    short: bool,
    out: str | None,
    paper: Any,
    minutes: float | None,
    settings: str | None,
    rules: tuple[str, ...],
    db: str | None,
) -> None:
    """Write the page of VISIT for the customer: measured before and after, found, done, to watch.

    VISIT is a file or an id in the casebook. Only what was measured and recorded is said.
    """
    session, casebook = visit_and_home(visit, load_rules(rules), db)
    visits, closed = _on_record(session.visit, casebook, db)
    sheet = sheet_of(session, visits, settings, minutes, closed)
    if short:
        say(sheet.short)
    elif out is None:
        say(sheet_text(sheet), end="")
    else:
        _write(sheet, Path(out), paper)


def _on_record(
    visit: Visit, casebook: Casebook | None, db: str | None
) -> tuple[Sequence[Visit], bool]:
    """The visits to a house on record, and whether this one has ended; a file's stands as it is."""
    from stillflow.casebook.sites import Sites
    from stillflow.casebook.store import kept_in

    if not visit.id:
        return (), True
    with casebook or kept_in(db) as casebook:
        visits = Sites(casebook).visits(visit.site.id) if visit.site.id else ()
        kept = next((one for one in visits if one.id == visit.id), None)
        with suppress(InputError):
            # Of a house without a name there is no list.
            kept = kept or casebook.get(visit.id)
    if kept is not None and kept.conclusion is not None and kept.conclusion.step == ASIDE:
        again = f"stillflow visits reopen {kept.id}"
        raise InputError("this visit was set aside, so it has no page", right=again)
    return visits, kept is None or kept.conclusion is not None


def sheet_of(
    session: Session,
    visits: Sequence[Visit],
    settings: str | None,
    minutes: float | None = None,
    closed: bool = True,
) -> CustomerSheet:
    """The page of a visit, with warnings from the visits to its house until then."""
    from stillflow.engine.views import Shop, customer_sheet, site_history

    shop = load_settings(settings)
    history = site_history(visits, session.knowledge, session.visit.opened)
    return customer_sheet(
        session,
        Shop(shop.heading, shop.currency, shop.measure_again_months),
        minutes,
        tuple(one.watch for one in history if one.watch),
        closed,
    )


def sheet_text(sheet: CustomerSheet) -> str:
    """The page as plain lines, to paste into an invoice."""
    import textwrap

    lines = [*sheet.heading, *([""] if sheet.heading else [])]

    def add(words: str, begin: str = "") -> None:
        lines.extend(
            textwrap.wrap(words, _WIDTH, initial_indent=begin, subsequent_indent=" " * len(begin))
        )

    for label, words in sheet.facts:
        add(words, f"{label}: ")
    if sheet.readings:
        lines += ["", f"{'Measured, inH2O':<40}{'before':>8}{'after':>8}{'expected':>10}"]
        for one in sheet.readings:
            values = f"{number(one.before):>8}{number(one.after):>8}{number(one.expected):>10}"
            lines.append(f"{one.label[:39]:<40}{values}")
        add(sheet.measured_with)
    for part in sheet.parts:
        lines += ["", part.heading]
        for line in part.lines:
            add(line, "- ")
    return "\n".join(lines) + "\n"


def number(value: float | None) -> str:
    """Whole inH2O, a dash where nothing was read."""
    return "-" if value is None else f"{value:.0f}"


def sheet_html(sheet: CustomerSheet, paper: str) -> str:
    """The page as one HTML file that asks for nothing else; names are text, whatever is in them."""
    from jinja2 import Environment, PackageLoader

    environment = Environment(loader=PackageLoader("stillflow.cli"), autoescape=True)
    environment.finalize = lambda value: plain(value) if isinstance(value, str) else value
    lines = 6 + len(sheet.heading) + 2.2 * len(sheet.readings)
    for words in (*(f"{a} {b}" for a, b in sheet.facts), *_words(sheet)):
        lines += 1 + len(words) // _LETTERS
    size = min(_FULL_SIZE, _HEIGHTS[paper] / (_LEADING * lines))

    def share(value: float, most: float) -> str:
        return f"{100 * value / (1.1 * most):.1f}"

    return environment.get_template("sheet.html").render(
        sheet=sheet,
        title="Service sheet",
        paper="A4" if paper == "a4" else "letter",
        size=f"{size:.2f}",
        number=number,
        share=share,
    )


def _words(sheet: CustomerSheet) -> list[str]:
    return [line for part in sheet.parts for line in (part.heading, *part.lines)]


def _write(sheet: CustomerSheet, path: Path, paper: Any) -> None:
    from stillflow.cli.drawing import Target, drawn, write_chart, write_file
    from stillflow.engine.charts import sheet_chart

    ending = path.suffix.lower()
    if ending == ".html":
        write_file(path, sheet_html(sheet, paper).encode())
    elif ending == ".txt":
        write_file(path, plain(sheet_text(sheet)).encode())
    elif ending in (".pdf", ".svg", ".png"):
        say(drawn(write_chart(sheet_chart(sheet), Target(str(path), "", paper))))
        return
    else:
        right = "end it in .html, .pdf, .svg, .png or .txt"
        raise InputError(f"'{path.suffix}' is no format for a sheet", Place(str(path)), right)
    say(f"Written: {path}")
