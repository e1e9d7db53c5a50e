"""What a key of the bench or the counter must not do to metal and money that others rest on."""

import pytest
from till import BY_DIFFERENCE
from works import Works, grams, terms

BAR = {"nominal": grams("20"), "fineness": "999", "count": 1}
WISHES = {"gold": {"bars": [BAR], "remainder": "pay_out"}, "silver": {"remainder": "pay_out"}}


@pytest.fixture
def batch(works: Works) -> str:
    """A lot of 40 g gold and 10 g silver in a batch, gold out."""
    number: str = works.batch(works.lot("100", "400", "100", instructions=WISHES))["number"]
    return number


def test_a_loan_that_a_posted_account_rests_on_is_not_corrected_to_another_metal(
    works: Works, batch: str
) -> None:
    loan = works.lend(batch, "100", fineness="1000")
    works.take_out(batch, "gold", "40", "1000")
    works.take_out(batch, "silver", "108", "1000")
    works.close(batch)
    refused = works.refused.lend(batch, "0.01", fineness="0", gold="0", corrects=loan["entry"], reason="typo")
    assert refused.kind == "something-rests-on-it"


def test_held_metal_is_not_corrected_into_another_metal(works: Works, batch: str) -> None:
    held = works.hold(batch, "gold", "3")
    told = {"metal": "silver", "estimate": grams("3"), "where": "filter"}
    corrected = {**told, "corrects": held["entry"], "reason": "typo"}
    refused = works.refused.post(f"/v1/batches/{batch}/held", corrected)
    assert refused.faults == {"/metal": "contradiction"}


def test_a_pour_names_a_bar_once(works: Works, batch: str) -> None:
    works.take_out(batch, "gold", "40", "1000")
    bar = works.pour(works.get(f"/v1/batches/{batch}")["lots"][0], "20.01")
    taken = {"weight": grams("40.03"), "assay": {"fineness": "1000"}}
    body = {"metal": "gold", "taken": taken, "bars": [bar["serial"]] * 2}
    assert works.refused.post(f"/v1/batches/{batch}/pours", body).faults == {"/bars/1": "wrong-state"}


def test_what_left_the_stock_since_cannot_never_have_come_out(works: Works, batch: str) -> None:
    out = works.take_out(batch, "gold", "40", "1000")
    poured = {"kind": "poured", "metal": "gold", "nominal": grams("10"), "fineness": "999.9"}
    for _ in range(4):
        assay = {"fineness": "999.97", "u": "0.02", **BY_DIFFERENCE}
        works.post("/v1/stock/bars", {**poured, "reading": grams("10.01"), "assay": assay})
    refused = works.refused.take_out(batch, "gold", "1", "1000", corrects=out["entry"], reason="x")
    assert refused.faults == {"/weight": "something-rests-on-it"}


def test_an_assay_is_not_corrected_by_another_party(works: Works) -> None:
    works.terms(
        terms(name="exchange", gold={"splitting_limit": "3"}, umpire_fee="30.00", umpire_rule="final")
    )
    lot = works.lot("40", "400", "100", terms="T-2")
    works.assay(lot, {"gold": "410"}, party="client")
    clients = works.entry(lot, "assay")
    refused = works.refused.assay(lot, {"gold": "400", "silver": "100"}, corrects=clients, reason="x")
    assert refused.faults == {"/party": "contradiction"}
    assert works.get(f"/v1/lots/{lot}")["assays"]["gold"]["state"] == "an umpire is needed"


def test_the_bench_does_not_spend_the_houses_money(works: Works, keys: dict[str, str]) -> None:
    refused = works.with_key(keys["work"]).refused.buy_bar()
    assert (refused.status, refused.faults) == (403, {"/kind": "forbidden"})


def test_a_quote_at_a_price_of_its_own_wants_more_than_the_counters_key(
    works: Works, keys: dict[str, str]
) -> None:
    price = {"amount": "600.00", "currency": "GBP", "per": "g"}
    body = {"client": "C-1", "items": [works.item("100")], "prices": {"gold": price, "silver": price}}
    refused = works.with_key(keys["quote"]).refused.post("/v1/quotes", body)
    assert (refused.status, refused.faults) == (403, {"/prices": "forbidden"})
    assert works.post("/v1/quotes", body)["prices"]["gold"]["amount"] == "600.00"
