"""Systems: useful with a fan alone, refused with a clear word when they cannot be."""

from __future__ import annotations

import numpy as np
import pytest
from pydantic import ValidationError

from stillflow.engine.airflow.fan import Fan, fan_from_rating
from stillflow.engine.airflow.gauge import readings_table
from stillflow.engine.airflow.houses import Houses
from stillflow.engine.airflow.points import EVERY_POINT
from stillflow.engine.airflow.system import Holes, Inlet, System
from stillflow.engine.base.errors import InputError


def test_a_fan_is_enough_for_an_ordinary_house():
    system = System(fan=fan_from_rating(130, 114))
    shown = readings_table(Houses.of([system]), EVERY_POINT)
    assert ((shown > 0) & (shown <= 130)).all()
    assert hash(system) == hash(System(fan=fan_from_rating(130, 114)))


def test_a_system_survives_being_written_and_read():
    system = System(fan=fan_from_rating(130, 114), altitude_ft=5280, holes=Holes(trunk=0.4))
    assert System.model_validate_json(system.model_dump_json()) == system


@pytest.mark.parametrize(
    ("parts", "said"),
    [
        ({"inlets": [{"name": "hall"}, {"name": "hall"}]}, "two inlets are named 'hall'"),
        ({"inlets": [{"name": "hall", "tap_ft": 90}]}, "trunk is 40 ft long"),
        ({"damaged_inlet": "attic"}, "no inlet named 'attic'"),
        ({"other_inlet": "inlet"}, "cannot be the other inlet"),
        ({"inlets": [{"name": "a"}], "holes": {"other_inlet": 0.3}}, "needs a second inlet"),
        ({"inlets": []}, "at least 1 item"),
        ({"altitude_ft": 60000}, "less than or equal to 15000"),
        ({"trunk": {"length_ft": -3}}, "greater than or equal to 0"),
        ({"hoze": {}}, "not permitted"),
        ({"fan": {"sealed_inh2o": -1, "airflow_cfm": 114}}, "greater than 0"),
        (
            {"fan": {"sealed_inh2o": 130, "airflow_cfm": 114, "between": [[40, 140]]}},
            "suction must fall as airflow rises",
        ),
    ],
)
def test_what_cannot_be_is_refused(parts, said):
    with pytest.raises(ValidationError, match=said):
        System.model_validate({"fan": {"sealed_inh2o": 130, "airflow_cfm": 114}, **parts})


def test_houses_side_by_side_need_the_same_inlets(house):
    other = house.model_copy(update={"inlets": (Inlet(name="hall"), Inlet(name="den"))})
    with pytest.raises(InputError, match="same inlets"):
        Houses.of([house, other])
    with pytest.raises(InputError, match="no systems"):
        Houses.of([])


def test_fan_lines_of_different_length_lie_side_by_side(house):
    bent = Fan(sealed_inh2o=130, airflow_cfm=114, between=((40.0, 90.0),))
    houses = Houses.of([house, house.model_copy(update={"fan": bent})])
    assert houses["fan.corner_flow"].shape == (2, 2)
    assert np.allclose(houses["fan.corner_bend"][0, 1], 0.0)
