"""What is lost and what breaks: a store that fails at every write, kill -9, and wrong input.

Run: python tests/benchmarks/bench_reliability.py [--seed 1] [--quick]

An answer counts as acknowledged once the casebook's write has returned, for only then is the next
question shown. It is lost if the casebook, opened anew, does not have it and nobody took it back. A
traceback is any error that comes out of the command line as such; more than one line is an exit
with code 2 that says anything but one line. On Linux, since it forks.
"""

from __future__ import annotations

import argparse
import os
import pickle
import random
import signal
import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import partial
from itertools import product
from pathlib import Path
from typing import Any
from unittest import mock

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

import sqlalchemy as sa
from command import stillflow
from sqlalchemy.exc import OperationalError

from stillflow.casebook import store
from stillflow.casebook.files import visit_text
from stillflow.casebook.store import Casebook
from stillflow.engine import load_rules
from stillflow.engine.base import StillflowError
from stillflow.engine.inference import Event, Unit, Visit

INTAKE = [
    *("Fern Cottage", "", "weak everywhere", "", ""),
    *("130", "114", "9", "bag", "", ""),
]
ANSWERS = ["1", "skip", "can't tell", "skip"]

FAULTS = ("1st statement", "2nd statement", "3rd statement", "commit", "word of it", "hang")
"""What fails: a statement (what stood before it is half-written), the commit, the connection once
the commit is done, or nothing: another program holds the casebook for longer than is waited."""

THEN = ("retype", "back", "stop", "resume")
WRITERS = ("begin", "save_header", "add_event", "drop_last_event")


@dataclass
class Tally:
    """One row of the table."""

    name: str
    inputs: int = 0
    faults: int = 0
    lost: int = 0
    tracebacks: int = 0
    lines: int = 0
    notes: list[str] = field(default_factory=list)

    def run(self, *arguments: str, typed: str = "", note: str = "") -> None:
        """Run the command line, and count what comes of it."""
        try:
            outcome = stillflow(*arguments, typed=typed)
        except BaseException as problem:
            self.tracebacks += 1
            self.notes.append(f"{note} {arguments}: {problem!r}"[:300])
            return
        wrong = outcome.code not in (0, 1, 2) or "Traceback" in outcome.out + outcome.err
        self.tracebacks += wrong
        many = outcome.code == 2 and bool(outcome.err) and outcome.err.count("\n") != 1
        self.lines += many
        if wrong or many:
            self.notes.append(f"{note} {arguments}: {outcome.code} {outcome.err!r}"[:300])


def url(folder: str | Path) -> str:
    return f"sqlite:///{folder}/casebook.db?timeout=0.1"


@contextmanager
def noted(heard: Callable[[str, Visit], None], before: Callable[[], None]) -> Iterator[None]:
    """Call `before` ahead of every write of a casebook and `heard` once it has returned."""
    with mock.patch.multiple(Casebook, **{name: _noting(name, heard, before) for name in WRITERS}):
        yield


def _noting(name: str, heard: Callable[[str, Visit], None], before: Callable[[], None]) -> Any:
    real = getattr(Casebook, name)

    def write(casebook: Casebook, *arguments: Any) -> Visit:
        before()
        kept: Visit = real(casebook, *arguments)
        heard(name, kept)
        return kept

    return write


class Faulty:
    """Makes one write of a casebook fail in one way."""

    def __init__(self, write: int, how: str, place: str) -> None:
        self.write, self.how, self.place = write, how, place
        self.writes = self.statements = 0
        self.injected = False
        self.holder: sqlite3.Connection | None = None

    def before(self) -> None:
        self.writes += 1
        self.statements = 0
        if self.holder is not None:
            self.holder.close()
            self.holder = None
        if self.writes == self.write and self.how == "hang":
            self.holder = sqlite3.connect(self.place)
            self.holder.execute("BEGIN IMMEDIATE")
            self.injected = True

    def open_engine(self, where: Any) -> sa.Engine:
        engine = _open_engine(where)
        commit = engine.dialect.do_commit

        def on_statement(*_: Any) -> None:
            self.statements += 1
            if self.statements <= 3 and self.due(FAULTS[self.statements - 1]):
                raise _broken("disk I/O error")

        def on_commit(connection: Any) -> None:
            if self.due("commit"):
                raise _broken("database or disk is full")
            commit(connection)
            if self.due("word of it"):
                raise _broken("server closed the connection unexpectedly")

        sa.event.listen(engine, "before_cursor_execute", on_statement)
        engine.dialect.do_commit = on_commit  # type: ignore[method-assign]
        return engine

    def due(self, here: str) -> bool:
        due = self.writes == self.write and self.how == here and not self.injected
        self.injected |= due
        return due


_open_engine = store.open_engine


def _broken(what: str) -> OperationalError:
    return OperationalError(what, None, sqlite3.OperationalError(what))


def lines_of_writes() -> list[int]:
    """After how many lines of a visit each of its writes is due.

    Raises:
        SystemExit: the lines are not the answers to what is asked any more.
    """
    lines = [*INTAKE, *ANSWERS]
    after = []
    for count in range(1, len(lines) + 1):
        with tempfile.TemporaryDirectory() as folder:
            heard: list[str] = []
            with noted(lambda name, _: heard.append(name), lambda: None):  # noqa: B023
                typed = "".join(f"{one}\n" for one in lines[:count])
                stillflow("visit", "--db", url(folder), typed=typed)
            after += [count] * (len(heard) - len(after))
    if heard[-len(ANSWERS) :] != ["add_event"] * len(ANSWERS):
        raise SystemExit(f"what is typed is no visit any more: {heard}")
    return after


def store_faults() -> Tally:
    """Every write of a visit fails in every way, and each time four things are done after it."""
    tally = Tally("a store that fails")
    due = lines_of_writes()
    failed: set[tuple[int, str]] = set()
    for (write, count), how, then in product(enumerate(due, 1), FAULTS, THEN):
        with tempfile.TemporaryDirectory() as folder:
            faulty = Faulty(write, how, f"{folder}/casebook.db")
            acknowledged: list[Visit] = []
            lines = [*INTAKE, *ANSWERS]
            after = {"retype": lines[count - 1 : count], "back": ["back"], "stop": ["stop"]}
            typed = [*lines[:count], *after.get(then, [])]
            heard = lambda _, kept: acknowledged.append(kept)  # noqa: E731, B023
            with (
                noted(heard, faulty.before),
                mock.patch.object(store, "open_engine", faulty.open_engine),
            ):
                tally.inputs += len(typed)
                arguments = ("visit", "--db", url(folder))
                note = f"{how} at write {write}, {then}"
                tally.run(*arguments, typed="".join(f"{one}\n" for one in typed), note=note)
                if faulty.holder is not None:
                    faulty.holder.close()
                if then == "resume":
                    tally.run(*arguments, "--resume", note=note)
            tally.faults += faulty.injected
            failed |= {(write, how)} if faulty.injected else set()
            if acknowledged and not has(folder, acknowledged[-1]):
                tally.lost += 1
                tally.notes.append(f"lost: {note}")
    never = [
        f"{how} at write {write}"
        for write, how in product(range(1, len(due) + 1), ("1st statement", "commit", "hang"))
        if (write, how) not in failed
    ]
    if never:
        raise SystemExit(f"never made to fail: {never}")
    return tally


def has(folder: str | Path, wanted: Visit) -> bool:
    """Whether the casebook, opened anew, has all that a visit had when it was acknowledged."""
    with Casebook(url(folder)) as casebook, suppress(StillflowError):
        kept = casebook.get(wanted.id)
        known = set(_leaves(wanted)) <= set(_leaves(kept))
        return known and kept.events[: len(wanted.events)] == wanted.events
    return False


def _leaves(visit: Visit) -> Iterator[tuple[str, str]]:
    apart = {"events", "conclusion"}
    known = visit.model_dump(exclude=apart, exclude_defaults=True, exclude_none=True)
    for part, value in known.items():
        for name, one in value.items() if isinstance(value, dict) else [("", value)]:
            yield f"{part}.{name}", repr(one)


def killed(generator: random.Random, count: int) -> Tally:
    """The process is killed, at a moment drawn, while a visit is typed as fast as it is read."""
    tally = Tally("kill -9")
    lines = "".join(f"{line}\n" for line in [*INTAKE, *ANSWERS * 3])
    for _ in range(count):
        with tempfile.TemporaryDirectory() as folder:
            reader, writer = os.pipe()
            child = os.fork()
            if child == 0:
                os.close(reader)
                told_to = partial(_tell, writer)
                with noted(told_to, lambda: None):
                    stillflow("visit", "--db", url(folder), typed=lines)
                os._exit(0)
            os.close(writer)
            time.sleep(generator.uniform(0.0, 0.8))
            os.kill(child, signal.SIGKILL)
            os.waitpid(child, 0)
            with os.fdopen(reader, "rb") as stream:
                told = list(_told(stream))
            tally.inputs += len(told)
            tally.faults += 1
            if told and not has(folder, told[-1]):
                tally.lost += 1
            tally.run("visit", "--db", url(folder), "--new", typed="stop\n")
    return tally


def _tell(writer: int, _: str, kept: Visit) -> None:
    word = pickle.dumps(kept)
    os.write(writer, len(word).to_bytes(4, "big") + word)


def _told(stream: Any) -> Iterator[Visit]:
    while len(size := stream.read(4)) == 4:
        word = stream.read(int.from_bytes(size, "big"))
        if len(word) == int.from_bytes(size, "big"):
            yield pickle.loads(word)


ODD = (
    *("²", "9" * 4301, "\0", "\x1b[2J", "\u202e", "caf\udce9", "nan", "inf", "-0", "1e999"),
    *("", " ", "?", "why", "back", "skip", "can't tell", "can't do here", "yes", "no", "not there"),
    *("90", "22.4 kPa", "90 furlongs", "1", "2", "3", "x" * 3000, "'; drop table visits; --"),
)


def typed_lines(generator: random.Random, count: int) -> Tally:
    """Visits of thirty lines drawn from what people and cats type."""
    tally = Tally("lines typed at prompts")
    for _ in range(count):
        with tempfile.TemporaryDirectory() as folder:
            acknowledged: list[Visit] = []
            lines = [generator.choice(ODD) for _ in range(30)]
            tally.inputs += len(lines)
            with noted(lambda _, kept: acknowledged.append(kept), lambda: None):  # noqa: B023
                tally.run("visit", "--db", url(folder), typed="".join(f"{one}\n" for one in lines))
            if acknowledged and not has(folder, acknowledged[-1]):
                tally.lost += 1
    return tally


def damaged(
    name: str, generator: random.Random, count: int, whole: bytes, commands: list[list[str]]
) -> Tally:
    """A file with some bytes changed, cut out or doubled; `FILE` and `FOLDER` name it."""
    tally = Tally(name)
    for _ in range(count):
        with tempfile.TemporaryDirectory() as folder:
            data = bytearray(whole)
            for _ in range(generator.randint(1, 4)):
                at = generator.randrange(len(data))
                length = generator.choice((1, 1, 1, 8, 200))
                piece = bytes(data[at : at + length])
                data[at : at + length] = generator.choice(
                    (generator.randbytes(len(piece)), b"", piece * 2, piece[::-1], b"9" * length)
                )
                data = data or bytearray(b"x")
            path = Path(folder, "x.yaml")
            path.write_bytes(data)
            names = {"FILE": str(path), "FOLDER": folder, "URL": f"sqlite:///{path}?timeout=0.1"}
            tally.inputs += 1
            for command in commands:
                tally.run(*(names.get(word, word) for word in command), typed="yes\nskip\n")
    return tally


def arguments(generator: random.Random, count: int) -> Tally:
    """Commands and options with words that do not belong to them."""
    tally = Tally("arguments")
    words = [
        *(one for one in ODD if "\0" not in one),
        *("read", "next", "why", "visit", "rules", "check", "show", "chart", "stations", "faults"),
        *("--sealed", "--rated-sealed", "--age", "--db", "--rules", "--json", "--out", "--format"),
        *("--resume", "--date", "--paper", "--worth", "--think", "-", "/dev/null", "a" * 300),
    ]
    with tempfile.TemporaryDirectory() as folder:
        before = Path.cwd()
        os.chdir(folder)
        try:
            with mock.patch.dict(os.environ, STILLFLOW_DB=f"sqlite:///{folder}/casebook.db"):
                for _ in range(count):
                    chosen = [generator.choice(words) for _ in range(generator.randint(1, 5))]
                    tally.inputs += 1
                    tally.run(*chosen, typed="stop\n")
        finally:
            os.chdir(before)
    return tally


def visit_kept() -> Visit:
    return Visit(
        id="0197-fern-cottage",
        opened=datetime(2026, 1, 5, 9, tzinfo=UTC),
        unit=Unit(rated_sealed=130, rated_airflow=114, filter="bag"),
        complaint="weak everywhere",
        described=True,
        events=(
            Event(check="where-weak", answer="everywhere"),
            Event(check="sealed-inlet", answer=104.0),
            Event(check="working-inlet", answer=60.0),
        ),
    )


def casebook_bytes() -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        with Casebook(url(folder)) as casebook:
            casebook.put(visit_kept())
        with sqlite3.connect(f"{folder}/casebook.db") as connection:
            connection.execute("PRAGMA journal_mode = DELETE")
        return Path(folder, "casebook.db").read_bytes()


SHOP = b"""faults:
  - id: shop-clog
    title: A clog in the wall
    place: tubing
    mode: obstruction
    how_common: common
    effect: {kind: throat, at: trunk, diameter_in: [0.5, 1.2]}
    confirm: Seen through the inlet.
    fix: {minutes: 20, steps: [Draw it out.]}
    after: Working is back.
    source: common-practice
rules:
  - id: shop-rule
    when: {all: [{fact: level.working.inlet, is: low}, {fact: answer.slider-look, is: closed}]}
    then: [{for: shop-clog, strength: strong}, {against: relief-slider-open, strength: slight}]
    because: The shop has seen it.
    source: common-practice
"""


def at_the_bounds() -> None:
    """How long the largest inputs take that are not refused."""
    reading = "  - {check: sealed-inlet, answer: 90}\n"
    answer = "  - {check: slider-look, answer: open}\n"

    def alike(count: int) -> str:
        return "".join(
            f"  - {{id: same-{n}, when: {{fact: answer.slider-look, is: open}}, because: Seen., "
            "then: [{for: relief-slider-open, strength: slight}], source: common-practice}\n"
            for n in range(count)
        )

    with tempfile.TemporaryDirectory() as folder:
        visit, shop = Path(folder, "visit.yaml"), Path(folder, "shop")
        shop.mkdir()
        for name, text in (
            ("80,000 unknown keys", "".join(f"k{n}: 1\n" for n in range(80_000))),
            ("500 repeated readings", f"stillflow: 1\nevents:\n{reading * 500}"),
            ("25,000 repeated readings", f"stillflow: 1\nevents:\n{reading * 25_000}"),
            ("50,000 answers", f"stillflow: 1\nevents:\n{answer * 50_000}"),
        ):
            visit.write_text(text, encoding="utf-8")
            timed(name, lambda: stillflow("next", str(visit)).code)
        for name, unit in (
            ("a unit of 20 kB", "9" * 20_000),
            ("a unit of 20 kB, of words", "inch of water " * 1_400),
        ):
            timed(name, lambda: stillflow("read", "--sealed", f"90 {unit}").code)  # noqa: B023
        for count in (150, 2000):
            (shop / "same.yaml").write_text(f"rules:\n{alike(count)}", encoding="utf-8")
            command = ("rules", "check", "--rules", str(shop))
            timed(f"{count:,} equal rules checked", lambda: stillflow(*command).out.count("\n"))  # noqa: B023


def timed(name: str, run: Callable[[], int]) -> None:
    began = time.process_time()
    result = run()
    print(f"  {name:<28}{time.process_time() - began:6.1f} s   (gave {result})", flush=True)


def rows(seed: int, share: int) -> list[Callable[[], Tally]]:
    """What is tried, each with luck of its own, so that one can be repeated without the others."""

    def luck(name: str) -> random.Random:
        return random.Random(f"{seed} {name}")

    def files(name: str, count: int, whole: bytes, *commands: str) -> Callable[[], Tally]:
        words = [command.split() for command in commands]
        return partial(damaged, f"damaged {name}", luck(name), count // share, whole, words)

    visit = visit_text(visit_kept()).encode()
    chart = "chart stations FILE --out -"
    resumed = "visit --resume --db URL"
    return [
        store_faults,
        partial(killed, luck("kill"), 300 // share),
        partial(typed_lines, luck("typed"), 300 // share),
        partial(arguments, luck("arguments"), 2500 // share),
        files("visit files", 2500, visit, "next FILE", chart),
        files("casebooks", 700, casebook_bytes(), "visit --db URL", resumed),
        files("rule files", 300, SHOP, "rules list --rules FOLDER"),
    ]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--quick", action="store_true", help="a tenth of what is drawn")
    given = parser.parse_args()
    load_rules()
    print(f"seed {given.seed}\n")
    print(f"{'':<26}{'inputs':>8}{'faults':>8}{'lost':>6}{'tracebacks':>12}{'not one line':>14}")
    total = Tally("in all")
    for row in rows(given.seed, 10 if given.quick else 1):
        tally = row()
        show(tally)
        for name in ("inputs", "faults", "lost", "tracebacks", "lines"):
            setattr(total, name, getattr(total, name) + getattr(tally, name))
    show(total)
    print("\nseconds of processor at the bounds of what is taken:")
    at_the_bounds()
    if total.lost or total.tracebacks or total.lines:
        sys.exit(1)


def show(tally: Tally) -> None:
    figures = f"{tally.inputs:>8,}{tally.faults:>8,}{tally.lost:>6}{tally.tracebacks:>12}"
    print(f"{tally.name:<26}{figures}{tally.lines:>14}", flush=True)
    for note in tally.notes[:20]:
        print(f"    {note!a}")


if __name__ == "__main__":
    main()
