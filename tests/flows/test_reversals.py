"""What is posted, reversed by a new entry that names it; what rests on it goes first."""

from typing import Any

import pytest
from desk import Desk, money
from stages import BARS, BATCH, CLIENT, LOT, SETTLEMENT, D, gold_only, scrap

LOT_ACCOUNT = f"client:{CLIENT}:lot:{LOT}"


# settlements


def test_a_reversed_settlement_leaves_the_books_as_they_were(at: Any) -> None:
    before = at("drafted").balances()
    desk = at("settled")
    answer = desk.reverse(f"settlements/{SETTLEMENT}")
    assert (answer["state"], answer["paid"], answer["open"]) == ("reversed", money("0.00"), money("0.00"))
    assert desk.balances() == before
    entries = desk.get(f"/v1/journal?document={answer['reversal']['id']}")["items"]
    assert [(e["reason"], e["reverses"] is not None) for e in entries] == [("the assay was wrong", True)]


def test_its_metals_are_closed_again_and_its_bars_nobodys(settled: Desk) -> None:
    settled.reverse(f"settlements/{SETTLEMENT}")
    lot = settled.get(f"/v1/lots/{LOT}")
    assert (lot["settlement"], lot["settled_metals"], lot["state"]) == (None, [], "refined")
    assert [settled.get(f"/v1/bars/{s}")["state"] for s in BARS] == ["poured", "poured"]
    assert settled.balance(LOT_ACCOUNT, "gold") == -57_708


def test_a_reversal_is_an_owners_and_gives_its_reason(settled: Desk, keys: dict[str, str]) -> None:
    path = f"settlements/{SETTLEMENT}"
    assert settled.with_key(keys["settle"]).refused.reverse(path).status == 403
    assert settled.refused.reverse(path, " ").faults == {"/reason": "bad-text"}
    assert settled.refused.post(f"/v1/{path}/reversal", {}).faults == {"/reason": "missing"}
    assert settled.refused.reverse("settlements/S-2026-0009").status == 404


def test_a_settlement_is_reversed_once_and_a_draft_never(at: Any) -> None:
    assert at("drafted").refused.reverse("settlements/SD-1").said == (409, "wrong-state", "")
    desk = at("settled")
    desk.reverse(f"settlements/{SETTLEMENT}")
    assert desk.refused.reverse(f"settlements/{SETTLEMENT}").said == (409, "wrong-state", "")


def resting(desk: Desk) -> str:
    refused = desk.refused.reverse(f"settlements/{SETTLEMENT}")
    assert refused.said == (409, "something-rests-on-it", "")
    return str(refused.body["detail"])


def test_payments_that_stand_rest_on_it(settled: Desk) -> None:
    one, two = settled.pay(SETTLEMENT, "1.00"), settled.pay(SETTLEMENT, "2.00")
    settled.unpay(SETTLEMENT, one["id"])
    assert two["id"] in resting(settled)
    assert one["id"] not in resting(settled)
    settled.unpay(SETTLEMENT, two["id"])
    settled.reverse(f"settlements/{SETTLEMENT}")


def test_bars_that_left_the_house_rest_on_it(settled: Desk) -> None:
    settled.hand_over(BARS[0], "20.03")
    assert resting(settled).startswith(f"{BARS[0]} rests on it")
    settled.reverse(f"bars/{BARS[0]}/handover", "she brought it back")
    settled.reverse(f"settlements/{SETTLEMENT}")


# The charges are not paid yet: what is hers leaves by an owner's word.
KNOWN: Any = {"override": {"reason": "she is known to us"}}


def wished(at: Any, remainder: str) -> Desk:
    """The road with the gold's remainder as wished."""
    desk: Desk = at("in batch")
    bars = D["instructions"]["gold"]["bars"]
    desk.refine(gold={"bars": bars, "remainder": remainder})
    return desk


def test_metal_of_it_that_was_sold_since_rests_on_it(at: Any) -> None:
    desk = wished(at, "metal_account")
    sale = desk.sell_metal(CLIENT, "gold", weight={"amount": "1", "unit": "g"}, **KNOWN)
    assert sale["id"] in resting(desk)
    desk.reverse(f"clients/{CLIENT}/metal-sales/{sale['id']}", "a slip")
    desk.reverse(f"settlements/{SETTLEMENT}")


def test_metal_of_it_that_was_taken_as_a_bar_rests_on_it(at: Any) -> None:
    desk = wished(at, "metal_account")
    bar = desk.buy_bar("10")["serial"]
    taken = desk.take_bar(CLIENT, bar, **KNOWN)
    assert taken["id"] in resting(desk)


def test_shot_of_it_that_was_returned_rests_on_it(at: Any) -> None:
    desk = wished(at, "shot")
    returned = desk.give_back(LOT, **KNOWN)["entry"]
    assert returned in resting(desk)
    desk.reverse(f"lots/{LOT}/return", "she brought it back")
    desk.reverse(f"settlements/{SETTLEMENT}")


# credit notes


def test_a_reversed_settlement_draws_a_credit_note(settled: Desk, clock: Any) -> None:
    clock.move(days=3)
    number = settled.reverse(f"settlements/{SETTLEMENT}")["reversal"]["credit_note"]
    note = settled.get(f"/v1/credit-notes/{number}")
    assert number == "N-2026-0001"
    assert note["issuer"] == {
        "name": "An invented refiner", "address": ["2 Nowhere Lane"], "tax_identity": "XX 000",
    }  # fmt: skip
    assert note["client"] == {"id": CLIENT, "name": "Ann Other", "address": "1 Nowhere Lane"}
    posted = settled.get(f"/v1/settlements/{SETTLEMENT}")
    assert note["credits"] == {"number": SETTLEMENT, "tax_point": posted["posted_at"]}
    assert note["tax_point"] > posted["posted_at"]
    assert note["reason"] == "the assay was wrong"


def test_its_lines_carry_their_class_and_add_up_to_its_net(settled: Desk) -> None:
    settled.reverse(f"settlements/{SETTLEMENT}")
    note = settled.get("/v1/credit-notes/N-2026-0001")
    lines = {line["line"]: (line["amount"]["amount"], line["class"]) for line in note["lines"]}
    assert lines == {
        "payout: gold": ("-1013.94", None),
        "payout: silver": ("-6.34", None),
        "charge: treatment": ("58.50", "standard"),
        "charge: assay": ("38.00", "standard"),
        "charge: refining": ("45.47", "standard"),
        "charge: silver lent": ("3.40", "standard"),
        "charge: bar casting": ("29.00", "standard"),
    }
    total = sum(_pence(line["amount"]) for line in note["lines"])
    tax = sum(_pence(tax["amount"]) for tax in note["taxes"])
    assert total + tax == _pence(note["net"]) == -81_104
    assert [(t["code"], t["class"], t["amount"]) for t in note["taxes"]] == [
        ("standard", "standard", money("34.87"))
    ]


def _pence(of: Any) -> int:
    return int(of["amount"].replace(".", ""))


def test_credit_notes_are_listed_newest_first_and_read_by_the_accountant(
    settled: Desk, keys: dict[str, str]
) -> None:
    settled.reverse(f"settlements/{SETTLEMENT}")
    reader = settled.with_key(keys["read"])
    assert [n["number"] for n in reader.listed("/v1/credit-notes")] == ["N-2026-0001"]
    assert reader.refused.get("/v1/credit-notes/N-2026-0002").status == 404


def test_a_draft_draws_no_number_of_a_credit_note(settled: Desk) -> None:
    settled.pay(SETTLEMENT, "1.00")
    resting(settled)
    assert settled.listed("/v1/credit-notes") == []


# purchases


COUNTER = {"settle_on": "counter", "accountable": "0.98", "payout_rate": "0.95"}


@pytest.fixture
def bought(shop: Desk) -> Desk:
    shop.terms(gold_only(name="counter", metals={"gold": COUNTER}))
    shop.buy({"client": CLIENT, "terms": "T-2", "paid_in": "cash", "items": [scrap("10")]})
    return shop


def test_a_reversed_purchase_gives_back_metal_and_money_and_draws_a_credit_note(bought: Desk) -> None:
    answer = bought.reverse("purchases/P-2026-0001", "it was stolen")
    assert (answer["state"], answer["reversal"]["credit_note"]) == ("reversed", "N-2026-0001")
    assert {account for account, _ in bought.balances()} == {"house:opening", "house:stock"}
    note = bought.get("/v1/credit-notes/N-2026-0001")
    assert (note["credits"]["number"], note["net"]) == ("P-2026-0001", money("-284.71"))
    assert bought.refused.reverse("purchases/P-2026-0001").said == (409, "wrong-state", "")
    assert bought.refused.reverse("purchases/P-2026-0009").status == 404


def test_a_purchase_is_reversed_by_an_owner(bought: Desk, keys: dict[str, str]) -> None:
    assert bought.with_key(keys["settle"]).refused.reverse("purchases/P-2026-0001").status == 403


def test_a_purchase_shows_that_it_stands(bought: Desk) -> None:
    shown = bought.get("/v1/purchases/P-2026-0001")
    assert (shown["state"], shown["reversal"]) == ("posted", None)


# reconciliations


def test_a_reversed_reconciliation_leaves_the_books_as_they_were(at: Any) -> None:
    before = at("poured").balances()
    desk = at("reconciled")
    accounts = desk.reverse(f"batches/{BATCH}/reconciliation")["metals"]
    assert {metal: account["state"] for metal, account in accounts.items()} == {
        "gold": "open", "silver": "open",
    }  # fmt: skip
    assert desk.balances() == before
    assert desk.get(f"/v1/lots/{LOT}")["state"] == "in_batch"


def test_one_metal_alone_can_be_reversed(at: Any) -> None:
    desk = at("reconciled")
    desk.reverse(f"batches/{BATCH}/reconciliation", metals=["silver"])
    assert desk.get(f"/v1/batches/{BATCH}")["metals"] == {"gold": "closed", "silver": "outturn"}
    again = desk.refused.reverse(f"batches/{BATCH}/reconciliation", metals=["gold", "silver"])
    assert again.said == (409, "wrong-state", "/metals/1")


def test_a_settlement_rests_on_the_reconciliation(settled: Desk) -> None:
    refused = settled.refused.reverse(f"batches/{BATCH}/reconciliation")
    assert (refused.kind, SETTLEMENT in refused.body["detail"]) == ("something-rests-on-it", True)


def test_what_is_not_reconciled_is_not_reversed(at: Any, keys: dict[str, str]) -> None:
    desk = at("poured")
    assert desk.refused.reverse(f"batches/{BATCH}/reconciliation").said == (409, "wrong-state", "")
    assert desk.refused.reverse("batches/B-2026-0009/reconciliation").status == 404
    worker = desk.with_key(keys["settle"])
    assert worker.refused.reverse(f"batches/{BATCH}/reconciliation").status == 403


# bars


def test_a_withdrawn_bar_is_loose_stock_again(at: Any) -> None:
    desk = at("poured")
    loose = desk.balance("house:stock", "gold")
    bar = desk.withdraw_bar(BARS[1])
    assert (bar["state"], bar["reversal"]["reason"]) == ("withdrawn", "a crack")
    # 20.02 g × 999.97 ‰ = 20.019 g
    assert desk.balance("house:stock", "gold") == loose + 20_019
    assert desk.refused.withdraw_bar(BARS[1]).said == (409, "wrong-state", "")


def test_its_line_can_be_poured_anew_and_its_outturn_corrected(at: Any) -> None:
    desk = at("poured")
    desk.withdraw_bar(BARS[0])
    desk.withdraw_bar(BARS[1], how="withdrawn")
    entries = desk.get(f"/v1/batches/{BATCH}")["entries"]
    entry = next(e["id"] for e in entries if e["kind"] == "outturn")
    desk.take_out(BATCH, "gold", "57.72", "999.97", "0.02", corrects=entry, reason="misread")
    assert desk.pour(LOT, "20.03")["serial"] == "BAR-2026-0003"


def test_a_bar_that_a_settlement_counts_is_not_withdrawn(settled: Desk, keys: dict[str, str]) -> None:
    refused = settled.refused.withdraw_bar(BARS[0])
    assert (refused.kind, SETTLEMENT in refused.body["detail"]) == ("something-rests-on-it", True)
    assert settled.with_key(keys["work"]).refused.withdraw_bar(BARS[0]).status == 403
    settled.reverse(f"settlements/{SETTLEMENT}")
    settled.withdraw_bar(BARS[0])
    assert settled.get(f"/v1/bars?lot={LOT}")["items"][1]["state"] == "withdrawn"


def test_a_withdrawn_bar_is_not_corrected(at: Any) -> None:
    desk = at("poured")
    entry = desk.get(f"/v1/bars/{BARS[0]}")["entry"]
    desk.withdraw_bar(BARS[0])
    refused = desk.refused.pour(LOT, "20.02", corrects=entry, reason="misread")
    assert refused.said == (409, "wrong-state", "/corrects")
