"""A lot settled twice, with a concession: both settlements on paper, and in records that are equal."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest

from settle.reckoning.record import faults_of

from .house import BY_DIFFERENCE, CLIENT, D, House, asked, open_shop, pages, stands_at

CONCESSION = {
    "replaces": "charge",
    "charge": "assay",
    "rate": "30.00",
    "reason": "an old client",
    "who": "the owner",
}


def conceded(house: House) -> str:
    """An accepted quote with a concession."""
    first = house.post("/v1/quotes", {**asked(), "client": "C-1"})
    at = f"/v1/quotes/{first.json['number']}"
    quote = house.post(f"{at}/concessions", CONCESSION, first.headers["ETag"])
    word = {"who": CLIENT, "how": "in_person", "hash": quote.json["hash"]}
    number: str = quote.json["number"]
    house.post(f"/v1/quotes/{number}/acceptance", word, quote.headers["ETag"])
    return number


def assayed(house: House, quote: str) -> str:
    lot: str = house.post("/v1/lots", {"quote": quote}).json["number"]
    house.post(f"/v1/lots/{lot}/melt", {"weight": D["melt_weight"], "scale": "counter"})
    found = {m: {"fineness": f, "u": "0.3"} for m, f in D["assay"].items()}
    house.post(f"/v1/lots/{lot}/assays", {"party": "house", "method": "fire_assay", "finenesses": found})
    return lot


def out_and_reconciled(house: House, batch: str, metal: str, assay: dict[str, str]) -> None:
    out = {"metal": metal, "weight": D[f"{metal}_out"]["weight"], "assay": assay}
    house.post(f"/v1/batches/{batch}/outturns", out)
    account = house.get(f"/v1/batches/{batch}/reconciliation")
    path = f"/v1/batches/{batch}/reconciliation"
    house.post(path, {"metals": [metal]}, account.headers["ETag"])


def settled(house: House, lot: str) -> str:
    draft = house.post("/v1/settlements", {"lot": lot})
    posted = house.post(f"/v1/settlements/{draft.json['id']}/posting", None, draft.headers["ETag"])
    number: str = posted.json["number"]
    return number


@pytest.fixture(scope="module")
def road(opened: Callable[[], House]) -> House:
    house = opened()
    open_shop(house)
    house.names["quote"] = conceded(house)
    lot = assayed(house, house.names["quote"])
    batch = house.post("/v1/batches", {"lots": [lot]}).json["number"]
    loan = {"weight": D["silver_lent"]["weight"], "scale": "counter"}
    house.post(f"/v1/batches/{batch}/silver-loans", loan)
    out_and_reconciled(house, batch, "gold", {"fineness": "999.97", "u": "0.02", **BY_DIFFERENCE})
    house.names["first"] = settled(house, lot)
    out_and_reconciled(house, batch, "silver", {"fineness": "998", "method": "fire_assay"})
    house.names["second"] = settled(house, lot)
    return house


def path_of(house: House, name: str) -> str:
    kind = "quotes" if name == "quote" else "settlements"
    return f"/v1/{kind}/{house.names[name]}"


@pytest.mark.parametrize("name", ["quote", "first", "second"])
def test_its_record_is_equal(road: House, name: str) -> None:
    answer = road.get(f"{path_of(road, name)}/record")
    assert (answer.status_code, faults_of(answer.data)) == (200, [])


@pytest.mark.parametrize("name", ["quote", "first", "second"])
def test_a_concession_is_on_the_paper(road: House, name: str) -> None:
    text = " ".join(pages(road.get(path_of(road, name), Accept="application/pdf").data))
    assert "30.00 in place of 38" in text
    assert "an old client" in text


def test_the_first_says_what_is_still_to_come(road: House) -> None:
    text = " ".join(pages(road.get(path_of(road, "first"), Accept="application/pdf").data))
    assert "Still to come, by a further settlement: silver" in text


def printed(money: Any) -> str:
    return f"{Decimal(money['amount']):,.2f}".replace("-", "−")


def test_the_second_is_of_the_difference_and_shows_the_whole_for_the_record(road: House) -> None:
    answer: Any = road.shown(path_of(road, "second"))
    text = " ".join(pages(road.get(path_of(road, "second"), Accept="application/pdf").data))
    assert f"Further settlement {road.names['second']}" in text
    assert f"Further to {road.names['first']}" in text
    due, record = text.split("For the record: the whole lot", 1)
    final, whole = answer["cases"]["final"], answer["whole"]
    assert printed(final["net"]) in due
    # All charges were charged with the gold.
    assert (final["charges"], final["taxes"]) == ([], [])
    assert "Nothing here is due again" in record
    assert all(printed(whole[name]) in record for name in ("charges_total", "tax_total", "net"))


def test_what_is_due_stands_in_the_upper_third_of_the_first_page(road: House) -> None:
    answer: Any = road.shown(path_of(road, "second"))
    made = road.get(path_of(road, "second"), Accept="application/pdf").data
    assert stands_at(made, "You get now") < 1 / 3
    # No money is due any more; the silver is.
    assert answer["net"]["amount"] == "0.00"
    silver = answer["cases"]["final"]["client_gets"]["metal_account"]["silver"]["g"]
    assert f"{silver} g silver on account" in pages(made)[0].split("Weights", 1)[0]


def test_over_both_papers_charges_and_taxes_add_up_to_the_whole(road: House) -> None:
    first, second = (road.shown(path_of(road, name)) for name in ("first", "second"))
    for total in ("charges_total", "tax_total"):
        added = sum(Decimal(of[total]["amount"]) for of in (first, second))
        assert added == Decimal(second["whole"][total]["amount"])
