"""Entries that balance by themselves in every commodity (J1).

A commodity is a metal, in whole milligrams of fine weight, or a currency, in whole
minor units. Positive is held or owed to the house, negative is owed or earned.
Metal becomes money only through the account `conversion` (Selinger, "Tutorial on
Multiple Currency Accounting").
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

CONVERSION = "conversion"


@dataclass(frozen=True, slots=True)
class Leg:
    """One line of an entry: an account in words joined by `:`, a commodity, an amount not zero."""

    account: str
    commodity: str
    amount: int


@dataclass(frozen=True, slots=True)
class Entry:
    """One balanced entry; `document` names what it answers for. Raises `ValueError` if it doesn't balance."""

    document: str
    text: str
    legs: tuple[Leg, ...]

    def __post_init__(self) -> None:
        """An entry that doesn't balance is a fault of ours and never reaches the books."""
        sums: dict[str, int] = {}
        for leg in self.legs:
            sums[leg.commodity] = sums.get(leg.commodity, 0) + leg.amount
        loose = {commodity: total for commodity, total in sums.items() if total}
        if loose:
            raise ValueError(f"{self.document}: does not balance in {loose}")


def entry(document: str, text: str, legs: Iterable[Leg]) -> Entry:
    """An entry of the legs that move something; legs of one account and commodity become one."""
    sums: dict[tuple[str, str], int] = {}
    for leg in legs:
        key = (leg.account, leg.commodity)
        sums[key] = sums.get(key, 0) + leg.amount
    kept = (Leg(account, commodity, amount) for (account, commodity), amount in sums.items() if amount)
    return Entry(document, text, tuple(kept))


def move(source: str, target: str, commodity: str, amount: int) -> Iterator[Leg]:
    """`amount` of a commodity out of one account and into another."""
    yield Leg(target, commodity, amount)
    yield Leg(source, commodity, -amount)


def reversed_entry(of: Entry, document: str, text: str) -> Entry:
    """The entry that undoes another (J2)."""
    return Entry(document, text, tuple(Leg(leg.account, leg.commodity, -leg.amount) for leg in of.legs))


def owner_of(account: str) -> str:
    """Whose account it is: `client:C-1`, `house`, `charges`, `tax`, `conversion`."""
    return ":".join(account.split(":")[: 2 if account.startswith("client:") else 1])


def place_of(account: str) -> str:
    """The account without the document at its end: all lots of a client, all batches in process.

    Only a client's and the house's accounts end in a document; a charge may be called anything.
    """
    owner = owner_of(account)
    if owner in ("charges", "tax"):
        return account
    return ":".join(account.split(":")[: owner.count(":") + 2])
