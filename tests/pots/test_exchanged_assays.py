"""D3: house, client and umpire assay a melted lot; what is agreed, what the gap is worth, who bears the fee."""

import json
import re
from decimal import Decimal
from io import BytesIO
from typing import Any

import pytest
from pypdf import PdfReader
from works import YES, Works, grams, mg, money, terms

LIMIT = {"splitting_limit": "2"}


@pytest.fixture
def lot(works: Works) -> str:
    """40 g under terms that exchange assays of gold, and not of silver; an umpire costs 30.00."""
    works.terms(terms(name="exchange", gold=LIMIT, umpire_fee="30.00", umpire_rule="final"))
    return works.lot("40", "500", "100", terms="T-2")


def said(works: Works, lot: str, party: str, gold: str, **more: Any) -> Any:
    return works.assay(lot, {"gold": gold}, party=party, **more)["assays"]["gold"]


def test_without_a_clients_assay_the_houses_stands(works: Works, lot: str) -> None:
    assert works.get(f"/v1/lots/{lot}")["assays"] == {
        "gold": {"by": {"house": "500"}, "state": "agreed", "agreed": "500", "gap": None, "fees": None},
        "silver": {"by": {"house": "100"}, "state": "agreed", "agreed": "100", "gap": None, "fees": None},
    }


@pytest.mark.rule("D3")
@pytest.mark.parametrize(
    ("client", "agreed", "difference"), [("501", "500.5", "1"), ("502", "501", "2"), ("498", "499", "2")]
)
def test_within_the_limit_it_is_the_mean(
    works: Works, lot: str, client: str, agreed: str, difference: str
) -> None:
    found = said(works, lot, "client", client)
    assert (found["state"], found["agreed"]) == ("agreed", agreed)
    assert found["gap"]["difference"] == difference
    assert found["fees"] == {"house": money("0.00"), "client": money("0.00")}


@pytest.mark.rule("D3")
def test_beyond_the_limit_what_the_gap_is_worth_stands_beside_the_fee(works: Works, lot: str) -> None:
    found = said(works, lot, "client", "503")
    # 3 ‰ of 40 g is 0.12 g, at 60.00 a gram.
    assert found == {
        "by": {"house": "500", "client": "503"},
        "state": "an umpire is needed",
        "agreed": None,
        "gap": {
            "difference": "3",
            "weight": {"g": "0.120"},
            "worth": money("7.20"),
            "price_entry": "PR-1",
            "umpire_fee": money("30.00"),
        },
        "fees": {"house": money("0.00"), "client": money("0.00")},
    }


@pytest.mark.rule("D3")
def test_the_gap_keeps_the_worth_it_had_when_the_assay_was_entered(
    works: Works, lot: str, clock: Any
) -> None:
    said(works, lot, "client", "503")
    before = works.get(f"/v1/lots/{lot}")
    clock.move(hours=1)
    works.prices(gold="70.00")
    assert works.get(f"/v1/lots/{lot}") == before


# Umpire: agreed (within the two parties' figures), the house's part of the fee and the client's.
UMPIRES = [
    ("501", "501", "0.00", "30.00"),
    ("503.5", "503.5", "30.00", "0.00"),
    ("502", "502", "15.00", "15.00"),
    ("499", "500", "0.00", "30.00"),
    ("506", "504", "30.00", "0.00"),
]


@pytest.mark.rule("D3")
@pytest.mark.parametrize(("umpire", "agreed", "house", "client"), UMPIRES)
def test_the_umpire_decides_and_the_farther_party_bears_the_fee_on_the_settlement(
    works: Works, lot: str, umpire: str, agreed: str, house: str, client: str
) -> None:
    said(works, lot, "client", "504")
    found = said(works, lot, "umpire", umpire)
    assert (found["state"], found["agreed"]) == ("agreed", agreed)
    assert found["fees"] == {"house": money(house), "client": money(client)}
    number = works.batch(lot)["number"]
    assert works.balance(f"house:process:{number}", "gold") == round(float(agreed) * 40)
    works.take_out(number, "gold", f"{Decimal(agreed) * 40 / 1000 * Decimal('0.995'):.2f}", "1000")
    account = works.close(number)["metals"]["gold"]
    assert mg(account["own"][lot]) == round(float(agreed) * 40)
    settled = works.settled(lot)
    assert settled["assay"]["gold"] == agreed
    assert settled["cases"]["final"]["fees_total"] == money(client)
    assert works.balance("house:fees", "GBP") == -round(float(client) * 100)


@pytest.mark.rule("J1")
def test_an_umpires_fee_stands_in_the_books_apart_from_a_charge_of_that_name(works: Works) -> None:
    charge = {"name": "fees", "base": "lot", "rate": "7.00"}
    works.terms(terms(name="of fees", gold=LIMIT, umpire_fee="30.00", umpire_rule="final", charges=[charge]))
    lot = works.lot("40", "500", "100", terms="T-2")
    said(works, lot, "client", "504")
    said(works, lot, "umpire", "501")
    number = works.batch(lot)["number"]
    works.take_out(number, "gold", "19.95", "1000")
    works.close(number)
    works.settled(lot)
    places = {
        p["place"]: p["closing"] for p in works.get("/v1/trial-balance")["places"] if "fees" in p["place"]
    }
    assert places == {"charges:fees": money("-7.00"), "house:fees": money("-30.00")}


@pytest.mark.rule("D3")
@pytest.mark.parametrize(
    ("currency", "fee", "house", "client"), [("JPY", "101", "50", "51"), ("GBP", "20.01", "10.00", "10.01")]
)
def test_of_a_fee_in_halves_the_client_bears_what_a_half_is_rounded_to_and_the_house_the_rest(
    works: Works, currency: str, fee: str, house: str, client: str
) -> None:
    of = {"currency": currency, "cash_step": "1", "umpire_fee": fee, "umpire_rule": "final"}
    works.terms(terms(name="halves", gold=LIMIT, **of))
    lot = works.lot("40", "500", "100", terms="T-2")
    said(works, lot, "client", "504")
    found = said(works, lot, "umpire", "502")
    assert found["fees"] == {"house": money(house, currency), "client": money(client, currency)}


def test_the_settlements_paper_says_whose_assays_were_exchanged(works: Works, lot: str) -> None:
    said(works, lot, "client", "501")
    number = works.batch(lot)["number"]
    works.take_out(number, "gold", "19.95", "1000")
    works.close(number)
    path = f"/v1/settlements/{works.settled(lot)['number']}"
    paper = works.ask("GET", path, Accept="application/pdf", Accept_Language="en-GB").data
    text = " ".join(" ".join(page.extract_text().split()) for page in PdfReader(BytesIO(paper)).pages)
    assert re.search(
        r"the house fire assay Gold 500 .*the client fire assay Gold 501 .*Agreed.*Gold.*500\.5 ", text
    )


def decided(works: Works) -> str:
    """A batch of 1000 g: 334.0 by the house, 337.0 by the client, 336.4 by the umpire; 334.70 g came out."""
    works.terms(terms(name="exchange", gold=LIMIT, umpire_fee="30.00", umpire_rule="final"))
    lot = works.lot("1000", "334.0", "100", terms="T-2")
    said(works, lot, "client", "337.0")
    said(works, lot, "umpire", "336.4")
    number = works.batch(lot)["number"]
    works.take_out(number, "gold", "334.70", "1000")
    return str(number)


@pytest.mark.rule("H4")
def test_an_account_is_judged_by_the_agreed_assay_and_adds_up_as_it_is_printed(works: Works) -> None:
    # By the house's assay 2.37 g more than expected came back, a query; by what was agreed 0.018 g are missing.
    account = works.close(decided(works))["metals"]["gold"]
    assert {k: account[k]["g"] for k in ("in", "out", "expected_loss", "residual")} == {
        "in": "336.400", "out": "334.700", "expected_loss": "1.682", "residual": "0.018",
    }  # fmt: skip
    assert (account["recovery"], account["verdict"], account["owners_word"]) == ("0.995", "as expected", None)
    # u of the umpire's, whose figure it is, × recovery; of two weighings; of the recovery from batch to batch
    u2 = Decimal("0.995") ** 2 * (Decimal("0.09") + Decimal("0.3364") ** 2 * Decimal("0.0001") / 12)
    u2 += Decimal("0.0001") / 12 + (Decimal("336.4") * Decimal("0.002")) ** 2
    assert account["residual_u"] == {"g": f"{u2.sqrt():.3f}"}


@pytest.mark.rule("H4")
def test_the_record_of_an_account_has_the_u_of_a_mean_and_both_weighings(works: Works, lot: str) -> None:
    drillings = {"weight": grams("0.4"), "whose": "house"}
    works.melt(lot, "40", drillings=drillings, corrects=works.entry(lot, "melt"), reason="drilled")
    said(works, lot, "client", "502")
    number = works.batch(lot)["number"]
    works.take_out(number, "gold", "19.7", "1000")
    works.close(number)
    raw = works.ask("GET", f"/v1/batches/{number}/reconciliation/record").data
    # 0.3 ‰ by either party: (0.09 + 0.09) ÷ 4
    own = {"weight": "39.6", "division": "0.01", "assay": "501", "u2": "0.045", "weighings": 2}
    assert json.loads(raw)["inputs"]["gold"]["lots"] == [{"lot": lot, "own": own, "need": "0"}]


@pytest.mark.rule("H4")
def test_the_paper_and_the_picture_of_an_account_add_up_to_what_was_agreed(works: Works) -> None:
    path = f"/v1/batches/{decided(works)}/reconciliation"
    paper = works.ask("GET", path, Accept="application/pdf", Accept_Language="en-GB").data
    text = " ".join(" ".join(page.extract_text().split()) for page in PdfReader(BytesIO(paper)).pages)
    printed = (
        r"In ([\d.]+) − came back, weighed ([\d.]+) − expected loss \(in × \(1 − ([\d.]+)\)\) ([\d.]+) "
        r"= residual ([\d.]+)"
    )
    went_in, out, recovery, loss, residual = map(Decimal, re.search(printed, text).groups())
    assert (went_in, out) == (Decimal("336.4"), Decimal("334.7"))
    assert (went_in * (1 - recovery), went_in - out - loss) == (loss, residual)
    assert "The terms tolerate 0.005 of what went in." in text
    drawn = works.ask("GET", f"{path}/pictures/flow-gold").get_data(as_text=True)
    assert f"expected loss + residual: {loss + residual:.3f} g." in drawn


@pytest.mark.rule("D3")
def test_what_may_be_advanced_is_of_the_agreed_assay(works: Works) -> None:
    works.terms(terms(name="exchange", gold=LIMIT, advance_share="0.5", umpire_rule="final"))
    lots = [works.lot("40", "500", "100", terms="T-2") for _ in range(2)]
    said(works, lots[0], "client", "502")
    most = [works.advance(lot, "1.00")["may_be_advanced"]["amount"] for lot in lots]
    assert Decimal(most[0]) > Decimal(most[1])


@pytest.mark.rule("D3")
def test_while_an_umpire_is_awaited_no_account_is_closed_on_one_partys_figure(works: Works, lot: str) -> None:
    said(works, lot, "client", "504")
    number = works.batch(lot)["number"]
    works.lend(number, "50", fineness="1000")
    works.take_out(number, "gold", "19.95", "1000")
    works.take_out(number, "silver", "52.9", "1000")
    refusal = works.refused.close(number)
    assert (refusal.status, refusal.kind) == (409, "wrong-state")
    # What silver the lot needed rests on its gold.
    assert list(refusal.faults) == ["/metals/gold", "/metals/silver"]
    said(works, lot, "umpire", "503")
    works.close(number)


def test_a_partys_assay_is_entered_once_and_mended_by_a_correction(works: Works, lot: str) -> None:
    first = works.assay(lot, {"gold": "504"}, party="client")["entry"]
    assert works.refused.assay(lot, {"gold": "501"}, party="client").said == (409, "wrong-state", "")
    found = said(works, lot, "client", "501", corrects=first, reason="a figure was turned round")
    assert (found["agreed"], found["gap"]["worth"]) == ("500.5", money("2.40"))


def test_terms_without_a_limit_exchange_no_assays(works: Works, lot: str) -> None:
    refusal = works.refused.assay(lot, {"gold": "501", "silver": "101"}, party="client")
    assert refusal.faults == {"/finenesses/silver": "contradiction"}


def test_once_an_account_is_posted_no_assay_comes_after_it(works: Works, lot: str) -> None:
    number = works.batch(lot)["number"]
    works.take_out(number, "gold", "19.9", "1000")
    works.close(number)
    refusal = works.refused.assay(lot, {"gold": "501"}, party="client")
    assert (refusal.status, refusal.kind) == (409, "something-rests-on-it")


def test_a_clients_assay_alone_makes_no_assayed_lot(works: Works) -> None:
    works.terms(terms(name="exchange alone", public=True, gold={"splitting_limit": "3"}))
    lot = works.receive(client="C-1", acceptance=YES, items=[works.item("50")])["number"]
    works.melt(lot, "49.9")
    assert works.assay(lot, {"gold": "500"}, party="client")["state"] == "melted"
    assert works.refused.batch(lot).said == (409, "wrong-state", "/lots/0")
    works.assay(lot, {"gold": "501"})
    assert works.batch(lot)["lots"] == [lot]


@pytest.mark.rule("D3")
@pytest.mark.parametrize("on", ["assay", "outturn"])
def test_a_dispute_over_silver_is_decided_after_the_gold_was_settled(works: Works, on: str) -> None:
    of = {"settle_on": on, "splitting_limit": "2"}
    works.terms(terms(name="exchange", gold=of, silver=of, umpire_fee="30.00"))
    lot = works.lot("40", "500", "100", terms="T-2")
    works.assay(lot, {"gold": "500", "silver": "110"}, party="client")
    if on == "outturn":
        number = works.batch(lot)["number"]
        works.lend(number, "40", fineness="1000")
        works.take_out(number, "gold", "19.9", "1000")
        works.take_out(number, "silver", "43", "1000")
        works.close(number, metals=["gold"])
    first = works.settled(lot, **({"metals": ["gold"]} if on == "assay" else {}))
    assert first["still_to_come"] == ["silver"]
    assert works.refused.assay(lot, {"gold": "501"}, party="umpire").kind == "something-rests-on-it"
    told = works.assay(lot, {"silver": "104"}, party="umpire")["assays"]["silver"]
    assert (told["state"], told["agreed"]) == ("agreed", "104")
    if on == "outturn":
        works.close(number)
    further = works.settled(lot)
    assert list(further["cases"]["final"]["metals"]) == ["silver"]
    assert further["cases"]["final"]["fees_total"] == money("30.00"), "the client was farther off"
