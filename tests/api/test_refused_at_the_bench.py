"""What bad input gets from the owner's desk and at the bench; figures that no book can hold."""

from typing import Any

import pytest
from stages import BATCH, LOT, QUOTE, gold_only, scrap, terms
from test_refused_input import changed
from till import BY_DIFFERENCE, Till, grams, pounds

YES = {"who": "Ann Other", "how": "in_person"}

L, B = f"/v1/lots/{LOT}", f"/v1/batches/{BATCH}"
ASSAYED = {"party": "house", "method": "fire_assay", "finenesses": {"gold": {"fineness": "489.6"}}}
PROVED = {"fineness": "999.97", "u": "0.02", **BY_DIFFERENCE}
CAME_OUT = {"metal": "gold", "weight": grams("57.71"), "assay": PROVED}

# A good entry: the stage at which it is one, where it is sent, its body.
RECEIPT = ("accepted", "/v1/lots", {"quote": QUOTE})
MELT = ("received", f"{L}/melt", {"weight": grams("118.40")})
DRILLED = ("received", f"{L}/melt", {"weight": grams("118.40"), "drillings": {"weight": grams("1")}})
ASSAY = ("melted", f"{L}/assays", ASSAYED)
EXPANDED = (
    "melted",
    f"{L}/assays",
    changed(ASSAYED, "finenesses/gold", {"fineness": "1", "expanded_u": "1", "k": "2"}),
)
BATCHED = ("assayed", "/v1/batches", {"lots": [LOT]})
LOAN = ("in batch", f"{B}/silver-loans", {"weight": grams("10"), "fineness": "999"})
OUT = ("lent", f"{B}/outturns", CAME_OUT)
BAR = ("out", "/v1/bars", {"lot": LOT, "metal": "gold", "reading": grams("20.03")})
DRAFTED = ("drafted", "/v1/settlements", {"lot": LOT})

COPPER, GOLD = "finenesses/copper", "finenesses/gold"
SILVER, RANGE = {"fineness": "510.5"}, "from 20.005 to 20.05"
HERE = ""  # the fault stands where the wrong value was set

# a good entry, what is set in it: kind of the fault, its pointer, part of what would be right
FAULTS = [
    (RECEIPT, "quote", "Q-9", "unknown-reference", HERE, "quote"),
    (RECEIPT, "client", "C-9", "contradiction", HERE, "C-1"),
    (RECEIPT, "terms", "T-9", "contradiction", HERE, "T-1"),
    (RECEIPT, "received", "by owl", "not-one-of", HERE, "carrier"),
    (MELT, "weight/unit", "oz", "ambiguous-unit", HERE, "ozt"),
    (MELT, "weight/amount", "-118.40", "weight-not-positive", HERE, "above zero"),
    (MELT, "weight/amount", 118.4, "not-a-decimal", HERE, "decimal string"),
    (MELT, "scale", "kitchen", "unknown-scale", HERE, "counter"),
    (DRILLED, "drillings/weight/amount", "118.40", "contradiction", "/drillings/weight", "below the melt"),
    (ASSAY, "party", "aunt", "not-one-of", HERE, "house"),
    (ASSAY, "method", "teeth", "not-one-of", HERE, "fire_assay"),
    (ASSAY, "finenesses", {}, "missing", HERE, "gold"),
    (ASSAY, COPPER, {"fineness": "1"}, "unknown-metal", HERE, "one of gold, silver, platinum, palladium"),
    (ASSAY, f"{GOLD}/fineness", "1000.1", "fineness-above-1000", HERE, "1000"),
    (ASSAY, "finenesses/silver", SILVER, "fineness-above-1000", "/finenesses", "1000 at most"),
    (ASSAY, f"{GOLD}/k", "2", "contradiction", HERE, "leave it out"),
    (EXPANDED, f"{GOLD}/k", "0.5", "out-of-range", HERE, "from 1"),
    (BATCHED, "lots", ["L-9"], "unknown-reference", "/lots/0", "number of a lot"),
    (BATCHED, "lots", [], "missing", HERE, "1 to 50"),
    (LOAN, "fineness", "1001", "out-of-range", HERE, "1000"),
    (LOAN, "gold", "2", "fineness-above-1000", HERE, "1000 at most"),
    (OUT, "metal", "copper", "not-one-of", HERE, "palladium"),
    (OUT, "metal", "platinum", "unknown-metal", HERE, "gold, silver"),
    (OUT, "weight/amount", "0", "weight-not-positive", HERE, "above zero"),
    (OUT, "assay", None, "missing", HERE, "object"),
    (OUT, "assay/method", None, "missing", HERE, "one of fire_assay, xrf, icp, titration, difference, other"),
    (OUT, "assay/method", "teeth", "not-one-of", HERE, "fire_assay"),
    (OUT, "assay/report", None, "missing", HERE, "report"),
    (OUT, "assay/report", "", "bad-text", HERE, "1 to 80"),
    (OUT, "assay/fineness", "1000.01", "fineness-above-1000", HERE, "1000"),
    (BAR, "lot", "L-9", "unknown-reference", HERE, "number of a lot"),
    (BAR, "line", 1, "contradiction", HERE, "from 0 to 0"),
    (BAR, "line", "0", "wrong-type", HERE, "0"),
    (BAR, "metal", "silver", "contradiction", "/line", "instructions"),
    (BAR, "outturn", "E-99", "unknown-reference", HERE, "one of E-"),
    (BAR, "reading/amount", "19.99", "bar-under-nominal", "/reading", RANGE),
    (BAR, "reading/amount", "20.00", "bar-under-nominal", "/reading", RANGE),
    (BAR, "reading/amount", "20.06", "bar-over-pour", "/reading", RANGE),
    (DRAFTED, "lot", "L-9", "unknown-reference", HERE, "number of a lot"),
    (DRAFTED, "cash", True, "unknown-field", HERE, "leave it out"),
]


@pytest.mark.parametrize(("good", "field", "value", "kind", "pointer", "right"), FAULTS)
def test_an_entry_with_one_fault_hears_of_it_and_is_not_kept(
    standing: Any, good: tuple[str, str, Any], field: str, value: Any, kind: str, pointer: str, right: str
) -> None:
    stage, path, body = good
    refusal = standing(stage).refused.post(path, changed(body, field, value))
    at = pointer or f"/{field}"
    assert (refusal.status, refusal.kind) == (422, "invalid-body")
    assert refusal.faults == {at: kind}
    assert right in refusal.rights[at]


@pytest.mark.parametrize(
    ("stage", "path", "body"),
    [RECEIPT, MELT, DRILLED, ASSAY, EXPANDED, BATCHED, LOAN, OUT, BAR, DRAFTED],
)
def test_the_same_entry_without_the_fault_is_taken(
    at: Any, stage: str, path: str, body: dict[str, Any]
) -> None:
    assert at(stage).post(path, body).status == 201


def test_a_bar_below_the_fineness_it_was_promised_is_refused(at: Any) -> None:
    till = at("lent")
    till.take_out(BATCH, "gold", "57.71", "999.93", "0.02")
    refusal = till.refused.pour(LOT, "20.03")
    assert (refusal.status, list(refusal.faults.values())) == (422, ["bar-below-promise"])
    (right,) = refusal.rights.values()
    assert "less twice its u" in right


def test_the_pointer_of_a_bar_below_its_promise_names_a_field_that_a_bar_has(at: Any) -> None:
    till = at("lent")
    till.take_out(BATCH, "gold", "57.71", "999.93", "0.02")
    known = till.get("/openapi.json")["components"]["schemas"]["Bar"]["properties"]
    assert {p.split("/")[1] for p in till.refused.pour(LOT, "20.03").faults} <= set(known)


# the owner's desk

RULE = {"settle_on": "assay", "accountable": "1", "payout_rate": "1"}
# what is set in good terms, and the kind of fault that it is
TERMS_FAULTS = [
    ("currency", "GBX", "unknown-currency"),
    ("division/unit", "gr", "ambiguous-unit"),
    ("weight_unit", "oz", "ambiguous-unit"),
    ("metals/copper", RULE, "unknown-metal"),
    ("metals/gold/accountable", "1.1", "out-of-range"),
    ("metals/gold/recovery", None, "missing"),
    ("metals/gold/settle_on", "trust", "not-one-of"),
    ("charges/0/tax", "luxury", "unknown-reference"),
    ("charges/0/per", "oz", "ambiguous-unit"),
    ("charges/2/metal", "platinum", "unknown-metal"),
    ("parting_target", "0", "out-of-range"),
    ("fineness_steps", ["999", "995"], "contradiction"),
    ("quote_valid_for", "1 day", "wrong-type"),
    ("void_if_moved", "2", "out-of-range"),
    ("evidence/hallmark/scatter", "-1", "not-a-decimal"),
    ("evidence/hallmark/bias", 0, "not-a-decimal"),
]


@pytest.mark.parametrize(("field", "value", "kind"), TERMS_FAULTS)
def test_terms_with_one_fault_hear_of_it_and_draw_no_number(
    standing: Any, field: str, value: Any, kind: str
) -> None:
    refusal = standing("opened").refused.terms(changed(terms(), field, value))
    assert (refusal.status, refusal.faults) == (422, {f"/{field}": kind})


def test_all_faults_of_terms_are_told_at_once(standing: Any) -> None:
    # Without a readable settle_on nobody knows whether a recovery is missing.
    together = [fault for fault in TERMS_FAULTS if fault[0] != "metals/gold/settle_on"]
    body = terms()
    for field, value, _ in together:
        body = changed(body, field, value)
    expected = {f"/{field}": kind for field, _, kind in together}
    assert standing("opened").refused.terms(body).faults == expected


SCALE = {"name": "fine", "division": grams("0.001")}
MOULD = {"name": "ten", "nominal": grams("10"), "scale": "counter"}
ROW = {"metal": "silver", "weight": grams("1"), "fineness": "999"}
STOCK = {"kind": "opening", "metals": [ROW]}
PRICES = {"prices": {"gold": pounds("1")}}


@pytest.mark.parametrize(
    ("path", "body", "field", "value", "status", "kind", "pointer"),
    [
        ("scales", SCALE, "division", grams("0"), 422, "weight-not-positive", "/division/amount"),
        ("scales", SCALE, "class", "V", 422, "not-one-of", "/class"),
        ("scales", SCALE, "name", "", 422, "bad-text", "/name"),
        ("scales", SCALE, "name", "counter", 409, "already-exists", "/name"),
        ("scales", {**SCALE, "max": grams("1")}, "min", grams("2"), 422, "contradiction", "/min"),
        ("scales", SCALE, "verified_until", "2026-02-30", 422, "wrong-type", "/verified_until"),
        ("moulds", MOULD, "scale", "kitchen", 422, "unknown-scale", "/scale"),
        ("moulds", MOULD, "over_pour", grams("0.009"), 422, "mould-unreachable", "/over_pour"),
        ("moulds", MOULD, "nominal", grams("10", "oz"), 422, "ambiguous-unit", "/nominal/unit"),
        ("prices", PRICES, "prices/copper", pounds("1"), 422, "unknown-metal", "/prices/copper"),
        ("prices", PRICES, "prices/gold/per", "oz", 422, "ambiguous-unit", "/prices/gold/per"),
        ("prices", PRICES, "prices", {}, 422, "missing", "/prices"),
        ("stock", STOCK, "metals/0/fineness", "1000.1", 422, "out-of-range", "/metals/0/fineness"),
        ("stock", STOCK, "metals/0/metal", "copper", 422, "not-one-of", "/metals/0/metal"),
        ("stock", STOCK, "kind", "bought", 422, "missing", "/cost"),
        ("stock", STOCK, "cost", {"amount": "1", "currency": "GBP"}, 422, "contradiction", "/cost"),
        ("clients", {"name": "Ann"}, "name", "  ", 422, "bad-text", "/name"),
        ("clients", {"name": "Ann"}, "name", "a\x00b", 422, "bad-text", "/name"),
        ("clients", {"name": "Ann"}, "default_terms", "T-9", 422, "unknown-reference", "/default_terms"),
        ("clients", {"name": "Ann"}, "shoe_size", "9", 422, "unknown-field", "/shoe_size"),
    ],
)  # fmt: skip
def test_what_the_owner_enters_is_read_as_strictly(
    standing: Any, path: str, body: Any, field: str, value: Any, status: int, kind: str, pointer: str
) -> None:
    refusal = standing("opened").refused.post(f"/v1/{path}", changed(body, field, value))
    assert (refusal.status, refusal.faults) == (status, {pointer: kind})


def test_a_mould_that_no_reading_can_satisfy_hears_what_would_do(shop: Till) -> None:
    refusal = shop.refused.mould("ten", "10", "0.009", "counter")
    assert refusal.rights == {"/over_pour": "an over-pour of 0.01 g or more, or a finer scale"}
    assert shop.mould("ten", "10", "0.01", "counter").status == 201


def test_two_fields_that_hang_together_are_told_of_together(standing: Any) -> None:
    body = {"kind": "opening", "metals": [{**ROW, "weight": grams("1", "oz"), "fineness": "1001"}], "cost": 5}
    assert set(standing("opened").refused.post("/v1/stock", body).faults) == {
        "/metals/0/weight/unit",
        "/metals/0/fineness",
        "/cost",
    }


# figures and times that no book can hold

MOUNTAIN = grams("999999999999", "kg")


def test_more_metal_than_the_books_can_count_is_refused_and_no_error_of_ours(standing: Any) -> None:
    rows = [{"metal": "gold", "weight": MOUNTAIN, "fineness": "1000"}] * 10
    refusal = standing("opened").refused.post("/v1/stock", {"kind": "opening", "metals": rows})
    assert (refusal.status, refusal.kind) == (422, "invalid-body")


def test_more_money_than_the_books_can_count_is_refused_and_no_error_of_ours(at: Any) -> None:
    till = at("opened")
    on_counter = {"settle_on": "counter", "accountable": "1", "payout_rate": "1"}
    till.terms(gold_only(metals={"gold": on_counter}))
    offer = {"client": "C-1", "terms": "T-2", "paid_in": "transfer", "items": [scrap(gross=MOUNTAIN)]}
    refusal = till.refused.buy({**offer, "prices": {"gold": pounds("999999999999")}})
    assert (refusal.status, refusal.kind) == (422, "invalid-body")


@pytest.mark.parametrize("field", ["quote_valid_for", "price_max_age", "holding_period"])
def test_terms_that_run_past_the_end_of_the_calendar_are_refused(standing: Any, field: str) -> None:
    refusal = standing("opened").refused.terms(gold_only(**{field: "P9999Y"}))
    assert (refusal.status, list(refusal.faults)) == (422, [f"/{field}"])


# readings below the minimum load: a notice, not a refusal


def test_a_reading_below_the_minimum_load_of_its_scale_is_told_of_and_kept(at: Any) -> None:
    till = at("opened")
    till.scale("floor", "0.01", min=grams("150"))
    item = {"evidence": "xrf", "fineness": "585", "gross": grams("12"), "scale": "floor"}
    quote = till.quote({"client": "C-1", "items": [item]})
    lot = till.receive(client="C-1", items=[item], acceptance=YES)
    told = [
        till.estimate({"items": [item]}).notices,
        quote.notices,
        lot.notices,
        till.melt(lot["number"], "11.9", scale="floor").notices,
    ]
    till.assay(lot["number"], {"gold": "580"})
    batch = till.batch(lot["number"])["number"]
    told += [
        till.lend(batch, "15", scale="floor").notices,
        till.take_out(batch, "gold", "6.88", "999", scale="floor").notices,
    ]
    till.instruct(lot["number"], gold={"bars": [{"nominal": grams("5"), "fineness": "995", "count": 1}]})
    told.append(till.pour(lot["number"], "5.02", scale="floor").notices)
    assert ["below-minimum-load" in codes for codes in told] == [True] * 7


@pytest.mark.parametrize(("weight", "told"), [("0.49", True), ("0.5", False)])
def test_the_minimum_load_itself_is_enough(at: Any, weight: str, told: bool) -> None:
    item = {"evidence": "xrf", "fineness": "585", "gross": grams(weight), "scale": "counter"}
    assert ("below-minimum-load" in at("opened").estimate({"items": [item]}).notices) is told


def test_a_lot_that_melts_to_more_than_it_weighed_is_told_of(at: Any) -> None:
    # 31.42 + 27.86 + 18.30 + 44.05 + 6.20 = 127.83
    assert at("received").melt(LOT, "127.84").notices == ["melt-above-gross"]
    assert at("received").melt(LOT, "127.83").notices == []
