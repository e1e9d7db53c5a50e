"""The same lot told otherwise is the same: units, order of lines, like articles on one line or many."""

from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from settle.reckoning.weight import GRAMS_PER, grams

from .reckoned import cases, quoted
from .strategies import lots, terms, text

# Units whose factor ends early enough that any such amount is a decimal string in grams too.
PLACES = {"mg": 3, "kg": 5, "ozt": 2, "dwt": 1, "grain": 1, "tola": 2, "ct": 5, "oz_av": 0, "lb_av": 4}


def in_grams(weight: dict) -> dict:
    exact = Fraction(weight["amount"]) * GRAMS_PER[weight["unit"]]
    return {"amount": text(int(exact * 10**9), 9), "unit": "g"}


@given(lots(), st.data())
def test_weights_in_any_unit_and_the_same_in_grams_give_the_same_estimate(lot, data):
    of, request = lot
    for item in request["items"]:
        unit = data.draw(st.sampled_from(sorted(PLACES)))
        exact = Fraction(item["gross"]["amount"]) * GRAMS_PER[item["gross"]["unit"]]
        count = max(1, int(exact / GRAMS_PER[unit] * 10 ** PLACES[unit]))
        item["deductions"] = []
        item["gross"] = {"amount": text(count, PLACES[unit]), "unit": unit}
    told = [item | {"gross": in_grams(item["gross"])} for item in request["items"]]
    assert cases(quoted(of, request)) == cases(quoted(of, request | {"items": told}))


@given(st.integers(1, 10**9))
def test_a_price_per_kilogram_or_gram_and_per_ounce_or_pennyweight_is_one_price(amount):
    per_g, per_dwt = Fraction(amount, 1000) / GRAMS_PER["g"], Fraction(amount, 20) / GRAMS_PER["dwt"]
    assert per_g == Fraction(amount) / GRAMS_PER["kg"]
    assert per_dwt == Fraction(amount) / GRAMS_PER["ozt"]


@given(lots())
def test_prices_charges_and_bars_per_kilogram_are_those_per_gram(lot):
    of, request = lot
    per_kg = {m: p for m, p in request["prices"].items() if p["per"] == "kg"}
    per_g = {m: p | {"amount": thousandth(p["amount"]), "per": "g"} for m, p in per_kg.items()}
    by_kg = [c for c in of["charges"] if c.get("per") == "kg"]
    rest = [c for c in of["charges"] if c.get("per") != "kg"]
    by_g = [
        c | {"per": "g", "rate": thousandth(c["rate"]),
             "tiers": [{"from": t["from"] + "000", "rate": thousandth(t["rate"])} for t in c["tiers"]]}
        for c in by_kg
    ]  # fmt: skip
    otherwise = of | {"charges": rest + by_g}
    as_told = quoted(of | {"charges": rest + by_kg}, request)
    retold = quoted(otherwise, request | {"prices": request["prices"] | per_g})
    assert cases(as_told) == cases(retold)


def thousandth(amount: str) -> str:
    return text(int(Fraction(amount) * 10**6), 9)


@given(lots(), st.randoms())
def test_the_order_of_items_changes_no_figure(lot, shuffler):
    of, request = lot
    shuffled = list(request["items"])
    shuffler.shuffle(shuffled)
    assert cases(quoted(of, request | {"items": shuffled})) == cases(quoted(of, request))


@given(lots(), st.randoms())
def test_the_order_in_which_terms_name_metals_and_evidence_changes_no_figure(lot, shuffler):
    of, request = lot
    names = list(of["metals"])
    shuffler.shuffle(names)
    turned = of | {"metals": {m: of["metals"][m] for m in names}}
    turned["evidence"] = dict(reversed(of["evidence"].items()))
    assert cases(quoted(turned, request)) == cases(quoted(of, request))


@given(lots(("outturn", "assay")), st.integers(2, 6))
def test_like_articles_on_one_line_or_on_many_have_the_same_likely_figures(lot, count):
    of, request = lot
    first, *others = request["items"]
    one, together = many_and_one(first, count)
    split = quoted(of, request | {"items": [*[one] * count, *others]})
    joined = quoted(of, request | {"items": [together, *others]})
    assert likely(split) == likely(joined)


def many_and_one(item: dict, count: int) -> tuple[dict, dict]:
    """One of `count` like articles, and all of them on one line; whole milligrams, so that both are exact."""

    def mg(weight: dict, times: int) -> dict:
        whole = round(Fraction(weight["amount"]) * GRAMS_PER[weight["unit"]] * 1000)
        return {"amount": str(whole * times), "unit": "mg"}

    def of(times: int) -> dict:
        taken = [d | {"weight": mg(d["weight"], times)} for d in item["deductions"]]
        taken = [d for d in taken if d["weight"]["amount"] != "0"]
        return item | {"gross": mg(item["gross"], times), "deductions": taken, "count": times}

    return of(1), of(count)


def likely(of) -> dict:
    """The likely case without u, which rightly depends on how often it was weighed (C1, C2)."""
    case = cases(of)["likely"]
    for metal in case["metals"].values():
        del metal["u"], metal["u_R"]
    return case


@given(terms(), st.sampled_from(sorted(GRAMS_PER)), st.integers(1, 10**6))
def test_the_unit_in_which_answers_are_shown_changes_no_figure(of, unit, amount):
    item = {"evidence": "xrf", "fineness": "585", "gross": {"amount": str(amount), "unit": "mg"}}
    prices = {m: {"amount": "31", "currency": of["currency"], "per": "g"} for m in of["metals"]}
    request = {"items": [item], "prices": prices}
    shown = of | {"weight_unit": unit}
    assert cases(quoted(shown, request)) == cases(quoted(of, request))
    assert grams(Fraction(amount), "mg") == Fraction(amount, 1000)
