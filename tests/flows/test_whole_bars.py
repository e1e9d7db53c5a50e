"""E4 at the till: no bar leaves with far more, or far less, than its line takes, but by an owner's word."""

from typing import Any

import pytest
from desk import Desk, grams
from test_bars_covered import BATCH, WORD, Lot

from settle.books.check import all_faults

WHOLE = {"nominal": None, "count": "whole"}


def wanting(desk: Desk, **line: Any) -> Lot:
    return Lot(desk, **line).out()


def draft(desk: Desk) -> Any:
    desk.reconcile(BATCH)
    return desk.draft("L-2026-0001")


def test_a_whole_bar_of_more_than_the_lot_has_is_refused(shop: Desk) -> None:
    lot = wanting(shop, **WHOLE)
    refusal = lot.desk.refused.pour("L-2026-0001", "300")
    assert refusal.faults == {"/line": "bar-not-covered"}
    assert (
        "with it the bars would hold 278.049 g more than the client is due"
        in refusal.body["errors"][0]["wrong"]
    )


def test_a_bar_ordered_at_half_and_poured_of_fine_gold_is_refused(shop: Desk) -> None:
    lot = wanting(shop, fineness="500", count=1)
    refusal = lot.pour(shop.refused)
    assert refusal.faults == {"/line": "bar-not-covered"}
    assert "more than the client is due" in refusal.body["errors"][0]["wrong"]


def test_by_an_owners_word_it_is_poured_told_first_of_all_and_posted_by_another(shop: Desk) -> None:
    lot = wanting(shop, fineness="500", count=1)
    lot.pour(**WORD)
    found = draft(shop)
    notice = found["notices"][0]
    assert notice["code"] == "bars-above-account"
    assert "5.000 g more than the client is due" in notice["text"]
    assert shop.refused.settle(found["id"]).faults == {"": "bar-not-covered"}


def test_a_whole_bar_that_states_far_less_is_told_and_wants_an_owners_word(shop: Desk) -> None:
    lot = wanting(shop, **WHOLE)
    lot.desk.pour("L-2026-0001", "1.00")
    found = draft(shop)
    assert found["notices"][0]["code"] == "bars-below-account"
    assert "20.925 g less than the client is due: he loses it" in found["notices"][0]["text"]
    assert shop.refused.settle(found["id"]).faults == {"": "bar-below-promise"}
    path = f"/v1/settlements/{found['id']}"
    posted = shop.post(f"{path}/posting", WORD, shop.get(path).etag)
    assert posted["owners_word"] == WORD["override"]["reason"]
    with shop.books.reading() as work:
        assert all_faults(work) == []


@pytest.mark.parametrize("division", ["0.01", "50"])
def test_a_scale_too_coarse_to_tell_the_bar_weighs_nothing_at_its_handover(shop: Desk, division: str) -> None:
    lot = wanting(shop, count=1)
    serial = lot.pour()["serial"]
    shop.settle(draft(shop)["id"])
    body = {"who": "Ann Other", "reading": grams("0.50"), "division": grams(division)}
    refusal = shop.refused.post(f"/v1/bars/{serial}/handover", body)
    assert refusal.faults == {"/reading": "bar-weighs-otherwise" if division == "0.01" else "out-of-range"}
