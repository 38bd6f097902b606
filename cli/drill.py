"""`stillflow drill`: practise on a simulated house that answers back.

What is in the house, what a step shows and what a drill comes to is the engine's; here it is asked
and shown.
"""

from __future__ import annotations

import random
import re
import shlex
from collections.abc import Sequence
from pathlib import Path

import click

from stillflow.casebook.marks import (
    EXAM,
    EXAM_LEVELS,
    DrillMark,
    add_mark,
    exam_seed,
    mark_of,
    marks_file,
    read_marks,
)
from stillflow.cli.describe import about, show_because, show_belief, show_meanings, show_reading
from stillflow.cli.drawing import Target, day_of, drawn, format_of, write_chart
from stillflow.cli.drill_marks import marks, show_results
from stillflow.cli.lines import ask
from stillflow.cli.options import rules_option
from stillflow.cli.screen import Screen
from stillflow.engine import load_rules
from stillflow.engine.base import (
    InputError,
    StillflowError,
    capital_first,
    minutes,
    nearest,
    percent,
)
from stillflow.engine.dialogue import unit_words
from stillflow.engine.drill import (
    ENDINGS,
    LEVELS,
    NEEDLESS_MINUTES,
    TOLD_NOTHING,
    WELL,
    Done,
    Drill,
    Order,
    Possible,
    Review,
    build_house,
    review,
    routes,
)
from stillflow.engine.ruleset import Knowledge, putting_back
from stillflow.engine.views import DANGERS

ROWS, COLUMNS, FOUND = 17, 3, 9
"""How much of a list fits on a small terminal above the prompt."""

HELP = f"""Practise on a made-up house with one or two hidden faults.

Do whatever you like in it, by number or by words to search for; the house answers, and the clock
counts. Afterwards your way is laid beside the planner's, and marked.

\b
stillflow drill                       a house, easy
stillflow drill --level 3 --seed 7    two faults; seed 7 is the same for all
stillflow drill --set --trainee Ann   an exam of {EXAM} houses; marks are kept
stillflow drill marks                 what everybody has, and who gets on
"""

PROMPT = """What next? A number, or words to search for.
Or: measure  checks  fixes  call  said  hint  explain  leave  danger  stop  ?"""

MEANINGS = (
    ("a number", "do that check or fix"),
    ("words", "look for them among checks and fixes: hose, filter, sealed"),
    ("measure, checks, fixes", "list them with their numbers"),
    ("call", "what the customer calls about, and the house"),
    ("said", "what was found so far"),
    ("hint", "what the planner would do now and why; costs marks"),
    ("explain", "say after every step what is likely now; again to leave it"),
    ("leave", "pack up: it is mended, or handed over"),
    ("danger", "stop for danger, and hand over"),
    ("stop", "break the drill off; no mark"),
)

LETTERS = {
    "m": "mains",
    "p": "moving-parts",
    "d": "dust",
    "s": "sharp",
    "h": "heights",
    "c": "confined",
    "w": "walls",
    "u": "suction",
    "n": "noise",
    "f": "fire",
}
"""What dangers are typed as: no numbers, which are checks and fixes."""


@click.group("drill", help=HELP, invoke_without_command=True)
@click.option(
    "--level",
    type=click.Choice([str(one) for one in LEVELS]),
    default="1",
    show_default=True,
    help="1 common and honest, 2 any fault and answers that mislead, 3 two faults",
)
@click.option("--seed", type=int, metavar="N", help="which house: the same for everybody")
@click.option(
    "--set",
    "exam",
    type=click.IntRange(1, 900_000),
    is_flag=False,
    flag_value=1,
    metavar="[N]",
    help=f"a fixed exam of {EXAM} houses; goes on where you left it",
)
@click.option("--fault", default="", metavar="FAULT", help="a fault that is hidden in the house")
@click.option("--complaint", default="", metavar="ID", help="what the customer calls about")
@click.option(
    "--hint", "hints", is_flag=True, help="say before each step what the planner would do"
)
@click.option("--explain", is_flag=True, help="say after every step what is likely now")
@click.option("--trainee", default="trainee", show_default=True, help="whose marks these are")
@click.option(
    "--chart",
    type=click.Path(dir_okay=False),
    metavar="FILE",
    help="draw both ways through the house: a file ending in .svg, .png, .pdf or .json",
)
@click.option(
    "--marks",
    "kept",
    type=click.Path(dir_okay=False),
    envvar="STILLFLOW_MARKS",
    metavar="FILE",
    help="where marks are kept (default: your user-data folder)",
)
@rules_option
@click.pass_context
def command(
    context: click.Context,
    level: str,
    seed: int | None,
    exam: int | None,
    fault: str,
    complaint: str,
    hints: bool,
    explain: bool,
    trainee: str,
    chart: str | None,
    kept: str | None,
    rules: tuple[str, ...],
) -> None:
    """Play one house, or go on with an exam."""
    file = Path(kept) if kept else marks_file()
    if context.invoked_subcommand is not None:
        context.obj = file
        return
    if not trainee.strip() or len(trainee) > 80:
        raise InputError("a trainee's name has 1 to 80 letters", right="such as --trainee Ann")
    if chart is not None:
        format_of(Path(chart))
    knowledge = load_rules(rules)
    screen = Screen()
    room = Practice(screen, knowledge, trainee.strip(), file, hints, explain, chart)
    try:
        if exam is not None:
            if seed is not None or fault or complaint:
                right = "leave out --seed, --fault and --complaint"
                raise InputError("the houses of an exam are fixed", right=right)
            if explain:
                raise InputError("an exam tells nothing unasked", right="leave out --explain")
            room.exam(exam)
            return
        if seed is None:
            seed = random.SystemRandom().randrange(1, 100_000)
        room.play(Order(seed, LEVELS[int(level) - 1], fault, complaint))
    except EOFError:
        screen.gap()
        screen.text("Input ended; this drill is not marked.")


command.add_command(marks)


class Practice:
    """One trainee at the prompt."""

    def __init__(
        self,
        screen: Screen,
        knowledge: Knowledge,
        trainee: str,
        file: Path,
        hints: bool,
        explain: bool,
        chart: str | None,
    ) -> None:
        self._screen = screen
        self._knowledge = knowledge
        self._trainee = trainee
        self._file = file
        self._hints = hints
        self._explain = explain
        self._chart = chart
        self._more: list[str] = []
        self._told = -1
        self._sitting = False

    def exam(self, exam: int) -> None:
        """Play what is left of an exam, one house after the other.

        Raises:
            EOFError: the input has ended.
        """
        self._sitting = True
        done = {one.number for one in self._mine(exam)}
        for number in range(1, EXAM + 1):
            if number in done:
                continue
            self._screen.gap()
            self._screen.head(f"Exam {exam}, house {number} of {EXAM}", self._trainee)
            order = Order(exam_seed(exam, number), EXAM_LEVELS[number - 1])
            if not self.play(order, exam, number):
                name = shlex.quote(self._trainee)
                self._screen.text(
                    f"Go on later with: stillflow drill --set {exam} --trainee {name}"
                )
                return
        show_results(self._screen, self._mine(exam), exam)

    def _mine(self, exam: int) -> list[DrillMark]:
        kept = read_marks(self._file)
        return [one for one in kept if one.trainee == self._trainee and one.exam == exam]

    def play(self, order: Order, exam: int | None = None, number: int | None = None) -> bool:
        """Play one house to its end; False if it was broken off.

        Raises:
            EOFError: the input has ended.
        """
        drill = Drill(self._knowledge, build_house(self._knowledge, order))
        self._told = -1
        show_call(self._screen, drill)
        self._screen.text("Do whatever you like; the clock counts. Type ? for what can be typed.")
        while drill.ending is None:
            if not self._step(drill):
                self._screen.text("Broken off; this drill is not marked.")
                return False
        came = review(drill)
        show_review(self._screen, came)
        if self._chart is not None:
            from stillflow.engine.charts import TitleBlock, routes_chart

            title = TitleBlock(
                title=f"Drill: {drill.house.complaint.lower()}",
                subtitle=f"Hidden: {_hidden(drill)}. Mark {came.mark} of 100.",
                date=day_of(None),
                rules_version=self._knowledge.digest,
                filters=(f"level {order.level}", f"seed {order.seed}"),
            )
            path = Path(self._chart)
            if number is not None:
                path = path.with_stem(f"{path.stem}-{number}")
            self._screen.text(
                drawn(write_chart(routes_chart(routes(came, title)), Target(str(path))))
            )
        add_mark(self._file, mark_of(came, self._trainee, exam, number))
        if exam is None:
            again = f"stillflow drill --level {order.level} --seed {order.seed}"
            if order.fault:
                again += f" --fault {order.fault}"
            if order.complaint:
                again += f" --complaint {order.complaint}"
            self._screen.text(f"This house again: {again}")
            for fault in came.practise_faults:
                self._screen.text(
                    f"To practise: stillflow drill --fault {fault}; "
                    f"stillflow casebook list --fault {fault}"
                )
        return True

    def _step(self, drill: Drill) -> bool:
        """One line typed and acted on; False to break off."""
        screen = self._screen
        if self._told != len(drill.done):
            self._told = len(drill.done)
            screen.gap()
            clock = minutes(drill.minutes) if drill.minutes else "0 min"
            screen.head(f"{clock} on the clock", f"step {len(drill.done) + 1}")
            show_open(screen, drill)
            if self._hints:
                show_hint(screen, drill)
        line = " ".join(ask(PROMPT).strip().lower().split())
        try:
            return self._act(drill, line)
        except StillflowError as error:
            screen.text(str(error))
            return True

    def _act(self, drill: Drill, line: str) -> bool:
        screen = self._screen
        shown, self._more = self._more, []
        if line in ("stop", "quit", "exit"):
            return False
        if line in ("?", "help"):
            for words, meaning in MEANINGS:
                screen.item(f"{words}:", meaning)
        elif not line:
            if not shown:
                raise InputError("nothing typed", right="a number, words, or ?")
            self._list(shown)
        elif line in ("measure", "checks", "fixes"):
            self._list(_cells(_of_kind(drill, line)))
        elif line == "call":
            show_call(screen, drill)
        elif line == "said":
            show_said(screen, drill)
        elif line == "hint":
            show_hint(screen, drill)
        elif line == "explain":
            if self._sitting:
                raise InputError("an exam tells nothing unasked", right="hint, which costs marks")
            self._explain = not self._explain
            screen.text(f"What is likely is {'said' if self._explain else 'no longer said'} now.")
        elif line == "leave":
            drill.leave()
        elif line == "danger":
            if _sure():
                drill.stop()
        else:
            choice = self._chosen(drill, line)
            if choice is not None:
                self._do(drill, choice)
        return True

    def _chosen(self, drill: Drill, line: str) -> Possible | None:
        """The choice a number or a whole id names; else what the words find is listed."""
        if line.isascii() and line.isdigit():
            if not 1 <= int(line[:6]) <= len(drill.choices):
                right = f"1 to {len(drill.choices)}"
                raise InputError(f"there is nothing with the number {line[:6]}", right=right)
            return drill.choices[int(line) - 1]
        named = [one for one in drill.choices if one.id == line or f"fix {one.id}" == line]
        if len(named) == 1:
            return named[0]
        words = line.split()
        found = [
            (number, one)
            for number, one in enumerate(drill.choices, 1)
            if all(word in f"{one.id} {one.title} {sort_of(one)}".lower() for word in words)
        ]
        if not found:
            right = nearest(line, [one.id for one in drill.choices])
            raise InputError(f"nothing is like '{line[:40]}'", right=right)
        # What is called so before what only speaks of it.
        found.sort(key=lambda pair: not all(word in pair[1].id for word in words))
        for number, one in found[:FOUND]:
            said = f"{sort_of(one)}: {one.title} ({about(drill.minutes_of(one))})"
            self._screen.item(f"{number:>3}", said, 0)
        if len(found) > FOUND:
            self._screen.text(f"and {len(found) - FOUND} more; say more words.")
        return None

    def _do(self, drill: Drill, choice: Possible) -> None:
        screen = self._screen
        why = drill.why_not_now(choice)
        if why:
            raise InputError(f"this cannot be done now: {why}", right="something else")
        screen.text(choice.title, style="bold")
        if choice.check is not None and choice.check.first:
            screen.cautions(self._knowledge.cautions[one].text for one in choice.check.cautions)
        due = drill.cautions(choice)
        safe = self._made_safe() if due else []
        if safe is None:
            return
        before, needless = len(drill.walked_past), drill.needless
        # What was thought of is said in full before anything is touched.
        screen.cautions(one.text for one in due if one.about in safe)
        step = drill.do(choice, safe if due else None)
        show_step(screen, drill, step, before, needless)
        if drill.ending is None and self._explain:
            show_told(screen, drill, choice, step)

    def _made_safe(self) -> list[str] | None:
        """What the trainee guards against first; None to leave the step."""
        named = [f"{letter} {DANGERS[name]}" for letter, name in LETTERS.items()]
        half = -(-len(named) // 2)
        options = "\n".join("  ".join(part) for part in (named[:half], named[half:]))
        while True:
            line = ask(
                f"What do you guard against first? Letters, Enter for nothing, or back:\n{options}"
            )
            if line.strip().lower() == "back":
                return None
            letters = [one for one in re.split(r"[\s,]+", line.strip().lower()) if one]
            if all(one in LETTERS for one in letters):
                return [LETTERS[one] for one in letters]
            self._screen.text(f"Type letters of {' '.join(LETTERS)}, such as: m d")

    def _list(self, cells: Sequence[str]) -> None:
        page, self._more = list(cells[: ROWS * COLUMNS]), list(cells[ROWS * COLUMNS :])
        rows = -(-len(page) // COLUMNS)
        for row in range(rows):
            self._screen.text(" ".join(f"{cell:<26}" for cell in page[row::rows]).rstrip())
        if self._more:
            self._screen.text("Enter shows the rest.", style="bold")


def show_call(screen: Screen, drill: Drill) -> None:
    """What is known of a house before anything is done in it."""
    visit = drill.house.visit
    screen.gap()
    level, seed = drill.house.order.level, drill.house.order.seed
    screen.head("A call", f"level {level}, seed {seed}, house {drill.house.digest}")
    screen.text(f'"{drill.house.complaint}."', style="bold")
    known = {
        "{:g} ft of tubing": visit.house.tubing_ft,
        "a hose of {:g} ft": visit.house.hose_ft,
        "{:g} ft above the sea": visit.site.altitude_ft,
    }
    told = [words.format(value) for words, value in known.items() if value is not None]
    unit = unit_words(visit.unit) or "nothing is known of the unit"
    screen.text(f"The unit and the house: {', '.join([unit, *told])}.")
    for station, pair in visit.last_good.items():
        screen.text(
            f"Last good visit, at {station.words}: sealed {pair.sealed:.0f}, "
            f"working {pair.working:.0f} inH2O."
        )


def show_step(screen: Screen, drill: Drill, step: Done, before: int, needless: int = 0) -> None:
    """What was found, after what was walked past or needlessly made safe beyond the first so many.

    Args:
        screen: where it is shown.
        drill: the drill after the step.
        step: the step.
        before: dangers walked past before it.
        needless: dangers made safe before it that were not there.
    """
    for walked in drill.walked_past[before:]:
        screen.cautions([walked.what])
        screen.item("WALKED PAST", f"{walked.happens} (+{minutes(walked.minutes)})", 0, "bold")
    if drill.needless > needless:
        took = minutes(NEEDLESS_MINUTES * (drill.needless - needless))
        screen.text(f"You guarded against what is not here (+{took}).")
    if drill.ending is None:
        screen.item(">", _found(step), 0, "bold")


def show_open(screen: Screen, drill: Drill) -> None:
    """What stands open."""
    knowledge = drill.knowledge
    opened = putting_back(knowledge, drill.session.progress.footing).put_back
    titles = [knowledge.accesses[name].title.rstrip(".") for name in opened]
    if titles:
        screen.text(f"Open now: {'; '.join(titles)}.")


def show_told(screen: Screen, drill: Drill, choice: Possible, step: Done) -> None:
    """What a step told, and what is likely now."""
    if choice.check is not None and choice.check.kind == "reading":
        show_reading(screen, drill.session, choice.check)
    if step.tells and step.moved < TOLD_NOTHING:
        screen.text("That told nothing apart.")
    following = drill.session.next_step()
    # Until a fix is proved the belief is over what else there might be.
    if not following.verifying:
        show_belief(screen, following)


def show_hint(screen: Screen, drill: Drill) -> None:
    """What the planner would do now and why; it is counted."""
    step = drill.hint()
    what = step.check.ask if step.check else f"fix: {step.fix.title}" if step.fix else "leave"
    if step.ending is not None:
        what = step.ending.what
    said = "" if step.why_now in step.because else step.why_now
    screen.item("hint:", f"{what} {said}".strip(), 0, "bold")
    show_because(screen, step)
    if step.check is not None and not step.verifying:
        show_meanings(screen, drill.session.meanings(step.check.id))


def show_said(screen: Screen, drill: Drill) -> None:
    """What was found so far."""
    for event in drill.house.visit.events:
        check = drill.knowledge.checks[str(event.check)]
        label = next(one.label for one in check.answers if one.id == event.answer)
        screen.item("-", f"{check.ask} {label} (on the phone)")
    for step in drill.done:
        screen.item(f"{step.number}.", told(step))
    if not drill.done:
        screen.text("Nothing yet.")


def sort_of(choice: Possible) -> str:
    """What kind of act it is, in a word."""
    if choice.check is None:
        return "fix"
    return "measure" if choice.check.kind == "reading" else "check"


def _of_kind(drill: Drill, kind: str) -> list[tuple[int, Possible]]:
    wanted = {"measure": "measure", "checks": "check", "fixes": "fix"}[kind]
    return [(n, one) for n, one in enumerate(drill.choices, 1) if sort_of(one) == wanted]


def _sure() -> bool:
    """Whether a stop for danger is meant: the second look, as on a visit."""
    said = ask(
        "Look once more: is it so dangerous that nobody may go on? It ends the drill: yes or no"
    )
    return said.strip().lower() in ("y", "yes")


def _cells(choices: Sequence[tuple[int, Possible]]) -> list[str]:
    return [f"{number:>3} {one.id}" for number, one in choices]


def _found(step: Done) -> str:
    return capital_first(step.said) + ("" if step.said.endswith(".") else ".")


def told(step: Done) -> str:
    """A step and what came of it, in a line."""
    return f"fix: {step.title}: {step.said}." if step.is_fix else f"{step.title} {_found(step)}"


def _ended(drill: Drill) -> str:
    return ENDINGS[drill.ending] if drill.ending else "not ended"


def _reckoned(came: Review) -> str:
    """How the mark comes about."""
    less = [f"{one.marks} for {one.why}" for one in came.losses]
    return f"Mark: 100{', less ' if less else ''}{', '.join(less)}: {came.mark}."


def _hidden(drill: Drill) -> str:
    faults = drill.knowledge.faults
    titles = " and ".join(f"'{faults[name].title}'" for name in drill.house.call.faults)
    if not drill.house.danger:
        return titles
    first = next(check for check in drill.knowledge.checks.values() if check.first)
    label = next(one.label for one in first.answers if one.id == drill.house.danger)
    return f"a danger ({label.lower()}), and behind it {titles}"


def show_review(screen: Screen, came: Review) -> None:
    """What a drill comes to: beside the planner, what to mind, what to practise, both ways."""
    drill, planners = came.yours, came.planners
    screen.gap()
    screen.head("What it comes to", f"mark {came.mark} of 100")
    screen.item("hidden:", _hidden(drill), 0)
    rows = [
        ("minutes", minutes(drill.minutes), minutes(planners.minutes)),
        ("steps", str(len(drill.done)), str(len(planners.done))),
        ("ended", _ended(drill), _ended(planners)),
    ]
    screen.table(("", "you", "the planner"), rows)
    screen.text(_reckoned(came))
    if came.comparable:
        over = came.over
        screen.text(
            f"{minutes(over)} more than the planner took."
            if over >= 0.5
            else f"{minutes(-over)} less than the planner took."
            if over <= -0.5
            else "As quick as the planner."
        )
    elif planners.ending not in WELL:
        screen.text("The planner did not find all of it either, so its minutes are no measure.")
    if came.known is not None:
        screen.text(
            f"What was wrong could have been known after step {came.known.number}, at "
            f"{minutes(came.known.ended)}: {percent(came.known.truth or 0.0)} likely."
        )
    for title, lines in (
        ("Told nothing:", [f"{one.number}. {one.title}" for one in came.told_nothing]),
        ("What would have shown it:", [f"{title}: {check}" for title, check in came.would_show]),
        (
            "Tried on too little:",
            [
                f"{one.number}. {one.title}: {percent(one.likely)} likely; better: {one.better}"
                for one in came.too_little
            ],
        ),
        (
            "Walked past:",
            [f"{one.number}. {one.what} (+{minutes(one.minutes)})" for one in came.walked_past],
        ),
    ):
        if lines:
            screen.text(title, style="bold")
            screen.items(lines)
    if drill.ending in ("hurt", "not-mended", "stopped-for-nothing"):
        words = drill.walked_past[-1].happens if drill.ending == "hurt" else AFTERWARDS
        screen.item("afterwards:", words, 0, "bold")
    screen.text("To practise:", style="bold")
    screen.items(came.practise)
    screen.text("The planner's way:", style="bold")
    for step in planners.done:
        screen.item(f"{step.number}.", told(step))


AFTERWARDS = "Next week the customer calls again: it is as it was, and you drive out once more."
