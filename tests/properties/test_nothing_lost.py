"""No milligram and no minor unit is made or lost: parts, accounts, lines, entries (A5, E, F4, H7, J1)."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from settle.reckoning import postings
from settle.reckoning.comparison import compare, metal_found_minor
from settle.reckoning.document import comparison, estimate
from settle.reckoning.due import due
from settle.reckoning.exact import largest_remainder
from settle.reckoning.quote import Quoted
from settle.reckoning.settlement import settle
from settle.reckoning.statement import Statement
from settle.reckoning.terms import CASES, read_terms
from settle.reckoning.weight import milligrams
from settle.reckoning.working import SILENT

from .reckoned import quoted
from .refining import account, batches, refined, settled_lots
from .strategies import lots

AMOUNTS = st.integers(0, 10**7)


def settled(lot) -> tuple[Quoted, Statement, tuple]:
    """A random lot, quoted and settled, with the steps between."""
    terms, request, case = lot
    quote = quoted(terms, request)
    found = refined(terms, case)
    final = settle(read_terms(terms), found)
    return quote, final, compare(quote, found, final)


@given(AMOUNTS, st.lists(AMOUNTS, min_size=1, max_size=20))
def test_parts_by_largest_remainder_add_up_and_lie_within_one_of_their_quota(whole, weights):
    parts = largest_remainder(whole, weights)
    total = sum(weights)
    assert sum(parts) == (whole if total else 0)
    assert all(abs(p * total - whole * w) < total for p, w in zip(parts, weights, strict=True) if total)


@given(AMOUNTS, AMOUNTS.filter(bool), st.integers(2, 9))
def test_among_equal_parts_the_earlier_ones_take_what_is_left(whole, weight, count):
    parts = largest_remainder(whole, [weight] * count)
    assert parts == sorted(parts, reverse=True)
    assert parts[0] - parts[-1] <= 1


def assert_metal_adds_up(of: Statement) -> None:
    for metal in of.metals.values():
        placed = metal.placed
        assert placed.total_mg == sum(bar.takes_mg for bar in placed.bars)
        went = placed.total_mg + metal.sold_mg + metal.shot_mg + metal.account_mg
        assert went - placed.top_up_mg - placed.excess_gift_mg == metal.accountable_mg
        assert metal.remainder_mg == metal.sold_mg + metal.shot_mg + metal.account_mg
        assert min(metal.sold_mg, metal.shot_mg, metal.account_mg, placed.top_up_mg) >= 0


def assert_money_adds_up(of: Statement) -> None:
    assert of.payouts_minor == sum(m.payout_minor for m in of.metals.values())
    assert of.top_ups_minor == sum(m.top_up_minor for m in of.metals.values())
    assert of.charges_minor == sum(line.amount_minor for line in of.charges)
    assert of.tax_minor == sum(line.amount_minor for line in of.taxes)
    off = of.charges_minor + of.tax_minor + of.top_ups_minor
    off += of.basis.advances_minor + of.basis.fees_minor
    assert of.net_minor == of.payouts_minor - off


@given(lots())
def test_each_case_of_an_estimate_accounts_for_all_its_metal_and_money(lot):
    quote = quoted(*lot)
    for case in CASES:
        assert_metal_adds_up(quote.cases[case])
        assert_money_adds_up(quote.cases[case])


@given(settled_lots())
def test_a_settlement_accounts_for_all_its_metal_and_money(lot):
    _, final, _ = settled(lot)
    assert_metal_adds_up(final)
    assert_money_adds_up(final)


def added(lines: list, *path: str) -> Decimal:
    total = Decimal(0)
    for line in lines:
        for step in path:
            line = line[step]
        total += Decimal(line)
    return total


@given(lots())
def test_printed_lines_add_up_to_printed_totals(lot):
    for case in estimate(quoted(*lot), [], SILENT)["cases"].values():
        metals = list(case["metals"].values())
        totals = {name: Decimal(case[name]["amount"]) for name in case if isinstance(case[name], dict)
                  and "amount" in case[name]}  # fmt: skip
        assert added(metals, "payout", "amount") == totals["payouts_total"]
        assert added(metals, "top_up_cost", "amount") == totals["top_ups_total"]
        assert added(case["charges"], "amount", "amount") == totals["charges_total"]
        assert added(case["taxes"], "amount", "amount") == totals["tax_total"]
        off = sum(totals[f"{name}_total"] for name in ("charges", "tax", "top_ups", "advances", "fees"))
        # Of what can't be valued there is no net (C4).
        assert case["net"] is None or totals["payouts_total"] - off - totals["waived"] == totals["net"]
        for metal in metals:
            in_g = {name: Decimal(metal[name]["g"]) for name in metal if "g" in (metal[name] or ())}
            assert added(metal["bars"], "fine", "g") == in_g["bars_total"]
            assert in_g["sold"] + in_g["shot"] + in_g["metal_account"] == in_g["remainder"]
            spent = in_g["bars_total"] + in_g["remainder"] - in_g["top_up"] - in_g["excess_gift"]
            assert spent == in_g["accountable"]


@given(settled_lots())
def test_the_steps_of_the_comparison_add_up_to_the_difference(lot):
    quote, final, steps = settled(lot)
    assume(quote.is_valued)
    assert steps[-1].worth_minor == final.worth_minor
    assert sum(s.difference_minor for s in steps) == steps[-1].worth_minor - steps[0].worth_minor
    by_name = {s.name: s.difference_minor for s in steps}
    assert metal_found_minor(steps) == by_name["weight"] + by_name["fineness"]
    printed = comparison(steps, final.basis.terms.currency)
    assert added(printed["steps"], "difference", "amount") == Decimal(printed["difference"]["amount"])


def legs_of(entry, account_name: str, commodity: str) -> int:
    return sum(leg.amount for leg in entry.legs if (leg.account, leg.commodity) == (account_name, commodity))


def assert_balanced(entry) -> None:
    for commodity in {leg.commodity for leg in entry.legs}:
        assert sum(leg.amount for leg in entry.legs if leg.commodity == commodity) == 0


@given(settled_lots())
def test_the_entry_of_a_settlement_balances_and_gives_the_client_what_the_document_says(lot):
    _, final, _ = settled(lot)
    of_this = due(final)
    entry = postings.settled("S-1", "C-1", "L-1", of_this)
    assert_balanced(entry)
    for metal, of in final.metals.items():
        stated = sum(bar.poured.stated_mg for bar in of.placed.bars)
        assert legs_of(entry, "client:C-1:bars", metal) == -stated
        assert legs_of(entry, "client:C-1:shot", metal) == -of.shot_mg
        assert legs_of(entry, "client:C-1:metal", metal) == -of.account_mg
        assert legs_of(entry, "client:C-1:lot:L-1", metal) == milligrams(of.recovered_g)
        assert legs_of(entry, "house:kept", metal) == -of.kept_mg
        assert legs_of(entry, "house:bought", metal) == of.drillings_mg - of.drillings_back_mg
    # What was advanced was owed before: the entry owes the net and takes the advance off.
    owed = -(of_this.net_minor + final.basis.advances_minor)
    assert legs_of(entry, "client:C-1:money", final.basis.terms.currency) == owed


@given(lots(("counter",)))
def test_the_entry_of_an_outright_purchase_balances_and_leaves_nothing_owed(lot):
    terms, request = lot
    bought = due(quoted(terms, request | {"instructions": {}}).cases[terms["purchase_case"]])
    entry = postings.bought("P-1", "C-1", bought, postings.TILL, bought.net_minor)
    assert_balanced(entry)
    assert not [leg for leg in entry.legs if leg.account.startswith("client:")]
    assert legs_of(entry, postings.TILL, terms["currency"]) == -bought.net_minor


@pytest.mark.parametrize("metal", ["gold", "silver"])
@given(drawn=batches())
def test_all_that_came_back_of_a_batch_is_some_lots_or_the_houses(metal, drawn):
    terms, case = drawn
    found = account(read_terms(terms), case, metal)
    assert sum(found.shares.lots_mg) + found.shares.house_mg == found.came_back_mg
    assert all(0 <= r <= own for r, own in zip(found.shares.lots_mg, found.own_mg, strict=True))


@pytest.mark.parametrize("metal", ["gold", "silver"])
@given(drawn=batches(), houses_own=st.booleans())
def test_the_entry_of_a_batch_empties_the_pot_and_owes_each_client_what_it_is_credited(
    metal, drawn, houses_own
):
    terms, case = drawn
    found = account(read_terms(terms), case, metal)
    clients: list[str | None] = [f"C-{i}" for i in range(len(case["lots"]))]
    if houses_own:
        clients[-1] = None
    lots_in = {f"L-{i}": ("B-1", client) for i, client in enumerate(clients)}
    one = {"B-1": found.lent_mg}, {"B-1": found.out_mg}, {"B-1": found.held_mg}
    entries = [
        postings.silver_lent("E-1", "B-1", {metal: found.lent_mg}),
        postings.came_out("E-2", "B-1", metal, found.out_mg),
        postings.reconciled("R-1", "B-1", postings.InPot(lots_in, *one), found),
    ]
    for (lot, (_, client)), own in zip(lots_in.items(), found.own_mg, strict=True):
        source = postings.of_lot(client, lot) if client else "house:own"
        entries.append(postings.lot_in("E-3", "B-1", source, lot, {metal: own}))
    for entry in entries:
        assert_balanced(entry)

    def left_on(account_name: str) -> int:
        return sum(legs_of(entry, account_name, metal) for entry in entries)

    assert left_on("house:process:B-1") == 0
    assert left_on("house:lent:B-1") == 0
    assert left_on("house:held:B-1") == found.held_mg
    assert left_on(postings.STOCK) == found.out_mg - found.lent_mg
    for (lot, (_, client)), mg in zip(lots_in.items(), found.shares.lots_mg, strict=True):
        assert client is None or left_on(postings.of_lot(client, lot)) == -mg


@pytest.mark.parametrize("metal", ["gold", "silver"])
@given(drawn=batches())
def test_a_gain_is_the_houses_and_no_lots(metal, drawn):
    terms, case = drawn
    more = {"amount": "5000", "unit": "g"}
    plain = {"house_silver": {"fineness": "999", "gold": "0"}}
    found = account(read_terms(terms | plain), case | {f"{metal}_held": more}, metal)
    assert found.came_back_mg > found.in_mg
    assert found.shares.lots_mg == found.own_mg
    assert found.shares.house_mg == found.came_back_mg - sum(found.own_mg)


@given(lots())
def test_low_is_never_above_likely_nor_likely_above_high(lot):
    quote = quoted(*lot)
    for metal, band in quote.bands.items():
        accountable = [quote.cases[case].metals[metal].accountable_mg for case in CASES]
        recovered = [band.recovered_g[case] for case in CASES]
        fine = [band.fine_g[case] for case in CASES]
        assert fine == sorted(fine)
        assert accountable == sorted(accountable)
        assert min(fine) >= 0
        if quote.request.terms.metals[metal].settle_on == "counter":
            assert len(set(recovered)) == 1
        else:
            assert recovered == sorted(recovered)
            assert all(Fraction(0) <= r <= f for r, f in zip(recovered, fine, strict=True))
    least, likely, greatest = quote.net_range
    assert least <= likely <= greatest
