"""G3: a lot that is what was quoted leaves every step of the comparison at zero, to the last minor unit.

The pure calculation with exact outturns: truth equals the likely figures, every wish stays.
"""

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from settle.reckoning.bars import Poured
from settle.reckoning.comparison import compare
from settle.reckoning.quote import Quoted
from settle.reckoning.recovered import expected_within
from settle.reckoning.settlement import Refined, inside_band, settle
from settle.reckoning.silver import lost_part, own_share

from .reckoned import quoted
from .strategies import Json, requests, terms

RULES = ("house_first", "pro_rata")
WAYS = ("outturn", "assay")
ZERO = Fraction(0)
# Eight ways of settling, each searched a quarter as long as other properties.
A_QUARTER = settings(max_examples=settings.default.max_examples // 4)


def settled_on(of: Json, rule: str, gold: str, silver: str) -> Json:
    """The terms, with one silver rule, and gold and silver settled in given ways."""
    metals = {m: t | {"settle_on": {"gold": gold, "silver": silver}.get(m, t["settle_on"])}
              for m, t in of["metals"].items()}  # fmt: skip
    return of | {"silver_rule": rule, "metals": metals}


def likely_g(quote: Quoted) -> dict[str, Fraction]:
    return {m: quote.contents[m].likely_g for m in quote.bands}


def as_planned(quote: Quoted) -> dict[str, list[Poured]]:
    """The planned bars, poured, each stating what was promised."""
    return {
        m: [Poured(f"{m} {i}", bar.line, bar.nominal_g or Fraction(1), bar.fineness_ppt)
            for i, bar in enumerate(account.placed.bars)]
        for m, account in quote.cases["likely"].metals.items()
    }  # fmt: skip


def as_quoted(quote: Quoted, recovered: dict[str, Fraction]) -> Refined:
    """What becomes of a lot that is what was quoted."""
    gross, net, articles = quote.request.quantities
    fine = {m: content.likely_g for m, content in quote.contents.items()}
    return Refined(
        melt_g=net,
        drillings_g=ZERO,
        assay_ppt={m: f / net * 1000 for m, f in fine.items()},
        recovered_g=recovered,
        gross_g=gross,
        articles=articles,
        poured=as_planned(quote),
        wishes=quote.request.wishes,
        prices=quote.request.prices,
    )


def alone(quote: Quoted) -> dict[str, Fraction]:
    """R of a lot refined alone, that loses what the terms expect."""
    of = quote.request.terms
    return {m: expected_within(of, m, f, quote.need) for m, f in likely_g(quote).items()}


def together(quotes: list[Quoted], loan_g: Fraction) -> list[dict[str, Fraction]]:
    """R of lots that share one batch, exact, where each metal loses what the terms expect (H2, H3)."""
    of = quotes[0].request.terms
    shares: list[dict[str, Fraction]] = [{} for _ in quotes]
    for metal, rule in of.metals.items():
        owns = [likely_g(q).get(metal, ZERO) for q in quotes]
        lent_ppt = {"gold": of.house_gold_ppt, "silver": of.house_silver_ppt}.get(metal, ZERO)
        went_in = sum(owns) + loan_g * lent_ppt / 1000
        came_back = went_in * rule.recovery
        for quote, own, share in zip(quotes, owns, shares, strict=True):
            if metal not in quote.bands:
                continue
            if rule.settle_on == "assay":
                share[metal] = own
            elif metal == "silver":
                r = own_share(own, quote.need.fine_g, lost_part(came_back, went_in), of.silver_rule)
                share[metal] = min(max(r, ZERO), own)
            else:
                share[metal] = came_back * own / went_in if went_in else ZERO
    return shares


def assert_no_surprise(quote: Quoted, found: Refined) -> None:
    final = settle(quote.request.terms, found)
    steps = compare(quote, found, final)
    assert {s.name: s.difference_minor for s in steps if s.difference_minor} == {}
    assert all(inside_band(quote, found).values())
    # The comparison sets out from what the quote printed; of what nobody valued there is none (G2).
    assert bool(steps) == quote.is_valued
    assert not steps or steps[0].worth_minor == quote.cases["likely"].worth_minor
    assert final.net_minor == quote.cases["likely"].net_minor


@st.composite
def requested(draw: st.DrawFn, count: int = 1) -> tuple[Json, list[Json]]:
    of = draw(terms(WAYS))
    return of, [draw(requests(of)) for _ in range(count)]


@pytest.mark.parametrize("rule", RULES)
@pytest.mark.parametrize("gold", WAYS)
@pytest.mark.parametrize("silver", WAYS)
@A_QUARTER
@given(drawn=requested())
def test_a_lot_refined_alone_that_is_what_was_quoted_surprises_nobody(rule, gold, silver, drawn):
    of, (request,) = drawn
    quote = quoted(settled_on(of, rule, gold, silver), request)
    assert_no_surprise(quote, as_quoted(quote, alone(quote)))


@pytest.mark.parametrize("rule", RULES)
@pytest.mark.parametrize("gold", WAYS)
@pytest.mark.parametrize("silver", WAYS)
@A_QUARTER
@given(drawn=requested(3), loan=st.integers(0, 900))
def test_lots_that_share_a_batch_and_are_what_was_quoted_surprise_nobody(rule, gold, silver, drawn, loan):
    of, asked = drawn
    quotes = [quoted(settled_on(of, rule, gold, silver), request) for request in asked]
    for quote, recovered in zip(quotes, together(quotes, Fraction(loan)), strict=True):
        assert_no_surprise(quote, as_quoted(quote, recovered))


@given(drawn=requested())
def test_a_plan_that_was_not_poured_yet_surprises_nobody_either(drawn):
    of, (request,) = drawn
    quote = quoted(of, request)
    assert_no_surprise(quote, replace(as_quoted(quote, alone(quote)), poured=None))


@given(drawn=requested(), more=st.integers(1, 50))
def test_a_lot_that_melts_heavier_is_told_in_the_step_of_the_weight(drawn, more):
    """The proof can fail: a surprise that is there is found, where it is."""
    of, (request,) = drawn
    charge = {"name": "by weight", "base": "melt_weight", "per": "g", "rate": "9"}
    quote = quoted(of | {"charges": [charge]}, request)
    assume(quote.is_valued)
    found = as_quoted(quote, alone(quote))
    heavier = replace(found, melt_g=found.melt_g + more, drillings_g=Fraction(more), drillings_whose="house")
    steps = compare(quote, heavier, settle(quote.request.terms, heavier))
    moved = {s.name for s in steps if s.difference_minor}
    covering = any(w.remainder == "cover_charges" for w in quote.request.wishes.values())
    assert moved <= {"weight"} if covering else moved == {"weight"}
