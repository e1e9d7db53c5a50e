"""What the client gets stands in the upper third of the first page: metal and money, never one alone."""

import pytest

from .house import House, Json, long, pages, pdf, stands_at

TITLES = {"quote": "What you would get", "settlement": "You get", "purchase": "You get"}


@pytest.mark.parametrize("kind", TITLES)
@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_it_stands_in_the_upper_third_of_the_first_page(
    documents: dict[str, Json], kind: str, paper: str
) -> None:
    assert stands_at(pdf(kind, documents[kind], paper=paper), TITLES[kind]) < 1 / 3


def test_a_quote_says_metal_and_money_in_three_cases_and_what_all_of_it_is_worth(
    documents: dict[str, Json],
) -> None:
    text = pages(pdf("quote", documents["quote"]))[0].split("How it comes about", 1)[0]
    assert text.count("2 bars of 20 g, gold 999.9 ‰") == 3
    assert "5.560 g silver on account" in text
    for case in documents["quote"]["cases"].values():
        assert f"£{case['client_gets']['money']['amount']}" in text
    worth = documents["quote"]["worth_range"]
    assert all(f"worth of it all £{float(of['amount']):,.2f}" in text for of in worth.values())


@pytest.mark.parametrize("locale", ["en_GB", "de_DE"])
def test_on_a_narrow_roll_and_in_german_it_says_the_same(documents: dict[str, Json], locale: str) -> None:
    text = " ".join(pages(pdf("quote", documents["quote"], locale, "receipt")))
    said = "2 Barren zu 20 g, Gold 999,9 ‰" if locale == "de_DE" else "2 bars of 20 g, gold 999.9 ‰"
    assert text.count(said) == 3


def quoted(house: House, *items: Json) -> tuple[Json, str]:
    made = house.post("/v1/quotes", {"client": "C-1", "items": list(items)}).json
    answer = house.get(f"/v1/quotes/{made['number']}", Accept="application/pdf", Accept_Language="en-GB")
    return made, " ".join(pages(answer.data))


def test_what_can_not_be_valued_is_said_and_no_sum_is_shown_as_what_the_client_gets(house: House) -> None:
    sweeps = {"description": "sweeps", "evidence": "unread", "gross": {"amount": "850", "unit": "g"}}
    made, text = quoted(house, sweeps)
    assert (made["net_range"], made["worth_range"], made["worth_refining"]) == (None, None, None)
    assert "Nothing here can be valued before it is melted and assayed" in text
    assert "What you would get" not in text
    assert "Net" not in text.split("In money, GBP", 1)[1].split("What was brought", 1)[0]
    assert made["cases"]["likely"]["charges_total"]["amount"] in text


def test_what_is_not_worth_refining_is_said_in_words_first(house: House) -> None:
    ring = {"karat": "9", "evidence": "hallmark", "gross": {"amount": "1.2", "unit": "g"}}
    made, text = quoted(house, ring)
    assert made["worth_refining"] is False
    assert made["notices"][0]["code"] == "charges-above-value"
    before = text.split("What you would get", 1)[0]
    assert "take up all that the metal is worth" in before


def test_many_items_don_t_push_it_off_the_first_page(documents: dict[str, Json]) -> None:
    assert stands_at(pdf("quote", long(documents["quote"], 60)), TITLES["quote"]) < 1 / 3
