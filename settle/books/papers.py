"""What stands on a paper beside its document, and papers that are put together from several entries."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from sqlalchemy import select

from settle.books import (
    accounts,
    balances,
    bars,
    bench,
    certificates,
    chain,
    clients,
    drifts,
    lots,
    pots,
    quotes,
    reconciliations,
    records,
    scales,
    settlements,
)
from settle.books import terms as terms_of_business
from settle.books.columns import moment_text
from settle.books.tables import journal_entries, prices
from settle.books.tables import settlements as settlements_table
from settle.books.tables import terms as terms_table
from settle.books.work import Work
from settle.reckoning import record
from settle.reckoning.drift import chart
from settle.reckoning.exact import Exact, plain, shown
from settle.reckoning.reading import Json
from settle.reckoning.terms import Terms
from settle.reckoning.weight import printed


def beside(work: Work, paper: Json) -> tuple[dict[str, Any] | None, dict[str, Any]]:
    """The client by name, and facts of the document's terms and prices that it names only."""
    client = paper.get("client")
    # A credit note names its client in full already.
    who = clients.find(work, client) if isinstance(client, str) else client
    number = paper.get("terms")
    facts: dict[str, Any] = {"prices": _entered(work, _prices(paper))}
    if isinstance(number, str):
        facts |= _of_terms(terms_of_business.find(work, number))
        facts |= _parting_silver(paper)
        if paper.get("posted_at"):
            facts |= _until(work, number, paper["posted_at"])
            facts["balances"] = _balances(work, client, paper.get("number"))
        if "assay" in paper:
            facts["assays"] = _assays(work, paper)
    return who, facts


def _prices(paper: Json) -> Mapping[str, Json]:
    """The prices that a paper names; the invoice of a bar has one."""
    return paper.get("prices") or ({paper["metal"]: paper["price"]} if "price" in paper else {})


def _entered(work: Work, named: Mapping[str, Json]) -> dict[str, str]:
    """When each price was entered."""
    found = {}
    for metal, price in named.items():
        at = work.connection.execute(
            select(prices.c.entered_at).where(prices.c.id == price.get("entry"))
        ).scalar()
        if at is not None:
            found[metal] = moment_text(at)
    return found


def _assays(work: Work, paper: Json) -> list[dict[str, Any]]:
    """Whose assays a settlement rests on, as they stood when it was posted (D3)."""
    seen = work
    if paper.get("posted_at"):
        seen = replace(work, last_seen=chain.last_entry_before(work, settlements_table, paper["number"]))
    return [_assay(r) for r in records.in_force(seen, paper["lot"], bench.ASSAY)]


def _of_terms(terms: Terms) -> dict[str, Any]:
    rates = {metal: plain(rule.payout_rate) for metal, rule in terms.metals.items()}
    return {"payout_rates": rates, "purchase_case": terms.purchase_case}


def _balances(work: Work, client: Any, number: Any) -> list[dict[str, Any]]:
    """What a client's places held before the entry of a posted document, and after it."""
    entry = journal_entries.c
    posted = select(entry.n).where(entry.document == number, entry.reverses.is_(None)).order_by(entry.n)
    n = work.connection.execute(posted).scalar()
    if n is None:
        return []
    before, after = (balances.of_owner(work, f"client:{client}", at) for at in (n - 1, n))
    return [
        {
            "in": accounts.name_of(place),
            "commodity": commodity,
            "before": balances.shown(commodity, -before.get((place, commodity), 0)),
            "after": balances.shown(commodity, -after.get((place, commodity), 0)),
        }
        for place, commodity in dict.fromkeys([*before, *after])
    ]


def _parting_silver(paper: Json) -> dict[str, Any]:
    """The house silver that the lot needed to be parted, from the working of its settlement (H1)."""
    needs = [row["exact"] for row in paper.get("working", ()) if row["rule"] == "H1"]
    return {"parting_silver": printed(Exact(needs[0]))} if needs else {}


def _until(work: Work, number: str, posted_at: str) -> dict[str, str]:
    """Until when a settlement may be queried, and its sample is kept."""
    terms = terms_of_business.find(work, number)
    posted = work.now.fromisoformat(posted_at)
    periods = {"query_until": terms.query_period, "sample_until": terms.sample_period}
    return {name: moment_text(posted + period) for name, period in periods.items()}


def bar_list(work: Work, number: str) -> dict[str, Any]:
    """The bars of a lot, and what those of each metal state together."""
    lot = lots.row_of(work, number)
    terms = terms_of_business.find(work, lot.terms)
    items = [bars.shown(work, row.serial) for row in bars.of_lot(work, number)]
    return {
        "lot": number,
        "client": lot.client,
        "batch": lot.batch,
        "terms": lot.terms,
        "items": items,
        "totals": {m: _stated([b for b in items if b["metal"] == m], terms) for m in _metals(items)},
    }


def _metals(items: list[dict[str, Any]]) -> list[str]:
    return list(dict.fromkeys(bar["metal"] for bar in items))


def _stated(of: list[dict[str, Any]], terms: Terms) -> dict[str, Any]:
    kept = ("stated_weight", "stated_fine")
    return {k: printed(sum((Exact(b[k]["g"]) for b in of), Exact(0)), terms.weight_unit) for k in kept}


def report(work: Work, number: str) -> dict[str, Any]:
    """Assay and outturn of a lot: weights, assays, what came out of its batch, what it is credited."""
    lot = lots.row_of(work, number)
    terms = terms_of_business.find(work, lot.terms)
    return {
        "lot": number,
        "client": lot.client,
        "batch": lot.batch,
        "terms": lot.terms,
        "received_at": moment_text(lot.received_at),
        "weights": _weights(work, lot, terms),
        "assays": [_assay(r) for r in records.in_force(work, number, bench.ASSAY)],
        "agreed": _agreed(work, number, terms),
        "outturns": [] if lot.batch is None else _outturns(work, lot.batch, terms),
        "credited": _credited(work, lot),
        "notices": [],
    }


def _weights(work: Work, lot: Any, terms: Terms) -> dict[str, Any]:
    items = lots.items_of(work, lot, terms)
    melt = bench.melt_of(work, lot.number, terms)
    weights = {"gross": sum((i.gross_g for i in items), Exact(0))}
    if melt is not None:
        weights |= {"melt": melt.weight_g, "drillings": melt.drillings_g}
    return {name: printed(weight, terms.weight_unit) for name, weight in weights.items()}


def _assay(entry: records.Record) -> dict[str, Any]:
    kept = ("party", "method", "report", "finenesses")
    said = {k: entry.data[k] for k in kept if k in entry.data}
    return {"id": entry.id, "made_at": moment_text(entry.made_at), **said}


def _agreed(work: Work, lot: str, terms: Terms) -> dict[str, str]:
    """The finenesses that govern, where house and client exchanged assays (D3)."""
    if not bench.exchanged(work, lot, terms):
        return {}
    agreed = bench.agreed_of(work, lot, terms)
    return {} if agreed is None else {metal: shown(ppt, 2) for metal, ppt in agreed.ppt.items()}


def _outturns(work: Work, batch: str, terms: Terms) -> list[dict[str, Any]]:
    return [
        {
            "entry": entry,
            "metal": metal,
            "weight": printed(out.weight_g, terms.weight_unit),
            "fineness": plain(out.assay_ppt),
            "fine": printed(out.fine_mg, terms.weight_unit),
        }
        for metal in terms.metals
        for entry, out in pots.entries_out(work, batch, metal)
    ]


def _credited(work: Work, lot: Any) -> dict[str, Any]:
    posted = lots.posted_reconciliations(work, lot.batch)
    return {
        metal: {"own": row.document["own"][lot.number], "credited": row.document["credited"][lot.number]}
        for metal, row in posted.items()
        if lot.number in row.document["credited"]
    }


def quote_record(work: Work, number: str) -> bytes:
    """A quote's one self-contained file."""
    row = quotes.row_of(work, number)
    made = record.made("quote", _quote_inputs(work, row), row.document, row.hash)
    return _sealed(work, made)


def _quote_inputs(work: Work, row: Any) -> dict[str, Any]:
    asked = {k: row.request[k] for k in ("items", "instructions", "concessions") if k in row.request}
    named = {item["scale"] for item in asked["items"] if item.get("scale") is not None}
    known = scales.known(work)
    return {
        **_terms_inputs(work, row.terms),
        "asked": asked | {"prices": row.document["prices"]},
        "scales": {name: record.scale_inputs(known[name]) for name in sorted(named)},
    }


def _terms_inputs(work: Work, number: str) -> dict[str, Any]:
    query = select(terms_table.c.data).where(terms_table.c.id == number)
    return {"terms": work.connection.execute(query).scalar_one(), "terms_number": number}


def settlement_record(work: Work, name: str) -> bytes:
    """A settlement's one self-contained file; the quote's inputs are in it, for the comparison."""
    row = settlements.row_of(work, name)
    quote = row.inputs["quote"]
    inputs = {
        **_terms_inputs(work, row.inputs["terms"]),
        "refined": row.inputs,
        "quoted": None if quote is None else _quote_inputs(work, quotes.row_of(work, quote)),
    }
    return _sealed(work, record.made("settlement", inputs, row.document, row.hash))


def reconciliation_record(work: Work, number: str) -> bytes:
    """The one self-contained file of the posted accounts of a batch or a silver recovery."""
    pot = reconciliations.pot_of(work, number)
    posted = lots.reconciled(work, number)
    inputs = {metal: _reconciliation_inputs(work, pot, metal) for metal in posted}
    answers = {metal: row.document for metal, row in posted.items()}
    hashes = {metal: row.hash for metal, row in posted.items()}
    return _sealed(work, record.made("reconciliation", inputs, answers, hashes))


def _reconciliation_inputs(work: Work, pot: pots.Pot, metal: str) -> Json:
    return record.reconciliation_inputs(
        _terms_inputs(work, pots.terms_of(work, pot).number),
        pots.lots_in(work, pot, metal),
        pots.lent(work, pot, metal),
        pots.came_out(work, pot, metal),
        pots.kept_in(work, pot, metal),
    )


def drift_points(work: Work, metal: str) -> list[dict[str, Any]]:
    """The posted accounts of a metal as points of its drift line (H5), oldest first."""
    residuals = drifts.residuals(work, metal)
    found = chart(residuals)
    alarms = {drift.alarm_at for drift in found.drifts}
    return [
        {
            "batch": of.batch,
            "z": None if of.z is None else shown(of.z, 3),
            "missing": shown(sums.missing, 3),
            "over": shown(sums.over, 3),
            "alarm": of.batch in alarms,
        }
        for of, sums in zip(residuals, found.sums, strict=True)
    ]


def _sealed(work: Work, made: Json) -> bytes:
    signature, _ = certificates.sign(work, record.signed(made))
    return record.sealed(made, signature)
