"""D: R, what the house answers for, and which price serves."""

import pytest

from settle.reckoning import document, purchase
from settle.reckoning.batch import LotIn, Weighed, reconcile
from settle.reckoning.parting import Need
from settle.reckoning.price import moved_fault, serving
from settle.reckoning.problems import Faults
from settle.reckoning.recovered import assayed, expected, expected_within
from settle.reckoning.statement import accountable_mg, house_worth_minor
from settle.reckoning.working import Working

from .shop import F, account, item_json, metal, price, quote, request, terms, terms_on, weight

SILVER = {"settle_on": "outturn", "recovery": "0.98"}


@pytest.mark.rule("D1")
@pytest.mark.parametrize(
    ("of_metal", "rule", "silver_rule", "r"),
    [
        ("gold", {"settle_on": "outturn", "recovery": "0.99"}, "pro_rata", "49.5"),
        ("gold", {"settle_on": "outturn", "recovery": "0.99"}, "house_first", "49.5"),
        ("silver", SILVER, "pro_rata", "49"),  # 50 × 0.98
        ("silver", SILVER, "house_first", "48.5"),  # 50 − (50 + 25) × 0.02
        ("gold", {"settle_on": "assay", "recovery": "0.99"}, "pro_rata", "50"),
        ("silver", {"settle_on": "assay", "recovery": "0.98"}, "house_first", "50"),
        ("gold", {"settle_on": "counter", "recovery": "0.99"}, "pro_rata", "50"),
    ],
)
def test_r_when_quoting_is_what_the_metal_is_settled_on(of_metal, rule, silver_rule, r):
    of = terms_on(**{"gold": {}, of_metal: rule}, silver_rule=silver_rule)
    assert expected(of, of_metal, F(50), Need(F(25), F(25))) == F(r)


@pytest.mark.rule("D1")
@pytest.mark.parametrize(("need", "r"), [("100", "0"), ("49", "0"), ("40", "0.18")])
def test_r_is_kept_within_nothing_and_the_fine_weight(need, r):
    of = terms_on(silver=SILVER, silver_rule="house_first")
    # 1 − (1 + 100) × 0.02 = −1.02; 1 − 50 × 0.02 = 0; 1 − 41 × 0.02 = 0.18
    assert expected_within(of, "silver", F(1), Need(F(need), F(need))) == F(r)


@pytest.mark.rule("D1")
@pytest.mark.parametrize(("settle_on", "r"), [("outturn", 49_000), ("assay", 50_000)])
def test_settled_on_outturn_r_is_what_came_back_and_on_assay_the_house_bears_the_loss(settle_on, r):
    of = terms_on(gold={"settle_on": settle_on, "recovery": "0.99"})
    own = Weighed(F(100), F("0.01"), F(500))
    made = reconcile(of, "gold", [LotIn("one", own)], [], [Weighed(F(49), F("0.01"), F(1000))])
    assert (made.shares.lots_mg, made.shares.house_mg) == ((r,), 49_000 - r)


@pytest.mark.rule("D1")
def test_a_lots_own_metal_is_its_weight_times_its_assay():
    assert assayed(F(80), {"gold": F(500), "silver": F(250)}) == {"gold": 40, "silver": 20}


@pytest.mark.rule("D1")
@pytest.mark.parametrize(("case", "paid"), [("low", 48000), ("likely", 50000), ("high", 52000)])
def test_an_outright_purchase_pays_the_case_that_the_terms_name(case, paid):
    of = terms_on(
        gold={"settle_on": "counter"},
        purchase_case=case,
        evidence={"sure": {"method": "mark", "shared": "10"}},  # u = 1 g and a trifle: 48, 50, 52
    )
    _, bought = purchase.buy(request(of))
    assert bought.net_minor == paid


@pytest.mark.rule("D1")
@pytest.mark.parametrize(
    ("gold", "asked", "pointers"),
    [
        ({"settle_on": "counter"}, {}, []),
        ({"settle_on": "assay"}, {}, ["/terms"]),
        ({"settle_on": "counter"}, {"gold": {"remainder": "shot"}}, ["/instructions/gold"]),
        ({"settle_on": "counter"}, {"gold": {"remainder": "pay_out"}}, []),
    ],
)
def test_an_outright_purchase_is_of_metal_bought_at_the_counter_and_all_paid_out(gold, asked, pointers):
    faults = Faults()
    purchase.check(request(terms_on(gold=gold), asked=asked), faults)
    assert [f.pointer for f in faults.found] == pointers


@pytest.mark.rule("D1")
def test_an_outright_purchase_never_pays_for_silver_that_was_only_guessed():
    counter = {"settle_on": "counter"}
    of = terms_on(gold=counter, silver=counter, estimate_silver=True, purchase_case="likely")
    prices = {"gold": "10", "silver": "1"}
    _, bought = purchase.buy(request(of, item_json(fineness="585", colour="yellow"), prices=prices))
    # B5: credited by an assay only, and there is none.
    assert bought.metals["silver"].payout_minor == 0


ACCOUNTABLE = [
    # R, accountable, minimum deduction, payable from: A in mg
    ("100", "0.99", "0", "0", 99_000),
    ("10", "0.99", "0.15", "0", 9_850),  # 0.10 is less than the minimum of 0.15
    ("15", "0.99", "0.15", "0", 14_850),  # both 0.15
    ("20", "0.99", "0.15", "0", 19_800),  # 0.20 is more
    ("0.1", "0.99", "0.15", "0", 0),  # not below nothing
    ("2", "1", "0", "2", 2_000),  # exactly there is paid for
    ("1.999999", "1", "0", "2", 0),  # 31 U.S.C. 5122: too little to separate
    ("2.1", "1", "0.2", "2", 1_900),  # R decides, not what is left of it
    ("1.0005", "1", "0", "0", 1_000),  # half to even
    ("1.0015", "1", "0", "0", 1_002),
    ("0", "1", "0", "0", 0),
]


@pytest.mark.rule("D2")
@pytest.mark.parametrize(("r", "accountable", "minimum", "payable_from", "mg"), ACCOUNTABLE)
def test_accountable_metal_is_r_less_the_larger_deduction(r, accountable, minimum, payable_from, mg):
    of = terms_on(
        gold={
            "accountable": accountable,
            "minimum_deduction": weight(minimum),
            "payable_from": weight(payable_from),
        }
    )
    assert accountable_mg(of.metals["gold"], F(r)) == mg
    assert account(of, {"gold": r}, {"gold": "1"}).metals["gold"].accountable_mg == mg


@pytest.mark.rule("D2")
def test_what_the_house_keeps_is_printed_with_its_worth():
    of = terms_on(gold={"settle_on": "outturn", "recovery": "0.99", "accountable": "0.98"})
    quoted = quote(of)  # R = 49.5, A = 48.51: 0.99 g are kept, at 10.00 a gram
    assert quoted.cases["likely"].metals["gold"].kept_mg == 990
    assert house_worth_minor(quoted.cases["likely"], "gold") == 990
    gold = document.estimate(quoted, [], Working(kept=False))["cases"]["likely"]["metals"]["gold"]
    assert (gold["kept"], gold["kept_worth"]["amount"]) == ({"g": "0.990"}, "9.90")


DAYS = {"at_quote": "10", "at_acceptance": "11", "at_receipt": "12", "now": "13"}


@pytest.mark.rule("D5")
@pytest.mark.parametrize(
    ("time", "serves", "without_a_quote"),
    [("quote", 10, 12), ("acceptance", 11, 12), ("receipt", 12, 12), ("settlement", 13, 13)],
)
def test_the_price_that_serves_is_that_of_the_terms_price_time(time, serves, without_a_quote):
    days = {day: {"gold": price(p, entry=day)} for day, p in DAYS.items()}
    assert serving(terms(price_time=time), **days)["gold"].amount == serves
    unquoted = days | {"at_quote": None, "at_acceptance": None}
    assert serving(terms(price_time=time), **unquoted)["gold"].amount == without_a_quote


@pytest.mark.rule("D5")
def test_a_metal_that_had_no_price_then_takes_the_price_now():
    then, now = {"gold": price("10")}, {"gold": price("13"), "silver": price("1")}
    served = serving(terms(), then, then, then, now)
    assert {m: p.amount for m, p in served.items()} == {"gold": 10, "silver": 1}


@pytest.mark.rule("D5")
def test_a_price_that_was_entered_names_its_entry():
    assert document.price(price("10", entry="E-7"))["entry"] == "E-7"
    assert "entry" not in document.price(price("10"))


@pytest.mark.rule("D5")
@pytest.mark.parametrize(
    ("time", "bound", "free"),
    [
        ("quote", ["charges", "price"], ["weight", "fineness", "recovery"]),
        ("acceptance", ["charges"], ["weight", "fineness", "recovery", "price"]),
        ("receipt", ["charges"], ["weight", "fineness", "recovery", "price"]),
        ("settlement", ["charges"], ["weight", "fineness", "recovery", "price"]),
    ],
)
def test_a_quote_says_what_it_binds_and_what_it_does_not(time, bound, free):
    said = document.binds(terms(price_time=time))
    assert (said["binds"], said["does_not_bind"]) == (bound, free)


@pytest.mark.rule("D5")
@pytest.mark.parametrize(
    ("limit", "time", "now", "refused"),
    [
        ("0.02", "quote", "102", False),  # exactly as far as it may
        ("0.02", "quote", "102.01", True),
        ("0.02", "quote", "98", False),
        ("0.02", "quote", "97.99", True),  # either way
        ("0", "quote", "100", False),
        (None, "quote", "200", False),  # the terms name no limit
        ("0.02", "settlement", "200", False),  # the price was never bound
    ],
)
def test_acceptance_is_refused_where_the_bound_price_has_moved_too_far(limit, time, now, refused):
    of = terms(price_time=time, **({} if limit is None else {"void_if_moved": limit}))
    fault = moved_fault(of, "gold", price("100"), price(now))
    assert (fault is not None) == refused
    assert fault is None or fault.kind == "price-moved"


@pytest.mark.rule("D5")
def test_a_move_is_measured_by_the_gram_whatever_the_unit():
    of = terms(void_if_moved="0.001")
    assert moved_fault(of, "gold", price("31.1034768", per="ozt"), price("1")) is None


@pytest.mark.rule("D5")
def test_one_price_a_metal_serves_the_whole_statement():
    of = terms(
        metals={"gold": metal(top_up_rate="1")},
        charges=[{"name": "share", "base": "value", "rate": "0.1"}],
    )
    made = account(of, {"gold": "50"}, {"gold": "7"})
    # 50 × 7 paid, a tenth of 50 × 7 charged.
    assert (made.payouts_minor, made.charges_minor) == (35_000, 3_500)
