"""One changes and posts what one saw: ETag and If-Match."""

from typing import Any

import pytest
from stages import BATCH, CLIENT, DRAFT, LOT, QUOTE, SETTLEMENT, gold_only, scrap
from till import Till

COUNTER = {"settle_on": "counter", "accountable": "1", "payout_rate": "1"}
WORD = {"who": "Ann Other", "how": "in_person", "hash": "0"}
# stage, method, path, body, what is looked at
GUARDED = [
    ("quoted", "POST", f"/v1/quotes/{QUOTE}/acceptance", WORD, f"/v1/quotes/{QUOTE}"),
    ("quoted", "POST", f"/v1/quotes/{QUOTE}/withdrawal", None, f"/v1/quotes/{QUOTE}"),
    ("opened", "PATCH", f"/v1/clients/{CLIENT}", {"name": "Ben"}, f"/v1/clients/{CLIENT}"),
    ("poured", "POST", f"/v1/batches/{BATCH}/reconciliation", {}, f"/v1/batches/{BATCH}/reconciliation"),
    ("drafted", "POST", f"/v1/settlements/{DRAFT}/posting", None, f"/v1/settlements/{DRAFT}"),
]
guarded = pytest.mark.parametrize(
    ("stage", "method", "path", "body", "seen"),
    [pytest.param(*row, id=f"{row[1]} {row[2]}") for row in GUARDED],
)


@guarded
@pytest.mark.parametrize("tag", [None, "", "*"])
def test_without_an_etag_that_was_seen_it_is_428(
    standing: Any, stage: str, method: str, path: str, body: Any, seen: str, tag: str | None
) -> None:
    refusal = standing(stage).refused.sent(method, path, body, If_Match=tag)
    assert refusal.said == (428, "precondition-required", "")
    assert standing(stage).get(seen).etag


@guarded
@pytest.mark.parametrize("tag", ['"0"', '"99"', 'W/"1"', "nonsense"])
def test_with_an_etag_of_another_version_it_is_412(
    standing: Any, stage: str, method: str, path: str, body: Any, seen: str, tag: str
) -> None:
    refusal = standing(stage).refused.sent(method, path, body, If_Match=tag)
    assert refusal.said == (412, "changed-since-seen", "")
    assert standing(stage).get(seen).etag.strip('"') in refusal.body["detail"]


def test_an_etag_that_was_made_weak_on_the_way_and_a_star_are_told_apart_from_a_change(standing: Any) -> None:
    # RFC 9110, 8.8.1 and 13.1.1: what compresses an answer makes its ETag weak, and If-Match takes strong ones.
    till, path = standing("opened"), f"/v1/clients/{CLIENT}"
    etag = till.get(path).etag
    weak = till.refused.sent("PATCH", path, {"name": "Ben"}, If_Match=f"W/{etag}")
    assert (weak.status, weak.body["detail"].split(";")[0]) == (412, f"W/{etag} is weak and matches nothing")
    star = till.refused.sent("PATCH", path, {"name": "Ben"}, If_Match="*")
    assert (star.status, star.body["detail"].split(";")[0]) == (428, "If-Match: * names no version")


@pytest.mark.parametrize(
    ("stage", "path", "seen"),
    [
        ("settled", f"/v1/settlements/{SETTLEMENT}/reversal", f"/v1/settlements/{SETTLEMENT}"),
        ("reconciled", f"/v1/batches/{BATCH}/reconciliation/reversal", f"/v1/batches/{BATCH}/reconciliation"),
        ("poured", "/v1/bars/BAR-2026-0001/withdrawal", "/v1/bars/BAR-2026-0001"),
    ],
)
def test_a_reversal_answers_the_etag_of_what_it_left(at: Any, stage: str, path: str, seen: str) -> None:
    till: Till = at(stage)
    before = till.get(seen).etag
    answer = till.post(path, {"reason": "a slip"})
    assert answer.etag != before
    assert answer.etag == till.get(seen).etag


@guarded
def test_what_changed_has_another_etag_and_the_old_one_is_void(
    at: Any, stage: str, method: str, path: str, body: Any, seen: str
) -> None:
    till = at(stage)
    before = till.get(seen)
    sent = {**body, "hash": before["hash"]} if body == WORD else body
    answer = till.call(method, path, sent, before.etag)
    after = till.get(seen)
    assert after.etag != before.etag
    assert answer.etag == after.etag
    assert till.refused.sent(method, path, sent, If_Match=before.etag).said == (412, "changed-since-seen", "")


@pytest.mark.parametrize(
    "path",
    [
        *(f"/v1/quotes/{QUOTE}", f"/v1/lots/{LOT}", f"/v1/batches/{BATCH}", "/v1/bars/BAR-2026-0001"),
        *(f"/v1/clients/{CLIENT}", f"/v1/settlements/{SETTLEMENT}", f"/v1/batches/{BATCH}/reconciliation"),
    ],
)
def test_who_has_this_version_already_is_told_so(standing: Any, path: str) -> None:
    till = standing("settled")
    etag = till.get(path).etag
    again = till.ask("GET", path, If_None_Match=etag)
    assert (again.status_code, again.data, again.headers["ETag"]) == (304, b"", etag)
    assert till.ask("GET", path, If_None_Match='"0"').status_code == 200


def test_a_purchase_and_its_credit_note_have_an_etag_each_of_what_may_change(shop: Till) -> None:
    shop.terms(gold_only(metals={"gold": COUNTER}))
    bought = shop.buy({"client": CLIENT, "terms": "T-2", "paid_in": "cash", "items": [scrap()]})
    path, note = f"/v1/purchases/{bought['number']}", "/v1/credit-notes/N-2026-0001"
    assert bought.etag == shop.get(path).etag
    assert shop.ask("GET", path, If_None_Match=bought.etag).status_code == 304
    back = shop.post(f"{path}/reversal", {"reason": "a slip"})
    assert bought.etag != back.etag == shop.get(path).etag
    assert shop.ask("GET", path, If_None_Match=bought.etag).status_code == 200
    seen = shop.get(note).etag
    assert shop.ask("GET", note, If_None_Match=seen).status_code == 304
    # Who the client is stands on the note as it is known now.
    client = f"/v1/clients/{CLIENT}"
    shop.call("PATCH", client, {"name": "Ann Another"}, shop.get(client).etag)
    again = shop.ask("GET", note, If_None_Match=seen)
    assert (again.status_code, again.json["client"]["name"]) == (200, "Ann Another")


@pytest.mark.parametrize(
    ("stage", "what"),
    [
        pytest.param("lent", lambda t: t.take_out(BATCH, "silver", "125.43", "998"), id="an outturn"),
        pytest.param("out", lambda t: t.lend(BATCH, "1"), id="a loan"),
        pytest.param(
            "poured",
            lambda t: t.melt(LOT, "118.50", corrects=t.entry(LOT, "melt"), reason="misread"),
            id="a corrected melt",
        ),
        pytest.param(
            "poured",
            lambda t: t.assay(LOT, {"gold": "489.5"}, corrects=t.entry(LOT, "assay"), reason="misread"),
            id="a corrected assay",
        ),
    ],
)
def test_a_reconciliation_that_changed_since_it_was_seen_is_not_posted(
    at: Any, stage: str, what: Any
) -> None:
    till: Till = at(stage)
    if stage == "lent":
        till.take_out(BATCH, "gold", "57.71", "999.97", "0.02")
    seen = till.get(f"/v1/batches/{BATCH}/reconciliation").etag
    what(till)
    assert till.refused.reconcile(BATCH, seen=seen).said == (412, "changed-since-seen", "")


@pytest.mark.parametrize(
    ("stage", "what"),
    [
        pytest.param("received", lambda t: t.melt(LOT, "118.40"), id="melted"),
        pytest.param("assayed", lambda t: t.batch(LOT), id="put in a batch"),
        pytest.param("out", lambda t: t.pour(LOT, "20.03"), id="poured"),
        pytest.param("poured", lambda t: t.reconcile(BATCH), id="reconciled"),
        pytest.param("drafted", lambda t: t.settle(DRAFT), id="settled"),
        pytest.param("received", lambda t: t.instruct(LOT, gold={"remainder": "shot"}), id="other wishes"),
    ],
)
def test_a_lot_to_which_something_happened_has_another_etag(at: Any, stage: str, what: Any) -> None:
    till: Till = at(stage)
    before = till.get(f"/v1/lots/{LOT}")
    what(till)
    after = till.get(f"/v1/lots/{LOT}")
    assert after.etag != before.etag


def test_a_change_of_a_client_leaves_the_rest_as_it_was(shop: Till) -> None:
    before = shop.get(f"/v1/clients/{CLIENT}")
    after = shop.call("PATCH", f"/v1/clients/{CLIENT}", {"email": "ann@example.org"}, before.etag)
    assert after == {**before, "email": "ann@example.org"}
