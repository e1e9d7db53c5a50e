"""A corrected assay after posting: reversals, corrections, a new settlement, and what it changes."""

from typing import Any

import pytest
from desk import Desk, money
from stages import BATCH, LOT, SETTLEMENT, D

NEW = "S-2026-0002"
REFINED = {"gold": "489.6", "silver": "118.2"}


def correct(desk: Desk, gold: str = "490.6") -> None:
    """The assay was wrong: all that rests on it is taken back, and it is entered anew."""
    desk.reverse(f"settlements/{SETTLEMENT}")
    desk.reverse(f"batches/{BATCH}/reconciliation")
    entry = desk.entry(LOT, "assay")
    desk.assay(LOT, {**REFINED, "gold": gold}, corrects=entry, reason="the laboratory wrote again")


@pytest.fixture
def reissued(settled: Desk) -> Desk:
    correct(settled)
    settled.reconcile(BATCH)
    settled.settle(settled.draft(LOT)["id"])
    return settled


def test_nothing_posted_rests_on_the_assay_once_it_is_all_reversed(settled: Desk) -> None:
    entry = settled.entry(LOT, "assay")
    refused = settled.refused.assay(LOT, REFINED, corrects=entry, reason="misread")
    assert refused.kind == "something-rests-on-it"
    correct(settled)
    own = settled.get(f"/v1/batches/{BATCH}/reconciliation")["metals"]["gold"]["own"][LOT]["g"]
    assert own == "58.087"  # 118.40 × 490.6 ‰


def test_loans_and_melts_can_be_corrected_too(settled: Desk) -> None:
    correct(settled)
    settled.melt(LOT, "118.41", scale="counter", corrects=settled.entry(LOT, "melt"), reason="misread")
    loan = settled.entry(BATCH, "loan")
    settled.lend(BATCH, "114.91", scale="counter", corrects=loan, reason="misread")
    settled.reconcile(BATCH)
    settled.settle(settled.draft(LOT)["id"])


def test_the_new_settlement_names_the_one_that_it_replaces(reissued: Desk) -> None:
    new = reissued.get(f"/v1/settlements/{NEW}")
    assert (new["replaces"], new["state"]) == (SETTLEMENT, "posted")
    assert reissued.get(f"/v1/settlements/{SETTLEMENT}")["state"] == "reversed"
    assert [r["state"] for r in reissued.listed("/v1/settlements")] == ["posted", "reversed"]


def test_it_says_figure_by_figure_what_changed(reissued: Desk) -> None:
    told = reissued.get(f"/v1/settlements/{NEW}/difference")
    assert (told["replaces"], told["reversal"]["reason"]) == (SETTLEMENT, "the assay was wrong")
    figures = {f["figure"]: f for f in told["figures"]}
    assert figures["assay of gold"]["difference"] == "1"
    # The gold that came back is all the lot's either way; the silver needed to part it rose.
    assert "gold recovered" not in figures
    old, new = (reissued.get(f"/v1/settlements/{s}") for s in (SETTLEMENT, NEW))
    moved = figures["net"]
    assert (moved["old"], moved["new"]) == (old["net"], new["net"])
    pence = [int(of["amount"].replace(".", "")) for of in (old["net"], new["net"], moved["difference"])]
    assert pence[1] - pence[0] == pence[2]


def test_figures_that_did_not_move_are_left_out(reissued: Desk) -> None:
    figures = [f["figure"] for f in reissued.get(f"/v1/settlements/{NEW}/difference")["figures"]]
    assert "melt weight" not in figures
    assert "charge bar casting" not in figures


def test_a_settlement_that_replaces_none_has_no_difference(settled: Desk) -> None:
    assert settled.get(f"/v1/settlements/{SETTLEMENT}")["replaces"] is None
    assert settled.refused.get(f"/v1/settlements/{SETTLEMENT}/difference").status == 404


def test_a_third_one_replaces_the_second(reissued: Desk) -> None:
    reissued.reverse(f"settlements/{NEW}")
    third = reissued.settle(reissued.draft(LOT)["id"])
    assert (third["number"], third["replaces"]) == ("S-2026-0003", NEW)
    assert [n["number"] for n in reissued.listed("/v1/credit-notes")] == ["N-2026-0002", "N-2026-0001"]


def test_the_new_one_is_paid_and_the_old_one_is_not(reissued: Desk) -> None:
    assert reissued.refused.pay(SETTLEMENT, "1.00").said == (409, "wrong-state", "")
    net = reissued.get(f"/v1/settlements/{NEW}")["net"]["amount"]
    assert reissued.pay(NEW, net)["open"] == money("0.00")


def test_the_bars_are_the_clients_again(reissued: Desk) -> None:
    states = [b["state"] for b in reissued.get(f"/v1/bars?lot={LOT}")["items"]]
    assert states == ["assigned", "assigned"]


def test_another_price_of_the_day_serves_a_reissue_and_is_a_figure(settled: Desk) -> None:
    settled.reverse(f"settlements/{SETTLEMENT}", "the wrong price")
    settled.prices(gold="63.00", silver=D["prices"]["silver"]["amount"])
    settled.settle(settled.draft(LOT)["id"])
    figures = [f["figure"] for f in settled.get(f"/v1/settlements/{NEW}/difference")["figures"]]
    assert figures == ["payout of gold", "payouts total", "net"]


# a settlement in two parts (H8)


@pytest.fixture
def in_two(at: Any) -> Desk:
    """Gold settled first, the silver further on: S-2026-0001 and S-2026-0002."""
    desk: Desk = at("poured")
    for metal in ("gold", "silver"):
        desk.reconcile(BATCH, metals=[metal])
        desk.prices(**{m: p["amount"] for m, p in D["prices"].items()})
        desk.settle(desk.draft(LOT)["id"])
    return desk


def test_reversal_goes_last_to_first(in_two: Desk) -> None:
    refused = in_two.refused.reverse(f"settlements/{SETTLEMENT}")
    assert (refused.kind, NEW in refused.body["detail"]) == ("something-rests-on-it", True)
    in_two.reverse(f"settlements/{NEW}")
    # The first stands, and the bars of its gold with it.
    assert [b["state"] for b in in_two.get(f"/v1/bars?lot={LOT}")["items"]] == ["assigned", "assigned"]
    assert in_two.get(f"/v1/lots/{LOT}")["settled_metals"] == ["gold"]
    in_two.reverse(f"settlements/{SETTLEMENT}")


def test_the_credit_note_of_a_further_settlement_is_of_what_it_added(in_two: Desk) -> None:
    net = in_two.get(f"/v1/settlements/{NEW}")["net"]["amount"]
    in_two.reverse(f"settlements/{NEW}")
    note = in_two.get("/v1/credit-notes/N-2026-0001")
    assert (note["credits"]["number"], note["net"]["amount"]) == (NEW, f"-{net}")
    assert [line["line"] for line in note["lines"]] == ["payout: silver"]


def test_each_part_of_it_replaces_its_own(in_two: Desk) -> None:
    in_two.reverse(f"settlements/{NEW}")
    in_two.reverse(f"settlements/{SETTLEMENT}")
    for replaced in (SETTLEMENT, NEW):
        metals = ["gold"] if replaced == SETTLEMENT else None
        draft = in_two.draft(LOT, **({"metals": metals} if metals else {}))
        assert in_two.settle(draft["id"])["replaces"] == replaced


def test_the_account_of_one_metal_is_reversed_while_the_other_is_settled(in_two: Desk) -> None:
    in_two.reverse(f"settlements/{NEW}")
    refused = in_two.refused.reverse(f"batches/{BATCH}/reconciliation", metals=["gold"])
    assert SETTLEMENT in refused.body["detail"]
    in_two.reverse(f"batches/{BATCH}/reconciliation", metals=["silver"])


def test_held_metal_that_ended_rests_on_the_account(at: Any) -> None:
    desk = at("poured")
    kept = {"metal": "silver", "estimate": {"amount": "0.1", "unit": "g"}, "where": "filter"}
    held = desk.post(f"/v1/batches/{BATCH}/held", kept)["entry"]
    desk.reconcile(BATCH)
    desk.post(f"/v1/batches/{BATCH}/held/{held}/write-off", {"reason": "it is gone"})
    refused = desk.refused.reverse(f"batches/{BATCH}/reconciliation", metals=["silver"])
    assert refused.said == (409, "something-rests-on-it", "")
    desk.reverse(f"batches/{BATCH}/reconciliation", metals=["gold"])
