"""One printed settlement and a calculator are enough: the paper's own text, and no JSON, gives the net."""

import re
from decimal import ROUND_HALF_UP, Decimal

import pytest

from settle.reckoning.exact import plain
from settle.reckoning.weight import GRAMS_PER

from .house import House, Json, pages

FIGURE = r"([\d,]+\.\d+|[\d,]+)"


def number(text: str) -> Decimal:
    return Decimal(text.replace(",", ""))


def cents(value: Decimal) -> Decimal:
    return value.quantize(Decimal("0.01"), ROUND_HALF_UP)


def between(text: str, start: str, end: str) -> str:
    return text.split(start, 1)[1].split(end, 1)[0]


@pytest.fixture(scope="module")
def text(house: House) -> str:
    made = house.get(
        f"/v1/settlements/{house.names['settlement']}", Accept="application/pdf", Accept_Language="en-GB"
    )
    assert made.status_code == 200
    return " ".join(pages(made.data))


def payouts(text: str) -> list[Decimal]:
    part = between(text, "Payout rate Amount, GBP", "Total")
    rows = re.findall(rf"(Gold|Silver) {FIGURE} {FIGURE} (\w+) {FIGURE} {FIGURE}", part)
    found = []
    for _, sold, price, per, rate, amount in rows:
        each = number(sold) / Decimal(plain(GRAMS_PER[per])) * number(price) * number(rate)
        assert cents(each) == number(amount)
        found.append(number(amount))
    return found


def charges(text: str) -> list[Decimal]:
    part = between(text, "Charge Base Quantity per Rate Amount, GBP", "Total")
    rows = re.findall(rf"(?:charged as {FIGURE}\) )?[a-z, ]*{FIGURE} (?:g )?{FIGURE} {FIGURE}(?= |$)", part)
    for charged_as, quantity, rate, amount in rows:
        # The quantity is only shown (A8): a cent may lie between it and the exact one.
        redone = cents(number(charged_as or quantity) * number(rate))
        assert abs(redone - number(amount)) <= Decimal("0.01")
    return [number(row[-1]) for row in rows]


def taxes(text: str) -> list[Decimal]:
    part = between(text, "Base, GBP Rate Tax, GBP", "Net")
    rows = re.findall(rf"{FIGURE} {FIGURE} % {FIGURE}", part)
    assert all(cents(number(b) * number(r) / 100) == number(t) for b, r, t in rows)
    return [number(t) for _, _, t in rows]


def test_the_net_can_be_redone_from_the_paper_alone(text: str, documents: dict[str, Json]) -> None:
    assert (len(payouts(text)), len(charges(text)), len(taxes(text))) == (2, 5, 1)
    net = sum(payouts(text)) - sum(charges(text)) - sum(taxes(text))
    assert net == number(re.search(rf"You get 2 bars of 20 g, gold 999.9 ‰ £{FIGURE}", text)[1])  # type: ignore[index]
    assert str(net) == documents["settlement"]["net"]["amount"]


def test_the_steps_on_the_paper_add_up(text: str) -> None:
    part = between(text, "Difference, GBP Worth, GBP", "Weight and fineness together")
    part = part.replace("−", "-")
    quoted = number(re.search(rf"likely\. {FIGURE}", part)[1])  # type: ignore[index]
    steps = re.findall(r"\. ([+-]?[\d,]+\.\d\d) ([\d,]+\.\d\d)", part)
    worth = quoted
    for difference, after in steps:
        worth += Decimal(difference.replace(",", ""))
        assert worth == number(after)
    assert len(steps) == 6
