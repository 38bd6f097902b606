"""What a phone carries for when there is no signal: tree and card with their pages, as JSON.

Made beside the server at low priority, so that nobody waits for it at the page of a step: in one
process what is needed soon, card and near tree, in another the whole tree.
"""

from __future__ import annotations

import json
import os
from collections import OrderedDict
from collections.abc import Callable, Mapping
from concurrent.futures import Future, ProcessPoolExecutor
from dataclasses import asdict
from hashlib import sha256
from multiprocessing import get_context, parent_process
from threading import Lock, Thread
from typing import Any, TypeVar

from stillflow.cli.web.desk import mark_of
from stillflow.cli.web.pages import ended, step_page
from stillflow.cli.web.templating import rendered
from stillflow.engine import Session, load_rules
from stillflow.engine.dialogue import REACH, NextStep, carried
from stillflow.engine.inference import Visit
from stillflow.engine.planning import Think
from stillflow.engine.ruleset import Knowledge

T = TypeVar("T")

MOST_KEPT = 64
"""Packs that are kept ready, of the visits last asked for."""

NEAR = 0.1
"""Share of calls that must come to a point for it to be carried at once, a few seconds early."""


def pack(session: Session, reach: float = REACH, think: Think = "normal") -> dict[str, Any]:
    """Everything a phone needs to go on with a visit by itself.

    Returns:
        `mark`, `moment` and `number` of what it is made for; `steps`, each with what it is about
        and its page; `nodes` and `card` as in `Carried`, with numbers of steps.
    """
    whole = carried(session, reach, think)
    visit = session.visit
    return {
        "visit": visit.id,
        "site": visit.site.name,
        "mark": mark_of(visit),
        "moment": moment_of(visit),
        "number": len(visit.events),
        "steps": [_step(session, step) for step in whole.steps],
        "nodes": [
            {"step": node.step, "ways": node.ways, "edges": node.edges} for node in whole.nodes
        ],
        "card": whole.card,
        "proof": whole.proof,
        "danger": whole.danger,
        "stops": whole.stops,
        "good": whole.good,
        "opened": whole.opened,
        "leaving": {name: vars(one) for name, one in whole.leaving.items()},
        "behind": whole.behind,
        "back": {name: one.model_dump() for name, one in whole.back.items()},
        "telling": asdict(whole.telling) if whole.telling is not None else None,
    }


def moment_of(visit: Visit) -> str:
    """What names a moment of a visit with all that is known of house, unit and tools."""
    header = visit.model_dump_json(exclude={"events", "rules", "conclusion"})
    return f"{mark_of(visit)}-{sha256(header.encode()).hexdigest()[:12]}"


def _step(session: Session, step: NextStep) -> dict[str, Any]:
    if step.ending is not None:
        html = rendered("ended.html", kind=step.step, blocks=ended(step))
        return {"ends": step.step, "page": html}
    page = step_page(session.knowledge, session.baseline, step, 1)  # the phone counts itself
    field, about = page.about
    html = rendered("step.html", page=page, base="", mark="", token="")
    return {field: about, "page": html}


def printed_card(knowledge: Knowledge) -> str:
    """A pack as JSON of no visit in particular, to go by until a visit's own has come.

    It has the question about danger and the card; what a reading should be is not known to it.
    """
    made = pack(Session(knowledge, Visit()), 1.0)
    ends = {n for n, node in enumerate(made["nodes"]) if "ends" in made["steps"][node["step"]]}
    first = made["nodes"][0]
    first["ways"] = {answer: node for answer, node in first["ways"].items() if node in ends}
    # Without what this house should read a reading can only be held against the other one there.
    spots = {name: (*at[:2], None) for name, at in made["telling"]["spots"].items()}
    telling = {**made["telling"], "spots": spots, "fixes": {}}
    return _json({**made, "visit": "", "any": True, "telling": telling})


_LOADED: dict[tuple[str, ...], Knowledge] = {}


def _yield(priority: int) -> None:
    os.nice(priority)
    Thread(target=_leave, daemon=True).start()


def _leave() -> None:
    """End with the server, however that ends: a signal leaves it no time to tell."""
    server = parent_process()
    if server is not None:
        server.join()
        os._exit(0)


def _rules(folders: tuple[str, ...]) -> Knowledge:
    if folders not in _LOADED:
        _LOADED[folders] = load_rules(folders)
    return _LOADED[folders]


def _with_rules(what: Callable[..., T], rules: tuple[str, ...], *args: Any) -> T:
    return what(_rules(rules), *args)


def _made(rules: tuple[str, ...], visit: str, reach: float, think: Think, wrong_part: float) -> str:
    """A pack as JSON; runs in the process of its own."""
    session = Session(_rules(rules), Visit.model_validate_json(visit), think, wrong_part)
    return _json(pack(session, reach, think))


def _json(pack: Mapping[str, Any]) -> str:
    return json.dumps(pack, separators=(",", ":"))


class Packer:
    """Makes packs in the background.

    Args:
        rules: folders laid over the shipped rules.
        think: how far the planner looks ahead.
        wrong_part: what a wrong part costs, minutes.
        reach: what fewer calls come to is left to the card.
        yields: how far the process stands back, as `nice` counts.
    """

    def __init__(
        self,
        rules: tuple[str, ...] = (),
        think: Think = "normal",
        wrong_part: float = 0.0,
        reach: float = REACH,
        yields: int = 10,
    ) -> None:
        self._reach = reach
        self._yields = yields
        self.rules = rules
        self._think: Think = think
        self._wrong_part = wrong_part
        self._lock = Lock()
        self._made: OrderedDict[tuple[str, bool], tuple[str, Future[str]]] = OrderedDict()
        self._processes: dict[bool, ProcessPoolExecutor] = {}

    def ask(self, visit: Visit, soon: bool = False) -> Future[str]:
        """The pack of a visit as it stands, as JSON; the one before it is given up.

        Args:
            visit: the visit.
            soon: with no more of the tree than `NEAR`, for until the whole one has come.
        """
        moment = moment_of(visit)
        which = visit.id, soon
        with self._lock:
            known = self._made.get(which)
            if known is not None and known[0] == moment and not known[1].cancelled():
                return known[1]
            if known is not None:
                known[1].cancel()
            kept = visit.model_dump_json(by_alias=True)
            reach = max(NEAR, self._reach) if soon else self._reach
            args = (self.rules, kept, reach, self._think, self._wrong_part)
            future = self._process(soon).submit(_made, *args)
            self._made[which] = (moment, future)
            self._made.move_to_end(which)
            while len(self._made) > MOST_KEPT:
                self._made.popitem(last=False)[1][1].cancel()
            return future

    def run(self, what: Callable[..., T], *args: Any, soon: bool = False) -> T:
        """What a function of the rule set and of some arguments comes to, worked out beside."""
        with self._lock:
            future = self._process(soon).submit(_with_rules, what, self.rules, *args)
        return future.result()

    def start(self) -> None:
        """Have the rules ready before the first phone asks."""
        with self._lock:
            self._process(True).submit(_with_rules, str, self.rules)

    def _process(self, soon: bool) -> ProcessPoolExecutor:
        if soon not in self._processes:
            self._processes[soon] = ProcessPoolExecutor(
                1, get_context("spawn"), initializer=_yield, initargs=(self._yields,)
            )
        return self._processes[soon]

    def close(self) -> None:
        """End the processes."""
        for process in self._processes.values():
            process.shutdown(wait=False, cancel_futures=True)
