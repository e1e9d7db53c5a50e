"""The account of a batch or silver recovery, metal by metal: looked at, then posted, which closes
the metal (H2 to H8)."""

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from sqlalchemy import Row, select

from settle.books import batches, bench, chain, drifts, events, journal, lots, owner, pots, recoveries
from settle.books import terms as terms_of_business
from settle.books.pots import Pot
from settle.books.tables import reconciliations
from settle.books.work import Work
from settle.reckoning import document, postings
from settle.reckoning.batch import QUERY, Reconciled, reconcile
from settle.reckoning.ledger import Entry
from settle.reckoning.problems import Fault, Faults, Refused
from settle.reckoning.reading import Json, Reader
from settle.reckoning.working import Working

_SHARED_OUT = ("in", "own", "lent", "out", "held", "credited", "house_share")


def pot_of(work: Work, number: str) -> Pot:
    """The pot under a number of a batch or recovery; `not-found` where there is none."""
    if number.startswith("R-"):
        recoveries.row_of(work, number)
        return pots.of_recovery(work, number)
    batches.row_of(work, number)
    return pots.of_batch(number)


def preview(work: Work, number: str) -> dict[str, Any]:
    """The account of each metal as it stands: posted, to be posted, or without an outturn yet."""
    pot = pot_of(work, number)
    posted = lots.reconciled(work, number)
    accounts = {}
    for metal in pots.metals_of(work, pot):
        if metal in posted:
            accounts[metal] = posted_shown(posted[metal])
        elif pots.came_out(work, pot, metal) or pots.kept_in(work, pot, metal):
            accounts[metal] = {**_reckoned(work, pot, metal)[1], "state": "open"}
        else:
            accounts[metal] = {"metal": metal, "state": "no_outturn"}
    return {
        "subject": number,
        "batches": list(pot.batches),
        "metals": accounts,
        "drift": {metal: drifts.of(work, metal) for metal in accounts},
    }


def _reckoned(work: Work, pot: Pot, metal: str) -> tuple[Reconciled, dict[str, Any]]:
    terms = pots.terms_of(work, pot)
    rows = Working()
    in_pot = pots.lots_in(work, pot, metal)
    account = reconcile(
        terms,
        metal,
        in_pot,
        pots.lent(work, pot, metal),
        pots.came_out(work, pot, metal),
        pots.kept_in(work, pot, metal),
        rows,
    )
    return account, document.reconciliation(account, [lot.lot for lot in in_pot], terms, [], rows)


def post(work: Work, number: str, body: Json, faults: Faults) -> dict[str, Any]:
    """Post the account of some metals, or of all that have an outturn; each is closed by it. Answers the
    whole account as it stands then.

    Raises `Refused`: `wrong-state`, `beyond-balance` for a query without an owner's word,
    `forbidden` for an override by a key without the scope.
    """
    pot = pot_of(work, number)
    r = Reader(body, faults)
    word = owner.word(work, r)
    faults.refuse_if_any()
    wanted = _wanted(work, pot, body)
    _refuse_disputed(work, pot, wanted)
    posted = {metal: _post_metal(work, pot, metal, word) for metal in wanted}
    _tell(work, pot, posted)
    return preview(work, number)


def _tell(work: Work, pot: Pot, posted: Json) -> None:
    """That metals of the pot's batches are closed, and the silver that its lots are credited."""
    names = [account["id"] for account in posted.values()]
    for batch in pot.batches:
        told = {"batch": batch, "metals": list(posted), "reconciliations": names}
        events.emit(work, "batch.closed", batch, told)
    for lot, credited in posted.get(pots.SILVER, {"credited": {}})["credited"].items():
        told = {"lot": lot, "credited": credited, "reconciliation": posted[pots.SILVER]["id"]}
        events.emit(work, "silver.credited", lot, told)


def _refuse_disputed(work: Work, pot: Pot, metals: Iterable[str]) -> None:
    """Shares rest on what is agreed: an assay that waits for an umpire holds the account back (D3). Gold
    decides what silver a lot needed."""
    faults = Faults()
    for row in pots.lot_rows(work, pot):
        disputed = bench.disputed(work, row.number, terms_of_business.find(work, row.terms))
        for metal in metals:
            rests_on = {metal, "gold"} if metal == pots.SILVER else {metal}
            for of in rests_on.intersection(disputed):
                wrong = f"the assays of {of} of {row.number} lie apart"
                faults.add(
                    "wrong-state", f"/metals/{metal}", wrong, "an umpire's assay, or the parties' agreement"
                )
    faults.refuse_if_any()


def _wanted(work: Work, pot: Pot, body: Json) -> list[str]:
    there = pots.metals_of(work, pot)
    closed = lots.reconciled(work, pot.number)
    ready = [m for m in there if m not in closed and pots.came_out(work, pot, m)]
    asked = body.get("metals") or ready
    if not asked:
        raise Refused(Fault("wrong-state", "", "no metal has an outturn that is not closed", "an outturn"))
    for i, metal in enumerate(asked):
        if metal not in ready:
            state = f"{closed[metal].id} closed it" if metal in closed else "it has no outturn here"
            right = "one of " + (", ".join(ready) or "none")
            raise Refused(Fault("wrong-state", f"/metals/{i}", state, right))
    return _in_order(asked, there)


def _in_order(asked: Iterable[str], there: Iterable[str]) -> list[str]:
    wanted = set(asked)
    return [metal for metal in there if metal in wanted]


def _post_metal(work: Work, pot: Pot, metal: str, word: str | None) -> dict[str, Any]:
    account, reckoned = _reckoned(work, pot, metal)
    if account.verdict == QUERY and word is None:
        right = 'an owner\'s word: "override": {"reason": …}'
        wrong = reckoned["verdict_in_words"].removesuffix(".")
        raise Refused(Fault("beyond-balance", f"/metals/{metal}", wrong, right))
    name = work.name("RC")
    kept = {
        "id": name,
        "subject": pot.number,
        "batches": list(pot.batches),
        "posted_at": work.moment,
        **reckoned,
        "owners_word": word if account.verdict == QUERY else None,
    }
    work.connection.execute(
        reconciliations.insert().values(
            id=name,
            batch=None if pot.of_recovery else pot.number,
            recovery=pot.number if pot.of_recovery else None,
            metal=metal,
            document=kept,
            hash=document.digest(kept),
            posted_at=work.now,
            **work.made_by,
        )
    )
    chain.seal(work, reconciliations, name)
    journal.post(work, _entry(work, name, pot, account))
    return posted_shown(_row(work, name))


def _entry(work: Work, name: str, pot: Pot, account: Reconciled) -> Entry:
    return postings.reconciled(name, pot.number, pots.in_pot(work, pot, account.metal), account)


def again(work: Work, row: Row[Any]) -> tuple[dict[str, Any], Entry]:
    """A posted account put together anew from the pot's entries as they stood when it was posted,
    and the entry that it makes."""
    pot = Pot(row.document["subject"], tuple(row.document["batches"]), row.recovery is not None)
    # A reversed account rests on entries that were corrected since.
    as_posted = replace(work, last_seen=chain.last_entry_before(work, reconciliations, row.id))
    account, reckoned = _reckoned(as_posted, pot, row.metal)
    if "recovery" not in row.document:
        # It was posted when a residual was still printed to the milligram: what it shares out is judged.
        return row.document | {k: reckoned[k] for k in _SHARED_OUT}, _entry(as_posted, row.id, pot, account)
    about = {k: row.document[k] for k in ("id", "subject", "batches", "posted_at", "owners_word")}
    return about | reckoned, _entry(as_posted, row.id, pot, account)


def _row(work: Work, name: str) -> Row[Any]:
    return work.connection.execute(select(reconciliations).where(reconciliations.c.id == name)).one()


def posted_shown(row: Row[Any]) -> dict[str, Any]:
    return {**row.document, "state": "posted", "hash": row.hash}
