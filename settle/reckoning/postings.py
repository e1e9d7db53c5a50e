"""Which document makes which entry (J). Amounts are whole milligrams and minor units.

Accounts are owner, place or purpose, and document, joined by `:`. Positive: what the house
holds (`house:stock`, `house:bars`, `house:process:B-…`, `house:lent:B-…`, `house:till`).
Negative: what it owes a client (`client:C-…:lot:L-…`, `:bars`, `:shot`, `:metal`, `:money`),
what it earned (`charges:…`, `house:kept`, `house:fees`) and owes as tax (`tax:…`). Either: where a
difference went (`house:difference of assay and weighing`, `house:gift above what is stated`, …).
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from settle.reckoning.batch import Reconciled
from settle.reckoning.due import Due
from settle.reckoning.ledger import CONVERSION, Entry, Leg, entry, move
from settle.reckoning.sale import Sale
from settle.reckoning.statement import MetalAccount

STOCK = "house:stock"
OPENING = "house:opening"
TILL = "house:till"
BANK = "house:bank"
OWNER = "house:owner"
BARS = "house:bars"
BOUGHT = "house:bought"
DIFFERENCE = "house:difference of assay and weighing"
KEPT = "house:kept"
FEES = "house:fees"
GIFT = "house:gift above what is stated"
BELOW = "house:stated below"
ROUNDING = "house:cash rounding"
WAIVED = "house:too small to pay"
COUNTED = "house:difference of counting"
POUR_LOSS = "house:pour loss"


def lent(batch: str) -> str:
    return f"house:lent:{batch}"


def process(batch: str) -> str:
    """The clients' metal that is in a batch."""
    return f"house:process:{batch}"


def of_lot(client: str, lot: str) -> str:
    """The client's metal of a lot that is closed and not settled yet."""
    return f"client:{client}:lot:{lot}"


def of_client(client: str, what: str) -> str:
    """What a client is owed: `bars`, `shot`, `metal` on account, `money`."""
    return f"client:{client}:{what}"


def stock_opening(document: str, fine_mg: Mapping[str, int]) -> Entry:
    """Metal that was there when the books were opened."""
    legs = (leg for metal, mg in fine_mg.items() for leg in move(OPENING, STOCK, metal, mg))
    return entry(document, "stock at opening", legs)


def stock_bought(
    document: str, fine_mg: Mapping[str, int], place: str, currency: str, cost_minor: int
) -> Entry:
    """Metal bought for the house, paid from till or bank."""
    legs = [leg for metal, mg in fine_mg.items() for leg in move(CONVERSION, STOCK, metal, mg)]
    legs += move(place, CONVERSION, currency, cost_minor)
    return entry(document, "metal bought for stock", legs)


def counted(document: str, differences: Iterable[tuple[str, str, int]]) -> Entry:
    """What was counted above or below the books, by account and commodity."""
    legs = (leg for account, of, amount in differences for leg in move(COUNTED, account, of, amount))
    return entry(document, "difference of a count", legs)


def money_moved(document: str, source: str, target: str, currency: str, minor: int) -> Entry:
    """Money that answers for no metal goes from one place to another."""
    return entry(document, f"{source} to {target}", move(source, target, currency, minor))


def silver_lent(document: str, batch: str, fine_mg: Mapping[str, int]) -> Entry:
    """House silver melted into a batch; it stays the house's, lent."""
    legs = (leg for metal, mg in fine_mg.items() for leg in move(STOCK, lent(batch), metal, mg))
    return entry(document, f"house silver lent to {batch}", legs)


def lot_in(
    document: str,
    batch: str,
    source: str,
    lot: str,
    own_mg: Mapping[str, int],
    beyond_mg: Mapping[str, int] | None = None,
) -> Entry:
    """A lot goes into a batch: its own metal, as assayed, is owed to the client, whose account
    of the lot is the source (H3); metal of the house's own comes out of where it was, and what the
    assay finds beyond that out of the difference."""
    beyond = beyond_mg or {}
    legs = [
        leg
        for metal, mg in own_mg.items()
        for leg in (
            *move(source, process(batch), metal, mg - beyond.get(metal, 0)),
            *move(DIFFERENCE, process(batch), metal, beyond.get(metal, 0)),
        )
    ]
    return entry(document, f"{lot} into {batch}", legs)


def came_out(document: str, batch: str, metal: str, fine_mg: int) -> Entry:
    """Metal that came out of a batch is in the house's hands, whosever it is."""
    return entry(document, f"{metal} out of {batch}", move(process(batch), STOCK, metal, fine_mg))


def poured(document: str, serial: str, metal: str, fine_mg: int) -> Entry:
    """Metal from stock into a bar: all that is in it, not just what it states."""
    return entry(document, f"{serial} poured", move(STOCK, BARS, metal, fine_mg))


def held(subject: str) -> str:
    """Metal known to stay behind under a batch or recovery."""
    return f"house:held:{subject}"


@dataclass(frozen=True, slots=True)
class InPot:
    """What an account closes: lot to (batch, client), in the order of the account, a lot of the
    house's own without a client; and milligrams lent, come out and held, each by batch or recovery."""

    lots: Mapping[str, tuple[str, str | None]]
    lent_mg: Mapping[str, int]
    out_mg: Mapping[str, int]
    held_mg: Mapping[str, int]


def reconciled(document: str, subject: str, pot: InPot, account: Reconciled) -> Entry:
    """The pot is empty: each client is owed R instead of the lot's own, the loans are repaid (H7)."""
    metal = account.metal
    legs = [Leg(lent(batch), metal, -mg) for batch, mg in pot.lent_mg.items()]
    legs += [Leg(process(of), metal, mg) for of, mg in pot.out_mg.items()]
    for of, mg in pot.held_mg.items():
        legs.append(Leg(held(of), metal, mg))
    clients_mg = house_own_mg = 0
    for (lot, (batch, client)), own, recovered in zip(
        pot.lots.items(), account.own_mg, account.shares.lots_mg, strict=True
    ):
        legs.append(Leg(process(batch), metal, -own))
        if client is None:
            house_own_mg += own
        else:
            clients_mg += recovered
            legs.append(Leg(of_lot(client, lot), metal, own - recovered))
    # What the house gets back, less what it lent and brought itself: the difference that it bears.
    got_mg = account.came_back_mg - clients_mg
    legs.append(Leg(DIFFERENCE, metal, account.lent_mg + house_own_mg - got_mg))
    return entry(document, f"{metal} of {subject} reconciled", legs)


def held_ended(document: str, subject: str, metal: str, estimate_mg: int, came_back_mg: int) -> Entry:
    """Held metal that came back, or was written off: what the estimate missed is the house's (H7)."""
    legs = [Leg(held(subject), metal, -estimate_mg), Leg(STOCK, metal, came_back_mg)]
    legs.append(Leg(DIFFERENCE, metal, estimate_mg - came_back_mg))
    return entry(document, f"{metal} held under {subject}", legs)


def pour_lost(document: str, batch: str, metal: str, fine_mg: int) -> Entry:
    """Metal lost in pouring, the house's (E6)."""
    return entry(document, f"{metal} lost in pouring of {batch}", move(STOCK, POUR_LOSS, metal, fine_mg))


def settled(document: str, client: str, lot: str, of: Due, *, unrefined: bool = False) -> Entry:
    """What a settlement of a lot moves: metal to bars, shot, account or money; charges and tax. Of a
    further one, the metals that it settles and what is due beyond what was posted (H8).

    A lot that is settled on its assay and was in no batch is `unrefined`: the metal, as it lies,
    is the house's from now on.
    """
    owed = BOUGHT if unrefined else of_lot(client, lot)
    legs = list(_due_legs(client, of, owed))
    return entry(document, f"settlement of {lot}", legs)


def bought(document: str, client: str, of: Due, paid_from: str, paid_minor: int) -> Entry:
    """An outright purchase: the metal is the house's, and paid from till or bank; what cash was
    rounded by is a line of the payment (F4)."""
    currency, money = of.whole.basis.terms.currency, of_client(client, "money")
    legs = [*_due_legs(client, of, BOUGHT), *move(paid_from, money, currency, paid_minor)]
    legs += move(money, ROUNDING, currency, paid_minor - of.net_minor)
    return entry(document, "outright purchase", legs)


def _due_legs(client: str, of: Due, owed: str) -> Iterator[Leg]:
    """Metal out of the account where it is owed, and all that becomes of it; money."""
    currency = of.whole.basis.terms.currency
    for metal, account in of.metals.items():
        yield Leg(owed, metal, account.recovered_mg)
        yield from _metal_legs(client, metal, account, currency)
    yield from _money_legs(of_client(client, "money"), of)


def _metal_legs(client: str, metal: str, account: MetalAccount, currency: str) -> Iterator[Leg]:
    """Where R went: kept, in bars as stated, loose, on account, sold; the rest is a gift or a top-up.

    Drillings that don't go back are the house's, as they lie (H6)."""
    yield Leg(BOUGHT, metal, account.drillings_mg - account.drillings_back_mg)
    yield Leg(KEPT, metal, -account.kept_mg)
    gift = account.placed.excess_gift_mg + sum(bar.gift_mg for bar in account.placed.bars)
    below = sum(bar.below_mg for bar in account.placed.bars)
    above = sum(bar.gift_mg for bar in account.placed.bars)
    yield Leg(GIFT, metal, gift)
    yield Leg(BELOW, metal, -below)
    yield Leg(of_client(client, "bars"), metal, below - above - account.placed.total_mg)
    yield Leg(of_client(client, "shot"), metal, -account.shot_mg)
    yield Leg(of_client(client, "metal"), metal, -account.account_mg)
    # Metal sold becomes money, and money a top-up, through the conversion account.
    yield Leg(CONVERSION, metal, account.placed.top_up_mg - account.sold_mg)
    yield from move(of_client(client, "money"), CONVERSION, currency, account.payout_minor)
    yield from move(CONVERSION, of_client(client, "money"), currency, account.top_up_minor)


def _money_legs(money: str, of: Due) -> Iterator[Leg]:
    currency = of.whole.basis.terms.currency
    for charge in of.charges:
        yield from move(f"charges:{charge.line.charge.name}", money, currency, charge.amount_minor)
    for tax in of.taxes:
        yield from move(f"tax:{tax.tax.code}", money, currency, tax.amount_minor)
    yield from move(FEES, money, currency, of.fees_minor)
    # What is too small to pay is nobody's debt any more (F4).
    yield from move(WAIVED, money, currency, of.waived_minor)


def posted_before(legs: Iterable[tuple[str, str, int]], currency: str) -> dict[str, Any]:
    """Minor units that posted entries charged and taxed, by charge and by tax code, and fees (H8)."""
    charges: dict[str, int] = {}
    taxes: dict[str, int] = {}
    fees_minor = 0
    for account, commodity, amount in legs:
        owner, _, name = account.partition(":")
        if commodity == currency and owner in ("charges", "tax"):
            of = charges if owner == "charges" else taxes
            of[name] = of.get(name, 0) - amount
        elif commodity == currency and account == FEES:
            fees_minor -= amount
    return {"fees_minor": fees_minor, "charges": charges, "taxes": taxes}


# what follows a settlement, or goes without one ---------------------------------------------------


def paid(
    document: str, text: str, client: str, place: str, currency: str, minor: int, rounding_minor: int = 0
) -> Entry:
    """Money from till or bank to a client; below zero, from the client. What cash was rounded by is
    a line of its own (F4): above zero more was paid than was open."""
    money = of_client(client, "money")
    legs = [*move(place, money, currency, minor), *move(money, ROUNDING, currency, rounding_minor)]
    return entry(document, text, legs)


def handed_over(document: str, serial: str, client: str, metal: str, fine_mg: int, stated_mg: int) -> Entry:
    """A bar leaves with all that is in it; the client was owed what it states, the rest is a gift (A6)."""
    legs = [
        Leg(BARS, metal, -fine_mg),
        Leg(of_client(client, "bars"), metal, stated_mg),
        Leg(GIFT, metal, fine_mg - stated_mg),
    ]
    return entry(document, f"{serial} handed over", legs)


def shot_returned(document: str, lot: str, client: str, fine_mg: Mapping[str, int]) -> Entry:
    """Loose metal that a settlement owes leaves the stock."""
    owed = of_client(client, "shot")
    legs = (leg for metal, mg in fine_mg.items() for leg in move(STOCK, owed, metal, mg))
    return entry(document, f"shot of {lot} returned", legs)


def account_sold(document: str, client: str, sale: Sale) -> Entry:
    """Metal from a client's account becomes money that he is owed (F3)."""
    account, money = of_client(client, "metal"), of_client(client, "money")
    currency = sale.terms.currency
    legs = [
        *move(CONVERSION, account, sale.metal, sale.fine_mg),
        *move(money, CONVERSION, currency, sale.value_minor),
    ]
    return entry(document, f"{sale.metal} from the account of {client} sold to the house", legs)


def account_as_bar(document: str, client: str, serial: str, metal: str, stated_mg: int) -> Entry:
    """Metal on account is owed as a bar from stock instead, for what it states."""
    legs = move(of_client(client, "bars"), of_client(client, "metal"), metal, stated_mg)
    return entry(document, f"{serial} from stock for {metal} on account", legs)


def bar_sold(document: str, client: str, serial: str, sale: Sale) -> Entry:
    """A bar of the house's is owed to a client, who owes its price and the tax on it (E4, F2)."""
    money, currency = of_client(client, "money"), sale.terms.currency
    legs = [
        *move(of_client(client, "bars"), CONVERSION, sale.metal, sale.fine_mg),
        *move(CONVERSION, money, currency, sale.value_minor),
    ]
    for line in sale.taxes:
        legs += move(f"tax:{line.tax.code}", money, currency, line.amount_minor)
    return entry(document, f"{serial} sold", legs)


def bar_bought(
    document: str, serial: str, metal: str, fine_mg: int, paid_from: str, currency: str, minor: int
) -> Entry:
    """A bar bought for stock, for what it states."""
    legs = [*move(CONVERSION, BARS, metal, fine_mg), *move(paid_from, CONVERSION, currency, minor)]
    return entry(document, f"{serial} bought for stock", legs)


def remelted(document: str, serial: str, metal: str, fine_mg: int) -> Entry:
    """A bar that was not poured here goes loose into stock."""
    return entry(document, f"{serial} re-melted", move(BARS, STOCK, metal, fine_mg))
