"""H: a batch: silver to part, who is credited, how the account is judged."""

import pytest

from settle.reckoning import document
from settle.reckoning.batch import LotIn, Weighed, in_words, reconcile
from settle.reckoning.exact import root
from settle.reckoning.parting import Need, need
from settle.reckoning.recovered import share_gold
from settle.reckoning.settlement import lot_need
from settle.reckoning.silver import lost_part, share_out
from settle.reckoning.working import SILENT, Working

from .shop import F, item_json, quote, refined, terms, terms_on, weight


def weighed(grams, ppt="1000", d="0", u="0"):
    return Weighed(F(grams), F(d), F(ppt), F(u) ** 2)


def fine(*grams):
    return [weighed(g) for g in grams]


def lots(*grams, needs=None):
    wanted = needs or ["0"] * len(grams)
    return [LotIn(f"L{i}", weighed(g), F(n)) for i, (g, n) in enumerate(zip(grams, wanted, strict=True))]


NEEDS = [
    # fine gold, melt, target, house silver (fineness, gold): by weight, fine
    ("50", "100", "0.25", ("1000", "0"), "100", "100"),  # (50 − 25) ÷ 0.25
    ("50", "100", "0.25", ("999", "0"), "100", "99.9"),
    ("25", "100", "0.25", ("1000", "0"), "0", "0"),  # a quarter already
    ("20", "100", "0.25", ("1000", "0"), "0", "0"),
    ("50", "100", "0.25", ("900", "50"), "125", "112.5"),  # 25 ÷ (0.25 − 0.05)
    ("50", "100", "0.30", ("1000", "0"), "200/3", "200/3"),  # 20 ÷ 0.3
]


@pytest.mark.rule("H1")
@pytest.mark.parametrize(("gold", "melt", "target", "house", "by_weight", "in_fine"), NEEDS)
def test_parting_silver_brings_gold_down_to_the_target(gold, melt, target, house, by_weight, in_fine):
    fineness, gold_in_it = house
    of = terms(parting_target=target, house_silver={"fineness": fineness, "gold": gold_in_it})
    assert need(of, F(gold), F(melt), SILENT) == Need(F(by_weight), F(in_fine))


@pytest.mark.rule("H1")
def test_a_quarter_is_the_target_and_fine_silver_the_house_silver_unless_the_terms_say_otherwise():
    # A quarter of gold parts well: common practice, no source.
    assert need(terms(), F(50), F(100), SILENT) == Need(F(100), F(100))


@pytest.mark.rule("H1")
def test_nothing_is_parted_where_gold_is_bought_at_the_counter():
    assert need(terms_on(gold={"settle_on": "counter"}), F(50), F(100), SILENT) == Need(F(0), F(0))


@pytest.mark.rule("H1")
def test_a_quote_needs_silver_for_the_likely_gold_in_all_three_cases():
    kinds = {"sure": {"method": "mark", "shared": "10"}, "unread": {"method": "none", "reckon": False}}
    of = terms(evidence=kinds)
    quoted = quote(of, item_json(), item_json(evidence="unread", gross=weight("40")))
    # (50 − 0.25 × 140) ÷ 0.25: what is on assay only counts toward the rest
    assert quoted.need.weight_g == 60
    assert {case.basis.quantities.silver_lent_g for case in quoted.cases.values()} == {60}


@pytest.mark.rule("H1")
def test_a_settled_lot_needed_silver_for_its_melt_less_the_drillings_taken():
    found = refined(terms(), {"gold": "500"}, {"gold": "48"}, drillings_g=F(4))
    assert lot_need(terms(), found).weight_g == 96  # (48 − 24) ÷ 0.25


@pytest.mark.rule("H1")
def test_the_need_of_a_settled_lot_is_whole_milligrams():
    of = terms_on(silver={"settle_on": "outturn", "recovery": "0.98"}, silver_rule="house_first")
    gold_ppt = F("52.5016") / F("200.006") * 1000  # 4 × 52.5016 − 200.006 = 10.0004 g are needed
    found = refined(of, {"gold": gold_ppt, "silver": "500"}, {}, melt_g=F("200.006"))
    needed = lot_need(of, found).fine_g
    made = reconcile(of, "silver", [LotIn("L", weighed("100.003"), needed)], fine("50.001"), fine("75.002"))
    # λ = ½: 50.0015 − 10.000 ÷ 2 = 45.0015, to the even 45.002; with 10.0004 it would be 45.0013.
    assert made.shares.lots_mg == (45_002,)


GOLD_SHARES = [
    # own, came back: lots, house
    ([60_000, 40_000], 99_000, (59_400, 39_600), 0),
    ([60_000, 40_000], 101_000, (60_000, 40_000), 1_000),  # a gain is the house's
    ([1, 1, 1], 2, (1, 1, 0), 0),  # the earlier first
    ([50_000, 0], 49_000, (49_000, 0), 0),
    ([0, 0], 7, (0, 0), 7),
]


@pytest.mark.rule("H2")
@pytest.mark.parametrize(("own", "back", "credited", "house"), GOLD_SHARES)
def test_gold_is_shared_by_assayed_fine_weight_and_none_gets_more_than_its_own(own, back, credited, house):
    shares = share_gold(own, back)
    assert (shares.lots_mg, shares.house_mg) == (credited, house)


GOLD = {"settle_on": "outturn", "recovery": "0.99"}


@pytest.mark.rule("H2")
@pytest.mark.parametrize(
    ("own", "lent", "back", "credited", "house"),
    [
        (["60", "30"], ["10"], "99", (59_400, 29_700), 9_900),
        (["60", "30"], [], "89.1", (59_400, 29_700), 0),
        (["0.001"], ["0.001"], "0.001", (1,), 0),  # the house is last, also at a tie
        (["60", "30"], ["10"], "103", (60_000, 30_000), 13_000),
    ],
)
@pytest.mark.parametrize("metal", ["gold", "platinum"])
def test_what_came_with_the_house_silver_is_one_more_lot_the_houses_last(
    metal, own, lent, back, credited, house
):
    of = terms(metals={metal: GOLD | {"accountable": "1", "payout_rate": "1"}})
    made = reconcile(of, metal, lots(*own), fine(*lent), fine(back))
    assert (made.shares.lots_mg, made.shares.house_mg) == (credited, house)


SILVER_SHARES = [
    # rule, own, needs (g), lent, came back: lots, house
    ("pro_rata", [30_000, 20_000], ["40", "10"], 50_000, 90_000, (27_000, 18_000), 45_000),
    ("house_first", [30_000, 20_000], ["40", "10"], 50_000, 90_000, (23_000, 17_000), 50_000),
    # λ = 0.1: 30 − 70 × 0.1 and 20 − 30 × 0.1; a loan equal to the needs comes back whole
    ("house_first", [30_000, 20_000], ["40", "10"], 60_000, 99_000, (23_000, 17_000), 59_000),
    # 10 g lent for safety: 1 g of it is lost, and the house's loss
    ("house_first", [1_000], ["100"], 100_000, 90_900, (0,), 90_900),  # 1 − 10.1: kept at 0
    ("pro_rata", [30_000], ["50"], 50_000, 88_000, (30_000,), 58_000),  # a gain: kept at its own
    ("house_first", [30_000], ["50"], 50_000, 88_000, (30_000,), 58_000),
    ("pro_rata", [1], ["0"], 1, 1, (0,), 1),  # at a tie the loan is first
    ("pro_rata", [1, 1], ["0", "0"], 0, 1, (1, 0), 0),  # then the earlier lot
    ("house_first", [1_001], ["0"], 1_001, 1_001, (500,), 501),  # 500.5 to the even
    ("house_first", [1_003], ["0"], 1_003, 1_003, (502,), 501),  # 501.5 to the even
    ("pro_rata", [0], ["0"], 0, 5, (0,), 5),  # nothing went in: nothing is shared
    ("house_first", [0], ["10"], 0, 5, (0,), 5),
]


@pytest.mark.rule("H3")
@pytest.mark.parametrize(("rule", "own", "needs", "lent", "back", "credited", "house"), SILVER_SHARES)
def test_silver_is_shared_by_the_rule_of_the_terms(rule, own, needs, lent, back, credited, house):
    shares = share_out(rule, own, [F(n) for n in needs], lent, back)
    assert (shares.lots_mg, shares.house_mg) == (credited, house)


@pytest.mark.rule("H3")
@pytest.mark.parametrize(
    ("back", "went_in", "lost"), [("90", "100", "0.1"), ("110", "100", "-0.1"), ("5", "0", "0")]
)
def test_the_lost_part_is_what_did_not_come_back_of_what_went_in(back, went_in, lost):
    assert lost_part(F(back), F(went_in)) == F(lost)


@pytest.mark.rule("H3")
@pytest.mark.parametrize(
    ("settle_on", "rule", "credited", "house"),
    [
        ("outturn", "pro_rata", (27_000, 18_000), 45_000),
        ("outturn", "house_first", (23_000, 17_000), 50_000),
        ("assay", "house_first", (30_000, 20_000), 40_000),  # on assay a lot is credited its own
    ],
)
def test_a_batch_shares_its_silver_by_what_it_is_settled_on(settle_on, rule, credited, house):
    of = terms_on(silver={"settle_on": settle_on, "recovery": "0.9"}, silver_rule=rule)
    made = reconcile(of, "silver", lots("30", "20", needs=["40", "10"]), fine("50"), fine("60", "30"))
    assert (made.shares.lots_mg, made.shares.house_mg) == (credited, house)
    assert (made.own_mg, made.lent_mg, made.in_mg) == ((30_000, 20_000), 50_000, 100_000)
    assert made.came_back_mg == 90_000


@pytest.mark.rule("H4")
@pytest.mark.parametrize(
    ("of", "variance"),
    [
        (weighed("100", "500", d="1.2"), "0.03"),  # 0.5² × 1.44 ÷ 12
        (weighed("100", "500", u="2"), "0.04"),  # (100 × 2 ÷ 1000)²
        (weighed("100", "500", d="1.2", u="2"), "0.07"),
    ],
)
def test_the_variance_of_weighed_metal_is_that_of_the_weighing_and_the_assay(of, variance):
    assert of.variance == F(variance)


@pytest.mark.rule("H4")
@pytest.mark.parametrize(
    ("recovery_u", "own_u", "lent_u", "out_u", "u"),
    [
        ("0", "0.8", "0", "1.2", "0.05"),  # (0.5 × 0.08)² + 0.03²
        ("0.0024", "0.8", "0", "1.2", "0.13"),  # and (50 × 0.0024)² = 0.12²
        ("0", "0", "0", "1.2", "0.03"),
        ("0", "0", "1.6", "1.2", "0.05"),  # what came with the loan went in too: (0.5 × 0.08)²
    ],
)
def test_the_uncertainty_of_the_residual_is_of_all_that_went_in_and_came_out(
    recovery_u, own_u, lent_u, out_u, u
):
    of = terms_on(gold={"settle_on": "outturn", "recovery": "0.5", "recovery_u": recovery_u})
    if lent_u == "0":
        own, lent = [LotIn("L", weighed("100", "500", u=own_u))], []
    else:
        own, lent = [], [weighed("50", u=lent_u)]
    made = reconcile(of, "gold", own, lent, [weighed("25", u=out_u)])
    assert (made.residual_g, made.u_g) == (0, F(u))


@pytest.mark.rule("H4")
def test_the_uncertainty_is_a_root_of_the_exact_sum():
    of = terms_on(gold={"settle_on": "outturn", "recovery": "0.99", "recovery_u": "0.001"})
    own = [LotIn("L", weighed("100", "500", d="0.12", u="1"))]
    made = reconcile(of, "gold", own, [], [weighed("49", d="0.12")])
    # 0.9801 × (0.25 × 0.0012 + 0.01) + 0.0012 + 0.0025
    assert made.u_g == root(F("0.9801") * F("0.0103") + F("0.0037"))


VERDICTS = [
    # 50 g in, 49.5 expected, 2u = 0.1, balance 0.004 × 50 = 0.2: came back, verdict
    ("49.5", "as expected"),
    ("49.4", "as expected"),  # exactly 2u
    ("49.399", "within tolerance"),
    ("49.3", "within tolerance"),  # exactly the balance
    ("49.299", "query"),
    ("49.6", "as expected"),
    ("49.601", "within tolerance"),  # a gain is judged as severely
    ("49.7", "within tolerance"),
    ("49.701", "query"),
]


@pytest.mark.rule("H4")
@pytest.mark.parametrize(("back", "verdict"), VERDICTS)
@pytest.mark.parametrize("balance", ["0.004", None])
def test_a_residual_is_judged_by_twice_its_u_and_then_by_the_balance(back, verdict, balance):
    rule = GOLD | {"recovery_u": "0.001"} | ({} if balance is None else {"balance": balance})
    made = reconcile(terms_on(gold=rule), "gold", lots("50"), [], fine(back))
    assert made.residual_g == F("49.5") - F(back)
    no_balance = "query" if verdict == "within tolerance" else verdict
    assert made.verdict == (verdict if balance else no_balance)


@pytest.mark.rule("H4")
def test_without_a_recovery_all_is_expected_back_on_assay():
    made = reconcile(terms(), "gold", lots("50"), [], fine("49"))
    assert (made.expected_loss_g, made.residual_g) == (0, 1)


@pytest.mark.rule("H4")
def test_in_out_expected_loss_and_residual_are_all_shown():
    of = terms_on(gold=GOLD | {"recovery_u": "0.001"})
    made = reconcile(of, "gold", lots("40"), fine("10"), fine("49.35"))
    answer = document.reconciliation(made, ["L0"], of, [], Working(kept=False))
    told = {k: answer[k]["g"] for k in ("in", "lent", "out", "expected_loss", "residual", "residual_u")}
    assert (answer["recovery"], answer["balance"]) == ("0.99", None)
    assert told == {
        "in": "50.000",
        "lent": "10.000",
        "out": "49.350",
        "expected_loss": "0.500",
        "residual": "0.150",
        "residual_u": "0.050",
    }
    assert answer["verdict"] == "query"


@pytest.mark.rule("H4")
@pytest.mark.parametrize(
    ("back", "words"),
    [
        ("49.5", "Gold came back exactly as expected."),
        ("49.45", "0.05 g of gold is missing beyond the expected loss of 0.5 g"),
        ("49.55", "0.05 g of gold came back above the expected loss of 0.5 g"),
    ],
)
def test_the_verdict_is_also_a_sentence(back, words):
    made = reconcile(terms_on(gold=GOLD | {"recovery_u": "0.001"}), "gold", lots("50"), [], fine(back))
    assert in_words(made).startswith(words)


@pytest.mark.rule("H4")
def test_expected_loss_and_residual_have_all_their_places():
    rule = {"settle_on": "outturn", "recovery": "0.995123"}
    made = reconcile(terms_on(gold=rule), "gold", lots("57.969"), [], fine("57.6"))
    answer = document.reconciliation(made, ["L0"], terms_on(gold=rule, weight_unit="dwt"), [], Working())
    # 57.969 × 0.004877; and × 0.995123 − 57.6; a pennyweight is 1.55517384 g (A1)
    assert answer["expected_loss"] == {"g": "0.282714813", "dwt": "0.182"}
    assert answer["residual"] == {"g": "0.086285187", "dwt": "0.055"}
    assert in_words(made).startswith(
        "0.086285187 g of gold is missing beyond the expected loss of 0.282714813 g"
    )


@pytest.mark.rule("H4")
@pytest.mark.parametrize(
    ("u", "out", "said"),
    [
        # 1 g in, 0.9993 g expected: u is 0.9993 × that of the assay
        ("1", "0.998", "0.0013 g of gold is missing beyond the expected loss of 0.0007 g, within twice its "
         "uncertainty of 0.001 g"),
        ("1.2", "0.997", "within twice its uncertainty of 0.00119916 g"),  # 0.0023 g are above twice 0.001 g
        ("0.6", "0.998", "above twice its uncertainty of 0.00059958 g"),  # 0.0013 g are within twice 0.001 g
    ],
)  # fmt: skip
def test_a_u_to_the_milligram_that_would_tell_the_opposite_is_told_with_all_its_places(u, out, said):
    own = [LotIn("L", weighed("1", u=u))]
    rule = {"settle_on": "outturn", "recovery": "0.9993"}
    assert said in in_words(reconcile(terms_on(gold=rule), "gold", own, [], fine(out)))


@pytest.mark.rule("H4")
def test_melt_weight_and_drillings_taken_are_weighings_alike():
    one = Weighed(F(100), F("0.12"), F(500))
    two = Weighed(F(100), F("0.12"), F(500), weighings=2)
    assert (one.variance, two.variance) == (F("0.0003"), F("0.0006"))  # 0.25 × 0.0144 ÷ 12


@pytest.mark.rule("H4")
def test_what_judges_is_what_is_printed_as_in_and_out():
    of = terms_on(gold={"settle_on": "outturn", "recovery": "1"})
    made = reconcile(of, "gold", lots("49.9996"), [], fine("49.9994"))
    # of the exact figures only 0.0002 g would be missing
    assert (made.in_mg, made.came_back_mg, made.residual_g) == (50_000, 49_999, F("0.001"))


ACCOUNTS = [
    # metal, settle_on, silver rule, own, needs, lent, weighed out
    ("gold", "outturn", "pro_rata", ["50.0007", "33.3333"], None, [], ["82.9"]),
    ("gold", "outturn", "pro_rata", ["50.0007", "33.3333"], None, ["0.7777"], ["84.0004", "0.5"]),
    ("gold", "assay", "pro_rata", ["50.0007", "33.3333"], None, [], ["82.9"]),
    ("silver", "outturn", "pro_rata", ["12.3456", "7.6543"], ["40", "31"], ["71.0003"], ["88.0001"]),
    ("silver", "outturn", "house_first", ["12.3456", "7.6543"], ["40", "31"], ["71.0003"], ["88.0001"]),
    ("silver", "outturn", "house_first", ["0.5"], ["100"], ["100"], ["90"]),  # kept at nothing
    ("silver", "outturn", "house_first", ["30"], ["50"], ["50"], ["88"]),  # a gain
    ("silver", "assay", "house_first", ["12.3456"], ["40"], ["40"], ["50"]),
    ("silver", "outturn", "pro_rata", ["0"], ["0"], [], ["0.005"]),
]


@pytest.mark.rule("H7")
@pytest.mark.parametrize(("metal", "settle_on", "silver_rule", "own", "needs", "lent", "out"), ACCOUNTS)
def test_what_is_credited_and_the_house_share_are_what_was_weighed_out(
    metal, settle_on, silver_rule, own, needs, lent, out
):
    rule = {"settle_on": settle_on, "recovery": "0.97"}
    of = terms_on(**{"gold": {}, metal: rule}, silver_rule=silver_rule)
    made = reconcile(of, metal, lots(*own, needs=needs), fine(*lent), fine(*out))
    weighed_out = sum(round(F(g) * 1000) for g in out)
    assert sum(made.shares.lots_mg) + made.shares.house_mg == weighed_out
    assert all(0 <= r <= mine for r, mine in zip(made.shares.lots_mg, made.own_mg, strict=True))


@pytest.mark.rule("H7")
def test_the_house_share_may_be_negative():
    made = reconcile(terms(), "gold", lots("50"), [], fine("49"))  # credited on assay
    assert made.shares.house_mg == -1_000
    answer = document.reconciliation(made, ["L0"], terms(), [], Working(kept=False))
    assert answer["house_share"] == {"g": "-1.000"}
