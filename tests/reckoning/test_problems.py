"""Every kind of bad input: which kind of refusal, and where (JSON Pointer, RFC 6901)."""

import pytest

from settle.reckoning.bars import Reading, mould_fault, pour
from settle.reckoning.problems import KINDS, Fault, Faults, Refused, at
from settle.reckoning.reading import Reader

from .shop import F, bars, faults_of, item_json, metal, quote, read_body, request, terms, weight, wishes

NOT_DECIMALS = [
    *("", "NaN", "Infinity", "1e5", "1_0", " 5", "5 ", "+5", "05", ".5", "5.", "1,5", "five"),
    "\uff15",  # a full-width digit
    "\u0663",  # an Arabic-Indic digit
    "9" * 1_000_000,
    *(5, 5.0, True, ["5"], {"amount": "5"}),  # other JSON than a string
]


def short(value):
    return repr(value)[:20]


def refused_item(**changes):
    """(kind, pointer) of each fault of an item, its pointer below the item."""
    found = faults_of(lambda: request(terms(), item_json(**changes)))
    assert all(pointer.startswith("/items/0") for _, pointer in found)
    return [(kind, pointer.removeprefix("/items/0")) for kind, pointer in found]


def blamed(found):
    """The faults without what is said of the inside of a value that is no object at all."""
    broken = tuple(f"{pointer}/" for kind, pointer in found if kind == "wrong-type")
    return [(kind, pointer) for kind, pointer in found if not pointer.startswith(broken)]


@pytest.mark.parametrize("bad", NOT_DECIMALS, ids=short)
@pytest.mark.parametrize(
    ("field", "pointer"),
    [
        (lambda bad: {"gross": weight(bad)}, "/gross/amount"),
        (lambda bad: {"fineness": bad}, "/fineness"),
        (lambda bad: {"karat": bad}, "/karat"),
        (lambda bad: {"composition": {"gold": bad}}, "/composition/gold"),
        (lambda bad: {"filled_part": bad}, "/filled_part"),
        (lambda bad: {"division": weight(bad)}, "/division/amount"),
        (lambda bad: {"deductions": [{"weight": weight(bad)}]}, "/deductions/0/weight/amount"),
    ],
    ids=["gross", "fineness", "karat", "composition", "filled part", "division", "deduction"],
)
def test_what_is_no_decimal_string_is_refused_wherever_one_belongs(field, pointer, bad):
    assert refused_item(**field(bad)) == [("not-a-decimal", pointer)]


GUESS = {"weight": weight("1"), "plus_minus": weight("-1")}
ITEMS = [
    # units
    ({"gross": weight("5", "oz")}, "ambiguous-unit", "/gross/unit"),
    ({"gross": weight("5", "gr")}, "ambiguous-unit", "/gross/unit"),
    ({"gross": weight("5", "lb")}, "ambiguous-unit", "/gross/unit"),
    ({"gross": weight("5", "stone")}, "unknown-unit", "/gross/unit"),
    ({"gross": weight("5", "G")}, "unknown-unit", "/gross/unit"),
    ({"gross": {"amount": "5"}}, "missing", "/gross/unit"),
    ({"gross": {"unit": "g"}}, "missing", "/gross/amount"),
    ({"gross": {"amount": "5", "unit": 7}}, "wrong-type", "/gross/unit"),
    ({"gross": "5 g"}, "wrong-type", "/gross"),
    ({"gross": None}, "missing", "/gross"),
    # weights
    ({"gross": weight("0")}, "weight-not-positive", "/gross/amount"),
    ({"gross": weight("-5")}, "weight-not-positive", "/gross/amount"),
    ({"deductions": [{"weight": weight("0")}]}, "weight-not-positive", "/deductions/0/weight/amount"),
    ({"deductions": [GUESS]}, "weight-not-positive", "/deductions/0/plus_minus/amount"),
    ({"division": weight("0")}, "weight-not-positive", "/division/amount"),
    ({"deductions": [{"weight": weight("100")}]}, "deductions-reach-gross", "/deductions"),
    ({"deductions": [{"weight": weight("100.5")}]}, "deductions-reach-gross", "/deductions"),
    ({"deductions": {"weight": weight("1")}}, "wrong-type", "/deductions"),
    # fineness
    ({"karat": "24.1"}, "karat-above-24", "/karat"),
    ({"karat": "585"}, "karat-above-24", "/karat"),
    ({"fineness": "1000.1"}, "fineness-above-1000", "/fineness"),
    ({"composition": {"gold": "1001"}}, "fineness-above-1000", "/composition/gold"),
    ({"composition": {"gold": "600", "silver": "401"}}, "fineness-above-1000", "/composition"),
    ({"composition": {"gold": "100.1"}, "in": "percent"}, "fineness-above-1000", "/composition/gold"),
    ({"composition": {"gold": "60", "silver": "41"}, "in": "percent"}, "fineness-above-1000", "/composition"),
    ({"composition": {"gold": "58.4", "silver": "11.8"}}, "looks-like-percent", "/composition"),
    ({"composition": {}}, "missing", "/composition"),
    ({"composition": {"copper": "500"}}, "unknown-metal", "/composition/copper"),
    ({"composition": {"a/b~": "500"}}, "unknown-metal", "/composition/a~1b~0"),
    ({"composition": {"gold": "500"}, "in": "promille"}, "not-one-of", "/in"),
    ({"fineness": "500", "in": "promille"}, "not-one-of", "/in"),
    ({"karat": "12", "in": "permille"}, "contradiction", "/in"),
    ({"fineness": "58.5"}, "looks-like-percent", "/fineness"),
    ({"fineness": "585", "stamped": "750"}, "contradiction", "/fineness"),
    ({"composition": {"gold": "500"}, "metal": "silver"}, "contradiction", "/metal"),
    ({"karat": "9", "fineness": "375"}, "two-finenesses", "/fineness"),
    ({"karat": "9", "composition": {"gold": "375"}}, "two-finenesses", "/composition"),
    ({"fineness": "500", "in": "percent"}, "contradiction", "/in"),
    ({"fineness": None}, "no-fineness", ""),
    ({"metal": "copper"}, "not-one-of", "/metal"),
    ({"colour": "blue"}, "not-one-of", "/colour"),
    # the rest of an item
    ({"evidence": "hearsay"}, "unknown-evidence", "/evidence"),
    ({"evidence": None}, "missing", "/evidence"),
    ({"evidence": 3}, "wrong-type", "/evidence"),
    ({"scale": "none such"}, "unknown-scale", "/scale"),
    ({"filled_part": "0"}, "out-of-range", "/filled_part"),
    ({"filled_part": "21/20"}, "out-of-range", "/filled_part"),
    ({"filled_part": "1/0"}, "not-a-decimal", "/filled_part"),
    ({"count": 0}, "out-of-range", "/count"),
    ({"count": -1}, "out-of-range", "/count"),
    ({"count": 10_001}, "out-of-range", "/count"),
    ({"count": "2"}, "wrong-type", "/count"),
    ({"count": 2.0}, "wrong-type", "/count"),
    ({"count": True}, "wrong-type", "/count"),
    ({"description": 5}, "wrong-type", "/description"),
    ({"stamped": 750}, "wrong-type", "/stamped"),
]


@pytest.mark.parametrize(("changes", "kind", "pointer"), ITEMS)
def test_a_bad_item_is_refused_where_it_is_bad(changes, kind, pointer):
    assert blamed(refused_item(**changes)) == [(kind, pointer)]


def gold_price(**changes):
    return {"gold": {"amount": "60", "currency": "GBP", "per": "g"} | changes}


def bar_wish(*lines, **more):
    return {"gold": {"bars": list(lines)} | more}


BARS = "/instructions/gold/bars"
COVER = {"remainder": "cover_charges"}
BOTH_COVER = {"gold": COVER, "silver": COVER}
TWO_TOP_UPS = bar_wish(bars("20", 1, top_up=True), bars("10", 1, top_up=True))
BODIES = [
    ({"items": None}, "missing", "/items"),
    ({"items": []}, "missing", "/items"),
    ({"items": ["scrap"]}, "wrong-type", "/items/0"),
    ({"items": "scrap"}, "wrong-type", "/items"),
    ({"items": [item_json()] * 501}, "out-of-range", "/items"),
    # prices
    ({"prices": gold_price(currency="EUR")}, "other-currency", "/prices/gold/currency"),
    ({"prices": gold_price(currency="GBX")}, "unknown-currency", "/prices/gold/currency"),
    ({"prices": gold_price(per="oz")}, "ambiguous-unit", "/prices/gold/per"),
    ({"prices": gold_price(per="grain")}, "unknown-unit", "/prices/gold/per"),
    ({"prices": gold_price(amount=60.5)}, "not-a-decimal", "/prices/gold/amount"),
    ({"prices": gold_price(amount="-60")}, "not-a-decimal", "/prices/gold/amount"),
    ({"prices": {"copper": {}}}, "unknown-metal", "/prices/copper"),
    ({"prices": "60"}, "wrong-type", "/prices"),
    # wishes
    ({"instructions": {"copper": {}}}, "unknown-metal", "/instructions/copper"),
    ({"instructions": {"gold": {"remainder": "keep"}}}, "not-one-of", "/instructions/gold/remainder"),
    ({"instructions": BOTH_COVER}, "two-metals-cover", "/instructions/silver/remainder"),
    ({"instructions": bar_wish(bars("20", 0))}, "out-of-range", f"{BARS}/0/count"),
    ({"instructions": bar_wish(bars("20", 1001))}, "out-of-range", f"{BARS}/0/count"),
    ({"instructions": bar_wish(bars("20", "all"))}, "not-one-of", f"{BARS}/0/count"),
    ({"instructions": bar_wish(bars("20", 1.5))}, "wrong-type", f"{BARS}/0/count"),
    ({"instructions": bar_wish(bars("20", None))}, "missing", f"{BARS}/0/count"),
    ({"instructions": bar_wish(bars(None, 1))}, "missing", f"{BARS}/0/nominal"),
    ({"instructions": bar_wish(bars("0", 1))}, "weight-not-positive", f"{BARS}/0/nominal/amount"),
    ({"instructions": bar_wish(bars("0.0004", 1))}, "out-of-range", f"{BARS}/0/nominal"),
    ({"instructions": bar_wish(bars("20", 1, "1001"))}, "fineness-above-1000", f"{BARS}/0/fineness"),
    ({"instructions": bar_wish(bars("20", "whole"))}, "contradiction", f"{BARS}/0/nominal"),
    ({"instructions": bar_wish(bars(None, "whole", top_up=True))}, "contradiction", f"{BARS}/0/top_up"),
    ({"instructions": bar_wish(bars("20", "most", top_up=True))}, "contradiction", f"{BARS}/0/top_up"),
    ({"instructions": bar_wish(bars(None, "whole"), bars("20", 1))}, "contradiction", f"{BARS}/0/count"),
    ({"instructions": TWO_TOP_UPS}, "two-top-ups", f"{BARS}/1/top_up"),
    ({"instructions": bar_wish(*[bars("20", 1)] * 21)}, "out-of-range", BARS),
    ({"instructions": "pay me"}, "wrong-type", "/instructions"),
]
BOTH = terms(metals={"gold": metal(), "silver": metal()})


def body(**changes):
    return {k: v for k, v in ({"items": [item_json()]} | changes).items() if v is not None}


@pytest.mark.parametrize(("changes", "kind", "pointer"), BODIES)
def test_a_bad_body_is_refused_where_it_is_bad(changes, kind, pointer):
    assert blamed(faults_of(lambda: read_body(body(**changes), BOTH))) == [(kind, pointer)]


def test_all_faults_of_one_body_are_told_at_once():
    bad = item_json(gross=weight("5", "oz"), karat="25", evidence="hearsay", count=0)
    changes = {
        "items": [item_json(), bad, item_json(fineness=585)],
        "prices": gold_price(currency="EUR", per="lb"),
        "instructions": {"gold": {"remainder": "keep"}},
    }
    assert sorted(faults_of(lambda: read_body(changes, terms()))) == [
        ("ambiguous-unit", "/items/1/gross/unit"),
        ("ambiguous-unit", "/prices/gold/per"),
        ("karat-above-24", "/items/1/karat"),
        ("not-a-decimal", "/items/2/fineness"),
        ("not-one-of", "/instructions/gold/remainder"),
        ("other-currency", "/prices/gold/currency"),
        ("out-of-range", "/items/1/count"),
        ("unknown-evidence", "/items/1/evidence"),
    ]


@pytest.mark.parametrize(
    ("item", "wish", "charges", "needed"),
    [
        ({}, "pay_out", [], True),
        ({}, "cover_charges", [{"name": "lot", "base": "lot", "rate": "1"}], True),
        ({}, "shot", [{"name": "value", "base": "value", "rate": "0.1"}], True),
        ({}, "shot", [], False),  # nothing is priced
        ({}, "metal_account", [], False),
        ({"fineness": "0", "in": "permille"}, "pay_out", [], False),  # nothing is there to be paid
    ],
)
def test_a_metal_that_must_be_priced_needs_a_price(item, wish, charges, needed):
    asked = {"gold": {"remainder": wish}}
    found = faults_of(lambda: quote(terms(charges=charges), item_json(**item), prices={}, asked=asked))
    assert found == ([("price-missing", "/prices/gold")] if needed else [])


def test_a_top_up_needs_a_price():
    asked = {"gold": {"bars": [bars("30", 2, top_up=True)], "remainder": "shot"}}
    assert faults_of(lambda: quote(terms(), prices={}, asked=asked)) == [("price-missing", "/prices/gold")]


POURS = [
    # reading, assay: faults
    ("20.004", "1000", [("bar-under-nominal", "/bars/0/reading")]),
    ("20.051", "1000", [("bar-over-pour", "/bars/0/reading")]),
    ("20.03", "998", [("bar-below-promise", "/bars/0/line")]),
    ("20.004", "998", [("bar-below-promise", "/bars/0/line"), ("bar-under-nominal", "/bars/0/reading")]),
    ("20.03", "1000", []),
]


@pytest.mark.parametrize(("reading", "assay", "faults"), POURS)
def test_a_bar_that_is_not_what_was_asked_for_is_refused(reading, assay, faults):
    line = wishes(terms(), **bar_wish(bars("20", 1, "999")))["gold"]
    weighed = Reading(F(reading), F("0.01"), F(assay), F(0))
    assert faults_of(lambda: pour(terms(), line, 0, weighed, "N1", "/bars/0")) == faults


def test_a_mould_that_no_reading_can_satisfy_is_refused_with_what_would_do():
    fault = mould_fault(F(20), F("0.05"), F("0.1"), "/moulds/3/over_pour")
    assert (fault.kind, fault.pointer) == ("mould-unreachable", "/moulds/3/over_pour")
    assert "0.1 g" in fault.right  # 20.1 g is the first reading that shows 20 g full


@pytest.mark.parametrize("lines", [[bars("0.09", "most")], [bars("0.4", 100), bars("0.05", "most")]])
def test_more_bars_than_one_account_can_hold_are_refused(lines):
    found = faults_of(lambda: quote(terms(), item_json(gross=weight("200")), asked=bar_wish(*lines)))
    assert [kind for kind, _ in found] == ["too-many-bars"]


OF_ANOTHER_TYPE = [
    ({"instructions": []}, "wrong-type", "/instructions"),
    ({"instructions": False}, "wrong-type", "/instructions"),
    ({"prices": []}, "wrong-type", "/prices"),
    ({"prices": {"gold": "60"}}, "wrong-type", "/prices/gold"),  # told twice
    ({"items": [item_json(composition=["gold"])]}, "wrong-type", "/items/0/composition"),  # told twice
]


@pytest.mark.parametrize(("changes", "kind", "pointer"), OF_ANOTHER_TYPE)
def test_an_empty_value_of_another_type_is_refused_too(changes, kind, pointer):
    assert blamed(faults_of(lambda: read_body(body(**changes), BOTH))) == [(kind, pointer)]


def test_too_many_bars_are_refused_at_their_line():
    asked = bar_wish(bars("20", 1), bars("0.025", "most"))
    assert faults_of(lambda: quote(terms(), asked=asked)) == [("too-many-bars", "/instructions/gold/bars/1")]


def test_every_metal_without_a_price_is_named_at_once():
    item = item_json(composition={"gold": "500", "silver": "300"})
    found = faults_of(lambda: quote(BOTH, item, prices={}))
    assert found == [("price-missing", "/prices/gold"), ("price-missing", "/prices/silver")]


def test_a_fault_of_no_kind_can_not_be_made():
    with pytest.raises(KeyError):
        Fault("no-such-kind", "/a", "wrong", "right")


def test_every_kind_has_a_status_and_a_title():
    assert all(400 <= kind.status < 600 and kind.title and kind.name == name for name, kind in KINDS.items())


def test_a_refusal_says_all_of_its_faults_and_none_is_no_refusal():
    faults = Faults()
    faults.refuse_if_any()
    faults.add("missing", "/a", "one is missing", "one")
    faults.add("missing", "", "two is missing", "two")
    with pytest.raises(Refused, match="/a: one is missing; /: two is missing") as refused:
        faults.refuse_if_any()
    assert len(refused.value.faults) == 2


@pytest.mark.parametrize(
    ("steps", "pointer"),
    [((), "/x"), (("a", 0), "/x/a/0"), (("a/b", "c~d"), "/x/a~1b/c~0d"), (("~1",), "/x/~01")],
)
def test_a_pointer_escapes_what_rfc_6901_escapes(steps, pointer):
    assert at("/x", *steps) == pointer


def test_a_fault_says_what_would_be_right():
    faults = Faults()
    Reader({"gross": weight("5", "gr")}, faults).weight("gross")
    assert '"g" or "grain"' in faults.found[0].right
