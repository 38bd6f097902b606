"""What follows from one reading is just what it adds to, or changes in, all that follows."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from stillflow.engine.base.scales import AirState, Station
from stillflow.engine.inference.baseline import baseline_for
from stillflow.engine.inference.facts import reading_facts
from stillflow.engine.inference.visit import Visit
from stillflow.engine.ruleset.loading import load_rules

RULES = load_rules()
BASELINE = baseline_for(Visit(), RULES)
SPOTS = st.tuples(st.sampled_from(AirState), st.sampled_from(Station))
SUCTION = st.floats(0.0, 200.0)


@given(st.dictionaries(SPOTS, SUCTION), SPOTS, SUCTION)
def test_one_reading_more_changes_only_what_follows_from_it(
    readings: dict[tuple[AirState, Station], float],
    spot: tuple[AirState, Station],
    value: float,
) -> None:
    before = reading_facts({**readings, spot: 100.0}, BASELINE, RULES.levels)
    after = {**readings, spot: value}
    about = reading_facts(after, BASELINE, RULES.levels, [spot])
    whole = reading_facts(after, BASELINE, RULES.levels)
    assert about.items() <= whole.items()
    untouched = {name: fact for name, fact in whole.items() if before.get(name) == fact}
    assert {**untouched, **about} == whole
