"""Each list as CSV that no spreadsheet runs; the journal as Beancount accepts it, with the same balances."""

import csv
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
import stores
from beancount import loader
from beancount.core import data
from ledger_house import House, a_house
from stages import BARS, LOT, SETTLEMENT, Clock, gold_only, grams, scrap

from settle.books import export, journal
from settle.books.export import written
from settle.reckoning.ledger import Entry, Leg
from settle.reckoning.tables import METALS

OURS = {metal.upper(): metal for metal in METALS}
UNITS = {"gold": 3, "silver": 3, "GBP": 2, "USD": 2, "JPY": 0, "KWD": 3}


def exported(house: House, folder: Path) -> dict[str, Path]:
    with house.books.reading() as work:
        return {path.name: path for path in export.write(work, folder / "out")}


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


LISTS = {
    "clients.csv": 1, "quotes.csv": 1, "lots.csv": 1, "batches.csv": 1, "bars.csv": 2, "bar-list.csv": 2,
    "settlements.csv": 1, "purchases.csv": 0, "prices.csv": 4, "bar-sales.csv": 0,
    "credit-notes.csv": 0, "payments.csv": 0, "register.csv": 5, "journal.csv": None, "journal.beancount": None,
}  # fmt: skip


def test_every_list_is_a_file_with_a_row_for_each(house: House, tmp_path: Path) -> None:
    found = exported(house, tmp_path)
    assert set(found) == set(LISTS)
    assert {n: len(rows(found[n])) for n, count in LISTS.items() if count is not None} == {
        n: count for n, count in LISTS.items() if count is not None
    }


def test_figures_stand_as_the_documents_print_them(house: House, tmp_path: Path) -> None:
    found = exported(house, tmp_path)
    settled = rows(found["settlements.csv"])[0]
    assert (settled["number"], settled["client"], settled["net"], settled["tax_total"]) == (
        *(SETTLEMENT, "C-1", "811.04", "34.87"),
    )
    assert settled["further_to"] == ""
    quoted = rows(found["quotes.csv"])[0]
    ends = house.till.get("/v1/quotes")["items"][0]["net_range"]
    assert [quoted[f"net_{end}"] for end in ("least", "likely", "greatest")] == [
        ends[end]["amount"] for end in ("least", "likely", "greatest")
    ]
    assert Decimal(quoted["net_least"]) < Decimal(quoted["net_likely"]) < Decimal(quoted["net_greatest"])
    assert rows(found["lots.csv"])[0]["settlement"] == SETTLEMENT
    bars = rows(found["bar-list.csv"])
    assert [bar["serial"] for bar in bars] == list(BARS)
    assert {bar["stated_weight_g"] for bar in bars} == {"20.000"}
    assert {bar["belongs_to"] for bar in bars} == {"C-1"}
    lines = rows(found["journal.csv"])
    assert {line["amount"] for line in lines if line["account"] == f"client:C-1:lot:{LOT}"} >= {
        "-57.969",
        "0.261",
    }


def test_payments_credit_notes_and_the_register_are_lists_too(house: House, tmp_path: Path) -> None:
    till = house.till
    paid = {"amount": {"amount": "11.04", "currency": "GBP"}, "paid_in": "transfer"}
    first = till.post(f"/v1/settlements/{SETTLEMENT}/payments", paid)["id"]
    till.post(f"/v1/settlements/{SETTLEMENT}/payments", paid)
    till.post(f"/v1/settlements/{SETTLEMENT}/payments/{first}/reversal", {"reason": "bounced"})
    gold = {"settle_on": "counter", "accountable": "1", "payout_rate": "1"}
    counter = gold_only(name="counter", metals={"gold": gold})
    terms = till.terms(counter)["number"]
    bought = till.buy({"terms": terms, "client": "C-1", "paid_in": "cash", "items": [scrap(stamped="=LION")]})
    till.post(f"/v1/purchases/{bought['number']}/reversal", {"reason": "=a mistake"})
    found = exported(house, tmp_path)
    payments = rows(found["payments.csv"])
    assert [(p["of"], p["client"], p["state"], p["direction"], p["amount"]) for p in payments] == [
        (SETTLEMENT, "C-1", "reversed", "to_client", "11.04"),
        (SETTLEMENT, "C-1", "posted", "to_client", "11.04"),
    ]
    (note,) = rows(found["credit-notes.csv"])
    assert (note["credits"], note["client"], note["reason"]) == (bought["number"], "C-1", "'=a mistake")
    assert Decimal(note["net"]) == -Decimal(bought["net"]["amount"])
    register = rows(found["register.csv"])
    assert [(row["document"], row["name"]) for row in register] == [(LOT, "Ann Other")] * 5 + [
        (bought["number"], "Ann Other")
    ]
    assert register[0]["bars"] == " ".join(BARS)
    assert register[0]["paid"] == "11.04GBP/transfer/to_client"
    assert register[-1]["stamped"] == "'=LION"
    assert register[-1]["paid"] == f"{bought['net']['amount']}GBP/cash/to_client"
    brought = [Decimal(item["gross"]["g"]) for item in till.get(f"/v1/lots/{LOT}")["items"]]
    assert [Decimal(row["gross_g"]) for row in register[:-1]] == brought


def test_bars_sold_are_a_list_with_their_tax_and_whether_they_stand(house: House, tmp_path: Path) -> None:
    till = house.till
    said = {"weight": grams("100"), "fineness": "999", "mark": "=1+1", "terms": "T-1"}
    cost = {"cost": {"amount": "70.00", "currency": "GBP"}, "paid_in": "transfer"}
    for _ in range(2):
        bar = till.post("/v1/stock/bars", {"kind": "bought", "metal": "silver", **said, **cost})["serial"]
        last = till.post(f"/v1/bars/{bar}/sale", {"client": "C-1", "terms": "T-1", "paid_in": "cash"})
    till.post(f"/v1/bars/{bar}/sale/reversal", {"reason": "=a mistake"})
    found = exported(house, tmp_path)
    assert "=1+1" not in (found["bar-sales.csv"]).read_text()
    sales = rows(found["bar-sales.csv"])
    assert [(s["number"], s["state"]) for s in sales] == [
        ("I-2026-0001", "posted"),
        ("I-2026-0002", "reversed"),
    ]
    told = [last[name]["amount"] for name in ("value", "net")]
    assert [sales[1]["value"], sales[1]["net"]] == told
    # Silver is charged at the standard rate under these terms: 20 % of the value.
    assert Decimal(sales[1]["tax_total"]) == Decimal(last["taxes"][0]["amount"]["amount"]) > 0
    assert (sales[1]["bar"], sales[1]["paid_in"], sales[1]["hash"]) == (bar, "cash", last["hash"])
    (note,) = rows(found["credit-notes.csv"])
    assert (note["credits"], note["net"], note["reason"]) == ("I-2026-0002", told[1], "'=a mistake")


CELLS = [
    ("=1+1", "'=1+1"), ("+44 20", "'+44 20"), ("-5 off", "'-5 off"), ("@SUM(A1)", "'@SUM(A1)"),
    ("\t=1", "'\t'=1"), ("\r=1", "'\r'=1"), ("a=1", "a=1"), ("", ""), (None, ""), (" =1", " =1"),
    (Decimal("-12.50"), "-12.50"), (Decimal("0.000"), "0.000"), (Decimal("1E-9"), "0.000000001"),
    (-7, "-7"), ('"=1', '"=1'), ("＝1", "'＝1"), ("a;=1", "a;'=1"), ("a\t+1;@b", "a\t'+1;'@b"), ('a;"=1', 'a;"\'=1'),
    ("a\n-1", "a\n'-1"), ("a\r\n=1", "a\r\n'=1"), ("a; b-c", "a; b-c"),
]  # fmt: skip


@pytest.mark.parametrize(("cell", "text"), CELLS)
def test_a_formula_is_shown_and_a_figure_stays_one(cell: Any, text: str) -> None:
    assert written(cell) == text


def test_what_a_client_types_never_reaches_a_spreadsheet_as_a_formula(house: House, tmp_path: Path) -> None:
    evil = '=HYPERLINK("http://nowhere.example";"x")'
    house.till.client(evil, note="@x,\n=1", telephone="+1 2", email="-a@b.example")
    client = rows(exported(house, tmp_path)["clients.csv"])[1]
    told = {name: client[name] for name in ("name", "note", "telephone", "email")}
    assert told == {"name": f"'{evil}", "note": "'@x,\n'=1", "telephone": "'+1 2", "email": "'-a@b.example"}


def judged(file: Path) -> tuple[dict[tuple[str, str], Decimal], list[Any]]:
    """By Beancount: what each account of ours holds of each commodity; and what it objects to."""
    entries, errors, options = loader.load_file(str(file))
    assert options["tolerance_multiplier"] == 0
    ours = {e.account: e.meta["account"] for e in entries if isinstance(e, data.Open)}
    assert len(set(ours.values())) == len(ours)
    held: dict[tuple[str, str], Decimal] = {}
    for entry in (e for e in entries if isinstance(e, data.Transaction)):
        for posting in entry.postings:
            commodity = OURS.get(posting.units.currency, posting.units.currency)
            key = (ours[posting.account], commodity)
            held[key] = held.get(key, Decimal(0)) + posting.units.number
    return held, errors


def in_the_books(house: House) -> dict[tuple[str, str], Decimal]:
    with house.books.reading() as work:
        pairs = work.connection.exec_driver_sql("SELECT DISTINCT account, commodity FROM journal_lines").all()
        return {(a, c): Decimal(journal.balance(work, a, c)).scaleb(-UNITS[c]) for a, c in pairs}


def test_beancount_accepts_the_journal_and_finds_the_same_balances(house: House, tmp_path: Path) -> None:
    held, errors = judged(exported(house, tmp_path)["journal.beancount"])
    assert errors == []
    assert held == in_the_books(house)
    assert held["house:bars", "gold"] == Decimal("40.048")


CHARGES = ("Prüfgebühr", "prufgebuhr", "a b", "A-B", "a:b", "熔", "ßx", "ნაწ", "ǆ", "½ Ⅷ é", "عيار", "!", "?")
AWKWARD = [
    *((f"charges:{name}", "GBP") for name in CHARGES),
    *(("tax:20 %", "GBP"), ("client:C-9:money", "USD")),
    *(("client:C-9:money", "JPY"), ("house:till", "KWD")),
]


def test_awkward_names_texts_and_currencies_are_accepted_too(house: House, tmp_path: Path) -> None:
    with house.writing() as work:
        for i, (account, commodity) in enumerate(AWKWARD, 1):
            legs = (Leg(account, commodity, -i), Leg("house:opening", commodity, i))
            journal.post(work, Entry(f'X"\\{i}', 'a "text"\nover \\ lines', legs))
    held, errors = judged(exported(house, tmp_path)["journal.beancount"])
    assert errors == []
    assert held == in_the_books(house)


def test_a_whole_trade_is_accepted(house: House, tmp_path: Path) -> None:
    counter = {"gold": {"settle_on": "counter", "accountable": "1", "payout_rate": "1"}}
    house.till.terms(gold_only(name="counter", metals=counter))
    house.till.prices(gold="62.05")
    ring = {"description": "ring", "evidence": "sure", "fineness": "750", "gross": grams("10")}
    house.till.buy({"client": "C-1", "terms": "T-2", "items": [ring], "paid_in": "cash"})
    house.till.post("/v1/purchases/P-2026-0001/reversal", {"reason": 'he "changed" his mind'})
    held, errors = judged(exported(house, tmp_path)["journal.beancount"])
    assert errors == []
    assert held == in_the_books(house)
    assert held["house:till", "GBP"] == 0


def test_a_slip_of_a_milligram_in_the_file_is_not_accepted(house: House, tmp_path: Path) -> None:
    file = exported(house, tmp_path)["journal.beancount"]
    text = file.read_text()
    assert "57.969 GOLD" in text
    file.write_text(text.replace("57.969 GOLD", "57.970 GOLD", 1))
    assert len(judged(file)[1]) >= 1


def test_empty_books_export_to_headings(tmp_path: Path) -> None:
    file = tmp_path / "empty.sqlite3"
    stores.migrated(file)
    house = a_house(file, Clock(), {"owner": ""})
    found = exported(house, tmp_path)
    assert [rows(path) for name, path in found.items() if name.endswith(".csv")] == [[]] * 14
    assert judged(found["journal.beancount"]) == ({}, [])
    house.books.close()
