"""Pour plans, the parting plan of a batch, and what a pour took and lost (E5, E6, H1)."""

from collections.abc import Mapping
from typing import Any

from sqlalchemy import select

from settle.books import bars, batches, bench, journal, lots, owner, pots, records, scales
from settle.books.tables import moulds
from settle.books.work import Work
from settle.reckoning import bath, postings
from settle.reckoning.batch import Weighed
from settle.reckoning.exact import ZERO, Exact, plain, shown
from settle.reckoning.ledger import Entry
from settle.reckoning.notices import HOT_METAL
from settle.reckoning.pour import PourAccount, pour_account
from settle.reckoning.pour_plan import pour_plan
from settle.reckoning.problems import Faults, Refused
from settle.reckoning.reading import Json, Kept, Reader
from settle.reckoning.tables import METALS
from settle.reckoning.terms import Terms
from settle.reckoning.weight import printed
from settle.reckoning.working import Working

WISHES = ("least_left", "fewest_bars")


def plan(work: Work, body: Json, faults: Faults) -> dict[str, Any]:
    """The best plan for a weight in hand (E5): moulds by name or by nominal weight. Given a lot, also
    what bars of its wishes it covers (E4)."""
    r = Reader(body, faults)
    lot = lots.named(work, r, "lot")
    weight, wish = r.weight("weight"), r.word("wish", WISHES, "least_left")
    over_pour = r.weight("over_pour", Exact(5, 100), positive=False)
    entered = _moulds(work)
    nominal = [_nominal(r, i, asked, entered) for i, asked in enumerate(body.get("moulds") or [])]
    if not nominal and not faults.found:
        r.missing("moulds", 'moulds by name, or nominal weights such as {"amount": "20", "unit": "g"}')
    faults.refuse_if_any()
    found = pour_plan(weight, nominal, over_pour, wish)
    return {
        "wish": wish,
        "weight": printed(weight),
        "bars": [
            {"nominal": printed(mould), "count": count}
            for mould, count in zip(found.moulds_g, found.counts, strict=True)
        ],
        "bars_total": found.bars,
        "leaves": printed(found.leaves_g),
        "leaves_at_least": printed(max(ZERO, found.leaves_at_least_g)),
        "bars_covered": None if lot is None else lots.bars_covered(work, lot),
        "notices": [HOT_METAL.as_json()],
    }


def _moulds(work: Work) -> dict[str, Exact]:
    rows = work.connection.execute(select(moulds.c.data))
    return {row.data["name"]: Kept(row.data).weight("nominal") for row in rows}


def _nominal(r: Reader, position: int, asked: Any, entered: Mapping[str, Exact]) -> Exact:
    if isinstance(asked, str):
        if asked in entered:
            return entered[asked]
        right = "one of " + ", ".join(entered) if entered else "a mould that was entered first"
        r.faults.add("unknown-reference", r.at("moulds", position), f'no mould "{asked[:30]}"', right)
        return Exact(1)
    return Reader({str(position): asked}, r.faults, r.at("moulds")).weight(str(position))


def parting_plan(work: Work, batch: str) -> dict[str, Any]:
    """House silver to add, planned on the high gold figures, with the bath's chemicals and cautions (H1)."""
    batches.row_of(work, batch)
    pot = pots.of_batch(batch)
    terms = pots.terms_of(work, pot)
    rows = Working()
    planned = bath.plan(terms, _charged(work, pot), rows)
    unit = terms.weight_unit
    return {
        "batch": batch,
        "lots": [row.number for row in pots.lot_rows(work, pot)],
        "bars_covered": {row.number: lots.bars_covered(work, row) for row in pots.lot_rows(work, pot)},
        "silver_to_add": printed(planned.add.weight_g, unit),
        "silver_to_add_fine": printed(planned.add.fine_g, unit),
        "house_silver": {"fineness": plain(terms.house_silver_ppt), "gold": plain(terms.house_gold_ppt)},
        "melt_with_silver": printed(planned.melt_g, unit),
        "gold_fraction": {
            "likely": shown(planned.gold_fraction_likely, 3),
            "high": shown(planned.gold_fraction_high, 3),
            "target": plain(terms.parting_target),
        },
        "silver_to_gold": None if planned.silver_to_gold is None else shown(planned.silver_to_gold, 2),
        "quantities": [_quantity(q, unit) for q in planned.quantities],
        "notices": [n.as_json() for n in planned.notices],
        "working": [row.as_json() for row in rows.rows],
    }


def _charged(work: Work, pot: pots.Pot) -> bath.Charged:
    """The melts of a batch, gold likely and high (two standard uncertainties above), silver likely."""
    gold, silver = pots.lots_in(work, pot, "gold"), pots.lots_in(work, pot, "silver")
    melt = sum((lot.own.weight_g for lot in gold), ZERO)
    likely = sum((lot.own.fine_g for lot in gold), ZERO)
    return bath.Charged(
        melt_g=melt,
        gold_likely_g=likely,
        gold_high_g=sum((lot.own.high_fine_g for lot in gold), ZERO),
        silver_g=sum((lot.own.fine_g for lot in silver), ZERO),
    )


def _quantity(of: bath.Quantity, unit: str) -> dict[str, Any]:
    return {
        "chemical": of.chemical,
        "metal": of.metal,
        "metal_weight": printed(of.metal_g, unit),
        "from": printed(of.from_g, unit),
        "to": printed(of.to_g, unit),
        "sources": [{"equation": r.equation, "source": r.source, "seen": r.seen} for r in of.by],
    }


def pour(work: Work, batch: str, body: Json, faults: Faults) -> dict[str, Any]:
    """Record what a pour took from stock: bars, trimmings, and the loss, which is the house's (E6).

    A loss beyond `pour_loss` of the terms wants an owner's word.
    """
    batches.row_of(work, batch)
    pot = pots.of_batch(batch)
    terms = pots.terms_of(work, pot)
    r = Reader(body, faults)
    metal = r.word("metal", METALS)
    word = owner.word(work, r)
    taken = _weighed(work, r, "taken", terms)
    trimmings = [_weighed(work, r, "trimmings", terms)] if r.has("trimmings") else []
    readings = [bars.read_reading(bar.data) for bar in _bars(work, batch, metal, body, faults)]
    faults.refuse_if_any()
    account = pour_account([taken], readings, trimmings, terms.pour_loss)
    fault = account.fault("/taken")
    if fault is not None and word is None:
        raise Refused(fault)
    old = records.standing(work, batch, bars.POUR, body)
    if old is not None:
        journal.undo_standing(work, old.id, journal.CORRECTED)
    data = {k: v for k, v in body.items() if k not in ("corrects", "reason")}
    record = records.add(work, batch, bars.POUR, data, body.get("corrects"), body.get("reason"))
    journal.post(work, postings.pour_lost(record.id, batch, metal, account.loss_mg))
    return _shown(record.id, account, terms)


def entry_of(work: Work, record: records.Record, terms: Terms) -> Entry:
    """The entry of a pour, reckoned from what it says and the readings that its bars had then."""
    r = Kept(record.data)
    taken = _weighed(work, r, "taken", terms)
    trimmings = [_weighed(work, r, "trimmings", terms)] if r.has("trimmings") else []
    readings = [bars.reading_before(work, serial, record.id) for serial in record.data["bars"]]
    account = pour_account([taken], readings, trimmings, terms.pour_loss)
    return postings.pour_lost(record.id, record.subject, record.data["metal"], account.loss_mg)


def _weighed(work: Work, r: Reader, field: str, terms: Terms) -> Weighed:
    inner = r.object(field)
    fineness, u = bench.read_fineness(inner.object("assay"))
    return Weighed(inner.weight("weight"), bench.division(inner, terms, scales.known(work)), fineness, u**2)


def _bars(work: Work, batch: str, metal: str, body: Json, faults: Faults) -> list[Any]:
    """The bars that a pour made; each is named by one pour only."""
    there = {b.serial: b for b in bars.of_batch(work, batch) if b.metal == metal and b.state != "withdrawn"}
    others = (r for r in records.in_force(work, batch, bars.POUR) if r.id != body.get("corrects"))
    named = {serial for other in others for serial in other.data["bars"]}
    for i, serial in enumerate(body.get("bars") or []):
        if serial not in there:
            faults.add(
                "unknown-reference", f"/bars/{i}", f"{serial[:20]} is no {metal} bar of {batch}", "its bars"
            )
        elif serial in named:
            faults.add("wrong-state", f"/bars/{i}", f"{serial} is in a pour already", "each bar once")
        named.add(serial)
    return [there[s] for s in body.get("bars") or [] if s in there]


def _shown(entry: str, account: PourAccount, terms: Terms) -> dict[str, Any]:
    unit = terms.weight_unit
    return {
        "entry": entry,
        "taken": printed(account.taken_mg, unit),
        "bars": printed(account.bars_mg, unit),
        "trimmings": printed(account.trimmings_mg, unit),
        "loss": printed(account.loss_mg, unit),
        "allowed": printed(account.allowed_g, unit),
        "notices": [HOT_METAL.as_json()],
    }
