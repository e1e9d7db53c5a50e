"""H8: a further settlement is of what earlier ones did not post; the whole account stands behind it."""

from dataclasses import replace

import pytest

from settle.reckoning import postings
from settle.reckoning.due import Posted, due

from .shop import account, quantities, terms_on

TAXES = {"t": {"rate": "0.20", "class": "standard"}, "u": {"rate": "0.05", "class": "reduced"}}
CHARGES = [
    {"name": "melting", "base": "melt_weight", "per": "g", "rate": "0.20", "tax": "t"},
    {"name": "refining", "base": "value", "rate": "0.025", "tax": "u"},
    {"name": "handling", "base": "lot", "rate": "5", "tax": "t"},
]
PRICES = {"gold": "10", "silver": "1"}
TERMS = terms_on(silver={}, charges=CHARGES, taxes=TAXES)


def whole(of=TERMS, **changes):
    """All of the lot: 50 g of gold and 100 g of silver. Melting 20.00, refining 15.00, handling 5.00."""
    return account(of, {"gold": "50", "silver": "100"}, PRICES, **changes)


def said(of):
    return {c.line.charge.name: c.amount_minor for c in of.charges}


@pytest.mark.rule("H8")
def test_a_first_settlement_is_of_the_whole_account():
    of = due(whole(advances_minor=1_000, fees_minor=300))
    assert said(of) == {"melting": 2_000, "refining": 1_500, "handling": 500}
    assert {t.tax.code: (t.base_minor, t.amount_minor) for t in of.taxes} == {
        "t": (2_500, 500),
        "u": (1_500, 75),
    }
    assert (of.payouts_minor, of.advances_minor, of.fees_minor) == (60_000, 1_000, 300)
    assert of.net_minor == of.whole.net_minor == 60_000 - 4_000 - 575 - 1_000 - 300


BEFORE = Posted(
    metals=("gold",),
    charges={"melting": 2_000, "refining": 500, "handling": 500},
    taxes={"t": 500, "u": 25},
    fees_minor=300,
    advances_minor=1_000,
)


@pytest.mark.rule("H8")
def test_a_further_one_pays_the_new_metal_and_charges_what_was_not_charged():
    of = due(whole(advances_minor=1_500, fees_minor=300), BEFORE)
    assert list(of.metals) == ["silver"]
    assert said(of) == {"refining": 1_000}
    assert [(t.tax.code, t.base_minor, t.whole_minor, t.amount_minor) for t in of.taxes] == [
        ("u", 1_000, 75, 50)
    ]
    assert (of.payouts_minor, of.advances_minor, of.fees_minor) == (10_000, 500, 0)
    assert of.net_minor == 10_000 - 1_000 - 50 - 500


@pytest.mark.rule("H8")
@pytest.mark.parametrize(
    ("charged", "then"),
    [
        ({"melting": 2_500}, {"melting": -500, "refining": 1_500, "handling": 500}),
        # One that the whole lot doesn't bear any more comes back in full.
        ({"melting": 2_000, "refining": 1_500, "handling": 800}, {"handling": -300}),
        ({"melting": 2_000, "refining": 1_500, "handling": 500}, {}),
    ],
)
def test_what_was_charged_too_much_comes_back(charged, then):
    assert said(due(whole(), Posted(metals=("gold",), charges=charged))) == then


@pytest.mark.rule("H8")
def test_a_charge_that_the_whole_lot_no_longer_bears_comes_back_in_full():
    nothing_melted = whole(quantities=quantities(melt="0"))
    of = due(nothing_melted, Posted(metals=("gold",), charges={"melting": 700}, taxes={"t": 140}))
    assert said(of)["melting"] == -700
    # The tax on the whole lot's 5.00 is 1.00; 1.40 was charged.
    assert {t.tax.code: t.amount_minor for t in of.taxes}["t"] == -40


@pytest.mark.rule("H8")
def test_a_top_up_is_taxed_in_the_document_that_settles_its_metal():
    of = terms_on(gold={"top_up_rate": "1", "top_up_tax": "t"}, silver={}, taxes=TAXES)
    line = {"nominal": {"amount": "60", "unit": "g"}, "fineness": "1000", "count": 1, "top_up": True}
    all_of_it = whole(of, asked={"gold": {"bars": [line]}})
    first = due(all_of_it)
    assert [(t.base_minor, t.amount_minor) for t in first.taxes] == [(10_000, 2_000)]
    assert due(all_of_it, Posted(metals=("gold",), taxes={"t": 2_000})).taxes == ()


@pytest.mark.rule("H8")
def test_each_document_waives_by_itself_what_is_too_small_to_pay():
    of = terms_on(silver={}, least_paid="5.00")
    later = account(of, {"gold": "50", "silver": "4.99"}, PRICES)
    assert (due(later).waived_minor, due(later).net_minor) == (0, 50_499)
    further = due(later, Posted(metals=("gold",)))
    assert (further.raw_minor, further.waived_minor, further.net_minor) == (499, 499, 0)


@pytest.mark.rule("H8")
def test_what_was_posted_is_read_from_the_journal():
    posted = postings.settled("S-1", "C-1", "L-1", due(whole(fees_minor=300)))
    more = postings.settled("S-2", "C-1", "L-1", due(whole(), Posted(charges={"melting": 1_900})))
    legs = [(leg.account, leg.commodity, leg.amount) for of in (posted, more) for leg in of.legs]
    assert postings.posted_before(legs, "GBP") == {
        "charges": {"melting": 2_100, "refining": 3_000, "handling": 1_000},
        "taxes": {"t": 1_000, "u": 150},
        "fees_minor": 300,
    }


@pytest.mark.rule("H8")
def test_what_covers_charges_stays_sold_as_it_was():
    asked = {"gold": {"remainder": "cover_charges"}}
    sold = whole(asked=asked).metals["gold"].sold_mg
    again = whole(asked=asked, sold_before_mg={"gold": sold + 77})
    assert (again.metals["gold"].sold_mg, again.metals["gold"].shot_mg) == (sold + 77, 50_000 - sold - 77)


@pytest.mark.rule("H8")
def test_silver_covers_what_this_document_asks_for_and_not_what_an_earlier_one_did():
    asked = {"gold": {"remainder": "shot"}, "silver": {"remainder": "cover_charges"}}
    before = replace(BEFORE, fees_minor=0, advances_minor=0)
    later = whole(asked=asked, sold_before_mg={"gold": 0}, taken_before_minor=before.taken_minor)
    of = due(later, before)
    # Refining 10.00 more, and 0.50 of tax on it: 10.495 g pay 10.50. The first one's 35.25 are the client's.
    assert (of.metals["silver"].sold_mg, of.metals["silver"].shot_mg) == (10_495, 89_505)
    assert (of.net_minor, before.taken_minor) == (0, 3_525)
