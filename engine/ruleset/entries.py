"""Models of the rule files: what a fault, a check, a rule and their kin may say.

Each entry of a file becomes one frozen model. How files are found and read is in `loading`; how
conditions are evaluated is in `conditions`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from functools import cached_property
from itertools import combinations
from typing import TYPE_CHECKING, Annotated, ClassVar, Literal

from pydantic import (
    BeforeValidator,
    ConfigDict,
    Discriminator,
    Field,
    StringConstraints,
    Tag,
    ValidationInfo,
    field_validator,
    model_validator,
)

from stillflow.engine.airflow import Effect
from stillflow.engine.base import (
    INH2O_CONVENTIONAL_PA,
    AirState,
    HowCommon,
    Mode,
    Model,
    Station,
    Strength,
    Where,
    nearest,
    vocabulary,
)
from stillflow.engine.ruleset.conditions import BOTH, Condition, leaves

Id = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9]*(-[a-z0-9]+)*$")]
Sentence = Annotated[str, StringConstraints(min_length=3, strip_whitespace=True)]
Minutes = Annotated[
    float, Field(ge=0, le=600, allow_inf_nan=False, json_schema_extra={"unit": "minutes"})
]
Share = Annotated[float, Field(gt=0, le=10, allow_inf_nan=False)]
Probability = Annotated[float, Field(gt=0, le=1, allow_inf_nan=False)]
Suction = Annotated[
    float, Field(gt=0, le=300, allow_inf_nan=False, json_schema_extra={"unit": "inH2O"})
]


NONE_HERE = "there is none"
"""The answer to a check on a part that this house or unit lacks."""


class Entry(Model):
    """What every entry has: an id, and where its claims come from.

    `from_memory` says that what the source says was remembered and not read again.
    """

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True)

    id: Id
    source: Id
    from_memory: bool = False


Kind = Literal["how-common", "strength", "usual", "mistaken", "minutes", "way", "size"]
"""Kinds of numbers that are judged, whatever the source of what they belong to."""

_TIMES = {word.value: word.weight for word in HowCommon} | {
    word.value: word.factor for word in Strength if word is not Strength.COMPUTED
}


def _end(value: object) -> object:
    if not isinstance(value, str) or not value[:1].isalpha():
        return value
    if value not in _TIMES:
        raise ValueError(f"no number is called that; {nearest(value, _TIMES)}")
    return _TIMES[value]


End = Annotated[float, BeforeValidator(_end), Field(gt=0, le=1000, allow_inf_nan=False)]
Ends = tuple[End, End]


class _Ranges(dict[str, Ends]):
    """Ranges by key, never changed once read, so that entries with them have a hash as before."""

    def __hash__(self) -> int:  # type: ignore[override]
        return hash(frozenset(self.items()))


class Judged(Model):
    """What has numbers that are judged: `range` is the least and the most that some may be.

    Where it names none, the range of its kind stands in `ranges.yaml` (see `ranges`).
    """

    JUDGED: ClassVar[Mapping[str, Kind]] = {}
    """Keys of judged numbers, with the kind of each. `range` comes after them in every model."""

    if TYPE_CHECKING:
        range: Mapping[str, Ends] = Field(default_factory=_Ranges)

    @field_validator("range", check_fields=False)
    @classmethod
    def _around(cls, ranges: Mapping[str, Ends], info: ValidationInfo) -> Mapping[str, Ends]:
        for key, (low, high) in ranges.items():
            if low > high:
                raise ValueError(
                    f"the least, {low:g}, is above the most; write {key}: [{high:g}, {low:g}]"
                )
            if key not in cls.JUDGED:
                known = nearest(key, cls.JUDGED)
                raise ValueError(f"'{key}' is no number that is judged here; {known}")
            counted = {"how_common": "often", "strength": "times"}.get(key, key)
            said = info.data.get(counted)
            said = info.data.get(key) if said is None else said
            number = None if said is None else number_of(said)
            if number is not None and not low <= number <= high:
                raise ValueError(
                    f"{key} {number:.3g} is not from {low:.3g} to {high:.3g}; give the least and "
                    "the most, around it"
                )
        return _Ranges(ranges)


def number_of(value: float | HowCommon | Strength) -> float:
    """A judged number, of a word the factor it stands for."""
    if isinstance(value, HowCommon):
        return value.weight
    return value.factor if isinstance(value, Strength) else value


class Range(Entry):
    """How far off numbers of a kind may be, where nothing better is said: `times` either way."""

    id: Kind
    title: Sentence
    times: Annotated[float, Field(ge=1, le=10, allow_inf_nan=False)]


class Source(Model):
    """A published text, or the honest lack of one.

    `rests_on` names the texts that something worked out by ourselves is built on. What is taken
    from a `remembered` one was not read again, and the entries say so too.
    """

    id: Id
    kind: Literal["standard", "law", "handbook", "paper", "practice", "memory"]
    title: Sentence
    number: str = ""
    year: int | None = None
    clause: str = ""
    note: str = ""
    remembered: bool = False
    rests_on: tuple[Id, ...] = ()


class Caution(Entry):
    """A danger, said before the step it belongs to.

    `again` says it in one short sentence, where it was shown in full before; `skipped` is what
    comes of not minding it.
    """

    text: Sentence
    again: str = ""
    skipped: str = ""
    about: Literal[
        "mains",
        "moving-parts",
        "dust",
        "sharp",
        "heights",
        "confined",
        "walls",
        "suction",
        "noise",
        "fire",
    ]


class Stand(Judged, Entry):
    """Where the technician stands: what is done there, and what the way there takes.

    `minutes` are half of every way there: from one stand to another it takes the sum of both, and
    from one place of the same kind to the next twice its own. `look` is what one place takes once
    one is there, where one goes by several.
    """

    JUDGED: ClassVar[Mapping[str, Kind]] = {"minutes": "way", "look": "minutes"}

    title: Sentence
    minutes: Minutes
    look: Minutes = 0.5
    stations: tuple[Station, ...] = ()
    parts: tuple[Where, ...] = ()
    range: Mapping[str, Ends] = Field(default_factory=_Ranges)


class PutBack(Judged):
    """How what was opened is closed again, and how long that takes."""

    JUDGED: ClassVar[Mapping[str, Kind]] = {"minutes": "minutes"}

    minutes: Minutes
    step: Sentence
    range: Mapping[str, Ends] = Field(default_factory=_Ranges)


class Access(Judged, Entry):
    """Something opened once that makes several checks cheap.

    Attributes:
        minutes: of opening it.
        put_back: how it is closed again; without it there is nothing to close.
        at: where it is.
        also: what is opened with it, unless what is done there needs that closed.
    """

    JUDGED: ClassVar[Mapping[str, Kind]] = {"minutes": "minutes"}

    title: Sentence
    minutes: Minutes
    put_back: PutBack | None = None
    at: Id | None = None
    also: tuple[Id, ...] = ()
    cautions: tuple[Id, ...] = ()
    range: Mapping[str, Ends] = Field(default_factory=_Ranges)

    @property
    def closing(self) -> float:
        """Minutes of closing it again."""
        return self.put_back.minutes if self.put_back else 0.0


class Tool(Entry):
    """Something checks are made with; one that is not `usual` is missing until it is named.

    `words` are what people call it, in lower case.
    """

    title: Sentence
    words: Annotated[tuple[Sentence, ...], Field(min_length=1)]
    usual: bool = True


class Level(Entry):
    """One band of share of expected, from below the next band's edge.

    `below` is the upper edge in share where the baseline is a rating or an earlier visit,
    `below_class` where it is only a class of unit; the last level has neither. A `good` level is
    what a fix must bring back.
    """

    title: Sentence
    below: Share | None = None
    below_class: Share | None = None
    typical: Share
    typical_class: Share
    good: bool = False


_LEAST_IN_ORDER = 30.0
"""inH2O, sealed or working. What is written below it was mostly read in kPa."""


class UnitClass(Entry):
    """What units of a kind and age read when in good order, through the standard orifice."""

    title: Sentence
    sealed: Suction
    working: Suction
    tolerance: Annotated[float, Field(gt=0, lt=0.5)]
    age_from: Annotated[float, Field(ge=0)] = 0.0
    age_below: float | None = None

    @model_validator(mode="after")
    def _can_be(self) -> UnitClass:
        for name, value in (("sealed", self.sealed), ("working", self.working)):
            if value < _LEAST_IN_ORDER:
                raise ValueError(
                    f"{name} {value:g} inH2O is no unit in good order; if it is kPa, write "
                    f"{value * 1000 / INH2O_CONVENTIONAL_PA:.0f}"
                )
        if self.working >= self.sealed:
            raise ValueError(
                f"working {self.working:g} is not below sealed {self.sealed:g}; air that flows "
                "always costs suction, so see whether the two changed places"
            )
        if self.age_below is not None and self.age_below <= self.age_from:
            raise ValueError(
                f"no age is from {self.age_from:g} and below {self.age_below:g}; "
                "'age_below:' is the larger"
            )
        return self


class Fix(Judged):
    """What to do about a fault.

    Attributes:
        done: what was done, for the customer's page, without the inlet's name and a full stop.
        if_wrong_minutes: minutes lost, besides the work, when it was not this fault after all:
            another drive out, or somebody called for nothing.
    """

    JUDGED: ClassVar[Mapping[str, Kind]] = {"minutes": "minutes", "if_wrong_minutes": "minutes"}

    minutes: Minutes
    done: str = ""
    steps: Annotated[tuple[Sentence, ...], Field(min_length=1)]
    access: Id | None = None
    at: Id | None = None
    parts: tuple[str, ...] = ()
    cautions: tuple[Id, ...] = ()
    refer: str = ""
    if_wrong_minutes: Annotated[float, Field(ge=0)] = 0.0
    range: Mapping[str, Ends] = Field(default_factory=_Ranges)


NamesInlet = Annotated[str, StringConstraints(pattern=r"^$|\{inlet\}")]
"""Words that are said where the name of the inlet is known, which they leave open."""


class Fault(Judged, Entry):
    """One thing that can be wrong.

    `several` says that it can stand at more than one place of a house: once it is put right at one,
    it may still be at another. `title_at` is the title where the inlet has a name, `{inlet}`.
    `often` is how common it was found to be, 1 for an occasional one, and counts in place of the
    word `how_common`.
    """

    JUDGED: ClassVar[Mapping[str, Kind]] = {"how_common": "how-common"}

    title: Sentence
    place: Where
    mode: Mode
    how_common: HowCommon
    effect: Effect
    confirm: Sentence
    fix: Fix
    after: Sentence
    possible_when: Condition | None = None
    confirm_first: tuple[Id, ...] = ()
    several: bool = False
    title_at: NamesInlet = ""
    often: Annotated[float, Field(gt=0, le=1000, allow_inf_nan=False)] | None = None
    range: Mapping[str, Ends] = Field(default_factory=_Ranges)

    @property
    def weight(self) -> float:
        """Relative frequency among calls (dimensionless, 1 for an occasional one)."""
        return self.how_common.weight if self.often is None else self.often

    @property
    def elsewhere(self) -> bool:
        """Whether it is at another inlet than the one that is complained of."""
        return getattr(self.effect, "at", "") == "other-inlet"


class Alike(Entry):
    """Faults that no answer tells apart, and why that may stand: one fix serves them all."""

    faults: Annotated[tuple[Id, ...], Field(min_length=2)]
    because: Sentence


class Phrase(Entry):
    """What customers say that plainly answers a question; lower case, without what does not matter.

    Taken from a complaint where one of `says` stands in it as whole words, unless its clause makes
    it unsure (see `Unsure`) or another phrase gives the question another answer.
    """

    says: Annotated[tuple[Sentence, ...], Field(min_length=1)]
    check: Id
    answer: Id


class Unsure(Entry):
    """Words that make what is said beside them no plain statement: `not`, `maybe`, `used to`.

    `but_not` are words that hold one of them and deny nothing: that there is `no suction` is the
    complaint itself.
    """

    words: Annotated[tuple[str, ...], Field(min_length=1)]
    but_not: tuple[str, ...] = ()


class Answer(Judged):
    """One listed answer of a choice.

    A `good` one says that a fix has worked; one with `inlet` points at another inlet, by its name;
    a name given with one that is `here` is that of the inlet the complaint is about. One that
    stands `alone` is not true together with another.
    """

    JUDGED: ClassVar[Mapping[str, Kind]] = {"usual": "usual"}

    id: Id
    label: Sentence
    looks: str = ""
    usual: Probability
    good: bool = False
    inlet: bool = False
    here: bool = False
    alone: bool = False
    range: Mapping[str, Ends] = Field(default_factory=_Ranges)


class Check(Judged, Entry):
    """One thing a person can do, look at or ask; `first` before anything else on a call.

    `mistaken` is the share of answers to a choice that are wrong: the thing was overlooked or
    misheard, and any of the other answers given. `usual` of the answers is the row of the
    conditional probability table for faults that no rule ties to the check. `closed` needs all
    put back that was opened, but for its own access; so does every reading, of whose minutes
    `set_up` fall away where the gauge is at the station already. `ask_at` is the question where
    the inlet has a name, `{inlet}`. Of `several` answers two may be true at once. `part` is what a
    house or unit may lack: that there is none is an answer too, and makes the flag `has.PART`
    false.
    """

    JUDGED: ClassVar[Mapping[str, Kind]] = {"minutes": "minutes", "mistaken": "mistaken"}

    kind: Literal["reading", "choice"]
    ask: Annotated[str, StringConstraints(min_length=5, strip_whitespace=True)]
    ask_at: NamesInlet = ""
    how: Annotated[tuple[Sentence, ...], Field(min_length=1)]
    minutes: Minutes
    station: Station | None = None
    condition: AirState | None = None
    answers: tuple[Answer, ...] = ()
    mistaken: Annotated[float, Field(ge=0, lt=0.5, allow_inf_nan=False)] = 0.0
    access: Id | None = None
    at: Id | None = None
    closed: bool = False
    set_up: Minutes = 0.0
    tools: tuple[Id, ...] = ()
    cautions: tuple[Id, ...] = ()
    possible_when: Condition | None = None
    asked_when: Condition | None = None
    again_after_fix: bool = False
    first: bool = False
    verifies: bool = False
    several: bool = False
    part: Id | None = None
    range: Mapping[str, Ends] = Field(default_factory=_Ranges)

    @model_validator(mode="after")
    def _kind_fits(self) -> Check:
        if self.kind == "reading":
            if self.station is None or self.condition is None:
                raise ValueError("a reading needs 'station:' and 'condition:'; add both")
            if self.answers:
                raise ValueError("a reading has no listed answers; use kind: choice")
            if self.several:
                raise ValueError("a reading is one number; drop 'several:'")
            if self.mistaken:
                raise ValueError("a reading is not mistaken, its gauge is; drop 'mistaken:'")
            if self.set_up > self.minutes:
                raise ValueError("'set_up:' is a part of 'minutes:', so it cannot be more")
        else:
            if len(self.answers) < 2:
                raise ValueError("a choice needs at least two answers; list them")
            if self.station or self.condition or self.set_up:
                raise ValueError("a choice has no station, condition or set-up; drop them")
            names = [answer.id for answer in self.answers]
            if len(set(names)) < len(names):
                raise ValueError("two answers share an id; give each its own")
            total = sum(answer.usual for answer in self.answers)
            if abs(total - 1.0) > 0.011:
                each = ", ".join(f"{one.id} {one.usual:g}" for one in self.answers)
                raise ValueError(
                    f"the usual answers add up to {total:.2f}; make them add up to 1: {each}"
                )
        return self

    @property
    def needs_closed(self) -> bool:
        """Whether all that was opened must be put back for it, but for its own access."""
        return self.closed or self.kind == "reading"

    @cached_property
    def answer_ids(self) -> tuple[str, ...]:
        """The listed answers' ids, in order; empty for a reading."""
        return tuple(answer.id for answer in self.answers)

    @cached_property
    def words(self) -> tuple[str, ...]:
        """Every value its answer can have: the answers, then pairs that may both be true."""
        pairs: Iterable[tuple[Answer, Answer]] = ()
        if self.several:
            pairs = combinations((one for one in self.answers if not one.alone), 2)
        return *self.answer_ids, *(f"{one.id}{BOTH}{other.id}" for one, other in pairs)

    def labels(self, answer: str) -> str:
        """An answer, or two that are both true, as it is called."""
        named = {one.id: one.label for one in self.answers}
        return " / ".join(named.get(one, one) for one in answer.split(BOTH))


Phrases = Annotated[tuple[str, ...], Field(min_length=1)]


class Evidence(Judged):
    """Evidence for or against the faults a selector names.

    `times` is how many times likelier (for) or rarer (against) it was found to be, and counts in
    place of the word `strength`.
    """

    JUDGED: ClassVar[Mapping[str, Kind]] = {"strength": "strength"}

    for_: str | Phrases | None = Field(default=None, alias="for")
    against: str | Phrases | None = None
    except_: tuple[str, ...] = Field(default=(), alias="except")
    strength: Strength = Strength.COMPUTED
    times: Annotated[float, Field(ge=1, le=10_000, allow_inf_nan=False)] | None = None
    source: Id | None = None
    range: Mapping[str, Ends] = Field(default_factory=_Ranges)

    @model_validator(mode="after")
    def _one_direction(self) -> Evidence:
        if (self.for_ is None) == (self.against is None):
            raise ValueError("evidence is 'for' or 'against'; give exactly one of the two")
        if self.times is not None and self.strength is Strength.COMPUTED:
            raise ValueError("'times:' counts in place of a 'strength:'; give the nearest word too")
        return self

    @property
    def factor(self) -> float:
        """The likelihood ratio it stands for, 1 or more (dimensionless)."""
        return self.strength.factor if self.times is None else self.times

    @property
    def selector(self) -> tuple[str, ...]:
        """The phrases or ids that name the faults meant."""
        named = self.for_ if self.for_ is not None else self.against
        assert named is not None
        return (named,) if isinstance(named, str) else named

    @property
    def sign(self) -> int:
        """+1 for, -1 against."""
        return 1 if self.for_ is not None else -1


class Derivation(Model):
    """A finding that other rules may use: a flag that is true once derived.

    Only ever true, so that two rules cannot derive it differently.
    """

    derive: Annotated[str, StringConstraints(pattern=r"^finding\.[a-z0-9]+(-[a-z0-9]+)*$")]


class Warn(Model):
    """A caution to show from now on."""

    caution: Id


class Stop(Model):
    """The guided part ends at once."""

    stop: Sentence
    call: Sentence
    do_not: Sentence


class Doubt(Model):
    """These readings cannot all be right: take them again before believing them."""

    doubt: Annotated[tuple[Id, ...], Field(min_length=1)]


class Settles(Model):
    """A question whose answer is plain from what is known, so that it need not be asked.

    `as` is that answer, or `there is none` for a part that cannot be there. It adds no evidence:
    what is implied says no more than what implies it.
    """

    settles: Id
    as_: str = Field(alias="as")


class Advice(Model):
    """A sentence for the technician that changes no probability."""

    advise: Sentence


_BY_KEY = {
    "for": "<evidence>",
    "against": "<evidence>",
    "strength": "<evidence>",
    "derive": "<derive>",
    "caution": "<caution>",
    "stop": "<stop>",
    "doubt": "<doubt>",
    "settles": "<settles>",
    "advise": "<advise>",
}


def _which(value: object) -> str | None:
    if isinstance(value, Mapping):
        return next((tag for key, tag in _BY_KEY.items() if key in value), None)
    return None


Consequence = Annotated[
    Annotated[Evidence, Tag("<evidence>")]
    | Annotated[Derivation, Tag("<derive>")]
    | Annotated[Warn, Tag("<caution>")]
    | Annotated[Stop, Tag("<stop>")]
    | Annotated[Doubt, Tag("<doubt>")]
    | Annotated[Settles, Tag("<settles>")]
    | Annotated[Advice, Tag("<advise>")],
    Discriminator(
        _which,
        custom_error_type="consequence_shape",
        custom_error_message="not a consequence; start with for:, against:, derive:, caution:, "
        "stop:, doubt:, settles: or advise:",
    ),
]


Next = Literal[
    "stop",
    "ask-first",
    "take-again",
    "verify",
    "put-back",
    "read-with",
    "ask",
    "confirm",
    "fix",
    "refer",
    "done",
]

ENDS: frozenset[Next] = frozenset({"stop", "refer", "done"})

BLANKS = ("fault", "done", "left", "measured")
"""What `says` may leave open: the fault last dealt with, those left undone, what was read after."""


class Turn(Entry):
    """One entry of a visit's course: what comes next when it holds and nothing above it does.

    `says` and `call` are the words of an ending, and whom to call; where `call` is left out it is
    whose work the fix is. `proves` is false of one that ends well although nothing measured shows
    that the last fix did it.
    """

    salience: Annotated[int, Field(ge=0, le=1000)]
    when: Condition
    next: Next
    because: Sentence
    says: str = ""
    call: str = ""
    proves: bool = True

    @model_validator(mode="after")
    def _says_how_it_ends(self) -> Turn:
        if bool(self.says) != (self.next in ("refer", "done")):
            raise ValueError("'says:' goes with next: refer and done alone; add or drop it")
        unknown = set(re.findall(r"{(.*?)}", self.says + self.because)).difference(BLANKS)
        if unknown:
            listed = ", ".join(f"{{{blank}}}" for blank in BLANKS)
            raise ValueError(f"nothing stands for {{{min(unknown)}}}; use {listed}")
        return self


class CardStep(Entry):
    """One step of the printed card, in order; `says` may leave open where readings are taken."""

    step: Annotated[int, Field(ge=1)]
    says: Sentence

    @model_validator(mode="after")
    def _leaves_open(self) -> CardStep:
        unknown = set(re.findall(r"{(.*?)}", self.says)) - {"stations"}
        if unknown:
            raise ValueError(f"nothing stands for {{{min(unknown)}}}; use {{stations}}")
        return self


class Rule(Entry):
    """When a condition over facts holds, then these consequences, because of one sentence.

    `weighed` says why a rule on readings has a strength of its own, since the airflow model knows
    how much readings weigh. `once` names what rules are of that see one thing in several ways, told
    and heard, say: of those that fire only the strongest counts, for each fault.
    """

    when: Condition
    then: Annotated[tuple[Consequence, ...], Field(min_length=1)]
    because: Sentence
    misleads: str = ""
    weighed: str = ""
    once: Id | None = None
    status: Literal["trial", "settled"] = "settled"

    @property
    def derives(self) -> tuple[str, ...]:
        """The findings that are true where it fires."""
        return tuple(item.derive for item in self.then if isinstance(item, Derivation))

    @property
    def stop(self) -> Stop | None:
        """What stops the visit where it fires, if anything does."""
        return next((item for item in self.then if isinstance(item, Stop)), None)

    @cached_property
    def gauged(self) -> bool:
        """Whether its condition rests on readings alone."""
        return all(leaf.fact.split(".")[0] in vocabulary.GAUGED for leaf in leaves(self.when))
