"""Simulated calls: a random house with hidden faults, which answers checks and can be repaired.

Stands in for a house in drills, benchmarks and comparisons of rule sets. Readings come from the
airflow model, so they are a test of the rules from outside. **Answers to questions come from the
rules' own table of P(answer | fault)**: they cannot show that a strength is right, only whether
the dialogue makes good use of what the rules claim. How houses are drawn is in `houses`;
the dialogue itself is `dialogue`.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import chain, combinations
from typing import TYPE_CHECKING, Literal

import numpy as np

from stillflow.engine.airflow import (
    Effect,
    GaugePoint,
    HoseSizeEffect,
    Houses,
    apply_many,
    draw_sizes,
    gauge_noise,
    readings_table,
)
from stillflow.engine.base import (
    AirState,
    Flags,
    Floats,
    InputError,
    Integers,
    Mode,
    Station,
    StillflowError,
    answer_fact,
)
from stillflow.engine.dialogue import CheckStep, NextStep, Session, StepKind
from stillflow.engine.inference import (
    CANT_TELL,
    NO_ANSWER,
    SPOTS,
    Site,
    Visit,
    possible,
    readings_at_spots,
    rule_table,
    spot_of,
)
from stillflow.engine.ruleset import Check, FactValue, Knowledge
from stillflow.engine.simulate.houses import (
    REST,
    Callers,
    NamedInlets,
    draw_callers,
    name_inlets,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

HowOften = Literal["equally", "as-common"]

WRONG_SHARE = 0.1
"""Share of answers to questions that are wrong or "can't tell", half each (assumed)."""

CANDIDATES = 16
"""Houses drawn per call when the fault comes first, so that one can be chosen that fits it."""

MOST_ROUNDS = 20
"""Times houses are drawn anew for faults that fitted none, before that is called an error."""

NOTICED, MOST_SIZES = (0.06, 0.04), 10
"""Loss of working suction at the hose end that makes people call: mean and standard deviation
(assumed); and how often a size is drawn again for one that is felt."""

_HOSE_END = SPOTS.index((AirState.WORKING, Station.HOSE))

MOST_STEPS = 2000
"""More than all fixes with all readings after each; beyond it something goes in circles."""


@dataclass
class SimulatedCall:
    """One house that calls, with what is wrong in it and what is still wrong.

    Attributes:
        knowledge: the rule set it answers by.
        visit: the record as the technician has it on arrival.
        faults: ids of the hidden faults, as drawn.
        sizes: the size of each, in its effect's own unit.
        wrong_share: share of answers to questions that are wrong or "can't tell", half each; None
            for wrong ones as often as each check's `mistaken` says, and no "can't tell".
        truth: the facts of unit and site as they are, told or not.
        inlets: of the house, by name.
        remaining: ids of the faults not yet put right.
    """

    knowledge: Knowledge
    visit: Visit
    faults: tuple[str, ...]
    sizes: tuple[tuple[float, ...], ...]
    wrong_share: float | None
    truth: Mapping[str, FactValue]
    inlets: NamedInlets
    _readings: Mapping[frozenset[str], Floats]
    remaining: set[str] = field(init=False)

    def __post_init__(self) -> None:
        self.remaining = set(self.faults)

    def reading(self, check: Check, inlet: str | None = None) -> float:
        """What an exact gauge would show now, inH2O.

        Args:
            check: a reading.
            inlet: where station `other` is read; the first other inlet by default.
        """
        state, station = spot_of(check)
        if station is Station.OTHER and inlet not in (None, self.inlets.names[1]):
            return self._read_at(state, str(inlet))
        return float(self._readings[frozenset(self.remaining)][SPOTS.index((state, station))])

    def _read_at(self, state: AirState, inlet: str) -> float:
        house = self.inlets.house
        for name, size in zip(self.faults, self.sizes, strict=True):
            if name in self.remaining:
                house = apply_many(house, self.knowledge.faults[name].effect, np.array([size]))
        point = GaugePoint(Station.OTHER, state, inlet)
        return float(readings_table(house, [point])[0, 0])

    def inlet(self, step: CheckStep, answer: float | str) -> str | None:
        """The name of the inlet that an answer is about, as a technician would say it."""
        if step.station is Station.OTHER and answer not in NO_ANSWER:
            return self.inlets.names[1] if step.asks_inlet else step.inlet
        points = any(one.inlet for one in step.answers if one.id == answer)
        leaks = any(self.knowledge.faults[one].elsewhere for one in self.remaining)
        return (self.inlets.leaks_at if leaks else self.inlets.names[1]) if points else None

    def answer(
        self, check: Check, generator: np.random.Generator, inlet: str | None = None
    ) -> float | str:
        """What the technician would report.

        A reading comes from the airflow model, with the gauge's tolerance as noise. Whether it
        works now is answered truly: yes when nothing is wrong any more. Any other question is
        answered by chance from the rules' own table (see `chances`); of these answers a share is
        "can't tell" or another listed answer.

        Args:
            check: any check of the rule set.
            generator: where the chance comes from.
            inlet: as of `reading`.
        """
        if check.kind == "reading":
            shown = np.array([self.reading(check, inlet)])
            # Read to a whole inch of water, as needles are.
            return float(round(gauge_noise(generator, shown, self.visit.gauge.tolerance)[0]))
        if check.verifies:
            mended = not self.remaining
            return next(one.id for one in check.answers if one.good is mended)
        chances = self.chances(check)
        luck = generator.random()
        wrong = check.mistaken if self.wrong_share is None else self.wrong_share
        if self.wrong_share is not None and luck < wrong / 2:
            return CANT_TELL
        index = int(generator.choice(len(chances), p=chances))
        if luck < wrong:
            others = [one for one in np.flatnonzero(chances > 0.0) if one != index]
            index = int(generator.choice(others)) if others else index
        return check.answer_ids[index]

    def chances(self, check: Check) -> Floats:
        """P(answer | what is wrong now) by the rules' own table, shape (answers,).

        Usual answers times the strengths of the rules that the answer alone fires, together with
        what is true of unit and site, normalised. With several faults the strengths of all are
        multiplied: what speaks strongly for one of them is seen, whatever the other is. Rules
        that join several answers play no part, since each answer is drawn by itself. Answers
        that stop the visit are never given: these houses hold no such danger.

        Args:
            check: a choice.
        """
        fired, stops = fired_alone(self.knowledge, check, self.truth)
        columns = [self.knowledge.fault_index[one] for one in sorted(self.remaining)]
        usual = np.array([answer.usual for answer in check.answers])
        weighed = rule_table(self.knowledge).weigh(fired)[:, columns]
        weights = usual * np.exp(weighed.sum(axis=1))
        weights[stops] = 0.0
        return np.asarray(weights / weights.sum())

    def repair(self, fault_id: str, inlet: str | None = None) -> bool:
        """Carry out the fix of a fault; True if it put something right.

        It does when the fault is there, or one with the same fix; at an inlet that is named, when
        that is the one.
        """
        elsewhere = inlet not in (None, self.inlets.leaks_at)
        mended = {
            one
            for one in self.remaining
            if same_fix(self.knowledge, one, fault_id)
            and not (elsewhere and self.knowledge.faults[one].elsewhere)
        }
        self.remaining -= mended
        return bool(mended)


def fired_alone(
    knowledge: Knowledge, check: Check, standing: Mapping[str, FactValue]
) -> tuple[Flags, Flags]:
    """Which rules each answer to a choice fires with nothing else known but what stands.

    Returns:
        shape (answers, rules); and which answers end the visit, shape (answers,).
    """
    table, name = rule_table(knowledge), answer_fact(check.id)
    rows = table.rows([{**standing, name: answer} for answer in check.answer_ids])
    fired = table.fire(rows, knowledge.rules_using([name]))
    return fired, (fired & table.stops).any(axis=1)


def same_fix(knowledge: Knowledge, first: str, second: str) -> bool:
    """Whether two faults are put right by the same work.

    The same fault; or both need the same parts fitted behind the same access; or in both cases
    nothing is broken, so that nothing is mended and the readings are explained.
    """
    one, other = knowledge.faults[first], knowledge.faults[second]
    if first == second or one.mode is other.mode is Mode.NORMAL:
        return True
    return bool(one.fix.parts) and (
        (one.fix.parts, one.fix.access) == (other.fix.parts, other.fix.access)
    )


def draw_calls(
    knowledge: Knowledge,
    generator: np.random.Generator,
    count: int,
    faults: Literal[1, 2] = 1,
    how_often: HowOften = "as-common",
    wrong_share: float | None = WRONG_SHARE,
    among: Collection[str] | None = None,
) -> list[SimulatedCall]:
    """Draw calls with hidden faults, at sizes drawn from the ranges of their effects.

    With two faults, only such as the technician can put right himself are drawn, and none that
    means nothing is broken.

    Args:
        knowledge: the rule set whose faults are hidden.
        generator: where the chance comes from.
        count: how many calls.
        faults: how many faults each hides.
        how_often: `as-common` draws a house, then faults by how common they are and what the
            rules say about such a unit; `equally` gives each fault its turn, then draws a house
            it fits, older units for what age brings.
        wrong_share: as of `SimulatedCall`.
        among: faults of which the first is one; any by default.

    Returns:
        The calls, in random order.

    Raises:
        InputError: no house was found in which a fault is possible, or none of `among` can be
            hidden beside another.
    """
    hidable = [
        fault.id
        for fault in knowledge.faults.values()
        if faults == 1 or not (fault.fix.refer or fault.mode is Mode.NORMAL)
    ]
    firsts = [name for name in hidable if among is None or name in among]
    if not firsts:
        right = "hide one fault only"
        raise InputError("these faults cannot be hidden beside another", right=right)
    if how_often == "equally":
        turns = np.resize(generator.permutation(firsts), count)
        callers = _fitting(knowledge, generator, turns)
    else:
        turns = np.array([""] * count)
        callers = draw_callers(knowledge, generator, count)
    weights = fault_weights(knowledge, callers.truths)
    hidden = []
    for first, row in zip(turns, weights, strict=True):
        chosen = [str(first)] if first else []
        while len(chosen) < faults:
            drawn_from = hidable if chosen else firsts
            open_ = np.array([one in drawn_from and one not in chosen for one in knowledge.faults])
            fit = (row > 0) if how_often == "equally" else row
            chance = fit * open_
            chosen.append(str(generator.choice(list(knowledge.faults), p=chance / chance.sum())))
        hidden.append(tuple(chosen))
    calls = _with_faults(knowledge, generator, callers, hidden, wrong_share)
    return [calls[row] for row in generator.permutation(count)]


def fault_weights(knowledge: Knowledge, truths: Sequence[Mapping[str, FactValue]]) -> Floats:
    """How often each fault is behind a call, given what is true of unit and site.

    By how common it is, zero where it is not possible, times the rules on standing facts.

    Returns:
        shape (len(truths), F), not normalised.
    """
    table = rule_table(knowledge)
    evidence = np.exp(table.weigh(table.fire(table.rows(truths))))
    common = np.array(
        [
            [
                fault.weight if possible(fault.possible_when, truth) else 0.0
                for fault in knowledge.faults.values()
            ]
            for truth in truths
        ]
    )
    return np.asarray(common.reshape(evidence.shape) * evidence)


def _fitting(
    knowledge: Knowledge, generator: np.random.Generator, turns: NDArray[np.str_]
) -> Callers:
    """A house for each fault, drawn from several by how well it fits."""
    pools: list[Callers] = []
    picked = np.zeros(len(turns), dtype=np.intp)
    missing = np.arange(len(turns))
    for _ in range(MOST_ROUNDS):
        pool = draw_callers(knowledge, generator, len(missing) * CANDIDATES)
        columns = np.repeat([knowledge.fault_index[one] for one in turns[missing]], CANDIDATES)
        fit = fault_weights(knowledge, pool.truths)[np.arange(len(columns)), columns]
        fit = fit.reshape(-1, CANDIDATES).cumsum(axis=1)
        luck = generator.random((len(missing), 1)) * fit[:, -1:]
        chosen = np.arange(len(missing)) * CANDIDATES + (fit <= luck).sum(axis=1)
        found = fit[:, -1] > 0.0
        picked[missing[found]] = np.arange(found.sum()) + sum(len(one.papers) for one in pools)
        pools.append(pool.take(chosen[found]))
        missing = missing[~found]
        if not len(missing):
            return Callers.joined(pools).take(picked)
    raise InputError(
        f"no house found in which '{turns[missing[0]]}' is possible",
        right="see that its possible_when can hold",
    )


def _with_faults(
    knowledge: Knowledge,
    generator: np.random.Generator,
    callers: Callers,
    hidden: Sequence[tuple[str, ...]],
    wrong_share: float | None,
) -> list[SimulatedCall]:
    """The calls, with readings for every state a house can be in as faults are put right."""
    leaking = np.array(
        [
            callers.houses.other if generator.random() < 1.0 / (paper.inlets - 1) else REST
            for paper in callers.papers
        ]
    )
    # A stream of its own, so that houses are drawn alike whatever their inlets are called.
    (naming,) = generator.spawn(1)
    named = [
        name_inlets(naming, callers.houses, row, paper.inlets, int(leaking[row]))
        for row, paper in enumerate(callers.papers)
    ]
    healthy = readings_at_spots(callers.houses, leaking)
    sizes: list[dict[str, Floats]] = [{} for _ in hidden]
    for name in sorted(set(chain.from_iterable(hidden))):
        having = np.array([row for row, chosen in enumerate(hidden) if name in chosen])
        effect, mine = knowledge.faults[name].effect, callers.houses.take(having)
        drawn = _felt(effect, generator, mine, leaking[having], healthy[having])
        for row, size in zip(having, drawn, strict=True):
            sizes[row][name] = size
    states: list[dict[frozenset[str], Floats]] = [{frozenset(): row} for row in healthy]
    groups: dict[tuple[str, ...], list[int]] = {}
    for row, chosen in enumerate(hidden):
        for some in range(1, len(chosen) + 1):
            for state in combinations(sorted(chosen), some):
                groups.setdefault(state, []).append(row)
    for state, rows in groups.items():
        houses = callers.houses.take(np.array(rows))
        for name in state:
            size = np.stack([sizes[row][name] for row in rows])
            houses = apply_many(houses, knowledge.faults[name].effect, size)
        for row, reading in zip(rows, readings_at_spots(houses, leaking[rows]), strict=True):
            states[row][frozenset(state)] = reading
    return [
        SimulatedCall(
            knowledge=knowledge,
            visit=_told_of(_untold(knowledge, visit, chosen), inlets.told(naming)),
            faults=chosen,
            sizes=tuple(tuple(map(float, size[name])) for name in chosen),
            wrong_share=wrong_share,
            truth=truth,
            inlets=inlets,
            _readings=readings,
        )
        for visit, chosen, size, truth, readings, inlets in zip(
            callers.visits(generator, healthy),
            hidden,
            sizes,
            callers.truths,
            states,
            named,
            strict=True,
        )
    ]


def _told_of(visit: Visit, inlets: Site) -> Visit:
    """The record with what is known of the inlets."""
    known = {"inlet": inlets.inlet, "inlets": inlets.inlets}
    return visit.model_copy(update={"site": visit.site.model_copy(update=known)})


def _felt(
    effect: Effect,
    generator: np.random.Generator,
    houses: Houses,
    leaking: Integers,
    healthy: Floats,
) -> Floats:
    """Sizes of a fault that somebody calls about, as far as the hose end shows it at all.

    Drawn again up to `MOST_SIZES` times where less is lost there than that customer notices.
    """
    count = houses.count
    sizes = draw_sizes(effect, generator, count)
    noticed = np.abs(generator.normal(*NOTICED, count))
    short = np.arange(count)
    for _ in range(MOST_SIZES):
        end = readings_at_spots(
            apply_many(houses.take(short), effect, sizes[short]), leaking[short]
        )
        lost = 1.0 - end[:, _HOSE_END] / healthy[short, _HOSE_END]
        short = short[lost < noticed[short]]
        if not len(short):
            break
        sizes[short] = draw_sizes(effect, generator, len(short))
    return sizes


def _untold(knowledge: Knowledge, visit: Visit, hidden: Iterable[str]) -> Visit:
    """The record without the hose's length where the hose is not the one that belongs here."""
    if any(isinstance(knowledge.faults[one].effect, HoseSizeEffect) for one in hidden):
        house = visit.house.model_copy(update={"hose_ft": None})
        return visit.model_copy(update={"house": house})
    return visit


@dataclass(frozen=True)
class PlayedCall:
    """How a call went from start to end.

    Attributes:
        ending: the last step: `done`, `refer` or `stop`.
        concluded: the fault the dialogue ended on: the last one fixed or handed over, or the
            likeliest left where none was; None if nothing was left to believe.
        offered: the fixes proposed in order, each with its probability then.
        checks: how many checks were made, those after a fix among them.
        minutes: of checks and fixes, with walks, opening and putting back.
        remaining: hidden faults that were not put right.
    """

    ending: StepKind
    concluded: str | None
    offered: tuple[tuple[str, float], ...]
    checks: int
    minutes: float
    remaining: frozenset[str]


def play(session: Session, call: SimulatedCall, generator: np.random.Generator) -> PlayedCall:
    """Let a session find its way through a simulated call.

    A fix that belongs to others is left to them, which ends the guided part.

    Raises:
        StillflowError: the dialogue does not come to an end.
    """
    offered: list[tuple[str, float]] = []
    checks, minutes = 0, 0.0
    for _ in range(MOST_STEPS):
        step = session.next_step()
        if step.check is not None:
            checks += 1
            minutes += step.check.minutes + _putting_back(step)
            check = call.knowledge.checks[step.check.id]
            answer = call.answer(check, generator, call.inlet(step.check, 0.0))
            session.record(check.id, answer, inlet=call.inlet(step.check, answer))
        elif step.fix is not None:
            name = step.fix.fault
            chance = next(one.probability for one in step.faults if one.id == name)
            offered.append((name, chance))
            if not step.fix.refer:
                minutes += step.fix.minutes + _putting_back(step)
                call.repair(name, step.fix.inlet)
            session.record_fix(name, done=not step.fix.refer)
        else:
            likeliest = step.faults[0]
            last = likeliest.id if likeliest.probability > 0.0 else None
            if offered and (step.step == "done" or session.progress.deferred):
                last = offered[-1][0]
            minutes += _putting_back(step)
            return PlayedCall(
                step.step, last, tuple(offered), checks, minutes, frozenset(call.remaining)
            )
    raise StillflowError(f"the dialogue did not end within {MOST_STEPS} steps")


def _putting_back(step: NextStep) -> float:
    return step.put_back.minutes if step.put_back is not None else 0.0
