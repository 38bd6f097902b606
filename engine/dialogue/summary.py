"""What a visit comes down to on one page: measured before, done, measured now."""

from __future__ import annotations

from stillflow.engine.base import Model
from stillflow.engine.dialogue.measured import Measured, measured_by_round
from stillflow.engine.dialogue.places import titled
from stillflow.engine.dialogue.session import Session
from stillflow.engine.ruleset import putting_back


class Summary(Model):
    """The page: readings before any fix, between fixes and after the last; how it ended.

    `between` has one entry for each fix that was done but the last, in order. `put_back` is what
    stands open still, and how it is put back, unless danger has ended the visit.
    """

    site: str
    complaint: str
    before: tuple[Measured, ...]
    sizes: tuple[str, ...]
    done: tuple[str, ...]
    between: tuple[tuple[Measured, ...], ...]
    after: tuple[Measured, ...]
    cautions: tuple[str, ...]
    ending: str
    rules: str
    put_back: tuple[str, ...] = ()


def summarise(session: Session) -> Summary:
    """The summary of a visit as it stands."""
    knowledge, progress, visit = session.knowledge, session.progress, session.visit
    rounds = measured_by_round(knowledge, session.baseline, progress)
    done = []
    cautions: dict[str, None] = {}
    for repair in progress.repairs:
        fault = knowledge.faults[repair.fault_id]
        how = "" if repair.done else " (left undone)" if repair.found else " (not there)"
        done.append(f"{titled(fault, repair.inlet)}{how}")
        cautions.update(dict.fromkeys(fault.fix.cautions))
    conclusion = visit.conclusion
    undone = putting_back(knowledge, progress.footing).put_back
    stopped = conclusion is not None and conclusion.step == "stop"
    shut = [knowledge.accesses[name].put_back for name in undone if not stopped]
    # A fix that was not there, or was left, changed nothing: readings after it still belong to it.
    first = next((one for one in progress.repairs if one.done), progress)
    said = session.said(first)
    return Summary(
        site=visit.site.name,
        complaint=visit.complaint,
        before=rounds[0],
        # Air power is for the technician, not for the customer.
        sizes=(said.verdict, *said.sizes) if first.situation.readings else (),
        done=tuple(done),
        between=tuple(rounds[1:-1]),
        after=rounds[-1] if progress.round else (),
        cautions=tuple(knowledge.cautions[name].text for name in cautions),
        ending=conclusion.text if conclusion else "Still open.",
        rules=visit.rules,
        put_back=tuple(one.step for one in shut if one is not None),
    )
