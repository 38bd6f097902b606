"""Eight processes that write at once, and processes killed while they write, on either database.

Run: python tests/benchmarks/bench_writers.py [--seconds 60] [--kills 500] [--db URL]
     [--small FOLDER]

Half of the time every process answers in a visit of its own, half of it all in one: who was
overtaken looks again and goes on, as a person is told to. At the end the casebook must have each
acknowledged answer once. Then processes are killed (SIGKILL) at a moment drawn while they write.
Then a scripted visit meets a fault at each of its writes: the casebook is locked, for a while or
for longer than is waited; its connection is ended, at each statement and as it is committed; its
disk is full. The last is tried where FOLDER is on a small file system that holds the casebook too:
it is filled up.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

from writers import HOW, Broken, Written, at_once, broken, killed


def said(what: str, found: Written) -> bool:
    print(
        f"{what:<30}{found.kept:>8,} kept{found.lost:>5} lost{found.doubled:>5} doubled"
        f"{found.overtaken:>8,} told{len(found.errors):>5} errors"
        f"{f', {found.faults} faults' if isinstance(found, Broken) else ''}"
        f" {' '.join(found.errors[:1])}",
        flush=True,
    )
    return found.well


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=60)
    parser.add_argument("--kills", type=int, default=500)
    parser.add_argument("--db", help="an empty casebook on a server; a file of its own otherwise")
    parser.add_argument("--small", type=Path, help="a folder on a small file system")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        url = given.db or f"sqlite:///{given.small or folder}/casebook.db"
        print(url.partition(":")[0])
        well = [
            said("each in its own visit", at_once(url, given.seconds / 2, one=False)),
            said("all in one visit", at_once(url, given.seconds / 2, one=True)),
            said(f"{given.kills} killed", killed(url, given.kills, longest=0.5)),
            *(
                said(how, broken(url, how, given.small))
                for how in HOW
                if given.small or how != "disk full"
            ),
        ]
    sys.exit(not all(well))


if __name__ == "__main__":
    main()
