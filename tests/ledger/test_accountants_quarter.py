"""An accountant's quarter: tax, charges, purchases, metal owed and cash agree from three sources.

That a correction of invoiced tax falls into the period in which it is made, by a credit note that names the
invoice, is Council Directive 2006/112/EC, articles 90 and 219 (from memory).
"""

from collections import Counter
from collections.abc import Iterator
from typing import Any

import pytest
import stores
from filtered import faults
from ledger_house import ZONE, House, a_house
from quarter import BEN, MONTHS, Quarter, lived
from quarter_figures import Figures, from_balances, from_documents, from_journal, last_day, mg, minor
from stages import Clock

from settle.books.access import make_key
from settle.books.work import THE_COMMAND, open_books


def everything_of(quarter: Quarter, month: str) -> dict[str, Any]:
    """All that the API answers of a month: as at its end, of each client, of its documents and entries."""
    end, desk = last_day(month), quarter.desk
    span = f"from={end.replace(day=1)}&to={end}"
    clients = [row["id"] for row in desk.listed("/v1/clients")]
    entries = desk.listed("/v1/journal?limit=200")
    notes = desk.listed("/v1/credit-notes?limit=200")
    return {
        "position": desk.get(f"/v1/position?as_at={end}"),
        "accounts": [desk.get(f"/v1/clients/{client}/account?{span}") for client in clients],
        "entries": [entry for entry in entries if entry["made_at"][:7] == month],
        "credit notes": [note for note in notes if note["tax_point"][:7] == month],
    }


@pytest.fixture(scope="module")
def quarter(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Quarter]:
    file, clock = tmp_path_factory.mktemp("quarter") / "books.sqlite3", Clock()
    books = open_books(stores.migrated(file), clock, ZONE)
    with books.writing(THE_COMMAND) as work:
        keys = {"owner": make_key(work, "owner", ["owner"])}
    books.close()
    house: House = a_house(file, clock, keys)
    yield lived(Quarter(house, everything_of))
    house.books.close()


@pytest.fixture(scope="module")
def documents(quarter: Quarter) -> dict[str, Figures]:
    return from_documents(quarter)


@pytest.fixture(scope="module")
def entries(quarter: Quarter) -> dict[str, Figures]:
    return from_journal(quarter)


@pytest.mark.parametrize("month", MONTHS)
def test_documents_and_journal_say_the_same_of_a_month(documents: Any, entries: Any, month: str) -> None:
    said = documents[month].plain()
    assert said == entries[month].plain()
    # Each figure is of something: a month without tax or purchases would prove nothing.
    assert all(said.values()), said


@pytest.mark.parametrize("month", MONTHS)
def test_balances_as_at_the_ends_of_a_month_say_the_same(
    quarter: Quarter, documents: Any, month: str
) -> None:
    said = documents[month].plain()
    del said["purchases"]
    assert from_balances(quarter, month) == said


def test_a_months_trial_balance_adds_up_and_begins_where_the_last_one_ended(quarter: Quarter) -> None:
    ended: dict[tuple[str, str], int] = {}
    for month in MONTHS:
        end = last_day(month)
        said = quarter.desk.get(f"/v1/trial-balance?from={end.replace(day=1)}&to={end}")
        totals: Counter[tuple[str, str]] = Counter()
        began = {}
        for line in said["places"]:
            of = line["place"], line["commodity"]
            whole = minor if line["commodity"] == "GBP" else mg
            opening, moved, closing = (whole(line[name]) for name in ("opening", "moved", "closing"))
            assert opening + moved == closing, line
            began |= {of: opening} if opening else {}
            totals.update({(name, of[1]): whole(line[name]) for name in ("opening", "moved", "closing")})
        assert not any(totals.values()), totals
        assert began == ended
        ended = {
            (line["place"], line["commodity"]): whole
            for line in said["places"]
            if (whole := (minor if line["commodity"] == "GBP" else mg)(line["closing"]))
        }
    assert len(ended) > 20


def test_the_quarter_is_its_months(quarter: Quarter, documents: Any, entries: Any) -> None:
    """Added up, and from nothing before the quarter to the balances at its end."""
    january, february, march = (documents[month] for month in MONTHS)
    whole = january.added(february).added(march)
    assert whole.plain() == entries[MONTHS[0]].added(entries[MONTHS[1]]).added(entries[MONTHS[2]]).plain()
    position = quarter.desk.get(f"/v1/position?as_at={last_day(MONTHS[-1])}")
    money = position["money"]["GBP"]
    assert {name: minor(money[name]) for name in ("till", "bank")} == dict(whole.cash)
    assert minor(money["tax_owed"]) == sum(whole.tax.values())
    assert minor(money["owed_to_clients"]) == sum(owed for owed in whole.money_owed.values() if owed > 0)
    for metal in ("gold", "silver"):
        owed = sum(mg for (_, of), mg in whole.metal_owed.items() if of == metal)
        assert (
            position["metals"][metal]["owed"].get("metal_account", {"g": "0.000"})["g"]
            == f"{owed / 1000:.3f}"
        )


@pytest.mark.parametrize("month", MONTHS)
def test_a_locked_month_says_after_the_quarter_what_it_said_when_it_was_locked(
    quarter: Quarter, month: str
) -> None:
    assert everything_of(quarter, month) == quarter.seen_at_lock[month]


def test_every_document_of_the_lists_was_kept(quarter: Quarter) -> None:
    """Nothing that the API lists is missing from what the documents were reckoned from."""
    kept = {k.said["number"] for k in quarter.kept if "number" in k.said}
    desk = quarter.desk
    lists = ("purchases", "credit-notes", "bar-sales", "settlements")
    listed = [row["number"] for name in lists for row in desk.listed(f"/v1/{name}")]
    assert kept == set(listed) - {None}


def test_a_reversal_in_a_later_month_is_taken_off_there_and_not_where_its_document_was(
    documents: Any, quarter: Quarter
) -> None:
    notes = [kept for kept in quarter.kept if kept.kind == "credit note"]
    months = [(kept.said["credits"]["tax_point"][:7], kept.said["tax_point"][:7]) for kept in notes]
    assert ("2026-01", "2026-02") in months
    assert ("2026-02", "2026-03") in months
    # Of two purchases of January one was taken back in February, which itself bought nothing.
    assert (documents["2026-01"].purchases["documents"], documents["2026-02"].purchases["documents"]) == (
        2,
        -1,
    )


def test_the_quarter_ends_at_midnight_in_london(quarter: Quarter, documents: Any) -> None:
    # Half past eleven at night is in March, an hour later is not: summer time began on the 29th.
    assert documents["2026-03"].purchases["documents"] == 2
    assert documents["2026-04"].purchases["documents"] == 0  # bought, and taken back


def test_who_leaves_metal_on_account_and_owes_his_charges_is_shown_to_do_so(documents: Any) -> None:
    january = documents["2026-01"]
    assert january.money_owed[BEN] < 0 < january.metal_owed[BEN, "gold"]


def test_lists_are_narrowed_by_what_their_rows_say(quarter: Quarter) -> None:
    assert list(faults(quarter.desk, ZONE)) == []


def test_the_books_are_whole(quarter: Quarter) -> None:
    assert quarter.house.faults() == []
