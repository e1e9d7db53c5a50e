"""Use cases of money and of what is the client's: settlements, payments, advances, bars and metal on account."""

from fractions import Fraction
from random import Random
from typing import Any

from at_the_counter import clients, lots, refining
from driven import Shop, chosen, g, one_in, use_case, whole
from naive import METALS, PLACE_OF_MONEY, Bar, Lot, Settlement
from papers import CURRENCY, Json, added_up, fine, in_coins, mg, minor, not_as_due

MISTAKE = {"reason": "a mistake"}


def money(amount: int) -> Json:
    return {"amount": f"{amount // 100}.{amount % 100:02d}", "currency": CURRENCY}


def _way(data: Random) -> str:
    return str(chosen(data, tuple(PLACE_OF_MONEY)))


# settlements ----------------------------------------------------------------------------------


def _can_draft(s: Shop, lot: Lot) -> bool:
    """There is a metal to settle; prices of the day are not old."""
    there = lot.client is not None and lot.returned is None and "house" in lot.assays
    return there and bool(s.m.to_settle(lot)) and (lot.terms.price_time != "settlement" or s.fresh())


def _undrafted(s: Shop) -> list[Lot]:
    drafted = {lot for lot, _ in s.m.drafts.values()}
    return [n for n in lots(s) if n.number not in drafted and _can_draft(s, n)]


def _stamp(s: Shop, lot: Lot) -> Any:
    """Changes with all that a draft rests on."""
    return lot.version, s.m.price_entries, len(lot.advances)


@use_case("settlement drafted", _undrafted, lots, weight=10)
def drafted(s: Shop, data: Random, lot: Lot) -> None:
    new = s.m.to_settle(lot) if lot.client else []
    body: Json = {"lot": lot.number}
    if len(new) > 1 and one_in(data, 4):
        body["metals"] = [chosen(data, new)]

    def then(answer: Json) -> None:
        s.m.drafts[answer["id"]] = (lot.number, _stamp(s, lot))
        if any(not_as_due(of) for of in answer["cases"]["final"]["metals"].values()):
            s.m.not_as_due.add(answer["id"])

    s.ask("settlement drafted", "/v1/settlements", body, then, may=_can_draft(s, lot))


def _drafts(s: Shop) -> list[str]:
    return list(s.m.drafts)


def _as_seen(s: Shop) -> list[str]:
    seen = [d for d, (lot, stamp) in s.m.drafts.items() if stamp == _stamp(s, s.m.lots[lot])]
    return [d for d in seen if not s.m.lots[s.m.drafts[d][0]].frozen]


@use_case("settlement posted", _as_seen, _drafts, weight=14)
def posted(s: Shop, data: Random, draft: str) -> None:
    lot = s.m.lots[s.m.drafts[draft][0]]
    word = {"override": {"reason": "by agreement"}} if one_in(data, 3) else None
    may = True if draft in _as_seen(s) and _can_draft(s, lot) else None
    if lot.returned or lot.frozen or not s.m.to_settle(lot):
        may = False
    if draft in s.m.not_as_due and not word:
        may = False

    def then(answer: Json) -> None:
        number = s.drawn("S", answer["number"])
        assert added_up(answer["cases"]["final"]), answer
        del s.m.drafts[draft]
        s.m.settle(number, answer)

    path = f"/v1/settlements/{draft}"
    s.ask("settlement posted", f"{path}/posting", word, then, may=may, seen=path)


def settlements(s: Shop) -> list[Settlement]:
    return list(s.m.settlements.values())


def _resting(s: Shop, of: Settlement) -> bool:
    lot = s.m.lots[of.lot]
    bars = any(b.state == "handed_over" for m in of.metals for b in s.m.bars_of(of.lot, m))
    shot = any(set(back) & set(of.metals) for back in lot.shot_returns.values())
    # Drillings went back since the lot was settled at all.
    shot |= lot.settled[0] == of.number and {} in lot.shot_returns.values()
    short = any(
        amount > s.m.held(*place)
        for place, amount in s.m.facts[of.number].items()
        if place[0] in (f"{of.client} metal", "bought") and amount > 0
    )
    return lot.settled[-1] != of.number or bool(of.payments) or bars or shot or short


def _reversible(s: Shop) -> list[Settlement]:
    return [n for n in settlements(s) if n.state == "posted" and not _resting(s, n)]


@use_case("settlement reversed", _reversible, settlements, weight=1)
def settlement_reversed(s: Shop, _data: Random, of: Settlement) -> None:
    may = of.state == "posted" and not _resting(s, of) and not s.m.clients[of.client]

    def then(answer: Json) -> None:
        s.drawn("N", answer["reversal"]["credit_note"])
        s.m.unsettle(of)

    s.ask("settlement reversed", f"/v1/settlements/{of.number}/reversal", MISTAKE, then, may=may)


# payments and advances ------------------------------------------------------------------------


def _pay(s: Shop, entry: str, client: str, way: str, amount: int, closes: int | None = None) -> None:
    """Money to a client; below zero, from him. In cash it may close a little more, or less, than it is."""
    closes = amount if closes is None else closes
    moves = {(PLACE_OF_MONEY[way], CURRENCY): -amount, (f"{client} money", CURRENCY): -closes}
    s.m.book(entry, {**moves, ("cash rounding", CURRENCY): amount - closes})


@use_case("payment made", lambda s: [n for n in settlements(s) if n.open], settlements, weight=5)
def paid(s: Shop, data: Random, of: Settlement) -> None:
    owed, way = abs(of.open), _way(data)
    closing = in_coins(owed) if way == "cash" else owed
    amount = closing if closing and not one_in(data, 3) else whole(data, 1, max(2, owed + owed // 8))
    coins = way != "cash" or in_coins(amount) == amount

    def then(answer: Json) -> None:
        sign = 1 if of.open > 0 else -1
        closes = owed if amount == closing else amount
        of.payments[answer["id"]] = sign * closes
        _pay(s, answer["id"], of.client, way, sign * amount, sign * closes)

    path = f"/v1/settlements/{of.number}/payments"
    s.ask(
        "payment made",
        path,
        {"amount": money(amount), "paid_in": way},
        then,
        may=bool(owed)
        and coins
        and (amount <= owed or amount == closing)
        and not (of.open > 0 and s.m.lots[of.lot].frozen),
    )


@use_case("payment reversed", lambda s: [n for n in settlements(s) if n.payments], weight=1)
def payment_reversed(s: Shop, data: Random, of: Settlement) -> None:
    payment = chosen(data, list(of.payments))

    def then(_answer: Json) -> None:
        del of.payments[payment]
        s.m.unbook(payment)

    path = f"/v1/settlements/{of.number}/payments/{payment}/reversal"
    back = of.payments[payment] < 0 and s.m.lots[of.lot].frozen
    s.ask("payment reversed", path, MISTAKE, then, may=s.m.undoable(payment) and not back)


def _may_advance(lot: Lot) -> bool:
    there = lot.client is not None and lot.accepted and lot.returned is None
    return there and not lot.settled and not lot.frozen


@use_case(
    "advance paid",
    lambda s: [n for n in lots(s) if _may_advance(n) and (n.quote or n.assays)],
    lots,
    weight=2,
)
def advanced(s: Shop, data: Random, lot: Lot) -> None:
    amount, way = whole(data, 1, 40_000), _way(data)

    def then(answer: Json) -> None:
        lot.advances[answer["id"]] = amount
        lot.version += 1
        _pay(s, answer["id"], lot.client or "", way, amount)

    body = {"amount": money(amount), "paid_in": way}
    s.ask(
        "advance paid",
        f"/v1/lots/{lot.number}/advances",
        body,
        then,
        may=None if _may_advance(lot) else False,
    )


@use_case("advance reversed", lambda s: [n for n in lots(s) if n.advances], weight=1)
def advance_reversed(s: Shop, data: Random, lot: Lot) -> None:
    payment = chosen(data, list(lot.advances))

    def then(_answer: Json) -> None:
        del lot.advances[payment]
        lot.version += 1
        s.m.unbook(payment)

    path = f"/v1/lots/{lot.number}/advances/{payment}/reversal"
    s.ask("advance reversed", path, MISTAKE, then, may=not lot.settled)


# bars that leave ------------------------------------------------------------------------------


def bars(s: Shop, *states: str) -> list[Bar]:
    return [b for b in s.m.bars.values() if b.state in states]


def every_bar(s: Shop) -> list[Bar]:
    return list(s.m.bars.values())


@use_case("bar handed over", lambda s: bars(s, "assigned"), every_bar, weight=4)
def handed_over(s: Shop, data: Random, bar: Bar) -> None:
    off = Fraction(whole(data, -2, 2), 100)
    word = {"override": {"reason": "by agreement"}} if one_in(data, 3) else {}
    may = bar.state == "assigned" and abs(off) <= Fraction(1, 100)
    lot = s.m.lots.get(bar.lot or "")
    if lot and (lot.frozen or (s.m.owes(lot) and not word)):
        may = False
    if lot is None and bar.serial not in s.m.bar_sales and bar.client and s.m.held_back(bar.client, word):
        may = False

    def then(answer: Json) -> None:
        bar.state = "handed_over"
        owed = (f"{bar.client} bars", bar.metal)
        s.m.book(f"handover {bar.serial}", {("bars", bar.metal): -bar.fine_mg, owed: -bar.stated_mg})

    body = {"who": "a client", "reading": g(bar.reading + off), "scale": "counter", **word}
    s.ask("bar handed over", f"/v1/bars/{bar.serial}/handover", body, then, may=may)


@use_case("handover reversed", lambda s: bars(s, "handed_over"), every_bar, weight=1)
def handover_reversed(s: Shop, _data: Random, bar: Bar) -> None:
    def then(_answer: Json) -> None:
        bar.state = "assigned"
        s.m.unbook(f"handover {bar.serial}")

    path = f"/v1/bars/{bar.serial}/handover/reversal"
    s.ask(
        "handover reversed",
        path,
        MISTAKE,
        then,
        may=bar.state == "handed_over" and s.m.undoable(f"handover {bar.serial}"),
    )


def _houses(s: Shop) -> list[Bar]:
    return [b for b in bars(s, "poured") if b.lot is None]


def trading(s: Shop, data: Random) -> str:
    return str(chosen(data, refining(s)))


def _sold(s: Shop, answer: Json, client: str, way: str, sign: int) -> dict[tuple[str, str], int]:
    """Money of a sale: to the client above zero; its payment is part of it."""
    net = sign * minor(answer["net"])
    _pay(s, answer["payment"]["id"], client, way, in_coins(net) if way == "cash" else net, net)
    tax = sum(minor(t["amount"]) for t in answer["taxes"])
    return {(f"{client} money", CURRENCY): net, ("tax", CURRENCY): tax}


@use_case("bar sold", lambda s: _houses(s) if clients(s) else [], every_bar, weight=2)
def bar_sold(s: Shop, data: Random, bar: Bar) -> None:
    client, way = chosen(data, clients(s) or list(s.m.clients)), _way(data)
    body = {"client": client, "terms": trading(s, data), "paid_in": way}

    def then(answer: Json) -> None:
        moves = _sold(s, answer, client, way, -1)
        number = s.drawn("I", answer["number"])
        s.m.book(number, moves | {(f"{client} bars", bar.metal): bar.stated_mg})
        s.m.bar_sales[bar.serial] = {"number": number, "payment": answer["payment"]["id"]}
        bar.state, bar.client = "assigned", client

    may = bar in _houses(s) and s.fresh(bar.metal)
    s.ask("bar sold", f"/v1/bars/{bar.serial}/sale", body, then, may=may)


@use_case(
    "bar sale reversed", lambda s: [b for b in every_bar(s) if b.serial in s.m.bar_sales], every_bar, weight=1
)
def bar_sale_reversed(s: Shop, _data: Random, bar: Bar) -> None:
    def then(answer: Json) -> None:
        s.drawn("N", answer["reversal"]["credit_note"])
        sale = s.m.bar_sales.pop(bar.serial)
        s.m.unbook(sale["payment"])
        s.m.unbook(sale["number"])
        bar.state, bar.client = "poured", None

    sale = s.m.bar_sales.get(bar.serial)
    may = sale is not None and bar.state != "handed_over" and s.m.undoable(sale["number"])
    s.ask("bar sale reversed", f"/v1/bars/{bar.serial}/sale/reversal", MISTAKE, then, may=may)


# metal on account -----------------------------------------------------------------------------


def _on_account(s: Shop) -> list[tuple[str, str]]:
    free = [c for c in s.m.clients if not s.m.held_back(c, {})]
    return [(c, m) for c in free for m in METALS if s.m.held(f"{c} metal", m) > 0]


def _any_account(s: Shop) -> list[tuple[str, str]]:
    return [(c, m) for c in s.m.clients for m in METALS]


@use_case("metal sold from an account", _on_account, _any_account, weight=3)
def metal_sold(s: Shop, data: Random, of: tuple[str, str]) -> None:
    client, metal = of
    way, there = _way(data), s.m.held(f"{client} metal", metal)
    word = {"override": {"reason": "by agreement"}} if one_in(data, 3) else {}
    body: Json = {"metal": metal, "terms": trading(s, data), "paid_in": way, **word}
    if one_in(data, 2):
        body["weight"] = g(Fraction(whole(data, 1, max(1, there // 10)), 100))
    amount = fine(Fraction(body["weight"]["amount"]), Fraction(1000)) if "weight" in body else there
    may = None if 0 < amount <= there and s.fresh(metal) and not s.m.held_back(client, word) else False

    def then(answer: Json) -> None:
        moves = _sold(s, answer, client, way, 1)
        assert mg(answer["fine"]) == amount, answer
        s.m.book(answer["id"], moves | {(f"{client} metal", metal): -amount})
        s.m.sales[answer["id"]] = {"client": client, "payment": answer["payment"]["id"]}

    s.ask("metal sold from an account", f"/v1/clients/{client}/metal-sales", body, then, may=may)


@use_case("metal sale reversed", lambda s: list(s.m.sales), weight=1)
def metal_sale_reversed(s: Shop, _data: Random, sale: str) -> None:
    of = s.m.sales[sale]

    def then(_answer: Json) -> None:
        s.m.unbook(of["payment"])
        s.m.unbook(sale)

    path = f"/v1/clients/{of['client']}/metal-sales/{sale}/reversal"
    s.ask("metal sale reversed", path, MISTAKE, then, may=s.m.undoable(sale))


def _bar_on_account(s: Shop) -> list[tuple[str, Bar]]:
    return [
        (c, b)
        for c, m in _on_account(s)
        for b in _houses(s)
        if b.metal == m and b.stated_mg <= s.m.held(f"{c} metal", m)
    ]


@use_case(
    "bar taken for metal",
    _bar_on_account,
    lambda s: [(c, b) for c in s.m.clients for b in every_bar(s)],
    weight=4,
)
def bar_taken(s: Shop, _data: Random, of: tuple[str, Bar]) -> None:
    client, bar = of
    account, owed = (f"{client} metal", bar.metal), (f"{client} bars", bar.metal)

    def then(answer: Json) -> None:
        s.m.book(answer["id"], {account: -bar.stated_mg, owed: bar.stated_mg})
        s.m.taken[answer["id"]] = {"client": client, "bar": bar.serial}
        bar.state, bar.client = "assigned", client

    may = of in _bar_on_account(s)
    s.ask("bar taken for metal", f"/v1/clients/{client}/metal-bars", {"bar": bar.serial}, then, may=may)


@use_case("bar taken reversed", lambda s: list(s.m.taken), weight=1)
def bar_taken_reversed(s: Shop, _data: Random, name: str) -> None:
    of = s.m.taken[name]
    bar = s.m.bars[of["bar"]]

    def then(_answer: Json) -> None:
        s.m.unbook(name)
        bar.state, bar.client = "poured", None

    may = s.m.undoable(name) and bar.state != "handed_over"
    s.ask(
        "bar taken reversed", f"/v1/clients/{of['client']}/metal-bars/{name}/reversal", MISTAKE, then, may=may
    )
