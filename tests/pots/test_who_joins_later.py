"""A batch that another lot joins: what was entered before stays what it was, and all of it can come out.

`check` is asked after each test: what it reckons anew is what was posted.
"""

import pytest
from desk import money
from works import Works, mg, terms

HOUSE_SILVER = {"fineness": "990", "gold": "1"}
# The house's own terms, with another metal, or other house silver.
OWN = {"house_silver": HOUSE_SILVER}
PLATINUM = {
    "settle_on": "outturn",
    "recovery": "0.99",
    "recovery_u": "0.01",
    "accountable": "1",
    "payout_rate": "1",
}


@pytest.mark.rule("H1")
def test_a_loan_stays_what_it_was_when_a_clients_lot_brings_other_terms(works: Works) -> None:
    own = works.terms(terms(**OWN))["number"]
    gold = {"metal": "gold", "weight": {"amount": "1", "unit": "g"}, "fineness": "1000"}
    works.post("/v1/stock", {"kind": "bought", "metals": [gold], "cost": money("60.00")})
    house = works.lot("10", "500", "100", house="stock", terms=own)
    batch = works.batch(house)["number"]
    lent = works.lend(batch, "50")["lent"]
    assert {metal: mg(of) for metal, of in lent.items()} == {"silver": 49_500, "gold": 50}
    works.post(f"/v1/batches/{batch}/lots", {"lots": [works.lot("100", "500", "100")]})
    assert works.get(f"/v1/batches/{batch}")["lent"] == lent
    works.take_out(batch, "gold", "55", "1000")
    works.take_out(batch, "silver", "59", "1000")
    works.close(batch, override={"reason": "as weighed"})
    assert works.balance(f"house:lent:{batch}", "silver") == works.balance(f"house:lent:{batch}", "gold") == 0


@pytest.mark.rule("J2")
def test_no_lot_joins_what_an_account_was_posted_of(works: Works) -> None:
    batch = works.batch(works.lot("100", "500", "100"))["number"]
    works.lend(batch, "150", fineness="1000")
    for metal, weight in (("gold", "50"), ("silver", "159")):
        works.take_out(batch, metal, weight, "1000")
    works.close(batch, override={"reason": "as weighed"})
    works.reverse(f"batches/{batch}/reconciliation")
    for entry in works.get(f"/v1/batches/{batch}")["entries"]:
        if entry["kind"] == "outturn":
            of = {"corrects": entry["id"], "reason": "another batch's"}
            works.take_out(batch, entry["data"]["metal"], "0", "1000", **of)
    late = works.lot("50", "500", "100")
    told = works.refused.post(f"/v1/batches/{batch}/lots", {"lots": [late]})
    assert told.said == (409, "wrong-state", "")


@pytest.mark.rule("H9")
def test_a_metal_that_the_terms_dont_account_for_stays_out_of_the_batch(works: Works) -> None:
    more = terms()
    more["metals"]["platinum"] = PLATINUM
    own = works.terms(more)["number"]
    works.stock("platinum", "50", "1000")
    house = works.lot("10", "500", "100", house="stock", terms=own, owner_allows_platinum=True)
    entry = works.entry(house, "assay")
    found = {"gold": "500", "platinum": "100"}
    works.assay(house, found, corrects=entry, reason="platinum was found")
    word = {"override": {"reason": "the owner allows it"}}
    both = {"lots": [house, works.lot("50", "500", "100")], **word}
    assert works.refused.post("/v1/batches", both).faults["/lots/0"] == "kept-apart"
    alone = works.post("/v1/batches", {"lots": [house], **word})["number"]
    late = {"lots": both["lots"][1:], **word}
    assert works.refused.post(f"/v1/batches/{alone}/lots", late).faults["/lots"] == "kept-apart"


@pytest.mark.rule("H6")
def test_only_what_the_account_is_of_is_held(works: Works) -> None:
    batch = works.batch(works.lot("100", "500", "100"))["number"]
    held = {"metal": "platinum", "estimate": {"amount": "1", "unit": "g"}, "where": "the filters"}
    assert works.refused.post(f"/v1/batches/{batch}/held", held).faults == {"/metal": "unknown-metal"}
    works.lend(batch, "150", fineness="1000")
    works.take_out(batch, "gold", "50", "1000")
    bath = works.bath(batch)["number"]
    held["metal"] = "gold"
    told = works.refused.post(f"/v1/silver-recoveries/{bath}/held", held)
    assert told.faults == {"/metal": "contradiction"}
