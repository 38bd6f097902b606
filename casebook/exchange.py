"""Visits carried as files: YAML that comes back as it was, CSV of readings for a spreadsheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from uuid import NAMESPACE_URL, uuid5

from stillflow.casebook.files import load_visit, visit_text
from stillflow.casebook.nameless import people_of
from stillflow.casebook.store import Casebook, Clash
from stillflow.engine.base import InputError, Place
from stillflow.engine.inference import Visit
from stillflow.engine.ruleset import Knowledge

COLUMNS = (
    *("visit", "opened", "site", "technician", "number", "at", "check", "station", "state"),
    *("inlet", "inH2O", "orifice in", "altitude ft", "gauge", "struck"),
)

_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n")
"""How a cell begins that a spreadsheet would run as a formula."""


def visits_in(paths: Iterable[str]) -> list[tuple[Path, Visit]]:
    """Visits of files, and of the YAML files in folders; without an id one gets one of its text.

    Raises:
        InputError: a file cannot be read or is no visit; a folder holds none.
    """
    found: list[tuple[Path, Visit]] = []
    for name in paths:
        path = Path(name)
        files = sorted(path.glob("*.yaml")) if path.is_dir() else [path]
        if not files:
            raise InputError("no visit file is in this folder", Place(name), "they end in .yaml")
        for file in files:
            visit = load_visit(file)
            if not visit.id:
                # The same file read twice is the same visit.
                made = str(uuid5(NAMESPACE_URL, visit_text(visit)))
                visit = visit.model_copy(update={"id": made})
            found.append((file, visit))
    return found


@dataclass(frozen=True)
class TakenIn:
    """What came of taking in files.

    Attributes:
        nameless: visits without their names, since their house was forgotten.
        called: visits of a house that is called otherwise here, and stays so.
        refused: files with another visit than the casebook has under its id.
    """

    nameless: tuple[Visit, ...]
    called: tuple[Visit, ...]
    refused: tuple[Path, ...]


def take_in(casebook: Casebook, found: Iterable[tuple[Path, Visit]], replace: bool) -> TakenIn:
    """Take in visits of files, each for itself; arguments as `Casebook.put`.

    Raises:
        InputError: a visit that cannot be kept, with its file.
    """
    nameless, called, refused = [], [], []
    for path, visit in found:
        try:
            kept = casebook.put(visit, replace)
        except Clash:
            refused.append(path)
            continue
        except InputError as problem:
            raise InputError(problem.what, Place(str(path)), problem.right) from None
        said, now = people_of(visit), people_of(kept)
        if any(said) and not any(now):
            nameless.append(kept)
        elif any(one and one != other for one, other in zip(said, now, strict=True)):
            called.append(kept)
    return TakenIn(tuple(nameless), tuple(called), tuple(refused))


def readings_csv(visits: Iterable[Visit], knowledge: Knowledge, names: bool = True) -> str:
    """Every reading of visits, one a row; no cell is taken for a formula.

    Args:
        visits: whole visits.
        knowledge: which checks are readings.
        names: write what houses and technicians are called.
    """
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(COLUMNS)
    for visit in visits:
        struck = visit.struck
        for number, event in enumerate(visit.events, 1):
            check = knowledge.checks.get(event.check or "")
            if check is None or not isinstance(event.answer, int | float):
                continue
            row = (
                visit.id,
                visit.opened.isoformat() if visit.opened else "",
                visit.site.name if names else "",
                (event.by or visit.technician) if names else "",
                number,
                event.at.isoformat() if event.at else "",
                check.id,
                check.station.value if check.station else "",
                check.condition.value if check.condition else "",
                event.inlet or "",
                event.answer,
                visit.gauge.orifice_in,
                visit.site.altitude_ft,
                visit.gauge.name,
                struck.get(number, ""),
            )
            writer.writerow([guarded(one) for one in row])
    return stream.getvalue()


def guarded(cell: object) -> object:
    """The cell with a quote before what a spreadsheet would take for a formula; numbers as is."""
    if isinstance(cell, str) and cell.startswith(_FORMULA):
        return f"'{cell}"
    return cell
