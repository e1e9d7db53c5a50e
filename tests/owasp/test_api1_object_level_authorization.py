"""API1:2023 Broken Object Level Authorization (OWASP API Security Top 10, 2023 edition).

Here all documents are one house's, and a key's scopes say which kinds of them it opens. So: a name opens
the thing that it names under the kind that it is of, and no other; what belongs to one document is not
reached through another; a key that may not see a kind can't even learn which numbers are taken; and what
one key was answered is never another key's answer.
"""

from hashlib import sha256
from typing import Any

import pytest
from attacked import STANDING, a_picture, address, operations, read_by_number
from staged import House
from stages import CLIENT, LOT, QUOTE, SETTLEMENT, asked, gold_only, scrap

WORD = {"who": "Ann Other", "how": "in_person"}
MANGLED = (
    "{lower}", "{name}%20", "%20{name}", "{name}%00", "{name}%0a", "{short}", "{name}%25", "%25", "_", "*",
    "{name}'--", "{name}%2f..", "..%2f{name}", "%2e%2e", "0", "-1", "null", "{wide}",
)  # fmt: skip


def test_a_name_of_another_kind_opens_nothing(standing: House) -> None:
    reached = 0
    for before, after in read_by_number(standing):
        kind = before.split("/")[2]
        assert standing.till.ask("GET", before + STANDING[kind] + after).status_code == 200, before + after
        for other, name in STANDING.items():
            if other != kind:
                answer = standing.till.ask("GET", before + name + after)
                assert (answer.status_code, answer.json["type"]) == (404, "/problems/not-found"), (
                    before + name
                )
                reached += 1
    assert reached > 100


def test_only_the_whole_name_opens(standing: House) -> None:
    for before, after in read_by_number(standing):
        name = STANDING[before.split("/")[2]]
        forms = {
            "name": name,
            "lower": name.lower(),
            "short": name[:-1],
            "wide": name.replace("1", "%EF%BC%91"),
        }
        for mangled in MANGLED:
            answer = standing.till.ask("GET", before + mangled.format(**forms) + after)
            assert answer.status_code in (400, 404), before + mangled + after


@pytest.fixture
def two(house: House) -> House:
    """A second client, a second lot of theirs, settled on its assay, and something of each lot's own."""
    till = house.till
    other = till.client("Bea Other")["id"]
    terms = till.terms(gold_only(name="on assay", advance_share="0.5"))["number"]
    lot = till.receive(client=other, terms=terms, items=[scrap()], acceptance=WORD)["number"]
    till.melt(lot, "99.50")
    till.assay(lot, {"gold": "499"})
    assert till.settle(till.draft(lot)["id"])["number"] == "S-2026-0002"
    return house


def pay(house: House, settlement: str) -> str:
    body = {"amount": {"amount": "1.00", "currency": "GBP"}, "paid_in": "transfer"}
    return str(house.till.post(f"/v1/settlements/{settlement}/payments", body)["id"])


def test_a_payment_is_not_reached_through_another_settlement(two: House) -> None:
    payment = pay(two, SETTLEMENT)
    path = f"/v1/settlements/S-2026-0002/payments/{payment}/reversal"
    assert two.till.refused.post(path, {"reason": "a try"}).status == 404
    assert two.till.get("/v1/settlements/S-2026-0002/payments")["items"] == []
    assert two.till.post(f"/v1/settlements/{SETTLEMENT}/payments/{payment}/reversal", {"reason": "a slip"})


def test_a_photograph_is_not_reached_through_another_lot(two: House) -> None:
    made = two.till.ask("POST", f"/v1/lots/{LOT}/photographs", a_picture(), media="image/png").json
    assert two.till.ask("GET", f"/v1/lots/{LOT}/photographs/{made['id']}").status_code == 200
    assert two.till.ask("GET", f"/v1/lots/L-2026-0002/photographs/{made['id']}").status_code == 404
    assert two.till.get("/v1/lots/L-2026-0002/photographs")["items"] == []


def test_a_delivery_is_not_replayed_through_another_hook(two: House) -> None:
    hooks = [two.till.post("/v1/hooks", {"url": f"https://{n}.example/"})["id"] for n in ("one", "two")]
    two.till.prices(gold="61")
    for hook, other in (hooks, hooks[::-1]):
        (delivery,) = two.till.listed(f"/v1/hooks/{hook}/deliveries")
        path = f"/v1/hooks/{other}/deliveries/{delivery['id']}/replay"
        assert two.till.refused.post(path).status == 404


def test_the_documents_of_one_client_name_no_other(two: House) -> None:
    assert {row["client"] for row in two.till.listed("/v1/lots?client=C-2")} == {"C-2"}
    of_the_other = (
        "clients/C-2",
        "clients/C-2/account",
        "settlements/S-2026-0002",
        "lots/L-2026-0002/assays",
    )
    for path in (*of_the_other, "quotes?client=C-2", "lots?client=C-2", "settlements?client=C-2"):
        text = two.till.ask("GET", f"/v1/{path}").get_data(as_text=True)
        assert [name for name in (f'"{CLIENT}"', LOT, QUOTE, SETTLEMENT) if name in text] == [], path


@pytest.mark.parametrize("scope", ["estimate", None])
def test_who_may_not_see_a_kind_can_not_learn_which_numbers_are_taken(
    standing: House, scope: str | None
) -> None:
    till = standing.as_(scope) if scope else standing.till.with_key("nobody's")
    for before, after in read_by_number(standing):
        there, not_there = (
            till.ask("GET", before + name + after) for name in (STANDING[before.split("/")[2]], "X-2026-9999")
        )
        assert there.status_code == (403 if scope else 401), before
        assert there.get_data() == not_there.get_data(), before
        assert {*there.headers.keys()} == {*not_there.headers.keys()}, before


def test_an_idempotency_key_of_one_access_key_is_nothing_to_another(house: House) -> None:
    def ask(scope: str) -> Any:
        body = {"client": CLIENT, **asked()}
        return house.as_(scope).ask("POST", "/v1/quotes", body, Idempotency_Key="the same")

    first, other, again = ask("owner"), ask("quote"), ask("owner")
    assert first.json["number"] == again.json["number"] != other.json["number"]
    assert "Idempotency-Replayed" not in other.headers


def test_a_repeated_answer_is_not_given_to_who_lost_the_scope(house: House) -> None:
    """Whose key it is and what it may do is looked at first, each time."""
    made = house.till.post("/v1/keys", {"name": "till", "scopes": ["quote"]})
    till = house.till.with_key(made["secret"])
    how = {"Idempotency_Key": "once"}
    assert till.ask("POST", "/v1/quotes", {"client": CLIENT, **asked()}, **how).status_code == 201
    house.till.call("DELETE", made.at)
    assert till.ask("POST", "/v1/quotes", {"client": CLIENT, **asked()}, **how).status_code == 401


def test_no_reading_answer_holds_a_secret_of_a_key_or_a_hook(house: House) -> None:
    hook = house.till.post("/v1/hooks", {"url": "https://till.example/"})
    key = house.till.post("/v1/keys", {"name": "till", "scopes": ["quote"]})
    secrets = [hook["secret"], hook["secret"].removeprefix("whsec_"), key["secret"], *house.keys.values()]
    hashes = [sha256(secret.encode()).hexdigest() for secret in secrets]
    paths = [address(path) for method, path in operations(house) if method == "GET"]
    for path in [*paths, f"/v1/keys/{key['id']}", f"/v1/hooks/{hook['id']}"]:
        text = house.till.ask("GET", path).get_data(as_text=True)
        assert [s for s in (*secrets, *hashes) if s in text] == [], path
