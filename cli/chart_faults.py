"""`stillflow chart faults`: what can bring a complaint about, as a fault tree or as a table."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from stillflow.cli.drawing import (
    STDOUT,
    Target,
    chart_options,
    day_of,
    drawn,
    write_chart,
    write_file,
)
from stillflow.cli.options import Share, rules_option
from stillflow.cli.output import say, send
from stillflow.cli.screen import Screen
from stillflow.engine import load_rules
from stillflow.engine.base import InputError, Place, chance, small_first
from stillflow.engine.charts import FORMATS, TitleBlock
from stillflow.engine.faulttree import Analysis, CutSet, FaultTree, analyse
from stillflow.engine.ruleset import Complaint

if TYPE_CHECKING:
    from stillflow.engine.views import By

TABLE_FORMATS = ("csv", "json")
_MEASURES = {
    "birnbaum": ("B", "Birnbaum"),
    "fussell_vesely": ("FV", "Fussell-Vesely"),
    "criticality": ("CR", "criticality"),
    "achievement": ("RAW", "risk achievement worth"),
    "reduction": ("RRW", "risk reduction worth"),
}
"""Each measure's short name, which keeps the table within 80 columns, and what it stands for."""
_COLUMNS = ("kind", "id", "title", "order", "probability", *_MEASURES, "code", "type")


HELP = """Draw what can bring a complaint about: places, modes, causes, and what acts only together.

\b
stillflow chart faults --complaint weak-everywhere --paper a3 --out faults.pdf
stillflow chart faults --table --exact
stillflow chart faults --table --format csv --out importance.csv
"""


@click.command("faults", help=HELP)
@click.option("--complaint", metavar="ID", help="what the customer calls about: the top event")
@click.option(
    "--by",
    type=click.Choice(["place", "mode"]),
    default="place",
    show_default=True,
    help="what it divides by first: where a cause is, or how it shows",
)
@click.option("--table", is_flag=True, help="print cut sets and importance instead of drawing")
@click.option("--exact", is_flag=True, help="exact probabilities by a binary decision diagram")
@click.option(
    "--worth",
    type=Share(),
    metavar="SHARE",
    help="join causes of less than this share; 0 for none (default: 0.5% drawn, 0 in tables)",
)
@chart_options((*FORMATS, "csv"))
@rules_option
def faults(
    complaint: str | None,
    by: By,
    table: bool,
    exact: bool,
    worth: float | None,
    target: Target,
    day: datetime | None,
    rules: tuple[str, ...],
) -> None:
    """Draw the fault tree of a complaint, or tabulate it."""
    from stillflow.engine.charts import faulttree_chart
    from stillflow.engine.views import WORTH_AN_EVENT, fault_tree, known_complaint

    knowledge = load_rules(rules)
    known = None if complaint is None else known_complaint(knowledge, complaint)
    form, out = target.format, target.out
    table = table or form == "csv" or Path(out).suffix.lower() == ".csv"
    least = worth if worth is not None else 0.0 if table else WORTH_AN_EVENT
    tree = fault_tree(knowledge, known, least, by)
    analysis = analyse(tree, "exact" if exact else "rare-event")
    if table:
        _tabulate(tree, analysis, _explained(tree, analysis, known), form, out)
        return
    top = tree.by_id[tree.top].title
    filters = [f"complaint: {known.title}"] if known else []
    if by == "mode":
        filters.append("by how a cause shows, then by place")
    if least:
        filters.append(f"causes of less than {least * 100:g} % of it joined")
    title = TitleBlock(
        title=f"Fault tree: {small_first(top)}",
        subtitle=_explained(tree, analysis, known),
        date=day_of(day),
        rules_version=knowledge.digest,
        filters=tuple(filters),
    )
    paths = write_chart(faulttree_chart(tree, title, analysis), target)
    if paths:
        say(drawn(paths))


def _explained(tree: FaultTree, analysis: Analysis, complaint: Complaint | None) -> str:
    how = {
        "exact": "worked out as if causes came independently of one another, which shares of "
        "calls do not: their sum, without --exact, is right",
        "rare-event": "sums over what is enough by itself, which is right for shares: one call "
        "is counted under one cause",
    }[analysis.method]
    calls = "calls about poor suction" if complaint is None else "the calls with this complaint"
    words = (
        f"Figures are shares of {calls}, from how common the rules say each fault is. "
        f"Those of gates, the top among them, are {how}."
    )
    if any(event.kind == "condition" for event in tree.events):
        words += " A fault under a condition is there more often than it is felt."
    return words


def _tabulate(tree: FaultTree, analysis: Analysis, explained: str, form: str, out: str) -> None:
    if not form and out not in ("", STDOUT):
        form = Path(out).suffix.lower().removeprefix(".")
    if not form:
        if out == STDOUT:
            form = "csv"
        else:
            _show(Screen(), tree, analysis, explained)
            return
    if form not in TABLE_FORMATS:
        right = f"one of {', '.join(TABLE_FORMATS)}, or no --format to see it here"
        raise InputError(f"a table cannot be made as {form or out}", Place(key="--table"), right)
    text = _csv(tree, analysis) if form == "csv" else _json(tree, analysis)
    if out in ("", STDOUT):
        send(text)
        return
    write_file(Path(out), text.encode("utf-8"))
    say(f"Written: {out}")


def _show(screen: Screen, tree: FaultTree, analysis: Analysis, explained: str) -> None:
    title = tree.by_id[tree.top].title
    screen.head(title, f"{chance(analysis.probability)}, {analysis.method}")
    screen.text(explained)
    if analysis.remark:
        screen.text(f"Mind: {analysis.remark}.")
    screen.gap()
    together = [(cut, share) for cut, share in analysis.cut_sets if len(cut) > 1]
    alone = len(analysis.cut_sets) - len(together)
    screen.text(f"Minimal cut sets: {alone} causes that are enough by themselves, and", 0, "bold")
    names = {row.event: f"{row.code} {row.title}".strip() for row in analysis.importance}
    rows = [(_together(tree, cut, names), chance(share)) for cut, share in together]
    screen.table(("only together", "share of calls"), rows)
    screen.gap()
    screen.text(
        "Importance: " + ", ".join(f"{short} {words}" for short, words in _MEASURES.values())
    )
    if any(row.type == "condition" for row in analysis.importance):
        screen.text("Codes are those of the drawing; C is a condition, not a fault.")
    screen.table(
        ("", "share", *(short for short, _ in _MEASURES.values())),
        [
            (
                names[row.event],
                chance(row.probability),
                *(_figure(getattr(row, m)) for m in _MEASURES),
            )
            for row in analysis.importance
        ],
    )


def _together(tree: FaultTree, cut: CutSet, names: Mapping[str, str]) -> str:
    """A cut set in words: its faults, and while what they matter."""
    held = [event.id for event in tree.events if event.kind == "condition" and event.id in cut]
    faults = " and ".join(names[i] for i in sorted(cut.difference(held)))
    return " while ".join([faults, " and ".join(names[i] for i in held)] if held else [faults])


def _figure(value: float | None) -> str:
    return "none" if value is None else f"{value:.3f}"


def _rows(tree: FaultTree, analysis: Analysis) -> list[dict[str, str | float | None]]:
    top = tree.by_id[tree.top].title
    rows: list[dict[str, str | float | None]] = [
        {"kind": "top", "id": "", "title": top, "probability": analysis.probability}
    ]
    codes = {row.event: row.code for row in analysis.importance}
    titles = {row.event: row.title for row in analysis.importance}
    for cut, probability in analysis.cut_sets:
        rows.append(
            {
                "kind": "cut-set",
                "id": " + ".join(sorted(cut)),
                "title": _together(tree, cut, titles),
                "order": len(cut),
                "probability": probability,
                "code": " + ".join(codes[name] for name in sorted(cut)),
            }
        )
    for row in analysis.rows():
        rows.append({"kind": "event", "id": row.pop("event"), **row})
    return rows


def _csv(tree: FaultTree, analysis: Analysis) -> str:
    text = io.StringIO()
    writer = csv.DictWriter(text, _COLUMNS, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(_rows(tree, analysis))
    return text.getvalue()


def _json(tree: FaultTree, analysis: Analysis) -> str:
    content = {"top": tree.by_id[tree.top].title, **analysis.as_data()}
    return json.dumps(content, indent=2, ensure_ascii=False) + "\n"
