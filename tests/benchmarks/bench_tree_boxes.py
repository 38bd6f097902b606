"""Every box of every default tree against the guided visit after the same answers.

Draws the tree of each complaint, and one without, as JSON; begins a visit with what it says is its
start, records what it says each branch stands for, and counts the boxes whose act, minutes or
probability are not those of the visit's next step. Takes minutes.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

from stillflow.engine import Session, Visit, load_rules
from stillflow.engine.charts import TitleBlock, decision_chart
from stillflow.engine.dialogue import visit_tree
from stillflow.engine.views import decision_tree

sys.path.insert(0, str(Path(__file__).parent.parent / "support"))

from tree_boxes import compared


def main() -> None:
    """Print the number of boxes compared and off, by complaint; exit 1 if any is off."""
    knowledge = load_rules()
    boxes = wrong = 0
    for complaint in (None, *knowledge.complaints.values()):
        session = Session(knowledge, Visit())
        if complaint is not None:
            session.record(complaint.check, complaint.answer)
        chart = decision_chart(decision_tree(visit_tree(session), session, TitleBlock(title="")))
        found = list(compared(knowledge, json.loads(json.dumps(chart.data))))
        lines = [line for line in found if line]
        boxes, wrong = boxes + len(found), wrong + len(lines)
        print(f"{complaint.id if complaint else 'none':22} {len(found):5} boxes, {len(lines)} off")
        print("".join(f"    {line}\n" for line in lines[:5]), end="", flush=True)
    print(f"{boxes} boxes, {wrong} off")
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
