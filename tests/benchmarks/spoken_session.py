"""A session spoken to in lines of JSON, so that any version of stillflow can play the same calls.

Run by `bench_whole_calls` with the interpreter of the version that is meant. A line in is
`{"visit": ...}`, which begins a call, `{"check": id, "answer": ...}` or `{"fix": id, "done": ...}`;
a line out is the step that follows. Needs nothing of stillflow but its public face.
"""

from __future__ import annotations

import json
import sys
from typing import Any

from pydantic import ValidationError

from stillflow.engine import Session, load_rules

try:
    from stillflow.engine import Visit
except ImportError:  # 0.1.0 has the model, but not at its face.
    from stillflow.engine.visit import Visit


def known_visit(said: dict[str, Any]) -> Visit:
    """The visit, without what this version has no field for."""
    while True:
        try:
            return Visit.model_validate(said)
        except ValidationError as problem:
            unknown = [one["loc"] for one in problem.errors() if one["type"] == "extra_forbidden"]
            if not unknown:
                raise
            for *way, last in unknown:
                inside = said
                for key in way:
                    inside = inside[key]
                del inside[last]


def told(session: Session) -> dict[str, Any]:
    """The next step, as far as a player needs it."""
    step = session.next_step()
    check = step.check and {
        "id": step.check.id,
        "answers": [{"id": one.id} for one in step.check.answers],
    }
    fix = step.fix and {"fault": step.fix.fault, "refer": step.fix.refer}
    faults = [{"id": one.id, "probability": one.probability} for one in step.faults]
    return {"step": step.step, "check": check, "fix": fix, "faults": faults}


def main() -> None:
    """Answer line by line until there are no more."""
    knowledge = load_rules()
    session = Session(knowledge)
    for line in sys.stdin:
        said = json.loads(line)
        if "visit" in said:
            session = Session(knowledge, known_visit(said["visit"]))
        elif "check" in said:
            session.record(said["check"], said["answer"])
        else:
            session.record_fix(said["fix"], done=said["done"])
        print(json.dumps(told(session)), flush=True)


if __name__ == "__main__":
    main()
