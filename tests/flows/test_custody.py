"""Lots frozen by order, lots and shot returned."""

from typing import Any

import pytest
from desk import Desk
from stages import BARS, CLIENT, DRAFT, LOT, SETTLEMENT, D, asked, terms

from settle.books import personal
from settle.books.work import THE_COMMAND
from settle.reckoning.problems import Refused


def test_a_frozen_lot_says_so_and_why_until_it_is_released(at: Any) -> None:
    desk = at("received")
    assert desk.freeze(LOT)["frozen"] is True
    order = [e["data"] for e in desk.get(f"/v1/lots/{LOT}")["entries"] if e["kind"] == "freeze"]
    assert order == [{"by": "the court", "reason": "stolen goods", "reference": "77/26"}]
    assert desk.release(LOT)["frozen"] is False
    desk.melt(LOT, D["melt_weight"]["amount"])


def test_only_an_owner_freezes_and_releases(at: Any, keys: dict[str, str]) -> None:
    desk = at("received")
    worker = desk.with_key(keys["work"])
    assert worker.refused.freeze(LOT).status == 403
    desk.freeze(LOT)
    assert worker.refused.release(LOT).status == 403


def test_a_lot_is_frozen_once_and_released_once(at: Any) -> None:
    desk = at("received")
    assert desk.refused.release(LOT).said == (409, "wrong-state", "")
    desk.freeze(LOT)
    assert desk.refused.freeze(LOT).said == (409, "wrong-state", "")
    assert desk.refused.freeze("L-2026-0009").status == 404
    told = desk.refused.post(f"/v1/lots/{LOT}/freeze", {"by": "the court"})
    assert told.faults == {"/reason": "missing", "/reference": "missing"}


@pytest.mark.parametrize(
    ("stage", "does", "pointer"),
    [
        ("received", lambda d: d.melt(LOT, "118.40"), ""),
        ("assayed", lambda d: d.batch(LOT), "/lots/0"),
        ("received", lambda d: d.give_back(LOT), ""),
        ("assayed", lambda d: d.give_back(LOT), ""),
        ("settled", lambda d: d.hand_over(BARS[0], "20.03"), ""),
        ("received", lambda d: d.advance(LOT, "1.00"), ""),
        ("drafted", lambda d: d.settle(DRAFT), ""),
        ("settled", lambda d: d.pay(SETTLEMENT, "1.00"), ""),
    ],
    ids=["melt", "batch", "return", "return once assayed", "handover", "advance", "posting", "payment"],
)
def test_a_freeze_stops_what_would_let_it_go(at: Any, stage: str, does: Any, pointer: str) -> None:
    desk = at(stage)
    desk.freeze(LOT)
    assert does(desk.refused).said == (409, "frozen", pointer)


def test_a_freeze_stops_the_erasure_of_who_the_client_is(at: Any) -> None:
    desk = at("received")
    desk.freeze(LOT)
    books = desk.books
    with pytest.raises(Refused, match="frozen"), books.writing(THE_COMMAND) as work:
        personal.erase(work, CLIENT)
    desk.release(LOT)
    with books.writing(THE_COMMAND) as work:
        assert personal.erase(work, CLIENT) > 0


# lots returned


@pytest.mark.parametrize("stage", ["received", "melted", "assayed"])
def test_a_lot_goes_back_unrefined_and_moves_nothing_in_the_books(at: Any, stage: str) -> None:
    desk = at(stage)
    before = desk.balances()
    assert desk.give_back(LOT)["state"] == "returned"
    assert desk.balances() == before
    assert [row["state"] for row in desk.listed("/v1/lots")] == ["returned"]


def test_who_took_it_stands_among_the_personal_data_alone(at: Any) -> None:
    desk = at("received")
    lot = desk.give_back(LOT, who="Cora Carrier")
    assert "Cora" not in str(lot)
    with desk.books.reading() as work:
        assert personal.kept(work, lot["entry"], "return") == {"who": "Cora Carrier"}
    assert desk.refused.post(f"/v1/lots/{LOT}/return", {}).faults == {"/who": "missing"}


@pytest.mark.parametrize(
    "does",
    [
        lambda d: d.melt(LOT, "118.40"),
        lambda d: d.assay(LOT, D["assay"]),
        lambda d: d.batch(LOT),
        lambda d: d.instruct(LOT, silver={"remainder": "shot"}),
        lambda d: d.give_back(LOT),
        lambda d: d.advance(LOT, "1.00"),
        lambda d: d.draft(LOT),
    ],
    ids=["melt", "assay", "batch", "instructions", "return", "advance", "settlement"],
)
def test_nothing_is_done_with_a_lot_that_went_back(at: Any, does: Any) -> None:
    desk = at("melted")
    desk.give_back(LOT)
    refused = does(desk.refused)
    assert (refused.status, refused.kind) == (409, "wrong-state")


@pytest.mark.parametrize("stage", ["in batch", "reconciled"])
def test_a_lot_in_a_batch_does_not_go_back(at: Any, stage: str) -> None:
    assert at(stage).refused.give_back(LOT).said == (409, "wrong-state", "")


def test_a_lot_with_an_advance_does_not_go_back(shop: Desk) -> None:
    shop.terms(terms(name="advancing", advance_share="0.5"))
    quote = shop.quote(asked(client=CLIENT, terms="T-2"))
    shop.accept(quote)
    shop.receive(quote=quote["number"])
    paid = shop.advance(LOT, "100.00")
    refused = shop.refused.give_back(LOT)
    assert (refused.kind, paid["id"] in refused.body["detail"]) == ("something-rests-on-it", True)
    shop.take_advance_back(LOT, paid["id"])
    shop.give_back(LOT)


def test_a_return_by_mistake_is_reversed_and_the_lot_goes_on(at: Any) -> None:
    desk = at("assayed")
    assert desk.refused.reverse(f"lots/{LOT}/return").said == (409, "wrong-state", "")
    desk.give_back(LOT)
    assert desk.reverse(f"lots/{LOT}/return", "another lot was meant")["state"] == "assayed"
    desk.batch(LOT)


# loose shot


@pytest.fixture
def as_shot(at: Any) -> Desk:
    """All that is in no bar is returned loose: 16.846 g of gold and 9.391 g of silver; the client owes."""
    desk: Desk = at("in batch")
    bars = D["instructions"]["gold"]["bars"]
    desk.refine(gold={"bars": bars, "remainder": "shot"}, silver={"remainder": "shot"})
    return desk


def pay_all(desk: Desk) -> None:
    owed = desk.get("/v1/settlements/S-2026-0001")["open"]["amount"]
    desk.pay("S-2026-0001", owed.removeprefix("-"))


def test_shot_is_returned_once_and_leaves_the_stock(as_shot: Desk) -> None:
    pay_all(as_shot)
    gold, silver = (as_shot.balance("house:stock", m) for m in ("gold", "silver"))
    as_shot.give_back(LOT)
    assert as_shot.balance("house:stock", "gold") == gold - 16_846
    assert as_shot.balance("house:stock", "silver") == silver - 9_391
    assert as_shot.balance(f"client:{CLIENT}:shot", "gold") == 0
    assert as_shot.refused.give_back(LOT).said == (409, "wrong-state", "")
    # The lot was refined, and is not itself returned.
    assert as_shot.get(f"/v1/lots/{LOT}")["state"] == "refined"


def test_shot_stays_while_the_client_owes_the_net(as_shot: Desk, keys: dict[str, str]) -> None:
    assert as_shot.refused.give_back(LOT).said == (409, "net-unpaid", "")
    word = {"reason": "he pays on Friday"}
    assert as_shot.with_key(keys["work"]).refused.give_back(LOT, override=word).status == 403
    as_shot.give_back(LOT, override=word)


def test_a_settled_lot_without_shot_has_nothing_to_return(settled: Desk) -> None:
    assert settled.refused.give_back(LOT).said == (409, "wrong-state", "")
