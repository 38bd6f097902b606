"""What stands on a page of a visit: the words of the command line, laid out for a thumb.

Whatever `describe` writes of a step comes as blocks; only questions, answers and the keypad's
figures are taken from the step itself.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from functools import cache

from stillflow.cli.asides import show_where, show_why
from stillflow.cli.chart import visit_stations
from stillflow.cli.describe import (
    show_check,
    show_ending,
    show_fix,
    show_how,
    show_put_back,
    show_reading,
    show_summary,
)
from stillflow.cli.prompt import FIX_ANSWERS, WHICH_INLET, fix_question
from stillflow.cli.rule_cards import show_card
from stillflow.cli.rules import listed
from stillflow.cli.web.desk import Standing
from stillflow.cli.web.paper import Block, PageScreen
from stillflow.cli.why import show_round, show_why_not
from stillflow.engine import Session
from stillflow.engine.audit import look_up
from stillflow.engine.base import InputError, Station, capital_first, nearest, quantity
from stillflow.engine.charts import Chart, TitleBlock, gauge_place, history_chart, render
from stillflow.engine.dialogue import (
    CheckStep,
    NextStep,
    ahead_words,
    reminder_words,
    rounds,
    summarise,
    telling_round,
)
from stillflow.engine.inference import (
    CANT_DO,
    CANT_TELL,
    NO_ANSWER,
    SKIPPED,
    Baseline,
    Visit,
    judge,
)
from stillflow.engine.ruleset import NONE_HERE, Check, Knowledge, leaves
from stillflow.engine.views import (
    history_chart_model,
    lifted_words,
    site_history,
    weak_share,
    whereabouts,
)

SUCTION_UNITS = ("inH2O", "kPa", "mbar", "mmH2O")
"""Units a reading may be typed in, the trade's first."""

OTHER_ANSWERS = ((CANT_TELL, "Can't tell"), (CANT_DO, "Can't do here"), (SKIPPED, "Skip"))


@dataclass(frozen=True)
class Dial:
    """What a reading is held against while it is typed, inH2O.

    Attributes:
        expected: what this system should read there.
        levels: upper edge of each band and its name, the last without an edge.
        units: units to type it in, with what one of each is in inH2O.
    """

    expected: float
    levels: tuple[tuple[float | None, str], ...]
    units: tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class AboutInlet:
    """Which inlet an answer is about.

    Attributes:
        ask: what is asked where nobody has said it; empty where it is known.
        name: what is known.
        names: that may be meant, the likeliest first.
        after: answers after which alone it is asked; none where it is asked with any.
    """

    ask: str
    name: str
    names: tuple[str, ...]
    after: tuple[str, ...] = ()


@dataclass(frozen=True)
class StepPage:
    """One step as it stands on the screen.

    Attributes:
        step: the step.
        eyebrow: what kind of step it is; `aside` about how long it takes.
        fresh: dangers not yet shown on this visit; `known`: those that were.
        question: what is asked or to be done.
        again: the dangers that were shown before, a short sentence each; `known` in full.
        before: what is said before the question, `after` below it.
        answers: what can be tapped: what goes on record, its words.
        others: answers that say nothing about the fault.
        how: how to do it.
        inlet: which inlet it is about.
        dial: of a reading.
        picture: of a reading, where the gauge goes, as SVG.
    """

    step: NextStep
    eyebrow: str
    aside: str
    fresh: tuple[str, ...]
    known: tuple[str, ...]
    again: str
    question: str
    before: tuple[Block, ...]
    after: tuple[Block, ...]
    answers: tuple[tuple[str, str], ...]
    others: tuple[tuple[str, str], ...]
    how: tuple[Block, ...]
    inlet: AboutInlet
    dial: Dial | None = None
    picture: str = ""

    @property
    def about(self) -> tuple[str, str]:
        """The field that names what is answered, and its id."""
        if self.step.check is not None:
            return "check", self.step.check.id
        assert self.step.fix is not None
        return "fix", self.step.fix.fault

    @property
    def asks(self) -> str:
        """Of a fix, what is asked of it."""
        return fix_question(self.step.fix) if self.step.fix is not None else ""


def written(show: Callable[[PageScreen], None]) -> tuple[Block, ...]:
    """What is written on a paper."""
    paper = PageScreen()
    show(paper)
    return tuple(paper.blocks)


def step_page(
    knowledge: Knowledge,
    baseline: Baseline,
    step: NextStep,
    number: int,
    seen: Collection[str] = (),
) -> StepPage:
    """A check or a fix as a page.

    Args:
        knowledge: the rules.
        baseline: what this system should read.
        step: the step, which is not an ending.
        number: of the step on this visit, from 1.
        seen: dangers that were shown before.
    """
    if step.check is not None:
        check = step.check
        blocks = written(lambda paper: show_check(paper, check, number))
        how = list(written(lambda paper: show_how(paper, check)))
        question = check.ask
        answers = tuple((answer.id, answer.label) for answer in check.answers)
        others = _others(step)
    else:
        fix = step.fix
        assert fix is not None
        blocks = written(lambda paper: show_fix(paper, fix, number))
        how, question = [], fix.title
        answers = tuple((name, capital_first(words)) for name, words in FIX_ANSWERS.items())
        others = ()
    head = next(one for one in blocks if one.kind == "head")
    undone = step.put_back
    first = written(lambda paper: show_put_back(paper, undone)) if undone is not None else ()
    every = dict.fromkeys(one.words for one in (*first, *blocks) if one.kind == "caution")
    rest = [one for one in blocks if one.kind not in ("head", "caution")]
    at = next((i for i, one in enumerate(rest) if one.words == question), -1)
    labels = {label for _, label in answers} if step.check is not None else set()
    after = [one for one in rest[at + 1 :] if one.kind != "item" or one.words not in labels]
    return StepPage(
        step=step,
        eyebrow=head.words if step.check is not None else head.words.partition(":")[0],
        aside=head.mark,
        fresh=tuple(one for one in every if one not in seen),
        known=(known := tuple(one for one in every if one in seen)),
        again=reminder_words(knowledge, known),
        question=question,
        before=(
            *_contradiction(step),
            *(one for one in first if one.kind != "caution"),
            *rest[: max(at, 0)],
        ),
        after=tuple(after),
        answers=answers if step.check is None or step.check.kind == "choice" else (),
        others=others,
        how=tuple(one for one in how if one.kind != "caution"),
        inlet=_inlet(step),
        dial=_dial(knowledge, baseline, step.check) if step.check is not None else None,
        picture=_picture(step.check),
    )


def shown_before(session: Session) -> set[str]:
    """The dangers of every check and fix on record, which were shown when it was asked."""
    knowledge = session.knowledge
    names: set[str] = set()
    for event in session.events:
        if event.beside:
            continue
        if event.check is not None:
            check = knowledge.checks[event.check]
            access, cautions = check.access, check.cautions
        else:
            fix = knowledge.faults[str(event.fix)].fix
            access, cautions = fix.access, fix.cautions
        names.update(cautions)
        if access is not None:
            names.update(knowledge.accesses[access].cautions)
    return {knowledge.cautions[name].text for name in names}


def last_said(standing: Standing) -> tuple[Block, ...]:
    """The last answer, and of a reading what it comes to."""
    session = standing.session
    events = [event for event in standing.visit.events if event.strikes is None]
    if not events:
        return ()
    last = events[-1]
    if last.beside:
        return (Block("item", last.note or last.part or "", "Noted:"),)
    if last.check is None:
        fault = session.knowledge.faults[str(last.fix)]
        said = "yes" if last.done else "not there" if last.found is False else "no"
        return (Block("item", FIX_ANSWERS[said], f"{fault.title}:"),)
    check = session.knowledge.checks[last.check]
    if check.kind == "choice" or last.answer in NO_ANSWER:
        labels = {answer.id: answer.label for answer in check.answers}
        words = labels.get(str(last.answer), str(last.answer))
        return (Block("item", words, check.ask),)
    judged = Block("item", judged_words(session, check, float(last.answer or 0.0)), check.ask)

    return (judged, *written(lambda paper: show_reading(paper, session, check)))


def lifted(standing: Standing) -> tuple[str, ...]:
    """What stopped the visit until the last answer, and who was to be called."""
    believed = standing.visit.believed
    if not believed or believed[-1].check is None:
        return ()
    about = f"answer.{believed[-1].check}"
    return tuple(
        lifted_words(rule)
        for rule, _ in standing.session.lifted()
        if any(leaf.fact == about for leaf in leaves(rule.when))
    )


def judged_words(session: Session, check: Check, value: float) -> str:
    """A reading beside what was expected, in a few words: "98 of 130: low"."""
    assert check.condition is not None and check.station is not None
    expected = session.baseline.at(check.condition, check.station)
    levels = session.knowledge.levels
    name = judge(value / expected, levels, session.baseline.wide)
    title = next(one.title for one in levels if one.id == name)
    return f"{value:.0f} of {expected:.0f}: {title}"


def ended(step: NextStep) -> tuple[Block, ...]:
    """Why the guided part ends, without the summary."""
    return written(lambda paper: show_ending(paper, step))


def ending(standing: Standing) -> tuple[Block, ...]:
    """Why the guided part ends, and the summary."""

    def show(paper: PageScreen) -> None:
        show_ending(paper, standing.step)
        show_summary(paper, summarise(standing.session), ended=True)

    return written(show)


def why_now(standing: Standing) -> tuple[Block, ...]:
    """Why this step and no other, what is likely, what each answer would mean."""

    def show(paper: PageScreen) -> None:
        if standing.step.ending is None:
            show_why(paper, standing.session, standing.step)

    return written(show)


def _dial(knowledge: Knowledge, baseline: Baseline, check: CheckStep) -> Dial | None:
    if check.condition is None or check.station is None:
        return None
    expected = baseline.at(check.condition, check.station)
    levels = tuple(
        (None if edge is None else edge * expected, level.title)
        for level in knowledge.levels
        for edge in [level.below_class if baseline.wide else level.below]
    )
    return Dial(expected, levels, _units())


@cache
def _units() -> tuple[tuple[str, float], ...]:
    return tuple((name, quantity(f"1 {name}", "inH2O", "", 0.0, 1e6)) for name in SUCTION_UNITS)


_drawn = cache(gauge_place)


def _others(step: NextStep) -> tuple[tuple[str, str], ...]:
    """Answers beside a reading or those listed."""
    check = step.check
    assert check is not None
    more: list[tuple[str, str]] = []
    if step.read_before is not None:
        more.append((f"{step.read_before:g}", f"Same (it was {step.read_before:g})"))
    if check.part and check.kind == "reading":
        more.append((NONE_HERE, "There is none"))
    return (*more, *OTHER_ANSWERS)


def _contradiction(step: NextStep) -> tuple[Block, ...]:
    return (Block("text", step.contradiction, strong=True),) if step.contradiction else ()


def _inlet(step: NextStep) -> AboutInlet:
    if step.fix is not None:
        asked = WHICH_INLET if step.fix.asks_inlet else ""
        return AboutInlet(asked, step.fix.inlet or "", step.fix.inlets, ("yes",) if asked else ())
    check = step.check
    assert check is not None
    after = tuple(answer.id for answer in check.answers if answer.inlet)
    named = check.station is Station.OTHER and not check.asks_inlet
    asks = check.asks_inlet or after
    return AboutInlet(
        WHICH_INLET if asks else "",
        (check.inlet or "") if named else "",
        check.inlets,
        () if check.asks_inlet else after,
    )


def _picture(check: CheckStep | None) -> str:
    if check is None or check.station is None or check.condition is None:
        return ""
    return _drawn(check.station, check.condition)


def course(standing: Standing) -> tuple[Block, ...]:
    """How the visit came to where it stands, round by round."""

    def show(paper: PageScreen) -> None:
        for one in rounds(standing.session):
            show_round(paper, standing.session, one, None, "ask of one below")

    return written(show)


def why_other(standing: Standing, fault: str) -> tuple[Block, ...]:
    """Why it is not a certain fault.

    Raises:
        InputError: there is none of this id.
    """
    session = standing.session
    if fault not in session.knowledge.faults:
        right = nearest(fault, session.knowledge.faults)
        raise InputError(f"there is no fault '{fault}'", right=right)
    return written(lambda paper: show_why_not(paper, session, telling_round(session), fault))


def where(standing: Standing) -> tuple[Block, ...]:
    """Where the visit stands: readings, what is known, done, open, undone and ruled out."""
    return written(lambda paper: show_where(paper, whereabouts(standing.session)))


def ahead(standing: Standing) -> str:
    """What comes after and about how long; empty where nothing is planned."""
    return ahead_words(standing.session) if standing.step.choice is not None else ""


def strip(standing: Standing) -> str:
    """The air path as a strip, expected beside found, as SVG; empty where nothing was read."""
    if not standing.session.progress.situation.readings:
        return ""
    return svg_of(visit_stations(standing.session))


def svg_of(chart: Chart) -> str:
    """A chart of one page as an SVG element."""
    data = render(chart, "svg")[0].data.decode()
    return data[data.index("<svg") :].strip()


def dangers(standing: Standing) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Dangers of the step at hand, and those shown earlier on the visit."""
    step, seen = standing.step, shown_before(standing.session)
    now: tuple[str, ...] = ()
    if step.check is not None:
        now = step.check.cautions
    elif step.fix is not None:
        now = step.fix.cautions
    return now, tuple(sorted(seen.difference(now)))


def entries(knowledge: Knowledge, words: str) -> list[dict[str, str | int | None]]:
    """Faults, checks and rules whose id or title holds every word."""
    wanted = words.casefold().split()
    rows = [
        {**row, "group": f"{what.capitalize()}: {row['group']}"}
        for what in ("faults", "checks", "rules")
        for row in listed(knowledge, what)
    ]
    return [
        row
        for row in rows
        if all(word in f"{row['id']} {row['title']}".casefold() for word in wanted)
    ]


def entry(knowledge: Knowledge, name: str) -> tuple[Block, ...]:
    """All about a fault, a check or a rule."""

    def show(paper: PageScreen) -> None:
        for card in look_up(knowledge, name):
            show_card(paper, card)

    return written(show)


def history(visits: Sequence[Visit], site: str, knowledge: Knowledge) -> str:
    """How a house has done over its visits, as SVG; empty where no visit ended with readings."""
    spots = site_history(visits, knowledge)
    if not spots:
        return ""
    title = TitleBlock(title=f"Over the years: {site}")
    return svg_of(history_chart(history_chart_model(spots, weak_share(knowledge), title)))
