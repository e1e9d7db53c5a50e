"""One address, two representations."""

from io import BytesIO

import pytest
from pypdf import PdfReader

from settle.books import accounts

from .conftest import addresses
from .house import CLIENT, B, House, pages


def quote(house: House) -> str:
    return f"/v1/quotes/{house.names['quote']}"


@pytest.mark.parametrize(
    ("accept", "media"),
    [
        ("application/pdf", "application/pdf"),
        ("application/json", "application/json"),
        ("*/*", "application/json"),
        ("application/*", "application/json"),
        ("application/json;q=0.5, application/pdf", "application/pdf"),
        ("text/html, application/pdf;q=0.1", "application/pdf"),
    ],
)
def test_the_client_chooses_by_accept(house: House, accept: str, media: str) -> None:
    answer = house.get(quote(house), Accept=accept)
    assert (answer.status_code, answer.mimetype) == (200, media)
    assert "Accept" in answer.headers["Vary"]


def test_without_accept_it_is_json(house: House) -> None:
    assert house.get(quote(house)).mimetype == "application/json"


def test_neither_is_406(house: House) -> None:
    answer = house.get(quote(house), Accept="text/html")
    assert (answer.status_code, answer.json["type"]) == (406, "/problems/not-acceptable")


def test_a_refusal_stays_a_problem_whatever_is_accepted(house: House) -> None:
    answer = house.get("/v1/quotes/Q-1999-0001", Accept="application/pdf")
    assert (answer.status_code, answer.mimetype) == (404, "application/problem+json")


@pytest.mark.parametrize("accept", ["application/pdf", "application/json"])
def test_an_unknown_paper_is_400(house: House, accept: str) -> None:
    assert house.get(quote(house) + "?paper=a5", Accept=accept).status_code == 400


@pytest.mark.parametrize(
    ("said", "language", "word"),
    [
        ("de", "de", "Angebot"),
        ("de-AT, en;q=0.5", "de", "Angebot"),
        ("en-US", "en", "karat"),
        ("fr", "en", "carat"),
    ],
)
def test_the_paper_speaks_the_readers_language(house: House, said: str, language: str, word: str) -> None:
    answer = house.get(quote(house), Accept="application/pdf", Accept_Language=said)
    assert answer.headers["Content-Language"] == language
    assert word in " ".join(pages(answer.data))


def test_a_paper_names_client_and_shop(house: House) -> None:
    text = " ".join(pages(house.get(quote(house), Accept="application/pdf").data))
    assert CLIENT in text
    assert "Lantern Yard Refining" in text
    assert "GB 000 0000 00" in text


def test_a_paper_shows_the_hash_that_the_client_accepts(house: House) -> None:
    text = "".join(pages(house.get(quote(house), Accept="application/pdf").data))
    assert house.shown(quote(house))["hash"] in text.replace(" ", "")


def test_the_same_paper_is_not_sent_twice(house: House) -> None:
    first = house.get(quote(house), Accept="application/pdf")
    again = house.get(quote(house), Accept="application/pdf", If_None_Match=first.headers["ETag"])
    assert again.status_code == 304
    assert first.headers["ETag"] != house.get(quote(house)).headers["ETag"]


@pytest.mark.parametrize(
    ("path", "pictures"),
    [
        ("/v1/quotes/{quote}", ("band", "bars")),
        ("/v1/settlements/{settlement}", ("bars", "steps")),
        ("/v1/batches/{batch}/reconciliation", ("flow-gold", "flow-silver", "drift-silver")),
    ],
)
def test_pictures_are_served_as_svg(house: House, path: str, pictures: tuple[str, ...]) -> None:
    at = path.format(**house.names)
    for name in pictures:
        answer = house.get(f"{at}/pictures/{name}", Accept_Language="de")
        assert (answer.status_code, answer.mimetype) == (200, "image/svg+xml")
        assert answer.data.startswith(b"<svg")
    assert house.get(f"{at}/pictures/nothing").status_code == 404


def test_a_settlement_says_until_when_it_may_be_queried(house: House) -> None:
    path = f"/v1/settlements/{house.names['settlement']}"
    text = " ".join(pages(house.get(path, Accept="application/pdf", Accept_Language="en-GB").data))
    assert "May be queried until 16 March 2026" in text


def test_troy_ounces_stand_beside_grams(house: House) -> None:
    """Under terms whose unit is the troy ounce, for an American reader."""
    terms = house.post("/v1/terms", B["terms"]).json["number"]
    request = {**B["request"], "client": "C-1", "terms": terms}
    number = house.post("/v1/quotes", request).json["number"]
    gold = house.shown(f"/v1/quotes/{number}")["cases"]["likely"]["metals"]["gold"]["accountable"]
    path = f"/v1/quotes/{number}?paper=letter"
    text = " ".join(pages(house.get(path, Accept="application/pdf", Accept_Language="en-US").data))
    assert gold["g"] in text
    assert f"{gold['ozt']} oz t" in text


def test_every_paper_of_the_contract_is_json_and_pdf_and_nothing_else(house: House) -> None:
    for kind, path in addresses(house).items():
        for media in ("application/json", "application/pdf"):
            answer = house.get(path, Accept=media)
            assert (answer.status_code, answer.mimetype) == (200, media), kind
        answer = house.get(path, Accept="image/png")
        assert (answer.status_code, answer.json["type"]) == (406, "/problems/not-acceptable"), kind


def test_a_picture_is_svg_and_nothing_else(house: House) -> None:
    at = quote(house) + "/pictures/band"
    for accept in ("image/*", "image/svg+xml", "image/avif, image/webp, */*;q=0.8"):
        assert house.get(at, Accept=accept).mimetype == "image/svg+xml"
    answer = house.get(at, Accept="application/json")
    assert (answer.status_code, answer.json["type"]) == (406, "/problems/not-acceptable")


def test_an_account_on_paper_has_the_whole_period_whatever_page_is_asked_for(house: House) -> None:
    path = "/v1/clients/C-1/account"
    documents = {m["document"] for m in house.shown(path)["movements"]}
    assert len(documents) > 1
    assert len(house.shown(f"{path}?limit=1")["movements"]) == 1
    answer = house.get(f"{path}?limit=1", Accept="application/pdf", Accept_Language="en-GB")
    text = " ".join(pages(answer.data))
    assert [document for document in documents if document not in text] == []
    assert answer.headers["Content-Disposition"] == 'inline; filename="account-C-1.pdf"'
    assert "Link" not in answer.headers


def test_an_account_of_days_on_which_nothing_moved_is_a_paper_too(house: House) -> None:
    path = "/v1/clients/C-1/account?from=2026-01-01&to=2026-01-31"
    assert house.get(path, Accept="application/pdf").status_code == 200


def test_too_long_an_account_for_one_paper_asks_for_a_shorter_period(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(accounts, "MOST_ON_PAPER", 1)
    answer = house.get("/v1/clients/C-1/account", Accept="application/pdf")
    assert (answer.status_code, answer.json["type"]) == (400, "/problems/bad-request")
    assert "a shorter period" in answer.json["detail"]


def test_both_representations_are_published(house: House) -> None:
    published = house.client.get("/openapi.json").json["paths"]
    for path in ("/v1/quotes/{number}", "/v1/lots/{number}/bars", "/v1/bars/{serial}/certificate"):
        content = published[path]["get"]["responses"]["200"]["content"]
        assert {"application/json", "application/pdf"} <= content.keys()
    shown = published["/v1/quotes/{number}/pictures/{name}"]["get"]["responses"]["200"]["content"]
    assert "image/svg+xml" in shown


def test_only_those_may_read_who_may_read_the_document(house: House) -> None:
    for path in (quote(house) + "/record", quote(house) + "/pictures/band"):
        assert house.client.get(path).status_code == 401


def test_a_pdf_says_its_name(house: House) -> None:
    answer = house.get(quote(house), Accept="application/pdf")
    assert answer.headers["Content-Disposition"] == f'inline; filename="quote-{house.names["quote"]}.pdf"'
    assert PdfReader(BytesIO(answer.data)).metadata.title == f"Quote {house.names['quote']}"
