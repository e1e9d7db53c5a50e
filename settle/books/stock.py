"""House stock: what was there at the opening, what was bought."""

from collections.abc import Mapping
from typing import Any

from settle.books import journal, records, till
from settle.books.columns import moment_text
from settle.books.listing import Listed, Page
from settle.books.periods import Span
from settle.books.work import Work
from settle.reckoning import postings
from settle.reckoning.fineness import WHOLE_PPT
from settle.reckoning.ledger import Entry
from settle.reckoning.problems import NO_FAULTS, Fault, Faults, Refused
from settle.reckoning.reading import Json, Reader
from settle.reckoning.tables import METALS
from settle.reckoning.weight import milligrams, printed

HOUSE = "house"
STOCK, OPENING = "stock", "opening"


def enter(work: Work, body: Json, faults: Faults) -> dict[str, Any]:
    """Enter metal of the house's: `opening`, or `bought` with what it cost.

    Raises `Refused`: `wrong-state` for a metal that the books were opened with before.
    """
    kind, fine_mg, _ = _read(body, faults)
    faults.refuse_if_any()
    if kind == OPENING:
        _refuse_opened(work, fine_mg)
    record = records.add(work, HOUSE, STOCK, dict(body))
    journal.post(work, entry_of(record))
    return _shown(record) | {"stock": held(work)}


def _shown(record: records.Record) -> dict[str, Any]:
    about = {"id": record.id, "made_at": moment_text(record.made_at), "person": record.person}
    return {**about, **record.data}


def listed(work: Work, page: Page, span: Span) -> tuple[list[dict[str, Any]], Listed]:
    """A page of the metal that was entered, newest first."""
    found, rows = records.listed(work, STOCK, page, span)
    return [_shown(record) for record in found], rows


def entry_of(record: records.Record) -> Entry:
    """The entry that metal entered makes, from what was entered alone."""
    kind, fine_mg, cost = _read(record.data, NO_FAULTS)
    if kind == OPENING:
        return postings.stock_opening(record.id, fine_mg)
    return postings.stock_bought(record.id, fine_mg, *cost)


def _read(body: Json, faults: Faults) -> tuple[str, dict[str, int], tuple[str, str, int]]:
    """The kind, milligrams of fine metal, and of what was bought the place, currency and minor units
    that it was paid in."""
    r = Reader(body, faults)
    kind = r.word("kind", (OPENING, "bought"))
    if not body.get("metals"):
        r.missing("metals", "at least one metal with its weight and fineness")
    fine_mg: dict[str, int] = {}
    for inner in r.objects("metals"):
        metal = inner.word("metal", METALS)
        weight, fineness = inner.weight("weight"), inner.decimal("fineness", most=WHOLE_PPT)
        fine_mg[metal] = fine_mg.get(metal, 0) + milligrams(weight * fineness / WHOLE_PPT)
    return kind, fine_mg, _cost(r, kind)


def _refuse_opened(work: Work, fine_mg: Mapping[str, int]) -> None:
    """Books are opened once: the same metal entered again is most likely the same metal."""
    for record in records.in_force(work, HOUSE, STOCK):
        again = {row["metal"] for row in record.data["metals"]} & set(fine_mg)
        if record.data["kind"] == OPENING and again:
            wrong = f"{record.id} is the opening of {', '.join(sorted(again))}"
            right = "what was bought since; a booked count puts right what was entered"
            raise Refused(Fault("wrong-state", "/metals", wrong, right))


def _cost(r: Reader, kind: str) -> tuple[str, str, int]:
    place = till.PLACES[r.word("paid_in", till.PAID_IN, "cash")]
    if kind == OPENING:
        for field in ("cost", "paid_in"):
            if r.has(field):
                r.fault(field, "contradiction", "an opening was not bought", "leave it out")
        return place, "", 0
    if not r.has("cost"):
        r.missing("cost", 'what was paid, such as {"amount": "310.00", "currency": "GBP"}')
        return place, "", 0
    return place, *till.read_money(r, "cost")


def held(work: Work) -> dict[str, dict[str, str]]:
    """Fine metal that the house holds in stock, its own and its clients' alike."""
    return {m: printed(journal.balance(work, postings.STOCK, m)) for m in METALS}
