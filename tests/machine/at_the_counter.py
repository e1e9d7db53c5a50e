"""Use cases at the counter: prices, terms, clients, quotes, lots taken in and given back, purchases."""

from datetime import timedelta
from fractions import Fraction
from random import Random
from typing import Any

from driven import Shop, always, chosen, g, one_in, use_case, whole
from naive import METALS, PLACE_OF_MONEY, Lot, Quote
from opened import FAMILIES, pounds, read_terms, terms_of
from papers import Json, added_up, in_coins, mg, minor, of_final

YES = {"who": "a client", "how": "in_person"}
REMAINDERS = ("pay_out", "shot", "metal_account")


def refining(s: Shop) -> list[str]:
    """The last version of each family that refines."""
    newest = {of.family: of.number for of in s.m.terms.values()}
    return [number for family, number in newest.items() if family != "counter"]


def clients(s: Shop) -> list[str]:
    return [c for c, erased in s.m.clients.items() if not erased]


def an_item(data: Random, grams: Fraction) -> Json:
    gold, silver = whole(data, 300, 800), whole(data, 40, 150)
    return {
        "description": "scrap",
        "evidence": "sure",
        "composition": {"gold": str(gold), "silver": str(silver)},
        "gross": g(grams),
    }


def items(data: Random) -> list[Json]:
    return [an_item(data, Fraction(whole(data, 2000, 9000), 100)) for _ in range(whole(data, 1, 2))]


def wishes(data: Random) -> Json:
    """What a client wants: bars or none, of either metal, and what becomes of the remainder."""
    gold: Json = {"remainder": chosen(data, (*REMAINDERS, "cover_charges"))}
    line: Json = {"nominal": {"amount": "10", "unit": "g"}, "fineness": "999"}
    kind = whole(data, 0, 4)
    if kind in (1, 2):
        gold["bars"] = [{**line, "count": kind}]
    elif kind == 3:
        gold["bars"] = [{**line, "count": 2, "top_up": True}]
    elif kind == 4:
        gold["bars"] = [{**line, "count": 1}, {"fineness": "999", "count": "whole"}]
    silver: Json = {"remainder": chosen(data, REMAINDERS)}
    if one_in(data, 4):
        silver["bars"] = [{"nominal": {"amount": "5", "unit": "g"}, "fineness": "999", "count": "most"}]
    return {"gold": gold, "silver": silver}


# what the owner enters ------------------------------------------------------------------------


@use_case("price entered", always, weight=2)
def price_entered(s: Shop, data: Random, _: Any) -> None:
    figures = {"gold": f"{whole(data, 5800, 6200) / 100}", "silver": f"{whole(data, 70, 90) / 100}"}
    asked = dict(list(figures.items())[: whole(data, 1, 2)])

    def then(_answer: Json) -> None:
        s.m.priced_at |= dict.fromkeys(asked, s.now)
        s.m.price_entries += 1

    s.ask("price entered", "/v1/prices", {"prices": {m: pounds(a) for m, a in asked.items()}}, then, may=True)


@use_case("terms entered", always, weight=1)
def terms_entered(s: Shop, data: Random, _: Any) -> None:
    body = terms_of(chosen(data, list(FAMILIES)))
    body["metals"]["gold"] = {**body["metals"]["gold"], "payout_rate": f"0.{whole(data, 90, 98)}"}

    def then(answer: Json) -> None:
        s.m.terms[answer["number"]] = read_terms(answer["number"], body)

    s.ask("terms entered", "/v1/terms", body, then, may=True)


@use_case("client entered", always, weight=1)
def client_entered(s: Shop, data: Random, _: Any) -> None:
    body: Json = {"name": f"Client {len(s.m.clients)}"}
    if one_in(data, 2):
        body["default_terms"] = chosen(data, refining(s))
    s.ask("client entered", "/v1/clients", body, lambda a: s.m.clients.update({a["id"]: False}), may=True)


def _is_open(s: Shop, client: str) -> bool:
    """Whether anything is open between a client and the house; then who he is stays known."""
    mine = [lot for lot in s.m.lots.values() if lot.client == client]
    balance = any(a for (p, _), a in s.m.totals.items() if p.split()[0] == client)
    return balance or any(lot.frozen or (lot.returned is None and not lot.settled) for lot in mine)


def _unbound(s: Shop) -> list[str]:
    return [c for c in clients(s) if not _is_open(s, c)]


@use_case("client erased", _unbound, lambda s: list(s.m.clients), weight=1)
def client_erased(s: Shop, _data: Random, client: str) -> None:
    # Whether retention is over goes by dealings that leave nothing open.
    may = False if s.m.clients[client] or _is_open(s, client) else None

    def then(_answer: Json) -> None:
        s.m.clients[client] = True

    s.ask("client erased", f"/v1/clients/{client}/erasure", None, then, may=may)


# quotes ---------------------------------------------------------------------------------------


def quotes(s: Shop, *states: str) -> list[Quote]:
    found = []
    for quote in s.m.quotes.values():
        expired = quote.state == "issued" and s.next_at >= quote.valid_until
        if ("expired" if expired else quote.state) in states:
            found.append(quote)
    return found


def every_quote(s: Shop) -> list[Quote]:
    return list(s.m.quotes.values())


def _issued(s: Shop, answer: Json, client: str) -> None:
    number = s.drawn("Q", answer["number"])
    s.m.quotes[number] = Quote(number, client, s.m.terms[answer["terms"]], s.now + timedelta(days=2))


@use_case("quote issued", lambda s: clients(s) and refining(s), weight=5)
def quote_issued(s: Shop, data: Random, terms: str) -> None:
    client = chosen(data, clients(s))
    body = {"client": client, "terms": terms, "items": items(data), "instructions": wishes(data)}
    s.ask("quote issued", "/v1/quotes", body, lambda a: _issued(s, a, client), may=s.fresh())


@use_case("quote revised", lambda s: quotes(s, "issued", "expired"), every_quote, weight=1)
def quote_revised(s: Shop, data: Random, quote: Quote) -> None:
    may = quote in quotes(s, "issued", "expired") and s.fresh() and not s.m.clients[quote.client]

    def then(answer: Json) -> None:
        quote.state = "revised"
        _issued(s, answer, quote.client)

    path = f"/v1/quotes/{quote.number}"
    s.ask("quote revised", f"{path}/revisions", {"items": items(data)}, then, may=may, seen=path)


@use_case("quote withdrawn", lambda s: quotes(s, "issued"), every_quote, weight=1)
def quote_withdrawn(s: Shop, _data: Random, quote: Quote) -> None:
    def then(_answer: Json) -> None:
        quote.state = "withdrawn"

    path = f"/v1/quotes/{quote.number}"
    s.ask("quote withdrawn", f"{path}/withdrawal", None, then, may=quote in quotes(s, "issued"), seen=path)


@use_case("quote accepted", lambda s: quotes(s, "issued"), every_quote, weight=6)
def quote_accepted(s: Shop, _data: Random, quote: Quote) -> None:
    path = f"/v1/quotes/{quote.number}"
    word = {**YES, "hash": s.till.get(path)["hash"]}
    is_issued = quote in quotes(s, "issued") and not s.m.clients[quote.client]

    def then(_answer: Json) -> None:
        quote.state = "accepted"

    may = None if is_issued and quote.terms.void_if_moved else is_issued
    s.ask("quote accepted", f"{path}/acceptance", word, then, may=may, seen=path)


@use_case("concession made", lambda s: quotes(s, "issued", "accepted"), every_quote, weight=1)
def concession_made(s: Shop, data: Random, quote: Quote) -> None:
    rate = {"replaces": "payout_rate", "metal": "gold", "rate": f"0.98{whole(data, 0, 9)}"}
    charge = {"replaces": "charge", "charge": "treatment", "rate": "0.20", "minimum": "5"}
    body = {**chosen(data, (rate, charge)), "reason": "an old client", "who": "the owner"}
    lot = s.m.lots.get(quote.lot or "")
    in_time = quote in quotes(s, "issued", "accepted") and not (lot and lot.settled)

    def then(answer: Json) -> None:
        if quote.state == "issued":
            quote.state = "revised"
            held_until = quote.valid_until
            _issued(s, answer, quote.client)
            s.m.quotes[answer["number"]].valid_until = held_until
        if lot:
            lot.version += 1

    path = f"/v1/quotes/{quote.number}"
    s.ask("concession made", f"{path}/concessions", body, then, may=None if in_time else False, seen=path)


# lots -----------------------------------------------------------------------------------------


def lots(s: Shop) -> list[Lot]:
    return list(s.m.lots.values())


def _received(s: Shop, answer: Json, made: Lot) -> None:
    made.number = s.drawn("L", answer["number"])
    s.m.lots[made.number] = made


def _new(s: Shop, client: str | None, terms: str, of: list[Json], **more: Any) -> Lot:
    under = s.m.terms[terms]
    gross = sum(Fraction(item["gross"]["amount"]) for item in of)
    hold = s.next_at + timedelta(days=under.days_held)
    return Lot("", client, under, hold, gross_g=Fraction(gross), **more)


@use_case(
    "lot received from a quote",
    lambda s: [q for q in quotes(s, "accepted") if q.lot is None and not s.m.clients[q.client]],
    every_quote,
    weight=8,
)
def lot_from_quote(s: Shop, data: Random, quote: Quote) -> None:
    asked = s.till.get(f"/v1/quotes/{quote.number}")
    of = [{"gross": {"amount": item["gross"]["g"]}} for item in asked["items"]]
    consents = not one_in(data, 4)
    made = _new(s, quote.client, quote.terms.number, of, quote=quote.number, accepted=True, consents=consents)

    def then(answer: Json) -> None:
        _received(s, answer, made)
        made.wishes = answer["instructions"]
        quote.lot = made.number

    body = {"quote": quote.number, "consents_to_share": consents}
    may = quote.state == "accepted" and quote.lot is None and not s.m.clients[quote.client]
    s.ask("lot received from a quote", "/v1/lots", body, then, may=may)


@use_case("lot received without a quote", lambda s: clients(s) and refining(s), weight=7)
def lot_without_quote(s: Shop, data: Random, terms: str) -> None:
    client, of, wanted = chosen(data, clients(s)), items(data), wishes(data)
    made = _new(s, client, terms, of, wishes=wanted, consents=not one_in(data, 4), alone=one_in(data, 10))
    body: Json = {"client": client, "terms": terms, "items": of, "instructions": wanted}
    body |= {"consents_to_share": made.consents, "refine_alone": made.alone}
    if not one_in(data, 6):
        body["acceptance"] = YES
        made.accepted = True
    s.ask("lot received without a quote", "/v1/lots", body, lambda a: _received(s, a, made), may=True)


@use_case("house metal received", lambda _: ["bought", "stock"], weight=1)
def house_metal(s: Shop, data: Random, house: str) -> None:
    grams = min(Fraction(30), Fraction(s.m.held(house, "gold"), 600))
    if grams < 1:
        return
    of = [an_item(data, round(grams, 2))]
    terms = chosen(data, [t for t in refining(s) if s.m.terms[t].family in ("together", "in parts")])
    made = _new(s, None, terms, of, house=house, accepted=True)
    body = {"house": house, "terms": terms, "items": of}
    s.ask("house metal received", "/v1/lots", body, lambda a: _received(s, a, made), may=True)


@use_case("lot instructed", lambda s: [n for n in lots(s) if n.client and not n.settled], lots, weight=2)
def lot_instructed(s: Shop, data: Random, lot: Lot) -> None:
    kind = whole(data, 0, 2)
    body: Json = ({"acceptance": YES}, {"consents_to_share": True}, {"instructions": wishes(data)})[kind]
    may: bool | None = lot.returned is None
    if kind == 1 and lot.batch is not None:
        may = False
    done = [m for m in METALS if m in s.m.settled_metals(lot) or s.m.bars_of(lot.number, m)]
    if (kind == 2 and done) or (kind == 0 and s.m.clients.get(lot.client or "")):
        may = False

    def then(answer: Json) -> None:
        lot.accepted |= kind == 0
        lot.consents |= kind == 1
        lot.wishes = answer["instructions"]
        lot.version += 1

    s.ask("lot instructed", f"/v1/lots/{lot.number}/instructions", body, then, may=may)


@use_case("lot frozen", lambda s: [n for n in lots(s) if not n.frozen], lots, weight=1)
def lot_frozen(s: Shop, _data: Random, lot: Lot) -> None:
    def then(_answer: Json) -> None:
        lot.frozen = True

    body = {"by": "the court", "reason": "a claim", "reference": "77/26"}
    s.ask("lot frozen", f"/v1/lots/{lot.number}/freeze", body, then, may=not lot.frozen)


@use_case("lot released", lambda s: [n for n in lots(s) if n.frozen], lots, weight=4)
def lot_released(s: Shop, _data: Random, lot: Lot) -> None:
    def then(_answer: Json) -> None:
        lot.frozen = False

    s.ask("lot released", f"/v1/lots/{lot.number}/release", {"reason": "lifted"}, then, may=lot.frozen)


def _can_go_back(s: Shop, lot: Lot) -> bool:
    if lot.frozen or lot.returned:
        return False
    if lot.settled:
        return bool(s.m.shot_left(lot))
    return lot.batch is None and lot.client is not None and not lot.advances


@use_case(
    "lot returned", lambda s: [n for n in lots(s) if not n.settled and _can_go_back(s, n)], lots, weight=1
)
def lot_returned(s: Shop, data: Random, lot: Lot) -> None:
    word = {"override": {"reason": "by agreement"}} if one_in(data, 3) else {}
    shot = s.m.shot_left(lot)
    unpaid = bool(lot.settled) and s.m.owes(lot) and not word

    def then(answer: Json) -> None:
        if not lot.settled:
            lot.returned = answer["entry"]
            return
        lot.shot_returns[answer["entry"]] = shot
        moves = {("stock", m): -a for m, a in shot.items()}
        s.m.book(answer["entry"], moves | {(f"{lot.client} shot", m): -a for m, a in shot.items()})

    name = "shot returned" if lot.settled else "lot returned"
    body = {"who": "a client", **word}
    s.ask(name, f"/v1/lots/{lot.number}/return", body, then, may=_can_go_back(s, lot) and not unpaid)


@use_case("shot returned", lambda s: [n for n in lots(s) if n.settled and _can_go_back(s, n)], weight=5)
def shot_returned(s: Shop, data: Random, lot: Lot) -> None:
    lot_returned(s, data, lot)


@use_case("return reversed", lambda s: [n for n in lots(s) if n.returned or n.shot_returns], lots, weight=1)
def return_reversed(s: Shop, _data: Random, lot: Lot) -> None:
    def then(_answer: Json) -> None:
        if lot.shot_returns:
            s.m.unbook(lot.shot_returns.popitem()[0])
        else:
            lot.returned = None

    may = bool(lot.returned or lot.shot_returns) and not s.m.clients.get(lot.client or "")
    s.ask("return reversed", f"/v1/lots/{lot.number}/return/reversal", {"reason": "a slip"}, then, may=may)


# purchases ------------------------------------------------------------------------------------


@use_case("purchase", lambda s: clients(s), weight=2)
def purchased(s: Shop, data: Random, client: str) -> None:
    terms = [t.number for t in s.m.terms.values() if t.family == "counter"][-1]
    paid_in = chosen(data, ("cash", "transfer"))
    of = [an_item(data, Fraction(whole(data, 500, 3000), 100))]
    body = {"client": client, "terms": terms, "items": of, "paid_in": paid_in}

    def then(answer: Json) -> None:
        number = s.drawn("P", answer["number"])
        final = answer["cases"]["final"]
        assert added_up(final), final
        moves = dict(of_final(answer, client, None))
        moves |= {("bought", m): mg(a["recovered"]) for m, a in final["metals"].items()}
        net = minor(answer["net"])
        paid = in_coins(net) if paid_in == "cash" else net
        assert minor(answer["paid"]) == paid, answer
        moves[f"{client} money", "GBP"] -= net
        moves[PLACE_OF_MONEY[paid_in], "GBP"] = -paid
        moves["cash rounding", "GBP"] = paid - net
        bought = {m: mg(a["recovered"]) for m, a in final["metals"].items()}
        s.m.purchases[number] = {"client": client, "metals": bought}
        s.m.book(number, moves)

    s.ask("purchase", "/v1/purchases", body, then, may=s.fresh())


@use_case("purchase reversed", lambda s: list(s.m.purchases), weight=1)
def purchase_reversed(s: Shop, _data: Random, number: str) -> None:
    of = s.m.purchases[number]
    stands = number in s.m.facts and not s.m.clients[of["client"]]
    stands = stands and all(s.m.held("bought", m) >= a for m, a in of["metals"].items())

    def then(answer: Json) -> None:
        s.drawn("N", answer["reversal"]["credit_note"])
        s.m.unbook(number)

    s.ask("purchase reversed", f"/v1/purchases/{number}/reversal", {"reason": "a slip"}, then, may=stands)
