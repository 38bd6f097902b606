"""How quick the pages are: a step at the server, the first load's weight, many phones at once.

    python tests/benchmarks/bench_web.py [--phones 50] [--seconds 20] [--pause 5]

A phone answers, waits as a person would, and answers again; what is timed is from the answer sent
to the next question received, over real sockets.
"""

from __future__ import annotations

import argparse
import gzip
import random
import re
import resource
import socket
import statistics
import tempfile
import threading
import time
from pathlib import Path

import httpx2
import uvicorn

from stillflow.casebook.store import Casebook
from stillflow.cli.web.app import application
from stillflow.cli.web.desk import Desk
from stillflow.cli.web.templating import HERE
from stillflow.engine import load_rules


def main() -> None:
    """Measure and print."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--phones", type=int, default=50)
    options.add_argument("--seconds", type=float, default=20.0)
    options.add_argument("--pause", type=float, default=5.0)
    asked = options.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        desk = Desk(load_rules(), Casebook(f"sqlite:///{Path(folder) / 'casebook.db'}"))
        door = socket.socket()
        door.bind(("127.0.0.1", 0))
        server = uvicorn.Server(uvicorn.Config(application(desk), log_level="error"))
        threading.Thread(target=server.run, args=([door],), daemon=True).start()
        while not server.started:
            time.sleep(0.02)
        address = f"http://127.0.0.1:{door.getsockname()[1]}"
        weight(address)
        alone = [taken for seed in range(6) for taken in visit(address, seed, 0.0, 600.0, 25)]
        print(f"one phone: {len(alone)} answers, {spread(alone)}")
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        found: list[float] = []

        def phone(seed: int) -> None:
            found.extend(visit(address, seed, asked.pause, asked.seconds, 500))

        threads = [threading.Thread(target=phone, args=(100 + n,)) for n in range(asked.phones)]
        for one in threads:
            one.start()
        for one in threads:
            one.join()
        after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        print(
            f"{asked.phones} phones, an answer each {asked.pause:g} s: {len(found)} answers, "
            f"{spread(found)}; memory at most {before / 1000:.0f} then {after / 1000:.0f} MB"
        )
        server.should_exit = True


def weight(address: str) -> None:
    """Print what a first load weighs, packed as it is sent."""
    with httpx2.Client(base_url=address) as client:
        page = len(client.get("/new").content)
    static = sum(
        len(gzip.compress(path.read_bytes()))
        for path in (HERE / "static").iterdir()
        if path.name != "guide.js"
    )
    print(f"first load: page {page / 1000:.1f} kB as it is, all else {static / 1000:.1f} kB packed")


def visit(address: str, seed: int, pause: float, seconds: float, most: int) -> list[float]:
    """Seconds from an answer to the next question, for the answers of visits drawn by a seed."""
    draw = random.Random(seed)
    found: list[float] = []
    until = time.monotonic() + seconds
    with httpx2.Client(base_url=address, follow_redirects=True, timeout=60.0) as client:
        page = ""
        time.sleep(draw.random() * pause)
        while time.monotonic() < until and len(found) < most:
            if 'id="question"' not in page:
                token = re.search(r'data-token="([^"]*)"', client.get("/new").text)
                assert token is not None
                form = {"token": token[1], "rated_sealed": "130", "rated_airflow": "114"}
                page = client.post("/new", data=form).text
            about = re.search(r'name="(check|fix)" value="([^"]*)"', page)
            mark = re.search(r'data-mark="([^"]*)"', page)
            home = re.search(r'data-visit="([^"]*)"', page)
            assert about is not None
            assert mark is not None
            assert home is not None
            fields = {"token": token[1], "mark": mark[1], about[1]: about[2]}
            if about[2] == "danger-signs":
                fields["answer"] = "none"
            elif 'form class="reading"' in page:
                fields["answer"] = str(draw.randrange(40, 120))
            else:
                listed = re.findall(r'<button name="answer" value="([^"]*)"', page)
                fields["answer"] = draw.choice(listed).replace("&#39;", "'")
            began = time.perf_counter()
            page = client.post(f"/visit/{home[1]}/answer", data=fields).text
            found.append(time.perf_counter() - began)
            time.sleep(pause * (0.5 + draw.random()))
    return found


def spread(times: list[float]) -> str:
    """Median and the slowest hundredth, in words."""
    times = sorted(times)
    worst = times[min(len(times) - 1, int(0.99 * len(times)))]
    return f"median {1000 * statistics.median(times):.0f} ms, p99 {1000 * worst:.0f} ms"


if __name__ == "__main__":
    main()
