"""What a visit comes down to on one page: measured before, done, measured now."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict

from stillflow.engine.dialogue.progress import Asked
from stillflow.engine.dialogue.session import Session
from stillflow.engine.inference import NO_ANSWER, spot_of


class _Model(BaseModel):
    model_config = ConfigDict(frozen=True)


class Measured(_Model):
    """One reading beside what was expected, inH2O."""

    label: str
    found: float
    expected: float


class Summary(_Model):
    """The page: readings before and after, what was done, how it ended."""

    site: str
    complaint: str
    before: tuple[Measured, ...]
    sizes: tuple[str, ...]
    done: tuple[str, ...]
    after: tuple[Measured, ...]
    cautions: tuple[str, ...]
    ending: str
    rules: str


def summarise(session: Session) -> Summary:
    """The summary of a visit as it stands."""
    knowledge, progress, visit = session.knowledge, session.progress, session.visit
    rounds = [_measured(session, number) for number in range(progress.round + 1)]
    done = []
    cautions: dict[str, None] = {}
    for repair in progress.repairs:
        fault = knowledge.faults[repair.fault_id]
        how = "" if repair.done else " (left undone)" if repair.found else " (not there)"
        done.append(f"{fault.title}{how}")
        cautions.update(dict.fromkeys(fault.fix.cautions))
    conclusion = visit.conclusion
    # The last sentence tells of air power, which is for the technician, not for the customer.
    first = progress.repairs[0].situation if progress.repairs else progress.situation
    estimate = session.sizes(first)
    return Summary(
        site=visit.site.name,
        complaint=visit.complaint,
        before=rounds[0],
        sizes=tuple(estimate.sentences()[:-1]) if estimate else (),
        done=tuple(done),
        after=rounds[-1] if progress.round else (),
        cautions=tuple(knowledge.cautions[name].text for name in cautions),
        ending=conclusion.text if conclusion else "Still open.",
        rules=visit.rules,
    )


def _measured(session: Session, number: int) -> tuple[Measured, ...]:
    """The last believed reading of each check in one round."""
    last: dict[str, Asked] = {}
    for asked in session.progress.asked:
        check = session.knowledge.checks[asked.check_id]
        believed = asked.answer not in NO_ANSWER and not asked.doubted_by
        if asked.round == number and check.kind == "reading" and believed:
            last[asked.check_id] = asked
    measured = []
    for name, asked in last.items():
        state, station = spot_of(session.knowledge.checks[name])
        measured.append(
            Measured(
                label=f"{state} at {station.words}",
                found=float(asked.answer),
                expected=session.baseline.at(state, station),
            )
        )
    return tuple(measured)
