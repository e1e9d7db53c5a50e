"""Use cases of pouring: bars of lots, and the pours that they are of."""

from fractions import Fraction
from random import Random
from typing import Any

from at_the_bench import CORRECTED, WORD
from at_the_counter import lots
from driven import Shop, chosen, g, one_in, use_case, whole
from naive import Bar, Lot, Pot
from papers import Json, fine, mg


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
    word = {"override": {"reason": "by agreement"}} if one_in(data, 3) else {}
    may: bool | None = of in _lines(s, lot) and held <= s.m.held("stock", metal)
    if may and wished[line]["count"] == "whole":
        may = None
    if may and not word:
        may = _covered(s, lot, metal, wished, line)
    body = {
        "lot": lot.number,
        "metal": metal,
        "line": line,
        "outturn": outturn,
        "reading": g(reading),
        **word,
    }

    def then(answer: Json) -> None:
        serial = s.drawn("BAR", answer["serial"])
        s.m.bars[serial] = _bar(answer, metal, held, reading, lot=lot.number, line=line, outturn=outturn)
        _pour(s, s.m.bars[serial])
        lot.version += 1

    s.ask("bar poured", "/v1/bars", {**body, "scale": "counter"}, then, may=may)


def _covered(s: Shop, lot: Lot, metal: str, wished: Any, line: int) -> bool | None:
    """Whether the lot covers the bars asked for and one more (E4): surely, surely not, or too near to tell.

    A whole bar takes what is left; a line may be topped up with metal that the client pays for.
    """
    poured = s.m.bars_of(lot.number, metal)
    if any(of.get("top_up") for of in wished) or any("nominal" not in wished[b.line] for b in poured):
        return None
    lines = [*(b.line for b in poured), line]
    taken = sum(
        fine(Fraction(wished[n]["nominal"]["amount"]), Fraction(wished[n]["fineness"]))
        for n in lines
        if "nominal" in wished[n]
    )
    own = lot.own(metal)
    if taken > own * 103 // 100 + 50:
        return False
    # Silver bears what the house's silver beside it lost, which may be much of what is the lot's own (H3).
    return True if metal == "gold" and taken <= own * 9 // 10 else None


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
