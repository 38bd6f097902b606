"""Pages for the trainer and who practises, over what `training` works out."""

from __future__ import annotations

import secrets
from collections import OrderedDict
from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path
from threading import Lock

from starlette.requests import Request
from starlette.responses import Response

from stillflow.casebook.marks import add_mark
from stillflow.cli.describe import about
from stillflow.cli.drill import show_call, show_hint, show_open, show_said, show_step, show_told
from stillflow.cli.web import training
from stillflow.cli.web.carrying import Packer
from stillflow.cli.web.desk import Desk
from stillflow.cli.web.pages import written
from stillflow.cli.web.paper import Block, PageScreen
from stillflow.engine.base import InputError
from stillflow.engine.drill import CAUTIOUS, LEVELS, Drill, Order, Possible
from stillflow.engine.views import DANGERS

MOST_MARKED = 1000
"""Drills of which it is remembered that their mark is kept."""

_TYPES = {"svg": "image/svg+xml", "png": "image/png", "pdf": "application/pdf"}


class TrainerPages:
    """The handlers.

    Args:
        desk: the rules, and the lock that a session is used under.
        packer: works out beside the server what takes long.
        marks: where marks are kept.
        show: a page from its template.
    """

    def __init__(
        self, desk: Desk, packer: Packer, marks: Path, show: Callable[..., Response]
    ) -> None:
        self._desk, self._packer, self._marks, self._show = desk, packer, marks, show
        self._marked: OrderedDict[str, None] = OrderedDict()
        self._lock = Lock()

    def begin(self, request: Request, form: Mapping[str, str], told: str = "") -> Response:
        """Which house, whose mark."""
        return self._show(
            request,
            "drill_begin.html",
            422 if told else 200,
            told=told,
            form=form,
            levels=LEVELS,
            seed=secrets.randbelow(99_999) + 1,
        )

    def drill(self, request: Request, form: Mapping[str, str]) -> Response:
        """A house as it stands after what was done in it."""
        try:
            return self._drill(request, dict(form))
        except InputError as error:
            return self.begin(request, form, str(error))

    def _drill(self, request: Request, form: dict[str, str]) -> Response:
        trainee = request.scope["state"]["person"] or form.get("trainee", "").strip()
        if not 0 < len(trainee) <= 80:
            raise InputError("whose mark is it?", right="write a name of 1 to 80 letters")
        exam: tuple[int, int] | None = None
        if form.get("exam"):
            if not (form["exam"].isascii() and form["exam"].isdigit() and len(form["exam"]) < 7):
                raise InputError(f"there is no exam '{form['exam'][:20]}'", right="such as 1")
            found = training.of_exam(self._marks, trainee, int(form["exam"]))
            if found is None:
                right = "its results are with the marks"
                raise InputError("every house of this exam was played", right=right)
            exam, order = (int(form["exam"]), found[0]), found[1]
        else:
            order = training.ordered(form)
        known = {
            "trainee": trainee,
            "level": str(order.level),
            "seed": str(order.seed),
            "exam": str(exam[0]) if exam else "",
            "explain": form.get("explain", "")[:1],
            "id": form.get("id", "")[:40] or secrets.token_urlsafe(12),
        }
        acts = form.get("acts", "").split()
        with self._desk.lock:
            drill = training.played(self._desk.knowledge, order, acts)
            asked: Possible | None = None
            said: tuple[Block, ...] = ()
            if act := form.get("act", ""):
                told, asked = self._done(drill, act, form, acts)
                said = told
            if drill.ending is None:
                return self._house(request, drill, known, acts, asked, said, form.get("q", "")[:60])
        return self._end(request, order, known, acts, exam)

    def _done(
        self, drill: Drill, act: str, form: Mapping[str, str], acts: list[str]
    ) -> tuple[tuple[Block, ...], Possible | None]:
        """Do what is asked; what it shows, or what is to be minded first."""
        if act in (training.LEAVE, training.DANGER):
            acts.append(act)
            drill.leave() if act == training.LEAVE else drill.stop()
            return (), None
        if act == training.HINT:
            acts.append(act)
            return written(lambda paper: show_hint(paper, drill)), None
        choice = training.chosen(drill, act)
        if why := drill.why_not_now(choice):
            return (Block("text", f"This cannot be done now: {why}.", strong=True),), None
        due = drill.cautions(choice)
        if due and "minded" not in form:
            return (), choice
        safe = [one for one in CAUTIOUS if f"{training.SAFE}{one}" in form] if due else None
        minded = [one.text for one in due if one.about in (safe or ())]
        before, needless = len(drill.walked_past), drill.needless
        step = drill.do(choice, safe)
        acts.append(training.act_of(choice, safe))

        def show(paper: PageScreen) -> None:
            paper.text(choice.title, style="bold")
            paper.cautions(minded)
            show_step(paper, drill, step, before, needless)
            if drill.ending is None and form.get("explain"):
                show_told(paper, drill, choice, step)

        return written(show), None

    def _house(
        self,
        request: Request,
        drill: Drill,
        known: Mapping[str, str],
        acts: list[str],
        asked: Possible | None,
        said: tuple[Block, ...],
        words: str,
    ) -> Response:
        return self._show(
            request,
            "drill.html",
            drill=drill,
            known={**known, "acts": " ".join(acts)},
            asked=asked,
            act=training.act_of(asked, None) if asked else "",
            mindful=DANGERS,
            about=about,
            said=said,
            call=written(partial(show_call, drill=drill)),
            open_now=written(partial(show_open, drill=drill)),
            before=written(partial(show_said, drill=drill)),
            q=words,
            found=training.listed(drill, words),
        )

    def _end(
        self,
        request: Request,
        order: Order,
        known: Mapping[str, str],
        acts: list[str],
        exam: tuple[int, int] | None,
    ) -> Response:
        blocks, drawn, mark = self._packer.run(
            training.reviewed, order, acts, known["trainee"], exam, soon=True
        )
        with self._lock:
            if known["id"] not in self._marked:
                add_mark(self._marks, mark)
                self._marked[known["id"]] = None
                while len(self._marked) > MOST_MARKED:
                    self._marked.popitem(last=False)
        return self._show(request, "drill_end.html", blocks=blocks, drawn=drawn, known=known)

    def marks(self, request: Request, form: Mapping[str, str]) -> Response:
        """What a class has, or one of them."""
        trainee = request.query_params.get("trainee", "")[:80]
        blocks, drawn, names = training.marks_of(self._marks, trainee)
        return self._show(
            request, "marks.html", blocks=blocks, drawn=drawn, names=names, trainee=trainee
        )

    def charts(self, request: Request, form: Mapping[str, str]) -> Response:
        """Which charts there are; posted, one of them to keep."""
        told = ""
        if request.method == "POST":
            try:
                args, ending = training.chart_args(self._desk.knowledge, form)
                return self._file(args, ending, form["chart"])
            except InputError as error:
                told = str(error)
        return self._show(
            request,
            "charts.html",
            422 if told else 200,
            told=told,
            form=form,
            charts=training.CHARTS,
            papers=training.papers(),
            blanks=training.BLANK,
            complaints=self._desk.knowledge.complaints.values(),
        )

    def of_visit(self, request: Request, form: Mapping[str, str]) -> Response:
        """A drawing of a visit to keep."""
        name = request.path_params["chart"]
        if name not in training.OF_A_VISIT:
            raise InputError("there is no such drawing", right="go back to the visit")
        visit = self._desk.casebook.get(request.path_params["visit"])
        args = training.OF_A_VISIT[name][1]
        args = (*args[:-1], "VISIT", args[-1])
        return self._file(args, "png", name, visit.model_dump_json(by_alias=True))

    def _file(self, args: tuple[str, ...], ending: str, name: str, visit: str = "") -> Response:
        data, wrong = self._packer.run(training.charted, self._packer.rules, args, ending, visit)
        if wrong:
            raise InputError(wrong)
        headers = {"content-disposition": f'attachment; filename="{name}.{ending}"'}
        return Response(data, media_type=_TYPES[ending], headers=headers)
