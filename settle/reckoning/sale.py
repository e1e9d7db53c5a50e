"""Metal sold for money outside a settlement: by a client from his account, or a bar by the house.

It is paid at once; what cash is rounded by is of the payment (F4).
"""

from dataclasses import dataclass

from settle.reckoning.charges import TaxLine, tax_lines
from settle.reckoning.exact import Exact
from settle.reckoning.money import Price, amount, minor_units
from settle.reckoning.terms import Terms
from settle.reckoning.weight import in_grams
from settle.reckoning.working import Working


@dataclass(frozen=True, slots=True)
class Sale:
    """What is sold, at which price and rate; minor units. `net_minor` is what changes hands."""

    terms: Terms
    metal: str
    fine_mg: int
    price: Price
    rate: Exact
    value_minor: int
    taxes: tuple[TaxLine, ...]

    @property
    def tax_minor(self) -> int:
        return sum(line.amount_minor for line in self.taxes)

    @property
    def net_minor(self) -> int:
        return self.value_minor + self.tax_minor


def by_client(terms: Terms, metal: str, fine_mg: int, price: Price, working: Working) -> Sale:
    """A client's metal sold to the house: price × `payout_rate` (F3)."""
    rate = terms.metals[metal].payout_rate
    value = _value(terms, metal, fine_mg, price, ("F3", "payout rate", rate), working)
    return Sale(terms, metal, fine_mg, price, rate, value, ())


def by_house(terms: Terms, metal: str, fine_mg: int, price: Price, working: Working) -> Sale:
    """A bar of the house's sold for what it states: price × `top_up_rate`, as any metal that a
    client buys (E4), and tax by its code (F2)."""
    rule = terms.metals[metal]
    value = _value(terms, metal, fine_mg, price, ("E4", "top-up rate", rule.top_up_rate), working)
    taxes = tax_lines(terms, [(rule.top_up_tax, value)], working)
    return Sale(terms, metal, fine_mg, price, rule.top_up_rate, value, taxes)


def _value(
    terms: Terms, metal: str, fine_mg: int, price: Price, by: tuple[str, str, Exact], working: Working
) -> int:
    rule, name, rate = by
    exact = price.value(fine_mg) * rate
    value = minor_units(exact, terms.currency)
    working.note(
        f"value of {metal}, {terms.currency}",
        rule,
        f"sold ÷ grams per unit × price × {name}",
        exact,
        amount(value, terms.currency),
        sold=in_grams(fine_mg),
        price=price.amount,
        per=price.per,
        rate=rate,
    )
    return value
