"""H6 at the till: drillings that were taken are the house's, credited, or owed until they are handed back."""

from typing import Any

import pytest
from desk import Desk, grams
from stages import CLIENT, LOT, gold_only, scrap

from settle.books.check import all_faults

YES = {"who": "Ann Other", "how": "in_person"}
# 0.36 g of 421.1 ‰: 0.151596 g of gold.
TAKEN, GOLD = "0.36", "421.1"


def settled(desk: Desk, whose: str = "client", **terms: Any) -> Any:
    desk.terms(gold_only(**terms))
    desk.receive(client=CLIENT, terms="T-2", items=[scrap()], acceptance=YES)
    desk.melt(LOT, "99", drillings={"weight": grams(TAKEN), "whose": whose})
    desk.assay(LOT, {"gold": GOLD})
    return desk.settle(desk.draft(LOT)["id"])


@pytest.fixture
def whole(shop: Desk) -> Any:
    """The desk; at its end `check` finds nothing."""
    yield shop
    with shop.books.reading() as work:
        assert all_faults(work) == []


def test_the_clients_are_credited_where_the_terms_say_so(whole: Desk) -> None:
    document = settled(whole, drillings="credited")
    gold = document["cases"]["final"]["metals"]["gold"]
    # 98.64 g × 421.1 ‰ = 41.537304 g, and the drillings.
    assert (gold["recovered"]["g"], gold["drillings"]["g"]) == ("41.537", "0.152")
    assert (gold["accountable"]["g"], gold["kept"]["g"]) == ("41.689", "0.000")
    assert document["drillings_become"] == "credited"
    assert whole.balance("house:bought", "gold") == 41_689
    assert whole.get(f"/v1/lots/{LOT}")["drillings"]["owed"] is False
    assert whole.refused.give_back(LOT, what="drillings").said == (409, "wrong-state", "/what")


def test_the_clients_go_back_to_him_and_are_owed_until_they_do(whole: Desk, clock: Any) -> None:
    document = settled(whole)
    final = document["cases"]["final"]
    assert document["drillings_become"] == "returned"
    assert final["metals"]["gold"]["accountable"]["g"] == "41.537"
    assert final["client_gets"]["drillings"] == {"gold": {"g": "0.152"}}
    assert whole.get(f"/v1/lots/{LOT}")["drillings"] == {
        "weight": {"g": "0.360"}, "whose": "client", "become": "returned", "owed": True,
    }  # fmt: skip
    early = whole.refused.give_back(LOT, what="drillings")
    assert early.said == (409, "wrong-state", "/what")
    assert "kept until" in early.body["errors"][0]["wrong"]
    clock.move(days=31)
    back = whole.give_back(LOT, what="drillings")
    assert back["drillings"]["owed"] is False
    assert whole.refused.give_back(LOT, what="drillings").said == (409, "wrong-state", "/what")
    whole.reverse(f"lots/{LOT}/return", "he left them on the counter")
    assert whole.get(f"/v1/lots/{LOT}")["drillings"]["owed"] is True


def test_before_the_sample_period_is_over_they_leave_by_an_owners_word_alone(whole: Desk) -> None:
    settled(whole)
    whole.give_back(LOT, what="drillings", override={"reason": "he waives any query"})
    assert whole.get(f"/v1/lots/{LOT}")["drillings"]["owed"] is False


def test_a_client_whose_drillings_are_still_here_is_not_erased(whole: Desk, clock: Any) -> None:
    document = settled(whole, retention="P1D")
    whole.pay(document["number"], document["open"]["amount"])
    clock.move(days=40)
    refusal = whole.refused.post(f"/v1/clients/{CLIENT}/erasure")
    assert "drillings" in refusal.body["detail"]


def test_the_houses_are_kept_and_printed(whole: Desk) -> None:
    document = settled(whole, "house", drillings="credited")
    gold = document["cases"]["final"]["metals"]["gold"]
    assert (gold["drillings"]["g"], gold["kept"]["g"], gold["accountable"]["g"]) == (
        "0.152",
        "0.152",
        "41.537",
    )
    assert document["drillings_become"] == "kept"
    assert whole.get(f"/v1/lots/{LOT}")["drillings"]["owed"] is False


def test_drillings_that_went_back_into_the_melt_are_none(whole: Desk) -> None:
    whole.terms(gold_only())
    whole.receive(client=CLIENT, terms="T-2", items=[scrap()], acceptance=YES)
    whole.melt(LOT, "99", drillings={"weight": grams(TAKEN), "returned": True})
    assert whole.get(f"/v1/lots/{LOT}")["drillings"] is None
