"""House silver lent, returned and still out; the till's silver credits against the books."""

import csv
import io
from dataclasses import replace
from datetime import datetime
from functools import partial
from typing import Any

from sqlalchemy import select

from settle.books import bench, journal, loans, lots, pots, records, stages
from settle.books.columns import moment_text
from settle.books.listing import Listed, Page, page_of
from settle.books.narrowing import ALL, EVER, Wanted, has_clients_lot
from settle.books.periods import Span
from settle.books.pots import Pot
from settle.books.tables import batches, settlements
from settle.books.tables import records as records_table
from settle.books.work import Work
from settle.reckoning import postings
from settle.reckoning.credits import AGREED, Compared, compare
from settle.reckoning.exact import exactly, largest_remainder
from settle.reckoning.problems import Fault, Faults, Refused
from settle.reckoning.reading import Json, Reader
from settle.reckoning.weight import milligrams, printed

SILVER = pots.SILVER
CSV_COLUMNS = ("lot", "amount", "unit")
MOST_CREDITS = 5000
# Lot, entry at the till, milligrams.
Credit = tuple[str, str | None, int]


def lent(work: Work, page: Page, wanted: Wanted = ALL) -> tuple[list[dict[str, Any]], Listed]:
    """House silver lent to each batch, and whether it is whole again: returned once the pot is closed.

    By the day of any loan in force; of a client who has a lot in the batch.
    """
    of_batch = partial(has_clients_lot, batch=batches.c.number)
    lent_then = wanted.span.of(work, select(records_table.c.subject), records_table.c.made_at)
    with_loan = lent_then.where(*stages.weighed(loans.LOAN))
    query = select(batches).where(batches.c.number.in_(with_loan))
    mine = replace(wanted, span=EVER)
    query = mine.of(work, query, batches.c.made_at, client=of_batch, states=stages.of_loans())
    rows = page_of(work, query, batches, page)
    return [_lent(work, row.number) for row in rows.rows], rows


def _lent(work: Work, batch: str) -> dict[str, Any]:
    pot = pots.where_closed(work, batch, SILVER)
    terms = pots.terms_of(work, pots.of_batch(batch))
    lent_mg = sum(w.fine_mg for w in loans.of(work, batch, SILVER, terms))
    out_mg = journal.balance(work, postings.lent(batch), SILVER)
    posted = lots.reconciled(work, pot.number).get(SILVER)
    returned_mg = 0 if posted is None else _returned_mg(work, pot, posted.document)[batch]
    return {
        "batch": batch,
        "lent": printed(lent_mg),
        "still_out": printed(out_mg),
        "returned": printed(returned_mg),
        "lost": printed(lent_mg - out_mg - returned_mg),
        "closed_by": None if posted is None else posted.id,
        "entries": [
            {"id": r.id, "weight": r.data["weight"], "made_at": moment_text(r.made_at)}
            for r in records.in_force(work, batch, loans.LOAN)
            if bench.is_something(r.data)
        ],
    }


def _returned_mg(work: Work, pot: Pot, account: Json) -> dict[str, int]:
    """What came back of the loans of a pot, by batch as parts of the whole (A5): the house share, and
    no more than was lent; what is held counts at its estimate."""
    terms = pots.terms_of(work, pot)
    lent_mg = {b: sum(w.fine_mg for w in loans.of(work, b, SILVER, terms)) for b in pot.batches}
    share_mg = milligrams(exactly(account["house_share"]["g"]))
    back_mg = min(max(0, share_mg), sum(lent_mg.values()))
    return dict(zip(lent_mg, largest_remainder(back_mg, list(lent_mg.values())), strict=True))


def in_stock(work: Work) -> dict[str, Any]:
    """House silver still out in batches, and all fine silver in stock."""
    out = journal.place_balance(work, "house:lent", SILVER)
    return {"still_out": printed(out), "in_stock": printed(journal.balance(work, postings.STOCK, SILVER))}


def credited(work: Work) -> dict[str, tuple[int, datetime]]:
    """What the posted settlements credit in silver, by lot: its accountable silver, and since when.

    A credit is made by the settlement that settles the silver, be it the first or a further one (H8).
    """
    of = settlements
    query = select(of).where(of.c.state == "posted").order_by(of.c.posted_at, of.c.n)
    found: dict[str, tuple[int, datetime]] = {}
    for row in work.connection.execute(query):
        account = row.document["cases"]["final"]["metals"].get(SILVER)
        if account is not None:
            found[row.lot] = (milligrams(exactly(account["accountable"]["g"])), row.posted_at)
    return found


def comparison(work: Work, body: Json, faults: Faults, span: Span) -> dict[str, Any]:
    """The till's list of credits against the books; a total that explains itself.

    Only what the books credited within the span can be missing in the till.
    """
    till = [_credit(inner) for inner in Reader(body, faults).objects("credits")]
    faults.refuse_if_any()
    return _compared(work, till, span)


def _compared(work: Work, till: list[Credit], span: Span) -> dict[str, Any]:
    named, start, end = {lot for lot, _, _ in till}, span.start(work), span.end(work)
    books = {
        lot: mg
        for lot, (mg, at) in credited(work).items()
        if lot in named or ((start is None or at >= start) and (end is None or at <= end))
    }
    lines = compare(till, books)
    counts = {verdict: sum(line.verdict == verdict for line in lines) for verdict in _verdicts(lines)}
    till_mg, books_mg = (sum(getattr(line, side) or 0 for line in lines) for side in ("till_mg", "books_mg"))
    return {
        **span.shown(),
        "lines": [_shown(line) for line in lines],
        "counts": counts,
        "till_total": printed(till_mg),
        "books_total": printed(books_mg),
        "difference": printed(till_mg - books_mg),
        "explained_by": {
            verdict: printed(sum(line.difference_mg for line in lines if line.verdict == verdict))
            for verdict in counts
            if verdict != AGREED
        },
    }


def _verdicts(lines: tuple[Compared, ...]) -> list[str]:
    return list(dict.fromkeys(line.verdict for line in lines))


def _credit(r: Reader) -> Credit:
    entry = r.text("entry") if r.has("entry") else None
    return r.text("lot"), entry, milligrams(r.weight("weight", positive=False))


def _shown(line: Compared) -> dict[str, Any]:
    return {
        "lot": line.lot,
        "entry": line.entry,
        "verdict": line.verdict,
        "till": None if line.till_mg is None else printed(line.till_mg),
        "books": None if line.books_mg is None else printed(line.books_mg),
        "difference": printed(line.difference_mg),
    }


def comparison_of_csv(work: Work, text: str, span: Span) -> dict[str, Any]:
    """The same, of the list as it comes from a spreadsheet: lot, amount, unit, and an entry if there is one.

    Raises `Refused` with every fault, each by its row as the spreadsheet counts them.
    """
    faults = Faults()
    till = [_of_row(line, row, faults) for line, row in _rows(text)]
    faults.refuse_if_any()
    return _compared(work, till, span)


def _rows(text: str) -> list[tuple[int, dict[str | None, Any]]]:
    reader = csv.DictReader(io.StringIO(text, newline=""), strict=True)
    try:
        reader.fieldnames = [name.strip().lower() for name in reader.fieldnames or ()]
        rows = [(reader.line_num, dict[str | None, Any](row)) for row in reader]
    except csv.Error as error:
        wrong = f"row {reader.line_num}: {error}"
        raise Refused(Fault("unparsable-body", "", wrong, "a CSV file with commas between")) from error
    missing = [c for c in CSV_COLUMNS if c not in reader.fieldnames]
    if missing:
        right = "a first row with lot,amount,unit and commas between"
        raise Refused(Fault("missing", "", f"no column {', '.join(missing)}", right))
    if len(rows) > MOST_CREDITS:
        raise Refused(Fault("out-of-range", "", f"{len(rows)} rows", f"at most {MOST_CREDITS}"))
    return rows


def _of_row(line: int, row: dict[str | None, Any], faults: Faults) -> Credit:
    cells = {column: (row.get(column) or "").strip() for column in (*CSV_COLUMNS, "entry")}
    given = {"lot": cells["lot"] or None, "entry": cells["entry"] or None}
    weight = {"amount": cells["amount"], "unit": cells["unit"]}
    found = Faults()
    credit = _credit(Reader({**given, "weight": weight}, found))
    if None in row:
        found.add(
            "contradiction", "", "more cells than headings", "a decimal point, and no comma in a figure"
        )
    for fault in found.found:
        pointer = f"/rows/{line}{fault.pointer.replace('/weight', '')}"
        faults.add(fault.kind, pointer, f"row {line}: {fault.wrong}", fault.right)
    return credit
