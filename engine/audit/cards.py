"""What a technician sees of a rule, a fault or a check: plain data, for the screen and for JSON.

Only the shapes; how they are filled from a rule set is in `lookup`.
"""

from __future__ import annotations

from stillflow.engine.base import Model


class Named(Model):
    """An entry by id and title."""

    id: str
    title: str


class SourceCard(Model):
    """Where a claim comes from; `words` is the reference, `rests_on` the texts behind it."""

    id: str
    kind: str
    words: str
    note: str
    remembered: bool
    rests_on: tuple[str, ...]


class NumberCard(Model):
    """A judged number, from the least to the most it may be; `own` where its entry says so."""

    key: str
    kind: str
    value: float
    low: float
    high: float
    own: bool


class EvidenceCard(Model):
    """What a rule says of some faults; `times` is the factor its strength stands for.

    Where the strength is computed, `times` and `least` are the largest and the smallest factor that
    the airflow model gives for these faults; `least` is `times` otherwise.

    `named` and `except_for` are the rule's own words, phrases or titles; `faults` is what they
    come to.
    """

    direction: str
    strength: str
    times: float
    least: float
    named: tuple[str, ...]
    except_for: tuple[str, ...]
    faults: tuple[Named, ...]
    source: SourceCard | None


class Voice(Model):
    """One rule that speaks for or against a fault, and how many times likelier or rarer it is."""

    rule: str
    strength: str
    times: float
    when: str
    because: str


class Stopping(Model):
    """What ends the guided part."""

    what: str
    call: str
    do_not: str


class RuleCard(Model):
    """One rule."""

    id: str
    kind: str = "rule"
    when: str
    because: str
    evidence: tuple[EvidenceCard, ...]
    finds: tuple[str, ...]
    cautions: tuple[str, ...]
    advice: tuple[str, ...]
    doubts: tuple[Named, ...]
    stops: tuple[Stopping, ...]
    misleads: str
    weighed: str
    once_with: tuple[str, ...]
    status: str
    checks: tuple[Named, ...]
    used_by: tuple[str, ...]
    source: SourceCard
    file: str
    line: int | None
    takes_place_of: tuple[str, ...] = ()
    judged: tuple[NumberCard, ...] = ()


class FixCard(Model):
    """What is done about a fault."""

    minutes: float
    opens: str | None
    steps: tuple[str, ...]
    parts: tuple[str, ...]
    cautions: tuple[str, ...]
    caution_ids: tuple[str, ...]
    refer: str
    if_wrong_minutes: float


class FaultCard(Model):
    """One fault."""

    id: str
    kind: str = "fault"
    title: str
    place: str
    mode: str
    how_common: str
    effect: str
    confirm: str
    possible_when: str | None
    confirm_first: tuple[Named, ...]
    raised_by: tuple[Voice, ...]
    lowered_by: tuple[Voice, ...]
    fix: FixCard
    after: str
    alike: tuple[Named, ...]
    alike_because: str
    source: SourceCard
    file: str
    line: int | None
    takes_place_of: tuple[str, ...] = ()
    judged: tuple[NumberCard, ...] = ()


class AnswerCard(Model):
    """One answer to a check, how often it is seen when the fault is elsewhere, and its rules.

    For the level of a reading `usual` is how often a first reading falls in it, over all faults as
    common as they are, by the airflow model.
    """

    id: str
    label: str
    looks: str
    usual: float
    good: bool
    rules: tuple[str, ...]


class CheckCard(Model):
    """One check. `rules` are those that use it together with something else."""

    id: str
    kind: str = "check"
    ask: str
    how: tuple[str, ...]
    gauge: str | None
    minutes: float
    opens: str | None
    tools: tuple[str, ...]
    cautions: tuple[str, ...]
    caution_ids: tuple[str, ...]
    possible_when: str | None
    asked_when: str | None
    first: bool
    verifies: bool
    again_after_fix: bool
    answers: tuple[AnswerCard, ...]
    rules: tuple[str, ...]
    source: SourceCard
    file: str
    line: int | None
    takes_place_of: tuple[str, ...] = ()
    judged: tuple[NumberCard, ...] = ()


class PlainCard(Model):
    """A caution, a tool, a class or a source: what its file says, key by key."""

    id: str
    kind: str
    says: tuple[tuple[str, str], ...]
    source: SourceCard
    file: str
    line: int | None
    takes_place_of: tuple[str, ...] = ()
    judged: tuple[NumberCard, ...] = ()


Card = RuleCard | FaultCard | CheckCard | PlainCard
