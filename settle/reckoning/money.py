"""Money and price: whole minor units of a currency (A3), price per unit of fine weight (A4)."""

from dataclasses import dataclass, replace

from settle.reckoning.exact import Exact, fixed, half_away
from settle.reckoning.tables import CURRENCY_PLACES
from settle.reckoning.weight import GRAMS_PER, MG_PER_G

PLACES = {code: places for places, codes in CURRENCY_PLACES.items() for code in codes.split()}


def minor_units(value: Exact, currency: str) -> int:
    """Whole minor units of an exact amount of money, half away from zero (A3)."""
    return half_away(value, PLACES[currency])


def in_coins(minor: int, step_minor: int) -> int:
    """The nearest multiple of the smallest coin, half away from zero (F4)."""
    return half_away(Exact(minor, step_minor), 0) * step_minor


def printed_money(minor: int, currency: str) -> dict[str, str]:
    """Money as answers print it, with the places of its currency."""
    return {"amount": amount(minor, currency), "currency": currency}


def amount(minor: int, currency: str) -> str:
    """The amount alone, with the places of its currency."""
    return fixed(minor, PLACES[currency])


@dataclass(frozen=True, slots=True)
class Price:
    """A price of one metal: `amount` of `currency` per `per` of fine weight (A4).

    `entry` names the entered price that it came from, where there is one.
    """

    amount: Exact
    currency: str
    per: str
    entry: str | None = None

    @property
    def per_g(self) -> Exact:
        """Money per gram, exact."""
        return self.amount / GRAMS_PER[self.per]

    def value(self, weight_mg: int) -> Exact:
        """Money for whole milligrams: one exact fraction, not rounded yet."""
        return weight_mg * self.amount / (GRAMS_PER[self.per] * MG_PER_G)

    def of_entry(self, entry: str | None) -> "Price":
        """The same price, named after an entered one."""
        return replace(self, entry=entry)
