"""The product and the oracle, written apart from the same rules, say the same of random lots."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from oracle import all_in as oracle_all_in
from oracle import batch as oracle_batch
from oracle import exact_estimate, exact_settlement, residual_u
from oracle.charges import charge_amount

from settle.reckoning.charges import Quantities, charge_line, quantity
from settle.reckoning.comparison import compare
from settle.reckoning.exact import fixed
from settle.reckoning.settlement import settle
from settle.reckoning.statement import all_in
from settle.reckoning.terms import CASES, read_terms
from settle.reckoning.weight import in_grams, milligrams
from settle.reckoning.working import SILENT

from .reckoned import cases, figures, quoted
from .refining import DIVISION, account, batches, came_out, held, lent, refined, settled_lots
from .strategies import CURRENCIES, charges, lots


@given(lots())
def test_every_figure_of_a_random_estimate_is_the_oracles(lot):
    terms, request = lot
    assert cases(quoted(terms, request)) == exact_estimate(terms, request)


QUANTITIES = st.integers(0, 400_000).map(lambda n: Fraction(n, 1000))


@given(
    charge=charges(("gold",), ()),
    weights=st.tuples(QUANTITIES, QUANTITIES, QUANTITIES, QUANTITIES),
    counts=st.tuples(st.integers(0, 40), st.integers(1, 40)),
    currency=st.sampled_from(CURRENCIES),
)
def test_a_random_charge_on_random_quantities_is_the_oracles(charge, weights, counts, currency):
    gross, melt, lent_g, fine = weights
    bars, articles = counts
    gold = {"settle_on": "assay", "accountable": "1", "payout_rate": "1"}
    of = {"name": "drawn", "currency": currency, "division": {"amount": "0.01", "unit": "g"}, "evidence": {}}
    terms = read_terms(of | {"metals": {"gold": gold}, "charges": [charge | {"name": "drawn"}]})
    value = fine * 31
    quantities = Quantities(gross, melt, lent_g, articles)
    on = quantity(terms.charges[0], quantities, {"gold": milligrams(fine)}, bars, value)
    line = charge_line(terms.charges[0], on, currency, SILENT)
    expected = charge_amount(
        charge,
        {"gold": {"accountable": fine}},
        {"gross": gross, "melt": melt, "need": lent_g, "bars": bars, "articles": articles},
        {"gold": Fraction(31)},
        currency,
    )
    assert (line.amount_minor if line else 0) == expected


@given(lots())
def test_what_the_client_gets_in_all_is_the_oracles_share(lot):
    terms, request = lot
    quote = quoted(terms, request)
    likely = {m: quote.contents[m].likely_g for m in quote.bands}
    of_product = {case: all_in(quote.cases[case], likely) for case in CASES}
    if None in of_product.values():
        # Nothing held, or held at a price of nothing: there is no whole to be a share of.
        assert not sum(likely[m] * quote.request.prices[m].per_g for m in likely)
    else:
        assert of_product == oracle_all_in(terms, request)


@given(settled_lots())
def test_every_figure_of_a_random_settlement_is_the_oracles(lot):
    terms, request, case = lot
    found = refined(terms, case)
    expected = exact_settlement(case, terms, request)
    assert dict(found.recovered_g) == expected["R"]
    assert figures(settle(read_terms(terms), found)) == expected["figures"]


@given(settled_lots())
def test_every_step_of_the_comparison_is_the_oracles(lot):
    terms, request, case = lot
    quote = quoted(terms, request)
    found = refined(terms, case)
    steps = compare(quote, found, settle(read_terms(terms), found))
    expected = exact_settlement(case, terms, request)["V"] if quote.bands else {}
    assert {s.name: s.worth_minor for s in steps} == expected


@given(batches())
def test_a_random_batch_is_shared_as_the_oracle_shares_it(drawn):
    terms, case = drawn
    read = read_terms(terms)
    gold, silver = account(read, case, "gold"), account(read, case, "silver")
    expected = oracle_batch(case, terms["silver_rule"])
    assert [fixed(mg, 3) for mg in gold.shares.lots_mg] == expected["gold_shares"]
    assert [fixed(mg, 3) for mg in silver.own_mg] == expected["silver_own"]
    assert fixed(silver.in_mg, 3) == expected["silver_in"]
    assert [fixed(mg, 3) for mg in silver.shares.lots_mg] == expected["silver"]["lots_R"]
    assert fixed(silver.shares.house_mg, 3) == expected["silver"]["house"]


@pytest.mark.parametrize("metal", ["gold", "silver"])
@given(drawn=batches())
def test_what_is_missing_and_its_uncertainty_are_the_oracles(metal, drawn):
    terms, case = drawn
    read = read_terms(terms)
    found = account(read, case, metal)
    rule = terms["metals"][metal]
    went_in, back = in_grams(found.in_mg), in_grams(found.came_back_mg)
    assert found.residual_g == went_in * Fraction(rule["recovery"]) - back

    def plainly(weight_g: Fraction, fineness: Fraction) -> dict:
        def in_g(amount: Fraction) -> dict:
            return {"amount": amount, "unit": "g"}

        return {"weight": in_g(weight_g), "fineness": fineness, "division": in_g(DIVISION)}

    own = [
        plainly(Fraction(x["melt"]) - Fraction(x["drillings"]), Fraction(x[metal]))
        | {"u": x["u"], "weighings": 2 if Fraction(x["drillings"]) else 1}
        for x in case["lots"]
    ]
    entered = own + [plainly(w.weight_g, w.assay_ppt) for w in lent(read, case, metal)]
    out = [plainly(w.weight_g, w.assay_ppt) for w in came_out(case, metal)]
    held_u = [h.u_g for h in held(case, metal)]
    u = residual_u(
        entered, out, held_u, Fraction(rule["recovery"]), Fraction(rule.get("recovery_u", "0")), went_in
    )
    assert found.u_g == u
