"""What an accountant asks of a month, put together three ways that share nothing but these figures.

- from the documents as they were answered, line by line in plain fractions (tax is reckoned anew from the
  charges and the rates of the terms: lines of a code added, multiplied, rounded half away from zero);
- from the lines of the journal;
- from balances as at the end of months.
"""

from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from fractions import Fraction
from typing import Any
from zoneinfo import ZoneInfo

from ledger_house import ZONE
from quarter import ANN, BEN, CARA, TAXES, Json, Kept, Quarter

CLIENTS = (ANN, BEN, CARA)
CHARGED = ("standard", "reduced")
PLACE = {"cash": "till", "transfer": "bank"}


@dataclass
class Figures:
    """Of a month: minor units of money, milligrams of metal, each by its name; what is nought left out."""

    tax: Counter[str] = field(default_factory=Counter)
    charges: Counter[str] = field(default_factory=Counter)
    # What purchases brought and cost, their credit notes taken off.
    purchases: Counter[str] = field(default_factory=Counter)
    # By client and metal: how what is owed on account changed; by client: how money owed to him did.
    metal_owed: Counter[tuple[str, str]] = field(default_factory=Counter)
    money_owed: Counter[str] = field(default_factory=Counter)
    cash: Counter[str] = field(default_factory=Counter)

    def plain(self) -> dict[str, dict[Any, int]]:
        return {
            name: {of: amount for of, amount in sorted(found.items()) if amount}
            for name, found in vars(self).items()
        }

    def added(self, other: "Figures") -> "Figures":
        of = Figures()
        for name, found in vars(of).items():
            for one in (getattr(self, name), getattr(other, name)):
                for key, amount in one.items():
                    found[key] += amount
        return of


def month_of(moment: datetime) -> str:
    return moment.astimezone(ZoneInfo(ZONE)).isoformat()[:7]


def minor(money: Json) -> int:
    return _whole(Fraction(money["amount"]) * 100)


def mg(weight: Json) -> int:
    return _whole(Fraction(weight["g"]) * 1000)


def _whole(of: Fraction) -> int:
    assert of.denominator == 1, of
    return of.numerator


def half_away(of: Fraction) -> int:
    away = int(abs(of) + Fraction(1, 2))
    return away if of >= 0 else -away


# from the documents -------------------------------------------------------------------------------


def from_documents(quarter: Quarter) -> dict[str, Figures]:
    """Month → its figures, from what was answered alone."""
    months: dict[str, Figures] = defaultdict(Figures)
    by_number = {kept.said["number"]: kept.said for kept in quarter.kept if "number" in kept.said}
    for kept in quarter.kept:
        _DOCUMENTS[kept.kind](months[month_of(kept.at)], kept, by_number)
    return months


def _taxed(lines: list[tuple[str, int]]) -> Iterator[tuple[str, int]]:
    """Tax by code of lines (code, minor units)."""
    for code, of in TAXES.items():
        base = sum(amount for line_code, amount in lines if line_code == code)
        if of["class"] in CHARGED:
            yield code, half_away(base * Fraction(of["rate"]))


def _charged(of: Figures, said: Json, before: Json | None = None) -> None:
    """The charges of a document and the tax on them; what it says of its tax has to be that. Of a further
    settlement, the tax on the whole lot's less what the one before it said (H8)."""
    final = said["cases"]["final"]
    taxes = dict(_taxed(_lines(said["whole"] if before else final)))
    for tax in before["cases"]["final"]["taxes"] if before else ():
        taxes[tax["code"]] = taxes.get(tax["code"], 0) - minor(tax["amount"])
    told = {tax["code"]: minor(tax["amount"]) for tax in final["taxes"]}
    assert told == {code: taxes.get(code, 0) for code in {code for code, _ in _lines(final)}}
    assert minor(said["tax_total"]) == sum(told.values())
    assert minor(said["charges_total"]) == sum(amount for _, amount in _lines(final))
    of.tax.update(told)
    for charge in final["charges"]:
        of.charges[charge["name"]] += minor(charge["amount"])


def _lines(case: Json) -> list[tuple[str, int]]:
    return [(charge["tax"], minor(charge["amount"])) for charge in case["charges"]]


def _settlement(of: Figures, kept: Kept, by_number: Json, sign: int = 1) -> None:
    final, client = kept.said["cases"]["final"], kept.said["client"]
    if sign > 0:
        _charged(of, kept.said, by_number.get(kept.said["further_to"]))
    for metal, account in final["metals"].items():
        of.metal_owed[client, metal] += sign * mg(account["metal_account"])
    # What was advanced is money that the client had before.
    of.money_owed[client] += sign * (minor(kept.said["net"]) + minor(final["advances_total"]))


def _purchase(of: Figures, kept: Kept, _: Json, sign: int = 1) -> None:
    final, paid = kept.said["cases"]["final"], sign * minor(kept.said["paid"])
    if sign > 0:
        _charged(of, kept.said)
    of.purchases["documents"] += sign
    of.purchases["paid"] += paid
    of.purchases["gold"] += sign * mg(final["metals"]["gold"]["recovered"])
    of.cash[PLACE[kept.said["paid_in"]]] -= paid


def _credit_note(of: Figures, kept: Kept, by_number: Json) -> None:
    """Its lines and its tax, what it credits turned round; metal and money go back as they came."""
    for line in kept.said["lines"]:
        kind, _, name = line["line"].partition(": ")
        if kind == "charge":
            of.charges[name] -= minor(line["amount"])
    lines = [(line["tax"], minor(line["amount"])) for line in kept.said["lines"] if line["tax"] is not None]
    taxes = dict(_taxed(lines))
    said = {tax["code"]: minor(tax["amount"]) for tax in kept.said["taxes"]}
    assert said == {code: taxes.get(code, 0) for code in {code for code, _ in lines}}
    of.tax.subtract(taxes)
    credited = by_number[kept.said["credits"]["number"]]
    back = {"P": _purchase, "I": _bar_sale, "S": _settlement}[credited["number"][0]]
    back(of, Kept(kept.kind, kept.at, credited), by_number, sign=-1)


def _payment(of: Figures, kept: Kept, by_number: Json, sign: int = 1) -> None:
    said = kept.said
    way = sign * (1 if said["direction"] == "to_client" else -1)
    of.cash[PLACE[said["paid_in"]]] -= way * minor(said["amount"])
    # What cash was rounded by pays nothing off.
    closed = minor(said["amount"]) - minor(said["cash_rounding"])
    of.money_owed[_client_of(said, by_number)] -= way * closed


def _client_of(payment: Json, by_number: Json) -> str:
    """Whose payment it is: of his settlement, or an advance on a lot that a settlement settled."""
    of = payment["of"]
    found = by_number.get(of) or next(d for d in by_number.values() if d.get("lot") == of)
    return str(found["client"])


def _metal_sale(of: Figures, kept: Kept, _: Json, sign: int = 1) -> None:
    said = kept.said
    of.metal_owed[said["client"], said["metal"]] -= sign * mg(said["fine"])
    of.cash[PLACE[said["payment"]["paid_in"]]] -= sign * minor(said["payment"]["amount"])


def _metal_bar(of: Figures, kept: Kept, _: Json) -> None:
    of.metal_owed[kept.said["client"], "gold"] -= mg(kept.said["takes"])


def _bar_sale(of: Figures, kept: Kept, _: Json, sign: int = 1) -> None:
    said = kept.said
    taxes = dict(_taxed([("standard", minor(said["value"]))]))
    assert {tax["code"]: minor(tax["amount"]) for tax in said["taxes"]} == {"standard": taxes["standard"]}
    if sign > 0:
        of.tax["standard"] += taxes["standard"]
    due = minor(said["value"]) + taxes["standard"] + minor(said["payment"]["cash_rounding"])
    assert minor(said["payment"]["amount"]) == due
    of.cash[PLACE[said["payment"]["paid_in"]]] += sign * due


def _bought(of: Figures, kept: Kept, _: Json) -> None:
    """Metal and bars for stock: what they cost."""
    of.cash[PLACE[kept.said.get("paid_in", "cash")]] -= minor(kept.said["cost"])


def _cash_count(of: Figures, kept: Kept, _: Json) -> None:
    if kept.said["booked"]:
        of.cash["till"] += minor(kept.said["compared"][0]["difference"])


_DOCUMENTS: dict[str, Any] = {
    "settlement": _settlement,
    "purchase": _purchase,
    "credit note": _credit_note,
    "payment": _payment,
    "payment back": lambda of, kept, by: _payment(of, kept, by, sign=-1),
    "metal sale": _metal_sale,
    "metal sale back": lambda of, kept, by: _metal_sale(of, kept, by, sign=-1),
    "metal bar": _metal_bar,
    "bar sale": _bar_sale,
    "bar bought": _bought,
    "stock bought": _bought,
    "cash count": _cash_count,
}


# from the journal ---------------------------------------------------------------------------------


def from_journal(quarter: Quarter) -> dict[str, Figures]:
    """Month → its figures, from the lines of the journal alone."""
    months: dict[str, Figures] = defaultdict(Figures)
    entries = {entry["id"]: entry for entry in quarter.desk.listed("/v1/journal?limit=200")}
    for entry in entries.values():
        of = months[month_of(datetime.fromisoformat(entry["made_at"]))]
        for line in entry["lines"]:
            _line(of, line["account"].split(":"), line["commodity"], line["amount"])
        # A reversal bears a name of its own: what it undoes says what it is of.
        undone = entries.get(entry["reverses"] or "", entry)
        if undone["document"].startswith("P-"):
            _of_purchase(of, entry, 1 if undone is entry else -1)
    return months


def _line(of: Figures, account: list[str], commodity: str, amount: int) -> None:
    match account:
        case ["tax", code]:
            of.tax[code] -= amount
        case ["charges", name]:
            of.charges[name] -= amount
        case ["client", client, "metal"]:
            of.metal_owed[client, commodity] -= amount
        case ["client", client, "money"]:
            of.money_owed[client] -= amount
        case ["house", "till" | "bank" as place]:
            of.cash[place] += amount


def _of_purchase(of: Figures, entry: Json, sign: int) -> None:
    of.purchases["documents"] += sign
    for line in entry["lines"]:
        if line["account"] == "house:bought":
            of.purchases["gold"] += line["amount"]
        elif line["account"] in ("house:till", "house:bank"):
            of.purchases["paid"] -= line["amount"]


# from balances as at a day ------------------------------------------------------------------------


def last_day(month: str) -> date:
    first = date.fromisoformat(f"{month}-01")
    return (first + timedelta(days=32)).replace(day=1) - timedelta(days=1)


def from_balances(quarter: Quarter, month: str) -> dict[str, dict[Any, int]]:
    """The figures of a month that balances tell: at its end less at the end of the one before.

    What the API answers as at a day, of each client over the month, and of every place up to a day: tax by
    code and charges by kind.
    """
    end = last_day(month)
    before = end.replace(day=1) - timedelta(days=1)
    of = Figures()
    for day, sign in ((end, 1), (before, -1)):
        for name, found in _as_at(quarter, day).items():
            for key, amount in found.items():
                getattr(of, name)[key] += sign * amount
    for client in CLIENTS:
        span = f"from={end.replace(day=1)}&to={end}"
        account = quarter.desk.get(f"/v1/clients/{client}/account?{span}")
        for at, sign in ((account["closing"], 1), (account["opening"], -1)):
            for metal, held in at.get("metal_account", {}).items():
                of.metal_owed[client, metal] += sign * mg(held)
            of.money_owed[client] += sign * minor(at.get("money", {}).get("GBP", {"amount": "0"}))
    return {name: found for name, found in of.plain().items() if name != "purchases"}


def _as_at(quarter: Quarter, day: date) -> dict[str, Counter[Any]]:
    position = quarter.desk.get(f"/v1/position?as_at={day}")
    money = position["money"].get("GBP")
    cash = Counter({name: minor(money[name]) for name in ("till", "bank")} if money else {})
    tax, charges = Counter[str](), Counter[str]()
    for line in quarter.desk.get(f"/v1/trial-balance?to={day}")["places"]:
        owner, _, name = line["place"].partition(":")
        if owner in ("tax", "charges"):
            (tax if owner == "tax" else charges)[name] -= minor(line["closing"])
    assert sum(tax.values()) == (minor(money["tax_owed"]) if money else 0)
    return {"cash": cash, "tax": tax, "charges": charges}
