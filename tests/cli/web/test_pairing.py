"""Who may: phones are paired by a code that is good once, and let in until they are revoked."""

from __future__ import annotations

from pathlib import Path
from urllib.parse import urlsplit

import pytest
from command import stillflow
from phone import Phone, desk, url

from stillflow.casebook.phones import Phones
from stillflow.casebook.store import Casebook
from stillflow.cli.web.app import application
from stillflow.cli.web.pairing import CLOSED_FOR, GOOD_FOR, MOST_TRIES, Pairing
from stillflow.engine.base import InputError


class Shop:
    """A server that is shared, with what its terminal says."""

    def __init__(self, folder: Path) -> None:
        self.codes: list[str] = []
        self.now = 0.0
        self.desk = desk(folder)
        self.pairing = Pairing(self.codes.append, lambda: self.now)
        self.app = application(self.desk, pairing=self.pairing)

    def phone(self, name: str = "") -> Phone:
        one = Phone(self.app)
        one.open("/")
        if name:
            one.send("/pair", code=self.codes[-1], name=name)
        return one


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    return Shop(tmp_path)


def test_a_phone_that_is_not_paired_is_shown_the_door_and_nothing_else(shop: Shop) -> None:
    inside = shop.phone("Ada")
    inside.begin(name="Fern Cottage")
    outside = shop.phone()
    assert "Pair this phone" in outside.page
    for path in ("/", "/new", f"/visit/{inside.visit}", f"/visit/{inside.visit}/notes"):
        answer = outside.client.get(path, follow_redirects=False)
        assert (answer.status_code, answer.headers["location"]) == (303, "/pair")
        assert "Fern" not in answer.text
    path = f"/visit/{inside.visit}/answer"
    answer = outside.client.post(path, data={"token": outside.token, "check": "danger-signs"})
    assert answer.status_code == 401
    assert shop.desk.casebook.get(inside.visit).events == ()


def test_a_paired_phone_is_a_named_person_in_visits_and_trail(shop: Shop) -> None:
    one = shop.phone("Ada")
    one.begin(name="Fern Cottage")
    assert shop.desk.casebook.get(one.visit).technician == "Ada"
    one.answer("none")
    who = {trace.who for trace in shop.desk.casebook.trail(one.visit)}
    assert who == {"Ada"}


def test_no_token_stands_in_an_address_once_a_phone_is_paired(shop: Shop) -> None:
    one = Phone(shop.app)
    one.open(f"/pair?code={shop.codes[-1]}")
    assert f'value="{shop.codes[-1]}"' in one.page
    one.send("/pair", code=shop.codes[-1], name="Ada")
    assert one.status == 200
    assert "Visits" in one.page
    cookie = one.client.cookies["stillflow"]
    assert cookie not in one.page
    assert "Ada" in one.page
    assert shop.codes[-2] not in one.page


def test_a_code_is_good_once_and_not_for_ever(shop: Shop) -> None:
    first = shop.codes[-1]
    shop.phone("Ada")
    late = shop.phone()
    late.send("/pair", code=first, name="Eve")
    assert late.status == 422
    second = shop.codes[-1]
    shop.now += GOOD_FOR + 1
    late.send("/pair", code=second, name="Eve")
    assert late.status == 422
    assert [one.name for one in Phones(shop.desk.casebook).listed()] == ["Ada"]


def test_trying_codes_closes_the_door_even_to_the_right_one(shop: Shop) -> None:
    one = shop.phone()
    for number in range(MOST_TRIES):
        one.send("/pair", code=f"ZZZZZZ{number:02}", name="Eve")
        assert one.status == 422
    one.send("/pair", code=shop.codes[-1], name="Eve")
    assert one.status == 422
    assert "too many wrong codes" in one.page
    shop.now += CLOSED_FOR + 1
    one.send("/pair", code=shop.codes[-1], name="Ada")
    assert one.status == 200
    assert len(set(shop.codes)) == len(shop.codes) == 3


def test_a_name_is_one_persons_and_none_is_no_name(shop: Shop) -> None:
    shop.phone("Ada")
    for name in ("Ada", "ada", " "):
        with pytest.raises(InputError):
            Phones(shop.desk.casebook).pair(name)


def test_a_revoked_phone_sees_nothing_any_more_not_even_what_it_had(
    shop: Shop, tmp_path: Path
) -> None:
    one = shop.phone("Ada")
    one.begin(name="Fern Cottage")
    assert one.headers["cache-control"] == "no-store"
    visit = one.visit
    outcome = stillflow("serve", "people", "revoke", "Ada", "--db", url(tmp_path))
    assert (outcome.code, outcome.err) == (0, "")
    answer = one.client.get(f"/visit/{visit}", follow_redirects=False)
    assert urlsplit(answer.headers["location"]).path == "/pair"
    assert answer.headers["clear-site-data"] == '"cache"'
    script = {"sec-fetch-mode": "cors"}
    assert one.client.get(f"/visit/{visit}", headers=script).status_code == 401


@pytest.mark.parametrize("before", ["serve", "people", "revoke"])
def test_a_phone_is_revoked_in_the_casebook_that_is_named_wherever_it_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, before: str
) -> None:
    other = f"sqlite:///{tmp_path}/other.db"
    monkeypatch.setenv("STILLFLOW_DB", other)
    for where in (url(tmp_path), other):
        Phones(Casebook(where)).pair("Ada")
    words = ["serve", "people", "revoke"]
    after = words.index(before) + 1
    said = [*words[:after], "--db", url(tmp_path), *words[after:], "Ada"]
    assert stillflow(*said).code == 0
    assert Phones(Casebook(url(tmp_path))).listed() == []
    assert [one.name for one in Phones(Casebook(other)).listed()] == ["Ada"]


def test_people_are_listed_and_one_that_is_not_there_is_named(tmp_path: Path) -> None:
    assert "No phone is paired" in stillflow("serve", "people", "--db", url(tmp_path)).out
    Phones(Casebook(url(tmp_path))).pair("Ada")
    assert "Ada" in stillflow("serve", "people", "list", "--db", url(tmp_path)).out
    outcome = stillflow("serve", "people", "revoke", "Adda", "--db", url(tmp_path))
    assert outcome.code == 2
    assert "Ada" in outcome.err


def test_of_a_token_only_a_hash_is_kept(tmp_path: Path) -> None:
    token = Phones(Casebook(url(tmp_path))).pair("Ada")
    held = b"".join(path.read_bytes() for path in tmp_path.iterdir())
    assert b"Ada" in held
    assert token.encode() not in held


def test_ids_of_visits_are_not_to_be_guessed_from_another(shop: Shop) -> None:
    """Whoever is let in may see every visit; an id near a known one is none all the same."""
    one = shop.phone("Ada")
    one.begin()
    near = one.visit[:-1] + ("0" if one.visit[-1] != "0" else "1")
    for path in (near, "%25", one.visit[:8], "../../etc/passwd"):
        one.open(f"/visit/{path}")
        assert one.status == 404
