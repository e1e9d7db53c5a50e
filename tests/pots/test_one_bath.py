"""H3, H8: the bath of several batches, weighed weeks later; whose silver came back."""

from fractions import Fraction
from typing import Any

import pytest
from filtered import faults
from till import BY_FIRE
from works import Batch, Works, accounted, batch, grams, mg, terms

# Melt, gold and silver in ‰ of each lot, the loan and the gold weighed out, batch by batch.
BATCHES = (
    ([("40", "500", "100"), ("30", "400", "200")], "70", "31.8"),
    ([("50", "750", "120")], "105", "37.3"),
    ([("60", "370", "90")], "35", "22.1"),
)
OWN = (4_000, 6_000, 6_000, 5_400)
# (gold − melt ÷ 4) × 4, in milligrams: house silver is pure here.
NEED = (40_000, 18_000, 100_000, 28_800)
LENT = (70_000, 105_000, 35_000)


def three(works: Works) -> list[Batch]:
    return [batch(works, lots, loan, gold) for lots, loan, gold in BATCHES]


def one_bath(works: Works, of: list[Batch]) -> str:
    return str(works.bath(*(b.number for b in of))["number"])


def half_even(of: Fraction) -> int:
    return round(of)


def parts(whole: int, weights: list[int]) -> list[int]:
    """A5 by hand."""
    exact = [Fraction(whole * w, sum(weights)) for w in weights]
    down = [int(e) for e in exact]
    by_rest = sorted(range(len(exact)), key=lambda i: (down[i] - exact[i], i))
    for i in by_rest[: whole - sum(down)]:
        down[i] += 1
    return down


def expected(rule: str, out_mg: int) -> list[int]:
    """What each lot is credited, reckoned here from the rule alone."""
    lost = 1 - Fraction(out_mg, sum(OWN) + sum(LENT))
    if rule == "house_first":
        return [half_even(own - (own + need) * lost) for own, need in zip(OWN, NEED, strict=True)]
    if rule == "pro_rata":
        return parts(out_mg, [sum(LENT), *OWN])[1:]
    return list(OWN)


RULES: dict[str, dict[str, Any]] = {
    "house_first": {"silver_rule": "house_first"},
    "pro_rata": {"silver_rule": "pro_rata"},
    "on assay": {"silver": {"settle_on": "assay"}},
}


@pytest.mark.rule("H3")
@pytest.mark.rule("H8")
@pytest.mark.parametrize("rule", RULES)
def test_the_silver_of_three_batches_is_one_pool(works: Works, clock: Any, rule: str) -> None:
    works.terms({**terms(**RULES[rule]), "public": True})
    of = three(works)
    recovery = one_bath(works, of)
    clock.move(days=21)
    works.silver_out(recovery, "226.5", "999")
    account = works.close(recovery)["metals"]["silver"]
    out = 226_274  # 226.2735 g, half to even
    assert (mg(account["in"]), mg(account["lent"]), mg(account["out"])) == (231_400, 210_000, out)
    assert [mg(c) for c in account["credited"].values()] == expected(rule, out)
    assert [mg(c) for c in account["own"].values()] == list(OWN)
    accounted(works, account)
    for lot, credited in account["credited"].items():
        assert works.balance(f"client:C-1:lot:{lot}", "silver") == -mg(credited)


@pytest.mark.rule("H3")
@pytest.mark.parametrize(("out", "credited"), [("231.4", OWN), ("240", OWN), ("10", (0, 0, 0, 0))])
def test_r_is_kept_within_nothing_and_the_lots_own(works: Works, out: str, credited: Any) -> None:
    recovery = one_bath(works, three(works))
    works.silver_out(recovery, out)
    account = works.close(recovery, override={"reason": "looked at"})["metals"]["silver"]
    assert [mg(c) for c in account["credited"].values()] == list(credited)
    accounted(works, account)


def test_until_the_bath_is_weighed_the_silver_of_its_batches_is_open(works: Works) -> None:
    of = three(works)
    recovery = one_bath(works, of)
    first = works.account(of[0].number)
    assert list(first["metals"]) == ["gold"], "its silver is the recovery's"
    assert works.account(recovery)["metals"]["silver"]["state"] == "no_outturn"
    assert works.refused.close(recovery).said == (409, "wrong-state", "")
    assert works.get(f"/v1/silver-recoveries/{recovery}")["state"] == "open"
    works.silver_out(recovery, "100")
    assert works.get(f"/v1/silver-recoveries/{recovery}")["state"] == "outturn"
    works.close(recovery, override={"reason": "half of it was spilt"})
    assert works.get(f"/v1/silver-recoveries/{recovery}")["state"] == "closed"
    assert works.get(f"/v1/batches/{of[2].number}")["reconciliations"].keys() == {"silver"}


def test_silver_that_came_out_of_a_batch_itself_is_in_the_pool_too(works: Works) -> None:
    of = three(works)
    works.take_out(of[1].number, "silver", "100", "1000")
    recovery = one_bath(works, of)
    works.silver_out(recovery, "126.5")
    account = works.close(recovery)["metals"]["silver"]
    assert mg(account["out"]) == 226_500
    accounted(works, account)


def refusal_of_bath(works: Works, *batches: str) -> tuple[int, str, str]:
    said: tuple[int, str, str] = works.refused.bath(*batches).said
    return said


def test_a_bath_goes_into_one_recovery_and_while_its_silver_is_open(works: Works) -> None:
    of = three(works)
    works.bath(of[0].number)
    assert refusal_of_bath(works, of[1].number, of[0].number) == (409, "wrong-state", "/batches/1")
    works.take_out(of[1].number, "silver", "108", "1000")
    works.close(of[1].number, metals=["silver"])
    assert refusal_of_bath(works, of[1].number) == (409, "wrong-state", "/batches/0")
    assert refusal_of_bath(works, "B-2026-0099") == (422, "invalid-body", "/batches/0")


def test_a_bath_yields_silver_alone(works: Works) -> None:
    recovery = one_bath(works, three(works))
    refusal = works.refused.silver_out(recovery, "5", metal="gold")
    assert (refusal.status, list(refusal.faults)) == (422, ["/metal"])


# What changes in a batch whose bath is in a recovery, after its account was looked at.
CHANGES = {
    "a corrected loan": lambda w, b: w.lend(
        b.number, "71", fineness="1000", corrects=w.entry(b.number, "loan"), reason="misread"
    ),
    "a corrected melt": lambda w, b: w.melt(
        b.lots[0], "39.9", corrects=w.entry(b.lots[0], "melt"), reason="misread"
    ),
    "a corrected assay": lambda w, b: w.assay(
        b.lots[0], {"gold": "499", "silver": "101"}, corrects=w.entry(b.lots[0], "assay"), reason="misread"
    ),
    "silver held": lambda w, b: w.hold(b.number, "silver", "1"),
    "silver from the batch": lambda w, b: w.take_out(b.number, "silver", "1", "1000"),
}


@pytest.mark.parametrize("what", CHANGES)
def test_an_account_that_changed_through_one_of_its_batches_is_not_posted_unseen(
    works: Works, what: str
) -> None:
    of = three(works)
    recovery = one_bath(works, of)
    works.silver_out(recovery, "226.5")
    seen = works.account(recovery).etag
    CHANGES[what](works, of[0])
    assert works.refused.close(recovery, seen=seen).said == (412, "changed-since-seen", "")
    works.close(recovery)


def test_a_batch_whose_silver_was_closed_elsewhere_has_another_etag(works: Works) -> None:
    of = three(works)
    path = f"/v1/batches/{of[0].number}"
    tags = [works.get(path).etag]
    recovery = one_bath(works, of)
    tags.append(works.get(path).etag)
    works.silver_out(recovery, "226.5")
    works.close(recovery)
    tags.append(works.get(path).etag)
    works.reverse(f"silver-recoveries/{recovery}/reconciliation", "weighed wet")
    assert len(set(tags)) == 3
    # It is as it was before.
    assert works.get(path).etag == tags[1]


def test_once_posted_nothing_that_it_rests_on_is_corrected(works: Works) -> None:
    of = three(works)
    recovery = one_bath(works, of)
    out = works.silver_out(recovery, "226.5")["entry"]
    works.close(recovery)
    said = {"reason": "misread"}
    first, lot = of[0].number, of[0].lots[0]
    for refusal in (
        works.refused.silver_out(recovery, "226.4", corrects=out, **said),
        works.refused.silver_out(recovery, "1"),
        works.refused.lend(first, "71", corrects=works.entry(first, "loan"), **said),
        works.refused.take_out(first, "silver", "1", "1000"),
        works.refused.hold(first, "silver", "1"),
        works.refused.hold(recovery, "silver", "1"),
        works.refused.melt(lot, "39", corrects=works.entry(lot, "melt"), **said),
        works.refused.assay(lot, {"gold": "500"}, corrects=works.entry(lot, "assay"), **said),
    ):
        assert (refusal.status, refusal.kind) == (409, "something-rests-on-it")


def test_a_reversed_account_is_open_again_and_posted_anew_in_other_figures(works: Works) -> None:
    of = three(works)
    recovery = one_bath(works, of)
    out = works.silver_out(recovery, "226.5")["entry"]
    before = works.balances()
    works.close(recovery)
    works.reverse(f"silver-recoveries/{recovery}/reconciliation", "weighed wet")
    assert works.balances() == before
    works.silver_out(recovery, "225.9", corrects=out, reason="weighed wet")
    account = works.close(recovery)["metals"]["silver"]
    assert [mg(c) for c in account["credited"].values()] == expected("house_first", 225_900)
    accounted(works, account)


@pytest.mark.rule("H2")
def test_gold_in_the_house_silver_goes_back_to_the_house(works: Works) -> None:
    lot = works.lot("40", "500", "100")
    number = works.batch(lot)["number"]
    works.lend(number, "50", fineness="990", gold="10")
    assert works.balance(f"house:lent:{number}", "gold") == 500
    # 20 g of the lot's, 0.5 g of the house's; 20.295 g came out.
    works.take_out(number, "gold", "20.295", "1000")
    account = works.close(number)["metals"]["gold"]
    assert [mg(c) for c in account["credited"].values()] == [19_800]
    assert (mg(account["house_share"]), mg(account["lent"])) == (495, 500)
    accounted(works, account)


@pytest.mark.rule("H3")
def test_house_silver_is_told_by_batch_lent_returned_lost_and_still_out(works: Works) -> None:
    of = three(works)
    recovery = one_bath(works, of)
    loans = works.get("/v1/silver-loans")
    assert [row["closed_by"] for row in loans["items"]] == [None] * 3
    assert (loans["still_out"], loans["in_stock"]) == ({"g": "210.000"}, {"g": "790.000"})
    works.silver_out(recovery, "226.274")
    account = works.close(recovery)["metals"]["silver"]
    loans = works.get("/v1/silver-loans")
    rows = {row["batch"]: row for row in loans["items"]}
    returned = parts(mg(account["house_share"]), list(LENT))
    assert [mg(rows[b.number]["returned"]) for b in of] == returned
    for row in rows.values():
        assert mg(row["lent"]) == mg(row["returned"]) + mg(row["lost"]) + mg(row["still_out"])
        assert row["closed_by"] == account["id"]
    assert loans["still_out"] == {"g": "0.000"}


@pytest.mark.rule("H3")
def test_house_first_a_loan_equal_to_the_needs_comes_back_whole(works: Works) -> None:
    of = [
        batch(works, lots, loan, gold)
        for (lots, _, gold), loan in zip(BATCHES, ("58", "100", "28.8"), strict=True)
    ]
    recovery = one_bath(works, of)
    works.silver_out(recovery, "203")
    account = works.close(recovery)["metals"]["silver"]
    # Within half a milligram a lot.
    assert abs(mg(account["house_share"]) - sum(NEED)) <= 2
    assert sum(map(mg, (row["lost"] for row in works.get("/v1/silver-loans")["items"]))) <= 2


def test_what_a_bar_was_poured_from_is_not_corrected_under_it(works: Works) -> None:
    bar = {"nominal": grams("5"), "fineness": "999", "count": 1}
    lot = works.lot("100", "400", "100", instructions={"silver": {"bars": [bar]}})
    number = works.batch(lot)["number"]
    works.lend(number, "60", fineness="1000")
    works.take_out(number, "gold", "40", "1000")
    bath = works.bath(number)["number"]
    first = works.silver_out(bath, "60", "999.9")["entry"]
    last = works.silver_out(bath, "9", "999.9")["entry"]
    serial = works.pour(lot, "5.02", metal="silver", outturn=first)["serial"]
    again = {"reason": "read again"}
    refusal = works.refused.silver_out(bath, "61", "999.9", corrects=first, **again)
    assert (refusal.status, refusal.kind) == (409, "something-rests-on-it")
    # Nothing rests on what came out beside it.
    works.silver_out(bath, "8.9", "999.9", corrects=last, **again)
    works.withdraw_bar(serial)
    works.silver_out(bath, "61", "999.9", corrects=first, **again)


def test_lists_are_narrowed_by_what_batches_recoveries_and_loans_say(works: Works) -> None:
    assert list(faults(works)) == []
    of = three(works)
    bath = one_bath(works, of[:2])
    assert list(faults(works)) == []
    works.close(of[0].number)
    works.silver_out(bath, "188")
    assert list(faults(works)) == []
    works.close(bath)
    assert list(faults(works)) == []
    assert [b["number"] for b in works.listed("/v1/batches?state=outturn")] == [of[2].number, of[1].number]


@pytest.mark.parametrize("of", ["", "/record", "/pictures/flow-{}"])
def test_a_batch_and_a_recovery_have_their_account_each_under_its_own_address(works: Works, of: str) -> None:
    made = batch(works, *BATCHES[0])
    recovery = one_bath(works, [made])
    works.silver_out(recovery, "78")
    works.close(recovery)
    for path, metal in ((f"silver-recoveries/{made.number}", "gold"), (f"batches/{recovery}", "silver")):
        asked = works.refused.get(f"/v1/{path}/reconciliation{of.format(metal)}")
        assert asked.said == (404, "not-found", "")
    for path, metal in ((f"silver-recoveries/{recovery}", "silver"), (f"batches/{made.number}", "gold")):
        assert works.ask("GET", f"/v1/{path}/reconciliation{of.format(metal)}").status_code == 200


def test_no_account_is_reversed_under_the_address_of_the_other(works: Works) -> None:
    made = batch(works, *BATCHES[0])
    recovery = one_bath(works, [made])
    works.silver_out(recovery, "78")
    works.close(recovery)
    for path, kind in (
        (f"silver-recoveries/{made.number}", "silver recovery"),
        (f"batches/{recovery}", "batch"),
    ):
        refusal = works.refused.reverse(f"{path}/reconciliation", "a slip")
        assert (refusal.status, f"no {kind} " in refusal.body["detail"]) == (404, True)


@pytest.mark.rule("A6")
def test_a_bar_is_stated_with_no_less_u_than_its_own_terms_let_the_method_claim(works: Works) -> None:
    """Silver of a laxer batch, in one bath with that of a stricter one."""
    bound = {"assay_methods": {"fire_assay": {"least_u": "0.2"}}, "fineness_steps": ["995", "999", "999.9"]}
    works.terms(terms(name="strict", **bound))
    bar = {"nominal": grams("10"), "fineness": "999", "count": 1}
    wish = {"gold": {"remainder": "pay_out"}, "silver": {"bars": [bar]}}
    lax = works.lot("100", "500", "300")
    strict = works.lot("100", "500", "300", terms="T-2", instructions=wish)
    batches = [works.batch(lot)["number"] for lot in (lax, strict)]
    for number in batches:
        works.lend(number, "100", fineness="1000")
        works.take_out(number, "gold", "49.75", "1000")
    pure = {"metal": "silver", "weight": grams("50"), "assay": {"fineness": "1000", "u": "0", **BY_FIRE}}
    said = works.post(f"/v1/batches/{batches[0]}/outturns", pure)
    works.bath(*batches)
    entry = next(
        e["id"] for e in said["entries"] if e["kind"] == "outturn" and e["data"]["metal"] == "silver"
    )
    assert works.pour(strict, "10.02", metal="silver", outturn=entry)["stated_fineness"] == "999"
