"""Random terms and requests, as the JSON that a shop would send: every kind of figure the rules know."""

from fractions import Fraction
from functools import cache
from itertools import pairwise
from typing import Any

from hypothesis import strategies as st
from oracle.quantities import GRAMS

Json = dict[str, Any]

METALS = ("gold", "silver", "platinum", "palladium")
CURRENCIES = ("GBP", "USD", "INR", "JPY", "KRW", "KWD", "BHD")
LEAST_PAID = {"JPY": "900"}
CASH_STEPS = {"JPY": "10", "KRW": "10", "KWD": "0.005", "BHD": "0.025"}
EVIDENCE = ("hallmark", "old stamp", "xrf", "fire assay")
UNREAD = ("unread", "sweeps")
TAX_CLASSES = ("standard", "reduced", "zero", "exempt", "outside", "reverse_charge")
COLOURS = ("yellow", "rose", "white", "green")
# Units of prices and charges, and how many of the first make one.
PRICE_UNITS = {"g": 1, "kg": 1000, "ozt": 31, "dwt": 2, "tola": 12}
BASES = ("lot", "gross_weight", "melt_weight", "fine_weight", "silver_lent", "bar", "article", "value")
WEIGHT_BASES = BASES[1:5]
REMAINDERS = ("pay_out", "shot", "metal_account", "cover_charges")
KARATS = ("8", "9", "10", "14", "14.0", "18", "22", "24", "9.5", "20", "21.6", "23", "0")
FINENESSES = ("995", "999", "999.9", "916.6", "1000")
# Amounts of each unit that make from about 5 g to about 200 g: least, most (of 10^-places), places.
AMOUNTS = {
    "g": (500, 20_000, 2), "mg": (5000, 200_000, 0), "kg": (50, 2000, 4), "ozt": (200, 6000, 3),
    "dwt": (400, 12_000, 2), "grain": (800, 30_000, 1), "tola": (500, 17_000, 3), "ct": (2500, 90_000, 2),
    "oz_av": (200, 7000, 3), "lb_av": (110, 4400, 4),
}  # fmt: skip
# No bar is lighter than 5 g, so that a lot of 800 g stays under the most bars of one account.
NOMINALS = (
    ("5", "g"), ("10", "g"), ("12.345", "g"), ("20", "g"), ("50", "g"), ("1", "ozt"), ("1", "tola"),
    ("10", "dwt"), ("120.5", "grain"), ("0.1", "kg"),
)  # fmt: skip
PARTS = ("1/20", "1/10", "1/40", "1/3", "0.05", "1")
DIVISIONS = (("g", 1, 2), ("g", 1, 1), ("dwt", 5, 2))
HOUSE_SILVER = (("999", "0"), ("985.5", "1.5"))

# Strategies are built once: to build them anew for each example costs more than to draw from them.
pick = cache(st.sampled_from)
whole = cache(st.integers)
YES_OR_NO = st.booleans()


def text(count: int, places: int) -> str:
    """`count` of 10^-places as a decimal string."""
    digits = str(count).zfill(places + 1)
    return f"{digits[:-places]}.{digits[-places:]}" if places else digits


@cache
def decimals(least: int, most: int, places: int = 0) -> st.SearchStrategy[str]:
    """Decimal strings from `least` to `most`."""
    step = 10**places
    return whole(least * step, most * step).map(lambda n: text(n, places))


def weight(unit: str, count: int, places: int) -> Json:
    return {"amount": text(count, places), "unit": unit}


@cache
@st.composite
def weights(draw: st.DrawFn, units: tuple[str, ...] = tuple(AMOUNTS)) -> Json:
    """What a line of scrap may weigh, in any unit."""
    unit = draw(pick(units))
    least, most, places = AMOUNTS[unit]
    return weight(unit, draw(whole(least, most)), places)


SMALL_WEIGHTS = st.builds(weight, pick(("g", "dwt", "grain")), whole(0, 250), pick((1, 2, 3)))


@cache
def evidence_kinds() -> st.SearchStrategy[Json]:
    kind = st.fixed_dictionaries(
        {"method": pick(("mark", "touchstone", "xrf", "fire_assay"))},
        optional={
            "bias": whole(-600, 300).map(lambda n: ("-" if n < 0 else "") + text(abs(n), 1)),
            "scatter": decimals(0, 60, 1),
            "shared": decimals(0, 30, 1),
        },
    )
    silent = st.just({"method": "none", "reckon": False})
    return st.fixed_dictionaries(
        dict.fromkeys(EVIDENCE, kind) | dict.fromkeys(UNREAD, silent),
        optional={"alloy_table": kind},
    )


TAXES = st.dictionaries(
    pick(("full", "half", "none", "else")),
    st.fixed_dictionaries({"rate": decimals(0, 1, 3), "class": pick(TAX_CLASSES)}),
    max_size=4,
)
THREE = st.tuples(*[whole(0, 500)] * 3)
SOME_COLOURS = st.sets(pick(COLOURS[:2]), min_size=1)
SOME_CUTS = st.sets(pick((330, 400, 585, 650, 750, 916)))
SOME_UNITS = st.lists(pick(("g", "ct", "dwt", "mg")), max_size=2)
SOME_STARTS = st.sets(pick((1, 2, 5, 20, 100, 300)), max_size=2)
MANY = [st.sets(pick(METALS), min_size=least) for least in (1, 2, 3, 4)]
MIXED = st.lists(pick(METALS), min_size=1, max_size=4, unique=True)
GUESSES = st.one_of(st.none(), whole(0, 60))
COUNTS = st.one_of(whole(1, 6), pick(("most", "whole")))
PARTS_PER_1000 = st.one_of(pick(("375", "585", "750", "916.6")), decimals(0, 1000, 1))
GOOD_SHARES = whole(900, 1000).map(lambda n: text(n, 3))
SHARES = st.one_of(GOOD_SHARES, GOOD_SHARES, GOOD_SHARES, decimals(0, 1, 3))


@cache
@st.composite
def alloy_rows(draw: st.DrawFn) -> list[Json]:
    """Silver by colour and range; the ranges of a colour touch but don't overlap."""
    rows = []
    for colour in draw(SOME_COLOURS):
        cuts = sorted({0, 1000} | draw(SOME_CUTS))
        for start, end in pairwise(cuts):
            low, likely, high = sorted(draw(THREE))
            figures = {"from": start, "to": end, "low": low, "likely": likely, "high": high}
            rows.append({"colour": colour} | {k: str(v) for k, v in figures.items()})
    return rows


@cache
def metal_terms(ways: tuple[str, ...], codes: tuple[str, ...]) -> st.SearchStrategy[Json]:
    optional = {
        "recovery_u": whole(0, 30).map(lambda n: text(n, 3)),
        "minimum_deduction": SMALL_WEIGHTS,
        "payable_from": SMALL_WEIGHTS,
        "top_up_rate": decimals(0, 2, 2),
        "balance": whole(0, 50).map(lambda n: text(n, 4)),
    }
    if codes:
        optional["top_up_tax"] = pick(codes)
    required = {"settle_on": pick(ways), "recovery": SHARES, "accountable": SHARES}
    return st.fixed_dictionaries(required | {"payout_rate": SHARES}, optional=optional)


@cache
@st.composite
def charges(draw: st.DrawFn, metals: tuple[str, ...], codes: tuple[str, ...]) -> Json:
    """One charge of any base, with tiers of either kind."""
    base = draw(pick(BASES))
    charge: Json = {"base": base, "tiering": draw(pick(("whole", "marginal")))}
    most = {"lot": 60, "bar": 20, "article": 3}.get(base, 1)
    if base in WEIGHT_BASES:
        charge["per"] = draw(pick(tuple(PRICE_UNITS)))
        most = PRICE_UNITS[charge["per"]]
    rates = whole(0, 500).map(lambda n: text(n, 4)) if base == "value" else decimals(0, most, 2)
    charge["rate"] = draw(rates)
    if base == "fine_weight":
        charge["metal"] = draw(pick(metals))
    if draw(YES_OR_NO):
        charge["minimum"] = draw(decimals(0, 90, 2))
    if codes and draw(YES_OR_NO):
        charge["tax"] = draw(pick(codes))
    starts = sorted(draw(SOME_STARTS))
    return charge | {"tiers": [{"from": str(start), "rate": draw(rates)} for start in starts]}


@st.composite
def terms(
    draw: st.DrawFn,
    ways: tuple[str, ...] = ("outturn", "assay", "counter"),
    metals: tuple[str, ...] | None = None,
    rules: tuple[str, ...] = ("house_first", "pro_rata"),
) -> Json:
    """Terms of business; `ways` are those in which a metal may be settled."""
    least = draw(pick((1, 2, 3, 4)))
    chosen = draw(MANY[least - 1]) if metals is None else metals
    named = tuple(m for m in METALS if m in chosen)
    taxes = draw(TAXES)
    codes = tuple(taxes)
    currency = draw(pick(CURRENCIES))
    listed = [draw(charges(named, codes)) for _ in range(draw(pick((3, 2, 1, 4, 0))))]
    answer = {
        "name": "drawn",
        "currency": currency,
        "weight_unit": draw(pick(("g", "ozt", "tola"))),
        "karat_basis": draw(pick(("exact", "standard"))),
        "division": weight(*draw(pick(DIVISIONS))),
        "evidence": draw(evidence_kinds()),
        "estimate_silver": draw(pick((True, True, False))),
        "alloy_silver": draw(alloy_rows()),
        "metals": {m: draw(metal_terms(ways, codes)) for m in named},
        "silver_rule": draw(pick(rules)),
        "parting_target": draw(pick(("0.25", "0.3", "0.333333333", "0.2"))),
        "taxes": taxes,
        "charges": [charge | {"name": f"charge {i}"} for i, charge in enumerate(listed)],
        "purchase_case": draw(pick(("low", "likely", "high"))),
        "house_silver": dict(zip(("fineness", "gold"), draw(pick(HOUSE_SILVER)), strict=True)),
    }
    if draw(YES_OR_NO):
        answer |= {"cash_step": CASH_STEPS.get(currency, "0.05"), "least_paid": LEAST_PAID.get(currency, "9")}
    return answer | ({"drillings": draw(pick(("returned", "credited")))} if draw(YES_OR_NO) else {})


@st.composite
def deductions(draw: st.DrawFn, gross_g: Fraction) -> list[Json]:
    """Up to two, weighed or guessed, each below a quarter of the gross."""
    found = []
    for unit in draw(SOME_UNITS):
        places = 0 if unit == "mg" else 2
        most = int(gross_g / 4 / GRAMS[unit] * 10**places)
        if most:
            taken = {"reason": "stone or steel", "weight": weight(unit, draw(whole(1, most)), places)}
            guess = draw(GUESSES)
            found.append(taken if guess is None else taken | {"plus_minus": weight("g", guess, 2)})
    return found


@cache
@st.composite
def compositions(draw: st.DrawFn) -> Json:
    """Several metals in parts per thousand or percent, beyond doubt which is meant."""
    metals = draw(MIXED)
    most = 10_000 // len(metals)
    tenths = [draw(whole(1020 if i == 0 else 0, most)) for i in range(len(metals))]
    percent = draw(YES_OR_NO)
    held = {m: text(n, 2 if percent else 1) for m, n in zip(metals, tenths, strict=True)}
    known: Json = {"composition": held} | ({"in": "percent"} if percent else {})
    return known | ({"metal": draw(pick(tuple(metals)))} if draw(YES_OR_NO) else {})


@cache
@st.composite
def fineness(draw: st.DrawFn) -> Json:
    """What is known of an item's fineness: one of the three ways."""
    way = draw(pick(("karat", "fineness", "composition")))
    if way == "composition":
        return draw(compositions())
    metal = draw(pick(("gold", "gold", "silver", "platinum", "palladium")))
    figure = draw(pick(KARATS) if way == "karat" else PARTS_PER_1000)
    named = {} if metal == "gold" and draw(YES_OR_NO) else {"metal": metal}
    # So little looks like percent, and is asked about unless it says that it is meant.
    meant = way == "fineness" and Fraction(figure) <= 101
    return {way: figure} | named | ({"in": "permille"} if meant else {})


@cache
@st.composite
def items(draw: st.DrawFn) -> Json:
    """One line of a lot."""
    gross = draw(weights())
    gross_g = Fraction(gross["amount"]) * GRAMS[gross["unit"]]
    item: Json = {
        "description": "scrap",
        "gross": gross,
        "deductions": draw(deductions(gross_g)),
        "count": draw(whole(1, 9)),
    }
    if draw(whole(0, 7)) == 7:
        item["evidence"] = draw(pick(UNREAD))
        return item | (draw(fineness()) if draw(YES_OR_NO) else {})
    item |= {"evidence": draw(pick(EVIDENCE))} | draw(fineness())
    if draw(pick((True, True, False))):
        item["colour"] = draw(pick(COLOURS))
    if draw(whole(0, 3)) == 3:
        item["filled_part"] = draw(pick(PARTS))
    if draw(whole(0, 3)) == 3:
        item["division"] = weight("g", draw(pick((1, 5, 20))), 2)
    return item


@cache
@st.composite
def bar_lines(draw: st.DrawFn) -> list[Json]:
    """Up to three lines of bars; a whole bar comes last, one line at most is topped up."""
    lines: list[Json] = []
    topped = False
    for _ in range(draw(whole(0, 3))):
        amount, unit = draw(pick(NOMINALS))
        count = draw(COUNTS)
        line: Json = {"fineness": draw(pick(FINENESSES)), "count": count}
        if count == "whole":
            return [*lines, line]
        line["nominal"] = {"amount": amount, "unit": unit}
        if count != "most" and not topped and draw(YES_OR_NO):
            topped = line["top_up"] = True
        lines.append(line)
    return lines


@st.composite
def instructions(draw: st.DrawFn, metals: tuple[str, ...]) -> Json:
    """What a client wants of each metal; one at most covers the charges."""
    wishes: Json = {}
    covered = False
    for metal in metals:
        if draw(whole(0, 3)) == 3:
            continue
        remainder = draw(pick(REMAINDERS[: 3 if covered else 4]))
        covered = covered or remainder == "cover_charges"
        wishes[metal] = {"bars": draw(bar_lines()), "remainder": remainder}
    return wishes


@st.composite
def prices(draw: st.DrawFn, of: Json) -> Json:
    """A price of every metal of the terms, per any unit that a price may have."""
    found = {}
    for metal in of["metals"]:
        per = draw(pick(tuple(PRICE_UNITS)))
        amount = draw(decimals(20 * PRICE_UNITS[per], 90 * PRICE_UNITS[per], 3))
        amount = "0" if draw(whole(0, 15)) == 15 else amount
        found[metal] = {"amount": amount, "currency": of["currency"], "per": per}
    return found


@st.composite
def requests(draw: st.DrawFn, of: Json, most_items: int = 4) -> Json:
    """A lot to be estimated under the terms `of`."""
    return {
        "items": [draw(items()) for _ in range(draw(whole(1, most_items)))],
        "prices": draw(prices(of)),
        "instructions": draw(instructions(tuple(of["metals"]))),
    }


@st.composite
def lots(draw: st.DrawFn, ways: tuple[str, ...] = ("outturn", "assay", "counter")) -> tuple[Json, Json]:
    """Terms, and a request under them."""
    of = draw(terms(ways))
    return of, draw(requests(of))
