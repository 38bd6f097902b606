"""The facts that estimates give the rules: their closed list, and their values.

Values come for whole tables of rows at once, coded as tables of facts are (a word as its index in
the fact's list, a flag as 0 or 1, unknown as NaN), or for one row as plain values; both from the
same columns.
"""

from __future__ import annotations

import numpy as np

from stillflow.engine.airflow.air import AIR_WATTS, Array
from stillflow.engine.airflow.atlas import Atlas, Fits
from stillflow.engine.airflow.causes import AS_EXPECTED, CAUSES, AirflowCause
from stillflow.engine.base import FLAG, NUMBER, WORD, FactKind

UNCLEAR = "unclear"
BEST_WORDS = (AS_EXPECTED, *(cause.name for cause in CAUSES), UNCLEAR)
"""`unclear` where no single cause explains the readings within tolerance."""

STRETCH_WORDS = ("none", "unit", "tubing", "trunk", "branch", "hose", UNCLEAR)
"""`tubing` where trunk and branch cannot be told apart, `unclear` where others cannot either."""

BEST, STRETCH = "estimate.best", "estimate.stretch"
FITS, AMBIGUOUS = "estimate.fits", "estimate.ambiguous"
HEALTHY_MISFIT = "estimate.healthy.misfit"
AIRFLOW, WATTS = "estimate.hose-end.airflow_cfm", "estimate.hose-end.air_watts"
SHARE = "estimate.hose-end.share"


def side_fact(cause: AirflowCause, side: str) -> str:
    """The fact beside a cause's size: its `low`, `high`, `misfit` or `fits`."""
    return f"{cause.fact.rpartition('.')[0]}.{side}"


def _names() -> dict[str, FactKind]:
    names = {
        BEST: FactKind(WORD, BEST_WORDS, "the cause that explains the readings best"),
        STRETCH: FactKind(WORD, STRETCH_WORDS, "the stretch the trouble is in, as far as told"),
        FITS: FactKind(FLAG, (), "one cause, or none, explains all readings within tolerance"),
        AMBIGUOUS: FactKind(FLAG, (), "another cause explains them nearly as well"),
        HEALTHY_MISFIT: FactKind(
            NUMBER, (), "farthest reading from what is expected, in tolerances"
        ),
        AIRFLOW: FactKind(NUMBER, (), "airflow left at the hose end, cfm"),
        WATTS: FactKind(NUMBER, (), "air power left at the hose end, air watts"),
        SHARE: FactKind(NUMBER, (), "of the greatest air power the healthy unit could make"),
    }
    for cause in CAUSES:
        size = {
            "leak": f"hole in the {cause.stretch} that would explain the readings, in",
            "throat": f"throat in the {cause.stretch} that would explain the readings, in",
            "speed": "share of full speed that would explain the readings",
        }[cause.kind]
        names[cause.fact] = FactKind(NUMBER, (), size)
        names[side_fact(cause, "low")] = FactKind(NUMBER, (), "lower end of its 90 % interval")
        names[side_fact(cause, "high")] = FactKind(NUMBER, (), "upper end of its 90 % interval")
        names[side_fact(cause, "misfit")] = FactKind(
            NUMBER, (), "farthest reading from what it gives, in tolerances"
        )
        names[side_fact(cause, "fits")] = FactKind(FLAG, (), "it alone explains the readings")
    return names


FACT_NAMES: dict[str, FactKind] = _names()
"""Every fact an estimate can give. Those of a cause the readings say nothing about are absent."""


def stretch_codes(fits: Fits) -> Array:
    """Index into `STRETCH_WORDS` for each row: the stretch all that fits nearly best lies in."""
    stretch = np.array([STRETCH_WORDS.index(cause.stretch) for cause in CAUSES])
    tubing = np.isin(stretch, [STRETCH_WORDS.index(word) for word in ("trunk", "branch")])
    likely = fits.ambiguous & fits.fits
    own = stretch[fits.best]
    same = (~likely | (stretch == own[:, None])).all(axis=1)
    within = (~likely | tubing).all(axis=1)
    code = np.where(
        same, own, np.where(within, STRETCH_WORDS.index("tubing"), STRETCH_WORDS.index(UNCLEAR))
    )
    code = np.where(likely.any(axis=1), code, STRETCH_WORDS.index(UNCLEAR))
    return np.where(fits.healthy_fits, STRETCH_WORDS.index("none"), code).astype(float)


def fact_columns(atlas: Atlas, rows: Array, tolerance: float) -> dict[str, Array]:
    """The facts of many rows of readings.

    Args:
        atlas: the system's.
        rows: readings, inH2O, shape (rows, points of the atlas); NaN where none was taken.
        tolerance: share of the reading.

    Returns:
        Columns of shape (rows,) by fact name, coded as in the module's docstring.

    Raises:
        InputError: see `Atlas.fit`.
    """
    return columns_of(atlas, atlas.fit(rows, tolerance))


def columns_of(atlas: Atlas, fits: Fits) -> dict[str, Array]:
    """The facts of fitted rows (see `fact_columns`)."""
    row = np.arange(len(fits.best))
    healthy = fits.healthy_fits
    end = np.where(healthy, atlas.all_healthy[-1], fits.read[row, fits.best, -1])
    airflow = atlas.orifice_airflow(end)
    watts = AIR_WATTS * airflow * end
    fitting = healthy | fits.fits[row, fits.best]
    best = np.where(fitting, fits.best + 1, BEST_WORDS.index(UNCLEAR))
    table = {
        BEST: np.where(healthy, BEST_WORDS.index(AS_EXPECTED), best),
        STRETCH: stretch_codes(fits),
        FITS: fitting,
        AMBIGUOUS: ~healthy & (fits.ambiguous.sum(axis=1) > 1),
        HEALTHY_MISFIT: fits.healthy_misfit,
        AIRFLOW: airflow,
        WATTS: watts,
        SHARE: watts / atlas.possible_watts,
    }
    for index, cause in enumerate(CAUSES):
        seen = fits.seen[:, index]
        for name, values in (
            (cause.fact, fits.size),
            (side_fact(cause, "low"), fits.low),
            (side_fact(cause, "high"), fits.high),
            (side_fact(cause, "misfit"), fits.misfit),
            (side_fact(cause, "fits"), fits.fits),
        ):
            table[name] = np.where(seen, values[:, index], np.nan)
    return {name: np.asarray(column, dtype=float) for name, column in table.items()}


def plain_facts(columns_: dict[str, Array], row: int = 0) -> dict[str, float | str | bool]:
    """One row of coded columns as plain values, the unknown ones left out."""
    facts: dict[str, float | str | bool] = {}
    for name, column in columns_.items():
        value = float(column[row])
        if np.isnan(value):
            continue
        kind = FACT_NAMES[name]
        if kind.kind == WORD:
            facts[name] = kind.words[int(value)]
        else:
            facts[name] = bool(value) if kind.kind == FLAG else value
    return facts
