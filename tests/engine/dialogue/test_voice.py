"""One voice: verdict, sizes and reasons are one belief, and none contradicts another."""

from __future__ import annotations

import re
from functools import cache

import numpy as np
import pytest

from stillflow.engine import House, Session, Site, Unit, Visit, load_rules
from stillflow.engine.airflow import Houses, apply_many, draw_sizes
from stillflow.engine.base import AirState, Mode, Station
from stillflow.engine.dialogue.explain import reasons
from stillflow.engine.dialogue.present import fault_shares, mode_shares
from stillflow.engine.dialogue.voice import PLACES, Said, _size, leading_modes
from stillflow.engine.inference import SPOTS, readings_at_spots
from stillflow.engine.inference.sizing import Candidate

RULES = load_rules()
RATED = Unit(rated_sealed=130, rated_airflow=114)
INLET = ("sealed-inlet", "working-inlet")


@cache
def measuring(**unit: float | str) -> Session:
    """A session without a complaint, shared: its readings are taken back after use."""
    return Session(RULES, Visit(purpose="measuring", unit=Unit(**unit)))


class Read:
    """A few readings in a shared session, for as long as the block lasts."""

    def __init__(self, session: Session, **readings: float | str) -> None:
        self.session, self.readings = session, readings

    def __enter__(self) -> Session:
        for name, value in self.readings.items():
            self.session.record(name.replace("_", "-"), value)
        return self.session

    def __exit__(self, *_: object) -> None:
        for _ in self.readings:
            self.session.undo()


def rated(**readings: float) -> Read:
    return Read(measuring(rated_sealed=130, rated_airflow=114), **readings)


def modes_of(session: Session) -> dict[Mode, float]:
    return mode_shares(fault_shares(RULES, session.progress.probabilities))


def drawn_pairs(count: int) -> list[tuple[float, float]]:
    """Sealed and working at the inlet, of faults put in the house that a rating describes."""
    generator = np.random.default_rng(404)
    house = Houses.of([measuring(rated_sealed=130, rated_airflow=114).baseline.system])
    kinds = [fault for fault in RULES.faults.values() if fault.effect.kind in
             ("hole", "throat", "speed", "loading")]  # fmt: skip
    found = []
    for fault in generator.choice(np.array(kinds, dtype=object), count):
        size = draw_sizes(fault.effect, generator, 1)
        row = readings_at_spots(apply_many(house, fault.effect, size), np.ones(1, int))[0]
        at = [SPOTS.index((state, Station.INLET)) for state in AirState]
        found.append((float(row[at[0]]), float(row[at[1]])))
    return found


@cache
def reach() -> dict[Mode, np.ndarray]:
    """Log shares of expected at the inlet that each mode's faults give at any size: (n, 2)."""
    session = measuring(rated_sealed=130, rated_airflow=114)
    house = Houses.of([session.baseline.system])
    expected = np.array([session.baseline.at(state, Station.INLET) for state in AirState])
    at = [SPOTS.index((state, Station.INLET)) for state in AirState]
    found: dict[Mode, list[np.ndarray]] = {}
    for fault in RULES.faults.values():
        effect = fault.effect
        if effect.kind == "motor-dead":
            house_ = house.with_values({"fan.motors": np.full(1, 2.0)})
        else:
            house_ = house
        ends = effect.ranges()
        grid = np.array([[low + k / 24 * (high - low) for low, high in ends] for k in range(25)])
        rows = house_.repeat(25 if ends else 1)
        grid = grid if ends else np.empty((1, 0))
        read = readings_at_spots(apply_many(rows, effect, grid), np.ones(rows.count, int))[:, at]
        found.setdefault(fault.mode, []).append(np.log(np.maximum(read, 1.0) / expected))
    return {mode: np.concatenate(parts) for mode, parts in found.items()}


# A label is off by 4.5 % as a whole, either reading by 3 % more (gauge, bends): one standard
# deviation of each, squared, in the logarithm.
INSIDE_OUT = np.linalg.inv(0.045**2 * np.ones((2, 2)) + 0.03**2 * np.eye(2))


def excluded(pair: tuple[float, float]) -> set[Mode]:
    """Modes none of whose faults, at any declared size, is within three sigma of a pair."""
    baseline = measuring(rated_sealed=130, rated_airflow=114).baseline
    y = np.log([value / baseline.at(state, Station.INLET)
                for value, state in zip(pair, AirState, strict=True)])  # fmt: skip
    out = set()
    for mode, points in reach().items():
        off = points - y
        if np.einsum("ni,ij,nj->n", off, INSIDE_OUT, off).min() > 9.0:
            out.add(mode)
    return out


def test_what_physics_excludes_at_three_sigma_is_less_than_five_percent() -> None:
    wrong, judged = [], 0
    for sealed, working in drawn_pairs(40):
        with rated(sealed_inlet=sealed, working_inlet=working) as session:
            modes = modes_of(session)
            for mode in excluded((sealed, working)):
                judged += 1
                if modes[mode] >= 0.05:
                    wrong.append((round(sealed), round(working), mode.value, round(modes[mode], 3)))
    assert judged > 40
    assert not wrong


def test_no_sentence_contradicts_another_on_forty_drawn_pairs() -> None:
    for sealed, working in drawn_pairs(40):
        with rated(sealed_inlet=sealed, working_inlet=working) as session:
            check_agreement(session)


def check_agreement(session: Session) -> None:
    said, modes = session.said(), modes_of(session)
    leading = leading_modes(modes)
    sizes = session.sizes()
    assert sizes is not None
    shares = dict(zip(RULES.faults, session.progress.probabilities, strict=True))
    # No size of what is not believed, and each with the chance that the belief gives it.
    told = {one.cause: one.chance for one in sizes.candidates}
    for one in sizes.candidates:
        assert one.chance == pytest.approx(sum(shares[name] for name in one.faults))
    assert all(chance >= 0.05 for chance in told.values()) or len(told) == 1
    for line in said.sizes:
        assert "obstruction" not in line or modes[Mode.OBSTRUCTION] + modes[Mode.SETTING] >= 0.05
        assert "weak motor" not in line or modes[Mode.WEAK_POWER] + modes[Mode.SETTING] >= 0.05
    # What was not read is supposed, in those words.
    assert said.left[0].startswith("Supposed, not read")
    # A reason raises what the verdict names above the rest.
    firings = session.conclude().firings
    for because in reasons(RULES, session.progress, firings):
        rules = [
            RULES.rules[one.rule_id] for one in firings
            if RULES.rules[one.rule_id].because == because
        ]  # fmt: skip
        if not rules:
            continue  # advice
        raised = {
            name
            for rule in rules
            for item, names in RULES.evidence[rule.id]
            if item.sign > 0
            for name in names
        }
        inside = sum(shares[name] for name in raised if RULES.faults[name].mode in leading)
        assert inside > 0.0, because
        whole = sum(modes[mode] for mode in leading)
        outside = sum(shares[name] for name in raised) - inside
        loud = max(
            item.strength.factor
            for rule in rules for item, _ in RULES.evidence[rule.id] if item.sign > 0
        )  # fmt: skip
        assert loud * inside * (1 - whole) > outside * whole or whole > 0.99, because


def test_the_percent_of_a_verdict_is_the_belief_in_what_it_says() -> None:
    with rated(sealed_inlet=129.0, working_inlet=30.0) as session:
        said = session.said()
        match = re.match(r"Obstruction ([a-z ]+) \((\d+) %\)", said.verdict)
        assert match
        named = [place for place, words in PLACES.items() if words in match[1].split(" or ")]
        share = sum(
            one.probability
            for one in fault_shares(RULES, session.progress.probabilities)
            if one.mode is Mode.OBSTRUCTION and one.place in named
        )
        assert int(match[2]) == round(100 * share)


def test_where_causes_tie_that_is_said_before_any_size_and_sizes_are_suppositions() -> None:
    with rated(sealed_unit=92.0, working_unit=56.0) as session:
        said = session.said()
    assert "cannot tell" in said.sizes[0]
    assert "leak in the unit" in said.sizes[0]
    assert "weak motor" in said.sizes[0]
    assert all(line.startswith("If ") for line in said.sizes[1:])
    assert any(
        re.search(r"like a 0\.\d\d in hole \(0\.\d\d to 0\.\d\d in\)", x) for x in said.sizes
    )


def test_a_unit_short_of_its_label_everywhere_alike_is_said_to_make_what_it_makes() -> None:
    session = measuring(rated_sealed=130, rated_airflow=114)
    taken: dict[str, float | str] = {
        f"{state}_{station}": 0.92 * session.baseline.at(state, station)
        for station in (Station.UNIT, Station.INLET, Station.HOSE)
        for state in AirState
    }
    with Read(session, **taken, ever_better="never-better"):
        verdict = session.said().verdict
    assert verdict.startswith("8 % under its label at every station alike, nothing else is wrong")
    assert verdict.endswith(": this is what it makes.")


def test_an_old_unit_in_order_is_said_never_to_have_done_more() -> None:
    session = measuring(class_="old-unit", age_years=45)
    taken = {
        f"{state}_{station}": session.baseline.at(state, station)
        for station in (Station.INLET, Station.HOSE)
        for state in AirState
    }
    with Read(session, **taken):
        verdict = session.said().verdict
    assert verdict.startswith("Nothing is wrong")
    assert "never did much more than 90 inH2O sealed" in verdict
    assert "a present-day one gives 120 sealed, 80 working" in verdict


def test_a_present_day_unit_in_order_is_not_compared_with_another() -> None:
    with rated(sealed_inlet=130.0, working_inlet=76.0, working_hose=66.0) as session:
        verdict = session.said().verdict
    assert verdict.startswith("Nothing is wrong")
    assert "present-day" not in verdict


def test_thin_air_is_no_reason_to_call_a_unit_weak() -> None:
    visit = Visit(purpose="measuring", unit=RATED, site=Site(altitude_ft=7000))
    session = Session(RULES, visit)
    for check, state in zip(INLET, AirState, strict=True):
        session.record(check, session.baseline.at(state, Station.INLET))
    assert "more than" not in session.said().verdict


def test_what_is_left_at_the_hose_end_is_said_as_read_where_it_was() -> None:
    with rated(sealed_inlet=130.0, working_inlet=76.0, working_hose=40.0) as session:
        [left] = session.said().left
        sizes = session.sizes()
    assert left.startswith("At the hose end ")
    assert sizes is not None
    assert f"{sizes.openings[-1].airflow_cfm:.0f} cfm" in left


def test_without_readings_only_the_verdict_is_left() -> None:
    session = Session(RULES, Visit(unit=RATED, house=House(hose_ft=30)))
    said = session.said()
    assert said.verdict
    assert said.sizes == () and said.left == ()
    assert Said("").verdict == ""


BOTH = {"sealed_unit": 130.0, "working_unit": 60.0, "sealed_inlet": 87.0, "working_inlet": 39.0}
"""A filter at 40 times its clean resistance with a 0.45 in hole at another inlet."""


def test_where_only_two_faults_explain_the_readings_no_single_one_is_named_as_if_found() -> None:
    with rated(**BOTH) as session:
        said, sizes = session.said(), session.sizes()
    assert said.verdict == (
        "No single fault explains these readings, two together do (99 %): likeliest a leak between "
        "unit and inlet and an obstruction in the unit or its exhaust."
    )
    assert said.sizes == ()
    assert sizes is not None and sizes.two > 0.98
    assert {one.cause for one in sizes.together[0].losses} == {"leak-tubing", "throat-unit"}


def test_one_fault_is_not_called_two() -> None:
    for sealed, working in drawn_pairs(40):
        with rated(sealed_inlet=sealed, working_inlet=working) as session:
            sizes = session.sizes()
        assert sizes is not None and sizes.two < 0.5 and not sizes.together


def test_where_nothing_is_wrong_a_reading_that_is_not_as_it_should_be_is_not_called_so() -> None:
    session = measuring(rated_sealed=130)
    with Read(session, working_hose=100.0):
        verdict = session.said().verdict
    assert re.fullmatch(
        r"Nothing is wrong \(\d+ %\), though working at the hose end is 144 % of what was "
        r"expected\.",
        verdict,
    )


def test_readings_that_cannot_be_are_said_to_contradict_each_other_and_nothing_else() -> None:
    with rated(sealed_inlet=37.0, working_inlet=75.0) as session:
        said, step = session.said(), session.next_step()
    assert said == Said(
        "At the inlet, sealed 37 is below working 75, which cannot be: one of them was written "
        "down wrongly."
    )
    assert step.turn == "doubted"


def test_where_one_reading_does_not_go_with_the_rest_that_is_said_and_nothing_is_named() -> None:
    # A clog in the branch at 130 and 37, where 130 was written down as 37.
    slip = {"sealed_hose": 37.0, "working_hose": 37.0, "sealed_inlet": 130.0, "working_inlet": 42.0}
    with rated(**slip) as session:
        said = session.said()
    assert re.fullmatch(
        r"Sealed at the hose end, 37 does not go with the rest, by which it would be 1\d\d "
        r"\(1\d\d to 1\d\d\): take it again, or expect two faults\.",
        said.verdict,
    )
    assert said.sizes == ()
    with rated(**(slip | {"sealed_hose": 130.0})) as session:
        assert session.said().verdict.startswith("Obstruction in the unit (")


def candidate(kind: str, stretch: str, **size: object) -> Candidate:
    values = {"size": None, "low": None, "high": None, "unit": "", **size}
    return Candidate(
        cause=f"{kind}-{stretch}",
        kind=kind,
        stretch=stretch,
        chance=0.9,
        faults=(),
        tied_with=(),
        **values,
    )


@pytest.mark.parametrize(
    ("one", "said"),
    [
        (candidate("leak", "unit"), ""),
        (
            candidate("leak", "unit", size=0.526, low=0.404, high=0.611, unit="in"),
            "like a 0.53 in hole (0.40 to 0.61 in)",
        ),
        (
            candidate("throat", "hose", size=0.5, low=0.45, high=0.554, unit="in"),
            "like a way squeezed to 0.50 in (0.45 to 0.55 in)",
        ),
        (
            candidate("throat", "unit", size=40.4, low=20.6, high=61.0, unit="times a clean bag"),
            "like 40 times the resistance of a clean bag (21 to 61)",
        ),
        (
            candidate("speed", "unit", size=0.85, low=0.8, high=0.91, unit="of full speed"),
            "like the motor at 85 % of its full speed (80 to 91 %)",
        ),
        (candidate("gauge", "measurement", size=0.9, low=0.8, high=1.0, unit="of the true"), ""),
        (candidate("leak", "unit", size=0.5, low=None, high=0.6, unit="in"), ""),
        (candidate("leak", "unit", size=0.5, low=0.4, high=None, unit="in"), ""),
    ],
)
def test_a_size_is_said_in_what_can_be_pictured(one: Candidate, said: str) -> None:
    assert _size(one) == said


@pytest.mark.parametrize(
    ("shares", "named"),
    [
        # Only "in order" where that has the half and leads.
        ({Mode.NORMAL: 0.5, Mode.LEAK: 0.5}, [Mode.NORMAL]),
        ({Mode.NORMAL: 0.49, Mode.LEAK: 0.41, Mode.OBSTRUCTION: 0.1}, [Mode.NORMAL, Mode.LEAK]),
        ({Mode.LEAK: 0.97, Mode.OBSTRUCTION: 0.02, Mode.NORMAL: 0.01}, [Mode.LEAK]),
    ],
)
def test_a_verdict_names_the_likeliest_until_they_are_enough(
    shares: dict[Mode, float], named: list[Mode]
) -> None:
    assert leading_modes(shares) == named
