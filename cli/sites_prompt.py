"""Which house a visit is to: typed as part of a name, street or phone, and what is known of it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from difflib import get_close_matches

from stillflow.casebook.ids import new_id
from stillflow.casebook.sites import KnownSite, SiteLine, Sites
from stillflow.cli.lines import ask
from stillflow.cli.prompt import ask_words
from stillflow.cli.screen import Screen
from stillflow.engine.base import in_figures
from stillflow.engine.dialogue import unit_words
from stillflow.engine.inference import Unit, Visit, ago, earlier_words, unused_words
from stillflow.engine.ruleset import Knowledge
from stillflow.engine.views import site_history

_MOST, _LIKE = 8, 50

QUESTION = "Name of the house or job, or part of its name, street or phone"
_MEANING = (
    "As you will look for it later. A house that was visited before brings its inlets, unit, hose "
    "and last good readings."
)


def ask_site(
    screen: Screen,
    sites: Sites,
    knowledge: Knowledge,
    visit: Visit,
    keep: Callable[[Visit], Visit],
) -> tuple[Visit | None, bool]:
    """Ask which house, and take in what is known of it.

    Args:
        screen: where to write.
        sites: the houses of the casebook.
        knowledge: the rules, for what a fix is called.
        visit: what was said on the command line.
        keep: called with the visit once the house is chosen; gives the visit as it is kept.

    Returns:
        The visit as it is kept, None if the person stopped; and whether the house is a new one. A
        house without a name keeps nothing.

    Raises:
        EOFError: the input has ended.
    """
    screen.text("Press Enter to leave a question out. Or: ?   stop")
    today = visit.opened or datetime.now(UTC)
    line = ask_words(screen, QUESTION)
    while True:
        word = line.lower()
        if word == "stop":
            return None, False
        if not line:
            return visit, False
        if word == "new":
            # Its name is asked next, and then whose it is.
            screen.text("A new house is begun.")
            site = visit.site.model_copy(update={"id": new_id()})
            return visit.model_copy(update={"site": site}), False
        if word == "?":
            screen.text(_MEANING)
        elif word == "back":
            screen.text("This is the first question; there is nothing to go back to.")
        else:
            found, nearly = houses_like(sites, line)
            which = _which(screen, found, nearly, line, today) if found else "new"
            if which == "new":
                begun = "Another house" if found else "No house by that name yet"
                screen.text(f"{begun}: a new one is begun. If that is wrong: back")
                site = visit.site.model_copy(update={"id": new_id(), "name": line[:200]})
                return keep(visit.model_copy(update={"site": site})), True
            if isinstance(which, SiteLine):
                known = sites.known(which.id, today)
                return _from_known(screen, sites, known, knowledge, visit, keep), False
            line = which
            continue
        line = ask_words(screen, QUESTION)


def houses_like(sites: Sites, line: str) -> tuple[list[SiteLine], bool]:
    """Houses that a line may mean, and whether none is called so but these nearly are."""
    found = sites.find(line, _MOST)
    if found:
        return found, False
    # A letter too few or too many makes two entries of one house; it may be the first one's.
    begun = {one.id: one for word in line.split() for one in sites.find(word[:3], _LIKE)}
    said = line.casefold()
    near = [
        one for one in begun.values() if get_close_matches(said, [one.name.casefold()], cutoff=0.75)
    ]
    return near[:_MOST], True


def last_visit(house: SiteLine, today: datetime) -> str:
    """A house in a list: what it goes by, and when it was last visited."""
    last = f", last visit {ago(house.last, today).lower()}" if house.last else ""
    return f"{house.words}{last}"


def _which(
    screen: Screen, found: list[SiteLine], nearly: bool, line: str, today: datetime
) -> SiteLine | str:
    """One of the houses that a line may mean, or `new`, or another line to look for."""
    if nearly:
        screen.text("No house by that name yet. Like it are:")
    for number, one in enumerate(found, 1):
        screen.item(str(number), last_visit(one, today))
    if len(found) == _MOST:
        screen.text("There may be more; type more of it.")
    count = len(found)
    numbers = "Enter or 1 for it" if count == 1 else f"Its number, 1 to {count}"
    while True:
        typed = ask(f"Which? {numbers}; 'new' for another house, '{line[:60]}'; or another name")
        word = typed.strip().lower()
        if not word and count == 1:
            return found[0]
        if word.isascii() and word.isdigit() and len(word) < 4 and 1 <= int(word) <= count:
            return found[int(word) - 1]
        if any(one.isalpha() for one in word) or len(word) >= 4:
            return word if word == "new" else typed.strip()
        screen.text(f"Type a number from 1 to {count}, new, or stop.")


def _from_known(
    screen: Screen,
    sites: Sites,
    known: KnownSite,
    knowledge: Knowledge,
    visit: Visit,
    keep: Callable[[Visit], Visit],
) -> Visit | None:
    visit = sites.prefilled(known, visit)
    today = visit.opened or datetime.now(UTC)
    screen.gap()
    screen.text(f"Known: {known.line.words}.", style="bold")
    screen.items(known_facts(known))
    if visit.earlier:
        screen.text("Last good readings, which this visit is judged by:")
        screen.items(earlier_words(visit, knowledge.faults, today))
        if unused := unused_words(visit):
            screen.text(unused)
        names = sorted({one.inlet for one in visit.earlier if one.inlet})
        if names and not visit.site.inlet:
            screen.text(
                "Those at an inlet count once it is said to be the one the complaint is about, as "
                f"in: unit inlet {names[0]}"
            )
        history = site_history(sites.visits(known.line.id), knowledge, today)
        if fallen := [one.watch for one in history if one.watch]:
            screen.text(f"Over the years (stillflow sites history {known.line.short}):")
            screen.items(fallen)
    else:
        screen.text("No good readings are on record for this unit.")
    if known.units:
        while True:
            line = ask("Is it still the same unit? Enter for yes, or: new").strip().lower()
            if line == "stop":
                return None
            if line == "new":
                unit = Unit(fitted=today.date())
                visit = visit.model_copy(update={"unit": unit, "earlier": ()})
                screen.text("Then it starts anew: no earlier reading counts.")
            if line in ("", "y", "yes", "new"):
                break
            screen.text("Press Enter if it is the same, or type: new")
    visit = keep(visit)
    if not visit.earlier or visit.gauge.name:
        return visit
    before = visit.earlier[-1].gauge
    asked = f"Which gauge is this? Enter for {before or 'the same'}; or its name"
    while (line := ask_words(screen, asked)).lower() in ("?", "back"):
        screen.text("As the shop tells its gauges apart; what another one read says a little less.")
    if line.lower() == "stop":
        return None
    if line and line != before:
        screen.text(
            f"Another gauge, '{line[:60]}': what was read before says a little less. If that is "
            f"wrong, from the first check on: unit gauge {before or 'NAME'}"
        )
    gauge = visit.gauge.model_copy(update={"name": line[:200] or before})
    return keep(visit.model_copy(update={"gauge": gauge}))


def known_facts(known: KnownSite) -> list[str]:
    """What is known of a house, a line each."""
    about, house, site = unit_words(known.unit), known.house, known.site
    measures = [
        *([f"{in_figures(house.tubing_ft)} ft of tubing"] if house.tubing_ft is not None else []),
        *([f"a hose of {in_figures(house.hose_ft)} ft"] if house.hose_ft is not None else []),
        *([f"{in_figures(bore)} in inside"] if (bore := house.hose_bore_in) is not None else []),
        *([f"{site.altitude_ft:,.0f} ft above the sea"] if site.altitude_ft else []),
    ]
    named = [f"{one.name} ({one.branch})" if one.branch else one.name for one in site.inlets]
    return [
        *([f"Unit: {about}."] if about else []),
        *([f"House: {', '.join(measures)}."] if measures else []),
        *([f"Inlets: {', '.join(named)}."] if named else []),
    ]
