"""What the state of things refuses: 409, with what would be possible; and nothing is kept."""

from typing import Any

import pytest
from stages import BARS, BATCH, CLIENT, DRAFT, LOT, QUOTE, SETTLEMENT, D, asked, gold_only, scrap
from till import Till, grams

YES = {"who": "Ann Other", "how": "in_person"}


def the_quote(till: Till, number: str = QUOTE) -> Any:
    return till.get(f"/v1/quotes/{number}")


# lots


@pytest.mark.parametrize(
    ("stage", "kind"), [("quoted", "not-accepted"), ("received", "wrong-state"), ("settled", "wrong-state")]
)
def test_a_quote_becomes_one_lot_and_only_once_it_is_accepted(standing: Any, stage: str, kind: str) -> None:
    assert standing(stage).refused.receive(quote=QUOTE).said == (409, kind, "/quote")


def test_a_withdrawn_quote_becomes_no_lot(at: Any) -> None:
    till = at("quoted")
    till.withdraw(the_quote(till))
    assert till.refused.receive(quote=QUOTE).said == (409, "not-accepted", "/quote")


def test_nothing_is_melted_before_the_clients_positive_word(at: Any) -> None:
    till = at("opened")
    till.receive(client=CLIENT, items=asked()["items"])
    assert till.refused.melt(LOT, "118").said == (409, "not-accepted", "")
    till.post(f"/v1/lots/{LOT}/instructions", {"acceptance": YES})
    assert till.melt(LOT, "118")["state"] == "melted"


def test_nothing_is_melted_before_the_holding_period_is_over(shop: Till, clock: Any) -> None:
    shop.terms(gold_only(holding_period="P7D"))
    shop.receive(client=CLIENT, terms="T-2", items=[scrap()], acceptance=YES)
    clock.move(days=7, seconds=-1)
    refusal = shop.refused.melt(LOT, "99")
    assert refusal.said == (409, "holding-period", "")
    assert "2026-03-09T09:30:00.000Z" in refusal.body["detail"]
    clock.move(seconds=1)
    assert shop.melt(LOT, "99")["state"] == "melted"


def test_wishes_are_not_changed_once_the_metal_is_poured(at: Any) -> None:
    till = at("poured")
    refusal = till.refused.instruct(LOT, gold={"remainder": "shot"})
    assert refusal.said == (409, "wrong-state", "/instructions/gold")
    assert BARS[0] in refusal.body["detail"]
    assert till.instruct(LOT, silver={"remainder": "shot"}).status == 201


def test_wishes_are_not_changed_once_the_lot_is_settled(standing: Any) -> None:
    assert standing("settled").refused.instruct(LOT, silver={"remainder": "shot"}).kind == "wrong-state"


# the bench and the accounts: stage, what is done, with what: status, type, pointer

FIRST_BAR, LENT, OUT = {"reading": "20.03"}, {"weight": "1"}, ("gold", "1", "999.97", "0.02")
REFUSED = [
    ("melted", "melt", (LOT, "118.40"), 409, "wrong-state", ""),
    ("settled", "melt", (LOT, "118.40"), 409, "wrong-state", ""),
    ("received", "assay", (LOT, D["assay"]), 409, "wrong-state", ""),
    ("assayed", "assay", (LOT, D["assay"]), 409, "wrong-state", ""),
    ("received", "batch", (LOT,), 409, "wrong-state", "/lots/0"),
    ("melted", "batch", (LOT,), 409, "wrong-state", "/lots/0"),
    ("in batch", "batch", (LOT,), 409, "wrong-state", "/lots/0"),
    ("settled", "batch", (LOT,), 409, "wrong-state", "/lots/0"),
    ("in batch", "lend", (BATCH, "500.01"), 409, "not-in-stock", "/weight"),
    ("lent", "lend", (BATCH, "385.11"), 409, "not-in-stock", "/weight"),  # 500 − 114.90 = 385.10
    ("reconciled", "lend", (BATCH, "1"), 409, "something-rests-on-it", ""),
    ("reconciled", "take_out", (BATCH, *OUT), 409, "something-rests-on-it", ""),
    ("assayed", "pour", (LOT, "20.03"), 409, "wrong-state", "/lot"),
    ("lent", "pour", (LOT, "20.03"), 409, "wrong-state", "/metal"),
    ("poured", "pour", (LOT, "20.03"), 422, "invalid-body", "/line"),  # the lot covers two of 20 g
    ("settled", "pour", (LOT, "20.03"), 409, "something-rests-on-it", ""),
    ("in batch", "reconcile", (BATCH,), 409, "wrong-state", ""),
    ("reconciled", "reconcile", (BATCH,), 409, "wrong-state", ""),
    ("received", "draft", (LOT,), 409, "metal-not-closed", "/lot"),
    ("melted", "draft", (LOT,), 409, "metal-not-closed", "/lot"),
    ("assayed", "draft", (LOT,), 409, "metal-not-closed", "/lot"),
    ("poured", "draft", (LOT,), 409, "metal-not-closed", "/lot"),
    ("settled", "draft", (LOT,), 409, "wrong-state", "/lot"),
    ("settled", "settle", (SETTLEMENT,), 409, "wrong-state", ""),
    ("settled", "settle", (DRAFT,), 409, "wrong-state", ""),
]


@pytest.mark.parametrize(
    ("stage", "verb", "given", "status", "kind", "pointer"),
    [pytest.param(*case, id=f"{case[1]} when {case[0]}") for case in REFUSED],
)
def test_what_this_state_does_not_allow_is_refused(
    standing: Any, stage: str, verb: str, given: tuple[Any, ...], status: int, kind: str, pointer: str
) -> None:
    refusal = getattr(standing(stage).refused, verb)(*given)
    assert refusal.said == (status, kind, pointer)
    assert "; " in refusal.body["detail"], "it says what would be right"


def test_the_whole_stock_can_be_lent_and_no_milligram_more(at: Any) -> None:
    till = at("in batch")
    till.lend(BATCH, "500")
    assert till.balance("house:stock", "silver") == 0
    assert till.refused.lend(BATCH, "0.002").kind == "not-in-stock"


def test_gold_in_the_house_silver_is_lent_from_a_stock_that_has_it(at: Any) -> None:
    till = at("in batch")
    # 100 g at 10 ‰ gold is 1 g of gold, and the house has none.
    assert till.refused.lend(BATCH, "100", fineness="985", gold="10").kind == "not-in-stock"
    till.stock("gold", "1", "1000")
    till.lend(BATCH, "100", fineness="985", gold="10")
    assert till.balance("house:stock", "gold") == 0


def test_silver_that_the_house_keeps_for_a_client_is_not_lent(at: Any) -> None:
    till = at("opened")
    rule = {"settle_on": "assay", "accountable": "1", "payout_rate": "1"}
    till.terms(gold_only(metals={"gold": rule, "silver": rule}))
    item = {"evidence": "sure", "composition": {"gold": "200", "silver": "600"}, "gross": grams("100")}
    for _ in range(2):
        wishes = {"silver": {"remainder": "metal_account"}}
        lot = till.receive(client=CLIENT, terms="T-2", items=[item], instructions=wishes, acceptance=YES)
        till.melt(lot["number"], "100")
        till.assay(lot["number"], {"gold": "200", "silver": "600"})
        till.batch(lot["number"])
    till.take_out(BATCH, "silver", "60", "1000")
    till.reconcile(BATCH, metals=["silver"])
    till.settle(till.draft(LOT)["id"])
    # 559.5 g in hand, of which 60 g are the client's.
    assert till.balance("client:C-1:metal", "silver") == -60_000
    second = "B-2026-0002"
    assert till.refused.lend(second, "500.001", fineness="1000").kind == "not-in-stock"
    assert till.lend(second, "499.5", fineness="1000").status == 201


def test_a_line_that_is_filled_takes_no_other_bar(at: Any) -> None:
    till = at("out")
    line = {"nominal": grams("10"), "fineness": "999.9"}
    till.instruct(LOT, gold={"bars": [{**line, "count": 2}, {"fineness": "999.9", "count": "whole"}]})
    for _ in range(2):
        till.pour(LOT, "10.02", line=0)
    assert till.refused.pour(LOT, "10.02", line=0).said == (409, "wrong-state", "/line")
    till.pour(LOT, "36.80", line=1)
    assert till.refused.pour(LOT, "0.05", line=1).said == (409, "wrong-state", "/line")


def test_no_more_metal_is_poured_than_came_out(at: Any) -> None:
    till = at("out")
    till.instruct(LOT, gold={"bars": [{"fineness": "999.9", "count": "whole"}]})
    # All that came out is more than the client's: that takes an owner's word.
    word = {"override": {"reason": "the house's part is a present"}}
    assert till.refused.pour(LOT, "57.71").said == (422, "invalid-body", "/line")
    assert till.refused.pour(LOT, "57.72", **word).said == (409, "not-in-stock", "/reading")
    assert till.pour(LOT, "57.71", **word)["stated_weight"] == {"g": "57.700"}  # 57.705 down to 0.01


def test_silver_may_come_out_after_the_gold_is_closed(at: Any) -> None:
    till = at("lent")
    till.take_out(BATCH, "gold", "57.71", "999.97", "0.02")
    till.reconcile(BATCH, metals=["gold"])
    assert till.refused.take_out(BATCH, *OUT).kind == "something-rests-on-it"
    till.take_out(BATCH, "silver", "125.43", "998")
    assert till.reconcile(BATCH)["metals"]["silver"]["credited"][LOT]["g"] == D["R"]["silver"]


def test_gold_is_settled_before_the_silver_is_closed_and_the_silver_further_on(at: Any) -> None:
    till = at("poured")
    till.reconcile(BATCH, metals=["gold"])
    till.prices(gold="62.05", silver="0.75")
    first = till.settle(till.draft(LOT)["id"])
    assert list(first["cases"]["final"]["metals"]) == ["gold"]
    assert first["still_to_come"] == ["silver"]
    till.reconcile(BATCH)
    further = till.settle(till.draft(LOT)["id"])
    # The whole is of all metals settled so far; what is posted is the difference.
    assert further["whole"]["net"]["amount"] == D["answer"]["net"]
    assert (first["net"]["amount"], further["net"]["amount"]) == ("804.70", "6.34")
    assert till.balance(f"client:{CLIENT}:money", "GBP") == -81_104
    assert till.balance(f"client:{CLIENT}:bars", "gold") == -39_996
    assert till.balance(f"client:{CLIENT}:lot:{LOT}", "gold") == 0
    assert till.balance(f"client:{CLIENT}:lot:{LOT}", "silver") == 0


def test_metal_of_a_lot_that_was_settled_on_its_assay_is_the_houses(at: Any) -> None:
    till = at("opened")
    till.terms(gold_only())
    till.receive(client=CLIENT, terms="T-2", items=[scrap()], acceptance=YES)
    till.melt(LOT, "99")
    till.assay(LOT, {"gold": "505"})
    till.settle(till.draft(LOT)["id"])
    assert till.refused.batch(LOT).said == (409, "wrong-state", "/lots/0")


@pytest.mark.parametrize(
    ("body", "status"),
    [({"metals": []}, 422), ({"metals": ["copper"]}, 422), ({"metals": ["platinum"]}, 409)],
)
def test_only_metals_that_are_named_and_came_out_are_closed(
    standing: Any, body: dict[str, Any], status: int
) -> None:
    assert standing("poured").refused.reconcile(BATCH, **body).status == status


# an owner's word


@pytest.fixture
def far_off(at: Any) -> Till:
    """7 g less silver came out than was expected."""
    till = at("lent")
    till.take_out(BATCH, "gold", "57.71", "999.97", "0.02")
    till.take_out(BATCH, "silver", "118.43", "998")
    return till


def test_what_cannot_be_explained_wants_an_owners_word(far_off: Till) -> None:
    assert far_off.get(f"/v1/batches/{BATCH}/reconciliation")["metals"]["silver"]["verdict"] == "query"
    refusal = far_off.refused.reconcile(BATCH)
    assert (refusal.status, refusal.kind) == (409, "beyond-balance")
    assert "an owner's word" in refusal.body["detail"]
    posted = far_off.reconcile(BATCH, override={"reason": "a spill, swept up and weighed"})["metals"]
    assert posted["silver"]["owners_word"] == "a spill, swept up and weighed"
    assert posted["gold"]["owners_word"] is None
    assert far_off.balance(f"client:{CLIENT}:lot:{LOT}", "silver") == -int(
        posted["silver"]["credited"][LOT]["g"].replace(".", "")
    )


def test_a_gain_is_queried_as_severely_as_a_loss(at: Any) -> None:
    till = at("lent")
    till.take_out(BATCH, "gold", "57.71", "999.97", "0.02")
    till.take_out(BATCH, "silver", "133.43", "998")
    assert till.refused.reconcile(BATCH).kind == "beyond-balance"


def test_a_key_without_the_scope_owner_has_no_owners_word(far_off: Till, keys: dict[str, str]) -> None:
    clerk = far_off.with_key(keys["settle"])
    refusal = clerk.refused.reconcile(BATCH, override={"reason": "it will do"})
    assert refusal.said == (403, "forbidden", "/override")
    assert clerk.refused.reconcile(BATCH).kind == "beyond-balance"
    assert clerk.reconcile(BATCH, metals=["gold"])["metals"]["gold"]["state"] == "posted"


@pytest.mark.parametrize("override", [{}, {"reason": ""}])
def test_an_owners_word_gives_its_reason(far_off: Till, override: dict[str, str]) -> None:
    assert list(far_off.refused.reconcile(BATCH, override=override).faults) == ["/override/reason"]


# a draft that was overtaken


@pytest.mark.parametrize(
    ("what", "changed"),
    [
        (lambda t: t.pour(LOT, "10.02", line=1), "bars"),
        (lambda t: t.prices(gold="62.06"), "prices"),
        (lambda t: t.instruct(LOT, silver={"remainder": "shot"}), "instructions"),
    ],
    ids=["a bar added", "a price entered", "other wishes"],
)
def test_a_draft_is_not_posted_once_what_it_rests_on_has_changed(at: Any, what: Any, changed: str) -> None:
    till = at("out")
    line = {"nominal": grams("20"), "fineness": "999.9", "count": 2}
    till.instruct(LOT, gold={"bars": [line, {**line, "nominal": grams("10")}]})
    till.pour(LOT, "20.03", line=0)
    till.reconcile(BATCH)
    till.prices(gold="62.05", silver="0.75")
    draft = till.draft(LOT)
    what(till)
    refusal = till.refused.settle(draft["id"])
    assert (refusal.status, refusal.kind) == (412, "changed-since-seen")
    assert changed in refusal.body["detail"]
    assert till.settle(till.draft(LOT)["id"])["number"] == SETTLEMENT


def test_a_draft_at_a_price_that_has_grown_old_is_not_posted(at: Any, clock: Any) -> None:
    till = at("drafted")
    clock.move(hours=1, seconds=1)
    assert till.refused.settle(DRAFT).kind == "price-too-old"


def test_of_two_drafts_one_is_posted(at: Any) -> None:
    till = at("drafted")
    second = till.draft(LOT)["id"]
    till.settle(second)
    refusal = till.refused.settle(DRAFT)
    assert (refusal.status, refusal.kind) == (409, "wrong-state")
    assert till.get(f"/v1/lots/{LOT}")["settlement"] == SETTLEMENT


def test_a_refused_posting_draws_no_number(at: Any) -> None:
    till = at("drafted")
    till.prices(gold="62.06")
    till.refused.settle(DRAFT)
    assert till.settle(till.draft(LOT)["id"])["number"] == SETTLEMENT


@pytest.mark.parametrize(
    "path",
    [
        *("/v1/quotes/Q-2026-0009", "/v1/lots/L-2026-0009", "/v1/batches/B-2026-0009", "/v1/bars/BAR-9"),
        *("/v1/clients/C-9", "/v1/terms/T-9", "/v1/purchases/P-2026-0009", "/v1/settlements/S-2026-0009"),
        *("/v1/bar-sales/I-2026-0009", "/v1/bar-sales/E-1"),
        *("/v1/batches/B-2026-0009/reconciliation", "/v1/settlements/SD-9/comparison", "/v1/quotes/%00"),
    ],
)
def test_what_is_not_in_the_books_is_404(standing: Any, path: str) -> None:
    assert standing("settled").refused.get(path).said == (404, "not-found", "")
