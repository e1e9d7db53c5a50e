"""Photographs of what was brought: re-encoded, so that nothing but the picture is kept of them.

What comes with a picture (where it was taken, with what, when, a thumbnail, words) is
left behind with its encoding; that it has not changed since, its hash and the chain say.
"""

import hashlib
from dataclasses import dataclass
from io import BytesIO
from threading import Lock
from typing import Any

from PIL import Image, ImageOps, UnidentifiedImageError
from sqlalchemy import Row, select

from settle.books import chain, lots
from settle.books.columns import moment_text
from settle.books.listing import Listed, Page, page_of
from settle.books.tables import photographs
from settle.books.work import Work
from settle.reckoning.problems import Fault, Refused

MEDIA_TYPES = {"JPEG": "image/jpeg", "PNG": "image/png"}
# A small file may open to a picture that fills the memory: a camera's largest is below this.
MOST_PIXELS = 100_000_000
_QUALITY = 90
# Of the largest a gigabyte is needed, whatever few bytes it came in: never for several at once.
_one_at_a_time = Lock()
_RIGHT = "a whole picture in JPEG or PNG"


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture as it is kept: its media type and its bytes."""

    media_type: str
    content: bytes

    @property
    def hash(self) -> str:
        """SHA-256, in hexadecimal."""
        return hashlib.sha256(self.content).hexdigest()


def cleaned(content: bytes) -> Picture:
    """The picture alone, upright. Raises `Refused`: `unsupported-media-type`, `body-too-large`."""
    try:
        with _one_at_a_time, Image.open(BytesIO(content), formats=tuple(MEDIA_TYPES)) as opened:
            return _encoded(opened)
    except Image.DecompressionBombError as error:
        raise _too_large() from error
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError) as error:
        raise Refused(Fault("unsupported-media-type", "", "no picture that can be read", _RIGHT)) from error


def _encoded(opened: Image.Image) -> Picture:
    if opened.width * opened.height > MOST_PIXELS:
        raise _too_large()
    # What a camera calls MPO is a JPEG with more pictures behind the first.
    kind = "PNG" if opened.format == "PNG" else "JPEG"
    upright = ImageOps.exif_transpose(opened)
    mode = "RGBA" if kind == "PNG" and upright.has_transparency_data else "RGB"
    # Onto a new picture: whatever came with the old one is nowhere in it.
    bare = Image.new(mode, upright.size)
    bare.paste(upright.convert(mode))
    kept = BytesIO()
    bare.save(kept, kind, quality=_QUALITY)
    return Picture(MEDIA_TYPES[kind], kept.getvalue())


def _too_large() -> Refused:
    return Refused(Fault("body-too-large", "", "too many pixels", f"at most {MOST_PIXELS}"))


def add(work: Work, lot: str, picture: Picture) -> dict[str, Any]:
    """Keep a photograph of a lot. Raises `Refused`: `not-found`, `already-exists`."""
    lots.row_of(work, lot)
    same = select(photographs.c.id).where(photographs.c.lot == lot, photographs.c.hash == picture.hash)
    if old := work.connection.execute(same).scalar():
        raise Refused(Fault("already-exists", "", f"it is {old} already", "another photograph"))
    name = work.name("PH")
    work.connection.execute(
        photographs.insert().values(
            id=name,
            lot=lot,
            media_type=picture.media_type,
            hash=picture.hash,
            picture=picture.content,
            made_at=work.now,
            **work.made_by,
        )
    )
    chain.seal(work, photographs, name)
    return _shown(work.connection.execute(_brief().where(photographs.c.id == name)).one())


def listed(work: Work, lot: str, page: Page) -> tuple[list[dict[str, Any]], Listed]:
    """The photographs of a lot, newest first."""
    lots.row_of(work, lot)
    rows = page_of(work, _brief().where(photographs.c.lot == lot), photographs, page)
    return [_shown(row) for row in rows.rows], rows


def _brief() -> Any:
    of = photographs.c
    return select(of.n, of.id, of.lot, of.media_type, of.hash, of.made_at, of.person)


def _shown(row: Row[Any]) -> dict[str, Any]:
    return {
        "id": row.id,
        "media_type": row.media_type,
        "hash": row.hash,
        "href": f"/v1/lots/{row.lot}/photographs/{row.id}",
        "made_at": moment_text(row.made_at),
        "person": row.person,
    }


def of_lots(work: Work, lots: list[str]) -> dict[str, list[dict[str, Any]]]:
    """The photographs of some lots, oldest first."""
    found: dict[str, list[dict[str, Any]]] = {lot: [] for lot in lots}
    query = _brief().where(photographs.c.lot.in_(lots)).order_by(photographs.c.n)
    for row in work.connection.execute(query):
        found[row.lot].append(_shown(row))
    return found


def picture(work: Work, lot: str, name: str) -> Picture:
    """A photograph of a lot as it is kept; `not-found` where there is none."""
    query = select(photographs).where(photographs.c.lot == lot, photographs.c.id == name)
    row = work.connection.execute(query).first()
    if row is None:
        raise Refused(Fault("not-found", "", f"no photograph {name[:20]} of {lot[:20]}", "one of the list"))
    return Picture(row.media_type, row.picture)
