"""What bad input gets: status, type, the pointer of each fault, what would be right; and nothing is kept."""

from copy import deepcopy
from typing import Any

import pytest
from stages import asked, gold_only, scrap
from till import Till, grams, pounds

DIGITS = "9" * 1_000_000
FULL_WIDTH = "３１.４２"


def changed(body: Any, path: str, value: Any) -> Any:
    """A copy of a body with one member set, or left out where the value is None."""
    body = deepcopy(body)
    *steps, last = [int(s) if s.isdigit() else s for s in path.split("/")]
    at = body
    for step in steps:
        at = at.setdefault(step, {}) if isinstance(at, dict) else at[step]
    if value is None:
        del at[last]
    else:
        at[last] = value
    return body


GROSS, WEIGHT, KARAT = "items/0/gross", "items/0/gross/amount", "items/0/karat"
HAPPENS_TO_BE_SILVER = {"gold": "500.1", "silver": "500"}
FOUR = "one of gold, silver, platinum, palladium"

HERE = ""  # the fault stands where the wrong value was set
BAR_LINE = "instructions/gold/bars/0"
STEEL = "items/0/deductions/0/weight"
# An item of which the fineness is still to be said.
UNSAID = {"evidence": "hallmark", "gross": grams("3.2")}

# what is set in a good body: kind of the fault, its pointer, part of what would be right
ONE_FAULT = [
    # units (A1)
    ("items/0/gross/unit", "oz", "ambiguous-unit", HERE, '"ozt" or "oz_av"'),
    ("items/0/gross/unit", "gr", "ambiguous-unit", HERE, '"g" or "grain"'),
    ("items/0/gross/unit", "lb", "ambiguous-unit", HERE, '"lb_av"'),
    ("items/0/gross/unit", "stone", "unknown-unit", HERE, "grain"),
    (f"{STEEL}/unit", "oz", "ambiguous-unit", HERE, "ozt"),
    ("prices/gold", pounds("61.20", "oz"), "ambiguous-unit", "/prices/gold/per", '"ozt"'),
    ("prices/gold", pounds("61.20", "grain"), "unknown-unit", "/prices/gold/per", "dwt"),
    (f"{BAR_LINE}/nominal/unit", "oz", "ambiguous-unit", HERE, "ozt"),
    # weights (B1)
    (WEIGHT, "-1", "weight-not-positive", HERE, "above zero"),
    (WEIGHT, "0", "weight-not-positive", HERE, "above zero"),
    (WEIGHT, "0.000", "weight-not-positive", HERE, "above zero"),
    (f"{STEEL}/amount", "0", "weight-not-positive", HERE, "above"),
    (f"{STEEL}/amount", "31.42", "deductions-reach-gross", "/items/0/deductions", "below the gross"),
    (f"{STEEL}/amount", "99", "deductions-reach-gross", "/items/0/deductions", "below the gross"),
    (GROSS, None, "missing", HERE, "a weight such as"),
    (GROSS, "31.42 g", "wrong-type", HERE, "object"),
    # fineness (B2)
    (KARAT, "24.1", "karat-above-24", HERE, "24"),
    (KARAT, "999", "karat-above-24", HERE, "24"),
    ("items/0/fineness", "375", "two-finenesses", HERE, "exactly one"),
    ("items/3/karat", "14", "two-finenesses", "/items/3/composition", "exactly one"),
    (KARAT, None, "no-fineness", "/items/0", "karat, fineness or composition"),
    ("items/3/composition", {"gold": "100.1"}, "fineness-above-1000", "/items/3/composition/gold", "100"),
    ("items/3/composition", {"gold": "60", "silver": "41"}, "fineness-above-1000", HERE, "1000"),
    ("items/3/in", None, "looks-like-percent", "/items/3/composition", "percent"),
    ("items/3/composition", {}, "missing", HERE, "gold"),
    ("items/0", {**UNSAID, "fineness": "0.750"}, "looks-like-percent", "/items/0/fineness", "permille"),
    ("items/0", {**UNSAID, "fineness": "75"}, "looks-like-percent", "/items/0/fineness", "permille"),
    ("items/0", {**UNSAID, "fineness": "570", "stamped": "750"}, "contradiction", "/items/0/fineness", "in"),
    ("items/0", {**UNSAID, "karat": "8", "stamped": "18K"}, "contradiction", "/items/0/karat", "permille"),
    ("items/0", {**UNSAID, "fineness": "58.5", "in": "percent"}, "contradiction", "/items/0/in", "permille"),
    ("items/0", {**UNSAID, "karat": "18", "in": "permille"}, "contradiction", "/items/0/in", "leave it out"),
    ("items/2/filled_part", "1/0", "not-a-decimal", HERE, "1/20"),
    ("items/2/filled_part", "1.01", "out-of-range", HERE, "up to 1"),
    # figures (A7)
    (WEIGHT, 31.42, "not-a-decimal", HERE, "decimal string"),
    (WEIGHT, 31, "not-a-decimal", HERE, "decimal string"),
    (WEIGHT, True, "not-a-decimal", HERE, "decimal string"),
    (WEIGHT, "NaN", "not-a-decimal", HERE, "decimal string"),
    (WEIGHT, "Infinity", "not-a-decimal", HERE, "decimal string"),
    (WEIGHT, "1e5", "not-a-decimal", HERE, "exponent"),
    (WEIGHT, FULL_WIDTH, "not-a-decimal", HERE, "other digits"),
    (WEIGHT, "٣١", "not-a-decimal", HERE, "other digits"),
    (WEIGHT, "12,5", "not-a-decimal", HERE, "decimal string"),
    (WEIGHT, " 5", "not-a-decimal", HERE, "space"),
    (WEIGHT, "5\n", "not-a-decimal", HERE, "space"),
    (WEIGHT, "1_0", "not-a-decimal", HERE, "decimal string"),
    (WEIGHT, "+5", "not-a-decimal", HERE, "no sign"),
    (WEIGHT, "05", "not-a-decimal", HERE, "decimal string"),
    (WEIGHT, ".5", "not-a-decimal", HERE, "decimal string"),
    (WEIGHT, "1.0000000001", "not-a-decimal", HERE, "at most 9"),
    (WEIGHT, "1234567890123", "not-a-decimal", HERE, "up to 12 digits"),
    pytest.param(WEIGHT, DIGITS, "not-a-decimal", HERE, "up to 12 digits", id="a million digits"),
    (KARAT, 9, "not-a-decimal", HERE, "decimal string"),
    ("items/0/count", "1", "wrong-type", HERE, "whole number"),
    ("items/0/count", 1.0, "wrong-type", HERE, "whole number"),
    ("items/0/count", 0, "out-of-range", HERE, "from 1"),
    # words
    ("items/0/evidence", "hearsay", "unknown-evidence", HERE, "hallmark"),
    ("items/0/evidence", None, "missing", HERE, "text"),
    ("items/0/metal", "copper", "not-one-of", HERE, FOUR),
    ("items/3/composition/copper", "10", "unknown-metal", HERE, FOUR),
    ("items/0/colour", "blue", "not-one-of", HERE, "rose"),
    ("items/0/scale", "kitchen", "unknown-scale", HERE, "counter"),
    ("items/0/weight", grams("1"), "unknown-field", HERE, "leave it out"),
    ("items", [], "missing", HERE, "1 to 500"),
    # wishes (E1, E3)
    ("instructions/copper", {"remainder": "shot"}, "unknown-metal", HERE, "gold, silver"),
    ("instructions/gold/remainder", "keep", "not-one-of", HERE, "shot"),
    (f"{BAR_LINE}/count", "all", "not-one-of", HERE, "whole"),
    (f"{BAR_LINE}/count", 1001, "out-of-range", HERE, "1000"),
    (f"{BAR_LINE}/fineness", "1000.1", "fineness-above-1000", HERE, "1000"),
    (f"{BAR_LINE}/top_up", True, "contradiction", HERE, "a number"),
    # prices (D5)
    ("prices/gold", pounds("61.20", currency="USD"), "other-currency", "/prices/gold/currency", "GBP"),
    ("prices/gold", pounds("61.20", currency="GBX"), "unknown-currency", "/prices/gold/currency", "GBP"),
    ("prices/gold", pounds("-61.20"), "not-a-decimal", "/prices/gold/amount", "no sign"),
    ("prices/platinum", pounds("28"), "unknown-metal", HERE, "gold, silver"),
    ("prices/silver", pounds("0.74"), "price-missing", "/prices/gold", "a price of gold in GBP"),
    # what it names
    ("client", "C-9", "unknown-reference", HERE, "the id of a client"),
    ("terms", "T-9", "unknown-reference", HERE, "T-1"),
    ("terms", 1, "wrong-type", HERE, "text"),
]


@pytest.mark.parametrize(("path", "value", "kind", "pointer", "right"), ONE_FAULT)
def test_a_quote_with_one_fault_hears_of_it_and_is_not_kept(
    standing: Any, path: str, value: Any, kind: str, pointer: str, right: str
) -> None:
    refusal = standing("opened").refused.quote(changed(asked(), path, value))
    at = pointer or f"/{path}"
    assert (refusal.status, refusal.kind) == (422, "invalid-body")
    assert refusal.faults == {at: kind}
    assert right in refusal.rights[at]


@pytest.mark.parametrize("verb", ["estimate", "quote", "buy", "receive"])
def test_items_are_read_alike_wherever_they_are_given(standing: Any, verb: str) -> None:
    items = changed(changed(asked()["items"], "0/gross/unit", "oz"), "1/karat", "25")
    body: dict[str, Any] = {"items": items}
    body |= {"client": "C-1"} if verb != "estimate" else {}
    body |= {"paid_in": "cash", "terms": "T-1"} if verb == "buy" else {}
    till = standing("opened").refused
    refusal = till.receive(**body) if verb == "receive" else getattr(till, verb)(body)
    assert refusal.faults == {"/items/0/gross/unit": "ambiguous-unit", "/items/1/karat": "karat-above-24"}


def test_all_faults_of_one_body_are_told_at_once(standing: Any) -> None:
    body = {
        "terms": "T-1",
        "client": "C-9",
        "bogus": 1,
        "items": [
            {"evidence": "hallmark", "gross": {"amount": 5, "unit": "oz"}},
            {"evidence": "hearsay", "karat": "25", "fineness": "3", "gross": grams("-1"), "count": 0},
            {"evidence": "xrf", "composition": {"gold": "58", "tin": "1"}, "gross": {}, "metal": "copper"},
        ],
        "prices": {"gold": pounds("1e3", "oz", "USD")},
        "instructions": {
            "gold": {"remainder": "cover_charges"},
            "silver": {"remainder": "cover_charges"},
            "tin": {},
        },
    }
    assert standing("opened").refused.quote(body).faults == {
        "/client": "unknown-reference",
        "/bogus": "unknown-field",
        "/items/0": "no-fineness",
        "/items/0/gross/amount": "not-a-decimal",
        "/items/0/gross/unit": "ambiguous-unit",
        "/items/1/evidence": "unknown-evidence",
        "/items/1/karat": "karat-above-24",
        "/items/1/fineness": "two-finenesses",
        "/items/1/gross/amount": "weight-not-positive",
        "/items/1/count": "out-of-range",
        "/items/2/composition/tin": "unknown-metal",
        "/items/2/gross/amount": "missing",
        "/items/2/gross/unit": "missing",
        "/items/2/metal": "not-one-of",
        "/prices/gold/amount": "not-a-decimal",
        "/prices/gold/per": "ambiguous-unit",
        "/prices/gold/currency": "other-currency",
        "/instructions/silver/remainder": "two-metals-cover",
        "/instructions/tin": "unknown-metal",
    }


def test_a_client_and_terms_that_nobody_knows_are_told_of_together(standing: Any) -> None:
    refusal = standing("opened").refused.quote(asked(client="C-9", terms="T-9"))
    assert refusal.faults == {"/client": "unknown-reference", "/terms": "unknown-reference"}


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("/v1/quotes", asked(client="")),
        ("/v1/lots", {"client": "", "items": []}),
        ("/v1/purchases", {"client": "", "terms": "T-1", "paid_in": "cash", "items": [scrap()]}),
    ],
)
def test_a_client_without_a_name_is_nobody(standing: Any, path: str, body: Any) -> None:
    assert standing("opened").refused.post(path, body).faults["/client"] == "bad-text"


def test_a_bar_is_not_sold_to_nobody(at: Any) -> None:
    shop = at("opened")
    bar = {"kind": "bought", "metal": "gold", "weight": grams("10"), "fineness": "999.9", "mark": "a maker 7"}
    cost = {"cost": {"amount": "600.00", "currency": "GBP"}, "paid_in": "transfer"}
    serial = shop.post("/v1/stock/bars", {**bar, **cost})["serial"]
    body = {"client": "", "terms": "T-1", "paid_in": "transfer"}
    assert shop.refused.post(f"/v1/bars/{serial}/sale", body).said == (422, "invalid-body", "/client")


def test_two_metals_can_not_cover_the_charges(standing: Any) -> None:
    covering = {"remainder": "cover_charges"}
    refusal = standing("opened").refused.quote(asked(instructions={"gold": covering, "silver": covering}))
    assert refusal.faults == {"/instructions/silver/remainder": "two-metals-cover"}
    assert refusal.rights == {"/instructions/silver/remainder": "one metal at most"}


@pytest.mark.parametrize("way", ["fineness", "composition"])
def test_a_fineness_above_1000_is_refused_however_it_is_given(standing: Any, way: str) -> None:
    given = {"fineness": "1000.1"} if way == "fineness" else {"composition": HAPPENS_TO_BE_SILVER}
    item = {"evidence": "xrf", "gross": grams("10"), **given}
    assert standing("opened").refused.quote({"items": [item]}).faults == {
        f"/items/0/{way}": "fineness-above-1000"
    }


@pytest.mark.parametrize(
    ("verb", "item"),
    [
        pytest.param("estimate", scrap(), id="estimate"),
        pytest.param("quote", scrap(), id="quote"),
    ],
)
def test_a_metal_that_must_be_paid_needs_a_price(at: Any, verb: str, item: dict[str, Any]) -> None:
    till = at("empty")
    till.terms(gold_only(public=True))
    refusal = getattr(till.refused, verb)({"items": [item]})
    assert refusal.said == (422, "invalid-body", "/prices/gold")
    assert refusal.rights == {"/prices/gold": "a price of gold in GBP, entered or given"}


# bodies that are not read at all

DEEP = b'{"items": ' + b"[" * 30 + b"]" * 30 + b"}"
WILD = b"[" * 100_000 + b"]" * 100_000


@pytest.mark.parametrize(
    ("raw", "status", "kind", "pointer"),
    [
        (b'{"items": [], "items": []}', 400, "duplicate-key", "/items"),
        (b'{"items": [{"gross": {"unit": "g", "unit": "oz"}}]}', 400, "duplicate-key", "/items/0/gross/unit"),
        pytest.param(DEEP, 400, "nested-too-deep", "", id="deep"),
        pytest.param(WILD, 400, "nested-too-deep", "", id="wild"),
        (b'{"items": [}', 400, "unparsable-body", ""),
        (b"\xff\xfe{}", 400, "unparsable-body", ""),
        (b"", 400, "unparsable-body", ""),
        (b"[]", 422, "invalid-body", ""),
        (b"null", 422, "invalid-body", ""),
    ],
)
def test_a_body_that_cannot_be_read_is_refused_whole(
    standing: Any, raw: bytes, status: int, kind: str, pointer: str
) -> None:
    refusal = standing("opened").refused.quote(raw)
    assert (refusal.status, refusal.kind) == (status, kind)
    assert pointer in refusal.faults or not pointer


@pytest.mark.parametrize(
    "number",
    [
        pytest.param(b"NaN", id="NaN"),
        pytest.param(b"-Infinity", id="infinity"),
        pytest.param(b"1e5", id="exponent"),
        pytest.param(b"1e400", id="beyond a float"),
        pytest.param(b"9" * 900_000, id="very many digits"),
        pytest.param(b"0." + b"3" * 900_000, id="very many places"),
    ],
)
def test_a_json_number_is_no_weight_whatever_its_size(standing: Any, number: bytes) -> None:
    gross = b'{"amount": ' + number + b', "unit": "g"}'
    body = b'{"items": [{"evidence": "xrf", "fineness": "585", "gross": ' + gross + b"}]}"
    refusal = standing("opened").refused.quote(body)
    assert refusal.said == (422, "invalid-body", "/items/0/gross/amount")


@pytest.mark.parametrize(
    ("media", "sent", "status", "kind"),
    [
        ("text/plain", {}, 415, "unsupported-media-type"),
        ("application/json", {"Authorization": None}, 401, "unauthorized"),
        ("application/json", {"Idempotency_Key": "x" * 256}, 400, "bad-request"),
    ],
)
def test_what_is_wrong_with_the_request_goes_before_its_body(
    standing: Any, media: str, sent: dict[str, Any], status: int, kind: str
) -> None:
    refusal = standing("opened").refused.sent("POST", "/v1/quotes", b"{}", media=media, **sent)
    assert refusal.said == (status, kind, "")


def test_a_body_above_the_limit_is_413(standing: Any) -> None:
    refusal = standing("opened").refused.quote(b'{"items": "' + b"x" * 2**20 + b'"}')
    assert refusal.said == (413, "body-too-large", "")


def test_every_kind_of_fault_says_what_would_be_right_and_its_type_can_be_looked_up(standing: Any) -> None:
    till: Till = standing("opened")
    for case in ONE_FAULT:
        path, value, kind, *_ = getattr(case, "values", case)
        for fault in till.refused.quote(changed(asked(), path, value)).body["errors"]:
            assert all(fault[part] for part in ("wrong", "right", "type", "pointer"))
            assert till.get(fault["type"])["status"] == 422, kind


@pytest.mark.parametrize("sent", [{"reason": "the client left"}, [], b"the client left"])
def test_a_body_that_a_call_does_not_read_is_refused_and_not_dropped(standing: Any, sent: Any) -> None:
    till, path = standing("quoted"), "/v1/quotes/Q-2026-0001"
    refusal = till.refused.sent("POST", f"{path}/withdrawal", sent, If_Match=till.get(path).etag)
    assert refusal.said == (400, "bad-request", "")
    assert refusal.body["detail"] == "this call takes no body; leave the body out"


def test_an_empty_object_is_no_body_to_a_call_that_reads_none(at: Any) -> None:
    till, path = at("quoted"), "/v1/quotes/Q-2026-0001"
    answer = till.ask("POST", f"{path}/withdrawal", {}, If_Match=till.get(path).etag)
    assert (answer.status_code, answer.json["state"]) == (201, "withdrawn")
