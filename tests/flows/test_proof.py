"""A6: what a stated fineness rests on, from the quote to the certificate that a stranger checks."""

from typing import Any

import pytest
from desk import Desk, grams, money
from stages import gold_only, scrap
from till import BY_DIFFERENCE, BY_FIRE, Json

# Common practice, no source; difference: ISO 15093, from memory.
BOUND = {"fire_assay": {"least_u": "0.2"}, "xrf": {"least_u": "2"}, "difference": {"least_u": "0.02"}}
OUTTURN = {"settle_on": "outturn", "recovery": "1", "accountable": "1", "payout_rate": "1"}
METALS = {"gold": OUTTURN, "silver": OUTTURN}
YES = {"who": "Ann Other", "how": "in_person"}
XRF = {"method": "xrf", "fineness": "999.95", "u": "0.001"}
FIRE = {**BY_FIRE, "fineness": "999.6", "u": "0.2"}
LABORATORY = {**BY_DIFFERENCE, "fineness": "999.96", "u": "0.02"}


def bound(**changes: Any) -> Json:
    return gold_only(name="bound", metals=METALS, assay_methods=BOUND, **changes)


def a_lot(desk: Desk, terms: str, fineness: str) -> str:
    """A lot that was melted and assayed, of which a bar of 10 g is wished."""
    bars = {"bars": [{"nominal": grams("10"), "fineness": fineness, "count": 1}]}
    said = {"items": [scrap("40")], "instructions": {"gold": bars}, "acceptance": YES}
    lot = desk.receive(client="C-1", terms=terms, consents_to_share=True, **said)["number"]
    desk.melt(lot, "40")
    desk.assay(lot, {"gold": "500"})
    return str(lot)


def come_out(desk: Desk, batch: str, assay: Json, **more: Any) -> Any:
    body = {"metal": "gold", "weight": grams("20"), "assay": assay, **more}
    return desk.post(f"/v1/batches/{batch}/outturns", body)


@pytest.fixture
def refined(shop: Desk) -> Any:
    """Lots in one batch, under terms that bind methods."""

    def make(fineness: str, *terms: Json) -> tuple[str, str]:
        of = [shop.terms(body)["number"] for body in (terms or (bound(),))]
        lots = [a_lot(shop, number, fineness) for number in of]
        return lots[0], str(shop.batch(*lots)["number"])

    return make


# what is entered


def test_an_assay_of_what_came_out_claims_no_less_than_its_method_can(shop: Desk, refined: Any) -> None:
    _, batch = refined("999")
    told = come_out(shop.refused, batch, XRF)
    assert (told.faults, told.rights["/assay/u"]) == (
        {"/assay/u": "out-of-range"},
        "a standard uncertainty of 2 ‰ or more",
    )
    expanded = {**BY_FIRE, "fineness": "999.6", "expanded_u": "0.3", "k": "2"}
    assert come_out(shop.refused, batch, expanded).faults == {"/assay/expanded_u": "out-of-range"}
    come_out(shop, batch, expanded | {"expanded_u": "0.4"})


def test_a_correction_is_held_to_it_as_well(shop: Desk, refined: Any) -> None:
    _, batch = refined("999")
    entry = come_out(shop, batch, FIRE)["entry"]
    refused = come_out(shop.refused, batch, {**FIRE, "u": "0"}, corrects=entry, reason="misread")
    assert refused.faults == {"/assay/u": "out-of-range"}


def test_the_strictest_of_the_lots_terms_counts(shop: Desk, refined: Any) -> None:
    strict = bound() | {"name": "strict", "assay_methods": {"fire_assay": {"least_u": "0.3"}}}
    _, batch = refined("995", bound(), strict)
    told = come_out(shop.refused, batch, FIRE)
    assert (told.faults, "0.3 ‰" in told.rights["/assay/u"]) == ({"/assay/u": "out-of-range"}, True)


@pytest.mark.parametrize(
    ("assay", "faults"),
    [
        ({"fineness": "999.6", "u": "0.2"}, {"/assay/method": "missing"}),
        ({"fineness": "999.96", "u": "0.02", "method": "difference"}, {"/assay/report": "missing"}),
        ({"fineness": "999.96", "method": "xrf", "u": "0.02"}, {"/assay/u": "out-of-range"}),
        ({"fineness": "999.96", "method": "xrf"}, {"/assay/u": "out-of-range"}),
        ({"method": "touchstone", "fineness": "999.6", "u": "9"}, {"/assay/method": "not-one-of"}),
    ],
)
def test_a_bar_for_stock_rests_on_an_assay_with_its_method(
    shop: Desk, assay: Json, faults: dict[str, str]
) -> None:
    terms = shop.terms(bound())["number"]
    shop.stock("gold", "50", "999.6")
    assert shop.refused.pour_bar("10.03", terms=terms, assay=assay).faults == faults


def test_terms_that_name_no_method_bind_none_but_each_is_named(shop: Desk) -> None:
    shop.stock("gold", "50", "999.6")
    assert shop.refused.pour_bar("10.03", assay={"fineness": "999.95"}).faults == {"/assay/method": "missing"}
    shop.pour_bar("10.03", assay=XRF)


def test_an_assay_of_a_lot_is_bound_by_no_least_u_and_names_its_report(shop: Desk) -> None:
    terms = shop.terms(bound())["number"]
    lot = shop.receive(client="C-1", terms=terms, items=[scrap("40")], acceptance=YES)["number"]
    shop.melt(lot, "40")
    # Nothing is stated on it, and of little silver even XRF is sure to less than 2 ‰.
    found = {"gold": {"fineness": "500", "u": "2"}, "silver": {"fineness": "20", "u": "0.5"}}
    body = {"party": "house", "finenesses": found}
    refused = shop.refused.post(f"/v1/lots/{lot}/assays", {**body, "method": "difference"})
    assert refused.faults == {"/report": "missing"}
    shop.post(f"/v1/lots/{lot}/assays", {**body, "method": "xrf"})
    assert "report" not in shop.get(f"/v1/lots/{lot}/assays")["assays"][0]


# what is quoted and poured


def test_whoever_asks_for_9999_hears_what_it_takes(shop: Desk) -> None:
    terms = shop.terms(bound())["number"]

    def told(fineness: str) -> list[str]:
        bars = {"bars": [{"nominal": grams("10"), "fineness": fineness, "count": "most"}]}
        asked = {"terms": terms, "items": [scrap()], "instructions": {"gold": bars}}
        made = shop.quote({**asked, "client": "C-1"})
        return [n["text"] for n in made["notices"] if n["code"] in ("proof-needed", "promise-unreachable")]

    assert told("999") == []
    [text] = told("999.9")
    assert "takes proof by difference (an outside laboratory's report)" in text
    assert "by fire assay 999 ‰ at most" in text


def test_terms_whose_highest_step_nothing_proves_are_warned_about_and_kept(shop: Desk) -> None:
    weak = bound() | {"assay_methods": {"fire_assay": {"least_u": "0.2"}}}
    assert shop.terms(weak).notices == ["promise-unreachable"]
    assert shop.post("/v1/terms?dry_run=true", weak).notices == ["promise-unreachable"]
    assert shop.terms(bound()).notices == []
    assert "notices" not in shop.get("/v1/terms/T-2")


def test_what_a_fire_assay_proved_states_999_and_fills_no_promise_of_9999(shop: Desk, refined: Any) -> None:
    lot, batch = refined("999.9")
    entry = come_out(shop, batch, FIRE)["entry"]
    assert shop.refused.pour(lot, "10.03", scale="counter").faults == {"/line": "bar-below-promise"}
    come_out(shop, batch, LABORATORY, corrects=entry, reason="a laboratory measured its impurities")
    assert shop.pour(lot, "10.03", scale="counter")["stated_fineness"] == "999.9"


# what a certificate says of it


def certified(desk: Desk, serial: str) -> Json:
    """What a certificate says, as a stranger who checks the signed text is told."""
    text = desk.get(f"/v1/bars/{serial}/certificate")["certificate"]
    told = desk.post("/v1/certificate-checks", {"certificate": text})
    assert (told["unaltered"], told["in_force"]) == (True, True)
    says: Json = told["says"]
    return says


def test_a_certificate_says_by_which_method_and_whose_report(shop: Desk, refined: Any) -> None:
    lot, batch = refined("999.9")
    come_out(shop, batch, LABORATORY)
    says = certified(shop, shop.pour(lot, "10.03", scale="counter")["serial"])
    assert (says["method"], says["report"], says["u"]) == ("difference", "LB 26/118", "0.02")
    assert says["maker"] == "An invented refiner"


def test_the_certificate_of_a_bar_for_stock_is_no_emptier(shop: Desk) -> None:
    shop.stock("gold", "50", "999.6")
    says = certified(shop, shop.pour_bar("10.03", fineness="999", assay=FIRE)["serial"])
    assert (says["method"], says["u"], "report" in says) == ("fire_assay", "0.2", False)


def test_the_certificate_of_a_bought_bar_says_whose_statement_it_repeats(shop: Desk) -> None:
    says = certified(shop, shop.buy_bar(cost=money("1900.00"))["serial"])
    assert (says["mark"], says["issuer"]) == ("a maker 1234", "An invented refiner")
    # The house made no assay of it, and is not its maker.
    assert (says["method"], says["u"], "maker" in says) == (None, None, False)
    assert says["fineness"] == "999.9"


def test_a_stock_bar_claims_no_more_under_terms_that_were_replaced(shop: Desk) -> None:
    loose = gold_only(name="bound", metals=METALS)
    older = shop.terms(loose)["number"]
    shop.stock("gold", "50", "1000")
    pure = {**BY_FIRE, "fineness": "1000", "u": "0"}
    body = {"kind": "poured", "metal": "gold", "nominal": grams("10"), "fineness": "999", "terms": older}
    body |= {"reading": grams("10.02"), "scale": "counter", "assay": pure}
    assert shop.post("/v1/stock/bars", body)["stated_fineness"] == "999.9"
    shop.terms(bound())
    assert shop.refused.post("/v1/stock/bars", body).faults == {"/assay/u": "out-of-range"}
