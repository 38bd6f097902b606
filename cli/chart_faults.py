"""`stillflow chart faults`: what can bring a complaint about, as a fault tree or as a table."""

from __future__ import annotations

import csv
import io
import json
from datetime import datetime
from pathlib import Path

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
from stillflow.engine.base import InputError, Place, chance
from stillflow.engine.charts import FORMATS, PaperName, TitleBlock
from stillflow.engine.faulttree import Analysis, FaultTree, analyse

TABLE_FORMATS = ("csv", "json")
_MEASURES = ("birnbaum", "fussell_vesely", "criticality", "achievement", "reduction")
_COLUMNS = ("kind", "id", "title", "order", "probability", *_MEASURES)


HELP = """Draw what can bring a complaint about: places, modes, causes, and what acts only together.

\b
stillflow chart faults --complaint weak-everywhere --paper a3 --out faults.pdf
stillflow chart faults --table --exact
stillflow chart faults --table --format csv --out importance.csv
"""


@click.command("faults", help=HELP)
@click.option("--complaint", metavar="ID", help="what the customer calls about: the top event")
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
    table: bool,
    exact: bool,
    worth: float | None,
    form: str | None,
    out: str,
    paper: PaperName | None,
    day: datetime | None,
    rules: tuple[str, ...],
) -> None:
    """Draw the fault tree of a complaint, or tabulate it."""
    from stillflow.engine.charts import faulttree_chart
    from stillflow.engine.views import WORTH_AN_EVENT, fault_tree, known_complaint

    knowledge = load_rules(rules)
    known = None if complaint is None else known_complaint(knowledge, complaint)
    table = table or form == "csv" or Path(out).suffix.lower() == ".csv"
    least = worth if worth is not None else 0.0 if table else WORTH_AN_EVENT
    tree = fault_tree(knowledge, known, least)
    analysis = analyse(tree, "exact" if exact else "rare-event")
    if table:
        _tabulate(tree, analysis, form, out)
        return
    top = tree.by_id[tree.top].title
    filters = [f"complaint: {known.title}"] if known else []
    if least:
        filters.append(f"causes of less than {least * 100:g} % of it joined")
    title = TitleBlock(
        title=f"Fault tree: {top[0].lower()}{top[1:]}",
        subtitle=_explained(analysis),
        date=day_of(day),
        rules_version=knowledge.digest,
        filters=tuple(filters),
    )
    paths = write_chart(faulttree_chart(tree, title, analysis), Target(out, form or "", paper))
    if paths:
        say(drawn(paths))


def _explained(analysis: Analysis) -> str:
    how = {
        "exact": "worked out as if causes came independently of one another, which shares of "
        "calls do not: their sum, without --exact, is right",
        "rare-event": "the sum over what is enough by itself, which is right for shares: one call "
        "is counted under one cause",
    }[analysis.method]
    return (
        "Figures are shares of calls about poor suction, from how common the rules say each "
        f"fault is. The figure on top is {how}."
    )


def _tabulate(tree: FaultTree, analysis: Analysis, form: str | None, out: str) -> None:
    if form is None and out not in ("", STDOUT):
        form = Path(out).suffix.lower().removeprefix(".")
    if form is None:
        if out == STDOUT:
            form = "csv"
        else:
            _show(Screen(), tree, analysis)
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


def _show(screen: Screen, tree: FaultTree, analysis: Analysis) -> None:
    title = tree.by_id[tree.top].title
    screen.head(title, f"{chance(analysis.probability)}, {analysis.method}")
    screen.text(f"{_explained(analysis)}")
    if analysis.remark:
        screen.text(f"Mind: {analysis.remark}.")
    screen.gap()
    together = [(cut, share) for cut, share in analysis.cut_sets if len(cut) > 1]
    alone = len(analysis.cut_sets) - len(together)
    screen.text(f"Minimal cut sets: {alone} causes that are enough by themselves, and", 0, "bold")
    rows = [
        (" and ".join(tree.by_id[name].title for name in sorted(cut)), chance(share))
        for cut, share in together
    ]
    screen.table(("only together", "share of calls"), rows)
    screen.gap()
    screen.table(
        ("importance", "there", "Birnbaum", "Fussell-Vesely", "critical", "RAW", "RRW"),
        [
            (row.title, chance(row.probability), *(_figure(getattr(row, m)) for m in _MEASURES))
            for row in analysis.importance
        ],
    )


def _figure(value: float | None) -> str:
    return "none" if value is None else f"{value:.3f}"


def _rows(tree: FaultTree, analysis: Analysis) -> list[dict[str, str | float | None]]:
    top = tree.by_id[tree.top].title
    rows: list[dict[str, str | float | None]] = [
        {"kind": "top", "id": "", "title": top, "probability": analysis.probability}
    ]
    for cut, probability in analysis.cut_sets:
        names = sorted(cut)
        rows.append(
            {
                "kind": "cut-set",
                "id": " + ".join(names),
                "title": " and ".join(tree.by_id[name].title for name in names),
                "order": len(cut),
                "probability": probability,
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
    content = {
        "top": tree.by_id[tree.top].title,
        "method": analysis.method,
        "probability": analysis.probability,
        "remark": analysis.remark,
        "cut_sets": analysis.cut_set_rows(),
        "importance": analysis.rows(),
    }
    return json.dumps(content, indent=2, ensure_ascii=False) + "\n"
