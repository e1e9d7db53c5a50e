"""H8: over all documents of a lot each charge and each tax adds up to the whole lot's account."""

from dataclasses import replace

from hypothesis import assume, given
from hypothesis import strategies as st

from settle.reckoning import postings
from settle.reckoning.due import Posted, due
from settle.reckoning.settlement import settle
from settle.reckoning.terms import read_terms

from .refining import refined, settled_lots


def of_some(found, metals):
    """The lot as it is settled for some of its metals."""
    return replace(found, recovered_g={m: r for m, r in found.recovered_g.items() if m in metals})


def booked(*entries):
    sums = {}
    for entry in entries:
        for leg in entry.legs:
            key = (leg.account, leg.commodity)
            sums[key] = sums.get(key, 0) + leg.amount
    return {key: amount for key, amount in sums.items() if amount}


@given(settled_lots(), st.data())
def test_a_further_settlement_charges_taxes_and_pays_the_difference_to_what_was_posted(lot, data):
    of, _, case = lot
    terms, found = read_terms(of), refined(of, case)
    assume(len(found.recovered_g) > 1)
    first_metals = data.draw(st.sets(st.sampled_from(sorted(found.recovered_g)), min_size=1))
    assume(len(first_metals) < len(found.recovered_g))
    first = due(settle(terms, of_some(found, first_metals)))
    entry = postings.settled("S-1", "C-1", "L-1", first)
    legs = [(leg.account, leg.commodity, leg.amount) for leg in entry.legs]
    sold = {m: account.sold_mg for m, account in first.metals.items()}
    before = Posted(
        tuple(sold), advances_minor=found.advances_minor, **postings.posted_before(legs, terms.currency)
    )
    whole = settle(terms, replace(found, sold_before_mg=sold, posted=before))
    second = due(whole, before)
    both = booked(entry, postings.settled("S-2", "C-1", "L-1", second))
    once = booked(postings.settled("S-1", "C-1", "L-1", due(whole)))
    # What each document waives by itself is left out of the comparison.
    aside = {("client:C-1:money", terms.currency), (postings.WAIVED, terms.currency)}
    assert {k: v for k, v in both.items() if k not in aside} == {
        k: v for k, v in once.items() if k not in aside
    }
    assert first.raw_minor + second.raw_minor == whole.net_minor
    assert set(first.metals) | set(second.metals) == set(whole.metals)
    assert not set(first.metals) & set(second.metals)
