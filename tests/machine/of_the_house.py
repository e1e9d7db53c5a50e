"""Use cases of the house's own: stock, bars of its own, counts, locked months."""

from datetime import timedelta
from fractions import Fraction
from random import Random
from typing import Any

from at_the_till import money
from driven import Shop, always, chosen, g, one_in, use_case, whole
from naive import METALS, PLACE_OF_MONEY, Bar
from papers import CURRENCY, Json, fine, mg, minor


def _metal(data: Random) -> str:
    return str(chosen(data, METALS))


@use_case("stock opened", lambda s: [m for m in METALS if m not in s.m.opened], lambda _: METALS, weight=1)
def stock_opened(s: Shop, data: Random, metal: str) -> None:
    _stock(s, data, "stock opened", {"kind": "opening"}, metal)


@use_case("stock bought", lambda _: METALS, weight=1)
def stock_bought(s: Shop, data: Random, metal: str) -> None:
    way = str(chosen(data, tuple(PLACE_OF_MONEY)))
    body = {"kind": "bought", "cost": money(whole(data, 1, 500_000)), "paid_in": way}
    _stock(s, data, "stock bought", body, metal)


def _stock(s: Shop, data: Random, name: str, body: Json, metal: str) -> None:
    grams, ppt = Fraction(whole(data, 100, 20_000), 100), Fraction(whole(data, 9000, 9999), 10)
    row = {"metal": metal, "weight": g(grams), "fineness": str(float(ppt))}
    is_opening = body["kind"] == "opening"

    def then(answer: Json) -> None:
        place = PLACE_OF_MONEY[body.get("paid_in", "cash")]
        paid = {} if is_opening else {(place, CURRENCY): -minor(body["cost"])}
        s.m.book(answer["id"], {("stock", metal): fine(grams, ppt), **paid})
        if is_opening:
            s.m.opened.add(metal)

    may = not is_opening or metal not in s.m.opened
    s.ask(name, "/v1/stock", {**body, "metals": [row]}, then, may=may)


@use_case("bar bought", always, weight=2)
def bar_bought(s: Shop, data: Random, _: Any) -> None:
    metal, way = _metal(data), chosen(data, tuple(PLACE_OF_MONEY))
    grams, cost = Fraction(whole(data, 100, 1500), 100), whole(data, 1, 90_000)
    body: Json = {
        "kind": "bought",
        "metal": metal,
        "weight": g(grams),
        "fineness": "999",
        "mark": "a maker 77",
    }
    body |= {"cost": money(cost), "paid_in": way, "terms": "T-1"}

    def then(answer: Json) -> None:
        # It holds what it states, rounded down (A6).
        bar = _kept(s, answer, metal, int(grams * 999), grams, "bought")
        s.m.book(bar.entry, {("bars", metal): bar.fine_mg, (PLACE_OF_MONEY[way], CURRENCY): -cost})

    s.ask("bar bought", "/v1/stock/bars", body, then, may=True)


def _kept(s: Shop, answer: Json, metal: str, held: int, grams: Fraction, how: str) -> Bar:
    serial, stated = s.drawn("BAR", answer["serial"]), mg(answer["stated_fine"])
    assert stated <= held, answer
    made = Bar(serial, metal, held, stated, answer["entry"], grams, outturn=how)
    s.m.bars[serial] = made
    return made


@use_case("bar poured for stock", lambda _: ["gold"], weight=2)
def bar_for_stock(s: Shop, data: Random, metal: str) -> None:
    grams = Fraction(1000 + whole(data, 1, 4), 100)
    held = fine(grams, Fraction("999.5"))
    body: Json = {
        "kind": "poured",
        "metal": metal,
        "nominal": g(Fraction(10)),
        "fineness": "999",
        "terms": "T-1",
    }
    assay = {"method": "fire_assay", "fineness": "999.5", "u": "0.1"}
    body |= {"reading": g(grams), "scale": "counter", "assay": assay}

    def then(answer: Json) -> None:
        bar = _kept(s, answer, metal, held, grams, "poured")
        s.m.book(bar.entry, {("stock", metal): -held, ("bars", metal): held})

    s.ask("bar poured for stock", "/v1/stock/bars", body, then, may=held <= s.m.held("stock", metal))


@use_case("stock counted", always, weight=1)
def stock_counted(s: Shop, data: Random, _: Any) -> None:
    metal, place = _metal(data), chosen(data, ("stock", "bought"))
    said = s.m.held(place, metal)
    counted = max(0, said + whole(data, -30, 30))
    body: Json = {
        "metals": [
            {"metal": metal, "place": place, "weight": g(Fraction(counted, 1000), 3), "fineness": "1000"}
        ]
    }
    body |= {"bars": [b.serial for b in s.m.bars.values() if b.state in ("poured", "assigned")]}
    book = one_in(data, 3)
    body |= {"book": True, "reason": "weighed twice"} if book else {}

    def then(answer: Json) -> None:
        assert answer["bars"] == {"missing": [], "unexpected": []}, answer
        (one,) = answer["compared"]
        assert (mg(one["books"]), mg(one["difference"])) == (said, counted - said), answer
        if book:
            s.m.book(answer["id"], {(place, metal): counted - said})

    s.ask("stock counted", "/v1/stock-counts", body, then, may=True)


@use_case("cash counted", always, weight=1)
def cash_counted(s: Shop, data: Random, _: Any) -> None:
    said = s.m.held("till", CURRENCY)
    counted = max(0, said + whole(data, -500, 500))
    book = one_in(data, 3)
    body: Json = {"counted": money(counted), **({"book": True, "reason": "counted twice"} if book else {})}

    def then(answer: Json) -> None:
        if book:
            s.m.book(answer["id"], {("till", CURRENCY): counted - said})

    s.ask("cash counted", "/v1/cash-counts", body, then, may=True)


@use_case("money moved", always, weight=1)
def money_moved(s: Shop, data: Random, _: Any) -> None:
    source, target = chosen(data, ("till", "bank", "owner", "tax")), chosen(data, ("till", "bank", "owner"))
    moved = whole(data, 1, 9000)
    body: Json = {"from": source, "to": target, "amount": money(moved), "note": "to the bank by night"}
    # Under which code tax was charged is not told apart in the model.
    may = None if source == "tax" else source != target
    body |= {"tax": "standard"} if source == "tax" else {}
    # Tax is what the house owes: paid back it owes more, where money is what it has.
    out = moved if source == "tax" else -moved

    def then(answer: Json) -> None:
        s.m.book(answer["id"], {(source, CURRENCY): out, (target, CURRENCY): moved})

    s.ask("money moved", "/v1/money-moves", body, then, may=may)


def _months(s: Shop) -> list[str]:
    """The last month and this one."""
    first = s.next_at.replace(day=1)
    return [(first - timedelta(days=1)).isoformat()[:7], first.isoformat()[:7]]


def _over(s: Shop) -> list[str]:
    return [month for month in _months(s)[:1] if month not in s.m.locked]


@use_case("month locked", _over, _months, weight=1)
def month_locked(s: Shop, _data: Random, month: str) -> None:
    may = month in _over(s)
    s.ask("month locked", f"/v1/periods/{month}/lock", None, lambda _: s.m.locked.add(month), may=may)
