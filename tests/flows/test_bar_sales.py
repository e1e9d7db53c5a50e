"""The sale of a bar from stock is a document: numbered, listed, on paper, and credited when it is reversed.

What an invoice and a credit note must say is Council Directive 2006/112/EC, articles 219 and 226 (from memory).
"""

from pathlib import Path
from typing import Any

import pytest
import stores
from desk import Desk, grams, money
from stages import AT_THE_COUNTER, CLIENT, Clock, gold_only

from settle.books import bar_sales, bars, journal, records, till
from settle.books import terms as terms_of_business
from settle.books.check import all_faults
from settle.books.work import THE_COMMAND, open_books

FIRST = "I-2026-0001"
ISSUER = {"name": "An invented refiner", "address": ["2 Nowhere Lane"], "tax_identity": "XX 000"}


def silver(shop: Desk) -> str:
    """A bar on which there is tax: 99.9 g × 0.74 × 1.05 = 77.6223; 20 % on it are 15.52."""
    bar = shop.buy_bar("100", metal="silver", fineness="999", cost=money("70.00"))
    return str(bar["serial"])


def faults(shop: Desk) -> list[str]:
    with shop.books.reading() as work:
        return all_faults(work)


def drawn(shop: Desk) -> list[str]:
    return [row["number"] for row in shop.listed("/v1/bar-sales")]


# the invoice


def test_a_sale_is_numbered_and_says_all_that_an_invoice_says(shop: Desk) -> None:
    serial = silver(shop)
    sale = shop.sell_bar(serial, paid_in="cash")
    told = {name: sale[name] for name in ("number", "issuer", "client", "bar", "mark", "metal", "paid_in")}
    assert told == {
        "number": FIRST, "issuer": ISSUER, "client": CLIENT, "bar": serial, "mark": "a maker 1234",
        "metal": "silver", "paid_in": "cash",
    }  # fmt: skip
    stated = [sale[name] for name in ("stated_weight", "stated_fineness", "stated_fine")]
    assert stated == [{"g": "100.000"}, "999", {"g": "99.900"}]
    assert [(t["code"], t["class"], t["base"], t["amount"]) for t in sale["taxes"]] == [
        ("standard", "standard", money("77.62"), money("15.52"))
    ]
    assert (sale["payment"]["of"], sale["payment"]["amount"]) == (FIRST, money("93.14"))
    assert (sale["state"], sale["reversal"]) == ("posted", None)
    shown = shop.get(f"/v1/bar-sales/{FIRST}")
    assert {**sale, "payment": None} == {**shown, "payment": None}
    assert shown["payment"].items() <= sale["payment"].items()


def test_its_etag_is_of_what_may_change(shop: Desk) -> None:
    serial = silver(shop)
    sale, path = shop.sell_bar(serial), f"/v1/bar-sales/{FIRST}"
    assert sale.etag == shop.get(path).etag
    assert shop.ask("GET", path, If_None_Match=sale.etag).status_code == 304
    shop.reverse(f"bars/{serial}/sale")
    assert shop.ask("GET", path, If_None_Match=sale.etag).status_code == 200


def test_journal_and_payment_go_by_the_number(shop: Desk) -> None:
    sale = shop.sell_bar(silver(shop))
    (entry,) = shop.listed(f"/v1/journal?document={FIRST}")
    legs = {(line["account"], line["amount"]) for line in entry["lines"] if line["commodity"] == "GBP"}
    assert ("tax:standard", -1_552) in legs
    assert sale["payment"]["of"] == FIRST
    assert faults(shop) == []


def test_sales_are_listed_newest_first_and_read_by_the_accountant(shop: Desk, keys: dict[str, str]) -> None:
    one, two = silver(shop), shop.buy_bar()["serial"]
    shop.sell_bar(one)
    shop.sell_bar(two)
    shop.reverse(f"bars/{one}/sale")
    reader = shop.with_key(keys["read"])
    rows = reader.listed("/v1/bar-sales")
    assert [(row["number"], row["bar"], row["state"]) for row in rows] == [
        ("I-2026-0002", two, "posted"),
        (FIRST, one, "reversed"),
    ]
    assert reader.listed("/v1/bar-sales?limit=1") == rows
    assert [row["number"] for row in reader.listed("/v1/bar-sales?state=reversed")] == [FIRST]
    assert reader.refused.get("/v1/bar-sales/I-2026-0003").status == 404
    assert shop.with_key(keys["work"]).refused.get(f"/v1/bar-sales/{FIRST}").status == 403


def test_a_refused_sale_uses_no_number_up(shop: Desk, clock: Any) -> None:
    one, two = shop.buy_bar()["serial"], shop.buy_bar()["serial"]
    shop.sell_bar(one)
    assert shop.refused.sell_bar(one).status == 409
    assert shop.refused.sell_bar(two, client="C-9").status == 422
    clock.move(hours=2)
    assert shop.refused.sell_bar(two).kind == "price-too-old"
    shop.prices(gold="61.20", silver="0.74")
    assert shop.sell_bar(two)["number"] == "I-2026-0002"
    assert drawn(shop) == ["I-2026-0002", FIRST]


# its reversal


def test_a_reversed_sale_draws_a_credit_note(shop: Desk, clock: Any) -> None:
    serial = silver(shop)
    sale = shop.sell_bar(serial, paid_in="cash")
    clock.move(hours=1)
    bar = shop.reverse(f"bars/{serial}/sale", "he changed his mind")
    assert bar["reversal"]["credit_note"] == "N-2026-0001"
    assert [n["credits"]["number"] for n in shop.listed("/v1/credit-notes")] == [FIRST]
    note = shop.get("/v1/credit-notes/N-2026-0001")
    assert (note["issuer"], note["client"]["name"]) == (ISSUER, "Ann Other")
    assert note["credits"] == {"number": FIRST, "tax_point": sale["tax_point"]}
    lines = [(line["line"], line["amount"], line["tax"], line["class"]) for line in note["lines"]]
    assert lines == [(f"bar: {serial}", money("77.62"), "standard", "standard")]
    assert [(t["code"], t["base"], t["amount"]) for t in note["taxes"]] == [
        ("standard", money("77.62"), money("15.52"))
    ]
    assert note["net"] == money("93.14")
    shown = shop.get(f"/v1/bar-sales/{FIRST}")
    assert (shown["state"], shown["reversal"]) == ("reversed", bar["reversal"])
    assert shown["payment"]["state"] == "reversed"
    assert shown["hash"] == sale["hash"]
    assert faults(shop) == []


def test_what_cash_was_rounded_by_is_of_the_payment_and_goes_back_with_it(shop: Desk) -> None:
    # 77.62 and 15.52 are 93.14: to the next 5, half away from nothing (F4).
    terms = {**shop.get("/v1/terms/T-1"), "name": "coins", "cash_step": "0.05"}
    number = shop.terms({k: v for k, v in terms.items() if k not in ("number", "made_at")})["number"]
    serial = silver(shop)
    sale = shop.sell_bar(serial, paid_in="cash", terms=number)
    assert (sale["net"], sale["payment"]["amount"]) == (money("93.14"), money("93.15"))
    assert sale["payment"]["cash_rounding"] == money("0.01")
    assert shop.balance("house:cash rounding", "GBP") == -1
    shop.reverse(f"bars/{serial}/sale")
    note = shop.get("/v1/credit-notes/N-2026-0001")
    assert [(line["line"], line["amount"]["amount"]) for line in note["lines"]] == [
        (f"bar: {serial}", "77.62")
    ]
    assert note["net"] == money("93.14")
    assert shop.balance("house:cash rounding + house:till", "GBP") == 0


def test_sold_again_it_is_another_invoice(shop: Desk) -> None:
    serial = silver(shop)
    shop.sell_bar(serial)
    shop.reverse(f"bars/{serial}/sale")
    assert shop.sell_bar(serial)["number"] == "I-2026-0002"
    shop.reverse(f"bars/{serial}/sale")
    assert [n["credits"]["number"] for n in shop.listed("/v1/credit-notes")] == ["I-2026-0002", FIRST]
    assert faults(shop) == []


# books


def _fault_of(shop: Desk, target: Path, statement: str) -> list[str]:
    """The faults after a statement that no trigger stops, in a copy of the books; of the chain none."""
    books = open_books(stores.copied(shop.file, target), Clock())
    with stores.forging(target) as forge:
        assert forge(statement) > 0
    with books.reading() as work:
        found = [fault for fault in all_faults(work) if "after it was posted" not in fault]
    books.close()
    return found


@pytest.mark.parametrize(
    ("column", "value", "named"),
    [
        ("number", "I-2026-0003", "series I"),
        ("issuer.name", "Somebody else", "hash"),
        ("hash", "0" * 64, "hash"),
        ("asked.fine_mg", "1", "E-"),
    ],
)
def test_check_reckons_a_sale_anew_and_knows_its_series(
    shop: Desk, tmp_path: Path, column: str, value: str, named: str
) -> None:
    shop.sell_bar(silver(shop))
    assert faults(shop) == []
    changed = stores.with_member("data", column, value)
    found = _fault_of(
        shop, tmp_path / "b.sqlite3", f"UPDATE records SET data = {changed} WHERE kind = 'sale'"
    )
    assert any(named in fault for fault in found), found


def test_a_bar_that_states_otherwise_since_is_found(shop: Desk, tmp_path: Path) -> None:
    """The invoice is of what the bar stated: that is in its hash."""
    shop.sell_bar(silver(shop))
    changed = stores.with_member("data", "stated.fineness", "998")
    found = _fault_of(shop, tmp_path / "b.sqlite3", f"UPDATE bars SET data = {changed}")
    assert any(f"the hash of {FIRST}" in fault for fault in found), found


def kept_before(shop: Desk, serial: str, like: str) -> str:
    """A sale as it was kept before sales had numbers; the id of its entry."""
    with shop.books.writing(THE_COMMAND) as work:
        numbered = records.find(work, like)
        assert numbered is not None
        data = {name: numbered.data[name] for name in ("asked", "answer")}
        record = records.add(work, serial, "sale", data)
        entry = bar_sales.sold(work, record)
        journal.post(work, entry)
        bars.change(work, bars.row_of(work, serial), state="assigned", client=CLIENT)
        terms = terms_of_business.find(work, data["asked"]["terms"])
        till.pay(work, record.id, f"{serial} paid", CLIENT, terms, -9_314, {"paid_in": "transfer"})
    assert entry.document == record.id
    return record.id


def test_a_sale_that_was_kept_before_there_were_numbers_goes_on_without_one(shop: Desk) -> None:
    numbered = shop.sell_bar(silver(shop))
    serial = silver(shop)
    name = kept_before(shop, serial, numbered["id"])
    assert faults(shop) == []
    assert drawn(shop) == [None, FIRST]
    old = shop.get(f"/v1/bar-sales/{name}")
    assert (old["id"], old["number"], old["issuer"], old["hash"]) == (name, None, None, None)
    assert (old["net"], old["payment"]["of"]) == (numbered["net"], name)
    assert shop.get(shop.listed("/v1/payments")[0]["href"]) == old
    assert shop.ask("GET", f"/v1/bar-sales/{name}", Accept="application/pdf").data.startswith(b"%PDF")
    assert name in shop.refused.withdraw_bar(serial).body["detail"]
    shop.hand_over(serial, "100")
    shop.reverse(f"bars/{serial}/handover")
    note = shop.reverse(f"bars/{serial}/sale")["reversal"]["credit_note"]
    assert shop.get(f"/v1/credit-notes/{note}")["credits"]["number"] == name
    assert shop.get(f"/v1/bar-sales/{name}")["state"] == "reversed"
    assert faults(shop) == []


# what a bar for stock cost


def test_a_bought_bar_says_what_it_cost_and_how_it_was_paid(shop: Desk) -> None:
    bought = shop.buy_bar(paid_in="cash")
    assert (bought["cost"], bought["paid_in"]) == (money("1900.00"), "cash")
    assert shop.get(f"/v1/bars/{bought['serial']}").items() <= bought.items()


@pytest.mark.parametrize(("scope", "sees"), [("work", False), ("read", True)])
def test_what_it_cost_is_not_for_the_bench(shop: Desk, keys: dict[str, str], scope: str, sees: bool) -> None:
    serial = shop.buy_bar()["serial"]
    looker = shop.with_key(keys[scope])
    for bar in (looker.get(f"/v1/bars/{serial}"), *looker.listed("/v1/bars")):
        assert ("cost" in bar, "paid_in" in bar) == (sees, sees)


def test_a_poured_bar_has_no_cost(settled: Desk) -> None:
    assert "cost" not in settled.pour_bar("10.03", paid_in="cash", weight=grams("1"))


# what is no sale


def test_a_bar_is_not_sold_for_nothing_nor_under_terms_that_buy(shop: Desk) -> None:
    tiny = shop.buy_bar("1", metal="silver", fineness="1", cost=money("1.00"))["serial"]
    assert shop.refused.sell_bar(tiny, paid_in="cash").said == (409, "wrong-state", "")
    counter = shop.terms(gold_only(name="counter", metals=AT_THE_COUNTER))["number"]
    gold = shop.buy_bar()["serial"]
    assert shop.refused.sell_bar(gold, terms=counter).faults == {"/terms": "contradiction"}
    assert drawn(shop) == []
