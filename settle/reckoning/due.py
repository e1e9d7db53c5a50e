"""What one document of a lot charges, taxes and pays: the lot's whole account, less what its earlier
documents posted (H8). Of a lot that is settled at once that is the whole account.

Metals that were settled before stay as they are; money is whole minor units.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from settle.reckoning.charges import ChargeLine, TaxLine
from settle.reckoning.exact import ZERO
from settle.reckoning.statement import MetalAccount, Statement, waived_minor
from settle.reckoning.tariff import Tax


@dataclass(frozen=True, slots=True)
class Posted:
    """What earlier documents of a lot posted: the metals that they settled, and minor units by charge
    and by tax code, and of fees and advances."""

    metals: tuple[str, ...] = ()
    charges: Mapping[str, int] = field(default_factory=dict)
    taxes: Mapping[str, int] = field(default_factory=dict)
    fees_minor: int = 0
    advances_minor: int = 0

    @property
    def taken_minor(self) -> int:
        """All that was taken off what was paid for metal; a top-up aside."""
        lines = sum(self.charges.values()) + sum(self.taxes.values())
        return lines + self.fees_minor + self.advances_minor


NOTHING = Posted()


@dataclass(frozen=True, slots=True)
class DueCharge:
    """A charge on the whole lot, and what of it was charged before; it may be below zero."""

    line: ChargeLine
    before_minor: int

    @property
    def amount_minor(self) -> int:
        return self.line.amount_minor - self.before_minor


@dataclass(frozen=True, slots=True)
class DueTax:
    """Tax of one code: its base in this document, the whole lot's tax, and what was charged before."""

    tax: Tax
    base_minor: int
    whole_minor: int
    before_minor: int

    @property
    def amount_minor(self) -> int:
        return self.whole_minor - self.before_minor


@dataclass(frozen=True, slots=True)
class Due:
    """What is due by this document; `raw_minor` is its net before what is waived (F4)."""

    whole: Statement
    before: Posted
    charges: tuple[DueCharge, ...]
    taxes: tuple[DueTax, ...]

    @property
    def metals(self) -> Mapping[str, MetalAccount]:
        """The metals that this document settles."""
        return {m: a for m, a in self.whole.metals.items() if m not in self.before.metals}

    @property
    def payouts_minor(self) -> int:
        return sum(account.payout_minor for account in self.metals.values())

    @property
    def top_ups_minor(self) -> int:
        return sum(account.top_up_minor for account in self.metals.values())

    @property
    def charges_minor(self) -> int:
        return sum(charge.amount_minor for charge in self.charges)

    @property
    def tax_minor(self) -> int:
        return sum(tax.amount_minor for tax in self.taxes)

    @property
    def advances_minor(self) -> int:
        return self.whole.basis.advances_minor - self.before.advances_minor

    @property
    def fees_minor(self) -> int:
        return self.whole.basis.fees_minor - self.before.fees_minor

    @property
    def raw_minor(self) -> int:
        """payouts − charges − tax − top-ups − advances − fees (F4)."""
        taken = self.charges_minor + self.tax_minor + self.top_ups_minor
        return self.payouts_minor - taken - self.advances_minor - self.fees_minor

    @property
    def waived_minor(self) -> int:
        """Each document waives by itself what is too small to pay (F4)."""
        return waived_minor(self.whole.basis.terms, self.raw_minor)

    @property
    def net_minor(self) -> int:
        """What is to be paid: above zero by the house, below by the client."""
        return self.raw_minor - self.waived_minor


def due(whole: Statement, before: Posted = NOTHING) -> Due:
    """What a document adds to what was posted of a lot (H8)."""
    charges = tuple(_charges(whole, before))
    return Due(whole, before, charges, tuple(_taxes(whole, before, charges)))


def _charges(whole: Statement, before: Posted) -> Iterator[DueCharge]:
    lines = {line.charge.name: line for line in whole.charges}
    for charge in whole.basis.terms.charges:
        line = lines.get(charge.name, ChargeLine(charge, ZERO, charge.rate, None, (), False, 0))
        of_this = DueCharge(line, before.charges.get(charge.name, 0))
        if of_this.amount_minor:
            yield of_this


def _taxes(whole: Statement, before: Posted, charges: tuple[DueCharge, ...]) -> Iterator[DueTax]:
    lines = {line.tax.code: line for line in whole.taxes}
    for code, tax in whole.basis.terms.taxes.items():
        line = lines.get(code, TaxLine(tax, 0, 0))
        base = sum(c.amount_minor for c in charges if c.line.charge.tax == code)
        base += sum(
            account.top_up_minor
            for metal, account in whole.metals.items()
            if metal not in before.metals and whole.basis.terms.metals[metal].top_up_tax == code
        )
        of_this = DueTax(tax, base, line.amount_minor, before.taxes.get(code, 0))
        if base or of_this.amount_minor:
            yield of_this
