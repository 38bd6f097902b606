"""Notes and photos of a visit, from a phone."""

from __future__ import annotations

import io
from pathlib import Path

from phone import Phone, desk
from PIL import Image

from stillflow.cli.web.app import application


def jpeg() -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (64, 48), "#8a8474").save(out, "JPEG")
    return out.getvalue()


def test_a_note_is_kept_and_the_visit_stands_where_it_stood(tmp_path: Path) -> None:
    at = desk(tmp_path)
    one = Phone(application(at))
    one.begin()
    visit, question = one.visit, one.question
    one.open(f"/visit/{visit}/notes")
    one.send(f"/visit/{visit}/notes", mark=one.mark, note="Gate code <b>4711</b>")
    assert "Gate code &lt;b&gt;4711" in one.page
    assert at.casebook.get(visit).events[-1].note == "Gate code <b>4711</b>"
    one.open(f"/visit/{visit}")
    assert one.question == question
    assert "Gate code" in one.page
    one.open(f"/visit/{visit}/notes")
    one.send(f"/visit/{visit}/notes", mark=one.mark, note="  ")
    assert one.status == 422


def test_a_photo_is_taken_in_shown_and_taken_away(tmp_path: Path) -> None:
    one = Phone(application(desk(tmp_path)))
    one.begin()
    visit = one.visit
    one.open(f"/visit/{visit}/notes")
    path = f"/visit/{visit}/photo"

    def send(data: bytes, token: str) -> None:
        files = {"photo": ("../../x.php", data, "image/jpeg")}
        one._keep(one.client.post(path, data={"token": token}, files=files))

    send(jpeg(), one.token)
    assert one.status == 200
    address = one._found(r'<img src="([^"]*)"')
    answer = one.client.get(address)
    assert answer.headers["content-type"] == "image/jpeg"
    assert answer.headers["x-content-type-options"] == "nosniff"
    send(b"<script>alert(1)</script>", one.token)
    assert one.status == 422
    assert "not a photo" in one.page
    send(jpeg(), "0" * 64)
    assert one.status == 403
    one.open(f"/visit/{visit}/notes")
    one.send(address)
    assert "<img" not in one.page
    assert one.client.get(address).status_code == 404


def test_a_part_and_its_price_are_kept_and_stand_on_the_sheet(tmp_path: Path) -> None:
    at = desk(tmp_path)
    one = Phone(application(at))
    one.begin(name="Fern Cottage")
    visit = one.visit
    notes = f"/visit/{visit}/notes"
    one.open(notes)
    one.send(notes, mark=one.mark, part="gasket", count="2", price="12,50")
    assert "part: 2 x gasket at 12.50" in one.page
    for wrong, said in (("many", "&#39;many&#39; is no count"), ("-3", "cannot be")):
        one.send(notes, mark=one.mark, part="gasket", count=wrong)
        assert one.status == 422
        assert said in one.page
    assert len(at.casebook.get(visit).events) == 1
    assert ">Undo<" not in one.page


def test_a_visit_that_ended_is_found_also_without_a_name(tmp_path: Path) -> None:
    one = Phone(application(desk(tmp_path)))
    one.begin()
    visit = one.visit
    one.answer("smoke")
    assert "sheet stop" in one.page
    one.open("/")
    assert "No visit is open." in one.page
    assert "Ended of late" in one.page
    assert f'href="/visit/{visit}"' in one.page
