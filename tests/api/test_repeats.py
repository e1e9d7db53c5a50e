"""The same request is worked once: every call that keeps something answers its repetition as it did first."""

from dataclasses import dataclass, replace
from typing import Any

import pytest
from stages import BATCH, CLIENT, DRAFT, LOT, QUOTE, asked, gold_only, scrap, terms
from test_refused_input import changed
from till import BY_DIFFERENCE, Till, everything, grams, pounds

WORD = {"who": "Ann Other", "how": "in_person"}


@dataclass(frozen=True)
class Call:
    """A call that keeps something: at which stage it works, with what, and what differs in another body."""

    route: str
    stage: str
    path: str
    body: Any
    other: Any
    pointer: str
    demanded: bool = False
    seen: str | None = None

    @property
    def method(self) -> str:
        return self.route.split()[0]


L, B, Q = f"/v1/lots/{LOT}", f"/v1/batches/{BATCH}", f"/v1/quotes/{QUOTE}"
ACCEPTANCE, WITHDRAWAL = f"{Q}/acceptance", f"{Q}/withdrawal"
RECONCILIATION, POSTING = f"{B}/reconciliation", f"/v1/settlements/{DRAFT}/posting"
A_CLIENT, A_DRAFT = f"/v1/clients/{CLIENT}", f"/v1/settlements/{DRAFT}"
COUNTER = {"gold": {"settle_on": "counter", "accountable": "1", "payout_rate": "1"}}

SCALE = {"name": "a", "division": grams("0.1")}
MOULD = {"name": "a", "nominal": grams("5"), "scale": "counter"}
PRICES = {"prices": {"gold": pounds("61")}}
STOCK = {"kind": "opening", "metals": [{"metal": "gold", "weight": grams("1"), "fineness": "999"}]}
OFFER = {"client": CLIENT, "terms": "T-2", "paid_in": "cash", "items": [scrap()]}
WISHES = {"instructions": {"gold": {"remainder": "shot"}}}
ASSAY = {"party": "house", "method": "xrf", "finenesses": {"gold": {"fineness": "489.6"}}}
WEIGHT = {"weight": grams("10.00")}
OUT = {"metal": "gold", "weight": grams("57.71"), "assay": {"fineness": "999.97", **BY_DIFFERENCE}}
POUR = {"lot": LOT, "metal": "gold", "reading": grams("20.03")}


def call(route: str, stage: str, path: str, body: Any, pointer: str, value: Any, **more: Any) -> Call:
    """A call whose other body is the first with the value at the pointer set."""
    return Call(route, stage, path, body, changed(body or {}, pointer[1:], value), pointer, **more)


# route, stage, address, body, and where another body has which other value
CALLS = [
    call("POST /v1/scales", "opened", "/v1/scales", SCALE, "/division/amount", "0.2"),
    call("POST /v1/moulds", "opened", "/v1/moulds", MOULD, "/nominal/unit", "dwt"),
    call("POST /v1/prices", "opened", "/v1/prices", PRICES, "/prices/gold/amount", "61.0"),
    call("POST /v1/terms", "opened", "/v1/terms", terms(), "/public", False),
    call("POST /v1/stock", "opened", "/v1/stock", STOCK, "/metals/0/fineness", "999.0"),
    call("POST /v1/clients", "opened", "/v1/clients", {"name": "Ben"}, "/note", ""),
    call("PATCH /v1/clients/<client>", "opened", A_CLIENT, {"name": "Ben"}, "/name", "Bea", seen=A_CLIENT),
    call("POST /v1/quotes", "opened", "/v1/quotes", asked(), "/cash", True),
    call("POST /v1/quotes/<number>/acceptance", "quoted", ACCEPTANCE, WORD, "/how", "letter", seen=Q),
    call("POST /v1/quotes/<number>/withdrawal", "quoted", WITHDRAWAL, None, "/why", "x", seen=Q),
    call("POST /v1/purchases", "opened", "/v1/purchases", OFFER, "/paid_in", "transfer", demanded=True),
    call("POST /v1/lots", "accepted", "/v1/lots", {"quote": QUOTE}, "/carrier", "x"),
    call("POST /v1/lots/<number>/instructions", "received", f"{L}/instructions", WISHES, "/acceptance", {}),
    call("POST /v1/lots/<number>/melt", "received", f"{L}/melt", WEIGHT, "/weight/amount", "10.0"),
    call("POST /v1/lots/<number>/assays", "melted", f"{L}/assays", ASSAY, "/method", "icp"),
    call("POST /v1/batches", "assayed", "/v1/batches", {"lots": [LOT]}, "/lots/0", "L-9"),
    call("POST /v1/batches/<number>/silver-loans", "in batch", f"{B}/silver-loans", WEIGHT, "/u", "1",
         demanded=True),
    call("POST /v1/batches/<number>/outturns", "lent", f"{B}/outturns", OUT, "/metal", "silver"),
    call("POST /v1/bars", "out", "/v1/bars", POUR, "/line", 0),
    call("POST /v1/batches/<number>/reconciliation", "poured", RECONCILIATION, {}, "/metals", ["gold"],
         demanded=True, seen=RECONCILIATION),
    call("POST /v1/settlements", "drafted", "/v1/settlements", {"lot": LOT}, "/cash", False),
    call("POST /v1/settlements/<name>/posting", "drafted", POSTING, None, "/now", True,
         demanded=True, seen=A_DRAFT),
]  # fmt: skip
# They keep nothing, so there is nothing to repeat.
ONLY_ANSWERS = {
    ("/v1/estimates", "post"),
    ("/v1/pour-plans", "post"),
    ("/v1/silver-credits/comparison", "post"),
    ("/v1/certificate-checks", "post"),
}

each_call = pytest.mark.parametrize("call", [pytest.param(call, id=call.route) for call in CALLS])


@dataclass
class Asking:
    """A call at its stage: it is sent with the ETag that was seen before it, as often as is wanted."""

    till: Till
    call: Call
    etag: str | None

    def send(self, key: str | None, body: Any = None) -> Any:
        sent = self.call.body if body is None else body
        return self.till.ask(self.call.method, self.call.path, sent, Idempotency_Key=key, If_Match=self.etag)


@pytest.fixture
def asking(at: Any, call: Call) -> Asking:
    till = at(call.stage)
    if call.path == "/v1/purchases":
        till.terms(gold_only(metals=COUNTER))
    if call.path == ACCEPTANCE:
        shown = {"hash": till.get(Q)["hash"]}
        call = replace(call, body={**call.body, **shown}, other={**call.other, **shown})
    return Asking(till, call, call.seen and till.get(call.seen).etag)


def test_every_post_that_keeps_something_takes_a_key(standing: Any) -> None:
    paths = standing("empty").get("/openapi.json")["paths"]
    posts = {(path, "post"): methods["post"] for path, methods in paths.items() if "post" in methods}
    taking = {
        of
        for of, post in posts.items()
        if "Idempotency-Key" in {p["name"] for p in post.get("parameters", [])}
    }
    assert set(posts) - taking <= ONLY_ANSWERS
    assert not taking & ONLY_ANSWERS


@each_call
def test_the_same_key_and_body_get_the_first_answer_again_and_keep_nothing_more(asking: Asking) -> None:
    first = asking.send("once")
    assert first.status_code in (200, 201), first.json
    assert "Idempotency-Replayed" not in first.headers
    kept = everything(asking.till.file)
    again = asking.send("once")
    assert (again.status_code, again.data) == (first.status_code, first.data)
    assert again.headers["Idempotency-Replayed"] == "true"
    assert [again.headers.get(h) for h in ("ETag", "Location")] == [
        first.headers.get(h) for h in ("ETag", "Location")
    ]
    assert everything(asking.till.file) == kept


@each_call
def test_another_body_under_the_same_key_is_refused_and_the_field_named(asking: Asking) -> None:
    asking.send("once")
    kept = everything(asking.till.file)
    answer = asking.send("once", asking.call.other)
    assert (answer.status_code, answer.json["type"]) == (422, "/problems/idempotency-key-reused")
    assert [e["pointer"] for e in answer.json["errors"]] == [asking.call.pointer]
    assert everything(asking.till.file) == kept


@each_call
def test_the_key_is_demanded_where_money_or_metal_moves_for_good_and_nowhere_else(asking: Asking) -> None:
    answer = asking.send(None)
    if asking.call.demanded:
        assert (answer.status_code, answer.json["type"]) == (400, "/problems/idempotency-key-missing")
    else:
        assert answer.status_code in (200, 201)


@pytest.mark.parametrize("call", [c for c in CALLS if c.route == "POST /v1/quotes"])
def test_a_refusal_is_not_kept_under_its_key(asking: Asking) -> None:
    assert asking.send("once", asked(terms="T-9")).status_code == 422
    assert asking.send("once").status_code == 201


@pytest.mark.parametrize("call", [c for c in CALLS if c.route == "POST /v1/clients"])
def test_a_key_is_remembered_for_a_day_at_least(asking: Asking, clock: Any) -> None:
    first = asking.send("once")
    clock.move(hours=24)
    assert asking.send("once").data == first.data


@pytest.mark.parametrize("call", [c for c in CALLS if c.route == "POST /v1/clients"])
def test_each_access_key_has_keys_of_its_own(asking: Asking, keys: dict[str, str]) -> None:
    first = asking.send("once")
    clerk = Asking(asking.till.with_key(keys["quote"]), asking.call, None)
    assert clerk.send("once").json["id"] != first.json["id"]
