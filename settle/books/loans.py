"""House silver lent to a batch so that its gold can be parted: it stays the house's (H1)."""

from settle.books import balances, bench, held, journal, melts, records, scales
from settle.books.work import Work
from settle.reckoning import postings
from settle.reckoning.batch import Weighed
from settle.reckoning.exact import ZERO, plain
from settle.reckoning.fineness import WHOLE_PPT
from settle.reckoning.item import Scale
from settle.reckoning.notices import ACIDS, Notice
from settle.reckoning.problems import NO_FAULTS, Fault, Faults, Refused
from settle.reckoning.reading import Json, Reader
from settle.reckoning.terms import Terms
from settle.reckoning.weight import printed

LOAN = "loan"
# What comes with house silver: the silver itself, and the gold in it.
METALS = ("silver", "gold")


def lend(work: Work, batch: str, terms: Terms, body: Json, faults: Faults) -> tuple[str, list[Notice]]:
    """Lend house silver to a batch, or correct a loan; its id and notices.

    A correction to a weight of nothing strikes out what was never lent.
    Raises `Refused`: `not-in-stock` where the house doesn't have it, `something-rests-on-it`.
    """
    known = scales.known(work)
    lent = read(body, terms, known, faults)
    bench.refuse_nothing(body, lent["silver"].weight_g, faults)
    faults.refuse_if_any()
    old = records.standing(work, batch, LOAN, body)
    undone = {} if old is None else read(old.data, terms, known, NO_FAULTS)
    for metal, weighed in [*lent.items(), *undone.items()]:
        if weighed.fine_mg:
            held.refuse_reconciled(work, batch, metal)
    if old is not None:
        journal.undo_standing(work, old.id, journal.CORRECTED)
    fine_mg = {m: w.fine_mg for m, w in lent.items() if w.fine_mg}
    for metal, mg in fine_mg.items():
        _refuse_beyond_stock(work, metal, mg)
    data = {k: v for k, v in body.items() if k not in ("corrects", "reason")}
    # What the house's silver was taken to be: a lot that joins later may bring other terms to the batch.
    data |= {"fineness": plain(lent["silver"].assay_ppt), "gold": plain(lent["gold"].assay_ppt)}
    record = records.add(work, batch, LOAN, data, body.get("corrects"), body.get("reason"))
    journal.post(work, postings.silver_lent(record.id, batch, fine_mg))
    return record.id, [ACIDS, *melts.weighing_notices(work, body, lent["silver"].weight_g, known)]


def _refuse_beyond_stock(work: Work, metal: str, fine_mg: int) -> None:
    free = max(0, free_mg(work, metal))
    if fine_mg > free:
        wrong = f"there are {printed(free)['g']} g of fine {metal} in stock that are the house's"
        right = f"{metal} entered as stock first, or less of it"
        raise Refused(Fault("not-in-stock", "/weight", wrong, right))


def free_mg(work: Work, metal: str) -> int:
    """What of the stock is the house's: with what is in process, less all that clients are owed but their
    bars, which are no stock."""
    held = balances.of_all(work, journal.last_entry(work))
    stock = held.get((postings.STOCK, metal), 0)
    process = sum(held.get((place, metal), 0) for place in ("house:process", "house:held"))
    clients = (mg for (place, of), mg in held.items() if of == metal and _is_owed(place))
    return min(stock, stock + process + sum(clients))


def _is_owed(place: str) -> bool:
    return place.startswith("client:") and not place.endswith(":bars")


def read(body: Json, terms: Terms, known: dict[str, Scale], faults: Faults) -> dict[str, Weighed]:
    """What is lent, by metal: the house silver as weighed, of the terms' fineness unless it says its own."""
    r = Reader(body, faults)
    weight = r.weight("weight", positive=False)
    d = bench.division(r, terms, known)
    silver = r.decimal("fineness", terms.house_silver_ppt, most=WHOLE_PPT)
    gold = r.decimal("gold", terms.house_gold_ppt, most=WHOLE_PPT)
    u = r.decimal("u", ZERO, most=WHOLE_PPT)
    if silver + gold > WHOLE_PPT:
        r.fault("gold", "fineness-above-1000", "silver and gold exceed 1000 together", "1000 at most")
    return {"silver": Weighed(weight, d, silver, u**2), "gold": Weighed(weight, d, gold)}


def of(work: Work, batch: str, metal: str, terms: Terms) -> list[Weighed]:
    """What was lent of one metal to a batch."""
    if metal not in METALS:
        return []
    known = scales.known(work)
    there = (r.data for r in records.in_force(work, batch, LOAN) if bench.is_something(r.data))
    return [read(data, terms, known, NO_FAULTS)[metal] for data in there]
