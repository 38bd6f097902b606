"""Which worked cases a rule speaks in: by what the cases find, or by playing them."""

from __future__ import annotations

from stillflow.casebook.cases import Case, checked_case, load_cases, play
from stillflow.engine import Session
from stillflow.engine.base import tried_fact
from stillflow.engine.dialogue import rounds
from stillflow.engine.inference import (
    NO_ANSWER,
    LikelihoodModel,
    Situation,
    baseline_for,
    checked_answer,
    rule_table,
    spot_of,
)
from stillflow.engine.ruleset import FactValue, Knowledge


def true_in(rule_id: str, knowledge: Knowledge) -> list[str]:
    """Names of the worked cases in which a rule's condition is true of all that is found.

    Quick, since nothing is played; whether the dialogue asks for all of it is another matter.
    """
    table = rule_table(knowledge)
    names = []
    for case in load_cases():
        checked_case(case, knowledge)
        fired = table.fire(table.rows(_facts(case, knowledge)))
        if fired[:, table.rule_ids.index(rule_id)].any():
            names.append(case.name)
    return names


def fired_in(rule_id: str, knowledge: Knowledge) -> list[str]:
    """Names of the worked cases in which a rule fires when they are played from the beginning."""
    names = []
    for case in load_cases():
        session = Session(knowledge, play(case, knowledge).visit)
        fired = {firing.rule_id for one in rounds(session) for firing in one.firings}
        fired |= {asked.doubted_by for asked in session.progress.asked}
        if rule_id in fired:
            names.append(case.name)
    return names


def _facts(case: Case, knowledge: Knowledge) -> list[dict[str, FactValue]]:
    """All that is known with every check of the case answered, before and after each fix."""
    model = LikelihoodModel(
        knowledge, rule_table(knowledge), baseline_for(case.visit, knowledge), case.visit
    )
    found = []
    for fixed in range(len(case.expect.fixes) + 1):
        answers = case.answers(fixed)
        standing = model.standing(case.visit)
        standing |= {tried_fact(fault_id): True for fault_id in case.expect.fixes[:fixed]}
        # What a case expects to be fixed is what mends it.
        standing |= dict.fromkeys(("visit.fixes", "visit.mended"), float(fixed))
        for turn in range(max((len(given) for given in answers.values()), default=1)):
            situation = Situation(standing)
            for check_id, given in answers.items():
                check = knowledge.checks[check_id]
                answer = checked_answer(check, given[min(turn, len(given) - 1)])
                if answer in NO_ANSWER:
                    continue
                if check.kind == "reading":
                    situation = situation.with_reading(spot_of(check), float(answer))
                else:
                    situation = situation.with_choice(check_id, str(answer))
            found.append(model.facts(situation))
    return found
