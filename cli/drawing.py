"""Charts written to files: format, paper and date as options, a file for each page.

Which charts there are is left to the commands.
"""

from __future__ import annotations

import errno
import functools
from collections.abc import Callable, Collection
from datetime import date, datetime
from pathlib import Path
from typing import Any, NamedTuple

import click

from stillflow.cli.options import Command, Number
from stillflow.cli.output import say, send
from stillflow.engine import Session
from stillflow.engine.base import InputError, Place
from stillflow.engine.charts import (
    BLANKS,
    FORMATS,
    LEAST_POSTER_TYPE,
    LEAST_TYPE,
    PAPERS,
    POSTERS,
    Blank,
    Chart,
    PaperName,
    render,
)
from stillflow.engine.dialogue import Round, rounds, telling_round

Decorator = Callable[[Command], Command]


ENDINGS = {
    ".svg": "svg",
    ".png": "png",
    ".pdf": "pdf",
    ".dot": "dot",
    ".mmd": "mermaid",
    ".json": "json",
}
_ENDING_OF = {name: ending for ending, name in ENDINGS.items()}

STDOUT = "-"
_MOST_NAMED = 8


class Target(NamedTuple):
    """Where a chart goes: file (`-` for standard output, empty for the usual name), and as what.

    The format is empty where the file's name decides; the rest is as of `render`.
    """

    out: str
    format: str = ""
    paper: PaperName | None = None
    portrait: bool | None = None
    text_size: float | None = None
    blank: Blank | None = None


def chart_options(formats: tuple[str, ...] = FORMATS) -> Decorator:
    """Add --out and --date, and what `sheet_options` adds; the command is given a `target`."""

    def add(command: Command) -> Command:
        command = click.option(
            "--date",
            "day",
            type=click.DateTime(["%Y-%m-%d"]),
            metavar="YYYY-MM-DD",
            help="the day written on it (default: the visit's, or today)",
        )(sheet_options(formats, "out")(command))
        return click.option(
            "--out",
            type=click.Path(dir_okay=False, allow_dash=True),
            default="",
            metavar="FILE",
            help="where to (default: the chart's name in this folder; - for standard output)",
        )(command)

    return add


def sheet_options(formats: tuple[str, ...], out: str, blank: bool = True) -> Decorator:
    """Add how a chart is made: --format, --paper, --portrait, --text-size and, if wanted, --blank.

    The command is given them as its `target`, with the file that its parameter `out` names, or
    None where that is not given.
    """

    def add(command: Command) -> Command:
        @functools.wraps(command)
        def run(**options: Any) -> Any:
            file = options.pop(out)
            form, *how = (options.pop(name, None) for name in ("form", *_HOW))
            if file is None and (form or any(one is not None for one in how)):
                right = f"name it with --{out}"
                raise InputError("--format, --paper and the like are of the chart", right=right)
            if how[1] is not None and not how[0]:
                named = "--portrait" if how[1] else "--landscape"
                raise InputError(f"{named} is of a paper", right="such as --paper a4")
            target = None if file is None else Target(file, form or "", *how)
            return command(target=target, **options)

        made: Command = run
        for option in reversed(_sheet_options(formats)[: None if blank else -1]):
            made = option(made)
        return made

    return add


_HOW = ("paper", "portrait", "text_size", "blank")


def _sheet_options(formats: tuple[str, ...]) -> tuple[Decorator, ...]:
    return (
        click.option(
            "--format",
            "form",
            type=click.Choice(list(formats)),
            help="what to make (default: by the file's ending, else svg)",
        ),
        click.option(
            "--paper",
            type=click.Choice(list(PAPERS)),
            help="cut it into pages of this paper; a2 and larger are posters",
        ),
        click.option(
            "--portrait/--landscape",
            default=None,
            help="the paper upright or on its long side (default: as takes fewer pages)",
        ),
        click.option(
            "--text-size",
            "text_size",
            type=Number(4, 72),
            metavar="POINTS",
            help="size of the smallest type, or the largest that fits (default: 10, at least 8; on "
            "posters 14 or what fills them)",
        ),
        click.option(
            "--blank",
            type=click.Choice(BLANKS),
            help="an exercise: leave these blank; drawn without it, it is the answer sheet",
        ),
    )


def day_of(day: datetime | None, session: Session | None = None) -> date:
    """The day a chart is of: as given, else the visit's, else today."""
    opened = session.visit.opened if session is not None and day is None else None
    return (day or opened or datetime.now()).date()


def titled(title: str, site: str) -> str:
    """The title with the house named in it."""
    return f"{title}: {site}" if site else title


def format_of(path: Path, formats: Collection[str] = FORMATS) -> str:
    """The format that a file's name asks for; `formats` are those that can be had.

    Raises:
        InputError: no format is called that.
    """
    if path.suffix.lower() not in ENDINGS:
        endings = (one for one, form in ENDINGS.items() if form in formats)
        right = f"end it in {', '.join(endings)}, or give --format"
        raise InputError(f"'{path.suffix}' is not a format for charts", Place(str(path)), right)
    return ENDINGS[path.suffix.lower()]


def write_chart(chart: Chart, target: Target) -> list[Path]:
    """Write a chart; one that needs several pages gets a number on each file's name.

    Returns:
        The files written, none for standard output.

    Raises:
        InputError: no such format, a chart that cannot have it, or a file that cannot be written.
        SetupError: the format cannot be made on this machine; says which can.
    """
    form = target.format
    if not form:
        named = target.out not in ("", STDOUT)
        form = format_of(Path(target.out), chart.formats) if named else "svg"
    files = render(
        chart,
        form,
        target.paper,
        blank=target.blank,
        portrait=target.portrait,
        text_size=target.text_size,
    )
    _warn_of_small(min(file.smallest_text for file in files), target)
    _warn_of_boxes({character for file in files for character in file.unknown})
    if target.out == STDOUT:
        if len(files) > 1:
            right = "name a file with --out, or use --format pdf"
            raise InputError(f"the chart has {len(files)} pages", Place(key="--out"), right)
        data = files[0].data
        # The other text formats write names without what could move a cursor.
        send(data.decode() if form == "json" else data)
        return []
    path = Path(target.out or f"{chart.name}{_ENDING_OF[form]}")
    paths = [path]
    if len(files) > 1:
        digits = len(str(len(files)))
        paths = [
            path.with_name(f"{path.stem}-{file.page:0{digits}}{path.suffix}") for file in files
        ]
    for one, file in zip(paths, files, strict=True):
        write_file(one, file.data)
    return paths


def _warn_of_small(smallest: float, target: Target) -> None:
    """Say so where the type is not as large as was asked for, or too small to be read."""
    if target.text_size and 0.0 < smallest < target.text_size - 0.05:
        say(
            f"stillflow: type of {target.text_size:g} points does not fit this paper; the smallest "
            f"is {smallest:.1f}, the largest that does: take a larger paper for more",
            err=True,
        )
    least = LEAST_POSTER_TYPE if target.paper in POSTERS else LEAST_TYPE
    if 0.0 < smallest < least - 0.05:
        say(
            f"stillflow: the smallest type is {smallest:.1f} points, and less than {least:g} "
            "cannot be read well: take a larger paper or a smaller part of the chart",
            err=True,
        )


def _warn_of_boxes(unknown: set[str]) -> None:
    if unknown:
        named = [f"{one} (U+{ord(one):04X})" for one in sorted(unknown)]
        more = f" and {len(named) - _MOST_NAMED} more" if len(named) > _MOST_NAMED else ""
        say(
            f"stillflow: the typeface has no letter for {', '.join(named[:_MOST_NAMED])}{more}: "
            "boxes stand for them; as svg the letters are kept",
            err=True,
        )


def drawn(paths: list[Path]) -> str:
    """What was written, in a line."""
    if len(paths) == 1:
        return f"Drawn: {paths[0]}"
    return f"Drawn: {paths[0]} to {paths[-1]} ({len(paths)} pages)"


_MACHINE = (errno.ENOSPC, errno.EDQUOT, errno.EIO)
"""What another name would not mend."""


def write_file(path: Path, data: bytes) -> None:
    """Write bytes.

    Raises:
        InputError: no such file can be written.
        OSError: the machine cannot write any more.
    """
    try:
        path.write_bytes(data)
    except OSError as problem:
        if problem.errno in _MACHINE:
            raise
        reason = problem.strerror or "it cannot be written"
        raise InputError(reason.lower(), Place(str(path)), "choose another place") from None


def draw_reasoning(
    session: Session,
    target: Target,
    focus: str | None = None,
    why_not: str | None = None,
) -> list[Path]:
    """Draw how a visit came to each of its fixes, or where it stands.

    Args:
        session: the visit.
        target: where to.
        focus: a fault; only what bears on it is drawn, as it was before it was mended.
        why_not: a fault; only what bears on it and on the likeliest one is drawn.

    Returns:
        The files written.

    Raises:
        InputError, SetupError: as `write_chart`.
    """
    from stillflow.engine.charts import ReasoningPath, reasoning_chart
    from stillflow.engine.dialogue import why_not as compare
    from stillflow.engine.views import reasoning_path

    one = telling_round(session)
    fixed = [led for led in rounds(session) if led.repair is not None]
    earlier = [led for led in fixed if led.number < one.number]
    if focus is not None or why_not is not None:
        earlier = []
        one = next((led for led in fixed if led.repair and led.repair.fault_id == focus), one)
    shown = [] if focus is None else [focus]
    if why_not is not None:
        shown = list(dict.fromkeys([compare(session, one, why_not).leader.id, why_not, *shown]))

    def dated(one: Round) -> ReasoningPath:
        path = reasoning_path(session, one, shown, why_not)
        filters = path.title.filters
        if target.blank is not None:
            # On an exercise what was mended is to be found out.
            filters = tuple(one.partition(", mended then")[0] for one in filters)
        update = {"date": day_of(None, session), "filters": filters}
        title = path.title.model_copy(update=update)
        return path.model_copy(update={"title": title})

    only = [f"fault:{name}" for name in shown]
    chart = reasoning_chart(dated(one), only, earlier=[dated(led) for led in earlier])
    return write_chart(chart, target)
