"""J: entries that balance by themselves, in every commodity."""

import pytest

from settle.reckoning import postings
from settle.reckoning.bars import Poured
from settle.reckoning.batch import LotIn, Weighed, reconcile
from settle.reckoning.due import due
from settle.reckoning.ledger import CONVERSION, Entry, Leg, entry, move, reversed_entry
from settle.reckoning.purchase import buy

from .shop import F, account, bars, request, terms, terms_on


def sums(made):
    """The amount of each account and commodity."""
    return {(leg.account, leg.commodity): leg.amount for leg in made.legs}


@pytest.mark.rule("J1")
@pytest.mark.parametrize(
    "legs",
    [
        [Leg("a", "gold", 1)],
        [Leg("a", "gold", -1)],
        [Leg("a", "gold", 2), Leg("b", "gold", -1)],
        [Leg("a", "gold", 1), Leg("b", "silver", -1)],  # one commodity doesn't pay for another
        [Leg("a", "GBP", 1), Leg("b", "GBP", -1), Leg("a", "gold", 1)],
    ],
)
def test_an_entry_that_does_not_balance_in_each_commodity_can_not_be_made(legs):
    with pytest.raises(ValueError, match="does not balance"):
        entry("D-1", "a text", legs)
    with pytest.raises(ValueError, match="does not balance"):
        Entry("D-1", "a text", tuple(legs))


@pytest.mark.rule("J1")
def test_legs_of_one_account_become_one_and_those_of_nothing_are_left_out():
    legs = [*move("a", "b", "gold", 3), *move("a", "b", "gold", 4), *move("c", "d", "GBP", 0)]
    made = entry("D-1", "a text", legs)
    assert sums(made) == {("b", "gold"): 7, ("a", "gold"): -7}


@pytest.mark.rule("J1")
def test_a_reversal_names_itself_and_undoes_every_leg():
    made = entry("D-1", "a text", move("a", "b", "gold", 3))
    undone = reversed_entry(made, "D-2", "reversal of D-1")
    assert (undone.document, sums(undone)) == ("D-2", {("a", "gold"): 3, ("b", "gold"): -3})


FULL = {
    "gold": {"accountable": "0.98", "payout_rate": "0.9", "top_up_rate": "1.02"},
    "silver": {"accountable": "0.9"},
    "taxes": {"vat": {"rate": "0.20", "class": "standard"}},
    "charges": [{"name": "lot", "base": "lot", "rate": "10.03", "tax": "vat"}],
}
PRICES = {"gold": "10", "silver": "1"}


def settled(gold_wish, silver_wish=None, poured=None, under=FULL, **changes):
    wish = {"gold": gold_wish, "silver": silver_wish or {}}
    final = account(
        terms_on(**under),
        {"gold": "50", "silver": "30"},
        PRICES,
        wish,
        poured=poured or {},
        **changes,
    )
    return final, sums(postings.settled("S-1", "C-1", "L-1", due(final)))


@pytest.mark.rule("J1")
def test_a_settlement_books_where_every_milligram_and_penny_went():
    line = bars("20", 2, "995")
    gold = [Poured("N1", 0, F(20), F(999)), Poured("N2", 0, F(20), F(995))]
    final, booked = settled({"bars": [line]}, {"remainder": "metal_account"}, {"gold": gold}, fees_minor=500)
    # A = 49 g, bars take 39.8, 9.2 are sold at 9.00: 82.80. Silver: A = 27 g, all on account.
    # Charges 10.03, tax 2.006, fees 5.00: net 65.76.
    assert final.net_minor == 6_576
    assert booked == {
        ("client:C-1:lot:L-1", "gold"): 50_000,
        ("house:kept", "gold"): -1_000,
        ("house:gift above what is stated", "gold"): 80,  # 20 × (999 − 995) ÷ 1000
        ("client:C-1:bars", "gold"): -39_880,  # as stated
        ("conversion", "gold"): -9_200,
        ("client:C-1:lot:L-1", "silver"): 30_000,
        ("house:kept", "silver"): -3_000,
        ("client:C-1:metal", "silver"): -27_000,
        ("conversion", "GBP"): 8_280,
        ("charges:lot", "GBP"): -1_003,
        ("tax:vat", "GBP"): -201,
        ("house:fees", "GBP"): -500,
        ("client:C-1:money", "GBP"): -6_576,
    }


NAMES = ["fees", "kept", "house:fees", ":", "a:b", "client:C-1:money", "tax:vat", "conversion"]


@pytest.mark.rule("J1")
@pytest.mark.parametrize("name", NAMES)
def test_a_charge_and_a_tax_are_booked_apart_from_all_else_whatever_they_are_called(name):
    named = {
        "taxes": {name: {"rate": "0.20", "class": "standard"}},
        "charges": [{"name": name, "base": "lot", "rate": "10.03", "tax": name}],
    }
    _, booked = settled({}, fees_minor=500)
    _, other = settled({}, fees_minor=500, under=FULL | named)
    renamed = {"charges:lot": f"charges:{name}", "tax:vat": f"tax:{name}"}
    assert other == {(renamed.get(of, of), commodity): of_it for (of, commodity), of_it in booked.items()}
    assert (other[f"charges:{name}", "GBP"], other["house:fees", "GBP"]) == (-1_003, -500)


@pytest.mark.rule("J1")
def test_a_whole_bar_books_what_it_does_not_state():
    gold = [Poured("N1", 0, F("48.99"), F("999.9"))]  # states 48.985101: 48.985 of the 49.000 that it takes
    _, booked = settled({"bars": [bars(count="whole")]}, poured={"gold": gold})
    assert booked["client:C-1:bars", "gold"] == -48_985
    assert booked["house:stated below", "gold"] == -15
    assert ("conversion", "gold") not in booked


@pytest.mark.rule("J1")
@pytest.mark.parametrize(("top_up", "money", "gift"), [(True, 11_000, 0), (False, 0, 11_000)])
def test_bars_above_a_are_bought_through_the_conversion_account_or_given(top_up, money, gift):
    gold = [Poured(f"N{i}", 0, F(20), F(1000)) for i in range(3)]  # 60 g, of 49
    final, booked = settled({"bars": [bars("20", 3, top_up=top_up)]}, {"remainder": "shot"}, {"gold": gold})
    assert booked["client:C-1:bars", "gold"] == -60_000
    assert booked.get(("conversion", "gold"), 0) == money
    assert booked.get(("house:gift above what is stated", "gold"), 0) == gift
    assert booked.get(("conversion", "GBP"), 0) == -final.top_ups_minor
    assert booked["client:C-1:shot", "silver"] == -27_000


@pytest.mark.rule("J1")
def test_what_the_client_owes_or_is_owed_after_the_entry_is_the_net_with_advances():
    final, booked = settled({}, advances_minor=4_000)
    # The advance was booked when it was paid: the entry itself carries net + advance.
    assert -booked["client:C-1:money", "GBP"] == final.net_minor + 4_000


@pytest.mark.rule("J1")
@pytest.mark.parametrize("paid_from", [postings.TILL, postings.BANK])
def test_an_outright_purchase_makes_the_metal_the_houses_and_pays_for_it(paid_from):
    of = terms_on(gold={"settle_on": "counter", "payout_rate": "0.9"}, purchase_case="likely")
    _, final = buy(request(of))
    assert sums(postings.bought("P-1", "C-1", final, paid_from, final.net_minor)) == {
        ("house:bought", "gold"): 50_000,
        ("conversion", "gold"): -50_000,
        ("conversion", "GBP"): 45_000,
        (paid_from, "GBP"): -45_000,
    }


@pytest.mark.rule("J1")
@pytest.mark.parametrize(
    ("open_minor", "paid", "rounding"), [(3_829, 3_830, 1), (3_832, 3_830, -2), (-3_832, -3_830, 2)]
)
def test_what_cash_is_rounded_by_is_a_line_of_the_payment_and_the_client_is_owed_nothing(
    open_minor, paid, rounding
):
    booked = sums(postings.paid("PM-1", "a payment", "C-1", postings.TILL, "GBP", paid, rounding))
    assert booked == {
        ("house:till", "GBP"): -paid,
        ("client:C-1:money", "GBP"): open_minor,
        ("house:cash rounding", "GBP"): rounding,
    }


@pytest.mark.rule("J1")
@pytest.mark.parametrize(("gold", "waived"), [("1.06", 3), ("1.00", -3)])
def test_a_net_too_small_to_pay_is_nobodys_debt_any_more(gold, waived):
    charge = {"name": "lot", "base": "lot", "rate": "10.57" if waived > 0 else "10.03"}
    of = terms(charges=[charge], least_paid="0.04")
    made = due(account(of, {"gold": gold}, {"gold": "10"}))
    booked = sums(postings.settled("S-1", "C-1", "L-1", made))
    assert (made.raw_minor, made.waived_minor, made.net_minor) == (waived, waived, 0)
    assert ("client:C-1:money", "GBP") not in booked
    assert booked["house:too small to pay", "GBP"] == -waived


LOTS = {"L-1": ("C-1", 30_000), "L-2": ("C-2", 20_000)}


def batch():
    """The entries of a batch: two lots in, 50 g of silver lent, 90 g out, reconciled."""
    of = terms_on(silver={"settle_on": "outturn", "recovery": "0.9"})
    own = [LotIn(lot, Weighed(F(mg, 1000), F(0), F(1000))) for lot, (_, mg) in LOTS.items()]
    made = reconcile(of, "silver", own, [Weighed(F(50), F(0), F(1000))], [Weighed(F(90), F(0), F(1000))])
    for lot, (client, mg) in LOTS.items():
        yield postings.lot_in("B-1", "B-1", postings.of_lot(client, lot), lot, {"silver": mg})
    yield postings.silver_lent("B-1", "B-1", {"silver": 50_000})
    yield postings.came_out("B-1", "B-1", "silver", 90_000)
    clients = {lot: ("B-1", client) for lot, (client, _) in LOTS.items()}
    pot = postings.InPot(clients, {"B-1": 50_000}, {"B-1": 90_000}, {})
    yield postings.reconciled("B-1", "B-1", pot, made)


@pytest.mark.rule("J1")
def test_a_batch_that_is_reconciled_is_empty_and_owes_each_client_its_r():
    legs = [leg for made in batch() for leg in made.legs]
    assert sums(entry("B-1", "all of it", legs)) == {
        ("house:stock", "silver"): 40_000,  # 50 lent, 90 came back
        ("client:C-1:lot:L-1", "silver"): -27_000,
        ("client:C-2:lot:L-2", "silver"): -18_000,
        ("house:difference of assay and weighing", "silver"): 5_000,  # lent 50, got 45
    }


@pytest.mark.rule("J1")
def test_while_a_batch_is_under_way_its_metal_is_in_process():
    *_, first, second, lent, out, _ = batch()
    assert sums(first)["house:process:B-1", "silver"] == 30_000
    assert sums(second)["client:C-2:lot:L-2", "silver"] == -20_000
    assert sums(lent) == {("house:lent:B-1", "silver"): 50_000, ("house:stock", "silver"): -50_000}
    assert sums(out) == {("house:stock", "silver"): 90_000, ("house:process:B-1", "silver"): -90_000}


@pytest.mark.rule("J1")
@pytest.mark.parametrize(
    ("made", "booked"),
    [
        (
            lambda: postings.stock_opening("O-1", {"gold": 5, "silver": 7}),
            {
                ("house:stock", "gold"): 5,
                ("house:opening", "gold"): -5,
                ("house:stock", "silver"): 7,
                ("house:opening", "silver"): -7,
            },
        ),
        (
            lambda: postings.stock_bought("O-2", {"silver": 7}, "house:till", "GBP", 3),
            {
                ("house:stock", "silver"): 7,
                (CONVERSION, "silver"): -7,
                (CONVERSION, "GBP"): 3,
                ("house:till", "GBP"): -3,
            },
        ),
        (
            lambda: postings.silver_lent("B-1", "B-1", {"silver": 7}),
            {("house:lent:B-1", "silver"): 7, ("house:stock", "silver"): -7},
        ),
        (
            lambda: postings.poured("N1", "N1", "gold", 7),
            {("house:bars", "gold"): 7, ("house:stock", "gold"): -7},
        ),
    ],
)
def test_stock_comes_in_is_bought_lent_and_poured(made, booked):
    assert sums(made()) == booked


@pytest.mark.rule("J1")
@pytest.mark.parametrize("remainder", ["pay_out", "shot", "metal_account", "cover_charges"])
@pytest.mark.parametrize("r", ["0", "0.0004", "12.3456789", "50"])
def test_metal_becomes_money_only_through_the_conversion_account(remainder, r):
    final = account(terms(), {"gold": r}, {"gold": "9.99"}, {"gold": {"remainder": remainder}})
    booked = sums(postings.settled("S-1", "C-1", "L-1", due(final)))
    for commodity in ("gold", "GBP"):
        outside = sum(a for (name, c), a in booked.items() if c == commodity and name != CONVERSION)
        assert outside == -booked.get((CONVERSION, commodity), 0)
    assert booked.get((CONVERSION, "gold"), 0) == -final.metals["gold"].sold_mg
    assert booked.get((CONVERSION, "GBP"), 0) == final.payouts_minor
