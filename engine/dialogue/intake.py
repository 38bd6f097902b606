"""What is known of a call before anything is checked: which of it is asked, and how it is read.

The same for every way of talking to people; keeping what they say is left to the caller.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from stillflow.engine.base import InputError, in_figures, nearest, quantity, vocabulary
from stillflow.engine.inference import LIMITS, NamedInlet, Unit, Visit
from stillflow.engine.ruleset import Knowledge

FILTERS: tuple[str, ...] = vocabulary.FILTERS


@dataclass(frozen=True)
class Detail:
    """One thing to know of a call, a house, a unit or a gauge.

    Attributes:
        part: part of the visit it stands in, empty for the visit itself.
        name: its field there.
        ask: the question.
        meaning: what else there is to say of it.
        words: what people call it after `unit`, in lower case.
        usual: what holds where it is left out; empty where nothing does.
        at_first: whether it is asked before the first check.
    """

    part: str
    name: str
    ask: str
    meaning: str
    words: tuple[str, ...]
    usual: str = ""
    at_first: bool = True

    @property
    def key(self) -> str:
        """What names it among all of them: a gauge has a name as a house has."""
        return f"gauge_{self.name}" if self.part == "gauge" else self.name

    @property
    def choices(self) -> tuple[str, ...]:
        """The only answers there are to it; none where it is any text or number."""
        return {"filter": FILTERS, "motors": ("1", "2")}.get(self.name, ())

    def of(self, visit: Visit) -> object:
        """What is known of it; None, empty or the usual value where nothing is."""
        value = getattr(getattr(visit, self.part) if self.part else visit, self.name)
        return _inlet_words(value) if self.name == "inlets" else value

    def shown(self, visit: Visit) -> str:
        """What is known of it as it is typed; empty where nothing is."""
        value = self.of(visit)
        return in_figures(value) if isinstance(value, float) else str(value or "")

    def read(self, line: str) -> object:
        """The value a line stands for.

        Raises:
            InputError: it cannot be one.
        """
        text = line.strip()
        if self.name in LIMITS:
            unit, low, high = LIMITS[self.name]
            return quantity(_ABOUT.sub("", text), unit, "", low, high)
        if self.name == "filter":
            return _one_of(_FILTER_WORDS.get(text.lower(), text), FILTERS, "a filter")
        if self.name == "motors":
            return int(_one_of(text, self.choices, "a number of motors"))
        if self.name == "inlets":
            return _inlet_words(_inlets(text))
        return text[:2000] if self.name == "complaint" else text[:200]

    def put(self, visit: Visit, value: object) -> Visit:
        """The visit with this value."""
        if self.name == "inlets":
            value = _inlets(str(value))
        if not self.part:
            return visit.model_copy(update={self.name: value})
        changed = getattr(visit, self.part).model_copy(update={self.name: value})
        return visit.model_copy(update={self.part: changed})


_ABOUT = re.compile(
    r"(?:about|around|approximately|approx\b\.?|roughly|circa|ca\b\.?|~|≈)\s*(?=[\d.,])",
    re.IGNORECASE,
)
"""That a figure is not exact, which none of them need be."""

_FILTER_WORDS = {
    **dict.fromkeys(("paper bag", "disposable bag", "dust bag", "paper"), "bag"),
    **dict.fromkeys(("self-cleaning", "self cleaning", "fabric", "inverted bag"), "cloth"),
    **dict.fromkeys(("pleated", "pleated filter", "paper cartridge"), "cartridge"),
    **dict.fromkeys(("sponge", "foam rubber"), "foam"),
    **dict.fromkeys(("bag and cloth", "cloth and bag"), "hybrid-cloth"),
    **dict.fromkeys(("bag and cartridge", "cartridge and bag"), "hybrid-cartridge"),
    **dict.fromkeys(("no", "no filter", "there is none", "cyclone"), "none"),
}
"""What people call them."""

_LABEL = "On the nameplate of the unit or in its papers; left out, the age has to do."

DETAILS: tuple[Detail, ...] = (
    Detail(
        "site",
        "name",
        "Name of the house or job",
        "As you will look for it later.",
        ("name", "house", "job"),
    ),
    Detail(
        "site",
        "customer",
        "Name of the customer",
        "Of a house that is new.",
        ("customer",),
        at_first=False,
    ),
    Detail(
        "site",
        "address",
        "Street of the house",
        "Of a house that is new; the page for the customer bears both.",
        ("street", "address"),
        at_first=False,
    ),
    Detail(
        "site",
        "phone",
        "Phone, to call the customer back",
        "Of a house that is new.",
        ("phone",),
        at_first=False,
    ),
    Detail(
        "",
        "complaint",
        "The complaint, in the customer's words",
        "As it was said; what it plainly says is not asked again.",
        ("complaint",),
    ),
    Detail(
        "site",
        "altitude_ft",
        "Altitude of the house above the sea, ft",
        "Thin air makes every reading lower; below 1,000 ft it hardly matters.",
        ("altitude", "height"),
        "0",
    ),
    Detail(
        "unit",
        "rated_sealed",
        "Label of the unit: sealed suction, inH2O",
        _LABEL,
        ("label", "sealed", "suction", "rated sealed"),
    ),
    Detail(
        "unit",
        "rated_airflow",
        "Label of the unit: airflow, cfm",
        _LABEL,
        ("airflow", "air", "rated airflow"),
    ),
    Detail(
        "unit", "age_years", "Age of the unit, years", "About is good enough.", ("age", "years")
    ),
    Detail(
        "unit",
        "filter",
        "Filter of the unit: bag, cartridge, cloth (self-cleaning), foam or none",
        "What keeps dust from the motor; the first letters will do. If two: bag and cloth.",
        ("filter",),
    ),
    Detail(
        "house",
        "tubing_ft",
        "Tubing from the unit to the weak inlet (weak everywhere: the farthest), about, ft",
        "As it runs, not as the crow flies; long tubing takes some of the working suction.",
        ("tubing",),
    ),
    Detail(
        "house",
        "hose_ft",
        "Length of the customer's hose, ft",
        "Pace it out; a long hose takes some of the working suction.",
        ("hose",),
        "30",
    ),
    Detail(
        "house",
        "hose_bore_in",
        "Inside diameter of the hose, in",
        "Measured at a cuff.",
        ("bore",),
        at_first=False,
    ),
    Detail("unit", "motors", "How many motors the unit has", "", ("motors",), at_first=False),
    Detail(
        "site",
        "inlet",
        "Name of the inlet that is weak, or that you measure at (such as: hall)",
        "As the house calls it.",
        ("inlet", "weak inlet"),
        at_first=False,
    ),
    Detail(
        "site",
        "other_inlet",
        "Name of an inlet on another branch",
        "As the house calls it.",
        ("other inlet",),
        at_first=False,
    ),
    Detail(
        "site",
        "inlets",
        "Names of all inlets, from the unit outward (such as: hall, landing (upstairs), study)",
        "In brackets the branch that some share, where it is known.",
        ("inlets",),
        at_first=False,
    ),
    Detail(
        "gauge",
        "name",
        "Which gauge this is, as the shop tells its gauges apart",
        "What was read with another one says less: either may be off.",
        ("gauge",),
        at_first=False,
    ),
    Detail(
        "gauge",
        "orifice_in",
        "Orifice of the fitting, in",
        "Stamped on it; 5/8 in is 0.625.",
        ("orifice",),
        at_first=False,
    ),
    Detail(
        "gauge",
        "zero",
        "What the gauge shows in open air, inH2O",
        "Taken off every reading.",
        ("zero",),
        at_first=False,
    ),
)
"""In the order in which a person can know them: on the way, at the door, at the unit.

Asked at first is what the baseline needs, after whose house it is and what it is about."""

OF_A_NEW_HOUSE = tuple(
    one for one in DETAILS if one.key in ("name", "customer", "address", "phone")
)
"""What is asked first of a house that was never visited."""

PEOPLE_ASK = "Whose house, which street, phone? With commas between them"
PEOPLE_MEANING = (
    "As much as you know, such as: Dora Finch, 12 Quarry Lane, 555 0142. Later, one by one: unit "
    "customer Dora Finch; unit street 12 Quarry Lane; unit phone 555 0142. The customer's page "
    "bears name and street."
)
_PHONE = re.compile(
    r"(?:(?:tel|phone|mobile|cell)\b[.:]?\s*)?(?=(?:\D*\d){6})\+?[\d\s()./-]+(?:(?:x|ext)\.?\s*\d+)?",
    re.IGNORECASE,
)
_ZIP = re.compile(r"\d{5}-\d{4}")


def people_said(line: str) -> dict[str, str]:
    """Customer, street and phone, as a line with commas between tells them.

    A phone is all figures, and six at least; a street has a number in it or comes after the
    customer, and what follows it belongs to it.
    """
    found: dict[str, list[str]] = {"customer": [], "address": [], "phone": []}
    for part in filter(None, map(str.strip, re.split("[,;]", line))):
        if _PHONE.fullmatch(part) and not _ZIP.fullmatch(part):
            found["phone"].append(part)
        elif found["customer"] or found["address"] or any(map(str.isdigit, part)):
            found["address"].append(part)
        else:
            found["customer"].append(part)
    return {name: ", ".join(parts)[:200] for name, parts in found.items()}


def people_words(visit: Visit) -> str:
    """Customer, street and phone as far as they are known, each by the word that changes it."""
    asked = (one for one in OF_A_NEW_HOUSE if one.name != "name")
    return "; ".join(f"{one.words[0]} {one.shown(visit)}" for one in asked if one.of(visit))


_LABEL_SAYS = re.compile(r"(?:the )?(?:label|nameplate) (?:says |reads |is )?(?P<value>\S.*)")
_YEARS_OLD = re.compile(r"(?:it is |it's |the unit is )?(?P<value>[\d.,]+ (?:years|yrs?) old)")
_FLOW = re.compile(r"[\d.,\s]+(cfm|l/s|m3/h|m³/h)")


_INLET = re.compile(r"(?P<name>[^(),]*[^(),\s])\s*(?:\((?P<branch>[^(),]*)\))?")


def _inlet_words(inlets: Iterable[NamedInlet]) -> str:
    return ", ".join(f"{one.name} ({one.branch})" if one.branch else one.name for one in inlets)


def _inlets(text: str) -> tuple[NamedInlet, ...]:
    """Names of inlets with commas between them, each with its branch in brackets or without."""
    found = []
    for part in filter(None, map(str.strip, text.split(","))):
        one = _INLET.fullmatch(part)
        if one is None:
            right = "such as: hall, landing (upstairs), study"
            raise InputError(f"'{part[:40]}' is no name of an inlet", right=right)
        found.append(NamedInlet(name=one["name"][:200], branch=(one["branch"] or "").strip()[:200]))
    return tuple(found[:60])


def detail_said(line: str) -> tuple[Detail, str] | None:
    """Which detail a line gives, and its value as written: `unit filter bag`, `label says 125`.

    Returns:
        None where the line gives none.

    Raises:
        InputError: it begins with `unit`, but names no detail, or no value of it.
    """
    plain = " ".join(line.split())
    lower = plain.lower()
    by_name = {one.name: one for one in DETAILS if one.part == "unit"}
    label = _LABEL_SAYS.fullmatch(lower)
    if label:
        value = label["value"]
        return by_name["rated_airflow" if _FLOW.fullmatch(value) else "rated_sealed"], value
    years = _YEARS_OLD.fullmatch(lower)
    if years:
        return by_name["age_years"], years["value"]
    if not lower.startswith("unit "):
        return None
    rest = plain[len("unit ") :]
    named = {word: one for one in DETAILS for word in one.words}
    for word in sorted(named, key=len, reverse=True):
        if rest.lower() == word or rest.lower().startswith(f"{word} "):
            value = rest[len(word) :].strip()
            if not value:
                raise InputError(f"'{word}' of what?", right=f"such as: unit {word} 12")
            return named[word], value
    right = f"unit and one of: {', '.join(one.words[0] for one in DETAILS)}"
    raise InputError(f"'{rest[:40]}' is nothing that is known of a unit", right=right)


def usual_missing(knowledge: Knowledge) -> tuple[str, ...]:
    """Ids of the tools that nobody has along unless it is said."""
    return tuple(tool.id for tool in knowledge.tools.values() if not tool.usual)


_WITHOUT = re.compile(
    r"(?:(?:i |we )?have )?(?:no|without|not the|not)(?: a| an| the)? (?P<what>.+?)"
    r"(?: today| here| with me)?"
)
_OF_TOOLS = re.compile(r"(?:(?:i |we )?(?:have|no|without|only|just)|all but|everything but) \S")
_ONLY = re.compile(r"(?:i have |we have |have )?(?:only|just)(?: the| a| an)? (?P<what>.+)")
_ALL_BUT = re.compile(
    r"(?:i have |we have |have )?(?:all|everything|the usual)"
    r"(?: but| except| without| save)(?: for)?(?: the| a| an)? (?P<what>.+)"
)
_WITH = re.compile(
    r"(?:(?:i |we )?have |with |and |also )*(?:a |an |the |my )?(?P<what>.+?)(?: too| also| here)?"
)


def tools_said(knowledge: Knowledge, line: str, missing: Iterable[str]) -> tuple[str, ...]:
    """The tools that are missing once a line such as `no gauge, helper too` is taken in.

    Args:
        knowledge: whose tools.
        line: what was typed: tools by name, those that are not there after `no` or `without`.
        missing: ids of the tools that are missing until then.

    Raises:
        InputError: a word that is no tool.
    """
    gone = dict.fromkeys(missing)
    text = " ".join(line.lower().split())
    only, but = _ONLY.fullmatch(text), _ALL_BUT.fullmatch(text)
    if text in ("nothing", "none"):
        return tuple(knowledge.tools)
    if only:
        gone, line = dict.fromkeys(knowledge.tools), only["what"]
    elif but:
        line = f"no {but['what']}"
    words = {word: tool.id for tool in knowledge.tools.values() for word in tool.words}
    words |= {tool.id: tool.id for tool in knowledge.tools.values()}
    without = False
    for piece in re.split(r"[,;]| and ", line.lower()):
        text = " ".join(piece.split())
        if not text:
            continue
        if text in ("all", "everything"):
            gone, without = {}, False
            continue
        absent = _WITHOUT.fullmatch(text)
        found = absent or _WITH.fullmatch(text)
        assert found is not None  # anything but nothing is a tool's name
        # "no gauge and tape": what follows is missing too, until something is said to be there.
        without = bool(absent) or (without and text == found["what"])
        name = words.get(found["what"])
        if name is None:
            right = nearest(found["what"], sorted(words))
            raise InputError(f"'{found['what'][:40]}' is not a tool", right=right)
        if without:
            gone[name] = None
        else:
            gone.pop(name, None)
    return tuple(gone)


def missing_said(knowledge: Knowledge, line: str, missing: Iterable[str]) -> tuple[str, ...] | None:
    """As `tools_said` for a line at any prompt; None where it says nothing of tools.

    Only `no ...` and `have ...` speak of tools there.
    """
    text = " ".join(line.lower().split())
    if not _OF_TOOLS.match(text):
        return None
    try:
        return tools_said(knowledge, text, missing)
    except InputError:
        return None


def _one_of(text: str, known: Iterable[str], what: str) -> str:
    matches = [one for one in known if text and one.startswith(text.lower())]
    if len(matches) != 1:
        raise InputError(f"'{text[:40]}' is not {what}", right=f"one of: {', '.join(known)}")
    return matches[0]


def tools_ask(knowledge: Knowledge) -> str:
    """The question what is at hand, with what is taken for granted."""
    usual = ", ".join(tool.title.lower() for tool in knowledge.tools.values() if tool.usual)
    extra = ", ".join(tool.title.lower() for tool in knowledge.tools.values() if not tool.usual)
    return (
        f"What have you with you? Usual: {usual}.\n"
        f"Not unless you say so: {extra}.\n"
        "Enter for the usual; or such as: no gauge, helper too; only gauge and tape"
    )


def unit_words(unit: Unit) -> str:
    """What is known of a unit, in a line; empty for nothing."""
    known = [
        *([f"fitted {unit.fitted}"] if unit.fitted else []),
        *([f"{in_figures(unit.rated_sealed)} inH2O sealed"] if unit.rated_sealed else []),
        *([f"{in_figures(unit.rated_airflow)} cfm"] if unit.rated_airflow else []),
        *([unit.class_] if unit.class_ else []),
        *([f"about {unit.age_years:.0f} years old"] if unit.age_years is not None else []),
        *([f"{unit.motors} motors" if unit.motors == 2 else "1 motor"] if unit.motors else []),
        *([f"filter: {unit.filter}"] if unit.filter else []),
    ]
    return ", ".join(known)


def known_words(knowledge: Knowledge, visit: Visit) -> list[tuple[str, str]]:
    """Every detail by the word that changes it, with its value; then the tools that are missing."""
    known = [
        (one.words[0], one.shown(visit) or (f"{one.usual} (usual)" if one.usual else "-"))
        for one in DETAILS
    ]
    return [*known, ("without", tools_words(knowledge, visit.missing_tools))]


def tools_words(knowledge: Knowledge, missing: Iterable[str]) -> str:
    """The tools that are missing, in words."""
    tools = knowledge.tools
    titles = [tools[name].title.lower() if name in tools else name for name in missing]
    return ", ".join(titles) or "nothing is missing"
