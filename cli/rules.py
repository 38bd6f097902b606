"""`stillflow rules`: what is wrong with a rule set, what it holds, and what one entry says."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from dataclasses import asdict

import click

from stillflow.cli.options import json_option, rules_option
from stillflow.cli.output import say, say_json
from stillflow.cli.rule_add import add
from stillflow.cli.rule_compare import compare, watch
from stillflow.cli.rule_doubt import doubt_
from stillflow.cli.rule_trial import explain, play, try_
from stillflow.cli.screen import Screen
from stillflow.engine import load_rules
from stillflow.engine.audit import Card, Finding
from stillflow.engine.base import InputError, KnowledgeError
from stillflow.engine.ruleset import Knowledge, replaced_words

REFUSED, FAULTY = 2, 1
LISTS = ("faults", "checks", "rules", "course", "cautions", "tools", "classes", "sources")


@click.group("rules", invoke_without_command=True)
@click.pass_context
def command(ctx: click.Context) -> None:
    """Check, list, look up, try and weigh the rules."""
    if ctx.invoked_subcommand is None:
        say(ctx.get_help())


for _one in (add, try_, explain, play, compare, doubt_, watch):
    command.add_command(_one)


@command.command("check")
@rules_option
@json_option
def check(rules: tuple[str, ...], as_json: bool) -> int:
    """Look for what is wrong with the rules.

    One line for each finding: file, line and id, what is wrong, what would be right. The exit
    code is 1 if any is of medium or high severity (somebody may be misled, or it will misbehave),
    0 if none is, and 2 if the files cannot be loaded.
    """
    from stillflow.engine.audit import INSPECTIONS, Severity, audit, refused

    knowledge: Knowledge | None = None
    try:
        knowledge = load_rules(rules)
        found: Sequence[Finding] = audit(knowledge)
        grave = any(one.severity is not Severity.LOW for one in found)
        code = FAULTY if grave else 0
    except KnowledgeError as error:
        found, code = refused(error), REFUSED
    if as_json:
        say_json(
            {
                "rules": knowledge.digest if knowledge else None,
                "clean": not found,
                "files": [name for _, name in knowledge.files] if knowledge else None,
                "replaced": [asdict(one) for one in knowledge.replaced] if knowledge else None,
                "findings": [_finding(one) for one in found],
                "inspections": {one.name: one.finds for one in INSPECTIONS},
            }
        )
        return code
    for one in found:
        say(str(one))
    for line in _laid_over(knowledge) if knowledge else ():
        say(line)
    if knowledge is None:
        say(f"{len(found)} wrong; the rules cannot be loaded.")
    elif found:
        say(f"{len(found)} found in {_size(knowledge)}. What is looked for:")
        for inspection in INSPECTIONS:
            if any(one.inspection == inspection.name for one in found):
                say(f"  {inspection.name}: {inspection.finds}")
    else:
        say(f"Clean: {_size(knowledge)}; {len(INSPECTIONS)} kinds of slips looked for.")
    return code


@command.command("list")
@click.argument("what", type=click.Choice(LISTS), default="rules")
@rules_option
@json_option
def list_(what: str, rules: tuple[str, ...], as_json: bool) -> None:
    """List the entries of one kind, each with its id: the course in its order, others by id."""
    knowledge = load_rules(rules)
    rows = listed(knowledge, what)
    if as_json:
        say_json(rows)
        return
    screen = Screen()
    group = ""
    for row in rows:
        if row["group"] != group:
            group = str(row["group"])
            screen.head(group)
        screen.item("-", f"{row['id']}: {row['title']}", 0)
    screen.gap()
    more = "" if what == "course" else "; 'stillflow rules show ID' says more about one"
    screen.text(f"{len(rows)} {'entries' if what == 'course' else what}{more}.")


@command.command("show")
@click.argument("entry", metavar="ID")
@click.option(
    "--all", "every", is_flag=True, help="all that speaks for and against a fault, weak or strong"
)
@click.option(
    "--play", is_flag=True, help="play every worked case, a second each, to see where a rule fires"
)
@rules_option
@json_option
def show(entry: str, every: bool, play: bool, rules: tuple[str, ...], as_json: bool) -> None:
    """Say all about one fault, check, rule, caution, tool, class or source, and where it stands."""
    from stillflow.cli.rule_cards import show_card
    from stillflow.engine.audit import look_up

    knowledge = load_rules(rules)
    cards = look_up(knowledge, entry)
    cases = [_cases(card, knowledge, play) for card in cards]
    if as_json:
        shown = [
            {**card.model_dump(mode="json"), **names}
            for card, names in zip(cards, cases, strict=True)
        ]
        say_json(shown)
        return
    screen = Screen()
    for card, lists in zip(cards, cases, strict=True):
        show_card(screen, card, every)
        for key, names in lists.items():
            mark = {"true_in": "true in worked cases:", "fired_in": "fired in worked cases:"}[key]
            screen.item(mark, ", ".join(names) or "none", 0)


@command.command("coverage")
@rules_option
@json_option
def coverage(rules: tuple[str, ...], as_json: bool) -> None:
    """Print which checks bear on which faults.

    It is the page rules/COVERAGE.md; write that anew with:
    stillflow rules coverage > rules/COVERAGE.md
    """
    from stillflow.casebook.cases import fixed_in_cases
    from stillflow.engine.audit import cover, page

    covered = cover(load_rules(rules))
    text = f"{covered.model_dump_json(indent=2)}\n" if as_json else page(covered, fixed_in_cases())
    say(text, end="")


@command.command("weigh")
@click.option(
    "--houses",
    type=click.IntRange(100, 20_000),
    help="how many houses to simulate  [default: 3000]",
)
@click.option(
    "--seed",
    type=click.IntRange(0, 2**32 - 1),
    default=1,
    show_default=True,
    help="which houses; the same seed draws the same ones",
)
@click.option("--all", "every_fault", is_flag=True, help="a line for every fault of every rule")
@click.option("--db", metavar="URL", help="a casebook whose visits are read too; a database URL")
@rules_option
@json_option
def weigh_(
    houses: int | None,
    seed: int,
    every_fault: bool,
    db: str | None,
    rules: tuple[str, ...],
    as_json: bool,
) -> int:
    """Hold rules on readings, and the airflow model behind them, against what they have not seen.

    What each rule says for or against a fault is held against the model and against simulated
    houses; what the model foretells is held against every reading of the worked cases, and with
    --db of the visits kept there. Takes two minutes or so. The exit code is 1 if physics says the
    reverse of some rule that gives no reason, 0 otherwise.
    """
    import numpy as np

    from stillflow.casebook.cases import Case, load_cases, measured
    from stillflow.casebook.store import Casebook
    from stillflow.cli.rule_weights import show_foretold, show_weighing, weighing_json
    from stillflow.engine.inference import Visit
    from stillflow.engine.simulate import HOUSES, Foretold, foretold, weigh

    knowledge = load_rules(rules)
    count = HOUSES if houses is None else houses
    if sys.stderr.isatty():
        say(f"Drawing {count:,} houses, then reading all cases and visits...", err=True)
    weighing = weigh(knowledge, np.random.default_rng(seed), count)
    visits: list[Visit] = []
    if db is not None:
        with Casebook(db) as casebook:
            visits = casebook.recent(sys.maxsize)
    found: dict[str, tuple[Foretold, ...]] = {}
    unread: dict[str, str] = {}
    items: list[Case | Visit] = [*load_cases(), *visits]
    for item in items:
        name = item.name if isinstance(item, Case) else str(item.id)
        try:
            visit = measured(item, knowledge) if isinstance(item, Case) else item
            found[name] = foretold(knowledge, visit)
        except InputError as problem:
            unread[name] = str(problem)
    if as_json:
        drawn = {"rules": knowledge.digest, "houses": count, "seed": seed}
        say_json({**drawn, **weighing_json(weighing, found, unread)})
    else:
        screen = Screen()
        show_weighing(screen, weighing, f"{count:,} houses, seed {seed}", every_fault)
        show_foretold(screen, found, unread)
    return FAULTY if any(pair.marked for pair in weighing.pairs) else 0


def _cases(card: Card, knowledge: Knowledge, play: bool) -> dict[str, list[str]]:
    """Worked cases a rule speaks in, by how that was found out; nothing for other cards."""
    if card.kind != "rule":
        return {}
    from stillflow.cli.rule_cases import fired_in, true_in

    found = {"true_in": true_in(card.id, knowledge)}
    if play:
        found["fired_in"] = fired_in(card.id, knowledge)
    return found


def _finding(one: Finding) -> dict[str, object]:
    return {
        "severity": one.severity,
        "inspection": one.inspection,
        "file": one.place.file,
        "line": one.place.line,
        "id": one.place.key,
        "what": one.what,
        "right": one.right,
    }


def _laid_over(knowledge: Knowledge) -> Iterator[str]:
    """Which files were laid over the shipped rules, and what they did to entries there."""
    for layer, name in knowledge.files:
        if layer:
            yield f"{name}: laid over the shipped rules"
            for one in knowledge.replaced:
                if (one.layer, one.place.file) == (layer, name):
                    yield f"{one.place}: {replaced_words(one)}"


def _size(knowledge: Knowledge) -> str:
    counts = len(knowledge.faults), len(knowledge.checks), len(knowledge.rules)
    return "{} faults, {} checks and {} rules in {} files".format(*counts, len(knowledge.files))


def listed(knowledge: Knowledge, what: str) -> list[dict[str, str | int | None]]:
    """The entries of one of `LISTS`: of each its id, title, group, file and line."""
    entries: dict[str, list[tuple[str, str, str]]] = {
        "faults": [(f.place, f.id, f.title) for f in knowledge.faults.values()],
        "checks": [(c.kind, c.id, c.ask) for c in knowledge.checks.values()],
        "rules": [("", r.id, r.because) for r in knowledge.rules.values()],
        "course": [("", t.id, t.because) for t in knowledge.turns],
        "cautions": [(c.about, c.id, c.text) for c in knowledge.cautions.values()],
        "tools": [("", t.id, t.title) for t in knowledge.tools.values()],
        "classes": [("", c.id, c.title) for c in knowledge.classes.values()],
        "sources": [(s.kind, s.id, s.title) for s in knowledge.sources.values()],
    }
    rows = []
    for group, entry_id, title in entries[what]:
        place = knowledge.places[what, entry_id]
        rows.append(
            {
                "id": entry_id,
                "title": title,
                "group": group or place.file,
                "file": place.file,
                "line": place.line,
            }
        )
    if what == "course":
        return rows  # Its order says which goes first.
    return sorted(rows, key=lambda row: (str(row["group"]), str(row["id"])))
