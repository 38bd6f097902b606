"""A worked case as a quiz: the way the rules take, told step by step."""

from __future__ import annotations

from stillflow.casebook.cases import named_case, play
from stillflow.casebook.quiz import quiz_of
from stillflow.engine import load_rules

RULES = load_rules()


def test_a_quiz_goes_the_way_the_rules_take_and_tells_no_step_before_its_page() -> None:
    case = named_case("clogged-hose")
    assert case is not None
    quiz, played = quiz_of(case, RULES), play(case, RULES)
    assert len(quiz.pages) == len(played.turns)
    for page, turn in zip(quiz.pages, played.turns, strict=True):
        assert len(page.known) == page.number - 1
        assert all(page.doing not in one for one in page.known[:1]) or page.number == 1
        wanted = turn.step.check.ask if turn.step.check else turn.step.fix.title  # type: ignore[union-attr]
        assert wanted in page.doing
        assert page.why
    assert quiz.pages[1].known[0].endswith(quiz.pages[0].found)
    assert quiz.teaches == case.teaches
    assert any(page.doing.startswith("Fix: ") for page in quiz.pages)
