"""The airflow model run backwards: from readings to the size of what is wrong.

Explains readings with the fewest faults that fit within tolerance: none, else one, else two. Says
where causes cannot be told apart. The fitting itself is in `atlas` and `pairs`, the facts for rules
in `estimate_facts`, what an estimate looks like in `findings`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from stillflow.engine.airflow import words
from stillflow.engine.airflow.air import CFM_LS, Array, air_watts
from stillflow.engine.airflow.atlas import AMBIGUOUS_RISE, Atlas, Fits, atlas_of
from stillflow.engine.airflow.causes import CAUSES, VARIANT_CAUSE, VARIANTS, along
from stillflow.engine.airflow.estimate_facts import (
    FACT_NAMES,
    STRETCH_WORDS,
    columns_of,
    plain_facts,
    stretch_codes,
)
from stillflow.engine.airflow.findings import (
    Candidate,
    Estimate,
    Explanation,
    Opening,
    Reading,
    SizedCause,
)
from stillflow.engine.airflow.pairs import PairFit, fit_pairs
from stillflow.engine.airflow.system import System
from stillflow.engine.base import InputError

__all__ = [
    "FACT_NAMES",
    "Candidate",
    "Estimate",
    "Explanation",
    "Opening",
    "Reading",
    "SizedCause",
    "estimate",
]

DEFAULT_TOLERANCE = 0.03
"""Share of the reading: a gauge good to 2 % and a house known to about 2 % (assumed)."""

MOST_EXPLANATIONS = 4


def estimate(
    readings: Sequence[Reading], system: System, tolerance: float = DEFAULT_TOLERANCE
) -> Estimate:
    """Estimate what is wrong, and how much, from any subset of readings.

    The inlet named first among the readings at an inlet or hose is the one whose branch is meant.

    Args:
        readings: at least one.
        system: in the state it should be in.
        tolerance: how far a reading may be from the truth, as a share of it, half-width; a gauge's
            own tolerance plus how well the house is known.

    Returns:
        The estimate.

    Raises:
        InputError: no reading, an inlet the system does not have, or a tolerance that is not
            between 0 and 1.
    """
    if not readings:
        raise InputError("no readings to estimate from", right="give at least one")
    named = [r.inlet for r in readings if r.inlet and r.station in ("inlet", "hose")]
    if named and named[0] != system.inlet_names[system.damaged]:
        system = measured_at(system, named[0])
    atlas = atlas_of(system, tuple(reading.point for reading in readings))
    return _Explainer(atlas, tuple(readings), tolerance, named[0] if named else None).result()


def measured_at(system: System, inlet: str) -> System:
    """The system with an inlet as the one whose branch and neck damage is meant.

    Raises:
        InputError: no such inlet.
    """
    if inlet not in system.inlet_names:
        raise InputError(
            f"no inlet named {inlet!r}", right=f"one of {', '.join(system.inlet_names)}"
        )
    other = None if system.other_inlet == inlet else system.other_inlet
    return system.model_copy(update={"damaged_inlet": inlet, "other_inlet": other})


class _Explainer:
    """Turns one row's fits into an estimate."""

    def __init__(
        self, atlas: Atlas, readings: tuple[Reading, ...], tolerance: float, inlet: str | None
    ) -> None:
        self.atlas = atlas
        self.readings = readings
        self.tolerance = tolerance
        self.inlet = inlet
        self.row: Array = np.array([reading.inh2o for reading in readings])
        self.fits: Fits = atlas.fit(self.row[None, :], tolerance)

    def result(self) -> Estimate:
        atlas, fits = self.atlas, self.fits
        explanations, singles, hose_end = self.explanations()
        alternatives = explanations or singles
        supposed = ("hose", "working") not in [(r.station, r.condition) for r in self.readings]
        hose = self.opening("hose", self.inlet, hose_end, supposed)
        healthy_hose = self.opening("hose", self.inlet, float(atlas.all_healthy[-1]))
        measured = [
            self.opening(reading.station, reading.inlet, reading.inh2o)
            for reading in self.readings
            if reading.condition == "working"
        ]
        return Estimate(
            readings=self.readings,
            expected=tuple(map(float, atlas.healthy)),
            tolerance=self.tolerance,
            candidates=tuple(map(self.candidate, range(len(CAUSES)))),
            explanations=tuple(explanations),
            nearest=singles[0],
            stretch=STRETCH_WORDS[int(stretch_codes(fits)[0])],
            ambiguous_with=tuple(other.name for other in alternatives[1:]),
            openings=(*measured, hose),
            possible_watts=atlas.possible_watts,
            share_at_hose=hose.air_watts / atlas.possible_watts,
            share_at_hose_supposed=supposed,
            healthy_share_at_hose=healthy_hose.air_watts / atlas.possible_watts,
            fact_values=plain_facts(columns_of(atlas, fits)),
        )

    def explanations(self) -> tuple[list[Explanation], list[Explanation], float]:
        """The fewest faults that fit, the single causes nearest, and working at the hose end."""
        fits, best = self.fits, int(self.fits.best[0])
        rest = [int(i) for i in np.argsort(fits.chi_square[0], kind="stable")]
        order = [best, *(i for i in rest if i != best and fits.ambiguous[0, i])]
        singles = [self.single(i, order) for i in order]
        if fits.healthy_fits[0]:
            return [self.as_expected()], singles, float(self.atlas.all_healthy[-1])
        if fits.fits[0, best]:
            fitting = [s for s, i in zip(singles, order, strict=True) if fits.fits[0, i]]
            return fitting, singles, float(fits.read[0, best, -1])
        pairs = [pair for pair in fit_pairs(self.atlas, self.row, self.tolerance) if pair.fits]
        near = [p for p in pairs if p.chi_square <= pairs[0].chi_square + AMBIGUOUS_RISE]
        hose_end = near[0].read[-1] if near else fits.read[0, best, -1]
        return [self.pair(p, near) for p in near[:MOST_EXPLANATIONS]], singles, float(hose_end)

    def as_expected(self) -> Explanation:
        off = (self.row - self.atlas.healthy) / self.atlas.spread(
            self.row[None, :], self.tolerance
        )[2][0]
        return Explanation(
            causes=(),
            misfit=float(self.fits.healthy_misfit[0]),
            chi_square=float(3.0 * (off**2).sum()),
            explained=tuple(map(float, self.atlas.healthy)),
            words="as this system should read",
        )

    def single(self, cause: int, alternatives: Sequence[int]) -> Explanation:
        twin = _other_tubing(CAUSES[cause].name)
        in_tubing = twin in [CAUSES[other].name for other in alternatives]
        sized = self.candidate(cause)
        return Explanation(
            causes=(SizedCause(**sized.model_dump(include=set(SizedCause.model_fields))),),
            in_tubing=in_tubing,
            misfit=sized.misfit,
            chi_square=sized.chi_square,
            explained=tuple(map(float, self.fits.read[0, cause, :-1])),
            words=self.words([sized], in_tubing),
        )

    def pair(self, pair: PairFit, alternatives: Sequence[PairFit]) -> Explanation:
        own = [VARIANTS[variant].cause for variant in pair.variants]
        others = [{VARIANTS[v].cause for v in other.variants} for other in alternatives]
        in_tubing = any(
            {_other_tubing(mine), *(cause for cause in own if cause != mine)} in others
            for mine in own
        )
        sized = [
            self.sized(variant, *numbers)
            for variant, *numbers in zip(
                pair.variants, pair.sizes, pair.low, pair.high, strict=True
            )
        ]
        return Explanation(
            causes=tuple(sized),
            in_tubing=in_tubing,
            misfit=pair.misfit,
            chi_square=pair.chi_square,
            explained=tuple(map(float, pair.read[:-1])),
            words=self.words(sized, in_tubing),
        )

    def words(self, causes: Sequence[SizedCause], in_tubing: bool) -> str:
        return ", and ".join(
            words.size_words(
                part.kind,
                "tubing" if in_tubing and part.stretch in ("trunk", "branch") else part.stretch,
                part.size,
                part.low,
                part.high,
                self.inlet,
            )
            for part in causes
        )

    def candidate(self, cause: int) -> Candidate:
        fits = self.fits
        size, low, high = (float(part[0, cause]) for part in (fits.size, fits.low, fits.high))
        return Candidate(
            **self.sized(int(fits.variant[0, cause]), size, low, high).model_dump(),
            misfit=float(fits.misfit[0, cause]),
            chi_square=float(fits.chi_square[0, cause]),
            fits=bool(fits.fits[0, cause]),
            seen=bool(fits.seen[0, cause]),
        )

    def sized(self, variant: int, size: float, low: float, high: float) -> SizedCause:
        spot, cause = VARIANTS[variant], CAUSES[VARIANT_CAUSE[variant]]
        where = None if spot.along is None else float(along(self.atlas.house, spot)[0])
        return SizedCause(
            cause=cause.name,
            kind=cause.kind,
            stretch=cause.stretch,
            size=size,
            low=low,
            high=high,
            unit="of full speed" if cause.kind == "speed" else "in",
            key=spot.key,
            along=where,
        )

    def opening(
        self, station: str, inlet: str | None, suction: float, supposed: bool = False
    ) -> Opening:
        airflow = float(self.atlas.orifice_airflow(np.array([suction]))[0])
        return Opening(
            station=station,
            inlet=inlet,
            suction_inh2o=suction,
            airflow_cfm=airflow,
            airflow_ls=airflow * CFM_LS,
            air_watts=air_watts(airflow, suction),
            supposed=supposed,
        )


def _other_tubing(cause: str) -> str | None:
    """The same kind of cause in the other part of the tubing; None outside the tubing."""
    kind, _, stretch = cause.partition("-")
    other = {"trunk": "branch", "branch": "trunk"}.get(stretch)
    return None if other is None else f"{kind}-{other}"
