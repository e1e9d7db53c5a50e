"""Notices: what the reader is told, when, and whose rule it is."""

import pytest

from settle.reckoning.item import Scale
from settle.reckoning.notices import ACIDS, DEFERS, HOT_METAL, of_load, of_quote, of_wishes

from .shop import F, bars, item_json, quote, read_item, terms, terms_on, weight, wishes

UNSURE = {"sure": {"method": "mark", "shared": "10"}, "unread": {"method": "none", "reckon": False}}
LIMITS = {"cash": {"amount": {"amount": "500", "currency": "GBP"}, "text": "Ask.", "source": "a law"}}


def codes(of, *items, **changes):
    return [notice.code for notice in of_quote(quote(of, *items, **changes))]


def charged(rate, tax=None):
    return [{"name": "lot", "base": "lot", "rate": rate} | ({} if tax is None else {"tax": tax})]


NONE = {"none": {"rate": "0", "class": "exempt"}}
PLATINUM = {"gold": "500", "platinum": "100"}
TWELVES = {"gold": {"bars": [bars("12.5", "most")]}}  # four of the likely 50 g, three of 48 g
TENS = {"gold": {"bars": [bars("10", 4)]}}

TOLD = [
    # code, terms, items, wishes: told or not
    ("bars-not-covered", {"evidence": UNSURE}, [{}], TWELVES, True),
    ("bars-not-covered", {"evidence": UNSURE}, [{}], TENS, False),
    ("on-assay-only", {}, [{}, {"evidence": "unread"}], {}, True),
    ("on-assay-only", {}, [{}], {}, False),
    ("not-accounted-for", {}, [{"composition": {"gold": "500", "silver": "100"}}], {}, True),
    ("not-accounted-for", {}, [{}], {}, False),
    ("platinum-metals", {}, [{"composition": PLATINUM}], {}, True),
    ("platinum-metals", {}, [{}], {}, False),
    ("mark-tolerance", {"evidence": UNSURE}, [{}], {}, True),
    ("mark-tolerance", {}, [{}], {}, False),
    ("silver-indicative", {"estimate_silver": True}, [{"fineness": "585", "colour": "yellow"}], {}, True),
    ("silver-indicative", {}, [{"fineness": "585", "colour": "yellow"}], {}, False),
    ("tax-class-assumed", {"charges": charged("1")}, [{}], {}, True),
    ("tax-class-assumed", {"charges": charged("1", "none"), "taxes": NONE}, [{}], {}, False),
    ("holding-period", {"holding_period": "P14D"}, [{}], {}, True),
    ("holding-period", {}, [{}], {}, False),
    ("charges-above-value", {"charges": charged("500")}, [{}], {}, True),
    ("charges-above-value", {"charges": charged("499.99")}, [{}], {}, False),
    ("nothing-valued", {"evidence": UNSURE}, [{"evidence": "unread", "fineness": None}], {}, True),
    ("nothing-valued", {}, [{}], {}, False),
    ("acids-and-fumes", {}, [{}], {}, True),  # half of it is gold: silver is melted in, and parted
    ("acids-and-fumes", {}, [{"fineness": "250"}], {}, False),  # a quarter already
    ("hot-metal", {}, [{}], TENS, True),
    ("hot-metal", {}, [{}], {}, False),
    ("money-limit", {"limits": LIMITS}, [{}], {}, True),  # 50 g at 10.00: exactly 500.00, and above with u
    ("money-limit", {"limits": LIMITS}, [{"fineness": "499"}], {}, False),
    # what the client would owe counts as well
    ("money-limit", {"limits": LIMITS, "charges": charged("1100")}, [{}], {}, True),
]


@pytest.mark.parametrize(("code", "changes", "items", "asked", "told"), TOLD)
def test_a_notice_is_given_where_it_applies_and_nowhere_else(code, changes, items, asked, told):
    found = codes(terms(**changes), *(item_json(**i) for i in items), asked=asked)
    assert (code in found) == told


@pytest.mark.parametrize(
    ("metal", "fineness", "told"),
    [
        ("gold", "995", ["fineness-near-995"]),
        ("gold", "994", ["fineness-near-995"]),
        ("gold", "996", ["fineness-near-995"]),
        ("gold", "993.9", []),
        ("gold", "996.1", []),
        ("silver", "995", []),
        ("gold", "999.9", []),
        ("gold", "999.91", ["promise-unreachable"]),
        ("silver", "999.99", ["promise-unreachable"]),
    ],
)
def test_a_promise_near_a_tax_limit_or_beyond_the_steps_is_told(metal, fineness, told):
    of = terms_on(silver={})
    wished = wishes(of, **{metal: {"bars": [bars("20", 1, fineness)]}})
    assert [n.code for n in of_wishes(of, wished)] == told


@pytest.mark.parametrize(("gross", "told"), [("0.99", True), ("1", False), ("50", False)])
def test_a_reading_below_the_minimum_load_of_its_scale_is_told(gross, told):
    scale = Scale("bench", F("0.01"), min_g=F(1))
    item = read_item(gross=weight(gross), scale="bench", scales={"bench": scale})
    found = of_load([item], [scale])
    assert [n.code for n in found] == (["below-minimum-load"] if told else [])
    assert of_load([item], [None]) == []  # no scale was named


def every_notice():
    of = terms(
        evidence=UNSURE,
        estimate_silver=True,
        holding_period="P14D",
        charges=charged("600"),
        limits=LIMITS,
    )
    items = [item_json(), item_json(composition=PLATINUM), item_json(fineness="585", colour="yellow")]
    asked = {"gold": {"bars": [bars("17.1", "most", "995"), bars("1", "most", "999.99")]}}
    return of_quote(quote(of, *items, item_json(evidence="unread"), asked=asked))


def test_every_notice_says_whose_rule_it_is_and_defers_to_local_rules():
    found = every_notice()
    assert len({n.code for n in found}) >= 10
    for notice in found:
        printed = notice.as_json()
        assert set(printed) == {"code", "text", "source"}
        assert printed["text"].endswith(DEFERS)
        assert printed["source"]
        assert printed["code"] == printed["code"].lower()


def test_nothing_is_ever_called_certain():
    assert not any("certain" in notice.text or "guarantee" in notice.text for notice in every_notice())


@pytest.mark.parametrize(("notice", "words"), [(ACIDS, ["acid", "fumes"]), (HOT_METAL, ["mould", "spits"])])
def test_the_dangers_of_the_bench_are_named(notice, words):
    assert all(word in notice.text for word in words)


def test_charges_above_the_value_come_before_everything_else():
    found = codes(terms(charges=charged("9999"), holding_period="P1D", evidence=UNSURE), asked=TWELVES)
    assert found[0] == "charges-above-value"
    assert len(found) > 3
