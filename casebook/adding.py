"""A kept visit made a worked case: what was found and what it came to, but not whose house."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, get_args

from stillflow.casebook.cases import Case, Expectation, checked_case, read_case
from stillflow.casebook.files import yaml_text
from stillflow.casebook.nameless import anonymous
from stillflow.casebook.tables import PEOPLE
from stillflow.engine.base import InputError, Place
from stillflow.engine.inference import Visit
from stillflow.engine.ruleset import Knowledge

_ENDS = get_args(Expectation.model_fields["ends"].annotation)


@dataclass(frozen=True)
class Added:
    """A case ready to be written.

    Attributes:
        text: of its file.
        case: read from that text.
        removed: what of the visit is not in it or reads otherwise, a line each.
    """

    text: str
    case: Case
    removed: tuple[str, ...]


def case_of(
    visit: Visit, knowledge: Knowledge, name: str, title: str, teaches: str, kind: str = ""
) -> Added:
    """Make a closed visit a case. What a fix changed is what was answered after it.

    Args:
        visit: as kept, with its people.
        knowledge: whose checks and faults it names.
        name: of the case.
        title: what is the matter, a sentence.
        teaches: what there is to learn from it.
        kind: plain, misleading or stop; by default misleading where the first fix was not the last.

    Raises:
        InputError: the visit is open, or names what the rules do not have; a sentence that is none.
    """
    ended = visit.conclusion
    if ended is None or ended.step not in _ENDS:
        raise InputError("this visit is still open", Place(visit.id), "close it first")
    nameless = _of_no_day(anonymous(visit))
    told: list[dict[str, list[float | str]]] = [{}]
    at: list[dict[str, str]] = [{}]
    fixes, inlets = [], []
    for event in nameless.believed:
        if event.check is not None and event.answer is not None:
            told[-1].setdefault(event.check, []).append(event.answer)
            if event.inlet:
                at[-1][event.check] = event.inlet
        elif event.fix is not None and event.found is not False:
            fault = knowledge.faults.get(event.fix)
            if event.done is False and not (fault and fault.fix.refer):
                continue
            fixes.append(event.fix)
            inlets.append(event.inlet or "")
            if event.done is not False:
                told.append({})
                at.append({})
    header = nameless.model_dump(
        mode="json",
        by_alias=True,
        exclude_defaults=True,
        exclude={"id", "opened", "rules", "technician", "events", "conclusion", "described"},
    )
    fitting = "stop" if ended.step == "stop" else "plain" if len(fixes) < 2 else "misleading"
    names = {check: _by_stage(check, at) for stage in at for check in stage}
    data: dict[str, Any] = {
        "title": title,
        "teaches": teaches,
        "kind": kind or fitting,
        "visit": header,
        "finds": _stage(told[0]),
        **({"after": [_stage(one) for one in told[1:]]} if any(told[1:]) else {}),
        **({"inlets": names} if names else {}),
        "expect": {
            "fixes": fixes,
            "ends": ended.step,
            **({"inlets": inlets} if any(inlets) else {}),
            "enough_checks": max(1, sum(len(one) for stage in told for one in stage.values())),
        },
    }
    text = yaml_text(data)
    case = read_case(text, f"{name}.yaml")
    checked_case(case, knowledge)
    return Added(text, case, tuple(_removed(visit, nameless)))


def _of_no_day(visit: Visit) -> Visit:
    """The visit without the days of earlier ones; its gauges told apart, but not named."""
    gauges = [visit.gauge.name, *(one.gauge for one in visit.earlier)]
    known = [name for name in dict.fromkeys(gauges) if name]
    called = {name: f"gauge {number}" for number, name in enumerate(known, 1)} | {"": ""}
    earlier = tuple(
        one.model_copy(update={"at": None, "gauge": called[one.gauge]}) for one in visit.earlier
    )
    gauge = visit.gauge.model_copy(update={"name": called[visit.gauge.name]})
    return visit.model_copy(update={"earlier": earlier, "gauge": gauge})


def _stage(told: dict[str, list[float | str]]) -> dict[str, Any]:
    return {check: some if len(some) > 1 else some[0] for check, some in told.items()}


def _by_stage(check: str, at: list[dict[str, str]]) -> str | list[str]:
    """The inlet a check was about before any fix and after each; just the name if it stays."""
    names: list[str] = []
    first = next(stage[check] for stage in at if check in stage)
    for stage in at:
        names.append(stage.get(check, names[-1] if names else first))
    return first if set(names) == {first} else names


def _removed(visit: Visit, nameless: Visit) -> Iterator[str]:
    for field in PEOPLE:
        if getattr(visit.site, field):
            yield f"{field}: {getattr(visit.site, field)}"
    for name in visit.technicians:
        yield f"technician: {name}"
    days = [visit.opened, *(one.at for one in visit.earlier)]
    for day in dict.fromkeys(one.date() for one in days if one is not None):
        yield f"day: {day}"
    if visit.gauge.name != nameless.gauge.name:
        yield f"gauge: {visit.gauge.name}"
    notes = sum(one.note is not None for one in visit.events)
    parts = sum(one.part is not None for one in visit.events)
    if notes or parts:
        yield f"notes and parts: {notes + parts}"
    now = dict(zip(_inlets(visit), _inlets(nameless), strict=True))
    for label, before, after in (
        ("complaint", visit.complaint, nameless.complaint),
        *(("inlet", name, bare) for name, bare in now.items()),
    ):
        if before != after:
            yield f'{label}: "{before}" now reads "{after}"'


def _inlets(visit: Visit) -> list[str]:
    """What inlets are called, wherever they are named."""
    listed = [one.name for one in visit.site.inlets]
    asked = [one.inlet or "" for one in visit.events]
    return [visit.site.inlet, visit.site.other_inlet, *listed, *asked]
