"""Eight processes that write at once, and processes killed while they write, on either database.

Run: python tests/benchmarks/bench_writers.py [--seconds 60] [--kills 500] [--db URL]

Half of the time every process answers in a visit of its own, half of it all in one: who was
overtaken looks again and goes on, as a person is told to. An answer counts as acknowledged once the
casebook's write has returned. At the end the casebook must have each acknowledged answer once, and
no other. Then processes are killed (SIGKILL) at a moment drawn while they write. On Linux.
"""

from __future__ import annotations

import argparse
import os
import random
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable

from stillflow.casebook.store import Casebook, Overtaken
from stillflow.engine.base import StillflowError
from stillflow.engine.inference import Event, Visit

PROCESSES = 8


def write(url: str, visit_id: str, label: str, until: float, told: Callable[[str], None]) -> None:
    """Write notes with a number of their own until it is time; say what came of each."""
    with Casebook(url, label) as book:
        kept = book.get(visit_id)
        number = 0
        while time.time() < until:
            try:
                if len(kept.events) >= MOST:
                    kept = book.begin(Visit())
                    told(f"visit {kept.id}")
                kept = book.add_event(kept, Event(note=f"{label} {number}"))
                told(f"kept {label} {number}")
                number += 1
            except Overtaken:
                told("overtaken")
                kept = book.get(kept.id)
            except StillflowError as problem:
                told(f"error {' '.join(str(problem).split())[:200]}")


MOST = 450
"""Of the 500 events that a visit may have; then another one is begun."""


def forked(work: Callable[[Callable[[str], None]], None]) -> tuple[int, int]:
    """Do work in a process of its own; gives its id and where what it tells can be read."""
    reader, writer = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reader)
        try:
            work(lambda line: void(os.write(writer, f"{line}\n".encode())))
        finally:
            os._exit(0)
    os.close(writer)
    return child, reader


def void(_: int) -> None:
    """Nothing comes of it."""


def heard(reader: int) -> list[str]:
    with os.fdopen(reader, "rb") as stream:
        return [line.decode()[:-1] for line in stream if line.endswith(b"\n")]


def checked(url: str, begun: list[str], lines: list[str]) -> tuple[int, int]:
    """How many acknowledged answers are lost, and how many stand twice."""
    with Casebook(url) as book:
        notes = Counter(e.note for one in {*begun} for e in book.get(one).events)
    acknowledged = {line[5:] for line in lines if line.startswith("kept ")}
    doubled = sum(count > 1 for count in notes.values())
    return len(acknowledged - set(notes)), doubled


def at_once(url: str, name: str, seconds: float, one: bool) -> bool:
    with Casebook(url) as book:
        ids = [book.begin(Visit()).id for _ in range(1 if one else PROCESSES)]
    until = time.time() + seconds
    children = [
        forked(lambda told, n=n: write(url, ids[0 if one else n], f"{name}{one}{n}", until, told))
        for n in range(PROCESSES)
    ]
    # Pipes hold 64 kB; they are read while the others write, one after the other.
    import threading

    lines: list[list[str]] = [[] for _ in children]
    readers = [
        threading.Thread(target=lambda n=n, r=r: lines[n].extend(heard(r)))
        for n, (_, r) in enumerate(children)
    ]
    for reader in readers:
        reader.start()
    for reader in readers:
        reader.join()
    for child, _ in children:
        os.waitpid(child, 0)
    every = [line for some in lines for line in some]
    begun = [*ids, *(line[6:] for line in every if line.startswith("visit "))]
    lost, doubled = checked(url, begun, every)
    kept = sum(line.startswith("kept") for line in every)
    errors = [line for line in every if line.startswith("error")]
    print(
        f"{name:<12}{'in one visit' if one else 'each its own':<16}{kept:>9,} kept"
        f"{lost:>5} lost{doubled:>5} doubled{every.count('overtaken'):>8,} told they were overtaken"
        f"{len(errors):>5} errors {errors[:1] or ''}",
        flush=True,
    )
    return not (lost or doubled or errors)


def killed(url: str, name: str, count: int) -> bool:
    """Processes that write in visits of their own, killed at a moment drawn."""
    luck = random.Random(name)
    lost = doubled = kept = 0
    with Casebook(url) as book:
        ids = [book.begin(Visit()).id for _ in range(count)]
    for number, visit_id in enumerate(ids):
        label = f"{name} killed {number}"
        child, reader = forked(
            lambda told, v=visit_id, n=label: write(url, v, n, time.time() + 30, told)
        )
        time.sleep(luck.uniform(0.0, 0.15))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        lines = heard(reader)
        begun = [visit_id, *(line[6:] for line in lines if line.startswith("visit "))]
        some = checked(url, begun, lines)
        lost, doubled = lost + some[0], doubled + some[1]
        kept += sum(line.startswith("kept") for line in lines)
    print(
        f"{name:<12}{count:,} killed{kept:>11,} kept{lost:>5} lost{doubled:>5} doubled", flush=True
    )
    return not (lost or doubled)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=60)
    parser.add_argument("--kills", type=int, default=500)
    parser.add_argument("--db", help="an empty casebook on a server; a file of its own otherwise")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        url = given.db or f"sqlite:///{folder}/casebook.db"
        name = url.partition(":")[0].partition("+")[0]
        well = [at_once(url, name, given.seconds / 2, one) for one in (False, True)]
        well.append(killed(url, name, given.kills))
    sys.exit(not all(well))


if __name__ == "__main__":
    main()
