"""How far lots, batches, recoveries and loans are, as conditions of SQL: what lists are narrowed by.

What is shown of one of them is reckoned from its entries (`lots.state_of`, `batches.shown`); a test holds
the two against each other.
"""

from sqlalchemy import Column, ColumnElement, and_, exists, func, or_, select

from settle.books import bench, holds, loans, outturns, pots, records, undone
from settle.books.columns import Member
from settle.books.tables import batches, lots, reconciliations, recoveries, recovery_batches
from settle.books.tables import records as records_table
from settle.reckoning.statement import HOUSE
from settle.reckoning.tables import METALS

Condition = ColumnElement[bool]


def of_lots() -> dict[str, Condition]:
    """received → melted → assayed → in_batch → refined; or returned."""
    whole = Member(records_table.c.data, "what") == holds.THE_LOT
    gone = _has(lots.c.number, holds.RETURN, whole, ~undone.is_undone(records_table.c.id))
    in_batch = lots.c.batch.is_not(None)
    refined = in_batch & _is_closed(lots.c.batch)
    by_house = Member(records_table.c.data, "party") == HOUSE
    assayed, melted = _has(lots.c.number, bench.ASSAY, by_house), _has(lots.c.number, bench.MELT)
    found = {}
    left: Condition = ~gone
    for state, reached in (("refined", refined), ("in_batch", in_batch), ("assayed", assayed)):
        found[state] = left & reached
        left = left & ~reached
    return {"returned": gone, **found, "melted": left & melted, "received": left & ~melted}


def of_batches() -> dict[str, Condition]:
    """open → outturn → closed of any metal; of `open` a superset, for what an assay found may round to nought
    or be of a metal that the terms leave out."""
    number = batches.c.number
    metals = [(_is_closed(number, metal), _came_out(number, metal), metal) for metal in METALS]
    return {
        "closed": _is_closed(number),
        "outturn": or_(*(out & ~closed for closed, out, _ in metals)),
        "open": or_(*(~out & ~closed & _went_in(metal) for closed, out, metal in metals)),
    }


def of_recoveries() -> dict[str, Condition]:
    """open → outturn → closed of the silver."""
    number = recoveries.c.number
    rows = select(recovery_batches.c.batch).where(recovery_batches.c.recovery == number).correlate(recoveries)
    closed = _stands(reconciliations.c.recovery == number)
    out = _came_out(number, pots.SILVER) | exists().where(
        *weighed(outturns.OUTTURN), _is_of(pots.SILVER), records_table.c.subject.in_(rows)
    )
    return {"closed": closed, "outturn": ~closed & out, "open": ~closed & ~out}


def of_loans() -> dict[str, Condition]:
    """Of the silver lent to a batch: out until the account that gives it back is posted."""
    closed = _is_closed(batches.c.number, pots.SILVER)
    return {"out": ~closed, "closed": closed}


def _of_kind(kind: str) -> tuple[Condition, ...]:
    return records_table.c.kind == kind, records.is_in_force()


def weighed(kind: str) -> tuple[Condition, ...]:
    """As conditions: an entry of a kind in force, and of some weight, so that it was not struck out."""
    return *_of_kind(kind), _is_something(Member(Member(records_table.c.data, "weight"), "amount"))


def _is_something(decimal: ColumnElement[str]) -> Condition:
    # Of a decimal that is nought, nothing is left but noughts and the point.
    return func.trim(decimal, "0.") != ""


def _has(subject: ColumnElement[str], kind: str, *also: Condition) -> Condition:
    """An entry in force of this kind."""
    return exists().where(records_table.c.subject == subject, *_of_kind(kind), *also)


def _is_of(metal: str) -> Condition:
    return Member(records_table.c.data, "metal") == metal


def _came_out(subject: ColumnElement[str], metal: str) -> Condition:
    return exists().where(records_table.c.subject == subject, *weighed(outturns.OUTTURN), _is_of(metal))


def _went_in(metal: str) -> Condition:
    """Lent, or found by an assay of a lot of the batch."""
    fineness = Member(Member(Member(records_table.c.data, "finenesses"), metal), "fineness")
    found = exists().where(
        lots.c.batch == batches.c.number,
        records_table.c.subject == lots.c.number,
        *_of_kind(bench.ASSAY),
        _is_something(fineness),
    )
    lent = exists().where(records_table.c.subject == batches.c.number, *weighed(loans.LOAN))
    return found | lent if metal in loans.METALS else found


def _is_closed(batch: Column[str], metal: str | None = None) -> Condition:
    """The account of a metal, or of any, is posted: the batch's own, or its recovery's."""
    of = reconciliations.c
    recovery = select(recovery_batches.c.recovery).where(recovery_batches.c.batch == batch)
    through = recovery.correlate(batch.table)
    posted = or_(of.batch == batch, of.recovery.in_(through))
    return _stands(posted if metal is None else and_(posted, of.metal == metal))


def _stands(posted: Condition) -> Condition:
    return exists().where(posted, ~undone.is_undone(reconciliations.c.id))
