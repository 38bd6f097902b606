"""The web application: which address shows what.

Pages are worked out in `pages`, visits are kept by `desk`, who may is seen to by `guard`.
"""

from __future__ import annotations

import asyncio
import json
import os
from collections.abc import Awaitable, Callable, Collection, Mapping
from concurrent.futures import BrokenExecutor, Future
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import Request
from starlette.responses import FileResponse, HTMLResponse, RedirectResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from stillflow.casebook.cases import fixed_in_cases
from stillflow.casebook.marks import marks_file
from stillflow.casebook.phones import Phones
from stillflow.casebook.photos import Photos
from stillflow.casebook.sites import Sites
from stillflow.casebook.store import Overtaken
from stillflow.cli.asides import part_of
from stillflow.cli.prompt import faults_named, fix_event, fix_said, reading_said
from stillflow.cli.sheet import sheet_html, sheet_of
from stillflow.cli.sites_prompt import houses_like, known_facts, last_visit
from stillflow.cli.web import pages
from stillflow.cli.web.carrying import Packer, moment_of, printed_card
from stillflow.cli.web.desk import Desk, Standing
from stillflow.cli.web.guard import Guard, cookie_words
from stillflow.cli.web.intake import ASKED, absent, as_form, filled_in, keys
from stillflow.cli.web.pairing import Pairing
from stillflow.cli.web.templating import HERE, rendered
from stillflow.cli.web.trainer import TrainerPages
from stillflow.engine import Session
from stillflow.engine.audit import cover
from stillflow.engine.audit import page as covered_words
from stillflow.engine.base import InputError, SetupError, Station, StillflowError
from stillflow.engine.dialogue import NextStep, taken_words
from stillflow.engine.inference import Event, Visit, earlier_words
from stillflow.engine.ruleset import BOTH
from stillflow.engine.views import note_words, replaced_words

Form = Mapping[str, str]
Answer = Callable[[Request, Form], Response]

MOST_SITES, MOST_ENDED = 20, 5
MOST_JOINED = 200
"""Answers that a phone may send at once."""

SHEET_POLICY = "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'"
"""Of the page for the customer, which has its style in itself and no script."""

MENDED = {"done": "It was mended", "not there": "It was not there"}
"""What is said at the prompt of a fix that nobody proposed, and how it is offered."""

NEW = "new"
"""Instead of the id of a known house: it is another one."""

LOCAL = ("127.0.0.1", "localhost", "::1")


class Pages:
    """The handlers, over one desk."""

    def __init__(
        self, desk: Desk, pairing: Pairing | None, phones: Phones | None, packer: Packer
    ) -> None:
        self.desk = desk
        self.pairing = pairing
        self.phones = phones
        self.photos = Photos(desk.casebook)
        self.packer = packer
        self._card = ""

    def show(self, request: Request, name: str, status: int = 200, **more: Any) -> HTMLResponse:
        """A page from its template."""
        state = request.scope["state"]
        common = {"token": state["token"], "person": state["person"], "path": request.url.path}
        common["undo"] = False
        html = rendered(name, **{**common, **more})
        return HTMLResponse(html, status)

    def front(self, request: Request, form: Form) -> Response:
        """Open visits, the last changed first, and those that ended of late."""
        visits = self.desk.casebook.open_visits()
        words = request.query_params.get("q", "")[:100]
        found = Sites(self.desk.casebook).find(words, MOST_SITES) if words.strip() else []
        ended = self.desk.casebook.recent(MOST_ENDED, closed=True)
        left = request.query_params.get("left", "")
        left = next((one.site.name or "Unnamed house" for one in visits if one.id == left), "")
        return self.show(
            request, "front.html", visits=visits, q=words, sites=found, ended=ended, left=left
        )

    def site(self, request: Request, form: Form) -> Response:
        """A house: what is known of it, its last good readings, its visits."""
        sites, now = Sites(self.desk.casebook), datetime.now(UTC)
        known = sites.known(request.path_params["site"])
        visits = sites.visits(known.line.id)
        begun = sites.prefilled(known, Visit())
        return self.show(
            request,
            "site.html",
            known=known,
            facts=known_facts(known),
            good=earlier_words(begun, self.desk.knowledge.faults, now) if begun.earlier else (),
            replaced=replaced_words(visits),
            history=pages.history(visits, known.line.words, self.desk.knowledge),
            visits=visits[::-1],
        )

    def rules(self, request: Request, form: Form) -> Response:
        """Faults, checks and rules that hold every word that is looked for."""
        words = request.query_params.get("q", "")[:100]
        rows = pages.entries(self.desk.knowledge, words)
        return self.show(request, "rules.html", q=words, rows=rows)

    def entry(self, request: Request, form: Form) -> Response:
        """All about one fault, check or rule."""
        name = request.path_params["entry"]
        blocks = pages.entry(self.desk.knowledge, name)
        return self.show(request, "entry.html", entry=name, blocks=blocks)

    def new(self, request: Request, form: Form) -> Response:
        """The few questions before the first check; posted, the visit begins."""
        wrong: dict[str, str] = {}
        houses: list[tuple[str, str]] = []
        if request.method == "POST":
            person = request.scope["state"]["person"]
            picked, name = form.get("known", ""), form.get("name", "").strip()
            if name and not form.get("site") and not picked:
                like, _ = houses_like(Sites(self.desk.casebook), name[:200])
                houses = [(one.id, last_visit(one, datetime.now(UTC))) for one in like]
            house = form.get("site", "") or (picked if picked != NEW else "")
            begun = self._begun(house).model_copy(update={"technician": person})
            # A house that was picked keeps the name it has, however it was spelt this time.
            said = {**form, "name": ""} if house and picked else form
            visit, wrong = filled_in(self.desk.knowledge, begun, said)
            if not wrong and not houses:
                kept = self.desk.casebook.written_by(person).begin(visit)
                return _to(f"/visit/{kept.id}")
        status = 422 if wrong or houses else 200
        missing = absent(self.desk.knowledge, Visit())
        site = form.get("site", "") or request.query_params.get("site", "")
        given = form or as_form(self._begun(site))
        return self._asked(
            request, "new.html", status, given, wrong, missing, site=site, houses=houses, new=NEW
        )

    def _begun(self, site: str) -> Visit:
        """A visit with what is known of its house."""
        if not site:
            return Visit()
        sites = Sites(self.desk.casebook)
        return sites.prefilled(sites.known(site), Visit())

    def unit(self, request: Request, form: Form) -> Response:
        """What is known of house, unit and tools; posted, it is known otherwise."""
        standing, told = self.desk.standing(request.path_params["visit"]), ""
        given, wrong = as_form(standing.visit), dict[str, str]()
        if request.method == "POST":
            given = dict(form)
            changed, wrong = filled_in(self.desk.knowledge, standing.visit, form)
            if not wrong:
                status = 200
                try:
                    told = self.desk.change(
                        standing.visit,
                        changed,
                        form.get("mark", ""),
                        request.scope["state"]["person"],
                    )
                except Overtaken as error:
                    status, told = 409, str(error)
                standing = self.desk.standing(standing.visit.id)
                return self._step(request, standing, status, told)
        missing = absent(self.desk.knowledge, standing.visit)
        status = 422 if wrong else 200
        return self._asked(
            request, "unit.html", status, given, wrong, missing, at=standing, told=told
        )

    def _asked(
        self,
        request: Request,
        name: str,
        status: int,
        given: Form,
        wrong: Form,
        missing: Collection[str],
        **more: Any,
    ) -> Response:
        tools = list(self.desk.knowledge.tools.values())
        return self.show(
            request,
            name,
            status,
            details=ASKED,
            keys=keys,
            given=given,
            wrong=wrong,
            tools=tools,
            missing=missing,
            **more,
        )

    def step(self, request: Request, form: Form) -> Response:
        """Where a visit stands: one step, or its end."""
        return self._step(request, self.desk.standing(request.path_params["visit"]))

    def join(self, request: Request, sent: bytes) -> Response:
        """Keep what a phone answered by itself; the page of where the visit then stands."""
        visit_id = request.path_params["visit"]
        try:
            mark, answers, asked = joined(sent)
            who = request.scope["state"]["person"]
            standing = self.desk.join(visit_id, mark, answers, who, asked=asked)
        except Overtaken as error:
            return self._step(request, self.desk.standing(visit_id), 409, str(error))
        except InputError as error:
            return self._step(request, self.desk.standing(visit_id), 422, str(error))
        return self._step(request, standing)

    def tree(self, request: Request) -> Future[str]:
        """What the phone carries of a visit; it comes when it is made."""
        visit = self.desk.casebook.get(request.path_params["visit"])
        return self.packer.ask(visit, "soon" in request.query_params)

    def card(self, request: Request, form: Form) -> Response:
        """The card that a phone goes by until it has a visit's own; the same for everybody."""
        with self.desk.lock:
            self._card = self._card or printed_card(self.desk.knowledge)
        return Response(self._card, media_type="application/json")

    def offline(self, request: Request, form: Form) -> Response:
        """The page that a phone shows without a signal; the same for everybody."""
        request.scope["state"].update(token="", person="")
        return self.show(request, "offline.html")

    def _step(
        self, request: Request, standing: Standing, status: int = 200, told: str = ""
    ) -> Response:
        with self.desk.lock:
            last = pages.last_said(standing)
            if standing.step.ending is not None:
                blocks = pages.ending(standing)
                return self.show(
                    request, "end.html", status, at=standing, blocks=blocks, last=last, told=told
                )
            session = standing.session
            page = pages.step_page(
                session.knowledge,
                session.baseline,
                standing.step,
                _number(standing),
                pages.shown_before(session),
            )
            ahead, taken = pages.ahead(standing), taken_words(session)
            lifted = pages.lifted(standing)
        return self.show(
            request,
            "visit.html",
            status,
            at=standing,
            undo=True,
            moment=moment_of(standing.visit),
            page=page,
            last=last,
            lifted=lifted,
            told=told,
            ahead=ahead,
            taken=() if len(standing.visit.events) > 1 else taken,
        )

    def answer(self, request: Request, form: Form) -> Response:
        """Keep one answer; then the next step."""
        visit_id = request.path_params["visit"]
        try:
            who = request.scope["state"]["person"]
            self.desk.answer(visit_id, form.get("mark", ""), event_of(form), who)
        except Overtaken as error:
            return self._step(request, self.desk.standing(visit_id), 409, str(error))
        except InputError as error:
            return self._step(request, self.desk.standing(visit_id), 422, str(error))
        return _to(f"/visit/{visit_id}")

    def back(self, request: Request, form: Form) -> Response:
        """Take back the last answer."""
        visit_id = request.path_params["visit"]
        try:
            who = request.scope["state"]["person"]
            self.desk.back(visit_id, form.get("mark", ""), who)
        except Overtaken as error:
            return self._step(request, self.desk.standing(visit_id), 409, str(error))
        return _to(f"/visit/{visit_id}")

    def more(self, request: Request, form: Form) -> Response:
        """What nobody asked for: a reading elsewhere, what was mended already, to stop for now."""
        standing, told = self.desk.standing(request.path_params["visit"]), ""
        if standing.step.ending is not None:
            return _to(f"/visit/{standing.visit.id}")
        fitting: list[str] = []
        if request.method == "POST":
            try:
                said = form.get("said", "")
                if said in MENDED and form.get("fault", "").strip():
                    fitting = faults_named(self.desk.knowledge, form["fault"])
                if len(fitting) < 2:
                    event = _unasked(standing.session, form)
                    who = request.scope["state"]["person"]
                    self.desk.answer(standing.visit.id, form.get("mark", ""), event, who)
                    return _to(f"/visit/{standing.visit.id}")
                told = "Several go by these words: which of them?"
            except Overtaken as error:
                return self._step(request, self.desk.standing(standing.visit.id), 409, str(error))
            except InputError as error:
                told = str(error)
        return self.show(
            request,
            "more.html",
            422 if told else 200,
            at=standing,
            told=told,
            given=form,
            places=(*(one.words for one in Station), *standing.session.progress.inlets.names),
            units=pages.SUCTION_UNITS,
            mended=MENDED,
            fitting=[self.desk.knowledge.faults[name] for name in fitting[1:] and fitting],
        )

    def why(self, request: Request, form: Form) -> Response:
        """Why this step, and how it came to it."""
        standing = self.desk.standing(request.path_params["visit"])
        with self.desk.lock:
            now, course = pages.why_now(standing), pages.course(standing)
            other = request.query_params.get("not", "")[:100]
            why_not = pages.why_other(standing, other) if other else ()
        faults = sorted(self.desk.knowledge.faults.values(), key=lambda one: one.title)
        return self.show(
            request,
            "why.html",
            at=standing,
            now=now,
            course=course,
            faults=faults,
            other=other,
            why_not=why_not,
        )

    def where(self, request: Request, form: Form) -> Response:
        """The stations as a strip: expected beside found."""
        standing = self.desk.standing(request.path_params["visit"])
        with self.desk.lock:
            strip, blocks = pages.strip(standing), pages.where(standing)
        return self.show(request, "where.html", at=standing, strip=strip, blocks=blocks)

    def sheet(self, request: Request, form: Form) -> Response:
        """The page for the customer: a document of its own, to read, print and hand on."""
        standing = self.desk.standing(request.path_params["visit"])
        site = standing.visit.site.id
        visits = Sites(self.desk.casebook).visits(site) if site else []
        with self.desk.lock:
            shop, closed = os.getenv("STILLFLOW_SETTINGS"), standing.visit.conclusion is not None
            sheet = sheet_of(standing.session, visits, shop, closed=closed)
        policy = {"content-security-policy": SHEET_POLICY}
        return HTMLResponse(sheet_html(sheet, "a4"), headers=policy)

    def hand(self, request: Request, form: Form) -> Response:
        """What can be done with the page for the customer."""
        standing = self.desk.standing(request.path_params["visit"])
        return self.show(request, "sheet.html", at=standing)

    def coverage(self, request: Request, form: Form) -> Response:
        """What the rules cover, and what not."""
        words = covered_words(cover(self.desk.knowledge), fixed_in_cases())
        return self.show(request, "coverage.html", words=words)

    def danger(self, request: Request, form: Form) -> Response:
        """The question about danger, at any time, and every danger of this visit so far."""
        standing = self.desk.standing(request.path_params["visit"])
        if standing.step.step == "stop":
            return _to(f"/visit/{standing.visit.id}/again")
        with self.desk.lock:
            now, seen = pages.dangers(standing)
            asked = self._aside(standing, standing.session.safety_step())
        return self.show(request, "danger.html", at=standing, now=now, seen=seen, page=asked)

    def again(self, request: Request, form: Form) -> Response:
        """What the visit ended on, asked once more; before a stop is lifted, what it was."""
        standing = self.desk.standing(request.path_params["visit"])
        session = standing.session
        with self.desk.lock:
            if standing.step.step == "stop" and "sure" not in request.query_params:
                blocks = pages.ended(standing.step)
                return self.show(request, "lift.html", at=standing, blocks=blocks)
            if standing.step.step == "stop":
                stopped = session.stopped_by()
                step = session.once_more(stopped[-1]) if stopped else None
            else:
                step = session.proof_step()
            asked = self._aside(standing, step)
        return self.show(request, "again.html", at=standing, page=asked)

    def unheard(self, request: Request, form: Form) -> Response:
        """What was taken from the complaint was wrong: it is asked instead."""
        standing = self.desk.standing(request.path_params["visit"])
        visit, heard = standing.visit, standing.session.progress.heard
        wrong = tuple(dict.fromkeys((*visit.not_taken, *heard)))
        changed = visit.model_copy(update={"not_taken": wrong})
        try:
            person = request.scope["state"]["person"]
            told = self.desk.change(visit, changed, form.get("mark", ""), person)
        except Overtaken as error:
            return self._step(request, self.desk.standing(visit.id), 409, str(error))
        return self._step(request, self.desk.standing(visit.id), told=told)

    def _aside(self, standing: Standing, step: NextStep | None) -> pages.StepPage | None:
        """A check that is asked whatever comes next."""
        if step is None or step.check is None:
            return None
        session = standing.session
        return pages.step_page(session.knowledge, session.baseline, step, _number(standing))

    def notes(self, request: Request, form: Form) -> Response:
        """Notes and photos of a visit; posted, one note more."""
        visit_id = request.path_params["visit"]
        told = ""
        if request.method == "POST":
            try:
                who = request.scope["state"]["person"]
                self.desk.answer(visit_id, form.get("mark", ""), _noted(form), who)
                return _to(f"/visit/{visit_id}/notes")
            except InputError as error:
                told = str(error)
        return self._notes(request, told)

    def _notes(self, request: Request, told: str = "") -> Response:
        standing = self.desk.standing(request.path_params["visit"])
        return self.show(
            request,
            "notes.html",
            422 if told else 200,
            at=standing,
            told=told,
            notes=note_words(standing.session),
            photos=self.photos.listed(standing.visit.id),
        )

    def add_photo(self, request: Request, sent: bytes) -> Response:
        """Take in a photo."""
        visit_id = request.path_params["visit"]
        try:
            self.photos.add(visit_id, sent, request.scope["state"]["person"])
        except InputError as error:
            return self._notes(request, str(error))
        return _to(f"/visit/{visit_id}/notes")

    def photo(self, request: Request, form: Form) -> Response:
        """One photo; posted, it is taken away."""
        visit_id, photo_id = request.path_params["visit"], request.path_params["photo"]
        if request.method == "POST":
            self.photos.drop(visit_id, photo_id)
            return _to(f"/visit/{visit_id}/notes")
        return Response(self.photos.jpeg(visit_id, photo_id), media_type="image/jpeg")

    def pair(self, request: Request, form: Form) -> Response:
        """The door: a code and a name."""
        if self.pairing is None or self.phones is None or request.scope["state"]["person"]:
            return _to("/")
        told, phones = "", self.phones
        name = form.get("name", "")
        if request.method == "POST":
            try:
                token = self.pairing.check(form.get("code", ""), lambda: phones.pair(name))
                answer = _to("/")
                answer.headers["set-cookie"] = cookie_words(token, request.url.scheme == "https")
                return answer
            except InputError as error:
                told = str(error)
        return self.show(
            request,
            "pair.html",
            422 if told else 200,
            told=told,
            given=name,
            code=form.get("code", "") or request.query_params.get("code", "")[:20],
            secure=request.url.scheme == "https",
        )


def event_of(form: Form) -> Event:
    """The answer a form holds.

    Raises:
        InputError: it is an answer to nothing.
    """
    answer, inlet = form.get("answer", "").strip()[:200], form.get("inlet", "").strip()[:200]
    if form.get("fix"):
        return fix_event(form["fix"], answer, None).model_copy(update={"inlet": inlet or None})
    if form.get("check"):
        if not answer:
            raise InputError("nothing typed", right="type the reading, or tap what hinders you")
        return Event(check=form["check"], answer=_in_unit(answer, form), inlet=inlet or None)
    raise InputError("this answers no step", right="go back to the visit and tap an answer")


def _in_unit(answer: str, form: Form) -> str:
    """A reading with the unit that was picked for it."""
    unit = form.get("unit", "")
    bare = unit in pages.SUCTION_UNITS[1:] and answer.replace(",", ".", 1)
    return f"{answer} {unit}" if bare else answer


def _unasked(session: Session, form: Form) -> Event:
    """What a form says that no step asked for, by the words of the prompt.

    Raises:
        InputError: it says nothing.
    """
    said, typed = form.get("said", ""), form.get("answer", "").strip()[:200]
    place, fault = (form.get(name, "").strip()[:200] for name in ("place", "fault"))
    if said in MENDED:
        found = fix_said(session, f"{said}: {fault}", None)
        missing = InputError("nothing typed", right="what was mended, such as: bag full")
    else:
        found = reading_said(session, f"{said} {_in_unit(typed, form)} at {place}", None)
        missing = InputError("a reading wants its number and its place", right="fill in both")
    if found is None:
        raise missing
    return found


def joined(sent: bytes) -> tuple[str, list[Event], bool]:
    """The moment, the answers that a phone sends, and whether whoever gave them waits for a reply.

    Raises:
        InputError: they are none.
    """
    right = "reload the page"
    try:
        read = json.loads(sent)
        mark, answers = str(read["mark"]), list(read["answers"])
        if not 0 < len(answers) <= MOST_JOINED:
            raise InputError(f"{len(answers)} answers at once", right=right)
        return mark, [_answered(one) for one in answers], read.get("asked") is True
    except (ValueError, KeyError, TypeError, AttributeError):
        raise InputError("this is not what a phone sends", right=right) from None


def _answered(one: Any) -> Event:
    at = datetime.fromisoformat(one["at"])
    if at.tzinfo is None:
        raise ValueError("a time without a time zone")
    event = event_of({k: str(one[k]) for k in ("check", "fix", "answer", "inlet") if one.get(k)})
    return event.model_copy(update={"at": at.astimezone(UTC)})


def _noted(form: Form) -> Event:
    """What a form of the notes says.

    Raises:
        InputError: it says nothing, or no number where one belongs.
    """
    part, note = (form.get(key, "").strip() for key in ("part", "note"))
    if not part and not note:
        raise InputError("nothing was written", right="write it, then keep it")
    if not part:
        return Event(note=note[:2000])
    return part_of(part, form.get("count", ""), form.get("price", ""))


def _number(standing: Standing) -> int:
    """Of the step at hand: what was noted is none."""
    return 1 + sum(not one.beside for one in standing.visit.events)


def _to(address: str) -> Response:
    return RedirectResponse(address, 303)


def application(
    desk: Desk,
    hosts: Collection[str] = LOCAL,
    pairing: Pairing | None = None,
    packer: Packer | None = None,
    marks: Path | None = None,
) -> Starlette:
    """The application over a desk.

    Args:
        desk: the visits.
        hosts: names it answers to.
        pairing: how phones get in; None where nobody has to be known.
        packer: makes what phones carry; by the shipped rules where it is not given.
        marks: where marks of drills are kept; where the command line keeps them if not given.
    """
    phones = Phones(desk.casebook) if pairing is not None else None
    who = phones.who if phones is not None else None
    packer = packer or Packer()
    shown = Pages(desk, pairing, phones, packer)
    trainer = TrainerPages(desk, packer, marks or marks_file(), shown.show)

    def page(answer: Answer) -> Callable[[Request], Awaitable[Response]]:
        async def handle(request: Request) -> Response:
            form: dict[str, str] = {}
            if request.method == "POST":
                async with request.form(max_files=1, max_fields=60) as sent:
                    said = [(name, v) for name, v in sent.multi_items() if isinstance(v, str)]
                    form = dict(said)
                    # Of some questions two answers may be ticked.
                    ticked = [value for name, value in said if name == "answer"]
                    if len(ticked) > 1:
                        form["answer"] = BOTH.join(ticked[:2])
            return await run_in_threadpool(answer, request, form)

        return handle

    async def join(request: Request) -> Response:
        return await run_in_threadpool(shown.join, request, await request.body())

    async def tree(request: Request) -> Response:
        asked = await run_in_threadpool(shown.tree, request)
        try:
            made = await asyncio.wrap_future(asked)
        except (asyncio.CancelledError, BrokenExecutor):
            # A later moment of the visit was asked for; this one is of no use any more.
            return Response(status_code=204)
        return Response(made, media_type="application/json")

    def still(name: str, kind: str) -> Callable[[Request], Awaitable[Response]]:
        async def handle(request: Request) -> Response:
            return FileResponse(HERE / "static" / name, media_type=kind)

        return handle

    async def photo(request: Request) -> Response:
        async with request.form(max_files=1, max_fields=5) as sent:
            file = sent.get("photo")
            data = b"" if file is None or isinstance(file, str) else await file.read()
        return await run_in_threadpool(shown.add_photo, request, data)

    async def failed(request: Request, error: Exception) -> Response:
        status = 500 if isinstance(error, SetupError) else 404
        return shown.show(request, "problem.html", status, problem=str(error))

    async def not_found(request: Request, error: Exception) -> Response:
        assert isinstance(error, HTTPException)
        return shown.show(
            request, "problem.html", error.status_code, problem="There is no such page."
        )

    routes = [
        Route("/", page(shown.front)),
        Route("/site/{site}", page(shown.site)),
        Route("/rules", page(shown.rules)),
        Route("/rules/{entry}", page(shown.entry)),
        Route("/coverage", page(shown.coverage)),
        Route("/drill", page(trainer.begin)),
        Route("/drill", page(trainer.drill), methods=["POST"]),
        Route("/marks", page(trainer.marks)),
        Route("/charts", page(trainer.charts), methods=["GET", "POST"]),
        Route("/visit/{visit}/chart/{chart}", page(trainer.of_visit)),
        Route("/new", page(shown.new), methods=["GET", "POST"]),
        Route("/visit/{visit}", page(shown.step)),
        Route("/visit/{visit}/answer", page(shown.answer), methods=["POST"]),
        Route("/visit/{visit}/join", join, methods=["POST"]),
        Route("/visit/{visit}/tree", tree, middleware=[Middleware(GZipMiddleware)]),
        Route("/card", page(shown.card), middleware=[Middleware(GZipMiddleware)]),
        Route("/offline", page(shown.offline)),
        Route("/worker.js", still("worker.js", "text/javascript")),
        Route("/manifest.json", still("manifest.json", "application/manifest+json")),
        Route("/visit/{visit}/back", page(shown.back), methods=["POST"]),
        Route("/pair", page(shown.pair), methods=["GET", "POST"]),
        Route("/visit/{visit}/notes", page(shown.notes), methods=["GET", "POST"]),
        Route("/visit/{visit}/photo", photo, methods=["POST"]),
        Route("/visit/{visit}/photo/{photo}", page(shown.photo), methods=["GET", "POST"]),
        Route("/visit/{visit}/unit", page(shown.unit), methods=["GET", "POST"]),
        Route("/visit/{visit}/more", page(shown.more), methods=["GET", "POST"]),
        Route("/visit/{visit}/why", page(shown.why)),
        Route("/visit/{visit}/where", page(shown.where)),
        Route("/visit/{visit}/sheet", page(shown.hand)),
        Route("/visit/{visit}/sheet.html", page(shown.sheet)),
        Route("/visit/{visit}/danger", page(shown.danger)),
        Route("/visit/{visit}/again", page(shown.again)),
        Route("/visit/{visit}/unheard", page(shown.unheard), methods=["POST"]),
        # What is written for one browser is not packed: its size would tell of the form's token.
        Mount(
            "/static", GZipMiddleware(StaticFiles(directory=HERE / "static", follow_symlink=True))
        ),
    ]
    return Starlette(
        routes=routes,
        middleware=[Middleware(Guard, hosts=hosts, who=who)],
        exception_handlers={StillflowError: failed, HTTPException: not_found},
    )
