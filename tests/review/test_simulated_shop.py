"""A simulated shop over the real use cases: whole each evening, R inside its band, reviewed from its books."""

from sqlalchemy import select

from settle.books import drifts, evidence, settlements
from settle.books import terms as terms_of_business
from settle.books.work import THE_COMMAND
from tests.simulation import figures


def test_the_books_are_whole_each_evening(simulated, say):
    counts = simulated.shop.counts
    say(f"books whole in {counts['evenings checked']} evenings of {counts['days']} days: {dict(counts)}")
    assert simulated.faults == []
    assert counts["days"] == 200
    assert counts["evenings checked"] > 12


def test_the_days_held_what_days_hold(simulated):
    """Slips mended and refused, metal that came late, accounts reversed and done again, bars."""
    counts = simulated.shop.counts
    happened = ("lots", "batches", "slips mended", "late silver", "reversed and done again", "bars")
    assert [name for name in happened if not counts[name]] == []
    assert counts["settlements"] > counts["lots"]


def test_r_of_gold_is_inside_its_band_as_often_as_the_light_form_found(busy, say):
    inside, lots = busy.shop.counts["gold inside"], busy.shop.counts["gold quoted"]
    low, high = figures.share_interval(inside, lots)
    say(f"through the use cases: R of gold inside its band in {inside} of {lots} ({low:.1%} to {high:.1%})")
    assert lots >= 300
    # So few, or so many, happen less than once in twenty times, if twice u holds what it should.
    assert figures.binomial_tail(inside, lots, figures.TWO_SIGMA) > 0.025
    assert figures.binomial_tail(lots - inside, lots, 1 - figures.TWO_SIGMA) > 0.025


def test_the_busy_shops_books_are_whole_at_its_end(busy):
    assert busy.faults == []
    assert busy.shop.counts["days"] == 200


def test_what_the_books_credit_is_what_the_truth_let_come_back(simulated):
    """Truth to books, end to end: true gold × what truly came back, within what scales and assays can do."""
    posted = simulated.shop.read(_gold_credited)
    assert len(posted) > 12
    for lot, r_g in posted.items():
        true_g = simulated.shop.brought[lot].fine_g("gold")
        assert abs(r_g - 0.99 * true_g) < 4 * ((0.002 * true_g) ** 2 + 0.05**2) ** 0.5


def _gold_credited(work):
    of = settlements.settlements
    rows = work.connection.execute(select(of).where(of.c.state == "posted").order_by(of.c.n))
    settled = [(row.lot, row.document["cases"]["final"]["metals"]) for row in rows]
    return {lot: float(of["gold"]["recovered"]["g"]) for lot, of in settled if "gold" in of}


def test_the_review_of_its_books_counts_what_clients_brought(simulated):
    """The metal of what was brought stands in the truth; the review has it from the records alone."""
    shop = simulated.shop
    found = shop.read(evidence.review)
    lots, articles = {}, {}
    for lot in shop.brought.values():
        kinds = [(a.entered["evidence"], a.entered["count"]) for a in lot.articles]
        for kind in {kind for kind, _ in kinds}:
            lots[kind] = lots.get(kind, 0) + 1
        for kind, count in kinds:
            articles[kind] = articles.get(kind, 0) + count
    counted = {of["kind"]: (of["lots"], of["articles"]) for of in found["evidence"]}
    assert found["lots"] == len(shop.brought)
    assert {k: counted[k] for k in lots} == {k: (lots[k], articles[k]) for k in lots}


def test_the_review_has_its_accounts_from_exact_figures_not_from_those_printed(simulated):
    """Rounded to a milligram, what was weighed and assayed of a small batch is all but lost (A8)."""
    with simulated.shop.books.reading(THE_COMMAND) as work:
        terms = terms_of_business.find(work, "T-1")
        accounts = list(evidence._accounts(work, terms))
        judged = [(m, r) for m in terms.metals for r in drifts.residuals(work, m)]
    posted = {(r.batch, m): (r.residual_g, r.u_g**2) for m, r in judged}
    assert {(a.pot, a.metal): (a.residual_g, _variance(a, terms)) for a in accounts} == posted
    assert all(a.measured_variance > 0 for a in accounts)


def _variance(account, terms):
    return account.measured_variance + (account.in_g * terms.metals[account.metal].recovery_u) ** 2
