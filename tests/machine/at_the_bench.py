"""Use cases at the bench: melts, assays, batches, loans, outturns, held metal, baths, bars, pours."""

from fractions import Fraction
from random import Random

from at_the_counter import lots
from driven import Shop, chosen, g, one_in, use_case, whole
from naive import METALS, Bar, Lot, Pot
from papers import Json, fine

WORD = {"override": {"reason": "looked at"}}
CORRECTED = "read again"


def there(s: Shop) -> list[Lot]:
    return [lot for lot in lots(s) if lot.returned is None]


def _held(s: Shop, lot: Lot) -> bool:
    return s.next_at < lot.hold_until


# melts and assays -----------------------------------------------------------------------------


def _can_melt(s: Shop, lot: Lot) -> bool:
    free = not lot.frozen and lot.returned is None and lot.accepted and not _held(s, lot)
    return free and "melt" not in lot.entries


@use_case("lot melted", lambda s: [n for n in lots(s) if _can_melt(s, n)], lots, weight=12)
def melted(s: Shop, data: Random, lot: Lot) -> None:
    _melt(s, data, lot, "lot melted", {}, may=_can_melt(s, lot))


def _melt(s: Shop, data: Random, lot: Lot, name: str, corrects: Json, *, may: bool | None) -> None:
    grams = round(lot.gross_g * whole(data, 970, 1000) / 1000, 2)
    drillings = Fraction(whole(data, 1, 30), 100) if one_in(data, 3) else Fraction(0)
    body = {"weight": g(grams), **corrects}
    if drillings:
        body["drillings"] = {"weight": g(drillings), "whose": "house" if one_in(data, 5) else "client"}

    def then(answer: Json) -> None:
        lot.melt_g, lot.drillings_g = grams, drillings
        clients = bool(drillings) and body["drillings"]["whose"] == "client"
        lot.drillings_back = clients and lot.terms.drillings == "returned"
        _entered(s, lot, "melt", answer["entry"])

    s.ask(name, f"/v1/lots/{lot.number}/melt", body, then, may=may)


def _to_hand_back(s: Shop, lot: Lot) -> bool:
    """Drillings of the client's that these terms give back, still here once the lot is settled (H6)."""
    here = bool(lot.drillings_g) and lot.drillings_back and {} not in lot.shot_returns.values()
    return here and bool(lot.settled) and not lot.frozen and lot.returned is None


@use_case("drillings returned", lambda s: [n for n in lots(s) if _to_hand_back(s, n)], lots, weight=3)
def drillings_returned(s: Shop, data: Random, lot: Lot) -> None:
    body: Json = {"who": "a client", "what": "drillings", **(WORD if one_in(data, 2) else {})}
    may: bool | None = _to_hand_back(s, lot)
    if may and "override" not in body:
        # An assay may be asked for again until the sample period is over; no period is known to the model.
        may = False if s.m.owes(lot) else None

    def then(answer: Json) -> None:
        lot.shot_returns[answer["entry"]] = {}
        s.m.book(answer["entry"], {})

    s.ask("drillings returned", f"/v1/lots/{lot.number}/return", body, then, may=may)


def _entered(s: Shop, lot: Lot, kind: str, entry: str) -> None:
    lot.entries[kind] = entry
    lot.version += 1
    if lot.batch is not None:
        s.m.put_in(lot)


def _may_correct(s: Shop, lot: Lot) -> bool | None:
    """Nothing posted rests on it; metal of the house's own must moreover be there."""
    if s.m.rests_on(lot) or lot.returned:
        return False
    return None if lot.client is None and lot.batch else True


@use_case(
    "melt corrected", lambda s: [n for n in there(s) if "melt" in n.entries and not s.m.rests_on(n)], weight=1
)
def melt_corrected(s: Shop, data: Random, lot: Lot) -> None:
    old = {"corrects": lot.entries.get("melt", "E-1"), "reason": CORRECTED}
    may = _may_correct(s, lot) if "melt" in lot.entries and not lot.frozen else False
    if not lot.accepted or _held(s, lot):
        may = False
    _melt(s, data, lot, "melt corrected", old, may=may)


def _assay_body(data: Random, party: str, near: dict[str, Fraction]) -> tuple[Json, dict[str, Fraction]]:
    """An assay, near another of the same lot if there is one."""
    base = near or {
        "gold": Fraction(whole(data, 3000, 8000), 10),
        "silver": Fraction(whole(data, 300, 1500), 10),
    }
    found = {m: ppt + Fraction(whole(data, -50, 50), 10) * bool(near) for m, ppt in base.items()}
    shown = {m: {"fineness": f"{float(ppt):.1f}", "u": "0.3"} for m, ppt in found.items()}
    return {"party": party, "method": "fire_assay", "finenesses": shown}, found


def _assay(
    s: Shop, lot: Lot, party: str, data: Random, name: str, corrects: Json, *, may: bool | None
) -> None:
    near = dict(lot.assays.get("house", {}))
    if party == "client" and near and one_in(data, 2):
        near = {"gold": near["gold"]}
    elif party == "client" and not near:
        near = {"gold": Fraction(500)}
    if party != "house":
        near.pop("silver", None)
    body, found = _assay_body(data, party, near)
    if party != "house":
        body["finenesses"].pop("silver", None)
        found.pop("silver", None)

    def then(answer: Json) -> None:
        lot.assays[party] = found
        _entered(s, lot, f"assay {party}", answer["entry"])

    s.ask(name, f"/v1/lots/{lot.number}/assays", {**body, **corrects}, then, may=may)


def _unassayed(s: Shop, lot: Lot) -> bool:
    return lot.returned is None and lot.melt_g is not None and "house" not in lot.assays


@use_case("lot assayed", lambda s: [n for n in lots(s) if _unassayed(s, n)], lots, weight=12)
def assayed(s: Shop, data: Random, lot: Lot) -> None:
    _assay(s, lot, "house", data, "lot assayed", {}, may=_unassayed(s, lot))


def _can_exchange(s: Shop, lot: Lot, party: str) -> bool:
    open_ = lot.melt_g is not None and lot.returned is None and not s.m.rests_on(lot)
    return open_ and lot.terms.exchange is not None and party not in lot.assays


@use_case("client's assay", lambda s: [n for n in there(s) if _can_exchange(s, n, "client")], lots, weight=2)
def clients_assay(s: Shop, data: Random, lot: Lot) -> None:
    may = _can_exchange(s, lot, "client")
    if lot.batch is not None and lot.client is None and may:
        _assay(s, lot, "client", data, "client's assay", {}, may=None)
    else:
        _assay(s, lot, "client", data, "client's assay", {}, may=may)


def _disputed(s: Shop) -> list[Lot]:
    return [n for n in there(s) if any(n.disputed(m) for m in METALS) and _can_exchange(s, n, "umpire")]


@use_case("umpire's assay", _disputed, lots, weight=10)
def umpires_assay(s: Shop, data: Random, lot: Lot) -> None:
    may = _can_exchange(s, lot, "umpire") and (None if lot.batch and lot.client is None else True)
    _assay(s, lot, "umpire", data, "umpire's assay", {}, may=may)


@use_case("assay corrected", lambda s: [n for n in there(s) if n.assays and not s.m.rests_on(n)], weight=1)
def assay_corrected(s: Shop, data: Random, lot: Lot) -> None:
    party = chosen(data, list(lot.assays) or ["house"])
    old = {"corrects": lot.entries.get(f"assay {party}", "E-1"), "reason": CORRECTED}
    _assay(s, lot, party, data, "assay corrected", old, may=_may_correct(s, lot) if lot.assays else False)


# batches --------------------------------------------------------------------------------------


def _can_join(s: Shop, lot: Lot) -> bool:
    is_assayed = "house" in lot.assays and lot.batch is None and lot.returned is None and not lot.settled
    return is_assayed and not lot.frozen and not _held(s, lot)


def _may_share(s: Shop, together: list[Lot], new: list[Lot]) -> bool | None:
    if not all(_can_join(s, lot) for lot in new) or any(lot.frozen or _held(s, lot) for lot in together):
        return False
    if len(together) > 1 and any(lot.alone or not (lot.consents or lot.client is None) for lot in together):
        return False
    if len({lot.terms.family for lot in together if lot.client is not None}) > 1:
        return False
    # Whether the house has what its own metal is assayed at depends on the order; the rows will tell.
    return None if any(lot.client is None for lot in new) else True


def joinable(s: Shop) -> list[Lot]:
    return [lot for lot in lots(s) if _can_join(s, lot)]


@use_case("batch made", joinable, lots, weight=10)
def batch_made(s: Shop, data: Random, lot: Lot) -> None:
    together = [lot]
    others = [n for n in joinable(s) if n is not lot]
    fit = [n for n in others if _may_share(s, [lot, n], [lot, n]) is not False]
    while others and len(together) < 3 and not one_in(data, 3):
        more = chosen(data, fit if fit and not one_in(data, 6) else others)
        if more in together:
            break
        together.append(more)
    may = _may_share(s, together, together)
    word = WORD if any(n.client is None for n in together) and one_in(data, 2) else {}

    def then(answer: Json) -> None:
        number = s.drawn("B", answer["number"])
        s.m.batches[number] = Pot(number)
        _into(s, s.m.batches[number], together)

    s.ask("batch made", "/v1/batches", {"lots": [n.number for n in together], **word}, then, may=may)


def _into(s: Shop, pot: Pot, new: list[Lot]) -> None:
    for lot in new:
        lot.batch = pot.number
        lot.version += 1
        pot.lots.append(lot.number)
        s.m.put_in(lot)


def _batches(s: Shop) -> list[Pot]:
    return list(s.m.batches.values())


def pots(s: Shop) -> list[Pot]:
    return [*s.m.batches.values(), *s.m.recoveries.values()]


def _takes_lots(s: Shop) -> list[Pot]:
    return [p for p in _batches(s) if not p.outs and p.recovery is None and _fit(s, p)]


def _fit(s: Shop, pot: Pot) -> list[Lot]:
    there = [s.m.lots[n] for n in pot.lots]
    return [n for n in joinable(s) if _may_share(s, [*there, n], [n]) is not False]


@use_case("lot added to a batch", _takes_lots, lambda s: _batches(s) if lots(s) else [], weight=10)
def lot_added(s: Shop, data: Random, pot: Pot) -> None:
    there = [s.m.lots[n] for n in pot.lots]
    fit = _fit(s, pot)
    lot = chosen(data, fit if fit and not one_in(data, 4) else joinable(s) or lots(s))
    together = [*there, lot]
    may = _may_share(s, together, [lot])
    if pot.outs or pot.recovery or pot.was_closed:
        may = False
    path = f"/v1/batches/{pot.number}/lots"
    s.ask("lot added to a batch", path, {"lots": [lot.number]}, lambda _: _into(s, pot, [lot]), may=may)


def is_open(s: Shop, pot: Pot, metal: str) -> bool:
    """Whether a metal's account of a pot is still to come: of a batch's silver, where its bath went."""
    where = pot if pot.batches else s.m.pot_of(pot.number, metal)
    return metal not in where.closed and metal not in pot.closed


def needed(s: Shop, pot: Pot) -> Fraction:
    """Grams of silver that bring the gold to a quarter, and a little more."""
    of = [s.m.lots[n] for n in pot.lots]
    grams = sum(((lot.melt_g or Fraction(0)) for lot in of), Fraction(0))
    gold = Fraction(sum(lot.own("gold") for lot in of), 1000)
    return max(Fraction(1), 4 * gold - grams + 1)


def _unlent(s: Shop) -> list[Pot]:
    return [p for p in _batches(s) if not p.loans and not p.outs and is_open(s, p, "silver")]


@use_case("silver lent", _unlent, _batches, weight=10)
def silver_lent(s: Shop, data: Random, pot: Pot) -> None:
    _lend(s, data, pot, "silver lent", None)


@use_case(
    "loan corrected", lambda s: [p for p in _batches(s) if p.loans and is_open(s, p, "silver")], weight=1
)
def loan_corrected(s: Shop, data: Random, pot: Pot) -> None:
    _lend(s, data, pot, "loan corrected", chosen(data, list(pot.loans) or ["E-1"]))


def _lend(s: Shop, data: Random, pot: Pot, name: str, corrects: str | None) -> None:
    grams = round(needed(s, pot) * whole(data, 90, 120) / 100, 2)
    finenesses = {"silver": Fraction("999.5"), "gold": Fraction("0.4")}
    lent = {m: fine(grams, ppt) for m, ppt in finenesses.items()}
    back = pot.loans.get(corrects or "", {})
    # With the old loan back in stock, what is free is more by as much.
    may: bool | None = all(of <= s.m.free(m) for m, of in lent.items()) if not back else None
    if not all(is_open(s, pot, m) for m in METALS) or (corrects and not back):
        may = False
    body: Json = {"weight": g(grams), "fineness": "999.5", "gold": "0.4"}
    body |= {"corrects": corrects, "reason": CORRECTED} if corrects else {}

    def then(answer: Json) -> None:
        if corrects:
            s.m.unbook(corrects)
            del pot.loans[corrects]
        entry = answer["entry"]
        pot.loans[entry] = lent
        moves = {("stock", m): -of for m, of in lent.items()}
        s.m.book(entry, moves | {(f"lent {pot.number}", m): of for m, of in lent.items()})

    s.ask(name, f"/v1/batches/{pot.number}/silver-loans", body, then, may=may)


# outturns -------------------------------------------------------------------------------------


def path_of(pot: Pot) -> str:
    return f"/v1/{'silver-recoveries' if pot.batches else 'batches'}/{pot.number}"


def _in_pot(s: Shop, pot: Pot, metal: str) -> int:
    """What is still in a pot by the papers: own and lent, less what came out."""
    places = [f"{place} {of.number}" for of in s.m.subjects(pot) for place in ("in", "lent")]
    return sum(s.m.held(place, metal) for place in places)


def _without_outturn(s: Shop, metal: str) -> list[Pot]:
    of = pots(s) if metal == "silver" else _batches(s)
    without = [p for p in of if is_open(s, p, metal) and not any(out[0] == metal for out in p.outs.values())]
    return [
        p for p in without if _in_pot(s, p, metal) > 100 and (metal == "gold" or p.batches or not p.recovery)
    ]


@use_case("gold came out", lambda s: _without_outturn(s, "gold"), _batches, weight=12)
def gold_out(s: Shop, data: Random, pot: Pot) -> None:
    _out(s, data, pot, "gold", "gold came out", None)


@use_case("silver came out", lambda s: _without_outturn(s, "silver"), pots, weight=8)
def silver_out(s: Shop, data: Random, pot: Pot) -> None:
    _out(s, data, pot, "silver", "silver came out", None)


def _correctable(s: Shop) -> list[Pot]:
    return [p for p in pots(s) if any(is_open(s, p, out[0]) for out in p.outs.values())]


@use_case("outturn corrected", _correctable, pots, weight=1)
def outturn_corrected(s: Shop, data: Random, pot: Pot) -> None:
    entry = chosen(data, list(pot.outs) or ["E-1"])
    metal = pot.outs[entry][0] if pot.outs else "silver"
    _out(s, data, pot, metal, "outturn corrected", entry)


def _poured_from(s: Shop, entry: str) -> list[Bar]:
    return [b for b in s.m.bars.values() if b.outturn == entry and b.state != "withdrawn"]


def _out(s: Shop, data: Random, pot: Pot, metal: str, name: str, corrects: str | None) -> None:
    ppt = Fraction("999.5")
    old = pot.outs.get(corrects or "", ("", 0, 0))[1]
    came = max(200, _in_pot(s, pot, metal) + old) * whole(data, 975, 1001) / 1000
    grams = round(Fraction(came) / ppt, 2)
    may: bool | None = is_open(s, pot, metal)
    if corrects and (not old or _poured_from(s, corrects)):
        may = False
    elif corrects and may:
        may = None
    assay = {"method": "fire_assay", "fineness": str(float(ppt)), "u": "0.1"}
    body: Json = {"metal": metal, "weight": g(grams), "assay": assay}
    body |= {"corrects": corrects, "reason": CORRECTED} if corrects else {}

    def then(answer: Json) -> None:
        if corrects:
            s.m.unbook(corrects)
            del pot.outs[corrects]
        out = fine(grams, ppt)
        pot.outs[answer["entry"]] = (metal, out, ppt)
        s.m.book(answer["entry"], {(f"in {pot.number}", metal): -out, ("stock", metal): out})

    s.ask(name, f"{path_of(pot)}/outturns", body, then, may=may)
