"""Use cases of the works: metal held, baths, accounts of pots, bars of lots, pours."""

from fractions import Fraction
from random import Random
from typing import Any

from at_the_bench import CORRECTED, WORD, is_open, path_of, pots
from at_the_counter import lots
from driven import Shop, chosen, g, one_in, use_case, whole
from naive import METALS, Bar, Json, Lot, Pot, fine, mg

# held metal -----------------------------------------------------------------------------------


def _holding(s: Shop) -> list[Pot]:
    return [p for p in pots(s) if p.outs and any(is_open(s, p, out[0]) for out in p.outs.values())]


@use_case("metal held", _holding, pots, weight=2)
def metal_held(s: Shop, data: Random, pot: Pot) -> None:
    _hold(s, data, pot, "metal held", None)


def _correctable(s: Shop) -> list[Pot]:
    return [p for p in pots(s) if any(is_open(s, p, p.held[e][0]) for e in _still(p))]


@use_case("held metal corrected", _correctable, lambda s: [p for p in pots(s) if _still(p)], weight=1)
def held_corrected(s: Shop, data: Random, pot: Pot) -> None:
    _hold(s, data, pot, "held metal corrected", chosen(data, _still(pot)))


def _still(pot: Pot) -> list[str]:
    return [entry for entry in pot.held if entry not in pot.ended]


def _hold(s: Shop, data: Random, pot: Pot, name: str, corrects: str | None) -> None:
    metal = "silver" if pot.batches else chosen(data, METALS)
    if corrects:
        metal = pot.held[corrects][0]
    amount = whole(data, 0 if corrects else 1, 400)
    body: Json = {
        "metal": metal,
        "estimate": g(Fraction(amount, 1000), 3),
        "u": g(Fraction(1, 20)),
        "where": "the filters",
    }
    body |= {"corrects": corrects, "reason": CORRECTED} if corrects else {}

    def then(answer: Json) -> None:
        if corrects:
            del pot.held[corrects]
        pot.held[answer["entry"]] = (metal, amount)

    s.ask(name, f"{path_of(pot)}/held", body, then, may=is_open(s, pot, metal))


def _is_closed(s: Shop, pot: Pot, metal: str) -> bool:
    return not is_open(s, pot, metal)


def _endable(s: Shop) -> list[tuple[Pot, str]]:
    return [(p, e) for p in pots(s) for e in _still(p) if _is_closed(s, p, p.held[e][0])]


def _all_held(s: Shop) -> list[tuple[Pot, str]]:
    return [(p, entry) for p in pots(s) for entry in p.held]


def _end(
    s: Shop, name: str, path: str, body: Json, of: tuple[Pot, str], back: int, *, short: bool = False
) -> None:
    pot, entry = of
    metal, estimate = pot.held[entry]

    def then(answer: Json) -> None:
        pot.ended.add(entry)
        s.m.book(answer["entry"], {(f"held {pot.number}", metal): -estimate, ("stock", metal): back})

    may = entry not in pot.ended and _is_closed(s, pot, metal) and not short
    s.ask(name, path, body, then, may=may)


@use_case("held metal came back", _endable, _all_held, weight=2)
def held_back(s: Shop, data: Random, of: tuple[Pot, str]) -> None:
    pot, entry = of
    metal, estimate = pot.held[entry]
    grams = round(Fraction(max(20, estimate) * whole(data, 50, 130), 100_000), 2) or Fraction(1, 100)
    assay = {"method": "fire_assay", "fineness": "990"}
    body: Json = {"metal": metal, "weight": g(grams), "assay": assay, "held": entry}
    word = WORD if one_in(data, 2) else {}
    lacks = Fraction(estimate, 1000) - grams * Fraction(99, 100)
    variance = Fraction(1, 20) ** 2 + (Fraction(99, 100) / 100) ** 2 / 12
    short = lacks > 0 and lacks**2 > 4 * variance and not word
    back, path = fine(grams, Fraction(990)), f"{path_of(pot)}/outturns"
    _end(s, "held metal came back", path, body | word, of, back, short=short)


@use_case("held metal written off", _endable, _all_held, weight=2)
def written_off(s: Shop, _data: Random, of: tuple[Pot, str]) -> None:
    path = f"{path_of(of[0])}/held/{of[1]}/write-off"
    _end(s, "held metal written off", path, {"reason": "burnt with the filters"}, of, 0)


# baths ----------------------------------------------------------------------------------------


def _late(s: Shop) -> list[Pot]:
    return [p for p in s.m.batches.values() if p.recovery is None and is_open(s, p, "silver") and p.loans]


@use_case("silver recovery made", _late, lambda s: list(s.m.batches.values()), weight=4)
def recovery_made(s: Shop, data: Random, pot: Pot) -> None:
    together = [pot]
    others = [p for p in _late(s) if p is not pot]
    if others and not one_in(data, 3):
        together.append(chosen(data, others))
    families = {_family(s, p) for p in together}
    may = len(families) == 1 and all(p.recovery is None and "silver" not in p.closed for p in together)

    def then(answer: Json) -> None:
        number = s.drawn("R", answer["number"])
        s.m.recoveries[number] = Pot(number, batches=sorted(p.number for p in together))
        for of in together:
            of.recovery = number
            for lot in of.lots:
                s.m.lots[lot].version += 1

    s.ask(
        "silver recovery made",
        "/v1/silver-recoveries",
        {"batches": [p.number for p in together]},
        then,
        may=may,
    )


def _family(s: Shop, pot: Pot) -> str:
    of = [s.m.lots[n] for n in pot.lots]
    return next((lot for lot in of if lot.client), of[0]).terms.family


# accounts -------------------------------------------------------------------------------------


def ready_metals(s: Shop, pot: Pot) -> list[str]:
    """Metals whose account can be posted: they came out, and nobody waits for an umpire."""
    out = {of[0] for p in s.m.subjects(pot) for of in p.outs.values()}
    found = []
    for metal in METALS:
        here = metal == "silver" if pot.batches else metal == "gold" or pot.recovery is None
        if here and metal in out and metal not in pot.closed:
            found.append(metal)
    return found


def _disputes(s: Shop, pot: Pot, metals: list[str]) -> bool:
    rests_on = {*metals, *(["gold"] if "silver" in metals else [])}
    return any(lot.disputed(m) for lot in s.m.lots_of(pot) for m in rests_on)


@use_case("account posted", lambda s: [p for p in pots(s) if ready_metals(s, p)], pots, weight=14)
def reconciled(s: Shop, data: Random, pot: Pot) -> None:
    path = f"{path_of(pot)}/reconciliation"
    ready = ready_metals(s, pot)
    wanted = ready[:1] if len(ready) > 1 and one_in(data, 3) else ready
    body: Json = {"metals": wanted} if wanted and len(wanted) < len(ready) else {}
    seen = s.till.get(path)["metals"]
    queried = any(seen[m].get("verdict") == "query" for m in wanted)
    word = queried and not one_in(data, 5)
    may = bool(wanted) and not _disputes(s, pot, wanted) and (word or not queried)

    def then(answer: Json) -> None:
        for metal in wanted:
            account = answer["metals"][metal]
            assert account["state"] == "posted"
            shares = sum(mg(w) for w in account["credited"].values()) + mg(account["house_share"])
            assert shares == mg(account["out"]) + mg(account["held"]), "H7"
            s.m.close(pot, metal, account)

    s.ask("account posted", path, body | (WORD if word else {}), then, may=may, seen=path)


def _rest(s: Shop, pot: Pot, metals: list[str]) -> bool:
    """Whether settlements of some metals, or ends of what was held of them, rest on a pot's account."""
    settled = [m for lot in s.m.lots_of(pot) for n in lot.settled for m in s.m.settlements[n].metals]
    ended = [p.held[entry][0] for p in s.m.subjects(pot) for entry in p.ended]
    return bool({*settled, *ended} & set(metals))


def _reversible(s: Shop) -> list[Pot]:
    return [p for p in pots(s) if any(not _rest(s, p, [m]) for m in p.closed)]


@use_case("account reversed", _reversible, pots, weight=1)
def account_reversed(s: Shop, data: Random, pot: Pot) -> None:
    wanted = list(pot.closed)
    body: Json = {"reason": "the assay was wrong"}
    if len(wanted) > 1 and one_in(data, 2):
        wanted = [chosen(data, wanted)]
        body["metals"] = wanted

    def then(_answer: Json) -> None:
        for metal in wanted:
            s.m.unbook(pot.closed.pop(metal))
        for lot in s.m.lots_of(pot):
            lot.version += 1

    path = f"{path_of(pot)}/reconciliation/reversal"
    s.ask("account reversed", path, body, then, may=bool(wanted) and not _rest(s, pot, wanted))


# bars of lots ---------------------------------------------------------------------------------


def _lines(s: Shop, lot: Lot) -> list[tuple[Lot, str, int]]:
    """Lines of a lot's wishes that lack a bar, of metal that came out and is not settled."""
    found = []
    for metal, of in lot.wishes.items():
        if lot.batch is None or metal in s.m.settled_metals(lot) or not _outs(s, lot, metal):
            continue
        for n, line in enumerate(of.get("bars", ())):
            filled = sum(b.line == n for b in s.m.bars_of(lot.number, metal))
            if filled < {"most": 99, "whole": 1}.get(line["count"], line["count"]):
                found.append((lot, metal, n))
    return found


def _outs(s: Shop, lot: Lot, metal: str) -> dict[str, Fraction]:
    """Entries of what came out of the lot's pot, with their finenesses, in the order of the pots."""
    if lot.batch is None:
        return {}
    pot = s.m.pot_of(lot.batch, metal)
    return {e: out[2] for p in s.m.subjects(pot) for e, out in p.outs.items() if out[0] == metal}


def _all_lines(s: Shop) -> list[tuple[Lot, str, int]]:
    return [line for lot in lots(s) for line in _lines(s, lot)]


def _any_line(s: Shop) -> list[tuple[Lot, str, int]]:
    return [(lot, "gold", n) for lot in lots(s) for n in (0, 1)]


@use_case("bar poured", _all_lines, _any_line, weight=7)
def bar_poured(s: Shop, data: Random, of: tuple[Lot, str, int]) -> None:
    lot, metal, line = of
    outs = _outs(s, lot, metal)
    outturn = chosen(data, list(outs) or ["E-1"])
    wished = lot.wishes.get(metal, {}).get("bars", ())
    reading = _reading(s, data, lot, metal, wished[line] if line < len(wished) else {})
    held = fine(reading, outs.get(outturn, Fraction(999)))
    may: bool | None = of in _lines(s, lot) and held <= s.m.held("stock", metal)
    if may and wished[line]["count"] == "whole":
        may = None
    body = {"lot": lot.number, "metal": metal, "line": line, "outturn": outturn, "reading": g(reading)}

    def then(answer: Json) -> None:
        serial = s.drawn("BAR", answer["serial"])
        s.m.bars[serial] = _bar(answer, metal, held, reading, lot=lot.number, line=line, outturn=outturn)
        _pour(s, s.m.bars[serial])
        lot.version += 1

    s.ask("bar poured", "/v1/bars", {**body, "scale": "counter"}, then, may=may)


def _reading(s: Shop, data: Random, lot: Lot, metal: str, line: Json) -> Fraction:
    """A reading within the over-pour; of a whole bar about what is left of the lot."""
    over = Fraction(whole(data, 1, 4), 100)
    if line.get("count", 1) == "whole":
        left = lot.own(metal) * Fraction(985, 1000) - sum(b.fine_mg for b in s.m.bars_of(lot.number, metal))
        return max(Fraction(1), round(Fraction(left) / 1000, 2))
    return Fraction(line.get("nominal", {"amount": "10"})["amount"]) + over


def _bar(answer: Json, metal: str, held: int, reading: Fraction, **more: Any) -> Bar:
    stated = mg(answer["stated_fine"])
    # What is stated is never more than what is there (A6).
    assert stated <= held, answer
    return Bar(answer["serial"], metal, held, stated, answer["entry"], reading, **more)


def _pour(s: Shop, bar: Bar) -> None:
    s.m.book(bar.entry, {("stock", bar.metal): -bar.fine_mg, ("bars", bar.metal): bar.fine_mg})


def _of_lots(s: Shop) -> list[Bar]:
    return [b for b in s.m.bars.values() if b.lot is not None]


@use_case("bar corrected", lambda s: [b for b in _of_lots(s) if b.state == "poured"], _of_lots, weight=1)
def bar_corrected(s: Shop, data: Random, bar: Bar) -> None:
    lot = s.m.lots[bar.lot or ""]
    line = lot.wishes[bar.metal]["bars"][bar.line]
    reading = _reading(s, data, lot, bar.metal, line)
    ppt = _outs(s, lot, bar.metal).get(bar.outturn or "", Fraction(0))
    body = {
        "lot": bar.lot,
        "metal": bar.metal,
        "line": bar.line,
        "outturn": bar.outturn,
        "reading": g(reading),
    }
    stands = bar.state == "poured" and bar.metal not in s.m.settled_metals(lot)
    if any(bar.serial in of["bars"] for of in s.m.batches[lot.batch or ""].pours.values()):
        stands = False

    def then(answer: Json) -> None:
        assert answer["serial"] == bar.serial, answer
        s.m.unbook(bar.entry)
        bar.fine_mg, bar.stated_mg, bar.reading = fine(reading, ppt), mg(answer["stated_fine"]), reading
        bar.entry = answer["entry"]
        _pour(s, bar)
        lot.version += 1

    more = {"scale": "counter", "corrects": bar.entry, "reason": CORRECTED}
    s.ask("bar corrected", "/v1/bars", {**body, **more}, then, may=None if stands else False)


@use_case("bar withdrawn", lambda s: [b for b in s.m.bars.values() if b.state == "poured"],
          lambda s: list(s.m.bars.values()), weight=1)  # fmt: skip
def bar_withdrawn(s: Shop, _data: Random, bar: Bar) -> None:
    def then(answer: Json) -> None:
        if bar.lot is None and bar.outturn == "bought":
            s.m.book(
                answer["reversal"]["id"],
                {("bars", bar.metal): -bar.fine_mg, ("stock", bar.metal): bar.fine_mg},
            )
        else:
            s.m.unbook(bar.entry)
        bar.state = "withdrawn"
        if bar.lot is not None:
            s.m.lots[bar.lot].version += 1

    path = f"/v1/bars/{bar.serial}/withdrawal"
    s.ask("bar withdrawn", path, {"reason": "a crack"}, then, may=bar.state == "poured")


# pours ----------------------------------------------------------------------------------------


def _unnamed(s: Shop) -> list[Pot]:
    named = {serial for p in s.m.batches.values() for of in p.pours.values() for serial in of["bars"]}
    with_bars = {
        s.m.lots[b.lot].batch
        for b in _of_lots(s)
        if b.state != "withdrawn" and b.serial not in named and b.lot
    }
    return [s.m.batches[number] for number in sorted(n for n in with_bars if n)]


@use_case("pour recorded", _unnamed, lambda s: list(s.m.batches.values()), weight=6)
def pour_recorded(s: Shop, data: Random, pot: Pot) -> None:
    _pours(s, data, pot, "pour recorded", None)


@use_case("pour corrected", lambda s: [p for p in s.m.batches.values() if p.pours], weight=1)
def pour_corrected(s: Shop, data: Random, pot: Pot) -> None:
    _pours(s, data, pot, "pour corrected", chosen(data, list(pot.pours)))


def _pours(s: Shop, data: Random, pot: Pot, name: str, corrects: str | None) -> None:
    taken_before = {b for e, of in pot.pours.items() if e != corrects for b in of["bars"]}
    of_pot = [b for b in _of_lots(s) if s.m.lots[b.lot or ""].batch == pot.number and b.metal == "gold"]
    bars = [b for b in of_pot if b.state != "withdrawn" and b.serial not in taken_before]
    readings = sum((b.reading for b in bars), Fraction(0))
    taken = readings + Fraction(whole(data, 0, 3), 100) or Fraction(1, 100)
    body: Json = {"metal": "gold", "taken": {"weight": g(taken), "assay": {"fineness": "999.5"}}}
    body |= {"bars": [b.serial for b in bars], **(WORD if one_in(data, 2) else {})}
    body |= {"corrects": corrects, "reason": CORRECTED} if corrects else {}

    def then(answer: Json) -> None:
        if corrects:
            s.m.unbook(corrects)
            del pot.pours[corrects]
        pot.pours[answer["entry"]] = {"bars": [b.serial for b in bars]}
        s.m.book(answer["entry"], {("stock", "gold"): -mg(answer["loss"])})

    s.ask(name, f"/v1/batches/{pot.number}/pours", body, then)
