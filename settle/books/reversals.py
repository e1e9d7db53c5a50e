"""What is posted, reversed by a new entry that names the old one, the reason and who (J2).

What rests on it goes first, and the refusal names it. For tax a settlement, purchase or bar sale
that is reversed draws a credit note.
"""

from typing import Any

from sqlalchemy import Row

from settle.books import (
    bar_sales,
    bars,
    erased,
    events,
    handovers,
    held,
    holds,
    house_bars,
    journal,
    lots,
    on_account,
    pots,
    purchases,
    reconciliations,
    records,
    settlements,
    till,
    undone,
)
from settle.books import terms as terms_of_business
from settle.books.pots import Pot
from settle.books.tables import settlements as settlements_table
from settle.books.work import Work
from settle.reckoning import postings, reissue
from settle.reckoning.problems import Fault, Faults, Refused
from settle.reckoning.reading import Json, Reader

HOW_WITHDRAWN = ("re_melted", "withdrawn")


def _refuse_resting(names: list[str]) -> None:
    if names:
        wrong = f"{', '.join(names)} rest{'s' if len(names) == 1 else ''} on it"
        raise Refused(Fault("something-rests-on-it", "", wrong, "the reversal of that first"))


def settlement(work: Work, name: str, body: Json, issuer: Json, faults: Faults) -> dict[str, Any]:
    """Reverse a posted settlement: its metals are closed, not settled, again; it draws a credit note."""
    reason = undone.reason_of(body, faults)
    row = settlements.row_of(work, name)
    if row.state != "posted":
        raise Refused(Fault("wrong-state", "", f"it is {row.state}", "a posted settlement"))
    _refuse_resting(list(_on_settlement(work, row)))
    _refuse_gone_on(work, row.number)
    note = _credit_note(work, row.document, reason, issuer)
    undone.undo(work, row.number, reason, [row.number], number=note["number"], document=note)
    work.connection.execute(
        settlements_table.update().where(settlements_table.c.id == row.id).values(state="reversed")
    )
    bars.unassign(work, row.lot, _settled_by(row))
    told = {
        "settlement": row.number,
        "lot": row.lot,
        "client": row.inputs["client"],
        "credit_note": note["number"],
    }
    events.emit(work, "settlement.reversed", row.number, told)
    return settlements.shown(work, row.id)


def _settled_by(row: Row[Any]) -> list[str]:
    """The metals that a settlement settled itself, not one before it (H8)."""
    return [metal for metal in row.inputs["recovered"] if metal not in row.inputs["sold_before"]]


def _on_settlement(work: Work, row: Row[Any]) -> list[str]:
    """What rests on a settlement: a further one, payments, metal that left or was sold since."""
    later = settlements.posted_of(work, row.lot)
    metals = _settled_by(row)
    return [
        *(other.number for other in later if other.inputs["further_to"] == row.number),
        *(payment.id for payment in till.standing(work, row.number)),
        *(b.serial for b in bars.of_lot(work, row.lot) if b.state == "handed_over" and b.metal in metals),
        *(
            record.id
            for record in holds.returns(work, row.lot, holds.SHOT)
            if set(record.data["fine_mg"]) & set(metals)
        ),
        *_drillings_back(work, row),
        *_off_account(work, row),
    ]


def _drillings_back(work: Work, row: Row[Any]) -> list[str]:
    """Drillings are handed back once a lot is settled at all: that rests on its first settlement."""
    is_first = row.inputs["further_to"] is None
    return [back.id for back in holds.returns(work, row.lot, holds.DRILLINGS)] if is_first else []


def _refuse_gone_on(work: Work, number: str) -> None:
    """Metal that became the house's, as it lay, and went into a batch since can't be given back."""
    for account, metal, mg in journal.legs_of(work, number):
        there = journal.balance(work, account, metal)
        if account == postings.BOUGHT and mg > there:
            wrong = f"{metal} of it went on since: {there} mg of bought metal are left of {mg} mg"
            raise Refused(Fault("something-rests-on-it", "", wrong, "metal that is still as it was bought"))


def _off_account(work: Work, row: Row[Any]) -> list[str]:
    """Sales and bars that took metal which this settlement credited to the client's account."""
    client = row.inputs["client"]
    account = postings.of_client(client, "metal")
    used: list[str] = []
    for of, metal, amount in journal.legs_of(work, row.number):
        if of == account and on_account.held_mg(work, client, metal) < -amount:
            kinds = (on_account.SALE, on_account.AS_BAR)
            taken = [r for kind in kinds for r in undone.standing(work, client, kind)]
            used += [r.id for r in taken if (r.data.get("asked") or r.data)["metal"] == metal]
    return used


def _credit_note(work: Work, posted: Json, reason: str, issuer: Json) -> dict[str, Any]:
    terms = terms_of_business.find(work, posted["terms"])
    return {
        "number": work.number("N"),
        "issuer": dict(issuer),
        "tax_point": work.moment,
        "reason": reason,
        **reissue.credit_note(posted, terms),
    }


def purchase(work: Work, number: str, body: Json, issuer: Json, faults: Faults) -> dict[str, Any]:
    """Reverse an outright purchase: metal and money are back where they were; it draws a credit note."""
    reason = undone.reason_of(body, faults)
    row = purchases.row_of(work, number)
    undone.refuse_undone(work, number)
    # Money was paid at once, so nothing of the entry names the client.
    erased.refuse_erased(work, row.client)
    _refuse_gone_on(work, number)
    note = _credit_note(work, row.document, reason, issuer)
    undone.undo(work, number, reason, [number], number=note["number"], document=note)
    return purchases.shown(work, number)


def bar_sale(work: Work, serial: str, body: Json, issuer: Json, faults: Faults) -> dict[str, Any]:
    """Reverse the sale of a bar that was not handed over: it is the house's again, the money back."""
    reason = undone.reason_of(body, faults)
    row = bars.row_of(work, serial)
    sale = bar_sales.standing(work, serial)
    if sale is None:
        raise Refused(Fault("wrong-state", "", f"{serial} was not sold", "a bar that was sold"))
    house_bars.refuse_handed_over(row)
    name = bar_sales.name_of(sale)
    note = _credit_note(work, bar_sales.posted(work, sale) | {"number": name}, reason, issuer)
    undone.undo(work, name, reason, [name], number=note["number"], document=note)
    for payment in till.standing(work, name):
        till.reverse(work, payment, reason)
    bars.change(work, row, state="poured", client=None)
    return bars.shown(work, serial) | {"reversal": undone.shown(work, name)}


def reconciliation(work: Work, number: str, body: Json, faults: Faults) -> dict[str, Any]:
    """Reverse the posted account of some metals of a batch or recovery, or of all: they are open again."""
    reason = undone.reason_of(body, faults)
    pot = reconciliations.pot_of(work, number)
    posted = lots.reconciled(work, number)
    wanted = _wanted(posted, body)
    _refuse_resting([name for metal in wanted for name in _on_account_of(work, pot, metal)])
    for metal in wanted:
        undone.undo(work, posted[metal].id, reason, [posted[metal].id])
    return reconciliations.preview(work, number)


def _wanted(posted: dict[str, Row[Any]], body: Json) -> list[str]:
    asked = body.get("metals") or list(posted)
    if not asked:
        raise Refused(Fault("wrong-state", "", "nothing is reconciled", "a metal whose account is posted"))
    for i, metal in enumerate(asked):
        if metal not in posted:
            right = "one of " + (", ".join(posted) or "none")
            raise Refused(Fault("wrong-state", f"/metals/{i}", f"{metal} is not reconciled", right))
    return list(dict.fromkeys(asked))


def _on_account_of(work: Work, pot: Pot, metal: str) -> list[str]:
    """What rests on the account of a metal: settlements of it, and what became of its held metal."""
    settled = [
        row.number
        for lot in pots.lot_rows(work, pot)
        for row in settlements.posted_of(work, lot.number)
        if metal in _settled_by(row)
    ]
    ended = [
        r.id
        for subject in pot.subjects
        for r in records.in_force(work, subject, held.ENDED)
        if (kept := records.find(work, r.data["held"])) is not None and kept.data["metal"] == metal
    ]
    return [*settled, *ended]


def withdraw_bar(work: Work, serial: str, body: Json, faults: Faults) -> dict[str, Any]:
    """Withdraw a bar that is nobody's yet: re-melted, its metal is loose stock again."""
    reason = undone.reason_of(body, faults)
    row = bars.row_of(work, serial)
    how = Reader(body, faults).word("how", HOW_WITHDRAWN, "re_melted")
    faults.refuse_if_any()
    _refuse_owned(work, row)
    if row.lot is None and _was_bought(work, row):
        # Nothing is undone: it was bought, and is a bar no more.
        name = undone.undo(work, serial, reason, [], document={"how": how})
        journal.post(work, postings.remelted(name, serial, row.metal, bars.fine_mg(row.data)))
    else:
        undone.undo(work, serial, reason, [row.record], document={"how": how})
    bars.change(work, row, state="withdrawn")
    return bars.shown(work, serial) | {"reversal": undone.shown(work, serial)}


def _was_bought(work: Work, row: Row[Any]) -> bool:
    entry = records.find(work, row.record)
    return entry is not None and entry.data["kind"] == house_bars.BOUGHT


def _refuse_owned(work: Work, row: Row[Any]) -> None:
    if row.state == "withdrawn":
        raise Refused(Fault("wrong-state", "", f"{row.serial} is withdrawn", "a bar in the house"))
    if row.state == "poured":
        return
    if row.lot is not None:
        _refuse_resting(
            [s.number for s in settlements.posted_of(work, row.lot) if row.metal in _settled_by(s)]
        )
    sale = bar_sales.standing(work, row.serial)
    _refuse_resting(
        [
            *([] if sale is None else [bar_sales.name_of(sale)]),
            *(
                r.id
                for r in undone.standing(work, row.client, on_account.AS_BAR)
                if r.data["bar"] == row.serial
            ),
            *(r.id for r in undone.standing(work, row.serial, handovers.HANDOVER)),
        ]
    )


def difference(work: Work, name: str) -> dict[str, Any]:
    """Figure by figure how a settlement differs from the one that it replaces; `not-found` for none."""
    row = settlements.row_of(work, name)
    replaced = row.inputs["replaces"]
    if replaced is None:
        raise Refused(Fault("not-found", "", "it replaces no other", "a settlement after a reversed one"))
    old = settlements.row_of(work, replaced)
    reversal = undone.shown(work, replaced)
    return {
        "id": row.id,
        "number": row.number,
        "replaces": replaced,
        "reversal": reversal,
        "figures": reissue.difference(old.document, row.document),
    }
