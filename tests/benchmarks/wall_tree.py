"""The printed wall tree at work on a visit: what stands in its JSON, and nothing else, is gone by.

Played as a `Session` is: `next_step`, `record`, `record_fix`. A reading is taken as a share of what
this visit's system should read, so that one poster serves any unit.
"""

from __future__ import annotations

from collections.abc import Generator, Iterator

from printed_card import CardCheck, CardFix, CardStep, Named, OnPaper, Said

from stillflow.engine import Session, Visit
from stillflow.engine.charts import CardLook, DecisionTree, TreeBranch, TreeNode
from stillflow.engine.inference import NO_ANSWER, baseline_for, possible, spot_of, standing_facts
from stillflow.engine.ruleset import Footing, Knowledge, checking, fixing, truth

ENOUGH = 0.75
"""Share of expected at the hose end that is enough where the tool pulls as it should."""

GOOD = 0.85
"""Share from which nothing is lost up to the hose end."""

OFF_THE_CARD = "Nothing on this tree is left."


class WallTree(OnPaper):
    """The tree on the wall, followed to its end.

    Args:
        knowledge: the rules, for what stands in a house and what an act takes.
        tree: as drawn.
        visit: the record on arrival.
    """

    def __init__(self, knowledge: Knowledge, tree: DecisionTree, visit: Visit) -> None:
        assert tree.card is not None
        self._knowledge = knowledge
        self._tree = tree
        self._card = tree.card
        self._baseline = baseline_for(visit, knowledge)
        self._wide = baseline_for(Visit.model_validate(tree.start), knowledge).wide
        self._standing = standing_facts(visit, self._baseline)
        # Only its facts are asked for: which of the card's sentences hold.
        self._noted = Session(knowledge, visit)
        self._answers: dict[str, Said] = {}
        self._tried: set[str] = set()
        self._footing = Footing()
        self._begin()

    def _procedure(self) -> Generator[CardStep, Said, None]:
        for check in self._knowledge.checks.values():
            if check.first:
                yield from self._ask(check.id)
        node = self._tree.by_id[self._tree.root]
        named: tuple[int, ...] = ()
        while node.branches or node.kind == "fix":
            if node.kind == "fix":
                yield from self._mend(node.fault)
                if not node.branches:
                    break
                node = self._tree.by_id[node.branches[0].to]
                continue
            answer = yield from self._ask(node.check)
            node = self._tree.by_id[self._way(node, answer).to]
        if node.kind == "looks":
            named = node.looks
        elif node.kind == "hand-over" and node.fault:
            yield from self._mend(node.fault)
        by_number = {look.number: look for look in self._card.looks}
        for number in named:
            yield from self._look(by_number[number])
        for check_id in self._card.readings:
            yield from self._ask(check_id)
        needless = set(self._needless())
        if self._good_at_hose():
            tool = self._card.looks[0].place
            needless |= {look.number for look in self._card.looks if look.place != tool}
        rest = [look for look in self._card.looks if look.number not in named]
        for look in rest:
            if look.number not in needless:
                yield from self._look(look)
        if self._good_at_hose():
            best = "as-good-as-it-gets"
            yield CardStep("done", ending=self._knowledge.faults[best].title, faults=(Named(best),))
        yield CardStep("refer", ending=OFF_THE_CARD)

    def _good_at_hose(self) -> bool:
        hose = self._answers.get("working-hose")
        return isinstance(hose, float) and hose >= GOOD

    def _way(self, node: TreeNode, answer: Said | None) -> TreeBranch:
        check = self._knowledge.checks[node.check]
        said = str(answer)
        if isinstance(answer, float):
            said = next(
                level.id
                for level in self._knowledge.levels
                for edge in [level.below_class if self._wide else level.below]
                if edge is None or answer < edge
            )
        likeliest = max(node.branches, key=lambda way: way.probability)
        ways = [way for way in node.branches if said in way.choices] if check else []
        return ways[0] if ways else likeliest

    def _needless(self) -> Iterator[int]:
        facts = self._noted.facts(self._noted.progress.situation)
        for sign in self._card.signs:
            if truth(self._knowledge.rules[sign.rule].when, facts) is True:
                yield from sign.leave_out

    def _look(self, look: CardLook) -> Generator[CardStep, Said, None]:
        if all(find.fault in self._tried for find in look.finds):
            return
        answer = yield from self._ask(look.check)
        for find in look.finds:
            if answer in find.given and find.fault not in self._tried:
                yield from self._mend(find.fault)

    def _mend(self, fault_id: str) -> Generator[CardStep, Said, None]:
        fault = self._knowledge.faults[fault_id]
        outlay = fixing(self._knowledge, self._footing, fault)
        self._tried.add(fault_id)
        done = yield CardStep(
            "fix", fix=CardFix(fault_id, outlay.minutes, fault.fix.refer), faults=(Named(fault_id),)
        )
        if not done:
            yield CardStep("refer", ending=fault.title, faults=(Named(fault_id),))
        self._footing = outlay.after
        before = self._answers.get("working-hose")
        works = yield from self._ask("works-now", again=True)
        now = None
        if works == "as-it-should" or isinstance(before, float):
            now = yield from self._ask("working-hose", again=True)
        if works == "as-it-should" and (not isinstance(now, float) or now >= ENOUGH):
            yield CardStep("done", ending=fault.title, faults=(Named(fault_id),))

    def _ask(self, check_id: str, again: bool = False) -> Generator[CardStep, Said, Said | None]:
        """The answer, a reading as a share of expected; None where the house has nothing for it."""
        if check_id in self._answers and not again:
            return self._answers[check_id]
        check = self._knowledge.checks[check_id]
        if not possible(check.possible_when, self._standing):
            return None
        outlay = checking(self._knowledge, self._footing, check)
        answer = yield CardStep("check", check=CardCheck(check_id, outlay.minutes, check.answers))
        self._footing = outlay.after
        if check.kind == "reading" and answer not in NO_ANSWER:
            if not check.verifies and check_id not in self._noted.progress.answered:
                self._noted.record(check_id, float(answer))
            answer = float(answer) / self._baseline.at(*spot_of(check))
        self._answers[check_id] = answer
        return answer
