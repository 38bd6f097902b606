"""Quantities as people write them, turned into the trade's units at the edge.

Inside, suction is inH2O, airflow cfm, altitude and lengths feet, bores inches. A bare number is
already in that unit. pint does the reading of units; it is imported only when a unit is written.
"""

from __future__ import annotations

import math
import re
from functools import lru_cache
from typing import Any

from stillflow.engine.base.errors import InputError, Place

INH2O_CONVENTIONAL_PA = 249.0889
"""Conventional inch of water, Pa (NIST SP 811 (2008), table B.8): what a written unit means.

It is water of 1,000 kg/m3, near 39.2 degF, by which gauges and other units are set.
"""

INH2O_68F_PA = 998.207 * 9.80665 * 0.0254
"""Inch of water at 68 degF, Pa (248.642): density of water at 20 degC, 998.207 kg/m3 (CIPM formula
of Tanaka et al. 2001, from memory), times standard gravity.

The constants of ASTM F558 imply this water, so the airflow model counts in it throughout; the other
inch in its place would cost 0.09 % in airflow.
"""

MOST_SUCTION_INH2O = 300.0
"""More than any fan of the trade gives, and less than the air has."""

_LONGEST = 100
"""Characters of a quantity: 20,000 of them take pint 17 s."""

_NUMBER = re.compile(r"^\s*([+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*$")

_THOUSANDS = re.compile(r"\d{1,3}(,\d{3})+")
"""A number whose commas set off thousands, as in an altitude of 5,280 ft."""

_SPELLINGS = {
    '"': "inch",
    "in": "inch",
    "ft": "foot",
    "'": "foot",
    "°f": "degF",
    "inches of water": "inH2O",
    "inh2o": "inH2O",
    "in h2o": "inH2O",
    "in. h2o": "inH2O",
    "inwc": "inH2O",
    "in wc": "inH2O",
    "kpa": "kPa",
    "pa": "Pa",
    "mbar": "mbar",
    "hpa": "hPa",
    "mmh2o": "mmH2O",
    "l/s": "liter/second",
    "m3/h": "meter**3/hour",
    "m³/h": "meter**3/hour",
    "cfm": "cfm",
}

_AS_SAID = {
    "inH2O": ('"', "in", "inch", "inches", "wc", "w.c.", '"wc', '" wc', "in w.c.", "inches wc"),
    "year": ("yr", "yrs", "yr.", "yrs.", "y", "years", "years old", "year old", "yrs old"),
    "cfm": ("cf/m", "cubic feet per minute"),
}
"""What people write for a unit where only one kind of quantity can be meant."""

_EXAMPLE = {
    "year": "write 12, '12 yrs' or '18 months'",
    "inH2O": "write 90, '90 inH2O' or '22.4 kPa'",
    "cfm": "write 114, '114 cfm' or '54 L/s'",
    "foot": "write 5280, '5280 ft' or '1609 m'",
    "inch": "write 1.87, '1.87 in' or '47.5 mm'",
}


def quantity(value: str | float, unit: str, name: str, low: float, high: float) -> float:
    """Read one quantity.

    Args:
        value: a number, or text with or without a unit.
        unit: inH2O, cfm, foot, inch or year: the unit of a bare number and of the result.
        name: what it is, for the error.
        low: smallest sensible value, in `unit`.
        high: largest sensible value, in `unit`.

    Raises:
        InputError: not a number, another kind of unit, or out of range.
    """
    right = _EXAMPLE[unit]
    if isinstance(value, bool):
        raise InputError(f"'{value}' is not a number", Place(key=name), right)
    if isinstance(value, int | float):
        number, written = float(value), ""
    else:
        match = _NUMBER.match(value) if len(value) <= _LONGEST else None
        if not match:
            raise InputError(f"'{_short(value)}' is not a number", Place(key=name), right)
        digits = match[1].replace(",", "" if _THOUSANDS.fullmatch(match[1]) else ".")
        number, written = float(digits), match[2]
    said = " ".join(written.lower().split())
    if written and _spelt(written) != unit and said not in _AS_SAID.get(unit, ()):
        number = _convert(number, written, unit, name)
    if not math.isfinite(number) or not low <= number <= high:
        shown = {"foot": "ft", "inch": "in", "year": "years"}.get(unit, unit)
        raise InputError(
            f"{number:g} {shown} cannot be",
            Place(key=name),
            f"between {low:g} and {high:g} {shown}",
        )
    return number


def suction(value: str | float, name: str) -> float:
    """A gauge reading in inH2O. Errors as `quantity`."""
    return quantity(value, "inH2O", name, 0.0, MOST_SUCTION_INH2O)


def _short(text: str) -> str:
    return text if len(text) <= 40 else text[:37] + "..."


def _spelt(written: str) -> str:
    return _SPELLINGS.get(" ".join(written.lower().split()), written)


def _convert(number: float, written: str, unit: str, name: str) -> float:
    registry = _registry()
    try:
        value = registry.Quantity(number, _spelt(written)).to(unit)
    except Exception:  # pint's parser raises a dozen kinds of error on strange text
        raise InputError(
            f"'{_short(written)}' is not a unit of this kind", Place(key=name), _EXAMPLE[unit]
        ) from None
    return float(value.magnitude)


@lru_cache(maxsize=1)
def _registry() -> Any:
    import pint

    registry: Any = pint.UnitRegistry(on_redefinition="ignore")
    registry.define(f"inH2O = {INH2O_CONVENTIONAL_PA} * pascal")
    registry.define(f"mmH2O = {INH2O_CONVENTIONAL_PA / 25.4} * pascal")
    registry.define("cfm = foot**3 / minute")
    return registry
