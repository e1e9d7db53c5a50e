"""Photographs of what was brought: checked by content, stripped, kept with their hash."""

import hashlib
from io import BytesIO
from os import urandom
from threading import Thread
from time import sleep
from typing import Any

import pytest
from ledger_house import House
from PIL import Image, ImageDraw, PngImagePlugin
from stages import LOT

from settle.books import photographs

PATH = f"/v1/lots/{LOT}/photographs"
GPS, ORIENTATION, MAKER, TURNED = 0x8825, 0x0112, 0x010F, 6
SECRET = b"51 deg 28 min N, Nowhere Lane"


def drawn(width: int = 60, height: int = 40, mode: str = "RGB") -> Image.Image:
    picture = Image.new(mode, (width, height))
    ImageDraw.Draw(picture).rectangle((0, 0, width // 2, height), fill="white")
    return picture


def a_jpeg() -> bytes:
    """As a camera makes it: turned, with where it was taken, by what, and words."""
    exif = Image.Exif()
    exif[ORIENTATION], exif[MAKER] = TURNED, SECRET.decode()
    exif.get_ifd(GPS).update({1: "N", 2: (51.0, 28.0, 40.0), 29: SECRET.decode()})
    file = BytesIO()
    drawn().save(file, "JPEG", exif=exif, comment=SECRET, xmp=b"<x>" + SECRET + b"</x>", icc_profile=SECRET)
    return file.getvalue()


def a_png() -> bytes:
    told = PngImagePlugin.PngInfo()
    told.add_text("Location", SECRET.decode())
    told.add_itxt("XML:com.adobe.xmp", SECRET.decode())
    file = BytesIO()
    drawn(mode="RGBA").save(file, "PNG", pnginfo=told)
    return file.getvalue()


def form(content: bytes, boundary: str = "x1", *more: bytes) -> tuple[bytes, str]:
    head = f'--{boundary}\r\nContent-Disposition: form-data; name="photograph"; filename="a.gif"\r\n\r\n'
    return (
        b"\r\n".join(head.encode() + each for each in (content, *more)) + f"\r\n--{boundary}--\r\n".encode(),
        f"multipart/form-data; boundary={boundary}",
    )


PICTURES = [
    ("jpeg", a_jpeg(), "image/jpeg", "image/jpeg"),
    ("png", a_png(), "image/png", "image/png"),
    ("png that calls itself jpeg", a_png(), "image/jpeg", "image/png"),
    ("form", *form(a_jpeg()), "image/jpeg"),
]


@pytest.mark.parametrize(
    ("content", "media", "kept_as"), [p[1:] for p in PICTURES], ids=[p[0] for p in PICTURES]
)
def test_nothing_but_the_picture_is_kept(house: House, content: bytes, media: str, kept_as: str) -> None:
    assert SECRET in content
    posted = house.till.ask("POST", PATH, content, media)
    assert posted.status_code == 201, posted.json
    kept = house.till.ask("GET", posted.headers["Location"])
    assert (kept.content_type, kept.headers["ETag"]) == (kept_as, f'"{posted.json["hash"]}"')
    assert hashlib.sha256(kept.data).hexdigest() == posted.json["hash"]
    assert SECRET not in kept.data
    with Image.open(BytesIO(kept.data)) as picture:
        assert not picture.getexif()
        assert not picture.getexif().get_ifd(GPS)
        assert set(picture.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    assert house.faults() == []


def test_a_picture_that_was_taken_sideways_stands_upright(house: House) -> None:
    posted = house.till.ask("POST", PATH, a_jpeg(), "image/jpeg").json
    with Image.open(BytesIO(house.till.ask("GET", posted["href"]).data)) as picture:
        assert picture.size == (40, 60)


def gif() -> bytes:
    file = BytesIO()
    drawn().save(file, "GIF")
    return file.getvalue()


REFUSED = [
    ("a GIF", gif(), "image/png", 415),
    ("text", b"<svg/>", "image/jpeg", 415),
    ("nothing", b"", "image/jpeg", 415),
    ("half a picture", a_jpeg()[:400], "image/jpeg", 415),
    ("two files of one name", *form(a_jpeg(), "x1", a_png()), 400),
    ("a form without a file", *form(b"")[:0], b"--x1--\r\n", "multipart/form-data; boundary=x1", 400),
    ("too large", b"\xff\xd8" + bytes(11 * 1024 * 1024), "image/jpeg", 413),
]


@pytest.mark.parametrize(
    ("content", "media", "status"), [r[1:] for r in REFUSED], ids=[r[0] for r in REFUSED]
)
def test_what_is_no_photograph_is_refused(house: House, content: bytes, media: str, status: int) -> None:
    refused = house.till.ask("POST", PATH, content, media)
    assert (refused.status_code, refused.content_type) == (status, "application/problem+json")
    assert house.till.get(PATH)["items"] == []


@pytest.mark.filterwarnings("ignore::PIL.Image.DecompressionBombWarning")
def test_a_small_file_that_opens_to_a_huge_picture_is_refused(house: House) -> None:
    file = BytesIO()
    Image.new("1", (11_000, 11_000)).save(file, "PNG")
    assert len(file.getvalue()) < 100_000
    assert house.till.ask("POST", PATH, file.getvalue(), "image/png").status_code == 413


@pytest.mark.filterwarnings("ignore")  # of crooked metadata, which is left behind
def test_one_picture_is_opened_at_a_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """Twelve kilobytes may open to a gigabyte, within the bound: several at once would fill the memory."""
    inside, most = 0, 0

    def slow(*_: Any) -> photographs.Picture:
        nonlocal inside, most
        inside += 1
        most = max(most, inside)
        sleep(0.02)
        inside -= 1
        return photographs.Picture("image/png", b"")

    monkeypatch.setattr(photographs, "_encoded", slow)
    threads = [Thread(target=photographs.cleaned, args=(a_png(),)) for _ in range(5)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert most == 1


def test_a_broken_picture_never_breaks_the_server(house: House) -> None:
    whole = a_jpeg()
    for i in range(0, len(whole), 7):
        broken = whole[:i] + bytes([whole[i] ^ 0xFF]) + whole[i + 1 :]
        assert house.till.ask("POST", PATH, broken, "image/jpeg").status_code in (201, 409, 413, 415)


def test_photographs_are_larger_than_other_bodies_may_be(house: House) -> None:
    file = BytesIO()
    Image.frombytes("RGB", (700, 700), urandom(3 * 700 * 700)).save(file, "PNG")
    assert len(file.getvalue()) > 1024 * 1024
    assert house.till.ask("POST", PATH, file.getvalue(), "image/png").status_code == 201
    assert house.till.ask("POST", "/v1/estimates", file.getvalue()).status_code == 413


def test_the_same_photograph_is_kept_once(house: House) -> None:
    first = house.till.ask("POST", PATH, a_png(), "image/png").json
    again = house.till.ask("POST", PATH, a_png(), "image/png")
    assert (again.status_code, again.json["type"]) == (409, "/problems/already-exists")
    assert [p["id"] for p in house.till.get(PATH)["items"]] == [first["id"]]


def test_a_form_sent_again_is_the_same_request(house: House) -> None:
    def sent(boundary: str) -> Any:
        body, media = form(a_png(), boundary)
        return house.till.ask("POST", PATH, body, media, **{"Idempotency-Key": "one"})

    first, second = sent("b1"), sent("b2")
    assert (second.status_code, second.json) == (201, first.json)
    assert second.headers["Idempotency-Replayed"] == "true"


@pytest.mark.parametrize("path", ["/v1/lots/L-404/photographs", f"{PATH}/PH-404"])
def test_what_is_not_there_is_not_found(house: House, path: str) -> None:
    assert house.till.ask("GET", path).status_code == 404
