"""What the bench found of a lot: its melt weight, its assays, and what the parties agree on (D3, H3)."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from settle.books import prices, records, scales
from settle.books.work import Work
from settle.reckoning.assay import AGREED, Exchange, Found, exchange, gap
from settle.reckoning.batch import Weighed
from settle.reckoning.exact import ONE, ZERO, Exact, plain
from settle.reckoning.fineness import WHOLE_PPT
from settle.reckoning.item import Scale
from settle.reckoning.money import minor_units, printed_money
from settle.reckoning.problems import NO_FAULTS, Faults
from settle.reckoning.reading import Json, Kept, Reader
from settle.reckoning.statement import CLIENT, HOUSE, WHOSE, Drillings, drillings_of
from settle.reckoning.tables import METALS
from settle.reckoning.terms import Terms
from settle.reckoning.weight import printed

MELT, ASSAY = "melt", "assay"
PARTIES = (HOUSE, CLIENT, "umpire")


@dataclass(frozen=True, slots=True)
class Melt:
    """A melt weight, the drillings taken from it and whose they are, and the division it was read with;
    grams."""

    weight_g: Exact
    drillings_g: Exact
    division_g: Exact
    drillings_whose: str = CLIENT

    @property
    def parted_g(self) -> Exact:
        """Melt weight less drillings taken: what H1 and H3 reckon with."""
        return self.weight_g - self.drillings_g

    def drillings(self, terms: Terms, ppt: Mapping[str, Exact]) -> Drillings:
        """Fine metal in the drillings, and what becomes of them (H6)."""
        return drillings_of(terms, self.drillings_g, self.drillings_whose, ppt)


@dataclass(frozen=True, slots=True)
class Assay:
    """What was found, by metal."""

    found: dict[str, Found]

    @property
    def ppt(self) -> dict[str, Exact]:
        return {metal: of.ppt for metal, of in self.found.items()}

    def of(self, metal: str) -> Found:
        """What was found of a metal; nothing of one that nobody looked for."""
        return self.found.get(metal, Found(ZERO))


def read_melt(body: Json, terms: Terms, known: dict[str, Scale], faults: Faults) -> Melt:
    r = Reader(body, faults)
    weight = r.weight("weight")
    drillings, whose = ZERO, CLIENT
    if r.has("drillings"):
        inner = r.object("drillings")
        taken = inner.weight("weight", stand_in=ZERO)
        whose = inner.word("whose", WHOSE, CLIENT)
        drillings = ZERO if inner.flag("returned") else taken
        if drillings >= weight:
            right = "drillings below the melt weight"
            inner.fault("weight", "contradiction", f"{plain(drillings)} g of {plain(weight)} g", right)
    return Melt(weight, drillings, division(r, terms, known), whose)


def is_something(data: Json) -> bool:
    """Whether an entry weighs something; a correction to nothing struck it out."""
    return bool(Kept(data).weight("weight", positive=False))


def refuse_nothing(body: Json, weight_g: Exact, faults: Faults) -> None:
    """Leave a fault where nothing was weighed, unless that is what a correction says."""
    if not weight_g and "corrects" not in body:
        right = "a weight above zero; nothing strikes out an entry that is corrected"
        faults.add("weight-not-positive", "/weight/amount", "nothing was weighed", right)


def division(r: Reader, terms: Terms, known: dict[str, Scale]) -> Exact:
    """The division that a weight was read with: the scale's, its own, else the terms' (C1)."""
    if r.has("scale"):
        name = r.text("scale")
        if name in known:
            return known[name].division_g
        right = "one of " + ", ".join(known) if known else "a scale that was entered first"
        r.fault("scale", "unknown-scale", f'no scale "{name[:30]}"', right)
    return r.weight("division", terms.division_g)


def melt_of(work: Work, lot: str, terms: Terms) -> Melt | None:
    """The melt in force."""
    standing = records.in_force(work, lot, MELT)
    if not standing:
        return None
    return read_melt(standing[-1].data, terms, scales.known(work), NO_FAULTS)


def read_assay(r: Reader) -> Assay:
    """Finenesses by metal; a laboratory's expanded u is divided by its k at the door (H4)."""
    inner = r.object("finenesses")
    if not inner.data:
        r.missing("finenesses", 'such as {"gold": {"fineness": "489.6", "u": "0.3"}}')
    found = {}
    for metal in inner.data:
        if metal not in METALS:
            inner.fault(metal, "unknown-metal", f'no metal "{metal[:20]}"', "one of " + ", ".join(METALS))
            continue
        ppt, u = read_fineness(inner.object(metal))
        found[metal] = Found(ppt, u**2)
    total = sum((of.ppt for of in found.values()), ZERO)
    if total > WHOLE_PPT:
        right = "1000 at most"
        r.fault("finenesses", "fineness-above-1000", f"{plain(total)} ‰ together", right)
    return Assay(found)


def read_fineness(r: Reader) -> tuple[Exact, Exact]:
    """`fineness` with its standard `u`, or `expanded_u` with its `k`; parts per thousand."""
    fineness = r.decimal("fineness", most=WHOLE_PPT, kind="fineness-above-1000", stand_in=ZERO)
    if not r.has("expanded_u"):
        if r.has("k"):
            r.fault("k", "contradiction", "there is no expanded_u", "leave it out")
        return fineness, r.decimal("u", ZERO, most=WHOLE_PPT)
    if r.has("u"):
        r.fault("u", "contradiction", "expanded_u is given too", "one of them")
    k = r.decimal("k", least=ONE)
    return fineness, r.decimal("expanded_u", most=WHOLE_PPT) / k


def assays_of(work: Work, lot: str) -> dict[str, Assay]:
    """The assay in force of each party that gave one."""
    standing = {r.data["party"]: r.data for r in records.in_force(work, lot, ASSAY)}
    return {party: read_assay(Kept(data)) for party, data in standing.items()}


def exchanged(work: Work, lot: str, terms: Terms) -> dict[str, Exchange]:
    """Metal by metal what house, client and umpire agree on (D3); only where the client gave an assay."""
    return _exchanged(assays_of(work, lot), terms)


def _exchanged(parties: Mapping[str, Assay], terms: Terms) -> dict[str, Exchange]:
    house, client, umpire = (parties.get(party) for party in PARTIES)
    if house is None or client is None:
        return {}
    fee = minor_units(terms.umpire_fee, terms.currency)
    return {
        metal: exchange(
            house.of(metal),
            client.found[metal],
            None if umpire is None else umpire.found.get(metal),
            terms.metals[metal].splitting_limit_ppt,
            terms.umpire_rule,
            fee,
        )
        for metal in terms.metals
        if metal in client.found
    }


def agreed_of(work: Work, lot: str, terms: Terms) -> Assay | None:
    """The assay that governs: the agreed one, the house's where nothing is exchanged or agreed yet."""
    return _agreed(assays_of(work, lot), terms)


def _agreed(parties: Mapping[str, Assay], terms: Terms) -> Assay | None:
    house = parties.get(HOUSE)
    if house is None:
        return None
    agreed = {m: e.agreed for m, e in _exchanged(parties, terms).items() if e.agreed is not None}
    return Assay(house.found | agreed)


def least_of(work: Work, lot: str, terms: Terms) -> Assay | None:
    """As `agreed_of`, but of a metal whose assays lie apart the lesser: no umpire goes below it (D3)."""
    parties = assays_of(work, lot)
    found = _agreed(parties, terms)
    if found is None:
        return None
    apart = [metal for metal, of in _exchanged(parties, terms).items() if of.state != AGREED]
    lesser = {m: min(found.of(m), parties[CLIENT].of(m), key=lambda of: of.ppt) for m in apart}
    return Assay(found.found | lesser)


def client_fees_minor(work: Work, lot: str, terms: Terms) -> int:
    """The client's part of the umpire's fees (D3)."""
    return sum(of.client_fee_minor for of in exchanged(work, lot, terms).values())


def disputed(work: Work, lot: str, terms: Terms) -> list[str]:
    """Metals whose assays lie apart and wait for an umpire (D3)."""
    return [metal for metal, of in exchanged(work, lot, terms).items() if of.state != AGREED]


def own(melted: Melt, found: Assay, metal: str) -> Weighed:
    """The lot's own metal: melt weight less drillings taken, as assayed (H3)."""
    assayed = found.of(metal)
    return Weighed(
        melted.parted_g,
        melted.division_g,
        assayed.ppt,
        assayed.u2,
        weighings=2 if melted.drillings_g else 1,
    )


def shown(work: Work, lot: str, terms: Terms) -> dict[str, Any]:
    """Metal by metal what each party found, how the exchange stands, what is agreed and who bears the
    fee; what the gap is worth beside it, at the price in force when the last assay was entered (D3)."""
    parties = assays_of(work, lot)
    found, states = _agreed(parties, terms), _exchanged(parties, terms)
    return {
        metal: {
            "by": {p: plain(of.ppt[metal]) for p, of in parties.items() if metal in of.found},
            "state": states[metal].state if metal in states else AGREED,
            "agreed": plain(ppt) if metal not in states or states[metal].agreed is not None else None,
            "gap": _gap(work, lot, terms, metal, parties) if metal in states else None,
            "fees": _fees(states[metal], terms.currency) if metal in states else None,
        }
        for metal, ppt in (found.ppt if found else {}).items()
    }


def _gap(work: Work, lot: str, terms: Terms, metal: str, parties: Mapping[str, Assay]) -> dict[str, Any]:
    melted, last = melt_of(work, lot, terms), records.in_force(work, lot, ASSAY)[-1]
    parted_g = melted.parted_g if melted else ZERO
    house, client = (parties[party].of(metal).ppt for party in (HOUSE, CLIENT))
    fee = minor_units(terms.umpire_fee, terms.currency)
    price = prices.in_force(work, terms.currency, last.made_at).get(metal)
    worth = None if price is None else gap(house, client, parted_g, price[0], fee).worth_minor
    return {
        "difference": plain(abs(house - client)),
        "weight": printed(abs(house - client) * parted_g / WHOLE_PPT, terms.weight_unit),
        "worth": None if worth is None else printed_money(worth, terms.currency),
        "price_entry": None if price is None else price[0].entry,
        "umpire_fee": printed_money(fee, terms.currency),
    }


def _fees(of: Exchange, currency: str) -> dict[str, Any]:
    """Each party's part of an umpire's fee."""
    parts = {HOUSE: of.house_fee_minor, CLIENT: of.client_fee_minor}
    return {party: printed_money(minor, currency) for party, minor in parts.items()}
