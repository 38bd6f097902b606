"""A drill as a chart: the trainee's route beside the planner's."""

from __future__ import annotations

from stillflow.engine.base import percent
from stillflow.engine.charts import Routes, RouteStep, RouteTaken, TitleBlock
from stillflow.engine.drill.play import ENDINGS, Done, Drill
from stillflow.engine.drill.review import Review


def routes(review: Review, title: TitleBlock) -> Routes:
    """Both routes as the model of a chart."""
    return Routes(
        title=title,
        first=_route("The trainee", review.yours, review),
        second=_route("The planner", review.planners, review),
    )


def _route(name: str, drill: Drill, review: Review) -> RouteTaken:
    walked: dict[int, str] = {}
    for one in drill.walked_past:
        walked.setdefault(one.number, one.what)
    return RouteTaken(
        name=name,
        steps=tuple(_step(one, walked.get(one.number, ""), review) for one in drill.done),
        minutes=drill.minutes,
        ending=ENDINGS[drill.ending] if drill.ending else "not ended",
    )


def _step(done: Done, caution: str, review: Review) -> RouteStep:
    note = ""
    if done in review.too_little:
        note = f"only {percent(done.likely)} likely; better: {done.better}"
    elif done is review.known:
        note = "from here it could have been known"
    sort = "fix" if done.said == "done" else "left"
    if not done.is_fix:
        nothing = done in review.told_nothing
        sort = "nothing" if nothing else "reading" if done.said.endswith("inH2O") else "look"
    return RouteStep.model_validate(
        {
            "number": done.number,
            "sort": sort,
            "title": done.title,
            "said": done.said,
            "ended": done.ended,
            "truth": done.truth,
            "note": note,
            "caution": f"walked past: {caution}" if caution else "",
        }
    )
