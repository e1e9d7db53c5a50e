"""The answer put together: names of the contract, lines that add up, canonical bytes and their hash."""

import json

import pytest

from settle.reckoning import document
from settle.reckoning.bars import Poured
from settle.reckoning.batch import LotIn, Weighed, reconcile
from settle.reckoning.comparison import compare
from settle.reckoning.due import due
from settle.reckoning.notices import of_quote
from settle.reckoning.settlement import settle
from settle.reckoning.working import Working

from .shop import F, at, bars, item_json, quote, refined, terms_on, weight

TAXES = {"vat": {"rate": "0.20", "class": "standard"}, "none": {"rate": "0", "class": "exempt"}}
STEPS = [{"from": "50", "rate": "0.30"}]
MARGINAL = {"tiering": "marginal"}
CHARGES = [
    {"name": "treatment", "base": "gross_weight", "per": "ozt", "rate": "9.33", "minimum": "5", "tax": "vat"},
    {"name": "melting", "base": "melt_weight", "per": "g", "rate": "0.40", "tiers": STEPS, "tax": "none"},
    {"name": "steps", "base": "melt_weight", "per": "g", "rate": "0.4", "tiers": STEPS} | MARGINAL,
    {"name": "never", "base": "bar", "rate": "0"},
]
OF = terms_on(
    gold={"settle_on": "outturn", "recovery": "0.99", "accountable": "0.98", "payout_rate": "0.97"},
    silver={"accountable": "0.9"},
    charges=CHARGES,
    taxes=TAXES,
    weight_unit="ozt",
    evidence={"sure": {"method": "mark", "shared": "10"}, "unread": {"method": "none", "reckon": False}},
)
WISH = {"gold": {"bars": [bars("20", "most")]}, "silver": {"remainder": "metal_account"}}
PRICES = {"gold": "60", "silver": "0.7"}
ITEM = item_json(composition={"gold": "500", "silver": "300"}, stamped="18 750")


def answered(*items, working=None, prices=PRICES):
    kept = Working(kept=False) if working is None else working
    quoted = quote(OF, *(items or [ITEM]), prices=prices, asked=WISH, working=kept)
    return document.estimate(quoted, of_quote(quoted), kept)


def pence(money):
    assert money["currency"] == "GBP"
    return int(F(money["amount"]) * 100)


def test_an_estimate_has_the_names_of_the_contract():
    answer = answered()
    assert {"terms", "currency", "prices", "items", "cases", "net_range", "bars_covered"} <= set(answer)
    assert {"binds", "notices"} <= set(answer)
    assert set(answer["cases"]) == {"low", "likely", "high"}
    totals = {"payouts_total", "top_ups_total", "charges_total", "tax_total", "advances_total", "fees_total"}
    case = answer["cases"]["likely"]
    assert totals | {"metals", "charges", "taxes", "waived", "net", "client_gets", "all_in"} == set(case)
    metal_names = {"fine", "recovered", "accountable", "kept", "bars", "bars_total", "remainder"}
    metal_names |= {"sold", "shot", "metal_account", "top_up", "payout", "top_up_cost"}
    assert all(metal_names <= set(metal) for metal in case["metals"].values())


@pytest.mark.parametrize("case", ["low", "likely", "high"])
def test_lines_printed_add_up_to_totals_printed(case):
    of = answered()["cases"][case]
    assert sum(pence(m["payout"]) for m in of["metals"].values()) == pence(of["payouts_total"])
    assert sum(pence(m["top_up_cost"]) for m in of["metals"].values()) == pence(of["top_ups_total"])
    assert sum(pence(line["amount"]) for line in of["charges"]) == pence(of["charges_total"])
    assert sum(pence(line["amount"]) for line in of["taxes"]) == pence(of["tax_total"])
    out = ("charges_total", "tax_total", "top_ups_total", "advances_total", "fees_total")
    due = sum(pence(of[name]) for name in out)
    assert pence(of["net"]) == pence(of["payouts_total"]) - due - pence(of["waived"])


def test_the_metal_printed_adds_up():
    gold = answered()["cases"]["likely"]["metals"]["gold"]
    # 50 × 0.99 = 49.5; × 0.98 = 48.51; two bars of 20; the rest is sold.
    assert {k: gold[k]["g"] for k in ("fine", "recovered", "accountable", "kept")} == {
        "fine": "50.000",
        "recovered": "49.500",
        "accountable": "48.510",
        "kept": "0.990",
    }
    assert {k: gold[k]["g"] for k in ("bars_total", "remainder", "sold", "shot", "metal_account")} == {
        "bars_total": "40.000",
        "remainder": "8.510",
        "sold": "8.510",
        "shot": "0.000",
        "metal_account": "0.000",
    }
    assert gold["bars"][0]["nominal"] == {"g": "20.000", "ozt": "0.64301"}  # 20 ÷ 31.1034768
    assert gold["payout"] == {"amount": "495.28", "currency": "GBP"}  # 8.51 × 60 × 0.97 = 495.282


def test_each_item_is_printed_as_it_was_seen_and_reckoned():
    unread = item_json(evidence="unread", fineness=None, description="filings")
    first, second = answered(ITEM, unread)["items"]
    assert (first["stamped"], first["evidence"], first["count"]) == ("18 750", "sure", 1)
    assert first["net"] == {"g": "100.000", "ozt": "3.21507"}  # 100 ÷ 31.1034768 = 3.215074…
    assert first["holds"]["gold"] == {"fineness": "500", "fine": {"g": "50.000", "ozt": "1.60754"}}
    assert (second["holds"], second["on_assay_only"]) == ({}, True)


def test_each_charge_names_its_base_quantity_rate_tier_and_tax():
    treatment, melting, steps = answered()["cases"]["likely"]["charges"]  # one of zero is left out
    assert treatment == {
        "name": "treatment",
        "base": "gross_weight",
        "metal": None,
        "quantity": "3.21507",
        "per": "ozt",
        "rate": "9.33",
        "minimum_applied": False,
        "tier": None,
        "amount": {"amount": "30.00", "currency": "GBP"},  # 29.99664…
        "tax": "vat",
    }
    assert (melting["tier"], melting["rate"], melting["amount"]["amount"]) == ("50", "0.30", "30.00")
    assert steps["parts"] == [{"quantity": "50", "rate": "0.40"}, {"quantity": "50", "rate": "0.30"}]
    assert steps["amount"]["amount"] == "35.00"


def test_taxes_are_shown_with_their_class_and_base():
    assert answered()["cases"]["likely"]["taxes"] == [
        {"code": "vat", "class": "standard", "rate": "0.2"}
        | {k: {"amount": a, "currency": "GBP"} for k, a in (("base", "30.00"), ("amount", "6.00"))},
        {"code": "none", "class": "exempt", "rate": "0"}
        | {k: {"amount": a, "currency": "GBP"} for k, a in (("base", "30.00"), ("amount", "0.00"))},
    ]


def test_the_range_and_what_is_covered_are_those_of_the_three_cases():
    answer = answered()
    nets = [pence(answer["cases"][case]["net"]) for case in ("low", "likely", "high")]
    told = [pence(answer["net_range"][name]) for name in ("least", "likely", "greatest")]
    assert told == [min(nets), nets[1], max(nets)]
    assert answer["bars_covered"] == {"gold": [2], "silver": []}


def test_working_is_there_when_it_is_kept():
    assert "working" not in answered()
    assert answered(working=Working())["working"]


def test_canonical_bytes_are_the_same_in_whatever_order_the_names_stand():
    one, other = {"b": [1, "ü"], "a": {"d": None, "c": True}}, {"a": {"c": True, "d": None}, "b": [1, "ü"]}
    assert document.canonical(one) == '{"a":{"c":true,"d":null},"b":[1,"ü"]}'.encode()
    assert document.digest(one) == document.digest(other)
    assert document.digest(one) != document.digest(one | {"b": [1]})


def test_the_digest_is_sha_256_of_the_canonical_bytes():
    # Of `{}`, as any tool gives it.
    assert document.digest({}) == "44136fa355b3678a1146ad16f7e8649e94fb4fc21fe77e8310c060f61caaff8a"


def test_the_same_request_gives_the_same_document():
    one, other = answered(working=Working()), answered(working=Working())
    assert document.digest(one) == document.digest(other)
    assert json.loads(document.canonical(one)) == one


def test_a_price_is_printed_with_the_places_of_its_currency_at_least():
    assert answered(prices={"gold": "60", "silver": "0.7125"})["prices"] == {
        "gold": {"amount": "60.00", "currency": "GBP", "per": "g"},
        "silver": {"amount": "0.7125", "currency": "GBP", "per": "g"},
    }


def settled():
    gold = [Poured("N1", 0, F("20"), F("1000"))]
    found = refined(
        OF,
        {"gold": "501", "silver": "299"},
        {"gold": "49.4", "silver": "29.9"},
        WISH,
        melt_g=F("99.5"),
        drillings_g=F("0.5"),
        poured={"gold": gold},
        prices=at(**PRICES),
        advances_minor=5_000,
        fees_minor=250,
    )
    quoted = quote(OF, ITEM, prices=PRICES, asked=WISH)
    final = settle(OF, found)
    steps = compare(quoted, found, final)
    return document.settlement(found, due(final), quoted, steps, [], Working(kept=False))


def test_a_settlement_has_one_case_and_says_why_it_differs():
    answer = settled()
    assert set(answer["cases"]) == {"final"}
    assert {k: v["g"] for k, v in answer["weights"].items()} == {
        "gross": "100.000",
        "melt": "99.500",
        "drillings": "0.500",
    }
    assert answer["cases"]["final"]["metals"]["gold"]["fine"]["g"] == "49.599"  # 99 × 0.501
    assert answer["net"] == answer["cases"]["final"]["net"]
    assert set(answer["inside_band"]) == {"gold", "silver"}


def test_the_steps_printed_add_up_to_the_difference_printed():
    told = settled()["comparison"]
    assert [s["step"] for s in told["steps"]] == [
        "quote",
        "weight",
        "fineness",
        "recovery",
        "instructions",
        "price",
        "charges",
    ]
    moved = [pence(s["difference"]) for s in told["steps"]]
    assert sum(moved) == pence(told["difference"])
    assert pence(told["metal_found"]) == moved[1] + moved[2]
    worths = [pence(s["worth"]) for s in told["steps"]]
    assert worths[-1] - worths[0] == pence(told["difference"])


def test_a_poured_bar_is_printed_with_its_serial_and_what_it_states():
    (bar,) = settled()["cases"]["final"]["metals"]["gold"]["bars"]
    assert (bar["serial"], bar["line"], bar["stated_fineness"]) == ("N1", 0, "1000")
    assert (bar["stated_weight"]["g"], bar["stated_fine"]["g"]) == ("20.000", "20.000")
    assert (bar["gift"]["g"], bar["stated_below"]["g"]) == ("0.000", "0.000")


def test_a_reconciliation_names_each_lot_with_its_own_and_what_it_is_credited():
    own = [LotIn(n, Weighed(F(g), F(0), F(1000))) for n, g in (("L-1", "60"), ("L-2", "40"))]
    made = reconcile(OF, "gold", own, [], [Weighed(F(99), F(0), F(1000))])
    answer = document.reconciliation(made, ["L-1", "L-2"], OF, [], Working(kept=False))
    assert {lot: w["g"] for lot, w in answer["own"].items()} == {"L-1": "60.000", "L-2": "40.000"}
    assert {lot: w["g"] for lot, w in answer["credited"].items()} == {"L-1": "59.400", "L-2": "39.600"}
    assert answer["house_share"]["g"] == "0.000"
    assert answer["verdict"] == "as expected"


def test_a_metal_without_a_price_has_no_worth_and_the_case_no_share():
    shot = {"gold": {"remainder": "shot"}}
    of = terms_on(gold={"accountable": "0.9"})
    quoted = quote(of, item_json(gross=weight("10")), prices={}, asked=shot)
    case = document.estimate(quoted, [], Working(kept=False))["cases"]["likely"]
    assert (case["metals"]["gold"]["kept_worth"], case["all_in"]) == (None, None)
