"""A quote revised as the talk goes on, and one rate replaced for it (F5)."""

from typing import Any

import pytest
from desk import Desk, grams, pounds
from stages import BATCH, CLIENT, LOT, QUOTE, D, asked, terms

PAYOUT = {"replaces": "payout_rate", "metal": "gold", "rate": "0.99"}
REFINING = {"replaces": "charge", "charge": "refining", "rate": "0.40"}
ACCOUNTABLE = {"replaces": "accountable", "metal": "gold", "rate": "0.99"}


@pytest.fixture
def quoted(at: Any) -> Desk:
    return at("quoted")


def the(desk: Desk, number: str = QUOTE) -> Any:
    return desk.get(f"/v1/quotes/{number}")


# revisions


def test_a_revision_is_a_new_quote_that_names_the_old_one(quoted: Desk) -> None:
    old = the(quoted)
    items = asked()["items"][:2]
    new = quoted.revise(old, items=items)
    assert (new["number"], new["revises"], new["state"]) == ("Q-2026-0002", QUOTE, "issued")
    assert len(new["items"]) == 2
    assert new["client"] == CLIENT
    then = the(quoted)
    assert (then["state"], then["revised_by"], then["hash"]) == ("revised", "Q-2026-0002", old["hash"])


def test_what_a_revision_leaves_out_stays_but_the_prices_are_those_in_force(quoted: Desk) -> None:
    quoted.prices(gold="62.00")
    wishes = {"gold": {"remainder": "shot"}}
    new = quoted.revise(the(quoted), instructions=wishes)
    assert len(new["items"]) == len(asked()["items"])
    assert new["prices"]["gold"]["amount"] == "62.00"
    assert new["cases"]["likely"]["metals"]["gold"]["bars"] == []


def test_a_revision_at_given_prices_rests_on_those(quoted: Desk) -> None:
    new = quoted.revise(the(quoted), prices={"gold": pounds("60.00"), "silver": pounds("0.74")})
    assert new["prices"]["gold"]["amount"] == "60.00"


def test_an_expired_quote_can_be_revised_and_old_prices_can_not_serve(quoted: Desk, clock: Any) -> None:
    clock.move(days=2)
    assert quoted.refused.revise(the(quoted)).kind == "price-too-old"
    quoted.prices(gold="61.20", silver="0.74")
    assert quoted.revise(the(quoted))["state"] == "issued"


def test_what_was_revised_is_neither_accepted_nor_revised_nor_withdrawn(quoted: Desk) -> None:
    quoted.revise(the(quoted))
    then = the(quoted)
    for refused in (
        quoted.refused.accept(then), quoted.refused.revise(then), quoted.refused.withdraw(then),
        quoted.refused.concede(then, **PAYOUT),
    ):  # fmt: skip
        assert refused.said == (409, "wrong-state", "")
    assert [q["number"] for q in quoted.listed("/v1/quotes?state=revised")] == [QUOTE]


def test_a_revision_of_a_version_that_nobody_saw_is_refused(quoted: Desk) -> None:
    path = f"/v1/quotes/{QUOTE}/revisions"
    assert quoted.refused.sent("POST", path, {}, If_Match='"9"').status == 412
    assert quoted.refused.sent("POST", path, {}).status == 428


def test_the_faults_of_a_revision_are_all_told(quoted: Desk) -> None:
    items = [{**asked()["items"][0], "gross": grams("0")}]
    told = quoted.refused.revise(the(quoted), items=items, bogus=1)
    assert told.faults == {"/items/0/gross/amount": "weight-not-positive", "/bogus": "unknown-field"}


# concessions before the client's word


@pytest.mark.parametrize(
    ("made", "instead_of"), [(PAYOUT, "0.97"), (REFINING, "0.8"), (ACCOUNTABLE, "0.985")]
)
def test_a_concession_on_an_issued_quote_revises_it_by_one_that_has_it(
    quoted: Desk, made: Any, instead_of: str
) -> None:
    old = the(quoted)
    new = quoted.concede(old, **made)
    assert (new["revises"], new["valid_until"]) == (QUOTE, old["valid_until"])
    assert new["concessions"] == [{**made, "reason": "an old client", "instead_of": instead_of}]
    gained = _pence(new["net_range"]["likely"]) - _pence(old["net_range"]["likely"])
    assert gained > 0
    assert _pence(new["concessions_cost"]) == gained


def _pence(of: Any) -> int:
    return int(of["amount"].replace(".", ""))


def test_what_a_concession_costs_is_shown_to_those_who_may_see_it(quoted: Desk, keys: dict[str, str]) -> None:
    old, cashier = the(quoted), quoted.with_key(keys["settle"])
    new = cashier.concede(old, **PAYOUT)
    assert "concessions_cost" in new
    for scope, sees in (("owner", True), ("quote", False), ("read", False)):
        assert ("concessions_cost" in the(quoted.with_key(keys[scope]), new["number"])) == sees
    assert quoted.with_key(keys["quote"]).refused.concede(the(quoted), **PAYOUT).status == 403


def test_concessions_stay_with_a_revision_and_not_under_other_terms(quoted: Desk) -> None:
    one = quoted.concede(the(quoted), **PAYOUT)
    two = quoted.concede(one, **REFINING)
    assert [c["replaces"] for c in two["concessions"]] == ["payout_rate", "charge"]
    three = quoted.revise(two)
    assert [c["replaces"] for c in three["concessions"]] == ["payout_rate", "charge"]
    assert three["net_range"] == two["net_range"]
    quoted.terms(terms(name="other"))
    assert quoted.revise(three, terms="T-2")["concessions"] == []


def test_what_was_conceded_for_some_items_serves_others_by_who_may_concede(
    quoted: Desk, keys: dict[str, str]
) -> None:
    conceded = quoted.concede(the(quoted), **PAYOUT)
    clerk, more = quoted.with_key(keys["quote"]), asked()["items"] * 2
    # Not shown what it costs: another ETag.
    new = clerk.get(f"/v1/quotes/{conceded['number']}")
    said = clerk.refused.revise(new, items=more)
    assert (said.status, said.faults) == (403, {"/items": "forbidden"})
    wishes = {"gold": {"remainder": "shot"}}
    again = clerk.revise(new, instructions=wishes)
    assert len(again["concessions"]) == 1
    quoted.revise(quoted.get(f"/v1/quotes/{again['number']}"), items=more)


def test_a_waived_minimum_is_conceded_with_the_charge(quoted: Desk) -> None:
    new = quoted.concede(the(quoted), replaces="charge", charge="treatment", rate="0", minimum="0")
    assert "treatment" not in [c["name"] for c in new["cases"]["likely"]["charges"]]


@pytest.mark.parametrize(
    ("made", "faults"),
    [
        ({**PAYOUT, "rate": "0.5"}, {"/rate": "contradiction"}),
        ({**PAYOUT, "rate": "1.5"}, {"/rate": "out-of-range"}),
        ({**PAYOUT, "metal": "platinum"}, {"/metal": "unknown-metal"}),
        ({**PAYOUT, "minimum": "1"}, {"/minimum": "contradiction"}),
        ({**REFINING, "charge": "nothing"}, {"/charge": "unknown-reference"}),
        ({**REFINING, "metal": "gold"}, {"/metal": "contradiction"}),
        ({**REFINING, "replaces": "tax"}, {"/replaces": "not-one-of"}),
        ({**PAYOUT, "reason": ""}, {"/reason": "bad-text"}),
        ({**PAYOUT, "who": " "}, {"/who": "bad-text"}),
    ],
)
def test_what_is_no_concession_is_refused(quoted: Desk, made: Any, faults: dict[str, str]) -> None:
    assert quoted.refused.concede(the(quoted), **made).faults.items() >= faults.items()


def test_the_name_of_who_granted_it_is_not_in_the_document(quoted: Desk) -> None:
    new = quoted.concede(the(quoted), **PAYOUT)
    assert "Olive" not in str(new)


# concessions after it


def test_a_concession_after_the_acceptance_is_kept_beside_what_was_agreed(at: Any) -> None:
    desk = at("accepted")
    old = the(desk)
    new = desk.concede(old, **PAYOUT)
    assert (new["number"], new["hash"], new["concessions"]) == (QUOTE, old["hash"], [])
    assert [c["rate"] for c in new["conceded_since"]] == ["0.99"]
    assert _pence(new["concessions_cost"]) > 0
    assert new.etag != old.etag


def settle(desk: Desk) -> Any:
    desk.reconcile(BATCH)
    desk.prices(**{m: p["amount"] for m, p in D["prices"].items()})
    return desk.settle(desk.draft(LOT)["id"])


def steps(posted: Any) -> dict[str, str]:
    return {s["step"]: s["difference"]["amount"] for s in posted["comparison"]["steps"]}


def test_it_belongs_to_the_step_instructions_of_the_comparison(at: Any) -> None:
    plain = steps(settle(at("poured")))
    desk = at("poured")
    desk.concede(the(desk), **PAYOUT)
    posted = settle(desk)
    # 16.846 g × 61.20 × 0.02 more at the quote's price; what the price moved counts at 0.99.
    changed = {step for step, difference in steps(posted).items() if difference != plain[step]}
    assert changed == {"instructions", "price"}
    assert posted["concessions"][0]["rate"] == "0.99"
    sentence = next(s["sentence"] for s in posted["comparison"]["steps"] if s["step"] == "instructions")
    assert "concession" in sentence


def test_a_concession_of_the_accepted_quote_is_in_no_step(at: Any) -> None:
    desk = at("quoted")
    new = desk.concede(the(desk), **PAYOUT)
    desk.accept(new)
    lot = desk.receive(quote=new["number"])["number"]
    desk.melt(lot, D["melt_weight"]["amount"], scale="counter")
    desk.assay(lot, D["assay"])
    batch = desk.batch(lot)["number"]
    desk.lend(batch, D["silver_lent"]["weight"]["amount"], scale="counter")
    desk.take_out(batch, "gold", "57.71", "999.97", "0.02")
    desk.take_out(batch, "silver", "125.43", "998")
    desk.reconcile(batch)
    posted = desk.settle(desk.draft(lot)["id"])
    assert posted["concessions"][0]["instead_of"] == "0.97"
    sentences = " ".join(s["sentence"] for s in posted["comparison"]["steps"])
    assert "concession" not in sentences


def test_after_the_settlement_nothing_is_conceded(settled: Desk) -> None:
    assert settled.refused.concede(the(settled), **PAYOUT).said == (409, "wrong-state", "")


def test_a_draft_that_does_not_have_the_concession_is_not_posted(at: Any) -> None:
    desk = at("drafted")
    desk.concede(the(desk), **PAYOUT)
    refused = desk.refused.settle("SD-1")
    assert (refused.kind, "concessions" in refused.body["detail"]) == ("changed-since-seen", True)


def test_a_withdrawn_or_expired_quote_is_not_conceded_on(quoted: Desk, clock: Any) -> None:
    clock.move(days=2)
    assert quoted.refused.concede(the(quoted), **PAYOUT).said == (409, "quote-expired", "")


@pytest.mark.parametrize(
    "worse",
    [
        {"replaces": "payout_rate", "metal": "silver", "rate": "0.1"},
        {"replaces": "accountable", "metal": "silver", "rate": "0.1"},
        {"replaces": "charge", "charge": "bar casting", "rate": "300"},
    ],
)
def test_no_rate_is_conceded_that_could_cost_the_client_later(quoted: Desk, worse: Any) -> None:
    """Nothing of it is in this quote: no bars, and silver goes back. Later wishes may be others."""
    wishes = {"gold": {"remainder": "pay_out"}, "silver": {"remainder": "shot"}}
    quote = quoted.accept(quoted.revise(the(quoted), instructions=wishes))
    assert quoted.refused.concede(quote, **worse).faults == {"/rate": "contradiction"}
