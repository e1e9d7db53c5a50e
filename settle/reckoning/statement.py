"""THE calculation (G1): accountable metal, bars, remainder, charges, tax, payout, net.

It serves estimate, quote, purchase and settlement alike; only where R and the
bars come from differs. Metal is whole milligrams after D2, money whole minor units.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from settle.reckoning.bars import NO_WISHES, Placed, Poured, Wishes, place, plan
from settle.reckoning.charges import ChargeLine, Quantities, TaxLine, charge_line, quantity, tax_lines
from settle.reckoning.exact import ONE, ZERO, Exact, fixed
from settle.reckoning.money import PLACES, amount, minor_units
from settle.reckoning.price import Prices
from settle.reckoning.problems import Faults
from settle.reckoning.recovered import assayed
from settle.reckoning.terms import CREDITED, KEPT, RETURNED, MetalTerms, Terms
from settle.reckoning.weight import in_grams, milligrams
from settle.reckoning.working import SILENT, Working

CLIENT, HOUSE = "client", "house"
WHOSE = (CLIENT, HOUSE)


@dataclass(frozen=True, slots=True)
class Drillings:
    """Fine metal in drillings that were taken for assay, whole milligrams by metal, and what becomes
    of them (H6): the house's are kept, the client's credited or returned."""

    fine_mg: Mapping[str, int] = field(default_factory=dict)
    become: str = RETURNED

    def credited_mg(self, metal: str) -> int:
        """What R grows by for D2 and all after it."""
        return self.fine_mg.get(metal, 0) if self.become == CREDITED else 0


def drillings_of(terms: Terms, weight_g: Exact, whose: str, ppt: Mapping[str, Exact]) -> Drillings:
    """What is in drillings at some fineness, to A2 by itself, and what becomes of them (H6)."""
    fine_mg = {m: milligrams(fine) for m, fine in assayed(weight_g, ppt).items()}
    return Drillings(fine_mg, KEPT if whose == HOUSE else terms.drillings)


@dataclass(frozen=True, slots=True)
class Basis:
    """What a statement rests on. `recovered_g` is R by metal, exact grams; `poured` is given
    once bars are poured; advances and fees are minor units. `sold_before_mg` is what an earlier
    settlement sold of a metal, which stays sold; `taken_before_minor` all that it took in money (H8)."""

    terms: Terms
    recovered_g: Mapping[str, Exact]
    quantities: Quantities
    prices: Prices
    wishes: Mapping[str, Wishes]
    poured: Mapping[str, Sequence[Poured]] | None = None
    advances_minor: int = 0
    fees_minor: int = 0
    sold_before_mg: Mapping[str, int] = field(default_factory=dict)
    taken_before_minor: int = 0
    drillings: Drillings = field(default_factory=Drillings)


@dataclass(frozen=True, slots=True)
class MetalAccount:
    """What became of one metal: whole milligrams, and minor units where money."""

    recovered_g: Exact
    accountable_mg: int
    placed: Placed
    drillings_mg: int = 0
    drillings_become: str = RETURNED
    sold_mg: int = 0
    shot_mg: int = 0
    account_mg: int = 0
    payout_minor: int = 0
    top_up_minor: int = 0

    @property
    def recovered_mg(self) -> int:
        """R as printed and booked, to A2; drillings are no part of it (H6)."""
        return milligrams(self.recovered_g)

    @property
    def kept_mg(self) -> int:
        """What the house keeps: R and its own or credited drillings, to A2, less accountable (D2)."""
        return self.recovered_mg + self.drillings_mg - self.drillings_back_mg - self.accountable_mg

    @property
    def remainder_mg(self) -> int:
        """Accountable metal that is in no bar (E3)."""
        return max(0, self.accountable_mg - self.placed.total_mg)

    @property
    def returned_mg(self) -> int:
        """Metal that the client gets: in bars at what they take, loose, on account, his drillings (G2)."""
        return self.placed.total_mg + self.shot_mg + self.account_mg + self.drillings_back_mg

    @property
    def drillings_back_mg(self) -> int:
        """Fine metal in drillings that go back to the client (H6)."""
        return self.drillings_mg if self.drillings_become == RETURNED else 0


@dataclass(frozen=True, slots=True)
class Statement:
    """The account of one lot in one case."""

    basis: Basis
    metals: Mapping[str, MetalAccount]
    charges: tuple[ChargeLine, ...]
    taxes: tuple[TaxLine, ...]
    payouts_minor: int
    top_ups_minor: int
    charges_minor: int
    tax_minor: int
    net_minor: int

    @property
    def worth_minor(self) -> int:
        """V = metal returned, poured or credited × spot + net before what is waived, advances left
        out, by A3 (G2)."""
        return worth_minor(self.basis, self.metals, self.net_minor + self.basis.advances_minor)


def worth_minor(basis: Basis, metals: Mapping[str, MetalAccount], money_minor: int) -> int:
    """Metal that is returned, poured or credited × spot, and money, by A3; a metal without a price is
    worth nothing here."""
    prices, currency = basis.prices, basis.terms.currency
    metal = sum((prices[m].value(a.returned_mg) for m, a in metals.items() if m in prices), ZERO)
    return minor_units(metal + Exact(money_minor, 10 ** PLACES[currency]), currency)


def waived_minor(terms: Terms, net_minor: int) -> int:
    """A net to post whose size is below `least_paid`, with its sign; else nothing (F4)."""
    return net_minor if abs(net_minor) < terms.least_paid_minor else 0


def accountable_mg(rule: MetalTerms, recovered_g: Exact) -> int:
    """A = R − max(R × (1 − accountable), minimum deduction), not below 0; none below `payable_from` (D2)."""
    if recovered_g < rule.payable_from_g:
        return 0
    kept = max(recovered_g * (ONE - rule.accountable), rule.minimum_deduction_g)
    return milligrams(max(ZERO, recovered_g - kept))


def statement(basis: Basis, working: Working = SILENT) -> Statement:
    """Reckon the account of one lot (D2, E1, E3, E4, F1 to F4). Raises `Refused` for a missing price."""
    terms = basis.terms
    accounts = {m: _poured_or_planned(basis, m, working) for m in terms.metals if m in basis.recovered_g}
    _refuse_missing_prices(basis, accounts)
    accounts = {m: replace(a, top_up_minor=_top_up(basis, m, a.placed, working)) for m, a in accounts.items()}
    charges = _charges(basis, accounts, working)
    taxed = [(line.charge.tax, line.amount_minor) for line in charges]
    taxed += [(terms.metals[m].top_up_tax, a.top_up_minor) for m, a in accounts.items() if a.top_up_minor]
    taxes = tax_lines(terms, taxed, working)
    charges_minor = sum(line.amount_minor for line in charges)
    tax_minor = sum(line.amount_minor for line in taxes)
    top_ups = sum(a.top_up_minor for a in accounts.values())
    due = charges_minor + tax_minor + top_ups + basis.advances_minor + basis.fees_minor
    accounts = _remainders(basis, accounts, due, working)
    payouts = sum(a.payout_minor for a in accounts.values())
    net = payouts - due
    working.note(
        f"net, {terms.currency}",
        "F4",
        "payouts − charges − tax − top-ups − advances − fees",
        amount(net, terms.currency),
        payouts=amount(payouts, terms.currency),
        charges=amount(charges_minor, terms.currency),
        tax=amount(tax_minor, terms.currency),
        top_ups=amount(top_ups, terms.currency),
        advances=amount(basis.advances_minor, terms.currency),
        fees=amount(basis.fees_minor, terms.currency),
    )
    return Statement(basis, accounts, charges, taxes, payouts, top_ups, charges_minor, tax_minor, net)


def _poured_or_planned(basis: Basis, metal: str, working: Working) -> MetalAccount:
    """Accountable metal and its bars; the cost of a top-up and the remainder come later."""
    rule, drillings = basis.terms.metals[metal], basis.drillings
    answered_for_g = basis.recovered_g[metal] + in_grams(drillings.credited_mg(metal))
    answered = accountable_mg(rule, answered_for_g)
    _note_accountable(metal, rule, answered_for_g, answered, working)
    wishes = basis.wishes.get(metal, NO_WISHES)
    if basis.poured is None:
        placed = plan(wishes, answered)
    else:
        placed = place(wishes, basis.poured.get(metal, ()), answered)
    working.note(
        f"{metal} in bars, g",
        "E1",
        "each takes nominal × promised fineness; a whole bar takes all that is left",
        in_grams(placed.total_mg),
        bars=placed.number,
    )
    fine_mg = drillings.fine_mg.get(metal, 0)
    return MetalAccount(basis.recovered_g[metal], answered, placed, fine_mg, drillings.become)


def _note_accountable(
    metal: str, rule: MetalTerms, recovered_g: Exact, answered_mg: int, working: Working
) -> None:
    if not working.kept:
        return
    kept = max(recovered_g * (ONE - rule.accountable), rule.minimum_deduction_g)
    below = recovered_g < rule.payable_from_g
    working.note(
        f"{metal} accountable, g",
        "D2",
        "R − max(R × (1 − accountable), minimum deduction), not below 0; none where R is below payable from; "
        "R with drillings that are credited",
        ZERO if below else max(ZERO, recovered_g - kept),
        fixed(answered_mg, 3),
        recovered=recovered_g,
        accountable=rule.accountable,
        minimum_deduction=rule.minimum_deduction_g,
        payable_from=rule.payable_from_g,
    )


def _top_up(basis: Basis, metal: str, placed: Placed, working: Working) -> int:
    """What the client pays for the excess: price × `top_up_rate`, to A3 (E4)."""
    if not placed.top_up_mg:
        return 0
    rate, currency = basis.terms.metals[metal].top_up_rate, basis.terms.currency
    price = basis.prices[metal]
    exact = price.value(placed.top_up_mg) * rate
    minor = minor_units(exact, currency)
    working.note(
        f"top-up of {metal}, {currency}",
        "E4",
        "excess ÷ grams per unit × price × top-up rate",
        exact,
        amount(minor, currency),
        excess=in_grams(placed.top_up_mg),
        price=price.amount,
        per=price.per,
        top_up_rate=rate,
    )
    return minor


def _refuse_missing_prices(basis: Basis, accounts: Mapping[str, MetalAccount]) -> None:
    """Every metal that must be priced and has no price, told at once."""
    by_value = any(charge.base == "value" for charge in basis.terms.charges)
    faults = Faults()
    for metal, account in accounts.items():
        wish = basis.wishes.get(metal, NO_WISHES).remainder
        is_sold = account.remainder_mg and wish in ("pay_out", "cover_charges")
        is_valued = by_value and account.accountable_mg
        if (is_sold or is_valued or account.placed.top_up_mg) and metal not in basis.prices:
            right = f"a price of {metal} in {basis.terms.currency}, entered or given"
            faults.add("price-missing", f"/prices/{metal}", f"no price of {metal}", right)
    faults.refuse_if_any()


def _charges(basis: Basis, accounts: Mapping[str, MetalAccount], working: Working) -> tuple[ChargeLine, ...]:
    answered = {m: a.accountable_mg for m, a in accounts.items()}
    bars = sum(a.placed.number for a in accounts.values())
    value = ZERO
    if any(charge.base == "value" for charge in basis.terms.charges):
        value = sum((basis.prices[m].value(mg) for m, mg in answered.items() if mg), ZERO)
    lines = (
        charge_line(
            charge,
            quantity(charge, basis.quantities, answered, bars, value),
            basis.terms.currency,
            working,
        )
        for charge in basis.terms.charges
    )
    return tuple(line for line in lines if line is not None)


def _remainders(
    basis: Basis, accounts: Mapping[str, MetalAccount], due_minor: int, working: Working
) -> dict[str, MetalAccount]:
    """What is in no bar goes as the client chose (E3); the metal that covers charges comes last."""
    wish = {m: basis.wishes.get(m, NO_WISHES).remainder for m in accounts}
    done: dict[str, MetalAccount] = {}
    for metal in sorted(accounts, key=lambda m: wish[m] == "cover_charges"):
        account = accounts[metal]
        left = account.remainder_mg
        sold, shot, credited = 0, 0, 0
        if wish[metal] == "pay_out":
            sold = left
        elif wish[metal] == "metal_account":
            credited = left
        elif wish[metal] == "shot":
            shot = left
        else:
            owed = due_minor + _net_before(basis, done) - sum(a.payout_minor for a in done.values())
            before = basis.sold_before_mg.get(metal)
            sold = _least_sold(basis, metal, owed, left) if before is None else before
            shot = left - sold
        payout = _payout(basis, metal, sold, working)
        done[metal] = replace(account, sold_mg=sold, shot_mg=shot, account_mg=credited, payout_minor=payout)
    return {m: done[m] for m in accounts}


def _net_before(basis: Basis, accounts: Mapping[str, MetalAccount]) -> int:
    """The net of earlier settlements: it was due by them, and no metal of this one covers it again (H8)."""
    before = [account for metal, account in accounts.items() if metal in basis.sold_before_mg]
    paid = sum(account.payout_minor - account.top_up_minor for account in before)
    return paid - basis.taken_before_minor


def _payout(basis: Basis, metal: str, sold_mg: int, working: Working) -> int:
    """Payout of what is sold: sold × price × `payout_rate`, to A3 (F3)."""
    if not sold_mg:
        return 0
    price, currency = basis.prices[metal], basis.terms.currency
    rate = basis.terms.metals[metal].payout_rate
    exact = price.value(sold_mg) * rate
    minor = minor_units(exact, currency)
    working.note(
        f"payout of {metal}, {currency}",
        "F3",
        "sold ÷ grams per unit × price × payout rate",
        exact,
        amount(minor, currency),
        sold=in_grams(sold_mg),
        price=price.amount,
        per=price.per,
        payout_rate=rate,
    )
    return minor


def _least_sold(basis: Basis, metal: str, owed_minor: int, left_mg: int) -> int:
    """The least whole milligrams whose payout reaches what is owed; all, if all is too little (E3)."""
    if owed_minor <= 0 or not left_mg:
        return 0
    rate = basis.terms.metals[metal].payout_rate
    per_mg = basis.prices[metal].value(1) * rate * 10 ** PLACES[basis.terms.currency]
    if not per_mg:
        return left_mg
    # Half away from zero: a payout rounds to what is owed from half a minor unit below it.
    least = -((ONE / 2 - owed_minor) // per_mg)
    return min(left_mg, int(least))


def all_in(of: Statement, likely_fine_g: Mapping[str, Exact]) -> Exact | None:
    """What the client gets, metal at spot and net, as a share of the spot value of the likely
    fine metal (F6); none without a price for every metal held."""
    prices = of.basis.prices
    if any(m not in prices for m in of.metals):
        return None
    spot = sum((likely_fine_g[m] * prices[m].per_g for m in of.metals if m in likely_fine_g), ZERO)
    if not spot:
        return None
    metal = sum((prices[m].value(a.returned_mg) for m, a in of.metals.items()), ZERO)
    return (metal + Exact(of.net_minor, 10 ** PLACES[of.basis.terms.currency])) / spot


def house_worth_minor(of: Statement, metal: str) -> int | None:
    """What the house keeps of one metal, at spot (D2, F6); none without a price."""
    price = of.basis.prices.get(metal)
    if price is None:
        return None
    return minor_units(price.value(of.metals[metal].kept_mg), of.basis.terms.currency)
