"""The fan line: suction against airflow, from a rating or measured points.

How a worn motor or thin air moves the line is here too; what the line is solved against is in
`network`.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Literal

from pydantic import Field, model_validator

from stillflow.engine.base import FiniteModel

MOST_POINTS = 8
MOST_CFM = 600.0


class Fan(FiniteModel):
    """A power unit's suction against airflow, in standard air at full speed.

    The line runs straight from (0 cfm, sealed) through any points measured between to
    (airflow, 0 inH2O); beyond, its last stretch goes on. A straight line is an assumption good
    near the middle of a through-flow fan's range.
    """

    sealed_inh2o: float = Field(gt=0, le=300, description="suction with no airflow, inH2O")
    airflow_cfm: float = Field(gt=0, le=MOST_CFM, description="airflow with no suction, cfm")
    between: tuple[tuple[float, float], ...] = Field(
        default=(), max_length=MOST_POINTS, description="(cfm, inH2O) measured between the two"
    )
    motors: Literal[1, 2] = 1
    running: Literal[1, 2] | None = Field(default=None, description="motors that turn")
    arrangement: Literal["series", "parallel"] = "series"
    idle_bypass_in: float = Field(
        default=0.5,
        ge=0,
        le=2,
        description="hole (in) like which an idle motor beside a running one lets air back; "
        "assumed",
    )
    speed: float = Field(default=1.0, gt=0, le=1.3, description="share of full speed")

    @model_validator(mode="after")
    def _falls(self) -> Fan:
        line = self.points
        for (q1, h1), (q2, h2) in pairwise(line):
            if q2 <= q1 or h2 >= h1:
                raise ValueError(
                    f"suction must fall as airflow rises, but ({q1:g} cfm, {h1:g} inH2O) is "
                    f"followed by ({q2:g} cfm, {h2:g} inH2O)"
                )
        if self.running is not None and self.running > self.motors:
            raise ValueError(f"{self.running} motors cannot run in a unit with {self.motors}")
        return self

    @property
    def points(self) -> tuple[tuple[float, float], ...]:
        """All corners of the line, (cfm, inH2O), from no airflow to no suction."""
        return ((0.0, self.sealed_inh2o), *self.between, (self.airflow_cfm, 0.0))

    @property
    def turning(self) -> int:
        """How many motors turn."""
        return self.motors if self.running is None else self.running


def fan_from_rating(sealed_inh2o: float, airflow_cfm: float) -> Fan:
    """The straight fan line through rated sealed suction (inH2O) and rated airflow (cfm).

    Where it crosses the 5/8 in hole is the working suction at the unit: 44.0 cfm at 80 inH2O.

    >>> import numpy as np
    >>> from stillflow.engine.airflow.orifice import Orifice
    >>> (_, sealed), (most, _) = fan_from_rating(130.0, 114.5).points
    >>> hole = Orifice(np.array(0.625), np.array(406.8), np.array(1.0))
    >>> airflow = float(hole.coefficient(np.array(80.0))) * 80.0**0.5
    >>> round(airflow, 1), round(sealed * (1 - airflow / most), 1)  # cfm, inH2O
    (44.0, 80.0)
    """
    return Fan(sealed_inh2o=sealed_inh2o, airflow_cfm=airflow_cfm)
