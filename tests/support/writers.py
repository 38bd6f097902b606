"""Processes that write into one casebook at once, and what came of it. On Linux, since they fork.

An answer counts as acknowledged once the casebook's write has returned.
"""

from __future__ import annotations

import os
import random
import signal
import threading
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass

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


@dataclass
class Written:
    """What came of it: answers acknowledged, lost, there twice; overtakings told; errors told."""

    kept: int
    lost: int
    doubled: int
    overtaken: int = 0
    errors: tuple[str, ...] = ()

    @property
    def well(self) -> bool:
        return self.kept > 0 and not (self.lost or self.doubled or self.errors)


def at_once(url: str, seconds: float, one: bool, processes: int = PROCESSES) -> Written:
    """Processes that write for some seconds, all in one visit or each in its own."""
    with Casebook(url) as book:
        ids = [book.begin(Visit()).id for _ in range(1 if one else processes)]
    until = time.time() + seconds
    children = [
        forked(lambda told, n=n: write(url, ids[0 if one else n], f"{one} {n}", until, told))
        for n in range(processes)
    ]
    lines: list[list[str]] = [[] for _ in children]
    # All pipes are read while the others write: a full one would hold its writer up.
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
    return Written(
        sum(line.startswith("kept") for line in every),
        *checked(url, begun, every),
        every.count("overtaken"),
        tuple(line for line in every if line.startswith("error")),
    )


def killed(url: str, count: int, longest: float = 0.15) -> Written:
    """Processes that write in visits of their own, each killed at a moment drawn."""
    luck = random.Random(1)
    found = Written(0, 0, 0)
    with Casebook(url) as book:
        ids = [book.begin(Visit()).id for _ in range(count)]
    for number, visit_id in enumerate(ids):
        until, label = time.time() + 30, f"killed {number}"
        child, reader = forked(lambda told, v=visit_id, n=label, u=until: write(url, v, n, u, told))
        time.sleep(luck.uniform(0.0, longest))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        lines = heard(reader)
        begun = [visit_id, *(line[6:] for line in lines if line.startswith("visit "))]
        lost, doubled = checked(url, begun, lines)
        found.lost, found.doubled = found.lost + lost, found.doubled + doubled
        found.kept += sum(line.startswith("kept") for line in lines)
    return found
