"""Photos of a visit, as they come from a phone: decoded, made smaller, and written anew.

What is kept is a JPEG of our own making, without place, time or camera, whatever was sent.
"""

from __future__ import annotations

import io
import warnings
from dataclasses import dataclass
from datetime import UTC, datetime

import sqlalchemy as sa

from stillflow.casebook.ids import new_id
from stillflow.casebook.store import Casebook
from stillflow.casebook.tables import photos, visits
from stillflow.engine.base import InputError

MOST_PIXELS = 60_000_000
"""Of what is sent; it is looked at before anything is decoded."""
MOST_PHOTOS = 40
LONG_SIDE = 1600
_KINDS = ("JPEG", "PNG", "WEBP")


@dataclass(frozen=True)
class Photo:
    """One photo: its id, when and by whom it was taken in."""

    id: str
    at: datetime
    who: str


class Photos:
    """The photos of one casebook."""

    def __init__(self, casebook: Casebook) -> None:
        self._casebook = casebook

    def add(self, visit_id: str, sent: bytes, who: str = "") -> Photo:
        """Take in a photo of a visit.

        Raises:
            InputError: not a photo, too large a one, no such visit, or one that has enough.
        """
        jpeg = made_anew(sent)
        photo = Photo(new_id(), datetime.now(UTC), who[:200])
        with self._casebook.transaction(write=True) as connection:
            mine = photos.c.visit_id == visit_id
            if connection.scalar(sa.select(visits.c.id).where(visits.c.id == visit_id)) is None:
                raise InputError(f"there is no visit '{visit_id[:80]}'", right="check the address")
            count = connection.scalar(sa.select(sa.func.count()).select_from(photos).where(mine))
            if (count or 0) >= MOST_PHOTOS:
                what = f"this visit has {MOST_PHOTOS} photos, as many as it may have"
                raise InputError(what, right="take one away first")
            row = {"id": photo.id, "visit_id": visit_id, "at": photo.at, "who": photo.who}
            connection.execute(photos.insert().values(**row, jpeg=jpeg))
        return photo

    def listed(self, visit_id: str) -> list[Photo]:
        """Photos of a visit, oldest first."""
        mine = photos.c.visit_id == visit_id
        columns = photos.c.id, photos.c.at, photos.c.who
        with self._casebook.transaction() as connection:
            rows = connection.execute(sa.select(*columns).where(mine).order_by(photos.c.id))
            return [Photo(row.id, row.at, row.who) for row in rows]

    def jpeg(self, visit_id: str, photo_id: str) -> bytes:
        """One photo of a visit.

        Raises:
            InputError: this visit has none with that id.
        """
        which = photos.c.visit_id == visit_id, photos.c.id == photo_id
        with self._casebook.transaction() as connection:
            found = connection.scalar(sa.select(photos.c.jpeg).where(*which))
        if found is None:
            raise InputError("there is no such photo", right="reload the notes of the visit")
        return bytes(found)

    def drop(self, visit_id: str, photo_id: str) -> None:
        """Take a photo away; nothing happens where it is gone."""
        which = photos.c.visit_id == visit_id, photos.c.id == photo_id
        with self._casebook.transaction(write=True) as connection:
            connection.execute(photos.delete().where(*which))


def made_anew(sent: bytes) -> bytes:
    """A photo decoded and written anew as a JPEG of at most 1600 points, with nothing else in it.

    Raises:
        InputError: not a photo, or one with more points than there may be.
    """
    from PIL import Image, ImageOps

    right = "send a photo as JPEG, PNG or WebP"
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(sent), formats=_KINDS) as picture:
                if picture.width * picture.height > MOST_PIXELS:
                    what = f"this photo has more than {MOST_PIXELS // 1_000_000} million points"
                    raise InputError(what, right="send a smaller one")
                picture.draft("RGB", (LONG_SIDE, LONG_SIDE))
                upright = ImageOps.exif_transpose(picture).convert("RGB")
        upright.thumbnail((LONG_SIDE, LONG_SIDE))
        out = io.BytesIO()
        # A picture of its own, so that nothing that came along is written out again.
        plain = Image.new("RGB", upright.size)
        plain.paste(upright)
        plain.save(out, "JPEG", quality=82)
        return out.getvalue()
    except InputError:
        raise
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError, Warning):
        raise InputError("this is not a photo that can be read", right=right) from None
