"""H9: which lots share a batch, and what keeps them apart; each refusal names every reason."""

from typing import Any

import pytest
from works import YES, Works, accounted, mg, terms

WILLING = ("20", "400", "100")


def refused(works: Works, *lots: str) -> list[tuple[str, str]]:
    """Kind and place of each reason why these lots may not share a batch."""
    errors = works.refused.batch(*lots).body["errors"]
    return [(e["type"].rpartition("/")[2], e["pointer"]) for e in errors]


@pytest.mark.rule("H9")
def test_lots_whose_clients_agree_are_refined_together_and_each_gets_its_share(works: Works) -> None:
    one, two = works.lot("30", "500", "100"), works.lot("10", "500", "100")
    number = works.batch(one, two)["number"]
    assert works.lend(number, "40", fineness="1000")["lots"] == [one, two]
    works.take_out(number, "gold", "19.9", "1000")
    account = works.close(number)["metals"]["gold"]
    # 15 g and 5 g went in, 19.9 g came out.
    assert [mg(of) for of in account["credited"].values()] == [14_925, 4_975]
    shares = sum(mg(of) for of in account["credited"].values())
    assert shares + mg(account["house_share"]) == mg(account["out"])


@pytest.mark.rule("H9")
def test_without_the_clients_consent_a_lot_is_refined_alone(works: Works) -> None:
    one, two = works.lot(*WILLING), works.lot(*WILLING, consents=False)
    assert refused(works, one, two) == [("not-accepted", "/lots/1")]
    assert works.batch(two)["lots"] == [two]


@pytest.mark.rule("H9")
def test_a_client_may_agree_later_and_take_it_back_until_the_lot_is_in_a_batch(works: Works) -> None:
    one, two = works.lot(*WILLING), works.lot(*WILLING, consents=False)
    path = f"/v1/lots/{two}/instructions"
    works.post(path, {"consents_to_share": True})
    works.post(path, {"refine_alone": True})
    assert refused(works, one, two) == [("kept-apart", "/lots/1")]
    works.post(path, {"refine_alone": False})
    works.batch(one, two)
    assert works.refused.post(path, {"consents_to_share": False}).said == (409, "wrong-state", "")


@pytest.mark.rule("B6")
def test_platinum_metals_are_refined_apart_unless_an_owner_says_otherwise(
    works: Works, keys: dict[str, str]
) -> None:
    one, two = works.lot(*WILLING), works.lot(*WILLING)
    found = {"gold": "400", "silver": "100", "palladium": "12"}
    works.assay(two, found, corrects=works.entry(two, "assay"), reason="palladium was looked for")
    assert refused(works, one, two) == [("kept-apart", "/lots/1")]
    body = {"lots": [one, two], "override": {"reason": "12 ‰, and the client knows"}}
    assert works.with_key(keys["work"]).refused.post("/v1/batches", body).status == 403
    made = works.post("/v1/batches", body)
    said = [e["data"]["reason"] for e in made["entries"] if e["kind"] == "owners_word"]
    assert said == ["12 ‰, and the client knows"]


@pytest.mark.rule("B6")
def test_only_an_owner_allows_platinum_when_a_lot_is_taken_in(works: Works, keys: dict[str, str]) -> None:
    body = {"client": "C-1", "acceptance": YES, "items": [works.item("10")], "owner_allows_platinum": True}
    refusal = works.with_key(keys["quote"]).refused.receive(**body)
    assert (refusal.status, refusal.kind) == (403, "forbidden")
    assert works.receive(**body)["state"] == "received"


def test_a_lot_within_its_holding_period_is_not_even_melted(works: Works) -> None:
    works.terms(terms(name="waits", holding_period="P2D"))
    name = works.receive(client="C-1", acceptance=YES, terms="T-2", items=[works.item("10")])["number"]
    assert works.refused.melt(name, "10").kind == "holding-period"


@pytest.mark.rule("H9")
def test_a_frozen_lot_goes_into_no_batch(works: Works) -> None:
    one, two = works.lot(*WILLING), works.lot(*WILLING)
    works.freeze(two)
    assert refused(works, one, two) == [("frozen", "/lots/1")]
    assert refused(works, two) == [("frozen", "/lots/0")]
    works.release(two)
    works.batch(one, two)


DIFFERENT: list[tuple[dict[str, Any], list[str]]] = [
    ({"silver_rule": "pro_rata"}, ["silver_rule"]),
    ({"parting_target": "0.3"}, ["parting_target"]),
    ({"house_silver": {"fineness": "999"}}, ["house_silver fineness"]),
    ({"gold": {"recovery": "0.99"}}, ["recovery of gold"]),
    ({"gold": {"recovery_u": "0.001"}}, ["recovery_u of gold"]),
    ({"silver": {"settle_on": "assay"}}, ["settle_on of silver"]),
    ({"silver": {"balance": "0.01"}}, ["balance of silver"]),
]


@pytest.mark.rule("H9")
@pytest.mark.parametrize(("changes", "fields"), DIFFERENT)
def test_terms_that_differ_keep_lots_and_baths_apart(
    works: Works, changes: dict[str, Any], fields: list[str]
) -> None:
    works.terms(terms(name="other", **changes))
    lots = works.lot(*WILLING), works.lot(*WILLING, terms="T-2")
    told = works.refused.batch(*lots).body["errors"]
    assert [e["wrong"].partition(" is ")[0] for e in told] == fields
    batches = [works.batch(lot)["number"] for lot in lots]
    told = works.refused.bath(*batches).body["errors"]
    assert [(e["pointer"], e["wrong"].partition(" is ")[0]) for e in told] == [("/batches/1", fields[0])]


def test_what_a_batch_has_not_in_common_may_differ(works: Works) -> None:
    works.terms(terms(name="other", gold={"accountable": "0.95", "payout_rate": "0.9"}, charges=[]))
    assert works.batch(works.lot(*WILLING), works.lot(*WILLING, terms="T-2"))["terms"] == "T-1"


@pytest.mark.rule("H9")
def test_every_reason_of_every_lot_is_told_at_once(works: Works) -> None:
    works.terms(terms(name="other", silver_rule="pro_rata"))
    one, two = works.lot(*WILLING), works.lot(*WILLING, consents=False, refine_alone=True)
    three = works.lot(*WILLING, terms="T-2")
    four = works.receive(client="C-1", acceptance=YES, items=[works.item("10")], consents_to_share=True)
    works.freeze(two)
    assert refused(works, one, two, three, four["number"]) == [
        ("wrong-state", "/lots/3"),
        ("frozen", "/lots/1"),
        ("not-accepted", "/lots/1"),
        ("kept-apart", "/lots/1"),
        ("kept-apart", "/lots/2"),
    ]


def test_lots_that_nobody_knows_or_that_are_named_twice_are_refused(works: Works) -> None:
    one = works.lot(*WILLING)
    assert refused(works, one, "L-2026-0099", one) == [
        ("unknown-reference", "/lots/1"),
        ("contradiction", "/lots/2"),
    ]


def test_lots_are_added_until_something_came_out(works: Works) -> None:
    number = works.batch(works.lot(*WILLING))["number"]
    late = works.lot(*WILLING)
    assert len(works.post(f"/v1/batches/{number}/lots", {"lots": [works.lot(*WILLING)]})["lots"]) == 2
    works.take_out(number, "gold", "16", "1000")
    refusal = works.refused.post(f"/v1/batches/{number}/lots", {"lots": [late]})
    assert refusal.said == (409, "wrong-state", "")
    assert "came out" in refusal.body["detail"]


def test_no_lot_is_added_once_the_bath_is_in_a_recovery(works: Works) -> None:
    number = works.batch(works.lot(*WILLING))["number"]
    works.bath(number)
    refusal = works.refused.post(f"/v1/batches/{number}/lots", {"lots": [works.lot(*WILLING)]})
    assert refusal.said == (409, "wrong-state", "")


def test_an_added_lot_is_told_by_its_place_in_the_request_and_one_that_is_there_by_none(works: Works) -> None:
    alone = works.lot(*WILLING, consents=False)
    number = works.batch(alone)["number"]
    errors = works.refused.post(
        f"/v1/batches/{number}/lots", {"lots": [works.lot(*WILLING, refine_alone=True)]}
    ).body["errors"]
    told = {(e["pointer"], e["wrong"].partition(" ")[0]) for e in errors}
    assert {pointer for pointer, _ in told} == {"/lots", "/lots/0"}
    assert any(alone in e["wrong"] for e in errors if e["pointer"] == "/lots")


COUNTER = {
    "purchase_case": "likely",
    "name": "counter",
    "currency": "GBP",
    "division": {"amount": "0.01", "unit": "g"},
    "evidence": {"sure": {"method": "fire_assay"}},
    "metals": {"gold": {"settle_on": "counter", "accountable": "1", "payout_rate": "0.9"}},
    "price_max_age": "P60D",
}


@pytest.mark.rule("H9")
@pytest.mark.rule("H7")
def test_bought_and_stock_metal_joins_as_the_houses_own_and_what_comes_of_it_is_the_houses(
    works: Works,
) -> None:
    works.terms(COUNTER)
    bought = works.buy({"client": "C-1", "terms": "T-2", "items": [works.item("20")], "paid_in": "cash"})
    assert bought["cases"]["final"]["metals"]["gold"]["recovered"] == {"g": "10.000"}
    # Under terms of its own, refined with nobody's leave, and named first: it binds nobody.
    works.terms(terms(name="house", silver_rule="pro_rata"))
    of_bought = works.lot("20", "500", "50", consents=False, house="bought", terms="T-3")
    of_stock = works.lot("5", "400", "600", consents=False, house="stock", terms="T-3")
    mine = works.lot("30", "500", "100")
    # Of the silver in it nobody knew when it was bought: that it is the house's wants an owner's word.
    lots = [of_bought, of_stock, mine]
    assert works.refused.batch(*lots).said == (409, "not-in-stock", "")
    word = {"override": {"reason": "silver that the counter did not pay for"}}
    number = works.post("/v1/batches", {"lots": lots, **word})["number"]
    assert works.balance("house:difference of assay and weighing", "silver") == -1_000
    assert works.get(f"/v1/batches/{number}")["terms"] == "T-1"
    works.lend(number, "80", fineness="1000")
    # 10 + 2 + 15 g of gold went in; 1 + 3 + 3 g of silver and the loan.
    works.take_out(number, "gold", "26.9", "1000")
    works.take_out(number, "silver", "86", "1000")
    posted = works.close(number)["metals"]
    for account in posted.values():
        accounted(works, account)
    assert [mg(of) for of in posted["gold"]["credited"].values()] == [9_963, 1_993, 14_944]
    # Bought gold is used up; the house holds what came out, less what the client is owed.
    assert works.balance("house:bought", "gold") == 0
    assert works.balance("house:stock", "gold") == 5_000 - 2_000 + 26_900
    assert works.balance(f"client:C-1:lot:{mine}", "gold") == -14_944
    assert works.balance("house:difference of assay and weighing", "gold") == 27_000 - 15_000 - (
        26_900 - 14_944
    )
    assert works.refused.draft(of_bought).said == (409, "wrong-state", "/lot")
    works.settled(mine)
