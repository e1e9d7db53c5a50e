"""Typing errors are mended by adding: the old entry stays readable, and the journal stays right."""

from typing import Any

import filtered
import pytest
from stages import BATCH, CLIENT, LOT, D
from till import Till, grams

OWED = f"client:{CLIENT}:lot:{LOT}"
WHY = "a typing error"
LENT, STOCK = f"house:lent:{BATCH}", "house:stock"

# stage, of what, kind of entry: what is done again, and with what
CORRECTIONS = [
    pytest.param("melted", LOT, "melt", "melt", (LOT, "118.30"), id="melt"),
    pytest.param("in batch", LOT, "melt", "melt", (LOT, "118.30"), id="melt of a lot in a batch"),
    pytest.param("assayed", LOT, "assay", "assay", (LOT, {"gold": "489.7"}), id="assay"),
    pytest.param("in batch", LOT, "assay", "assay", (LOT, {"gold": "489.7"}), id="assay of a lot in a batch"),
    pytest.param("lent", BATCH, "loan", "lend", (BATCH, "114.80"), id="loan"),
    pytest.param("out", BATCH, "outturn", "take_out", (BATCH, "silver", "125.40", "998"), id="outturn"),
    pytest.param("poured", LOT, "bar", "pour", (LOT, "20.03"), id="bar"),
]
each_kind = pytest.mark.parametrize(("stage", "of", "kind", "verb", "given"), CORRECTIONS)


def entries(till: Till, of: str) -> dict[str, Any]:
    where = "lots" if of == LOT else "batches"
    return {e["id"]: e for e in till.get(f"/v1/{where}/{of}")["entries"]}


@each_kind
def test_a_correction_stands_beside_the_old_entry(
    at: Any, stage: str, of: str, kind: str, verb: str, given: tuple[Any, ...]
) -> None:
    till = at(stage)
    old = till.entry(of, kind)
    before = entries(till, of)
    getattr(till, verb)(*given, corrects=old, reason=WHY)
    after = entries(till, of)
    assert {name: after[name] for name in before} == before
    (new,) = [e for name, e in after.items() if name not in before]
    assert (new["kind"], new["corrects"], new["reason"]) == (kind, old, WHY)
    assert new["data"] != after[old]["data"]
    assert till.balances()


@each_kind
def test_a_correction_says_why(
    at: Any, stage: str, of: str, kind: str, verb: str, given: tuple[Any, ...]
) -> None:
    till = at(stage)
    old = till.entry(of, kind)
    for reason in ({}, {"reason": "  "}):
        refusal = getattr(till.refused, verb)(*given, corrects=old, **reason)
        assert (refusal.status, refusal.faults) == (422, {"/reason": "missing"})


@each_kind
def test_a_correction_names_an_entry_of_its_kind_that_is_in_force(
    at: Any, stage: str, of: str, kind: str, verb: str, given: tuple[Any, ...]
) -> None:
    till = at(stage)
    old = till.entry(of, kind)
    again = {"reason": WHY}
    # E-1 is the stock; an id has a character at least.
    wrong = {"E-99": "unknown-reference", "E-1": "unknown-reference", "": "bad-text"}
    for unknown, fault in wrong.items():
        refusal = getattr(till.refused, verb)(*given, corrects=unknown, **again)
        assert (refusal.status, refusal.faults) == (422, {"/corrects": fault})
    getattr(till, verb)(*given, corrects=old, **again)
    refusal = getattr(till.refused, verb)(*given, corrects=old, **again)
    assert refusal.status in (409, 422)
    assert list(refusal.faults) == ["/corrects"]
    getattr(till, verb)(*given, corrects=till.entry(of, kind), **again)


@pytest.mark.parametrize(("of", "kind", "verb", "given"), [p.values[1:] for p in CORRECTIONS])
def test_nothing_that_a_posted_settlement_rests_on_is_corrected(
    standing: Any, of: str, kind: str, verb: str, given: tuple[Any, ...]
) -> None:
    till = standing("settled")
    refusal = getattr(till.refused, verb)(*given, corrects=till.entry(of, kind), reason=WHY)
    assert (refusal.status, refusal.kind) == (409, "something-rests-on-it")


@pytest.mark.parametrize(("of", "kind", "verb", "given"), [p.values[1:] for p in CORRECTIONS])
def test_nothing_that_a_posted_reconciliation_rests_on_is_corrected_but_a_bar_is(
    at: Any, of: str, kind: str, verb: str, given: tuple[Any, ...]
) -> None:
    till = at("reconciled")
    old = till.entry(of, kind)
    if kind == "bar":
        assert getattr(till, verb)(*given, corrects=old, reason=WHY)["entry"] != old
    else:
        refusal = getattr(till.refused, verb)(*given, corrects=old, reason=WHY)
        assert (refusal.status, refusal.kind) == (409, "something-rests-on-it")


def test_a_corrected_melt_and_assay_are_what_the_settlement_rests_on(at: Any) -> None:
    till = at("out")
    till.melt(LOT, "118.50", corrects=till.entry(LOT, "melt"), reason=WHY)
    assay = {"gold": "489.2", "silver": "118.2"}
    till.assay(LOT, assay, corrects=till.entry(LOT, "assay"), reason=WHY)
    account = till.reconcile(BATCH)["metals"]["gold"]
    assert account["own"][LOT]["g"] == "57.970"  # 118.50 × 489.2 ‰ = 57.9702
    till.prices(gold="62.05", silver="0.75")
    posted = till.settle(till.draft(LOT)["id"])
    assert (posted["weights"]["melt"]["g"], posted["assay"]) == ("118.500", assay)
    assert till.balance(OWED, "gold") == till.balance(OWED, "silver") == 0


def test_a_corrected_loan_moves_the_stock_by_the_difference_alone(at: Any) -> None:
    till = at("lent")
    assert till.balance(LENT, "silver") == 114_785  # 114.90 × 999 ‰
    till.lend(BATCH, "100", corrects=till.entry(BATCH, "loan"), reason=WHY)
    assert (till.balance(LENT, "silver"), till.balance(STOCK, "silver")) == (99_900, 499_500 - 99_900)
    till.lend(BATCH, "500", corrects=till.entry(BATCH, "loan"), reason=WHY)
    assert (till.balance(LENT, "silver"), till.balance(STOCK, "silver")) == (499_500, 0)
    assert till.get(f"/v1/batches/{BATCH}")["lent"]["silver"] == {"g": "499.500"}


def test_a_loan_is_not_corrected_to_more_than_the_house_has(at: Any) -> None:
    till = at("lent")
    refusal = till.refused.lend(BATCH, "500.01", corrects=till.entry(BATCH, "loan"), reason=WHY)
    assert refusal.said == (409, "not-in-stock", "/weight")


def test_a_corrected_outturn_is_what_came_back(at: Any) -> None:
    till = at("lent")
    till.take_out(BATCH, "silver", "124.53", "998")
    corrected = till.entry(BATCH, "outturn")
    till.take_out(BATCH, "silver", "125.43", "998", corrects=corrected, reason="digits changed places")
    till.take_out(BATCH, "gold", "57.71", "999.97", "0.02")
    account = till.reconcile(BATCH)["metals"]["silver"]
    assert (account["out"]["g"], account["credited"][LOT]["g"]) == ("125.179", D["R"]["silver"])
    assert till.balance(STOCK, "silver") == 499_500 - 114_785 + 125_179


def test_an_outturn_keeps_its_metal_when_it_is_corrected(at: Any) -> None:
    till = at("out")
    silver = till.entry(BATCH, "outturn")
    refusal = till.refused.take_out(BATCH, "gold", "1", "999", corrects=silver, reason=WHY)
    assert refusal.status in (409, 422)
    assert list(refusal.faults) == ["/metal"]


def test_an_outturn_from_which_bars_were_poured_is_not_corrected(standing: Any) -> None:
    till = standing("poured")
    out = [e for e in till.get(f"/v1/batches/{BATCH}")["entries"] if e["kind"] == "outturn"]
    gold = next(e["id"] for e in out if e["data"]["metal"] == "gold")
    given = (BATCH, "gold", "57.70", "999.97", "0.02")
    refusal = till.refused.take_out(*given, corrects=gold, reason=WHY)
    assert (refusal.status, refusal.kind) == (409, "something-rests-on-it")
    assert "BAR-2026-0001" in refusal.body["detail"]


def test_a_corrected_bar_keeps_its_number_and_the_settlement_counts_it_once(at: Any) -> None:
    till = at("poured")
    second = till.get("/v1/bars/BAR-2026-0002")
    mended = till.pour(LOT, "20.04", corrects=second["entry"], reason=WHY)
    assert mended["serial"] == "BAR-2026-0002"
    assert mended["reading"]["g"].startswith("20.04")
    assert mended.etag != second.etag
    till.reconcile(BATCH)
    till.prices(gold="62.05", silver="0.75")
    posted = till.settle(till.draft(LOT)["id"])
    gold = posted["cases"]["final"]["metals"]["gold"]
    assert [bar["serial"] for bar in gold["bars"]] == ["BAR-2026-0001", "BAR-2026-0002"]
    assert posted["net"]["amount"] == D["answer"]["net"]
    assert till.balance(f"client:{CLIENT}:bars", "gold") == -39_996


def test_a_bar_keeps_its_metal_when_it_is_corrected(at: Any) -> None:
    till = at("out")
    wish = {"bars": [{"nominal": grams("5"), "fineness": "995", "count": 1}]}
    till.instruct(LOT, gold=wish, silver=wish)
    bar = till.pour(LOT, "5.03")
    body = {"lot": LOT, "metal": "silver", "reading": grams("5.02"), "corrects": bar["entry"], "reason": WHY}
    refusal = till.refused.post("/v1/bars", body)
    assert refusal.status in (409, 422)
    assert list(refusal.faults) == ["/metal"]


def test_a_bar_is_not_corrected_to_one_that_would_have_been_refused(at: Any) -> None:
    till = at("poured")
    bar = till.get("/v1/bars/BAR-2026-0002")["entry"]
    refusal = till.refused.pour(LOT, "19.99", corrects=bar, reason=WHY)
    assert (refusal.status, refusal.faults) == (422, {"/reading": "bar-under-nominal"})


def test_every_correction_leaves_the_reversal_of_what_it_undoes(at: Any) -> None:
    till = at("lent")
    till.lend(BATCH, "114.80", corrects=till.entry(BATCH, "loan"), reason=WHY)
    lines = [line for e in till.listed("/v1/journal") for line in e["lines"] if line["account"] == LENT]
    assert sorted(line["amount"] for line in lines) == [-114_785, 114_685, 114_785]  # 114.80 × 999 ‰


# Struck out: entered twice, and never lent or never come out the second time.


def test_a_loan_that_was_entered_twice_is_struck_out(at: Any) -> None:
    till = at("lent")
    again = till.lend(BATCH, "114.90", scale="counter")["entry"]
    assert till.refused.lend(BATCH, "0").faults == {"/weight/amount": "weight-not-positive"}
    struck = till.lend(BATCH, "0", scale="counter", corrects=again, reason="entered twice")
    assert struck["lent"]["silver"] == {"g": "114.785"}
    assert "below-minimum-load" not in struck.notices
    assert (till.balance(LENT, "silver"), till.balance(STOCK, "silver")) == (114_785, 499_500 - 114_785)
    (loan,) = till.listed("/v1/silver-loans")
    assert ([len(loan["entries"]), loan["lent"]], again in str(loan)) == ([1, {"g": "114.785"}], False)
    # What was struck out by mistake is entered again like any correction.
    till.lend(BATCH, "1", corrects=struck["entry"], reason="it was a gram more")
    assert till.balance(LENT, "silver") == 114_785 + 999
    assert list(filtered.faults(till)) == []


def test_an_outturn_that_was_entered_twice_is_struck_out_and_the_batch_is_as_before(at: Any) -> None:
    till = at("lent")
    out = till.take_out(BATCH, "silver", "125.43", "998")["entry"]
    assert till.refused.take_out(BATCH, "silver", "0", "998").faults == {
        "/weight/amount": "weight-not-positive"
    }
    assert till.get(f"/v1/batches/{BATCH}")["metals"] == {"gold": "open", "silver": "outturn"}
    struck = till.take_out(BATCH, "silver", "0", "998", corrects=out, reason="it was another batch's")
    assert struck["metals"] == {"gold": "open", "silver": "open"}
    assert till.balance(STOCK, "silver") == 499_500 - 114_785
    assert list(filtered.faults(till)) == []
    till.take_out(BATCH, "silver", "125.43", "998")
    till.take_out(BATCH, "gold", "57.71", "999.97", "0.02")
    assert till.reconcile(BATCH)["metals"]["silver"]["credited"][LOT]["g"] == D["R"]["silver"]
