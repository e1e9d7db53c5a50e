"""A lot in which the assay finds none of a metal that was thought to be there."""

from typing import Any

from works import Works, money


def test_a_metal_of_which_nothing_was_found_is_settled_at_nothing_with_the_rest(works: Works) -> None:
    lot = works.lot("40", "0", "100")
    number = works.batch(lot)["number"]
    works.lend(number, "50", fineness="1000")
    works.take_out(number, "silver", "53", "1000")
    works.close(number)
    settled = works.settled(lot)
    gold: Any = settled["cases"]["final"]["metals"]["gold"]
    assert (gold["fine"], gold["recovered"], gold["accountable"]) == ({"g": "0.000"},) * 3
    assert settled["still_to_come"] == []
    assert works.get(f"/v1/lots/{lot}")["settled_metals"] == ["gold", "silver"]


def test_it_waits_for_the_metals_that_are_there(works: Works) -> None:
    lot = works.lot("40", "0", "100")
    works.batch(lot)
    refused = works.refused.draft(lot)
    assert (refused.kind, refused.body["errors"][0]["wrong"]) == (
        "metal-not-closed",
        f"silver of {lot} not closed yet",
    )


def test_where_nothing_was_found_at_all_the_charges_are_owed(works: Works) -> None:
    lot = works.lot("40", "0", "0")
    settled = works.settled(lot)
    assert settled["net"] == money("-24.00")
    assert {m["accountable"]["g"] for m in settled["cases"]["final"]["metals"].values()} == {"0.000"}
