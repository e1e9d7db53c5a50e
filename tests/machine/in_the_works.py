"""Use cases of the works: metal held, baths, accounts of pots, bars of lots, pours."""

from fractions import Fraction
from random import Random

from at_the_bench import CORRECTED, WORD, is_open, path_of, pots
from driven import Shop, chosen, g, one_in, use_case, whole
from naive import METALS, Pot
from papers import Json, fine, mg

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
