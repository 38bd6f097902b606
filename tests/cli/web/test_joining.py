"""Answers given where there was no signal: joined by the moment they follow, none doubled."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from phone import Phone, desk

from stillflow.cli.web.app import application
from stillflow.cli.web.desk import Desk

START = datetime(2026, 3, 4, 9, 30, tzinfo=UTC)


class Apart:
    """A phone that has begun a visit, and its answers from where there was no signal."""

    def __init__(self, folder: Path) -> None:
        self.desk: Desk = desk(folder)
        self.phone = Phone(application(self.desk))
        self.phone.begin(rated_sealed="130", rated_airflow="114")
        self.visit = self.phone.visit
        self.mark = self.phone.mark
        self.answers: list[dict[str, Any]] = []

    def say(self, check: str, answer: str) -> None:
        at = START + timedelta(minutes=len(self.answers), milliseconds=7)
        self.answers.append({"check": check, "answer": answer, "at": at.isoformat()})

    def join(self, mark: str = "", **more: Any) -> int:
        body = {"mark": mark or self.mark, "answers": self.answers, **more}
        headers = {"x-stillflow-token": self.phone.token, "content-type": "application/json"}
        path = f"/visit/{self.visit}/join"
        answer = self.phone.client.post(path, content=json.dumps(body), headers=headers)
        self.phone._keep(answer)
        return answer.status_code

    @property
    def kept(self) -> list[Any]:
        return [event.answer for event in self.desk.casebook.get(self.visit).events]


@pytest.fixture
def apart(tmp_path: Path) -> Apart:
    one = Apart(tmp_path)
    for check, answer in (
        ("danger-signs", "none"),
        ("sealed-inlet", "90"),
        ("slider-look", "open"),
    ):
        one.say(check, answer)
    return one


def test_answers_are_joined_in_order_with_the_time_they_were_given(apart: Apart) -> None:
    apart.answers[2]["answer"] = "can't tell"
    assert apart.join() == 200
    assert apart.kept == ["none", 90.0, "can't tell"]
    events = apart.desk.casebook.get(apart.visit).events
    assert events[1].at == START + timedelta(minutes=1, milliseconds=7)
    assert apart.phone.mark.startswith("3-")


def test_joined_again_after_a_lost_reply_nothing_is_doubled(apart: Apart) -> None:
    apart.answers[2]["answer"] = "can't tell"
    apart.join()
    assert apart.join() == 200
    apart.say("sealed-unit", "120")
    assert apart.join() == 200
    assert apart.kept == ["none", 90.0, "can't tell", 120.0]


def test_a_visit_that_went_on_elsewhere_says_so_and_keeps_what_it_has(apart: Apart) -> None:
    apart.phone.open(f"/visit/{apart.visit}")
    apart.phone.answer("none")
    assert apart.join() == 409
    assert "has gone on since" in apart.phone.page
    assert apart.kept == ["none"]
    # What was answered on the phone may be added after it.
    apart.answers = apart.answers[1:2]
    assert apart.join(apart.phone.mark) == 200
    assert apart.kept == ["none", 90.0]


def test_an_answer_that_cannot_be_keeps_those_before_it(apart: Apart) -> None:
    apart.answers[1]["answer"] = "a lot"
    assert apart.join() == 422
    assert "&#39;a lot&#39;" in apart.phone.page
    assert apart.kept == ["none"]
    assert 'data-number="1"' in apart.phone.page


@pytest.mark.parametrize(
    "body",
    [
        {"answers": []},
        {"answers": [{}]},
        {"answers": [{"check": "danger-signs", "answer": "none", "at": "2026-03-04T09:30:00"}]},
        {"answers": [{"check": "danger-signs", "answer": "none", "at": "soon"}]},
        {"answers": "all of them"},
        {"answers": [{"check": "danger-signs", "answer": "none", "at": START.isoformat()}] * 300},
    ],
)
def test_what_no_phone_sends_is_one_line_and_keeps_nothing(apart: Apart, body: Any) -> None:
    assert apart.join(**body) == 422
    assert apart.kept == []


def test_joining_wants_the_token_of_the_forms(apart: Apart) -> None:
    body = json.dumps({"mark": apart.mark, "answers": apart.answers})
    answer = apart.phone.client.post(f"/visit/{apart.visit}/join", content=body)
    assert answer.status_code == 403
    assert apart.kept == []
