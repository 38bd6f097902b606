"""How quick the pages are: a step at the server, the first load's weight, many phones at once.

    python tests/benchmarks/bench_web.py [--phones 50] [--seconds 60] [--pause 20]

The server is `stillflow serve` in a process of its own; the phones are locust's. A phone sends an
answer as its script does, gets the next question with the reply, fetches what it carries beside,
and thinks; what is timed is from the answer sent to the next question received.
"""

from __future__ import annotations

import argparse
import csv
import os
import random
import re
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from datetime import UTC, datetime
from html import unescape
from pathlib import Path
from threading import Barrier
from typing import Any

PAUSE = float(os.environ.get("PAUSE", "20"))
UNIT = {"rated_sealed": "130", "rated_airflow": "114"}

try:
    from gevent import spawn
    from locust import HttpUser, between, task
except ImportError:  # what only measures one phone needs no load tool
    HttpUser = object


class Visit:
    """A visit drawn by chance, over any client with `get` and `post`."""

    def __init__(self, client: Any, seed: int) -> None:
        self.client, self.draw, self.page = client, random.Random(seed), ""

    def one(self, pattern: str) -> str:
        found = re.search(pattern, self.page)
        return found[1] if found else ""

    def begin(self) -> None:
        """A new visit, where none is under way."""
        if 'id="question"' not in self.page:
            self.page = self.client.get("/new").text
            form = {"token": self.one(r'data-token="([^"]*)"'), **UNIT}
            self.page = self.client.post("/new", data=form).text

    def answer(self, **more: Any) -> None:
        """An answer as the script on the phone sends it; the reply is the next question."""
        kind, about = re.search(r'name="(check|fix)" value="([^"]*)"', self.page).groups()  # type: ignore[union-attr]
        if about == "danger-signs":
            said = "none"
        elif 'form class="reading"' in self.page:
            said = str(self.draw.randrange(40, 120))
        else:
            listed = re.findall(r'<button name="answer" value="([^"]*)"', self.page)
            said = unescape(self.draw.choice(listed))
        sent = {kind: about, "answer": said, "at": datetime.now(UTC).isoformat()}
        self.page = self.client.post(
            f"/visit/{self.one(HOME)}/join",
            json={"mark": self.one(r'data-mark="([^"]*)"'), "answers": [sent]},
            headers={"x-stillflow-token": self.one(r'data-token="([^"]*)"')},
            **more,
        ).text


HOME = r'data-visit="([^"]*)"'


class Technician(HttpUser):  # type: ignore[misc]
    """A phone: it answers, carries the tree of where it stands, and thinks."""

    if HttpUser is not object:
        wait_time = between(0.5 * PAUSE, 1.5 * PAUSE)

        def on_start(self) -> None:
            self.visit = Visit(self.client, random.randrange(10**9))
            time.sleep(random.random() * PAUSE)

        @task
        def step(self) -> None:
            """One answer, timed, with the tree fetched beside it."""
            self.visit.begin()
            self.visit.answer(name="answer")
            if home := self.visit.one(HOME):
                spawn(self.carry, home)

    def carry(self, home: str) -> None:
        """Fetch what to go by without a signal, as the script does: the near tree, then all."""
        self.client.get(f"/visit/{home}/tree?soon", name="near tree")
        self.client.get(f"/visit/{home}/tree", name="tree")


def main() -> None:
    """Measure and print."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--phones", type=int, default=50)
    options.add_argument("--seconds", type=int, default=60)
    options.add_argument("--pause", type=float, default=PAUSE)
    asked = options.parse_args()
    with tempfile.TemporaryDirectory() as folder, served(folder) as (address, pid):
        weight(address)
        one_phone(address, pid)
        at_once(address, asked.phones)
        load(address, pid, asked, Path(folder) / "load")


@contextmanager
def served(folder: str) -> Iterator[tuple[str, int]]:
    """`stillflow serve` over an empty casebook: its address and process."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    line = [Path(sys.executable).with_name("stillflow"), "serve", "--port", str(port)]
    db = f"sqlite:///{folder}/casebook.db"
    process = subprocess.Popen([*line, "--db", db], stdout=subprocess.DEVNULL)
    try:
        while True:
            with socket.socket() as probe:
                if probe.connect_ex(("127.0.0.1", port)) == 0:
                    break
            time.sleep(0.1)
        yield f"http://127.0.0.1:{port}", process.pid
    finally:
        process.terminate()
        process.wait()


def spent(pid: int) -> tuple[float, float]:
    """Seconds of the processor that a process has used, and its memory in MB."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
    ticks = os.sysconf("SC_CLK_TCK")
    return (int(fields[11]) + int(fields[12])) / ticks, pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def weight(address: str) -> None:
    """Print what a first load weighs, as it is sent."""
    import httpx2

    with httpx2.Client(base_url=address) as client:
        page = client.get("/new").text
        paths = {*re.findall(r'(?:src|href)="(/[^"]*\.\w+)"', page), "/worker.js"}
        paths |= {f"/static/{name}.js" for name in ("carry", "reading", "store")}
        sizes = [client.get(path).num_bytes_downloaded for path in sorted(paths)]
        whole = client.get("/new").num_bytes_downloaded + sum(sizes)
    print(f"first load: {whole / 1000:.1f} kB in {len(sizes) + 1} files")


def one_phone(address: str, pid: int) -> None:
    """Print how long a step takes with nobody else there."""
    import httpx2

    times = []
    with httpx2.Client(base_url=address, follow_redirects=True, timeout=60) as client:
        visit = Visit(client, 1)
        visit.begin()
        visit.answer()
        before = spent(pid)[0]
        for _ in range(100):
            visit.begin()
            began = time.perf_counter()
            visit.answer()
            times.append(time.perf_counter() - began)
    used = (spent(pid)[0] - before) / len(times)
    print(f"one phone: {spread(times)}; {1000 * used:.0f} ms of the processor each")


def at_once(address: str, phones: int) -> None:
    """Print how long phones wait that answer in the same instant."""
    import httpx2

    ready = Barrier(phones)

    def phone(seed: int) -> float:
        with httpx2.Client(base_url=address, follow_redirects=True, timeout=60) as client:
            visit = Visit(client, seed)
            visit.begin()
            ready.wait()
            began = time.perf_counter()
            visit.answer()
            return time.perf_counter() - began

    with ThreadPoolExecutor(phones) as pool:
        times = list(pool.map(phone, range(phones)))
    print(f"{phones} phones in one instant: {spread(times)}")


def load(address: str, pid: int, asked: argparse.Namespace, out: Path) -> None:
    """Print how long a step takes with many phones there, and what memory does."""
    line = [sys.executable, "-m", "locust", "--headless", "--locustfile", __file__]
    line += ["--host", address, "--users", str(asked.phones), "--spawn-rate", str(asked.phones)]
    line += ["--run-time", f"{asked.seconds}s", "--csv", str(out), "--only-summary"]
    memory = []
    for _ in range(2):
        before, began = spent(pid)[0], time.monotonic()
        subprocess.run(
            line, env={**os.environ, "PAUSE": str(asked.pause)}, capture_output=True, check=False
        )
        used = (spent(pid)[0] - before) / (time.monotonic() - began)
        memory.append(spent(pid)[1])
        with out.with_name("load_stats.csv").open() as table:
            rows = {row["Name"]: row for row in csv.DictReader(table)}
        row, trees, near = rows["answer"], rows.get("tree", {}), rows.get("near tree", {})
        print(
            f"{asked.phones} phones, an answer each {asked.pause:g} s: {row['Request Count']} "
            f"answers, {row['Failure Count']} failed, median {row['50%']}, p99 {row['99%']} ms; "
            f"{near.get('Request Count', 0)} near trees, median {near.get('50%', '-')} ms; "
            f"{trees.get('Request Count', 0)} trees, median {trees.get('50%', '-')} ms; "
            f"processor {100 * used:.0f} %, memory {memory[-1]:.0f} MB"
        )


def spread(times: list[float]) -> str:
    """Median and the slowest hundredth, in words."""
    times = sorted(times)
    worst = times[min(len(times) - 1, int(0.99 * len(times)))]
    return f"median {1000 * times[len(times) // 2]:.0f} ms, p99 {1000 * worst:.0f} ms"


if __name__ == "__main__":
    main()
