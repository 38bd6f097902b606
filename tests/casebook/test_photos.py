"""Photos from phones: whatever is sent, a small JPEG of our own making is kept, or nothing."""

from __future__ import annotations

import io
import struct
import zlib
from pathlib import Path

import pytest
from PIL import Image

from stillflow.casebook.photos import LONG_SIDE, MOST_PHOTOS, Photos, made_anew
from stillflow.casebook.store import Casebook
from stillflow.engine.base import InputError
from stillflow.engine.inference import Visit


def photo(
    size: tuple[int, int] = (640, 480), kind: str = "JPEG", mode: str = "RGB", **more: object
) -> bytes:
    out = io.BytesIO()
    Image.new(mode, size, "#8a8474" if mode == "RGB" else 0).save(out, kind, **more)
    return out.getvalue()


def with_place() -> bytes:
    exif = Image.Exif()
    exif[0x0110] = "a camera"
    exif[0x0112] = 6  # lies on its side
    exif.get_ifd(0x8825).update({1: "N", 2: (47.0, 22.0, 30.0), 3: "E", 4: (8.0, 32.0, 0.0)})
    return photo((800, 400), exif=exif)


def test_place_and_camera_do_not_come_along_and_the_photo_stands_upright() -> None:
    assert Image.open(io.BytesIO(with_place())).getexif().get_ifd(0x8825)
    kept = Image.open(io.BytesIO(made_anew(with_place())))
    assert not dict(kept.getexif())
    assert "exif" not in kept.info
    assert kept.size == (400, 800)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_a_large_photo_is_made_smaller(kind: str) -> None:
    kept = Image.open(io.BytesIO(made_anew(photo((4000, 3000), kind))))
    assert kept.format == "JPEG"
    assert kept.size == (LONG_SIDE, LONG_SIDE * 3 // 4)


def bomb() -> bytes:
    """A picture of 2.5 thousand million points in a few bytes."""

    def part(name: bytes, data: bytes) -> bytes:
        return (
            struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))
        )

    header = struct.pack(">IIBBBBB", 50_000, 50_000, 1, 0, 0, 0, 0)
    body = zlib.compress(b"\0" * 1000)
    return b"\x89PNG\r\n\x1a\n" + part(b"IHDR", header) + part(b"IDAT", body) + part(b"IEND", b"")


@pytest.mark.parametrize(
    "sent",
    [
        b"",
        b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>",
        b"GIF89a" + b"\0" * 40,
        b"\xff\xd8\xff\xe0" + b"<script>" * 50,
        photo()[:400],
        bomb(),
        photo((8000, 8000), "PNG", mode="1"),
    ],
)
def test_what_is_no_photo_or_too_large_is_refused_in_a_line(sent: bytes) -> None:
    with pytest.raises(InputError):
        made_anew(sent)


def test_a_script_behind_a_photo_is_left_behind() -> None:
    kept = made_anew(photo() + b"<script>alert(1)</script>")
    assert b"<script>" not in kept


def test_photos_are_of_their_visit_only_and_so_many(tmp_path: Path) -> None:
    casebook = Casebook(f"sqlite:///{tmp_path / 'casebook.db'}")
    mine, other = casebook.begin(Visit()), casebook.begin(Visit())
    photos = Photos(casebook)
    small = photo((4, 4))
    one = photos.add(mine.id, small, "Ada")
    assert photos.listed(mine.id) == [one]
    assert photos.listed(other.id) == []
    with pytest.raises(InputError):
        photos.jpeg(other.id, one.id)
    with pytest.raises(InputError):
        photos.add("no-such-visit", small)
    for _ in range(MOST_PHOTOS - 1):
        photos.add(mine.id, small)
    with pytest.raises(InputError, match="as many as it may have"):
        photos.add(mine.id, small)
    photos.drop(other.id, one.id)
    assert len(photos.listed(mine.id)) == MOST_PHOTOS
    photos.drop(mine.id, one.id)
    assert len(photos.listed(mine.id)) == MOST_PHOTOS - 1
