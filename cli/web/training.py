"""For the trainer and who practises: drills, marks of a class, charts to take along.

A house of a drill comes of its order alone, so a page carries what was done in it and the server
keeps nothing of it but its mark. What takes long is worked out beside the server.
"""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from contextlib import redirect_stdout
from importlib.util import find_spec
from pathlib import Path
from tempfile import TemporaryDirectory

from stillflow.casebook.marks import EXAM, EXAM_LEVELS, DrillMark, exam_seed, mark_of, read_marks
from stillflow.cli.drill import show_review, sort_of
from stillflow.cli.drill_marks import progress_of, show_all, show_results, show_trainee
from stillflow.cli.web.pages import svg_of, written
from stillflow.cli.web.paper import Block
from stillflow.engine.base import InputError, StillflowError
from stillflow.engine.charts import TitleBlock, routes_chart
from stillflow.engine.drill import (
    CAUTIOUS,
    LEVELS,
    Drill,
    Order,
    Possible,
    build_house,
    review,
    routes,
)
from stillflow.engine.ruleset import Knowledge

MOST_ACTS = 200
HINT, LEAVE, DANGER = "hint", "leave", "danger"
SAFE = "safe."
"""What the box of a danger that is minded first begins with; `minded` says they were asked."""

_RIGHT = "begin a drill anew"

CHARTS = {
    "tree": ("What to check next: a decision tree", ("chart", "tree", "--reach", "12%")),
    "faults": ("What can bring it about: a fault tree", ("chart", "faults")),
    "pareto": ("What is behind it, by how often", ("chart", "pareto")),
}
OF_A_VISIT = {
    "why": ("How it came to this", ("why", "--chart")),
    "stations": ("Where suction is lost", ("chart", "stations", "--out")),
    "airflow": ("Suction against airflow", ("chart", "airflow", "--out")),
}
PAPERS = {
    "svg": ("One large drawing (SVG)", ()),
    "png": ("One large picture (PNG)", ()),
    "a4": ("Pages of A4 (PDF)", ("--paper", "a4")),
    "a3": ("Pages of A3 (PDF)", ("--paper", "a3")),
    "a1": ("A poster of A1 (PDF)", ("--paper", "a1")),
    "letter": ("Pages of letter (PDF)", ("--paper", "letter")),
}


def papers() -> Mapping[str, tuple[str, tuple[str, ...]]]:
    """What a chart can be drawn on here, as `PAPERS`: a PDF needs its extra."""
    drawn = find_spec("fpdf") is not None
    return {name: one for name, one in PAPERS.items() if drawn or name in ("svg", "png")}


BLANK = {
    "": "The chart itself",
    "names": "An exercise: names left blank",
    "figures": "An exercise: figures left blank",
    "answers": "An exercise: answers left blank",
}


def ordered(form: Mapping[str, str]) -> Order:
    """The house that a form asks for.

    Raises:
        InputError: there is none like that.
    """
    level, seed = form.get("level", "1"), form.get("seed", "")
    if level not in map(str, LEVELS):
        raise InputError(f"there is no level '{level[:20]}'", right="choose 1, 2 or 3")
    if not (seed.isascii() and seed.isdigit() and 0 < len(seed) < 10):
        raise InputError(f"'{seed[:20]}' is not a number of a house", right="such as 7")
    return Order(int(seed), LEVELS[int(level) - 1])


def of_exam(file: Path, trainee: str, exam: int) -> tuple[int, Order] | None:
    """The next house of an exam; None where all were played."""
    done = {one.number for one in read_marks(file) if one.trainee == trainee and one.exam == exam}
    left = [number for number in range(1, EXAM + 1) if number not in done]
    if not left:
        return None
    return left[0], Order(exam_seed(exam, left[0]), EXAM_LEVELS[left[0] - 1])


def act_of(choice: Possible, safe: Sequence[str] | None) -> str:
    """An act as a page carries it; `safe` is what was minded first, None where nothing is due."""
    name = f"fix.{choice.id}" if choice.is_fix else choice.id
    return name if safe is None else "+".join((name, *safe)) + ("+" if not safe else "")


def chosen(drill: Drill, name: str) -> Possible:
    """What a name on the page stands for.

    Raises:
        InputError: nothing in this house.
    """
    for one in drill.choices:
        if name == act_of(one, None):
            return one
    raise InputError(f"'{name[:40]}' is nothing to do in this house", right=_RIGHT)


def played(knowledge: Knowledge, order: Order, acts: Sequence[str]) -> Drill:
    """The drill after some acts.

    Raises:
        InputError: they cannot be.
    """
    drill = Drill(knowledge, build_house(knowledge, order))
    if len(acts) > MOST_ACTS:
        raise InputError(f"more than {MOST_ACTS} acts in one house", right=_RIGHT)
    for act in acts:
        if drill.ending is not None:
            raise InputError("this drill has ended", right=_RIGHT)
        if act == HINT:
            drill.hint()
        elif act == LEAVE:
            drill.leave()
        elif act == DANGER:
            drill.stop()
        else:
            name, *safe = act.split("+")
            choice = chosen(drill, name)
            if drill.why_not_now(choice):
                raise InputError("this cannot be done now", right=_RIGHT)
            minded = [one for one in safe if one in CAUTIOUS]
            drill.do(choice, minded if drill.cautions(choice) else None)
    return drill


def listed(drill: Drill, words: str) -> dict[str, list[tuple[str, Possible]]]:
    """What can be done, by kind, that holds every word."""
    wanted = words.casefold().split()
    found: dict[str, list[tuple[str, Possible]]] = {"measure": [], "check": [], "fix": []}
    for one in drill.choices:
        kind = sort_of(one)
        if all(word in f"{one.id} {one.title} {kind}".casefold() for word in wanted):
            found[kind].append((act_of(one, None), one))
    return found


def reviewed(
    knowledge: Knowledge,
    order: Order,
    acts: Sequence[str],
    trainee: str,
    exam: tuple[int, int] | None,
) -> tuple[tuple[Block, ...], str, DrillMark]:
    """What a drill comes to: in words, both ways drawn as SVG, and its mark."""
    came = review(played(knowledge, order, acts))
    blocks = written(lambda paper: show_review(paper, came))
    title = TitleBlock(title=f"Drill: {came.yours.house.complaint.lower()}")
    drawn = svg_of(routes_chart(routes(came, title)))
    return blocks, drawn, mark_of(came, trainee, *(exam or (None, None)))


def marks_of(file: Path, trainee: str = "") -> tuple[tuple[Block, ...], str, list[str]]:
    """Marks of a class or of one trainee: in words, drawn as SVG, and whose they are."""
    kept = [one for one in read_marks(file) if trainee in ("", one.trainee)]
    names = sorted({one.trainee for one in kept})
    if not kept:
        return (), "", names
    exams = sorted({one.exam for one in kept if one.exam is not None})
    if trainee:
        blocks = written(lambda paper: show_trainee(paper, kept, trainee))
    else:
        blocks = written(lambda paper: show_all(paper, kept))
        for exam in exams:
            mine = [one for one in kept if one.exam == exam]
            blocks += written(lambda paper, mine=mine, exam=exam: show_results(paper, mine, exam))  # type: ignore[misc]
    return blocks, svg_of(progress_of(kept, trainee or None, None)), names


def chart_args(knowledge: Knowledge, form: Mapping[str, str]) -> tuple[tuple[str, ...], str]:
    """What a form of a chart comes to on the command line, but where to; and the file's ending.

    Raises:
        InputError: it asks for something that is not offered.
    """
    name, paper, blank = (form.get(one, "") for one in ("chart", "paper", "blank"))
    complaint = form.get("complaint", "")
    offered = name in CHARTS and paper in papers() and blank in BLANK
    if not offered or not (not complaint or complaint in knowledge.complaints):
        raise InputError("there is no such chart", right="choose one of those on the page")
    args = (*CHARTS[name][1], *PAPERS[paper][1])
    args += ("--complaint", complaint) if complaint else ()
    args += ("--blank", blank) if blank else ()
    return (*args, "--out"), paper if paper in ("svg", "png") else "pdf"


def charted(
    _: Knowledge, rules: Sequence[str], args: Sequence[str], ending: str, visit: str = ""
) -> tuple[bytes, str]:
    """A chart as the command line draws it; runs in a process of its own.

    Args:
        rules: folders laid over the shipped rules.
        args: of the command line, but where to; the last of them wants the file.
        ending: of the file.
        visit: a visit as JSON, of which it is.

    Returns:
        The file, and what is wrong where there is none.
    """
    from stillflow.cli.main import group

    with TemporaryDirectory() as folder, redirect_stdout(io.StringIO()):
        of, out = Path(folder) / "visit.yaml", Path(folder) / f"chart.{ending}"
        of.write_text(visit, "utf-8")
        args = [str(of) if one == "VISIT" else one for one in args]
        try:
            over = [word for folder in rules for word in ("--rules", folder)]
            group.main([*args, str(out), *over], standalone_mode=False)
        except StillflowError as error:
            return b"", str(error)
        return out.read_bytes(), ""
