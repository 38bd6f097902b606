"""What is known of a call, as a form: the details and tools that the command line asks for."""

from __future__ import annotations

from collections.abc import Mapping

from stillflow.engine.base import InputError
from stillflow.engine.dialogue import DETAILS, OF_A_NEW_HOUSE, Detail, usual_missing
from stillflow.engine.inference import LIMITS, Visit
from stillflow.engine.ruleset import Knowledge

TOOL = "tool."
"""What the name of a tool's box begins with; `tools` says that the boxes were on the form."""


ASKED = {
    "house": OF_A_NEW_HOUSE,
    "first": tuple(one for one in DETAILS if one.at_first and one not in OF_A_NEW_HOUSE),
    "more": tuple(one for one in DETAILS if not one.at_first and one not in OF_A_NEW_HOUSE),
}
"""Details as they stand on the form: of the house, of the call, and what is folded."""


def keys(detail: Detail) -> str:
    """Which keys a phone should offer for a detail: its `inputmode`."""
    if detail.key == "phone":
        return "tel"
    # A gauge's zero is as often below as above; keys for numbers have no minus.
    return "decimal" if detail.name in LIMITS and detail.name != "zero" else "text"


def filled_in(
    knowledge: Knowledge, visit: Visit, form: Mapping[str, str]
) -> tuple[Visit, dict[str, str]]:
    """The visit with what a form says; a line left empty changes nothing.

    Returns:
        The visit, and by field what is wrong with a line.
    """
    wrong = {}
    for detail in DETAILS:
        line = form.get(detail.key, "").strip()
        if line and line != detail.shown(visit):
            try:
                visit = detail.put(visit, detail.read(line))
            except InputError as error:
                wrong[detail.key] = str(error)
    if "tools" in form:
        missing = tuple(tool for tool in knowledge.tools if f"{TOOL}{tool}" not in form)
        visit = visit.model_copy(update={"missing_tools": missing})
    return visit.model_copy(update={"described": True}), wrong


def as_form(visit: Visit) -> dict[str, str]:
    """What is known, by field, as it is typed."""
    return {detail.key: detail.shown(visit) for detail in DETAILS}


def absent(knowledge: Knowledge, visit: Visit) -> frozenset[str]:
    """Ids of the tools whose box is empty: those said to be missing, else what few have along."""
    known = visit.described or visit.missing_tools
    return frozenset(visit.missing_tools if known else usual_missing(knowledge))
