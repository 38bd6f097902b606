"""A small picture of where the gauge goes: the air path, with one place of it marked.

For the how-to of a reading, on a screen as narrow as a phone's.
"""

from __future__ import annotations

from stillflow.engine.base import AirState, Station
from stillflow.engine.charts.plotmarks import on_white
from stillflow.engine.charts.scene import Mark, Scene, Text, circle, polygon, polyline, rounded
from stillflow.engine.charts.shapes import GREY, INK, NOTE_SIZE, TITLE_SIZE, WARNING
from stillflow.engine.charts.stationdrawing import fan_marks, gauge_marks
from stillflow.engine.charts.svg import write_svg

_WIDE, _HIGH = 320.0, 132.0
_PIPE_Y = 72.0
_PIPE = 9.0
_PLACES: dict[Station, tuple[float, str]] = {
    Station.UNIT: (92.0, "unit"),
    Station.UTILITY: (138.0, "utility"),
    Station.INLET: (218.0, "inlet"),
    Station.OTHER: (218.0, "other inlet"),
    Station.HOSE: (288.0, "hose end"),
}


def gauge_place(station: Station, state: AirState) -> str:
    """The picture as an SVG element.

    Args:
        station: where the gauge goes.
        state: sealed, or working with air entering through the orifice.
    """
    where = f"The gauge goes to {station.words}, {state}."
    scene = Scene(_WIDE, _HIGH, "Where the gauge goes", where)
    scene.add("The air path, from the fan to the hose end", _path(station))
    scene.add(where, _marked(station, state))
    svg = write_svg(scene).decode()
    return svg[svg.index("<svg") :].strip()


def _path(station: Station) -> list[Mark]:
    y = _PIPE_Y
    end = _PLACES[Station.HOSE][0]
    marks: list[Mark] = []
    if station is Station.UNIT:  # the tubing is off
        marks.append(rounded(36, y - _PIPE / 2, 56, _PIPE, 2, fill="#ffffff", width=1.2))
        ends = [(118.0, y), (end + 14, y)]
        marks.append(polyline(ends, dash="dashed", width=1.2, stroke=GREY))
    else:
        marks.append(rounded(36, y - _PIPE / 2, end - 22, _PIPE, 2, fill="#ffffff", width=1.2))
    marks += [*fan_marks(36, y), Text(36, y + 38, "fan", NOTE_SIZE, "middle")]
    for one, (x, words) in _PLACES.items():
        beside = station is Station.OTHER and one is Station.INLET
        if one is station or beside or (one is Station.OTHER):
            continue
        marks.append(circle(x, y, 3.2, fill="#ffffff", width=1.2, stroke=GREY))
        marks.append(Text(x, y + 22, words, NOTE_SIZE, "middle", colour=GREY))
    return marks


def _marked(station: Station, state: AirState) -> list[Mark]:
    x, words = _PLACES[station]
    y = _PIPE_Y
    marks: list[Mark] = [
        polyline([(x, y), (x, y - 26)], width=2.0),
        circle(x, y, 4.5, fill=WARNING, stroke=INK, width=1.2),
        circle(x, y - 40, 17, fill="#fdeee2", stroke=WARNING, width=2.0),
        *gauge_marks(x, y - 40),
        *on_white(Text(x, y + 24, words, TITLE_SIZE, "middle", bold=True)),
    ]
    if state is AirState.WORKING:
        tip = [(x + 5.0, y + 3.0), (x + 12.0, y + 5.0), (x + 7.5, y + 10.0)]
        marks += [polyline([(x + 22, y + 20), (x + 9, y + 7)], width=1.6), polygon(tip, fill=INK)]
    note = "no air enters" if state is AirState.SEALED else "air enters through the orifice"
    half = 62.0
    middle = min(max(x, half), _WIDE - half)
    return [*marks, *on_white(Text(middle, y + 42, note, NOTE_SIZE, "middle"))]
