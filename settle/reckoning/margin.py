"""What a quote leaves the house at prices of another day."""

from settle.reckoning.exact import ZERO
from settle.reckoning.money import minor_units
from settle.reckoning.price import Prices
from settle.reckoning.statement import Statement
from settle.reckoning.weight import milligrams


def margin_minor(of: Statement, prices: Prices) -> int | None:
    """(R − metal returned) at `prices` − net − tax, minor units; below zero the house loses.

    R − metal returned is what the house keeps and buys, less what it tops bars up with.
    None where a metal that stays with the house, or leaves it, has no price.
    """
    stays_mg = {m: milligrams(a.recovered_g) - a.returned_mg for m, a in of.metals.items()}
    if any(mg and m not in prices for m, mg in stays_mg.items()):
        return None
    worth = sum((prices[m].value(mg) for m, mg in stays_mg.items() if mg), ZERO)
    return minor_units(worth, of.basis.terms.currency) - of.net_minor - of.tax_minor
